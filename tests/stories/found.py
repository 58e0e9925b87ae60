"""Findings set by hand: a host with three studs F1 to F3, a donor with three holes a1 to a3, and how they came out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from builders import given, holes, studs
from partkin.model.adapting import Action, Adaptation, AdaptationAnswer
from partkin.model.build import Part
from partkin.model.fitting import Chance, Conflict, FitAnswer, FitTask, Option, PairFit, Placement, Spot
from partkin.model.known import Evidence, Known, Side
from partkin.model.mating import Mating
from partkin.model.positions import Missing
from partkin.model.verdict import Trial
from partkin.trial.findings import Findings

PLATE = [(0.0, 0.0), (300.0, 0.0), (310.0, 200.0)]
LAID = Placement(0.0, 0.0, 0.0, False, ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0, 0, 0, 1)))
SAME_NUMBER = Evidence("same part number", 1, True, "both bear AB-1", ("host: AB-1", "donor: AB-1"), "the sheets")
LIKE = Evidence("looks alike", 5, True, "they look alike", (), "common practice, no source")
DOUBT = Evidence("other years", 0, False, "the years do not overlap", (), "the sheets")


def side(part: str, features: list | None = None, **more: Any) -> Side:
    """One side of a comparison."""
    made = {"origin": part, "seen_from": "outside", "duty": "body", "airbag": False, "material": "steel"} | more
    listed = (studs if part == "host" else holes)(PLATE) if features is None else features
    return Side(Part(part, **made), None, tuple(listed), (), (), ())  # type: ignore[arg-type]


def pairs(*margins_mm: float) -> tuple[PairFit, ...]:
    """F1 with a1, F2 with a2, ..., each with 0.5 mm of play."""
    return tuple(PairFit(f"F{n}", f"a{n}", 0.5 - one, 0.5, one) for n, one in enumerate(margins_mm, start=1))


def trial(stand: str = "fits", margins_mm: tuple[float, ...] = (0.3, 0.2, 0.4), **more: Any) -> Trial:
    """How it came out; further fields of the trial or of its answer."""
    own = {key: more.pop(key) for key in tuple(more) if key in Trial.__dataclass_fields__}
    fits = more.pop("fits", {"fits": True, "does not": False}.get(stand))
    spots = {name: tuple(Spot(f"{name}{n}", at) for n, at in enumerate(PLATE, start=1)) for name in "Fa"}
    options = tuple(Option(f"F{n}", f"a{n}", 0.5) for n in (1, 2, 3))
    answer = {"placement": LAID, "pairs": pairs(*margins_mm), "margin_mm": min(margins_mm)} | more
    matings = {(o.fixing, o.feature): Mating(o.fixing, o.feature, None, 0.5) for o in options}
    made = Trial(
        False, FitTask(spots["F"], spots["a"], options, given=True), FitAnswer(fits, **answer), None, stand, matings
    )  # type: ignore[arg-type]
    return replace(made, **own)


def conflict(count: int = 2, **more: Any) -> Conflict:
    """Of the first so many fixings."""
    made = {"fixings": tuple(f"F{n}" for n in range(1, count + 1)), "features": (), "shortfall_mm": 1.5}
    return Conflict(**(made | {"pairs": pairs(*[-1.5] * count), "nogoods": ()} | more))


def work(*jobs: str) -> AdaptationAnswer:
    """One adaptation of these jobs."""
    actions = tuple(Action("open out", "a1", "donor", 9.0, 10.0, 5.0, says) for says in jobs)
    return AdaptationAnswer((Adaptation(actions, 10.0, 5.0, 0.4, True),))


def findings(*trials: Trial, host: dict | None = None, donor: dict | None = None, **more: Any) -> Findings:
    """What was found, with further fields of the findings or of what is known."""
    known = {key: more.pop(key) for key in tuple(more) if key in Known.__dataclass_fields__}
    sides = {
        "host": side("host", **(host or {})),
        "donor": side("donor", **(donor or {"features": given(holes(PLATE))})),
    }
    whole = Known(**({**sides, "original": None, "evidence": (), "forbids": ()} | known))
    return Findings(whole, 0.95, more.pop("measured_from", "host"), trials, **more)


SURE = Chance(0.98, 0.96, 0.99, 640)
OUT = (-1.5, -1.5, 0.2)
NOT_ON = trial("does not", OUT, conflict=conflict())
WHERE = Missing("where a1 is", "donor", "centres", "a1", "a2", "Measure a1 to a2.")
