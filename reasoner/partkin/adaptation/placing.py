"""Where fixings stand around their features, and whether a set of choices lets the donor be laid on: by the geometry.

A new slot that runs in whatever direction is a disc. A rim that it must not pass is put to the geometry as
one more pair of the same fixing: with a point far on the other side, which it must not leave too far behind. Last:
the task as it is once the work is done.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from partkin.adaptation.choices import RIM_RADIUS_MM, Choice, FixingChoices, ReachShape, holds
from partkin.adaptation.sizes import Rim
from partkin.fit.segments import direction, nearest
from partkin.fit.solve import conflicting, goes_on, lies_at, quick_answer, solve
from partkin.fit.solve import holds as holds_somewhere
from partkin.model.adapting import ALONG_Z, RESHAPES, Adaptation
from partkin.model.fitting import Conflict, FitAnswer, FitTask, Option, Placement, Spot

REACH_TOLERANCE_MM = 1e-6
# For each of some units the choices that a cut strikes: not all of these units may have one of them.
Sets = tuple[tuple[int, frozenset[int]], ...]
RIM_MARK = "~"


def line3(spot: Spot) -> np.ndarray:
    """Both ends of a spot's centre line in space, (2, 3)."""
    centre = np.zeros(3)
    centre[: len(spot.at_mm)] = spot.at_mm
    reach = spot.half_travel_mm * np.array([*direction(spot.angle_deg), 0.0])
    return np.array([centre - reach, centre + reach])


def standing(unit: FixingChoices, placement: Placement, side: str) -> tuple[np.ndarray, np.ndarray]:
    """Centre lines, (2, 2) each, of one side and of the other, in the frame of the part on `side`."""
    assert unit.feature is not None
    move = np.array(placement.matrix, dtype=float)
    own, other = (unit.fixing, unit.feature)
    if side == "donor":
        move, own, other = np.linalg.inv(move), unit.feature, unit.fixing
    return _flat(line3(own), own.axis), _flat(line3(other) @ move[:3, :3].T + move[:3, 3], own.axis)


def _flat(line: np.ndarray, axis: tuple[float, float, float]) -> np.ndarray:
    """Drop the direction along the axis. Across another axis than z only distances mean anything."""
    if abs(axis[2]) > ALONG_Z:
        return line[:, :2]
    along = np.array(axis) / np.linalg.norm(axis)
    first = np.cross(along, [0.0, 0.0, 1.0])
    first /= np.linalg.norm(first)
    return np.asarray(line @ np.array([first, np.cross(along, first)]).T)


def lengthened(own: np.ndarray, spot: Spot, shape: ReachShape) -> np.ndarray:
    """Centre line of a slot lengthened by a shape's `back_mm` and `forward_mm`."""
    along = direction(spot.angle_deg)
    return np.asarray(own + np.array([-shape.back_mm * along, shape.forward_mm * along]))


def excess_mm(unit: FixingChoices, choice: Choice, placement: Placement) -> float:
    """How far outside a choice's reach a fixing stands; 0 or less: inside."""
    shape, spot = choice.shape, unit.feature if choice.side == "donor" else unit.fixing
    if shape is None:
        return -math.inf
    assert spot is not None
    own, other = standing(unit, placement, choice.side)
    here, there = nearest(lengthened(own, spot, shape), other)
    beyond_mm = float(np.linalg.norm(there - here)) - shape.outer_mm
    for rim in shape.rims:
        middle = own.mean(axis=0) + (rim.room_mm - RIM_RADIUS_MM) * np.array([rim.x, rim.y])
        beyond_mm = max(beyond_mm, float(np.linalg.norm(there - middle)) - RIM_RADIUS_MM)
    return beyond_mm


@dataclass(frozen=True)
class Refuted:
    """Choices that cannot hold together: for each unit named, those from whose reach nothing is gained.

    `sets` empty: not decided within the geometry's own limit. `nearest`: the placement that misses least.
    """

    sets: Sets
    conflict: Conflict | None = None
    nearest: Placement | None = None


