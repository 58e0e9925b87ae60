"""Whether a set of choices lets the donor be laid on its fixings, asked of the geometry.

A slot that runs in whatever direction is a disc; one that edges and zones keep short in some directions is a
union of 72 stadiums, which the geometry cannot take at once. It is put inside a disc, then inside a stadium
for each of ever narrower sectors, until every slot of the placement found runs within its own room.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from partkin.adaptation.choices import STEP_DEG, Choice, Shape, Unit, holds, surely_holds
from partkin.adaptation.limits import DIRECTIONS
from partkin.adaptation.standing import REACH_TOLERANCE_MM, direction_of, excess_mm, heading_deg
from partkin.model.fitting import Conflict, FitAnswer, FitTask, Option, Placement, Spot

Solve = Callable[[FitTask], FitAnswer]
Fits = Callable[[FitTask], bool | None]
Sets = tuple[tuple[int, frozenset[int]], ...]
MOST_SECTORS = 200


@dataclass(frozen=True)
class Placed:
    """A placement that every choice reaches, and the direction of each hemmed slot, by unit."""

    placement: Placement
    directions: dict[int, int]


@dataclass(frozen=True)
class Refuted:
    """Choices that cannot hold together: for each unit named, those from whose reach nothing is gained.

    `sets` empty: not decided within the limit, or refused for a reason that says nothing of other sets.
    """

    sets: Sets
    conflict: Conflict | None = None
    nearest: Placement | None = None
    decided: bool = True


class Geometry:
    """The units with the geometry's answers; counts what it asks."""

    def __init__(self, task: FitTask, units: Sequence[Unit], solve: Solve, fits: Fits | None) -> None:
        self.task, self.units, self.solve = task, units, solve
        self.fits = fits or (lambda asked: solve(asked).fits)
        self.asked = 0

    def task_of(self, choices: dict[int, Choice], sectors: dict[int, range] | None = None) -> FitTask:
        """Make the task of these choices alone, each at its full reach."""
        fixings, features, options = [], [], []
        for number, choice in choices.items():
            unit = self.units[number]
            if choice.shape is None or unit.feature is None:
                continue
            spots = {"donor": unit.feature, "host": unit.fixing}
            sector = (sectors or {}).get(number)
            spots[choice.side], allowed_mm = enclosed(spots[choice.side], choice.shape, sector)
            fixings.append(replace(spots["host"], must=True, should=False))
            features.append(replace(spots["donor"], must=False, should=True))
            options.append(Option(unit.fixing.id, unit.feature.id, allowed_mm))
        return replace(
            self.task, fixings=tuple(fixings), features=tuple(features), options=tuple(options), given=True
        )

    def place(self, vector: Sequence[int]) -> Placed | Refuted:
        """Lay the donor down under one choice a unit."""
        choices = {n: unit.choices[vector[n]] for n, unit in enumerate(self.units)}
        answer = self._ask(self.task_of(choices))
        nearest = answer.placement or None
        if answer.fits is None:
            return Refuted((), nearest=nearest, decided=False)
        if not answer.fits:
            involved = self._involved(answer.conflict, choices)
            sets = self.lift({number: vector[number] for number in involved})
            return Refuted(sets, answer.conflict, nearest)
        narrow = _Narrowing(self, choices)
        found = narrow.search({}, answer)
        if found is not None:
            return found
        if narrow.undecided:
            return Refuted((), nearest=nearest, decided=False)
        involved = sorted(narrow.involved)
        sets = tuple((number, self._below(number, vector[number], surely=True)) for number in involved)
        return Refuted(sets, narrow.conflict, nearest)

    def _ask(self, task: FitTask) -> FitAnswer:
        self.asked += 1
        return self.solve(task)

    def _involved(self, conflict: Conflict | None, choices: dict[int, Choice]) -> list[int]:
        named = set(conflict.fixings) if conflict else set()
        found = [
            number
            for number, choice in choices.items()
            if choice.shape is not None and self.units[number].fixing.id in named
        ]
        return found or [number for number, choice in choices.items() if choice.shape is not None]

    def _below(self, number: int, chosen: int, surely: bool = False) -> frozenset[int]:
        choices = self.units[number].choices
        within = surely_holds if surely else holds
        return frozenset(n for n, choice in enumerate(choices) if within(choice, choices[chosen]))

    def lift(self, conflict: dict[int, int]) -> Sets:
        """Raise each choice of a conflict as long as it stays one: what it refutes grows."""
        for number in sorted(conflict):
            choices = self.units[number].choices
            for higher in range(len(choices)):
                raised = choices[higher]
                if raised.shape is None or higher == conflict[number]:
                    continue
                if not holds(choices[conflict[number]], raised) or holds(raised, choices[conflict[number]]):
                    continue
                trial = {n: self.units[n].choices[c] for n, c in conflict.items()} | {number: raised}
                self.asked += 1
                if self.fits(self.task_of(trial)) is not False:
                    break
                conflict = {**conflict, number: higher}
        return tuple((number, self._below(number, conflict[number])) for number in sorted(conflict))


