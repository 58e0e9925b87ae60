"""The mixed-integer program behind a plan, and the rows that its solutions overlook.

One binary w a fastener that is undone, one binary y where that is done at the bench, one binary z a body
that is carried to the bench with the wanted part, p a place that is gone to, q the bench, h a step of the
lifting table. Minutes are minimised. Rows:

    w = 1                       every fastener between the wanted part and the rest
    w_f - y_f >= |z_a - z_b|    what joins the carried bodies to the rest is undone on the vehicle
    y_f <= w_f, z_a, z_b, q     what is done at the bench
    p >= w_f - y_f              a place is gone to
    o_a <= o_b + w_g - y_g      a body is off what stays only when all that joins it to a body that is not is undone
    w_f - y_f <= sum of o       what stands in the way of f is off; or f itself is
    w_f <= sum of w over H      what must be undone to reach f (`Reach.others`), added as solutions break it;
                                the same for w - y: what is done on the vehicle comes before the lift
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from partkin.fit.integer_program import INFINITE, IntegerProgram
from partkin.strip.assembly import Assembly, Fastener, InTheWay
from partkin.strip.reach import Reachable
from partkin.tables.work import bench_minutes, lift_row, lift_rows, place_minutes

# Equal plans: fewer fasteners win, and a child stays with its assembly. Far below a hundredth of a minute.
TIE_MINUTES = 1e-5
LINK_TIE_MINUTES = 1e-4
SLACK = 1e-4
# Rows for one fastener at a time, each by other fasteners than the ones before.
NESTED = 4


class Chosen(NamedTuple):
    """A whole-numbered solution: undone fasteners, those of them at the bench, and the carried bodies."""

    undone: frozenset[int]
    at_bench: frozenset[int]
    carried: frozenset[int]

    def cost_minutes(self, asm: Assembly, lifted: bool = True) -> float:
        """Return what it costs, ties left out. `lifted`: the wanted part is carried away in the end."""
        total = 0.0
        for index in sorted(self.undone):
            fastener = asm.fasteners[index]
            at_bench = asm.on_bench or index in self.at_bench
            total += fastener.minutes * (fastener.bench_factor if at_bench else 1.0)
        if asm.on_bench:
            return round(total, 6)
        on_vehicle = [asm.fasteners[index] for index in self.undone - self.at_bench]
        places = {fastener.place for fastener in on_vehicle if not fastener.link}
        total += place_minutes() * len(places) + (bench_minutes() if self.at_bench else 0.0)
        if lifted:
            bodies = (self.carried if self.at_bench else frozenset()) | asm.wanted
            total += lift_row(asm.mass_kg(bodies)).minutes
        return round(total, 6)


class Formulation:
    """The program for one assembly, where its variables stand, and the rows that it still lacks.

    `must`: fasteners that have to be undone. `lifted`: whether the wanted part is carried away in the end.
    """

    def __init__(self, asm: Assembly, must: Iterable[int], lifted: bool) -> None:
        self.asm, self.program = asm, IntegerProgram()
        self.w: list[int] = []
        self.y: list[int] = []
        self.z: list[int] = []
        self.off: list[int] = []
        self.place: dict[str, int] = {}
        # How many candidates were looked at for rows.
        self.looks = 0
        self._fasteners(frozenset(must))
        if lifted and not asm.on_bench:
            self.program.offset = lift_row(asm.mass_kg(asm.wanted)).minutes
            if asm.stays:
                self._carrying()
                self._lifting()
                for index in sorted(asm.can - asm.can_on_vehicle):
                    self.program.row({self.w[index]: 1.0, self.y[index]: -1.0}, -1.0)
        if not asm.on_bench:
            self._places()
            if asm.stays:
                self._leaving()

    @property
    def work(self) -> int:
        """Return how much was looked at so far; some 10 to 20 nanoseconds each, and the same on every machine."""
        return self.looks * len(self.asm.fasteners)

    @property
    def ties_minutes(self) -> float:
        """Return by how much the program's cost may lie above the minutes that are reported."""
        return sum(LINK_TIE_MINUTES if fastener.link else TIE_MINUTES for fastener in self.asm.fasteners)

    def used(self, values: list[float]) -> list[float]:
        """Return w of every fastener."""
        return [values[column] for column in self.w]

    def chosen(self, values: list[float]) -> Chosen:
        """Read a whole-numbered solution."""
        undone, at_bench = (frozenset(i for i, c in enumerate(cs) if values[c] > 0.5) for cs in (self.w, self.y))
        carried = frozenset(body for body, column in enumerate(self.z) if values[column] > 0.5)
        return Chosen(undone, at_bench, carried if self.z else self.asm.wanted)

    def _fasteners(self, must: frozenset[int]) -> None:
        asm = self.asm
        for fastener in asm.fasteners:
            minutes = fastener.minutes * (fastener.bench_factor if asm.on_bench else 1.0)
            tie = LINK_TIE_MINUTES if fastener.link else TIE_MINUTES
            low, high = float(fastener.index in must), float(fastener.index in asm.can)
            self.w.append(self.program.column(minutes + tie, low, high))

    def _carrying(self) -> None:
        asm, program = self.asm, self.program
        self.bench = program.column(bench_minutes())
        for body in range(len(asm.bodies)):
            self.z.append(program.column(0.0, float(body in asm.wanted), 0.0 if body in asm.stays else 1.0))
        for fastener in asm.fasteners:
            w, y = self.w[fastener.index], program.column(-fastener.minutes * (1.0 - fastener.bench_factor))
            self.y.append(y)
            for limit in (w, self.bench, *(self.z[body] for body in fastener.ends)):
                program.row({y: 1.0, limit: -1.0}, -1.0)
            for a, b in fastener.joins:
                for one, other in ((a, b), (b, a)):
                    program.row({w: 1.0, y: -1.0, self.z[one]: -1.0, self.z[other]: 1.0}, 0.0, INFINITE)

    def _lifting(self) -> None:
        """Row by row of the table: how much heavier the carried bodies may be, and what that costs."""
        asm, table = self.asm, lift_rows()
        start = table.index(lift_row(asm.mass_kg(asm.wanted)))
        room_kg = table[start].up_to_kg
        all_kg = asm.mass_kg(body for body in range(len(asm.bodies)) if body not in asm.stays)
        if room_kg is None or all_kg <= room_kg:
            return
        weights = {self.z[body]: kg for body, kg in enumerate(asm.own_kg) if kg and body not in asm.stays}
        low_kg, last = room_kg, -1
        for before, row in zip(table[start:], table[start + 1 :], strict=False):
            high_kg = row.up_to_kg if row.up_to_kg is not None else max(all_kg, low_kg)
            step = self.program.column(row.minutes - before.minutes)
            if last >= 0:
                self.program.row({step: 1.0, last: -1.0}, -1.0)
            weights[step] = low_kg - high_kg
            low_kg, last = high_kg, step
        self.program.row(weights, high=room_kg)

    def _places(self) -> None:
        for fastener in self.asm.fasteners:
            if not fastener.link:
                if fastener.place not in self.place:
                    self.place[fastener.place] = self.program.column(place_minutes())
                gone_to = {self.place[fastener.place]: 1.0}
                self.program.row(gone_to | self._on_vehicle(fastener.index, -1.0), 0.0, 2.0)

    def _leaving(self) -> None:
        """Undoing a fastener on the vehicle requires that what stands in its way is off, as far as no order is needed.

        Either what is in the way is off what stays by then, or the fastener with the bodies that it joins is: they
        lie aside together, and what is off them is left to `rows_that_break`. At the bench all of it is.
        """
        asm, program = self.asm, self.program
        fixed = asm.stays | {asm.root}
        for body in range(len(asm.bodies)):
            self.off.append(program.column(0.0, 0.0, 0.0 if body in fixed else 1.0, whole=False))
        for fastener in asm.fasteners:
            done = self._on_vehicle(fastener.index, -1.0)
            for a, b in fastener.joins:
                for one, other in ((a, b), (b, a)):
                    if one not in fixed:
                        program.row({self.off[one]: 1.0, self.off[other]: -1.0} | done)
            for clause in fastener.behind:
                self._in_the_way(fastener, clause)

    def _on_vehicle(self, index: int, sign: float = 1.0) -> dict[int, float]:
        """Weights of what is 1 where a fastener is undone on the vehicle."""
        return {self.w[index]: sign} | ({self.y[index]: -sign} if self.y else {})

    def _in_the_way(self, fastener: Fastener, clause: tuple[InTheWay, ...]) -> None:
        weights, aside = self._on_vehicle(fastener.index), True
        for way in clause:
            if way.fastener is not None:
                for column, weight in self._on_vehicle(way.fastener, -1.0).items():
                    weights[column] = weights.get(column, 0.0) + weight
                weights[self.off[self.asm.fasteners[way.fastener].ends[0]]] = -1.0
            elif way.family:
                aside = aside and set(way.family).isdisjoint(fastener.ends)
                column = self.off[way.family[0]]
                if len(way.family) > 1:
                    column = self.program.column(whole=False)
                    for body in way.family:
                        self.program.row({column: 1.0, self.off[body]: -1.0})
                weights[column] = -1.0
            elif not way.unknown:
                return
        if aside:
            weights[self.off[fastener.ends[0]]] = -1.0
        self.program.row(weights)

    def rows_that_break(self, values: list[float], most: int) -> list[dict[int, float]]:
        """Return rows that a (fractional) solution breaks, about `most` of them; to be added to the program.

        Two kinds: what is undone on the vehicle is reached by what is undone on the vehicle, the wanted part
        being in place; and what is undone at all is reached by what is undone at all.
        """
        asm, w = self.asm, self.used(values)
        y = [values[column] for column in self.y] or [0.0] * len(w)
        rows: list[dict[int, float]] = []
        if not asm.on_bench:
            on_vehicle = [undone - bench for undone, bench in zip(w, y, strict=True)]
            rows += self._overlooked(asm.reach_in_place, values, on_vehicle, asm.can_on_vehicle, most)
        if asm.on_bench or self.y:
            targets = asm.can if asm.on_bench else frozenset(i for i in asm.can if y[i] > SLACK)
            rows += self._overlooked(asm.reach, values, w, targets, most)
        return rows

    def _overlooked(
        self, reach: Reachable, values: list[float], used: list[float], among: frozenset[int], most: int
    ) -> list[dict[int, float]]:
        on_vehicle = reach is self.asm.reach_in_place
        helpers = self.asm.can_on_vehicle if on_vehicle else self.asm.can
        reached = reach.run(i for i in helpers if used[i] > 1.0 - SLACK)
        targets = [i for i in among if used[i] > SLACK and i not in reached]
        rows: list[dict[int, float]] = []
        for index in sorted(targets, key=lambda i: (-round(used[i], 6), i)):
            if len(rows) >= most:
                break
            weight = list(used)
            for _ in range(NESTED):
                order = sorted(helpers, key=lambda i: (-round(weight[i], 6), self.asm.fasteners[i].minutes, i))
                self.looks += len(order)
                others = reach.others(index, order, weight, used[index] - SLACK)
                if others is None:
                    break
                rows.append(self._needs(index, sorted(others), on_vehicle))
                places = self._places_of(others, on_vehicle)
                if places and sum(values[column] for column in places) < used[index] - SLACK:
                    rows.append(self._needs(index, (), on_vehicle) | dict.fromkeys(places, -1.0))
                for other in others:
                    weight[other] = 1.0
        return rows

    def _needs(self, index: int, others: Sequence[int], on_vehicle: bool) -> dict[int, float]:
        weights = {self.w[index]: 1.0} | {self.w[other]: -1.0 for other in others}
        if on_vehicle and self.y:
            weights |= {self.y[index]: -1.0} | {self.y[other]: 1.0 for other in others}
        return weights

    def _places_of(self, others: list[int], on_vehicle: bool) -> tuple[int, ...]:
        """Whoever undoes one of these goes to its place, or to the bench."""
        fasteners = [self.asm.fasteners[other] for other in others]
        if not self.place or any(fastener.link for fastener in fasteners):
            return ()
        places = sorted({self.place[fastener.place] for fastener in fasteners})
        return tuple(places) if on_vehicle or not self.y else (*places, self.bench)
