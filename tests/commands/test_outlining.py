"""A drawing that somebody else made, as rows of the sheets: shown first, all or nothing."""

from __future__ import annotations

from dataclasses import replace

import ezdxf
import pytest

from builders import append
from partkin import pipeline
from partkin.commands import outlining, seeing
from partkin.commands.demonstration import write
from partkin.drawing.template import template_svg
from partkin.drawing.template_dxf import template_dxf
from partkin.model.problem import FaultyInput


@pytest.fixture
def folder(tmp_path):
    write(tmp_path / "build")
    return tmp_path / "build"


@pytest.fixture
def drawing(tmp_path, folder):
    """Our own template of a donor, as a stranger's drawing."""
    path = tmp_path / "top.dxf"
    path.write_bytes(template_dxf(seeing.template_of(pipeline.load_build(folder), "top-dask")))
    return path


def sheets_of(folder):
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


def test_holes_and_slots_come_back_where_they_were(folder, drawing):
    build = pipeline.load_build(folder)
    found = outlining.read_drawing(build, drawing, "console-body", layers=["holes", "slots", "pegs"])
    outlining.add(folder, found, plus_minus_mm=0.2)
    now = pipeline.load_build(folder)
    placed = {(f.x_mm, f.y_mm): f for f in now.features_of("console-body")}
    own = [f for f in build.features_of("top-dask") if f.kind in ("hole", "slot", "peg")]
    assert len(placed) == len(own)
    for feature in own:
        new = placed[feature.x_mm, feature.y_mm]
        assert new.kind == feature.kind
        assert new.across_mm == pytest.approx(feature.across_mm, abs=1e-3) and new.plus_minus_mm == 0.2
        assert new.length_mm == (pytest.approx(feature.length_mm, abs=1e-3) if feature.kind == "slot" else None)
    assert build.features == tuple(f for f in now.features if f.part != "console-body"), "nothing else changed"


def test_names_go_on_where_the_sheet_ends(folder, drawing):
    for name in ("h1", "h7", "hinge", "s2"):
        row = {"part": "console-body", "feature": name, "kind": "hole", "across_mm": "5"}
        append(folder, "features.csv", row)
    build = pipeline.load_build(folder)
    found = outlining.read_drawing(build, drawing, "console-body", layers=["holes", "slots"])
    assert [f.feature for f in found.features] == ["h8", "s3", "h9", "h10", "h11", "h12", "h13"]


def edited(drawing, change):
    """Change a drawing as a drawing program does, with all that stands beside its shapes kept."""
    document = ezdxf.readfile(drawing)
    change(document.modelspace())
    document.saveas(drawing)


def circle_at(space, x_mm, y_mm):
    (found,) = (c for c in space.query("CIRCLE") if (round(c.dxf.center.x, 3), round(c.dxf.center.y, 3)) == (x_mm, y_mm)
                and c.dxf.layer == "holes")  # fmt: skip
    return found


def test_a_hole_that_was_moved_is_a_move_of_the_known_id(folder, drawing):
    build = pipeline.load_build(folder)

    def change(space):
        circle_at(space, 194.1, 271.7).translate(1.5, -0.2, 0.0)
        circle_at(space, 395.0, -0.6).dxf.radius = 5.0
        (edge,) = space.query('LWPOLYLINE[layer=="edges"]')
        edge.set_points([(x + (2.0 if n == 0 else 0.0), y) for n, (x, y) in enumerate(edge.get_points("xy"))], "xy")

    edited(drawing, change)
    found = outlining.read_drawing(build, drawing, "top-dask")
    assert not found.features and not found.outlines
    assert "c      x_mm 194.1 to 195.6, y_mm 271.7 to 271.5" in outlining.shown(build, found)
    outlining.add(folder, found, plus_minus_mm=0.2)
    now = pipeline.load_build(folder)
    wanted = {"c": {"x_mm": 195.6, "y_mm": 271.5, "plus_minus_mm": 0.2}, "f": {"across_mm": 10.0}}
    for before, after in zip(build.features, now.features, strict=True):
        assert after == (replace(before, **wanted.get(before.feature, {})) if before.part == "top-dask" else before)
    for line, moved in zip(build.outlines, now.outlines, strict=True):
        (x, y), *rest = line.corners_mm
        first = (pytest.approx(x + 2.0), y) if line.part == "top-dask" else (x, y)
        assert (moved.corners_mm[0], list(moved.corners_mm[1:])) == (first, rest)
    untouched = {name: content for name, content in sheets_of(folder).items()}
    again = outlining.read_drawing(now, drawing, "top-dask")
    outlining.add(folder, again, plus_minus_mm=0.2)
    assert sheets_of(folder) == untouched, "the same drawing read twice changes nothing more"


def test_a_template_that_nobody_changed_changes_nothing(folder, drawing):
    build = pipeline.load_build(folder)
    before = sheets_of(folder)
    found = outlining.read_drawing(build, drawing, "top-dask")
    assert not (found.features or found.outlines or found.moved or found.lines or found.zones) and found.stayed == 11
    outlining.add(folder, found)
    assert sheets_of(folder) == before


