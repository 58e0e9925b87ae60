"""The cheapest set of fasteners to undo, with proof: relaxation, whole numbers, rows for what cannot be done.

In: an assembly and what must be undone. Out: the best solution that can be carried out, and what none can go below.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from partkin.strip.assembly import Assembly, Fastener, renamed
from partkin.strip.formulation import Chosen, Formulation
from partkin.strip.repair import Repair

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


@dataclass(frozen=True)
class LeastFound:
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

    Parameters
    ----------
    asm
    must
        Fasteners to undo; None: those that hold the wanted part, which is then carried away.
    nodes, rounds
        Limits: of branches over all rounds, and of rounds. The same input gives the same answer on any machine.
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
    return replace(found, chosen=Chosen(undone, at_bench, chosen.carried))


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