class Geometry:
    """The units with the geometry's answers; `quick`: without proofs, where the task is flat."""

    def __init__(self, task: FitTask, units: Sequence[FixingChoices], quick: bool = True) -> None:
        self.task, self.units, self.is_quick = task, units, quick and task.dims == 2

    def fits(self, task: FitTask) -> bool | None:
        """Whether a task goes on; None: not decided within the geometry's limit."""
        return goes_on(task) if self.is_quick else solve(task).fits

    def answer(self, task: FitTask) -> FitAnswer:
        """The whole answer under a given pairing where all of it holds."""
        return quick_answer(task) if self.is_quick else solve(task)

    def answer_of_fit(self, task: FitTask) -> FitAnswer | None:
        """The same; None where it does not go on, which in space is told before anything is asked of its margin."""
        answer = None if task.dims == 3 and holds_somewhere(task) is False else self.answer(task)
        return answer if answer is not None and answer.fits else None

    def placement(self, task: FitTask) -> Placement | None:
        """Where a given pairing lies at best, whether it holds or not."""
        return lies_at(task) if self.is_quick else solve(task).placement or None

    def task_of(self, choices: dict[int, Choice]) -> FitTask:
        """Make the task of these choices alone, each at its full reach."""
        pairs = [pair for n, choice in choices.items() for pair in _pairs_of(self.units[n], choice)]
        return replace(
            self.task,
            fixings=tuple(replace(host, must=True, should=False) for host, _, _ in pairs),
            features=tuple(replace(donor, must=False, should=True) for _, donor, _ in pairs),
            options=tuple(Option(host.id, donor.id, allowed_mm) for host, donor, allowed_mm in pairs),
            given=True,
        )

    def place(self, vector: Sequence[int]) -> Placement | Refuted:
        """Lay the donor down under one choice a unit."""
        return self.lay({n: unit.choices[vector[n]] for n, unit in enumerate(self.units)})

    def lay(self, whole: dict[int, Choice], widening: bool = True) -> Placement | Refuted:
        """Lay the donor down under some choices.

        Rims come in only once a placement passes them: most never matter, and what is refuted without them
        is refuted for more. `widening`: make what is refuted as much as can be.
        """
        refuted = self._widened if widening else self._within
        asked = {n: with_rims(choice, ()) for n, choice in whole.items()}
        while True:
            conflict = self._conflict(asked) if self.is_quick else None
            if conflict is not None:
                return Refuted(refuted(conflict))
            answer = self.answer(self.task_of(asked))
            nearest = answer.placement or None
            if answer.fits is None:
                return Refuted((), nearest=nearest)
            if not answer.fits or nearest is None:
                return Refuted(refuted(self._named(answer.conflict, asked)), answer.conflict, nearest)
            passed = [
                (n, rim)
                for n, choice in whole.items()
                for rim in _rims(choice)
                if rim not in _rims(asked[n])
                and excess_mm(self.units[n], with_rims(choice, (rim,)), nearest) > REACH_TOLERANCE_MM
            ]
            if not passed:
                return nearest
            for n, rim in passed:
                asked[n] = with_rims(asked[n], (*_rims(asked[n]), rim))

    def _fits(self, choices: dict[int, Choice]) -> bool | None:
        return self.fits(self.task_of(choices))

    def _conflict(self, choices: dict[int, Choice]) -> dict[int, Choice] | None:
        """A smallest conflict by the quick answers; None: there is none, or it is not decided."""
        named = conflicting(self.task_of(choices))
        if named is None:
            return None
        fixings = {name.split(RIM_MARK)[0] for name in named}
        return self._smallest({n: c for n, c in choices.items() if self.units[n].fixing.id in fixings})

    def _smallest(self, conflict: dict[int, Choice]) -> dict[int, Choice]:
        """Leave out what the conflict does without: by halves, then one by one."""
        left = {n: choice for n, choice in conflict.items() if choice.shape is not None}
        size = max(1, len(left) // 2)
        while True:
            numbers = list(left)
            for start in range(0, len(numbers), size):
                fewer = {n: choice for n, choice in left.items() if n not in numbers[start : start + size]}
                if fewer and self._fits(fewer) is False:
                    left = fewer
            if size == 1:
                return left
            size //= 2

    def _named(self, conflict: Conflict | None, choices: dict[int, Choice]) -> dict[int, Choice]:
        """The choices at the fixings of a conflict; where none is named, all that place the part."""
        named = {fixing.split(RIM_MARK)[0] for fixing in conflict.fixings} if conflict else set()
        placing = {n: choice for n, choice in choices.items() if choice.shape is not None}
        return {n: choice for n, choice in placing.items() if self.units[n].fixing.id in named} or placing

    def _widened(self, conflict: dict[int, Choice]) -> Sets:
        """Raise each choice of a conflict as long as it stays one: what it refutes grows."""
        for number in sorted(conflict):
            for whole in self.units[number].choices:
                raised, now = with_rims(whole, ()), conflict[number]
                if raised.shape is None or not holds(now, raised) or holds(raised, now):
                    continue
                if self._fits({**conflict, number: raised}) is not False:
                    break
                conflict = {**conflict, number: raised}
        return self._within(conflict)

    def _within(self, conflict: dict[int, Choice]) -> Sets:
        """All choices that reach no farther than those of a conflict."""
        return tuple(
            (n, frozenset(k for k, choice in enumerate(self.units[n].choices) if holds(choice, conflict[n])))
            for n in sorted(conflict)
        )


def _rims(choice: Choice) -> tuple[Rim, ...]:
    return choice.shape.rims if choice.shape is not None else ()


def with_rims(choice: Choice, rims: tuple[Rim, ...]) -> Choice:
    """Return a choice with other rims, where it is one that has any."""
    if choice.shape is None or choice.shape.rims == rims:
        return choice
    return choice._replace(shape=choice.shape._replace(rims=rims))


def _pairs_of(unit: FixingChoices, choice: Choice) -> list[tuple[Spot, Spot, float]]:
    """Host spot, donor spot and play of a choice and of each rim of it; none where it does not place the part."""
    shape = choice.shape
    if shape is None or unit.feature is None:
        return []
    spots = {"host": unit.fixing, "donor": unit.feature}
    if shape.forward_mm or shape.back_mm:
        spot = spots[choice.side]
        x, y, *z = spot.at_mm
        along_x, along_y = ((shape.forward_mm - shape.back_mm) / 2.0 * direction(spot.angle_deg)).tolist()
        half_mm = spot.half_travel_mm + (shape.forward_mm + shape.back_mm) / 2.0
        spots[choice.side] = replace(spot, at_mm=(x + along_x, y + along_y, *z), half_travel_mm=half_mm)
    found = [(spots["host"], spots["donor"], shape.outer_mm)]
    for number, rim in enumerate(shape.rims):
        both = {side: replace(spot, id=f"{spot.id}{RIM_MARK}{number}") for side, spot in spots.items()}
        x, y, *z = both[choice.side].at_mm
        away_mm = rim.room_mm - RIM_RADIUS_MM
        both[choice.side] = replace(both[choice.side], at_mm=(x + away_mm * rim.x, y + away_mm * rim.y, *z))
        found.append((both["host"], both["donor"], RIM_RADIUS_MM))
    return found


def adapted_task(task: FitTask, adaptation: Adaptation) -> FitTask:
    """Return the fit task as it stands once the work is done as asked for, its pairs given.

    New slots and holes are in place, plays as after the work. A new hole is a feature `new-` and its fixing.
    """
    allowed_mm = {(option.fixing, option.feature): option.allowed_mm for option in task.options}
    fixings, features = ({spot.id: spot for spot in spots} for spots in (task.fixings, task.features))
    partner = dict(adaptation.pairs)
    for action in adaptation.actions:
        if action.allowed_mm is not None and action.fixing is not None:
            pair = (action.fixing, partner.get(action.fixing, action.feature))
            # The first job of a pair may be its bolt, the last its hole: the last word counts.
            if action.do != "other bolt" or pair not in allowed_mm:
                allowed_mm[pair] = action.allowed_mm
        if action.do == "new hole" and action.at_mm is not None:
            hole = Spot(action.feature, action.at_mm, must=False, should=True)
            features[action.feature] = replace(hole, axis=action.axis or hole.axis)
        elif action.do in RESHAPES:
            side = features if action.side == "donor" else fixings
            if action.length_mm is not None and action.to_mm is not None:
                spot, half_mm = side[action.feature], max(0.0, (action.length_mm - action.to_mm) / 2.0)
                angle_deg = action.angle_deg if action.angle_deg is not None else spot.angle_deg
                at_mm = action.at_mm or spot.at_mm
                side[spot.id] = replace(spot, at_mm=at_mm, half_travel_mm=half_mm, angle_deg=angle_deg)
        # A bracket that is moved over is fixed where its fixing is.
        elif action.do in ("leave unused", "move over") and action.fixing in fixings:
            spot = fixings[action.fixing]
            fixings[spot.id] = replace(spot, should=False, must=spot.must and action.do == "leave unused")
    return replace(
        task,
        fixings=tuple(fixings.values()),
        features=tuple(features.values()),
        options=tuple(Option(*pair, allowed_mm[pair]) for pair in adaptation.pairs),
        given=True,
    )
