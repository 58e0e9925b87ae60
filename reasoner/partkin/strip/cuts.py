"""Rows for what a solution overlooks: it undoes a fastener and nothing of what reaching that one takes."""

from __future__ import annotations

from partkin.strip.blocking import Blocking
from partkin.strip.bodies import Assembly
from partkin.strip.master import INFINITE, Columns, Row

SLACK = 1e-4
NESTED = 4


class Separation:
    """Finds rows that solutions break, for one assembly.

    Parameters
    ----------
    asm
    columns
        Of the program.
    can, on_vehicle
        Fasteners that some order reaches: at all, and on the vehicle.
    """

    def __init__(self, asm: Assembly, columns: Columns, can: frozenset[int], on_vehicle: frozenset[int]) -> None:
        self.asm = asm
        self.columns = columns
        self.can = can
        self.on_vehicle = on_vehicle
        self.anywhere = Blocking(asm) if asm.on_bench or columns.y else None
        self.in_place = None if asm.on_bench else Blocking(asm, in_place=True)

    @property
    def work(self) -> int:
        """Return how much was looked at so far; some 10 to 20 nanoseconds each, and the same on every machine."""
        looks = sum(blocking.looks for blocking in (self.in_place, self.anywhere) if blocking is not None)
        return looks * len(self.asm.fasteners)

    def rows(self, values: list[float], most: int) -> list[Row]:
        """Return rows that a (fractional) solution breaks, about `most` of them.

        Two kinds: what is undone on the vehicle is reached by what is undone on the vehicle, the wanted part
        being in place; and what is undone at all is reached by what is undone at all.
        """
        w = [values[column] for column in self.columns.w]
        y = [values[column] for column in self.columns.y] or [0.0] * len(w)
        rows: list[Row] = []
        if self.in_place is not None:
            x = [undone - bench for undone, bench in zip(w, y, strict=True)]
            rows += self._kind(self.in_place, values, x, self.on_vehicle, most, True)
        if self.anywhere is not None:
            targets = self.can if self.asm.on_bench else frozenset(i for i in self.can if y[i] > SLACK)
            if targets:
                rows += self._kind(self.anywhere, values, w, targets, most, False)
        return rows

    def _kind(
        self,
        blocking: Blocking,
        values: list[float],
        used: list[float],
        among: frozenset[int],
        most: int,
        on_vehicle: bool,
    ) -> list[Row]:
        helpers = self.on_vehicle if on_vehicle else self.can
        sure = 0
        for index in helpers:
            if used[index] > 1.0 - SLACK:
                sure |= 1 << index
        reached = blocking.run(sure)
        targets = [i for i in among if used[i] > SLACK and not reached >> i & 1]
        rows: list[Row] = []
        for index in sorted(targets, key=lambda i: (-round(used[i], 6), i)):
            if len(rows) >= most:
                break
            weight = list(used)
            for _ in range(NESTED):
                order = sorted(helpers, key=lambda i: (-round(weight[i], 6), self.asm.fasteners[i].minutes, i))
                others = blocking.others(index, order, weight, used[index] - SLACK)
                if others is None:
                    break
                rows.append(self._row(index, sorted(others), on_vehicle))
                places = self._places(others, on_vehicle)
                if places and sum(values[column] for column in places) < used[index] - SLACK:
                    rows.append(self._row(index, [], on_vehicle, places))
                for other in others:
                    weight[other] = 1.0
        return rows

    def _row(self, index: int, others: list[int], on_vehicle: bool, places: tuple[int, ...] = ()) -> Row:
        columns = self.columns
        terms = [columns.w[index], *(columns.w[other] for other in others)]
        weights = [1.0] + [-1.0] * len(others)
        if on_vehicle and columns.y:
            terms += [columns.y[index], *(columns.y[other] for other in others)]
            weights += [-1.0] + [1.0] * len(others)
        return (-INFINITE, 0.0, [*terms, *places], [*weights, *([-1.0] * len(places))])

    def _places(self, others: list[int], on_vehicle: bool) -> tuple[int, ...]:
        """Whoever undoes one of these goes to its place, or to the bench."""
        columns, fasteners = self.columns, self.asm.fasteners
        if not columns.place or any(fasteners[other].link for other in others):
            return ()
        places = tuple(sorted({columns.place[fasteners[other].place] for other in others}))
        return places if on_vehicle or columns.bench < 0 else (*places, columns.bench)
