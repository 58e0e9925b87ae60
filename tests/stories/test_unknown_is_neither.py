"""What is not known is taken neither as yes nor as no: the smallest builds that show it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

import partkin
from adaptation.folders import FRAME, OLD, PANEL, SQUARE, typed, write
from adaptation.folders import holes as panel_holes
from builders import build, given, holes, studs
from partkin.commands.doubts import suspects_of
from partkin.commands.recording import surprise_of
from partkin.model.build import Build, Feature, Part, Reading
from partkin.report.verdict_file import as_tree
from partkin.verify.verify import confirm

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
PULLED = [(0.0, 0.0), (302.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
FAR = [(0.0, 0.0), (312.0, 0.0), (310.0, 200.0), (0.0, 180.0)]
NUT = {"kind": "captive nut", "across_mm": None, "thread": "M6x1"}


def bare(features: Iterable[Feature]) -> list[Feature]:
    """The features as they are listed before anything is measured."""
    return [replace(f, x_mm=None, y_mm=None, plus_minus_mm=None) for f in features]


def with_slot(features: Iterable[Feature], name: str, **cells: object) -> list[Feature]:
    """One of the features as a slot 13 mm long."""
    return [replace(f, kind="slot", length_mm=13.0, **cells) if f.feature == name else f for f in features]


def said(made: Build, host: str | None = None) -> tuple[str, list[str]]:
    """The verdict, and what is asked; what the verdict says holds in exact arithmetic."""
    verdict = partkin.check(made, "donor", host)
    if verdict.verdict in ("bolts on", "does not fit"):
        assert confirm(json.loads(json.dumps(as_tree(verdict))), made).refused == ()
    return verdict.verdict, [unknown.what for unknown in verdict.unknown]


# Nothing measured


@pytest.mark.parametrize("named", [False, True])
@pytest.mark.parametrize("duty", ["trim", "structural"])
def test_features_without_places_on_either_side(named: bool, duty: str) -> None:
    donor = bare(holes(PLATE))
    verdict, asked = said(build(bare(studs(PLATE)), given(donor) if named else donor, duty=duty))
    assert verdict == "not enough measured" and asked[0] == "where F1 is"


@pytest.mark.parametrize("host", [[], studs(PLATE), bare(studs(PLATE))], ids=["unlisted", "measured", "listed"])
def test_a_donor_without_features(host: list[Feature]) -> None:
    assert said(build(host, [], duty="trim")) == ("not enough measured", ["features of donor"])


def test_fewer_holes_than_fixings_decide_without_a_place() -> None:
    assert said(build(bare(studs(PLATE)), bare(holes(PLATE[:3]))))[0] == "does not fit"


def test_an_original_listed_without_places_under_a_measured_donor(tmp_path: Path) -> None:
    """Every command answers, and the first reading is kept."""
    old = [replace(f, x_mm=None, y_mm=None, goes_on=None, thread="M6x1") for f in panel_holes(SQUARE, "old")]
    donor = [replace(f, goes_on=None) for f in panel_holes(SQUARE)]
    folder = write(tmp_path, [FRAME, OLD, PANEL], [*old, *donor])
    for words in (
        ("check", "panel"), ("why", "panel"), ("measure-next", "panel"), ("adapt", "panel"), ("worklist", "panel"),
        ("positions", "old"), ("rank",), ("report", "-o", str(tmp_path / "report.html")),
        ("template", "panel", "-o", str(tmp_path / "t.svg")),
    ):  # fmt: skip
        code, told, wrong = typed(folder, *words)
        assert code == 0, (words, wrong)
        assert ("NOT ENOUGH MEASURED" in told) == (words[0] == "check"), words
    code, told, _ = typed(folder, "record", "old", "o1", "o2", "300.0", "--instrument", "tape")
    assert code == 0 and "old,r1,centres,o1,o2,300,mm" in (folder / "readings.csv").read_text()


@pytest.mark.parametrize("listed", [False, True])
def test_a_donor_of_another_host(listed: bool, tmp_path: Path) -> None:
    lamp = Part("lamp-place", origin="host", duty="body")
    studs_there = [Feature("lamp-place", f"L{n}", "stud", across_mm=6.0) for n in (1, 2)] if listed else []
    folder = write(tmp_path, [FRAME, PANEL, lamp], [*panel_holes(SQUARE), *studs_there])
    for command in ("check", "why", "measure-next", "adapt", "worklist"):
        code, told, _ = typed(folder, command, "panel", "--for", "lamp-place")
        assert code == 0 and "not enough measured" in told.lower(), command


# A slot that points nobody knows where


@pytest.mark.parametrize(
    ("points", "verdict", "asked"),
    [
        (PLATE, "bolts on", []),
        (PULLED, "not enough measured", ["angle of a2"]),
        (FAR, "does not fit", []),
    ],
    ids=["its round part will do", "it hangs on it", "no direction will do"],
)
def test_a_slot_without_a_direction(points: list, verdict: str, asked: list[str]) -> None:
    assert said(build(studs(PLATE), with_slot(holes(points), "a2"))) == (verdict, asked)
    whole = {said(build(studs(PLATE), with_slot(holes(points), "a2", angle_deg=a)))[0] for a in (0.0, 60.0, 90.0)}
    assert len(whole) > 1 if verdict == "not enough measured" else whole == {verdict}


def test_a_hosts_slot_without_a_direction() -> None:
    host = [replace(f, kind="hole", across_mm=6.6, fastener_mm=6.0) for f in studs(PULLED)]
    assert said(build(with_slot(host, "F2"), holes(PLATE))) == ("not enough measured", ["angle of F2"])
    assert said(build(with_slot(host, "F2", angle_deg=0.0), holes(PLATE)))[0] == "bolts on"
    assert said(build(with_slot(host, "F2", angle_deg=90.0), holes(PLATE)))[0] == "does not fit"


def shown(made: Build, old: Iterable[Feature]) -> Build:
    """With an original that stands in for the host."""
    part = Part("old", origin="original", takes_place_of="host", seen_from="outside", duty="trim")
    return replace(made, parts=(*made.parts, part), features=(*made.features, *old))


def came_off(points: list, **cells: object) -> list[Feature]:
    """Holes of the original on studs M6."""
    return [
        replace(f, part="old", feature=f"o{n}", thread="M6x1", **cells) for n, f in enumerate(holes(points, 7.0), 1)
    ]


def test_an_originals_slot_without_a_direction_leaves_open_where_its_stud_was() -> None:
    made = build([], holes(PULLED))
    assert said(shown(made, with_slot(came_off(PLATE), "o2"))) == ("not enough measured", ["angle of o2"])
    assert said(shown(build([], holes(FAR)), with_slot(came_off(PLATE), "o2")))[0] == "does not fit"


@pytest.mark.parametrize("far", [PLATE, PULLED, FAR])
def test_an_originals_hole_without_a_size_shows_no_stud(far: list) -> None:
    old = came_off(PLATE)
    old[1] = replace(old[1], across_mm=None)
    assert said(shown(build([], holes(far)), old)) == ("not enough measured", ["across of o2"])


def test_a_hole_of_an_unlisted_host_is_only_known_to_take_what_went_in() -> None:
    """The original's pegs went into holes of the host; how wide those are nobody saw."""
    old = [replace(f, kind="peg", across_mm=8.0, thread=None) for f in came_off(PLATE)]
    same = [replace(f, kind="peg", across_mm=8.0) for f in holes(PLATE)]
    off = [replace(f, kind="peg", across_mm=8.0) for f in holes(PULLED)]
    assert said(shown(build([], same), old))[0] == "bolts on"
    verdict, asked = said(shown(build([], off), old))
    assert verdict == "not enough measured" and asked[0] == "across of the hole of host that o1 of old goes into"


