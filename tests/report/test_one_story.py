"""One pairing, one placement, one set of figures: read out of text, verdict file, report, page and drawing."""

import json
import math
import random
import re
import shutil

import pytest

from builders import build, given, holes, moved, studs
from partkin.commands import seeing
from partkin.model.words import VERDICTS
from partkin.page.desk import Desk
from partkin.page.part_view import Answered, part_page
from partkin.pipeline import load_build
from partkin.report.html import report_html
from partkin.report.text import verdict_text
from partkin.report.verdict_file import verdict_json
from partkin.tables.reader import shipped

from .reading import html_tree

XHTML = "{http://www.w3.org/1999/xhtml}"
FIGURE = r"(-?[\d.]+|\?)"


def rounded(value):
    return "?" if value is None else f"{value + 0.0:.2f}"


def from_file(verdict):
    """The placement that is shown: `odd` where there is one."""
    tree = json.loads(verdict_json(verdict))
    shown = tree["odd"] or tree
    keys = ("offset_mm", "allowed_mm", "margin_mm")
    return {(pair["fixing"], pair["feature"]): [rounded(pair[key]) for key in keys] for pair in shown["pairs"]}


def from_text(verdict):
    text = verdict_text(verdict).partition("\nFixing by fixing")[2].partition("\n\n")[0]
    rows = re.findall(rf"^  [=x#-] (\S+)\s+(\S+)\s+{FIGURE}\s+{FIGURE}\s+{FIGURE}  ", text, re.M)
    return {(row[0], row[1]): list(row[2:]) for row in rows}


def from_html(tree):
    """The table of pairs of a page or of one donor's section."""
    found = {}
    for table in tree.iter(f"{XHTML}table"):
        if "".join(table.find(f"{XHTML}caption").itertext()) != "Pairs, in mm":
            continue
        for row in table.iter(f"{XHTML}tr"):
            cells = [" ".join("".join(cell.itertext()).split()) for cell in row]
            if row[0].get("scope") == "row":
                found[cells[0], cells[1]] = [cell.replace("-", "?") if cell == "-" else cell for cell in cells[2:5]]
    return found


def sections(text):
    tree = html_tree(text)
    return [one for one in tree.iter(f"{XHTML}section") if "donor" in one.get("class", "").split()]


def words(element):
    return " ".join("".join(element.itertext()).split())


def agrees(seen, section):
    verdict, told = seen.verdict, from_file(seen.verdict)
    assert from_text(verdict) == told
    assert from_html(section) == told
    drawing = words(next(section.iter("{http://www.w3.org/2000/svg}desc"))) if verdict.shown.placement else ""
    for (fixing, feature), (offset, allowed, _) in told.items():
        if drawing and "?" not in (offset, allowed):
            assert f"Fixing {fixing} with {feature}: offset {offset} mm of {allowed} mm allowed" in drawing
    says = words(section)
    if verdict.odd is not None:
        for one in verdict.odd.odd:
            off = [pair.offset_mm for pair in verdict.odd.pairs if pair.fixing == one.fixing]
            assert math.isclose(off[0], math.hypot(*one.out_mm), abs_tol=1e-6)
        assert verdict.odd.says in verdict.says
        assert verdict.odd.says in says and verdict.odd.says in " ".join(verdict_text(verdict).split())
    # Where work is not decided the text tells the conflict, and the drawing has no dimension line of it.
    if verdict.conflict_says and verdict.conflict is not None:
        distances(verdict.conflict_says, drawing)
    if verdict.verdict == "bolts on with adaptation":
        assert "after the work" in says and "With the work done" in says


def distances(proof, drawing):
    """The two distances of a proof are those of the dimension lines."""
    found = re.search(r"^(\S+) stands .* than (\S+) from (\S+) \(donor ([\d.]+), host ([\d.]+) mm\)", proof)
    if found and drawing:
        other, far, near, donor_mm, host_mm = found.groups()
        spans = re.findall(r"(\S+) to (\S+): host ([\d.]+) mm, donor \((\S+) to (\S+)\) ([\d.]+) mm", drawing)
        ends = {frozenset(span[:2]): span for span in spans}
        span = ends[frozenset((far, near))]
        assert other in span[3:5]
        assert abs(float(span[2]) - float(host_mm)) <= 0.06 and abs(float(span[5]) - float(donor_mm)) <= 0.06


def told_of(made):
    view = seeing.report_of(made)
    seen = {donor: seeing.see(made, donor) for donor in seeing.donors_of(made)}
    for verdict, section in zip(view.verdicts, sections(report_html(view)), strict=True):
        agrees(seen[verdict.donor], section)
    return view


def test_the_demo_tells_one_story():
    view = told_of(load_build(shipped("data") / "demo"))
    assert {verdict.verdict for verdict in view.verdicts} == set(VERDICTS)
    dask = next(verdict for verdict in view.verdicts if verdict.donor == "top-dask")
    assert "7 of 8 fixings hold; e on F5 is 3.9 mm to the right" in dask.says
    assert "h stands 4.1 mm further from e than P1 from F5" in dask.conflict_says


def test_the_page_tells_the_same_as_the_report(tmp_path):
    folder = tmp_path / "demo"
    shutil.copytree(shipped("data") / "demo", folder)
    desk = Desk(folder)
    try:
        for donor in ("top-dask", "side-kurm-right"):
            seen = desk.look(donor)
            page = part_page(desk, donor, Answered())
            body = page[page.index("<main") : page.index("</main>") + len("</main>")]
            rows = re.findall(r"<th scope=\"row\"><bdi>(\w+)</bdi></th><td><bdi>(\w+)</bdi></td><td class=\"n\">", body)
            told = from_file(seen.verdict)
            assert set(rows) >= set(told)
            for figures in told.values():
                assert all(f">{figure}<" in body for figure in figures)
            assert seen.verdict.says.split(": ")[-1].rstrip(".") in re.sub(r"<[^>]+>", "", body)
    finally:
        desk.close(5.0)


def random_build(seed):
    """Three to twelve holes, one or two of them moved on purpose; trim may be worked on."""
    draw = random.Random(seed)
    count = draw.randint(3, 12)
    points = [(draw.uniform(0.0, 700.0), draw.uniform(0.0, 320.0)) for _ in range(count)]
    off = list(points)
    for number in draw.sample(range(count), draw.choice((0, 1, 1, 2))):
        x, y = off[number]
        off[number] = (x + draw.uniform(-5.0, 5.0), y + draw.uniform(-5.0, 5.0))
    features = holes(moved(off, draw.uniform(-8.0, 8.0), 12.0, -7.0))
    return build(
        studs(points), given(features) if draw.random() < 0.5 else features, duty=draw.choice(("trim", "structural"))
    )


@pytest.mark.parametrize("seed", [*range(12), *(pytest.param(n, marks=pytest.mark.slow) for n in range(12, 200))])
def test_random_builds_tell_one_story(seed):
    told_of(random_build(seed))
