"""Builds whose fixings do not lie in one plane: an invented bent bracket and an invented dished cover."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

import partkin
from builders import build
from partkin.fit.rotations import turned_by
from partkin.model.build import Build, Feature, Part, Zone
from partkin.report.text import verdict_text
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import confirm

# Bolted down at three places, and to a wall at two: x, y, z and the axis.
BRACKET = {
    "F1": ((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
    "F2": ((160.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
    "F3": ((80.0, 90.0, 0.0), (0.0, 0.0, 1.0)),
    "F4": ((20.0, 140.0, 60.0), (0.0, -1.0, 0.0)),
    "F5": ((140.0, 140.0, 60.0), (0.0, -1.0, 0.0)),
}
DISH = {
    "F1": ((-100.0, -80.0, 0.0), (0.0, 0.0, 1.0)),
    "F2": ((100.0, -80.0, 0.0), (0.0, 0.0, 1.0)),
    "F3": ((100.0, 80.0, 0.0), (0.0, 0.0, 1.0)),
    "F4": ((-100.0, 80.0, 0.0), (0.0, 0.0, 1.0)),
    "F5": ((0.0, 0.0, 25.0), (0.0, 0.0, 1.0)),
}
TURN = turned_by(np.array([0.4, -1.1, 0.7]))


def fixings(pattern: dict) -> list[Feature]:
    """M6 studs, read exactly."""
    return [
        Feature(
            "host",
            name,
            "stud",
            across_mm=6.0,
            x_mm=at[0],
            y_mm=at[1],
            z_mm=at[2],
            axis=axis,
            plus_minus_mm=0.0,
            need="must",
        )
        for name, (at, axis) in pattern.items()
    ]


def donor(pattern: dict, off: dict | None = None, turn: np.ndarray = TURN, plus_minus_mm: float = 0.0) -> list[Feature]:
    """7 mm holes in the donor's own frame; `off` moves some of them beforehand."""
    found = []
    for number, (name, (at, axis)) in enumerate(pattern.items(), start=1):
        x, y, z = turn @ (np.array(at) + (off or {}).get(name, 0.0)) + (300.0, -20.0, 45.0)
        way = tuple(float(v) for v in turn @ np.array(axis))
        found.append(
            Feature(
                "donor",
                f"a{number}",
                "hole",
                across_mm=7.0,
                x_mm=float(x),
                y_mm=float(y),
                z_mm=float(z),
                axis=way,
                plus_minus_mm=plus_minus_mm,
                goes_on=name,
            )
        )
    return found


def made(host: list[Feature], other: list[Feature], **part: object) -> Build:
    """A structural donor, so that no adaptation is looked for."""
    plain = build(host, other)
    parts = tuple(replace(p, **part) if p.part == "donor" else p for p in plain.parts)
    return replace(plain, parts=parts)


def test_a_bent_bracket_goes_on_however_it_lay_when_it_was_measured() -> None:
    verdict = partkin.check(made(fixings(BRACKET), donor(BRACKET)), "donor")
    assert verdict.verdict == "bolts on" and verdict.margin_mm == pytest.approx(0.5, abs=1e-6)
    assert max(abs(pair.along_mm) for pair in verdict.pairs) < 1e-6
    assert max(gap_mm for _, gap_mm in verdict.gaps) == pytest.approx(0.0, abs=1e-6)
    tree = json.loads(verdict_json(verdict))
    matrix = np.array(tree["placement"]["matrix"])
    assert np.allclose(matrix[:3, :3] @ matrix[:3, :3].T, np.eye(3), atol=1e-12)
    assert np.linalg.det(matrix[:3, :3]) == pytest.approx(1.0) and "z_mm" in tree["placement"]


def test_the_pairing_is_found_too() -> None:
    loose = [replace(feature, goes_on=None) for feature in donor(BRACKET)]
    verdict = partkin.check(made(fixings(BRACKET), loose[::-1]), "donor")
    assert verdict.verdict == "bolts on"
    assert {pair.fixing: pair.feature for pair in verdict.pairs} == {f"F{n}": f"a{n}" for n in range(1, 6)}


def test_a_wall_bent_too_far_is_refused_with_a_proof_over_every_turn() -> None:
    verdict = partkin.check(made(fixings(BRACKET), donor(BRACKET, {"F4": (0, 2.6, 0), "F5": (3.1, 0, 0)})), "donor")
    assert verdict.verdict == "does not fit"
    assert 2 <= len(verdict.conflict.fixings) <= 7 and {"F4", "F5"} & set(verdict.conflict.fixings)
    tree = json.loads(verdict_json(verdict))
    assert tree["conflict"]["local"] is False
    (nogood,) = tree["conflict"]["certificate"]["pairings"]
    assert nogood["pieces"] and "local" not in nogood