# A float that nobody took, a face that nobody named


def test_a_captive_nut_whose_float_nobody_took() -> None:
    host = [replace(f, **NUT) for f in studs(PLATE)]
    verdict, asked = said(build(host, given(holes(PULLED))))
    assert verdict == "not enough measured" and set(asked) <= {f"float of F{n}" for n in range(1, 5)}
    assert said(build([replace(f, float_mm=0.2) for f in host], given(holes(PULLED))))[0] == "does not fit"
    assert said(build([replace(f, float_mm=1.5) for f in host], given(holes(PULLED))))[0] == "bolts on"
    assert said(build(host, given(holes(PLATE))))[0] == "bolts on", "float only helps"


def test_a_nut_too_small_for_the_screw_is_blocked_whatever_its_float() -> None:
    host = [replace(f, **NUT) for f in studs(PLATE)]
    assert said(build(host, holes(PLATE, across_mm=5.5)))[0] == "does not fit"


@pytest.mark.parametrize("points", [PLATE, [(-x, y) for x, y in PLATE]], ids=["as read", "as its mirror image"])
def test_nobody_said_which_face_was_looked_at(points: list) -> None:
    made = build(studs(PLATE), holes(points), host_face=None, donor_face=None)
    assert said(made) == ("not enough measured", ["seen_from"])


def test_faces_do_not_matter_where_both_give_the_same_answer() -> None:
    line = [(0.0, 0.0), (100.0, 0.0), (250.0, 0.0)]
    assert said(build(studs(line), holes(line), host_face=None, donor_face=None))[0] == "bolts on"
    made = build(studs(PLATE), holes(FAR[::-1]), host_face=None, donor_face=None)
    assert said(made)[0] == "does not fit"