@pytest.mark.parametrize("kind", ["dxf", "svg"])
def test_a_zone_that_was_moved_is_a_move_of_the_known_zone(folder, tmp_path, kind):
    build = pipeline.load_build(folder)
    (seam,) = (zone for zone in build.zones if (zone.part, zone.zone) == ("top-dask", "S1"))
    out_mm = tuple((round(x - 3.0, 3), y) for x, y in seam.corners_mm)
    elsewhere = replace(build, zones=tuple(replace(z, corners_mm=out_mm) if z is seam else z for z in build.zones))
    make = {"dxf": template_dxf, "svg": lambda view: template_svg(view).encode()}[kind]
    (path := tmp_path / f"top.{kind}").write_bytes(make(seeing.template_of(elsewhere, "top-dask")))
    found = outlining.read_drawing(build, path, "top-dask")
    assert found.zones == (replace(seam, corners_mm=out_mm),) and found.adds
    assert not (found.features or found.outlines or found.moved or found.lines)
    assert "S1     tear seam: corners moved. Nothing is cut there" in outlining.shown(build, found)
    outlining.add(folder, found)
    now = pipeline.load_build(folder)
    assert [zone.corners_mm for zone in now.zones] == [zone.corners_mm for zone in elsewhere.zones]
    assert now.features == build.features and now.outlines == build.outlines


def test_a_zone_with_other_corners_is_left_as_it_is(folder, drawing):
    build = pipeline.load_build(folder)

    def change(space):
        for zone in space.query('LWPOLYLINE[layer=="zones"]'):
            zone.set_points(list(zone.get_points("xy"))[:3], "xy")

    edited(drawing, change)
    found = outlining.read_drawing(build, drawing, "top-dask")
    assert not found.adds
    said = [problem.what for problem in found.warnings]
    assert said == [f"zone {name} has 3 corners, its part's sheet 4" for name in ("D1", "S1")]


def test_a_copy_of_a_zone_and_a_zone_of_another_part_are_no_opening(folder, drawing):
    build = pipeline.load_build(folder)

    def change(space):
        for zone in space.query('LWPOLYLINE[layer=="zones"]'):
            zone.copy_to_layout(space).translate(9.0, 0.0, 0.0)

    edited(drawing, change)
    assert not outlining.read_drawing(build, drawing, "top-dask").adds
    assert all(line.kind == "edge" for line in outlining.read_drawing(build, drawing, "console-body").outlines)


def test_a_drawing_of_what_the_sheet_lost_is_refused(folder, drawing):
    build = pipeline.load_build(folder)
    fewer = replace(build, features=tuple(f for f in build.features if (f.part, f.feature) != ("top-dask", "c")))
    with pytest.raises(FaultyInput, match="has c of top-dask, which its sheet has no longer"):
        outlining.read_drawing(fewer, drawing, "top-dask")


def test_a_second_edge_gets_a_name_of_its_own(folder, tmp_path):
    path = tmp_path / "plate.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">'
        '<rect x="0" y="0" width="100" height="60"/><rect x="20" y="20" width="30" height="15"/>'
        '<circle cx="70" cy="30" r="3.5"/></svg>'
    )
    for number, names in ((1, {"edge", "opening 1"}), (2, {"edge", "opening 1", "edge 2", "opening 1 2"})):
        found = outlining.read_drawing(pipeline.load_build(folder), path, "console-body")
        assert "100 x 60 mm" in outlining.shown(pipeline.load_build(folder), found)
        outlining.add(folder, found)
        lines = [line for line in pipeline.load_build(folder).outlines if line.part == "console-body"]
        assert {line.name for line in lines} == names, number


@pytest.mark.parametrize(
    ("content", "name", "part", "unit"),
    [
        (b"not a drawing", "x.dxf", "console-body", "mm"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><circle r='3'/></svg>", "x.svg", "console-body", None),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><circle r='3'/></svg>", "x.svg", "nobody", "mm"),
        (b"<!DOCTYPE svg [<!ENTITY a 'b'>]><svg xmlns='http://www.w3.org/2000/svg'/>", "x.svg", "console-body", "mm"),
        (b"", "x.dxf", "console-body", "mm"),
    ],
)
def test_what_cannot_be_read_changes_nothing(folder, tmp_path, content, name, part, unit):
    path = tmp_path / name
    path.write_bytes(content)
    before = sheets_of(folder)
    with pytest.raises(FaultyInput) as fault:
        outlining.read_drawing(pipeline.load_build(folder), path, part, unit)
    assert all(problem.mend for problem in fault.value.problems)
    assert sheets_of(folder) == before


def test_features_are_not_added_where_the_outline_would_be_refused(folder, tmp_path):
    """Both sheets have to take their rows, or neither does."""
    path = tmp_path / "plate.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="60mm" viewBox="0 0 100 60">'
        '<rect x="0" y="0" width="100" height="60"/><circle cx="70" cy="30" r="3.5"/></svg>'
    )
    found = outlining.read_drawing(pipeline.load_build(folder), path, "console-body")
    cut_short = tuple(replace(line, corners_mm=line.corners_mm[:2]) for line in found.outlines)
    broken = outlining.Addition("console-body", found.features, cut_short)
    before = sheets_of(folder)
    with pytest.raises(FaultyInput):
        outlining.add(folder, broken)
    assert sheets_of(folder) == before
