"""The mixed-integer program behind a plan, solved with HiGHS.

One binary w a fastener that is undone, one binary y where that is done at the bench, one binary z a body
that is carried to the bench with the wanted part, p a place that is gone to, q the bench, h a step of the
lifting table. Minutes are minimised. Rows:

    w = 1                       every fastener between the wanted part and the rest
    w_f - y_f >= |z_a - z_b|    what joins the carried bodies to the rest is undone on the vehicle
    y_f <= w_f, z_a, z_b, q     what is done at the bench
    p >= w_f - y_f              a place is gone to
    o_a <= o_b + w_g - y_g      a body is off what stays only when all that joins it to a body that is not is undone
    w_f - y_f <= sum of o       what stands in the way of f is off; or f itself is (`leaving`)
    w_f <= sum of w over H      what must be undone to reach f (`blocking`), added as solutions break it;
                                the same for w - y: what is done on the vehicle comes before the lift
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from partkin.strip.access import home
from partkin.strip.bodies import Assembly, Fastener, InTheWay
from partkin.strip.costs import bench_minutes, lift_row, lift_rows, place_minutes

# Equal plans: fewer fasteners win, and a child stays with its assembly. Far below a hundredth of a minute.
TIE_MINUTES = 1e-5
LINK_TIE_MINUTES = 1e-4
TOLERANCE_MINUTES = 0.005
INFINITE = float("inf")

Row = tuple[float, float, list[int], list[float]]


@dataclass
class Columns:
    """Where the variables stand, and what they cost."""

    w: list[int] = field(default_factory=list)
    y: list[int] = field(default_factory=list)
    z: list[int] = field(default_factory=list)
    place: dict[str, int] = field(default_factory=dict)
    bench: int = -1
    lifts: list[int] = field(default_factory=list)
    off: list[int] = field(default_factory=list)
    cost: list[float] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    integer: list[int] = field(default_factory=list)

    def add(self, cost: float, lower: float, upper: float, whole: bool) -> int:
        """Add one variable; return its column."""
        index = len(self.cost)
        self.cost.append(cost)
        self.lower.append(lower)
        self.upper.append(upper)
        if whole:
            self.integer.append(index)
        return index


@dataclass(frozen=True)
class Chosen:
    """A whole-numbered solution: undone fasteners, those of them at the bench, and the carried bodies."""

    undone: frozenset[int]
    at_bench: frozenset[int]
    carried: frozenset[int]


def cost_minutes(asm: Assembly, chosen: Chosen, lifted: bool = True) -> float:
    """Return what a solution costs, ties left out.

    `lifted`: the wanted part is carried away (not so where only a fastener is to be reached).
    """
    total = 0.0
    for index in sorted(chosen.undone):
        fastener = asm.fasteners[index]
        bench = asm.on_bench or index in chosen.at_bench
        total += fastener.minutes * (fastener.bench_factor if bench else 1.0)
    if asm.on_bench:
        return round(total, 6)
    on_vehicle = sorted(chosen.undone - chosen.at_bench)
    places = {asm.fasteners[index].place for index in on_vehicle if not asm.fasteners[index].link}
    total += place_minutes() * len(places) + (bench_minutes() if chosen.at_bench else 0.0)
    if lifted:
        bodies = (chosen.carried if chosen.at_bench else frozenset()) | asm.wanted
        total += lift_row(asm.mass_kg(bodies)).minutes
    return round(total, 6)


class Master:
    """The program for one assembly, growing by rows.

    Parameters
    ----------
    asm
    must
        Fasteners that have to be undone.
    lifted
        Whether the wanted part is carried away in the end.
    can, on_vehicle
        Fasteners that some order reaches: at all, and on the vehicle.
    """

    def __init__(
        self,
        asm: Assembly,
        must: Iterable[int],
        lifted: bool,
        can: frozenset[int],
        on_vehicle: frozenset[int],
    ) -> None:
        self.asm = asm
        self.columns = Columns()
        self.rows: list[Row] = []
        self.bench = lifted and not asm.on_bench and bool(asm.stays)
        self.offset = lift_row(asm.mass_kg(asm.wanted)).minutes if lifted and not asm.on_bench else 0.0
        self._fasteners(frozenset(must), can)
        if self.bench:
            self._carrying()
            self._lifting()
            for index in sorted(can - on_vehicle):
                self.rows.append((-1.0, 0.0, [self.columns.w[index], self.columns.y[index]], [1.0, -1.0]))
        self._places()
        if asm.stays and not asm.on_bench:
            self._leaving()
        self.relaxed = True
        self.node_limit = 0
        self.highs: Any = self._loaded()

    def _fasteners(self, must: frozenset[int], can: frozenset[int]) -> None:
        asm, columns = self.asm, self.columns
        for fastener in asm.fasteners:
            minutes = fastener.minutes * (fastener.bench_factor if asm.on_bench else 1.0)
            tie = LINK_TIE_MINUTES if fastener.link else TIE_MINUTES
            low, high = float(fastener.index in must), float(fastener.index in can)
            columns.w.append(columns.add(minutes + tie, low, high, True))

    def _carrying(self) -> None:
        asm, columns = self.asm, self.columns
        columns.bench = columns.add(bench_minutes(), 0.0, 1.0, True)
        for body in range(len(asm.bodies)):
            low, high = float(body in asm.wanted), 0.0 if body in asm.stays else 1.0
            columns.z.append(columns.add(0.0, low, high, True))
        for fastener in asm.fasteners:
            saved = fastener.minutes * (1.0 - fastener.bench_factor)
            y = columns.add(-saved, 0.0, 1.0, True)
            columns.y.append(y)
            w = columns.w[fastener.index]
            for limit in (w, columns.bench, *(columns.z[body] for body in fastener.ends)):
                self.rows.append((-1.0, 0.0, [y, limit], [1.0, -1.0]))
            for a, b in fastener.joins:
                for one, other in ((a, b), (b, a)):
                    ends = [columns.z[one], columns.z[other]]
                    self.rows.append((0.0, INFINITE, [w, y, *ends], [1.0, -1.0, -1.0, 1.0]))

    def _lifting(self) -> None:
        """Row by row of the table: how much heavier the carried bodies may be, and what that costs."""
        asm, columns = self.asm, self.columns
        table = lift_rows()
        start = table.index(lift_row(asm.mass_kg(asm.wanted)))
        room = table[start].up_to_kg
        all_kg = asm.mass_kg(body for body in range(len(asm.bodies)) if body not in asm.stays)
        if room is None or all_kg <= room:
            return
        indices = [z for body, z in enumerate(columns.z) if asm.own_kg[body] and body not in asm.stays]
        weights = [kg for body, kg in enumerate(asm.own_kg) if kg and body not in asm.stays]
        low = room
        for before, row in zip(table[start:], table[start + 1 :], strict=False):
            high = row.up_to_kg if row.up_to_kg is not None else max(all_kg, low)
            column = columns.add(row.minutes - before.minutes, 0.0, 1.0, True)
            if columns.lifts:
                self.rows.append((-1.0, 0.0, [column, columns.lifts[-1]], [1.0, -1.0]))
            columns.lifts.append(column)
            indices.append(column)
            weights.append(low - high)
            low = high
        self.rows.append((-INFINITE, room, indices, weights))

    def _places(self) -> None:
        asm, columns = self.asm, self.columns
        if asm.on_bench:
            return
        for fastener in asm.fasteners:
            if fastener.link:
                continue
            if fastener.place not in columns.place:
                columns.place[fastener.place] = columns.add(place_minutes(), 0.0, 1.0, True)
            terms = [columns.place[fastener.place], columns.w[fastener.index]]
            weights = [1.0, -1.0]
            if self.bench:
                terms.append(columns.y[fastener.index])
                weights.append(1.0)
            self.rows.append((0.0, 2.0, terms, weights))

    def _leaving(self) -> None:
        """What is reached on the vehicle takes off what is in the way, as far as that can be told without an order.

        Either what is in the way is off what stays by then, or the fastener with the bodies that it joins is: they
        lie aside together, and what is off them is left to `blocking`. At the bench all of it is.
        """
        asm, columns = self.asm, self.columns
        fixed = home(asm, in_place=True)
        columns.off = [columns.add(0.0, 0.0, 0.0 if body in fixed else 1.0, False) for body in range(len(asm.bodies))]
        for fastener in asm.fasteners:
            done, weights = self._on_vehicle(fastener.index)
            for a, b in fastener.joins:
                for one, other in ((a, b), (b, a)):
                    if one not in fixed:
                        ends = [columns.off[one], columns.off[other]]
                        self.rows.append((-INFINITE, 0.0, [*ends, *done], [1.0, -1.0, *(-w for w in weights)]))
            for clause in fastener.behind:
                self._in_the_way(fastener, clause)

    def _on_vehicle(self, index: int) -> tuple[list[int], list[float]]:
        """Columns and weights of what is 1 where a fastener is undone on the vehicle."""
        columns = self.columns
        return ([columns.w[index], columns.y[index]], [1.0, -1.0]) if columns.y else ([columns.w[index]], [1.0])

    def _in_the_way(self, fastener: Fastener, clause: tuple[InTheWay, ...]) -> None:
        asm, columns = self.asm, self.columns
        # By column: one that comes up twice would be refused.
        terms = dict(zip(*self._on_vehicle(fastener.index), strict=True))
        aside = True
        for way in clause:
            if way.fastener is not None:
                for column, sign in zip(*self._on_vehicle(way.fastener), strict=True):
                    terms[column] = terms.get(column, 0.0) - sign
                terms[columns.off[asm.fasteners[way.fastener].ends[0]]] = -1.0
            elif way.family:
                aside = aside and set(way.family).isdisjoint(fastener.ends)
                column = columns.off[way.family[0]]
                if len(way.family) > 1:
                    column = columns.add(0.0, 0.0, 1.0, False)
                    for body in way.family:
                        self.rows.append((-INFINITE, 0.0, [column, columns.off[body]], [1.0, -1.0]))
                terms[column] = -1.0
            elif not way.unknown:
                return
        if aside:
            terms[columns.off[fastener.ends[0]]] = -1.0
        self.rows.append((-INFINITE, 0.0, list(terms), list(terms.values())))

    def _loaded(self) -> Any:
        """Return a solver with every row so far; a fresh one a whole-numbered run.

        HiGHS 1.16 was seen to report a wrong objective when integrality is set on a model whose relaxation it
        has just solved.
        """
        import highspy

        solver, columns = _quiet(highspy), self.columns
        for option, value in (
            ("parallel", "off"), ("random_seed", 0),
            ("mip_rel_gap", 1e-9), ("mip_abs_gap", 1e-6), ("mip_feasibility_tolerance", 1e-7),
        ):  # fmt: skip
            solver.setOptionValue(option, value)
        count = len(columns.cost)
        solver.addVars(count, columns.lower, columns.upper)
        solver.changeColsCost(count, list(range(count)), columns.cost)
        solver.changeObjectiveOffset(self.offset)
        starts: list[int] = []
        indices: list[int] = []
        weights: list[float] = []
        for row in self.rows:
            starts.append(len(indices))
            indices += row[2]
            weights += row[3]
        lows, highs = [row[0] for row in self.rows], [row[1] for row in self.rows]
        solver.addRows(len(self.rows), lows, highs, len(indices), starts, indices, weights)
        if not self.relaxed:
            kinds = [highspy.HighsVarType.kInteger] * len(columns.integer)
            solver.changeColsIntegrality(len(columns.integer), columns.integer, kinds)
            solver.setOptionValue("mip_max_nodes", self.node_limit)
        return solver

    def add_rows(self, rows: list[Row]) -> None:
        """Add rows: lower, upper, columns, weights."""
        self.rows += rows
        if self.relaxed:
            for low, high, indices, weights in rows:
                self.highs.addRow(low, high, len(indices), indices, weights)

    def make_whole(self, node_limit: int) -> None:
        """From now on whole numbers only; at most so many branches a run."""
        self.relaxed = False
        self.node_limit = node_limit

    def make_relaxed(self) -> None:
        """From now on fractions again."""
        self.relaxed = True
        self.highs = self._loaded()

    def fix(self, undone: Iterable[int]) -> None:
        """Undo some fasteners for good."""
        for index in sorted(undone):
            self.highs.changeColBounds(self.columns.w[index], 1.0, 1.0)

    def solve(self) -> bool:
        """Solve as it stands; False where there is no solution, or none was found within the limits."""
        if not self.relaxed:
            self.highs = self._loaded()
        self.highs.run()
        if self._found() and not self.relaxed and not self._agrees():
            self.highs.clearSolver()
            self.highs.setOptionValue("presolve", "off")
            self.highs.run()
            if self._found() and not self._agrees():
                raise ArithmeticError("HiGHS contradicts itself about the cost of its own solution")
        return self._found()

    def _found(self) -> bool:
        return bool(self.highs.getInfo().primal_solution_status == 2)

    def _agrees(self) -> bool:
        """Whether the objective that HiGHS reports is what its solution costs."""
        said = self.highs.getInfo().objective_function_value
        own = self.offset + sum(c * v for c, v in zip(self.columns.cost, self.values(), strict=True))
        return bool(abs(said - own) <= 1e-5 * max(1.0, abs(own)))

    def ties(self) -> float:
        """Return by how much the program's cost may lie above the minutes that are reported."""
        return sum(LINK_TIE_MINUTES if fastener.link else TIE_MINUTES for fastener in self.asm.fasteners)

    def nodes(self) -> int:
        """Return how many branches the last run took."""
        return max(0, int(self.highs.getInfo().mip_node_count))

    def values(self) -> list[float]:
        """Return the values of the variables at the last solution."""
        return list(self.highs.getSolution().col_value)

    def bound(self) -> float:
        """Return what no solution of the program as it stands can go below."""
        info = self.highs.getInfo()
        return float(info.objective_function_value if self.relaxed else info.mip_dual_bound)

    def used(self, values: list[float]) -> list[float]:
        """Return w of every fastener."""
        return [values[column] for column in self.columns.w]

    def chosen(self, values: list[float]) -> Chosen:
        """Read a whole-numbered solution."""
        columns = self.columns
        undone = frozenset(i for i, w in enumerate(columns.w) if values[w] > 0.5)
        if not self.bench:
            return Chosen(undone, frozenset(), self.asm.wanted)
        at_bench = frozenset(i for i, y in enumerate(columns.y) if values[y] > 0.5)
        carried = frozenset(b for b, z in enumerate(columns.z) if values[z] > 0.5)
        return Chosen(undone, at_bench, carried)


def _quiet(highspy: Any) -> Any:
    """Make a solver that prints nothing: the class's own start prints a banner on standard output."""

    class Quiet(highspy.Highs):  # type: ignore[misc]
        def __init__(self) -> None:
            super(highspy.Highs, self).__init__()
            self.setOptionValue("output_flag", False)

    return Quiet()