def enclosed(spot: Spot, shape: Shape, sector: range | None) -> tuple[Spot, float]:
    """The spot and play that hold a shape, of which a hemmed slot runs within `sector` (None: all round)."""
    if shape.back_mm or shape.forward_mm:
        return _shifted(spot, spot.angle_deg, shape.forward_mm, shape.back_mm), shape.allowed_mm
    if shape.reaches_mm is None or sector is None:
        return spot, shape.outer_mm
    reach_mm = max(shape.reaches_mm[number % DIRECTIONS] for number in sector)
    half_deg = (len(sector) - 1) * STEP_DEG / 2.0
    middle_deg = (sector[0] * STEP_DEG + half_deg) % 360.0
    beside_mm = reach_mm * math.sin(math.radians(half_deg))
    return _shifted(spot, middle_deg, reach_mm, 0.0), shape.allowed_mm + beside_mm


def _shifted(spot: Spot, along_deg: float, forward_mm: float, back_mm: float) -> Spot:
    """Lengthen a spot's centre line along one direction."""
    turn = math.radians(along_deg)
    move_mm = (forward_mm - back_mm) / 2.0
    centre = list(spot.at_mm)
    centre[0] += move_mm * math.cos(turn)
    centre[1] += move_mm * math.sin(turn)
    half_mm = spot.half_travel_mm + (forward_mm + back_mm) / 2.0
    return replace(spot, at_mm=tuple(centre), half_travel_mm=half_mm, angle_deg=along_deg)


class _Narrowing:
    """Search over sectors of the hemmed slots, widest first."""

    def __init__(self, geometry: Geometry, choices: dict[int, Choice]) -> None:
        self.geometry, self.choices = geometry, choices
        self.left = MOST_SECTORS
        self.undecided = False
        self.involved: set[int] = set()
        self.conflict: Conflict | None = None

    def search(self, sectors: dict[int, range], answer: FitAnswer) -> Placed | None:
        if answer.fits is None:
            self.undecided = True
            return None
        if not answer.fits or not answer.placement:
            self.involved |= set(self.geometry._involved(answer.conflict, self.choices))
            self.conflict = self.conflict or answer.conflict
            return None
        directions, worst = self._directions(sectors, answer.placement)
        if worst is None:
            return Placed(answer.placement, directions)
        self.involved.add(worst)
        for sector in self._parts(worst, sectors.get(worst), answer.placement):
            if self.left <= 0:
                self.undecided = True
                return None
            self.left -= 1
            narrower = {**sectors, worst: sector}
            found = self.search(narrower, self.geometry._ask(self.geometry.task_of(self.choices, narrower)))
            if found is not None or self.undecided:
                return found
        return None

    def _directions(
        self, sectors: dict[int, range], placement: Placement
    ) -> tuple[dict[int, int], int | None]:
        """Directions that reach; the hemmed slot that reaches least, if one does not."""
        directions: dict[int, int] = {}
        worst, most_mm = None, 0.0
        for number, choice in self.choices.items():
            if choice.shape is None or choice.shape.reaches_mm is None:
                continue
            unit, sector = self.geometry.units[number], sectors.get(number)
            if sector is not None and len(sector) == 1:
                directions[number] = sector[0] % DIRECTIONS
                continue
            beyond_mm = excess_mm(unit, choice, placement)
            if beyond_mm <= REACH_TOLERANCE_MM:
                found = direction_of(unit, choice, placement)
                if found is not None:
                    directions[number] = found
            elif worst is None or beyond_mm > most_mm:
                worst, most_mm = number, beyond_mm
        return directions, worst

    def _parts(self, number: int, sector: range | None, placement: Placement) -> list[range]:
        if sector is None:
            parts = [range(first, first + 18) for first in range(0, DIRECTIONS, 18)]
        else:
            middle = sector[0] + len(sector) // 2
            parts = [range(sector[0], middle), range(middle, sector[-1] + 1)]
        heading = heading_deg(self.geometry.units[number], self.choices[number].side, placement) / STEP_DEG

        def away(part: range) -> float:
            apart = abs((part[0] + (len(part) - 1) / 2.0) - heading) % DIRECTIONS
            return min(apart, DIRECTIONS - apart)

        return sorted(parts, key=away)
