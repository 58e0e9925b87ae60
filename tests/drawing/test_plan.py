"""A plan in the report: the drawing and the lists. Nothing overlaps, nothing is lost, and it reads without colour."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from partkin.drawing.plan_drawing import plan_file, plan_svg
from partkin.drawing.plan_layout import LaidPlan, laid
from partkin.model.build import Build, Holding, Part
from partkin.model.stripping import StripPlan
from partkin.report.html import report_html
from partkin.strip import view_of
from partkin.strip.plan import plan
from report import sample
from report.reading import html_tree, outside_references
from strip.invented import random_build, tangled_build, vehicle_build
from strip.reading import example

SVG = "{http://www.w3.org/2000/svg}"
WIDTHS = (760.0, 330.0)


@pytest.fixture(scope="module")
def plans() -> list[StripPlan]:
    found = [plan(example(), part) for part in ("dash-velt", "top-velt", "blower")]
    found += [plan(example(), "dash-velt", done=frozenset({"C1", "K1"})), plan(vehicle_build(1, 60, 200), "p9")]
    found += [plan(tangled_build(0, 24, 70), "p12", nodes=5), *(plan(random_build(seed), "p0") for seed in range(8))]
    return [each for each in found if each]


@pytest.fixture(scope="module")
def drawn(plans: list[StripPlan]) -> list[tuple[StripPlan, LaidPlan]]:
    return [(found, laid(found, width)) for found in plans for width in WIDTHS]


def _apart(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_no_box_and_no_number_lies_on_another_and_none_leaves_the_drawing(
    drawn: list[tuple[StripPlan, LaidPlan]],
) -> None:
    for _, found in drawn:
        labels = [wire.label for wire in found.wires if wire.label is not None]
        rects = [spot.rect for spot in found.boxes] + labels
        for number, rect in enumerate(rects):
            assert rect[0] >= 0 and rect[1] >= 0 and rect[2] <= found.width and rect[3] <= found.height
            assert all(_apart(rect, other) for other in rects[number + 1 :])


def test_no_line_runs_under_a_box(drawn: list[tuple[StripPlan, LaidPlan]]) -> None:
    """Sampled along every line; ends touch the edges of their own boxes and no more."""
    lines = 0
    for _, found in drawn:
        inner = [(x0 + 0.5, y0 + 0.5, x1 - 0.5, y1 - 0.5) for x0, y0, x1, y1 in (spot.rect for spot in found.boxes)]
        for wire in found.wires:
            lines += 1
            for (xa, ya), (xb, yb) in pairwise(wire.points):
                for step in range(21):
                    x, y = xa + (xb - xa) * step / 20, ya + (yb - ya) * step / 20
                    assert not any(x0 < x < x1 and y0 < y < y1 for x0, y0, x1, y1 in inner)
    assert lines > 100


def test_what_is_drawn_is_what_the_plan_says(drawn: list[tuple[StripPlan, LaidPlan]]) -> None:
    for found, layout in drawn:
        shown = {spot.body.part for spot in layout.boxes if spot.body is not None}
        left_out = {body.part for body in found.bodies} - shown
        touched = {name for joint in found.joints if joint.step for pair in joint.joins for name in pair}
        assert not left_out & touched and len(left_out) == len(layout.not_drawn)
        pairs = {
            how: {frozenset(pair) for j in found.joints if test(j) for pair in j.joins if shown.issuperset(pair)}
            for how, test in (
                ("undone", lambda joint: joint.step is not None),
                ("left alone", lambda joint: joint.step is None and not joint.done),
                ("undone before", lambda joint: joint.done),
            )
        }  # fmt: skip
        for how, wanted in pairs.items():
            ends = [
                frozenset(spot.body.part for spot in (wire.through[0], wire.through[-1]) if spot.body is not None)
                for wire in layout.wires if wire.how == how
            ]  # fmt: skip
            assert len(ends) == len(set(ends)) and set(ends) == wanted
        assert all((wire.how == "undone") == bool(wire.text) for wire in layout.wires)


def test_the_file_names_every_fastener_and_part_and_keeps_its_text_apart(plans: list[StripPlan]) -> None:
    for found in plans:
        root = ElementTree.fromstring(plan_file(found))
        texts = [text.text or "" for text in root.iter(f"{SVG}text")]
        words = " ".join(texts)
        for joint in found.joints:
            assert re.search(rf"(?<!\w){re.escape(joint.fastener)}(?!\w)", words), joint.fastener
        assert words.split().count("wanted") == sum(body.role == "wanted" for body in found.bodies)
        height = float((root.get("viewBox") or "").split()[3])
        rows = [float(text.get("y") or 0) for text in root.iter(f"{SVG}text")]
        assert max(rows) < height


def test_it_says_itself_in_words_and_uses_ink_alone(plans: list[StripPlan]) -> None:
    for found in plans:
        svg = plan_svg(found)
        root = ElementTree.fromstring(svg)
        described = root.find(f"{SVG}desc")
        assert root.get("role") == "img" and described is not None
        assert "undone (thick dashed lines)" in (described.text or "")
        assert set(re.findall(r"#[0-9a-fA-F]{3,6}\b", svg)) <= {"#111111", "#FFFFFF"}
        assert " style=" not in svg


def test_the_same_plan_gives_the_same_bytes(plans: list[StripPlan]) -> None:
    assert [plan_file(found) for found in plans] == [plan_file(found) for found in plans]


def test_what_people_wrote_is_escaped_and_long_names_are_cut() -> None:
    part = Part("a", name="<script>alert('x')</script> & a very-long-name-without-any-space-in-it-at-all " * 3)
    found = plan(Build(parts=(part,), holdings=(Holding("a", "shell", "S<1>", "screw"),)), "a")
    assert found
    svg = plan_file(found)
    assert "<script>" not in svg and "S&lt;1&gt;" in svg
    assert ElementTree.fromstring(svg) is not None


@pytest.fixture(scope="module")
def page() -> str:
    build = example()
    return report_html(replace(sample.REPORT, plans=tuple(view_of(build, part) for part in ("dash-velt", "blower"))))


def test_the_report_has_a_box_to_tick_for_every_step_out_and_back(page: str) -> None:
    tree = html_tree(page)
    assert not outside_references(page) and "<script" not in page
    sections = [element for element in tree.iter() if element.get("class") == "plan"]
    assert len(sections) == 2
    build = example()
    for section, part in zip(sections, ("dash-velt", "blower"), strict=True):
        view = view_of(build, part)
        assert view.plan is not None and view.way_back is not None
        numbers = [element.text for element in section.iter() if element.get("class") == "no"]
        steps = [*view.plan.steps, *view.way_back.steps]
        assert numbers == [str(step.number) for step in steps]
        boxes = [element for element in section.iter() if element.get("type") == "checkbox"]
        assert len(boxes) >= len(numbers) + len(view.way_back.buy)
        words = " ".join("".join(section.itertext()).split())
        for caution in (*view.plan.cautions, *view.way_back.cautions):
            assert " ".join(caution.says.split()) in words
        for label in view.labels:
            assert label.split(" | ")[0] in words
        for one in view.plan.unknowns:
            assert one.says in words


def test_ids_stay_unique_and_every_reference_leads_somewhere(page: str) -> None:
    tree = html_tree(page)
    ids = [element.get("id") for element in tree.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    for element in tree.iter():
        for key in ("href", "aria-labelledby", "aria-describedby"):
            if element.get(key):
                assert (element.get(key) or "").lstrip("#") in ids


def test_what_the_donor_lacks_is_in_it() -> None:
    build = Build(
        parts=(
            Part("frame", origin="host"), Part("top", origin="original", takes_place_of="frame"),
            Part("grille", name="grille", part_of="top"), Part("new-top", origin="donor", takes_place_of="frame"),
        ),
        holdings=(Holding("new-top", "its-dash", "S1", "screw", 4), Holding("grille", "top", "C1", "clip", 6)),
    )  # fmt: skip
    view = view_of(build, "new-top")
    assert view.moved_from == "top" and [one.what for one in view.moved] == ["grille"]
    html = report_html(replace(sample.REPORT, plans=(view,)))
    assert "To move across from" in html and "grille is on the original" in html


@pytest.mark.slow
@pytest.mark.browser
@pytest.mark.parametrize("width", (360, 1400))
def test_as_a_browser_shows_it(page: str, tmp_path: Path, width: int) -> None:
    playwright = pytest.importorskip("playwright.sync_api")
    (tmp_path / "report.html").write_text(page, encoding="utf-8")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": width, "height": 800})
        tab.goto((tmp_path / "report.html").as_uri())
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        sizes = tab.evaluate(
            "[...document.querySelectorAll('.plan figure svg.dw text')].filter(e => e.getBoundingClientRect().width)"
            ".map(e => e.getBoundingClientRect().height)"
        )
        assert sizes and min(sizes) >= 9.0, "the drawing's text keeps a size that can be read"
        boxes = tab.evaluate("[...document.querySelectorAll('.ticks input')].map(e => [e.offsetWidth, e.offsetHeight])")
        assert boxes and all(side >= 15 for box in boxes for side in box)
        browser.close()
