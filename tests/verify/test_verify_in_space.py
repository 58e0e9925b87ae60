"""`partkin verify` in space: what is true is confirmed, and no figure of it can be changed unnoticed."""

from __future__ import annotations

import copy
import json
from dataclasses import replace

import numpy as np
import pytest

import partkin
from builders import build
from partkin.fit.rotations import turned_by
from partkin.model.build import Build, Feature
from partkin.report.verdict_file import verdict_json
from partkin.verify.verify import confirm, verify

# An invented hinge plate: three screws through its foot, a slot and a deep hole in its wall.
PLACES = {
    "F1": ((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
    "F2": ((140.0, 0.0, 2.0), (0.0, 0.0, 1.0)),
    "F3": ((70.0, 80.0, 0.0), (0.0, 0.0, 1.0)),
    "F4": ((30.0, 100.0, 45.0), (0.0, -1.0, 0.0)),
    "F5": ((110.0, 100.0, 50.0), (0.0, -1.0, 0.0)),
}


def sheets(off: dict | None = None, flex_mm: float | None = None, in_plane: bool | None = None) -> Build:
    """Host studs, and the donor measured in a frame of its own."""
    turn = turned_by(np.array([-0.3, 0.5, 1.4]))
    host, donor = [], []
    for number, (name, (at, axis)) in enumerate(PLACES.items(), start=1):
        host.append(
            Feature(
                "host",
                name,
                "stud",
                thread="M6",
                x_mm=at[0],
                y_mm=at[1],
                z_mm=at[2],
                axis=axis,
                plus_minus_mm=0.0,
                need="must",
            )
        )
        x, y, z = turn @ (np.array(at) + (off or {}).get(name, 0.0)) + (10.0, 20.0, 30.0)
        slot = {"length_mm": 12.0, "angle_deg": 25.0} if name == "F4" else {}
        donor.append(
            Feature(
                "donor",
                f"a{number}",
                "slot" if slot else "hole",
                across_mm=7.0,
                x_mm=float(x),
                y_mm=float(y),
                z_mm=float(z),
                axis=tuple(float(v) for v in turn @ np.array(axis)),
                plus_minus_mm=0.0,
                goes_on=name,
                **slot,
            )
        )
    plain = build(host, donor)
    more = {"thickness_mm": 4.0, "flex_mm": flex_mm, "flex_in_plane": in_plane}
    return replace(plain, parts=tuple(replace(p, **more) if p.part == "donor" else p for p in plain.parts))


def told(made: Build) -> dict:
    return json.loads(verdict_json(partkin.check(made, "donor")))


def test_a_fit_is_confirmed_and_every_changed_figure_refused() -> None:
    made = sheets({"F2": (0.3, 0.2, 0.4)})
    tree = told(made)
    assert tree["verdict"] == "bolts on" and confirm(tree, made).refused == ()
    leaves = [("placement", key) for key in ("turn_deg", "x_mm", "y_mm", "z_mm")]
    leaves += [("pairs", k, key) for k in range(5) for key in ("offset_mm", "allowed_mm", "margin_mm", "along_mm")]
    leaves += [("placement", "matrix", row, column) for row in range(3) for column in range(4)]
    leaves.append(("margin_mm",))
    for path in leaves:
        forged = copy.deepcopy(tree)
        *way, last = path
        spot = forged
        for step in way:
            spot = spot[step]
        spot[last] += 0.01
        assert verify(forged, made), path
    assert verify({**tree, "verdict": "does not fit"}, made)


@pytest.mark.parametrize(
    ("off_mm", "word"), [((2.2, 0.0, 0.14), "bolts on"), ((-0.5, 0.0, 8.0), "does not fit"), (None, "bolts on")]
)
def test_a_slot_that_points_at_another_feature_is_read_as_it_lies_in_space(off_mm: tuple | None, word: str) -> None:
    """From a4 to a5 it runs 80 mm along and 5 up; off that way it goes on, off across it does not."""
    made = sheets({"F4": off_mm} if off_mm else {})
    told_so = [replace(f, angle_deg=None, angle_to="a5") if f.kind == "slot" else f for f in made.features]
    made = replace(made, features=tuple(told_so))
    tree = told(made)
    assert tree["verdict"] == word
    assert confirm(tree, made).refused == ()


def test_a_conflict_is_confirmed_and_a_changed_proof_refused() -> None:
    made = sheets({"F2": (0.9, 1.3, 0.0), "F5": (1.2, 0.0, -1.4)})
    tree = told(made)
    assert tree["verdict"] == "does not fit" and confirm(tree, made).refused == ()
    pieces = tree["conflict"]["certificate"]["pairings"][0]["pieces"]
    assert len(pieces) > 1
    for change in (_without_one, _moved_box, _unbalanced, _made_local):
        forged = copy.deepcopy(tree)
        change(forged["conflict"]["certificate"]["pairings"][0])
        assert verify(forged, made), change.__name__
    wider = tuple(replace(f, across_mm=12.0) if f.part == "donor" else f for f in made.features)
    assert verify(tree, replace(made, features=wider))


def test_what_is_odd_is_confirmed_and_a_changed_figure_refused() -> None:
    made = sheets({"F2": (2.5, 0.0, 0.0)})
    tree = told(made)
    odd = tree["odd"]
    assert tree["verdict"] == "does not fit" and (odd["holds"], odd["of"]) == (4, 5)
    assert odd["says"] == "4 of 5 fixings hold; a2 on F2 is 2.5 mm to the right"
    assert confirm(tree, made).refused == ()
    forged = copy.deepcopy(tree)
    forged["odd"]["placement"]["matrix"][0][3] += 0.3
    assert verify(forged, made)
    assert verify({**tree, "odd": {**odd, "holds": 5}}, made)


def _without_one(pairing: dict) -> None:
    del pairing["pieces"][len(pairing["pieces"]) // 2]


def _moved_box(pairing: dict) -> None:
    pairing["pieces"][3]["box"]["lo"][0] += 0.25


def _unbalanced(pairing: dict) -> None:
    piece = next(piece for piece in pairing["pieces"] if piece.get("weights"))
    piece["weights"][0][1] += 0.25


def _made_local(pairing: dict) -> None:
    pairing["local"] = True


@pytest.mark.parametrize("in_plane", [False, True])
def test_what_gives_is_confirmed_as_pulled_and_no_further(in_plane: bool) -> None:
    off = {"F5": (2.2, 0.0, 0.0)} if in_plane else {"F5": (0.0, 14.0, 0.0)}
    made = sheets(off, flex_mm=4.0, in_plane=in_plane)
    assert told(sheets(off))["verdict"] == "does not fit"
    tree = told(made)
    assert tree["verdict"] == "bolts on" and 0 < tree["flex_used_mm"] <= 4.0
    assert confirm(tree, made).refused == ()
    assert verify({**tree, "flex_used_mm": tree["flex_used_mm"] - 0.05}, made)
    assert "gives 0.1 mm" in verify(tree, sheets(off, flex_mm=0.1, in_plane=in_plane))[0]


def test_what_does_not_fit_though_pulled_is_proved_as_pulled() -> None:
    made = sheets({"F2": (3.0, 2.0, 0.0), "F5": (4.0, 0.0, -3.0)}, flex_mm=0.5, in_plane=True)
    tree = told(made)
    assert tree["verdict"] == "does not fit" and tree["flex_used_mm"] == 0.5
    assert confirm(tree, made).refused == ()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(60))
def test_random_verdicts_in_space_are_confirmed(seed: int) -> None:
    draw = np.random.default_rng([3, seed])
    off = {name: draw.uniform(-1.5, 1.5, 3) for name in PLACES}
    made = sheets(off, flex_mm=float(draw.choice([0.0, 0.5])) or None, in_plane=bool(draw.random() < 0.5))
    tree = told(made)
    local = tree["conflict"] is not None and tree["conflict"]["local"]
    if not local:
        assert confirm(tree, made).refused == ()
