"""The drawing and the printed lists: nothing overlaps, nothing is lost, and it reads without colour."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import pytest

from partkin.model.build import Build, Holding, Part
from partkin.model.stripping import StripPlan
from partkin.strip import drawing, lines, plan
from partkin.strip.drawing import CHAR_PX, FONT_PX
from strip.invented import random_build, vehicle_build
from strip.reading import example

SVG = "{http://www.w3.org/2000/svg}"


def _plans() -> list[StripPlan]:
    found = [plan(example(), part) for part in ("dash-velt", "top-velt", "blower")]
    found += [plan(example(), "dash-velt", done=frozenset({"C1", "K1"})), plan(vehicle_build(1, 60, 200), "p9")]
    found += [plan(random_build(seed), "p0") for seed in range(8)]
    return [each for each in found if each]


@pytest.fixture(scope="module")
def plans() -> list[StripPlan]:
    return _plans()


def _texts(svg: str) -> list[tuple[str, tuple[float, float, float, float]]]:
    root = ElementTree.fromstring(svg)
    found = []
    for text in root.iter(f"{SVG}text"):
        x, y, words = float(text.get("x", 0)), float(text.get("y", 0)), text.text or ""
        found.append((words, (x, y - 0.8 * FONT_PX, x + CHAR_PX * len(words), y + 0.25 * FONT_PX)))
    return found


def test_no_text_lies_on_another_and_none_leaves_the_picture(plans: list[StripPlan]) -> None:
    for found in plans:
        svg = drawing(found)
        width, height = map(float, re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
        texts = _texts(svg)
        assert len(texts) > 4
        for number, (words, box) in enumerate(texts):
            assert box[0] >= 0 and box[1] >= 0 and box[2] <= width and box[3] <= height, words
            for other, (x0, y0, x1, y1) in texts[number + 1 :]:
                assert box[2] <= x0 or x1 <= box[0] or box[3] <= y0 or y1 <= box[1], (words, other)


def test_text_of_a_box_stays_in_its_box_and_numbers_stay_out_of_boxes(plans: list[StripPlan]) -> None:
    for found in plans:
        svg = drawing(found)
        root = ElementTree.fromstring(svg)
        boxes = [
            tuple(float(rect.get(key, 0)) for key in ("x", "y", "width", "height"))
            for rect in root.iter(f"{SVG}rect")
            if rect.get("stroke") == "#000" and rect.get("fill") == "#fff"
        ]
        assert len(boxes) == len(found.bodies)
        for _, (x0, y0, x1, y1) in _texts(svg):
            for bx, by, bw, bh in boxes:
                apart = x1 <= bx or bx + bw <= x0 or y1 <= by or by + bh <= y0
                inside = bx <= x0 and x1 <= bx + bw and by <= y0 and y1 <= by + bh
                assert apart or inside


def test_every_fastener_is_named_below_and_every_part_has_a_box(plans: list[StripPlan]) -> None:
    for found in plans:
        words = " ".join(text for text, _ in _texts(drawing(found)))
        named = set(re.findall(r"[A-Za-z]+\d+", words))
        assert {joint.fastener for joint in found.joints} <= named
        assert words.count("[wanted]") == sum(body.role == "wanted" for body in found.bodies)


def test_undone_is_thick_and_dashed_left_alone_is_thin(plans: list[StripPlan]) -> None:
    for found in plans:
        svg = drawing(found)
        pairs_undone = {frozenset(pair) for joint in found.joints if joint.step for pair in joint.joins}
        pairs_left = {
            frozenset(pair) for joint in found.joints if not joint.step and not joint.done for pair in joint.joins
        }
        assert len(re.findall(r'stroke-width="3" stroke-dasharray="9 5"', svg)) == len(pairs_undone)
        assert len(re.findall(r'<path d="[^"]*" stroke-width="1"/>', svg)) == len(pairs_left)


def test_it_has_a_title_a_description_and_no_colour(plans: list[StripPlan]) -> None:
    for found in plans:
        svg = drawing(found)
        root = ElementTree.fromstring(svg)
        assert root.get("role") == "img" and root.find(f"{SVG}title") is not None
        described = root.find(f"{SVG}desc")
        assert described is not None and "fasteners are undone" in (described.text or "")
        assert set(re.findall(r"#[0-9a-fA-F]{3,6}\b", svg)) <= {"#000", "#fff"}


def test_names_are_escaped_and_long_ones_are_folded() -> None:
    part = Part("a", name="<script>alert('x')</script> & a very-long-name-without-any-space-in-it-at-all")
    build = Build(parts=(part,), holdings=(Holding("a", "shell", "S<1>", "screw"),))
    found = plan(build, "a")
    assert found
    svg = drawing(found)
    assert "<script>" not in svg and "S&lt;1&gt;" in svg
    assert ElementTree.fromstring(svg) is not None


def test_the_list_has_a_box_to_tick_for_every_step_and_fits_the_page(plans: list[StripPlan]) -> None:
    for found in plans:
        text = lines(found)
        assert "comes free" in " ".join(text[:2])
        assert sum(line.startswith("[ ] ") for line in text) == len(found.steps)
        assert all(len(line) <= 100 for line in text)
        for joint in found.joints:
            if joint.step is None and joint.fastener in found.left_alone:
                assert any(joint.fastener in line for line in text)


def test_the_proof_or_its_absence_is_said() -> None:
    whole = plan(example(), "dash-velt")
    assert whole and whole.gap == 0.0 and "No other plan takes less" in " ".join(lines(whole))
    from dataclasses import replace

    short = replace(whole, proved=False, bound_minutes=40.0, limit="the search stopped after 3 rounds")
    assert short.gap == pytest.approx(9.8 / 49.8)
    assert "Not shown to be the cheapest (the search stopped after 3 rounds)" in " ".join(lines(short))