@pytest.mark.parametrize("named", [True, False])
def test_what_was_found_and_not_proved_over_every_turn_is_not_decided(
    named: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With no boxes allowed nothing can be proved over every turn."""
    from partkin.fit import space, space_certificate

    def hardly(pairs, ids, near=(), limit=0):
        return space_certificate.prove(pairs, ids, near, limit=1)

    off = {"F5": (0.0, 0.0, 14.0)}
    there = donor(DISH, off) if named else [replace(f, goes_on=None) for f in donor(DISH, off)]
    assert partkin.check(made(fixings(DISH), there), "donor").verdict == "does not fit"
    monkeypatch.setattr(space, "prove", hardly)
    verdict = partkin.check(made(fixings(DISH), there), "donor")
    assert verdict.verdict == "not enough measured" and verdict.conflict is None
    assert verdict.margin_mm < 0 and len(verdict.pairs) == 5, "what was found is shown"
    says = next(one.says for one in verdict.unknown if "not proved within the limit" in one.says)
    assert ("finer instrument" in says) == named and ("goes_on" in says) == (not named)


@pytest.mark.parametrize("by_mm", [0.0, 30.0])
def test_a_seam_is_seen_from_above_however_high_the_frame_of_its_part_lies(by_mm: float) -> None:
    """No sheet says how high a seam is: a donor read from 45 mm lower down is not refused for that."""
    there = donor(DISH, turn=np.eye(3))
    sheets = made(fixings(DISH), there)
    came_off = [replace(f, part="old", feature=f.goes_on, x_mm=f.x_mm - 300, y_mm=f.y_mm + 20, z_mm=f.z_mm - 45)
                for f in there]  # fmt: skip
    seam = ((-40.0, 10.0), (60.0, 10.0))
    sheets = replace(
        sheets,
        parts=(*(replace(p, duty="trim", airbag=None) for p in sheets.parts),
               Part("old", origin="original", takes_place_of="host", seen_from="outside", duty="trim")),
        features=(*sheets.features, *came_off),
        zones=(Zone("old", "s", "tear seam", seam),
               Zone("donor", "s", "tear seam", tuple((x + 300.0, y - 20.0 + by_mm) for x, y in seam))),
    )  # fmt: skip
    verdict = partkin.check(sheets, "donor")
    assert verdict.verdict == ("does not fit" if by_mm else "bolts on")
    tree = json.loads(verdict_json(verdict))
    assert confirm(tree, sheets).refused == ()
    if by_mm:
        assert tree["conflict"]["elsewhere"]["departure_mm"] == pytest.approx(by_mm, abs=1e-3)
        assert any("however else the donor may be laid" in said for said in confirm(tree, sheets).as_stated)


def test_a_dish_too_deep_is_refused_and_names_the_middle_and_what_holds_it() -> None:
    """The middle stands 14 mm too high; the fasteners reach 6 mm either way, so 12 mm in all."""
    verdict = partkin.check(made(fixings(DISH), donor(DISH, {"F5": (0.0, 0.0, 14.0)})), "donor")
    assert verdict.verdict == "does not fit"
    assert "F5" in verdict.conflict.fixings and 3 <= len(verdict.conflict.fixings) <= 4
    assert verdict.margin_mm == pytest.approx(-1.0, abs=1e-3)
    worst = min(verdict.pairs, key=lambda pair: pair.margin_mm)
    assert worst.direction == "along" and worst.state == "out of reach"
    assert not any(pair.state == "blocked" for pair in verdict.pairs)


def test_a_dish_that_gives_goes_on_pulled_by_what_is_needed() -> None:
    """A flex of 1 mm at each fixing is just what is short."""
    host, other = fixings(DISH), donor(DISH, {"F5": (0.0, 0.0, 14.0)})
    verdict = partkin.check(made(host, other, flex_mm=3.0), "donor")
    assert verdict.verdict == "bolts on"
    assert verdict.flex_used_mm == pytest.approx(1.0, abs=0.011)
    assert "pulled by hand by 1.0" in verdict_text(verdict)
    assert json.loads(verdict_json(verdict))["flex_used_mm"] == verdict.flex_used_mm
    assert dict(verdict.gaps)["F5"] == pytest.approx(14.0, abs=0.1)
    stiff = partkin.check(made(host, other, flex_mm=0.5), "donor")
    assert stiff.verdict == "does not fit"
    assert "neither rigid nor pulled by hand by 0.50 mm" in verdict_text(stiff)


def test_a_rigid_fit_is_judged_rigid_though_it_gives() -> None:
    verdict = partkin.check(made(fixings(DISH), donor(DISH), flex_mm=3.0), "donor")
    assert verdict.verdict == "bolts on" and verdict.flex_used_mm is None


def test_in_a_flat_pattern_only_a_part_that_gives_in_its_plane_gains() -> None:
    flat = {name: ((at[0], at[1], 0.0), axis) for name, (at, axis) in DISH.items()}
    host, other = fixings(flat), donor(flat, {"F3": (1.6, 0.0, 0.0)}, turn=np.eye(3))
    assert partkin.check(made(host, other), "donor").verdict == "does not fit"
    assert partkin.check(made(host, other, flex_mm=2.0), "donor").verdict == "does not fit"
    verdict = partkin.check(made(host, other, flex_mm=2.0, flex_in_plane=True), "donor")
    assert verdict.verdict == "bolts on" and 0 < verdict.flex_used_mm < 0.5


def test_a_turned_over_cover_is_refused_by_its_axes() -> None:
    """Flat and alike on both faces; but it was measured from the same face, and lies upside down."""
    flat = {name: ((at[0], at[1], 0.0), axis) for name, (at, axis) in DISH.items() if name != "F5"}
    flat["F4"] = ((-70.0, 80.0, 0.0), (0.0, 0.0, 1.0))
    flat["F5"] = ((0.0, 0.0, 8.0), (0.0, 0.0, 1.0))
    mirror = {name: ((-at[0], at[1], at[2]), axis) for name, (at, axis) in flat.items()}
    assert partkin.check(made(fixings(flat), donor(mirror)), "donor").verdict == "does not fit"
    other = made(fixings(flat), donor(mirror), seen_from="inside")
    assert partkin.check(other, "donor").verdict == "bolts on"


def test_an_axis_that_points_another_way_is_told_in_degrees() -> None:
    """The fifth hole is drilled from above instead of through the wall."""
    wrong = donor(BRACKET)
    wrong[4] = replace(wrong[4], axis=tuple(float(v) for v in TURN @ (0.0, 0.0, 1.0)))
    sheets = made(fixings(BRACKET), wrong)
    verdict = partkin.check(sheets, "donor")
    assert verdict.verdict == "does not fit" and "F5" in verdict.conflict.fixings
    assert "degrees off that of" in verdict_text(verdict) and "mm out of reach, lean" not in verdict_text(verdict)
    (odd,) = [pair for pair in verdict.pairs if pair.fixing == "F5"]
    assert odd.direction == "lean" and odd.lean_deg > 30.0 and odd.state == "out of reach"
    assert confirm(json.loads(verdict_json(verdict)), sheets).refused == ()


def test_heights_on_one_side_alone_are_asked_for() -> None:
    unknown = [replace(f, z_mm=None, axis=None) for f in donor(DISH, turn=np.eye(3))]
    verdict = partkin.check(made(fixings(DISH), unknown), "donor")
    assert verdict.verdict == "not enough measured"
    assert any(u.what == "z of donor" and u.quantity == "z" for u in verdict.unknown)
    level = {name: ((at[0], at[1], 5.0), axis) for name, (at, axis) in DISH.items()}
    assert partkin.check(made(fixings(level), unknown), "donor").verdict == "bolts on"


def test_readings_that_are_unsure_give_a_chance_in_space() -> None:
    sure = partkin.check(made(fixings(DISH), donor(DISH, plus_minus_mm=0.1)), "donor")
    assert sure.verdict == "bolts on" and sure.chance.fits == 1.0 and sure.chance.draws > 0
    unsure = partkin.check(made(fixings(BRACKET), donor(BRACKET, {"F5": (2.0, 0, 0)}, plus_minus_mm=1.0)), "donor")
    assert unsure.verdict == "not enough measured" and 0.0 < unsure.chance.fits < 1.0


@pytest.mark.parametrize("off", [{}, {"F5": (0.0, 0.0, 14.0)}, {"F3": (1.5, 0.4, 0.0)}, {"F1": (2.3, 0.0, 0.0)}])
def test_verify_confirms_what_is_said_in_space(off: dict) -> None:
    for pattern in (DISH, BRACKET):
        sheets = made(fixings(pattern), donor(pattern, off))
        tree = json.loads(verdict_json(partkin.check(sheets, "donor")))
        assert confirm(tree, sheets).refused == ()
