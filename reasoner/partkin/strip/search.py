"""The cheapest set of fasteners to undo, with proof: relaxation, whole numbers, rows for what cannot be done.

In: an assembly and what must be undone. Out: the best solution that can be carried out, and what none can go below.
The upper bound comes from solutions that cannot be carried out, repaired.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from partkin.strip.assembly import Assembly, Fastener, renamed
from partkin.strip.formulation import Chosen, Formulation

Fasteners = frozenset[int]
NONE: Fasteners = frozenset()


class Repair:
    """What is wanted of a solution.

    `wanted`: fasteners that have to be undone. `lifted`: whether the wanted part is carried away in the end.
    `guide`: how much the relaxation uses each fastener: what it uses is added first and left out last.
    """

    def __init__(self, asm: Assembly, wanted: tuple[int, ...], lifted: bool, guide: tuple[float, ...]) -> None:
        self.asm, self.wanted, self.lifted, self.guide = asm, frozenset(wanted), lifted, guide

    def good(self, chosen: Chosen) -> bool:
        """Whether a solution can be carried out and does what is wanted."""
        asm = self.asm
        if not chosen.undone >= self.wanted:
            return False
        if asm.on_bench:
            return asm.reach.run(chosen.undone) == chosen.undone
        first = chosen.undone - chosen.at_bench
        if asm.reach_in_place.run(first) != first:
            return False
        if not chosen.at_bench:
            return True
        if not asm.reach.has_left(first):
            return False
        along = asm.carried(chosen.at_bench, asm.reach.with_wanted(first))
        # Whatever is reached in place is reached when nothing is held in place, so one run does for both.
        return len(along) == len(chosen.at_bench) and asm.reach.run(chosen.undone) == chosen.undone

    def tidied(self, chosen: Chosen) -> Chosen:
        """Leave out whatever is not needed, dearest first, where that does not make the lift dearer.

        Again and again, because what only helped something that was left out later is not needed any more then.
        """
        chosen, count = self._least_carried(chosen), -1
        while len(chosen.undone) != count:
            count, cost = len(chosen.undone), chosen.cost_minutes(self.asm, self.lifted)
            for index in sorted(chosen.undone - self.wanted, key=self._least_used):
                smaller = Chosen(chosen.undone - {index}, chosen.at_bench - {index}, chosen.carried)
                if self.good(smaller):
                    smaller = self._least_carried(smaller)
                    less = smaller.cost_minutes(self.asm, self.lifted)
                    if less <= cost:
                        chosen, cost = smaller, less
        return chosen

    def _least_used(self, index: int) -> tuple[float, float, int]:
        return round(self.guide[index], 3), -self.asm.fasteners[index].minutes, index

    def repaired(self, chosen: Chosen) -> Chosen:
        """Add what is missing until it can be carried out, the cheapest each time; then leave out again."""
        asm, wanted = self.asm, self.asm.wanted
        if asm.on_bench:
            return self.tidied(Chosen(self._grown(chosen.undone, asm.can, False), NONE, wanted))
        first = self._grown(chosen.undone - chosen.at_bench, asm.can_on_vehicle, True)
        if first >= self.wanted:
            return self.tidied(Chosen(first, NONE, wanted))
        options = [self._with_bench(first, chosen.undone), self._with_bench(asm.can_on_vehicle, chosen.undone)]
        if asm.can_on_vehicle >= self.wanted:
            options.append(Chosen(self._grown(chosen.undone | self.wanted, asm.can_on_vehicle, True), NONE, wanted))
        tidied = [self.tidied(option) for option in options if option is not None and self.good(option)]
        return min(tidied, key=lambda option: option.cost_minutes(asm, self.lifted))

    def _with_bench(self, first: Fasteners, undone: Fasteners) -> Chosen | None:
        """Return a solution that does `first` on the vehicle and the rest at the bench; None where that cannot be."""
        asm = self.asm
        if not asm.reach.has_left(first):
            return None
        everything = frozenset(range(len(asm.fasteners))) - asm.without
        along = asm.carried(everything - first, asm.reach.with_wanted(first))
        among = asm.reach.run(first.union(along)) - first
        second = self._grown((undone | self.wanted) - first, among, False, first)
        return Chosen(first | second, second, asm.wanted)

    def _least_carried(self, chosen: Chosen) -> Chosen:
        """Carry to the bench only what is still joined to the part then."""
        carried = self.asm.wanted
        if chosen.at_bench:
            carried = self.asm.reach.with_wanted(chosen.undone - chosen.at_bench)
        return Chosen(chosen.undone, chosen.at_bench, carried)

    def _grown(self, start: Fasteners, among: Fasteners, in_place: bool, before: Fasteners = NONE) -> Fasteners:
        """Add the cheapest of what a blocked one waits for, until none is blocked.

        Whatever is among `among` can be reached with the rest of it.
        """
        asm, guide = self.asm, self.guide
        reach = asm.reach_in_place if in_place else asm.reach
        chosen = start & among
        while True:
            blocked = sorted(chosen - reach.run(chosen | before))
            if not blocked:
                return chosen
            index, have = blocked[0], chosen
            rest = (among | before) - {index}
            order = sorted(rest, key=lambda i: (i not in before, i not in have, *self._least_used(i)))
            others = reach.others(index, order, [0.0] * len(asm.fasteners), float("inf"))
            missing = [other for other in others or () if other not in chosen]
            if missing:
                chosen |= {min(missing, key=lambda i: (-round(guide[i], 3), asm.fasteners[i].minutes, i))}
            else:
                # They wait for each other: of all that can be undone, what this one needs.
                chosen |= self._needed(frozenset([index]), among, chosen, in_place, before) - before

    def whittled(self, keep: Fasteners, dearest: bool = False) -> Chosen | None:
        """Leave out of all that can be undone what is not needed, `keep` last; None where it cannot be done so.

        Quick where a repair would be long: whole pieces are left out at once. `dearest`: the dearest first, else
        what the relaxation uses least.
        """
        asm = self.asm
        among = asm.can if asm.on_bench else asm.can_on_vehicle
        if not self.wanted <= among:
            return None
        kept = self._needed(self.wanted, among, keep, not asm.on_bench, dearest=dearest)
        reach = asm.reach if asm.on_bench else asm.reach_in_place
        return self.tidied(Chosen(reach.run(kept), NONE, asm.wanted))

    def _needed(
        self,
        target: Fasteners,
        among: Fasteners,
        keep: Fasteners,
        in_place: bool,
        before: Fasteners = NONE,
        dearest: bool = False,
    ) -> Fasteners:
        """Return some of `among` that reach a target, left out in ever smaller pieces."""
        reach = self.asm.reach_in_place if in_place else self.asm.reach
        minutes = [fastener.minutes for fastener in self.asm.fasteners]
        kept = reach.run(among | before)
        order = sorted(kept - target - before, key=lambda i: (i in keep, dearest * -minutes[i], *self._least_used(i)))
        size = len(order)
        while size:
            for start in range(0, len(order), size):
                fewer = kept - frozenset(order[start : start + size])
                if target <= reach.run(fewer | before):
                    kept = fewer
            order = [i for i in order if i in kept]
            size = min(size, len(order) + 1) // 2
        return kept


TOLERANCE_MINUTES = 0.005
RELAXED_ROUNDS = 60
RELAXED_ROWS = 40
WHOLE_ROWS = 200
STALL_ROUNDS = 6
STALL_MINUTES = 0.05
ROUNDS = 60
NODES = 240
ROUND_NODES = 60
# Above so many fasteners fewer branches: each takes longer.
NODES_SIZE = 200
# Of `Formulation.work`: about 15 s on one core.
WORK, DIVE_WORK = 1_000_000_000, 1_500_000_000
# A dive rounds up what the relaxation uses at least so much.
ROUNDED_UP, SLIGHT, DIVES = 0.6, 1e-4, 60


class LeastFound(NamedTuple):
    """The best solution that can be carried out (None: there is none), and what none can go below.

    `blocked`: fasteners of those that must be undone that no order can reach, where there is no solution.
    """

    chosen: Chosen | None
    cost_minutes: float = 0.0
    bound_minutes: float = 0.0
    proved: bool = True
    limit: str | None = None
    blocked: tuple[int, ...] = ()
    rounds: int = 0


def cheapest(
    asm: Assembly, must: tuple[int, ...] | None = None, nodes: int = NODES, rounds: int = ROUNDS
) -> LeastFound:
    """Return the cheapest solution that undoes what must be undone.

    `must`: fasteners to undo; None: those that hold the wanted part, which is then carried away. `nodes`: limit of
    branches over all `rounds`. The same input gives the same answer on any machine.
    """
    small, stands_for = bundled(asm, must or ())
    of = {member: bundle for bundle, members in enumerate(stands_for) for member in members}
    wanted = small.boundary if must is None else tuple(of[index] for index in must)
    can = small.can if must is None or small.on_bench else small.can_on_vehicle
    blocked = [member for bundle in wanted if bundle not in can for member in stands_for[bundle]]
    if blocked:
        return LeastFound(None, blocked=tuple(sorted(i for i in blocked if must is not None or i not in asm.can)))
    found = _LeastSearch(small, wanted, lifted=must is None).found(nodes, rounds)
    chosen = found.chosen
    assert chosen is not None
    undone, at_bench = (
        frozenset(member for bundle in bundles for member in stands_for[bundle])
        for bundles in (chosen.undone, chosen.at_bench)
    )
    return found._replace(chosen=Chosen(undone, at_bench, chosen.carried))


def bundled(asm: Assembly, apart: tuple[int, ...] = ()) -> tuple[Assembly, tuple[tuple[int, ...], ...]]:
    """Return the assembly with fasteners that only ever come undone together taken as one, and what each stands for.

    Fasteners that join the same two bodies at one place and that no `behind` cell names are of use only when all of
    them are undone: any cheapest plan undoes all or none. Those of `apart` stay by themselves.
    """
    named = {way.fastener for f in asm.fasteners for clause in f.behind for way in clause} | set(apart)
    groups: dict[tuple[object, ...], list[Fastener]] = {}
    for fastener in asm.fasteners:
        alone = fastener.index in named or fastener.link or len(fastener.joins) > 1
        key = (fastener.index,) if alone else (*sorted(fastener.joins[0]), fastener.place)
        groups.setdefault(key, []).append(fastener)
    new = {member.index: index for index, members in enumerate(groups.values()) for member in members}
    bundles = []
    for index, members in enumerate(groups.values()):
        minutes = sum(member.minutes for member in members)
        at_bench = sum(member.minutes * member.bench_factor for member in members)
        factor = at_bench / minutes if minutes else members[0].bench_factor
        clauses = dict.fromkeys(renamed(clause, new) for member in members for clause in member.behind)
        bundles.append(replace(members[0], index=index, minutes=minutes, bench_factor=factor, behind=tuple(clauses)))
    small = replace(asm, fasteners=tuple(bundles), without=frozenset(new[index] for index in asm.without))
    return small, tuple(tuple(member.index for member in members) for members in groups.values())


class _LeastSearch:
    """One search: what the program is, what the best solution is so far, and what none can go below."""

    def __init__(self, asm: Assembly, wanted: tuple[int, ...], lifted: bool) -> None:
        self.asm, self.wanted, self.lifted = asm, wanted, lifted
        self.formulation = Formulation(asm, wanted, lifted)
        self.program = self.formulation.program
        self.bound, self.rounds = 0.0, 0
        self.repair = Repair(asm, wanted, lifted, self._relax())
        self.best: Chosen | None = None

    def found(self, nodes: int, rounds: int) -> LeastFound:
        """Search within limits; return the best solution with what is shown of it."""
        limit: str | None = None
        if self.formulation.work >= WORK:
            limit = "the search stopped at its limit of work"
        elif not self._whole(max(1, round(nodes * min(1.0, NODES_SIZE / max(1, len(self.asm.fasteners))))), rounds):
            limit = "the search stopped at its limit of branches"
        if limit is not None:
            self._dive()
        if self.best is None:
            self.best = self.repair.repaired(Chosen(frozenset(self.wanted), frozenset(), self.asm.wanted))
        cost, proved = self._cost(self.best), self._proved()
        least = cost if proved else max(0.0, self.bound - self.formulation.ties_minutes)
        return LeastFound(self.best, cost, least, proved, None if proved else limit, rounds=self.rounds)

    def _relax(self) -> tuple[float, ...]:
        """Add rows at the relaxation until it breaks none, or they no longer lift the bound, or it is too much work.

        Return how much it uses each fastener.
        """
        used: tuple[float, ...] = (0.0,) * len(self.asm.fasteners)
        bounds = [0.0]
        while len(bounds) < RELAXED_ROUNDS and self.formulation.work < WORK:
            solution = self.program.solve_relaxed()
            if solution.values is None:
                break
            used = tuple(self.formulation.used(solution.values))
            bounds.append(solution.bound)
            if len(bounds) > STALL_ROUNDS and bounds[-1] - bounds[-STALL_ROUNDS] < STALL_MINUTES:
                break
            rows = self.formulation.rows_that_break(solution.values, RELAXED_ROWS)
            if not rows:
                break
            self._add(rows)
        self.bound = bounds[-1]
        return used

    def _dive(self) -> None:
        """Round the relaxation up bit by bit, with rows for what each rounding still overlooks; keep what comes out."""
        self.program.start_afresh()
        fixed = set(self.wanted)
        for _ in range(DIVES):
            solution = self.program.solve_relaxed() if self.formulation.work < DIVE_WORK else None
            if solution is None or solution.values is None:
                break
            used = self.formulation.used(solution.values)
            rows = self.formulation.rows_that_break(solution.values, RELAXED_ROWS)
            free = [i for i in range(len(used)) if i not in fixed and used[i] > SLIGHT]
            if not rows and not free:
                break
            up = [i for i in free if used[i] >= ROUNDED_UP]
            fixed |= set(up or sorted(free, key=lambda i: (-round(used[i], 6), i))[:1])
            self._add(rows)
            self.program.fix((self.formulation.w[index] for index in fixed), 1.0)
        # Two starts: keep what was rounded up as long as possible, or keep nothing in particular.
        offered = [self.repair.whittled(frozenset(kept), dearest) for kept in (fixed, ()) for dearest in (False, True)]
        if not any(offered):
            offered.append(self.repair.repaired(Chosen(frozenset(fixed), frozenset(), self.asm.wanted)))
        for chosen in offered:
            if chosen is not None:
                self._offer(chosen)

    def _whole(self, nodes: int, rounds: int) -> bool:
        """Solve in whole numbers, adding rows for what cannot be carried out; False: the limits came first."""
        spent, round_nodes = 0, ROUND_NODES
        while self.rounds < rounds and spent < nodes and self.formulation.work < WORK:
            self.rounds += 1
            solution = self.program.solve(min(round_nodes, nodes - spent))
            self.bound = max(self.bound, solution.bound)
            spent += max(1, solution.nodes)
            if solution.values is None:
                break
            chosen = self.formulation.chosen(solution.values)
            rows = self.formulation.rows_that_break(solution.values, WHOLE_ROWS)
            good = self.repair.good(chosen)
            self._offer(self.repair.tidied(chosen) if good else self.repair.repaired(chosen))
            if self._proved():
                return True
            self._add(rows)
            if not rows:
                round_nodes *= 2
        return False

    def _add(self, rows: list[dict[int, float]]) -> None:
        for row in rows:
            self.program.row(row)

    def _offer(self, chosen: Chosen) -> None:
        if self.best is None or self._cost(chosen) < self._cost(self.best):
            self.best = chosen

    def _cost(self, chosen: Chosen) -> float:
        return chosen.cost_minutes(self.asm, self.lifted)

    def _proved(self) -> bool:
        return self.best is not None and self._cost(self.best) <= self.bound + TOLERANCE_MINUTES