def test_work_that_hangs_on_the_face_waits_for_it() -> None:
    made = build(studs(PLATE), holes(PULLED), host_face=None, donor_face=None, duty="trim")
    verdict = partkin.check(made, "donor")
    assert verdict.verdict == "not enough measured" and verdict.unknown[0].what == "seen_from"
    assert "does not go on host as it is" in verdict.says and verdict.adaptation is None
    assert said(build(studs(PLATE), holes(PULLED), duty="trim"))[0] == "bolts on with adaptation"


def test_a_nut_of_unknown_thread_under_a_hole_that_names_its_screw() -> None:
    """A nut of 6 mm may have another pitch; a hole that names no screw takes the one of the nut."""
    host = [replace(f, **NUT | {"thread": None, "across_mm": 6.0}, float_mm=0.0) for f in studs(PLATE)]
    screwed = holes(PLATE)
    screwed[1] = replace(screwed[1], thread="M6x1")
    assert said(build(host, given(screwed))) == ("not enough measured", ["thread of F2"])
    assert said(build(host, given(holes(PLATE))))[0] == "bolts on"
    host[1] = replace(host[1], thread="M6x1")
    assert said(build(host, given(screwed)))[0] == "bolts on"


# Distances alone of a part that is not flat

WING = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0), (0.0, 180.0), (150.0, 90.0), (80.0, 150.0)]


def by_distances(heights_mm: tuple[float, ...], slip_mm: float = 0.0) -> Build:
    """A donor measured by every distance, to 0.5 mm; its holes stand over those of a flat host."""
    at = [(x, y, z) for (x, y), z in zip(WING, heights_mm, strict=False)]
    rows = [
        Reading("donor", f"k{i}{j}", "centres", round(math.dist(at[i], at[j]), 1), "mm", f"a{i + 1}", f"a{j + 1}", 0.5)
        for j in range(len(at)) for i in range(j)
    ]  # fmt: skip
    rows[0] = replace(rows[0], value=rows[0].value + slip_mm)
    points = WING[: len(heights_mm)]
    return replace(build(studs(points), bare(holes(points)), duty="trim"), readings=tuple(rows))


@pytest.mark.parametrize("heights_mm", [(0.0, 30.0, 0.0, 60.0, 10.0), (0.0, 30.0, 0.0, 60.0, 10.0, 45.0)])
def test_distances_that_no_plane_holds_ask_for_heights(heights_mm: tuple[float, ...]) -> None:
    verdict, asked = said(by_distances(heights_mm))
    assert verdict == "not enough measured" and asked[0] == "z of donor"


def test_four_holes_may_be_bent_or_misread_and_both_are_said() -> None:
    verdict = partkin.check(by_distances((0.0, 0.0, 0.0, 60.0)), "donor")
    assert verdict.verdict == "not enough measured"
    assert any("no plane holds these distances" in reason.says for reason in verdict.reasons)


@pytest.mark.parametrize("heights_mm", [(0.0, 0.0, 0.0, 60.0), (0.0, 30.0, 0.0, 60.0, 10.0)])
def test_a_true_reading_is_called_a_slip_only_unless_the_part_is_not_flat(heights_mm: tuple[float, ...]) -> None:
    """Taken down one after another, and asked about by doctor."""
    made = by_distances(heights_mm)
    taken = [replace(made, readings=made.readings[:n]) for n in range(1, len(made.readings) + 1)]
    said = [surprise_of(build, build.readings[-1]) for build in taken]
    said += [one.says for one in suspects_of(made, "donor")]
    surprised = [one for one in said if one is not None]
    assert surprised and all("or donor is not flat" in one for one in surprised)


def test_a_slip_on_a_flat_part_is_no_height() -> None:
    verdict = partkin.check(by_distances((0.0,) * 6, slip_mm=30.0), "donor")
    assert not any("no plane" in said.says for said in (*verdict.reasons, *verdict.unknown))


# One spare hole more


@pytest.mark.parametrize("fastener_mm", [None, 6.0])
@pytest.mark.parametrize("points", [PLATE, PULLED])
@pytest.mark.parametrize("side", ["host", "donor"])
def test_a_spare_hole_far_away_changes_nothing(side: str, points: list, fastener_mm: float | None) -> None:
    spare = Feature(side, "zz", "hole", 7.0, fastener_mm=fastener_mm, x_mm=4e3, y_mm=3e3, need="spare")
    for made in (
        build(studs(PLATE), holes(points)), build(studs(PLATE), holes(points, need="must"), duty="trim"),
        build([replace(f, **NUT, float_mm=0.2) for f in studs(PLATE)], given(holes(points))),
        shown(build(bare(studs(PLATE)), holes(points)), [
            replace(f, goes_on=f"F{n}") for n, f in enumerate(came_off(PLATE), 1)
        ]),
    ):  # fmt: skip
        more = replace(made, features=(*made.features, spare))
        one, other = partkin.check(made, "donor"), partkin.check(more, "donor")
        assert (one.verdict, one.margin_mm) == (other.verdict, other.margin_mm)
