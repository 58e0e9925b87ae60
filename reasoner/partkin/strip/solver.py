"""The cheapest set of fasteners to undo, with proof: relaxation, whole numbers, rows for what cannot be done."""

from __future__ import annotations

from dataclasses import dataclass, replace

from partkin.strip.access import most
from partkin.strip.bodies import Assembly
from partkin.strip.bundles import bundled
from partkin.strip.cuts import Separation
from partkin.strip.master import TOLERANCE_MINUTES, Chosen, Master, cost_minutes
from partkin.strip.repair import Repair

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
# Of `Separation.work`: about 15 s on one core.
WORK, DIVE_WORK = 1_000_000_000, 1_500_000_000
# A dive rounds up what the relaxation uses at least so much.
ROUNDED_UP, SLIGHT, DIVES = 0.6, 1e-4, 60


@dataclass(frozen=True)
class Found:
    """The best solution that can be carried out (None: there is none), and what none can go below."""

    chosen: Chosen | None
    cost_minutes: float
    bound_minutes: float
    proved: bool
    limit: str | None = None
    blocked: tuple[int, ...] = ()
    rounds: int = 0


def cheapest(asm: Assembly, must: tuple[int, ...] | None = None, nodes: int = NODES, rounds: int = ROUNDS) -> Found:
    """Return the cheapest solution that undoes what must be undone.

    Parameters
    ----------
    asm
    must
        Fasteners to undo; None: those that hold the wanted part, which is then carried away.
    nodes, rounds
        Limits: of branches over all rounds, and of rounds. The same input gives the same answer on any machine.

    Returns
    -------
    Found
        `blocked` names fasteners of `must` that no order can reach, where there is no solution.
    """
    small = bundled(asm, frozenset(must or ()))
    found = _search(small.asm, None if must is None else tuple(map(small.bundle_of, must)), nodes, rounds)
    chosen = found.chosen
    if chosen is not None:
        undone, at_bench = small.expanded(chosen.undone), small.expanded(chosen.at_bench)
        chosen = Chosen(undone, at_bench, chosen.carried)
    blocked = small.expanded(frozenset(found.blocked))
    if must is None:
        blocked -= most(asm)[0]
    return replace(found, chosen=chosen, blocked=tuple(sorted(blocked)))


def _search(asm: Assembly, must: tuple[int, ...] | None, nodes: int, rounds: int) -> Found:
    lifted = must is None
    wanted = asm.boundary if must is None else must
    can, on_vehicle = most(asm)
    if not lifted and not asm.on_bench:
        can = on_vehicle
    blocked = tuple(index for index in wanted if index not in can)
    if blocked:
        return Found(None, 0.0, 0.0, True, blocked=blocked)
    master = Master(asm, wanted, lifted, can, on_vehicle)
    search = _Search(asm, wanted, lifted, master, Separation(asm, master.columns, can, on_vehicle))
    search.relax()
    search.repair = Repair(asm, wanted, lifted, can, on_vehicle, search.used)
    if search.separation.work >= WORK:
        search.limit = "the search stopped at its limit of work"
        search.dive()
    else:
        search.whole(max(1, round(nodes * min(1.0, NODES_SIZE / max(1, len(asm.fasteners))))), rounds)
    return search.found()


class _Search:
    """One search: what the program is, what the best solution is so far, and what none can go below."""

    def __init__(
        self, asm: Assembly, wanted: tuple[int, ...], lifted: bool, master: Master, separation: Separation
    ) -> None:
        self.asm = asm
        self.wanted = wanted
        self.lifted = lifted
        self.master = master
        self.separation = separation
        self.used: tuple[float, ...] = (0.0,) * len(asm.fasteners)
        self.repair: Repair
        self.best: Chosen | None = None
        self.bound = 0.0
        self.limit: str | None = None
        self.taken = 0

    def relax(self) -> None:
        """Add rows at the relaxation until it breaks none, or they no longer lift the bound, or it is too much work."""
        master, bounds = self.master, [0.0]
        while len(bounds) < RELAXED_ROUNDS and self.separation.work < WORK and master.solve():
            values = master.values()
            self.used = tuple(values[column] for column in master.columns.w)
            bounds.append(master.bound())
            if len(bounds) > STALL_ROUNDS and bounds[-1] - bounds[-STALL_ROUNDS] < STALL_MINUTES:
                break
            rows = self.separation.rows(values, RELAXED_ROWS)
            if not rows:
                break
            master.add_rows(rows)
        self.bound = bounds[-1]

    def dive(self) -> None:
        """Round the relaxation up bit by bit, with rows for what each rounding still overlooks; keep what comes out."""
        master = self.master
        master.make_relaxed()
        fixed = set(self.wanted)
        for _ in range(DIVES):
            if self.separation.work >= DIVE_WORK or not master.solve():
                break
            values = master.values()
            used = [values[column] for column in master.columns.w]
            rows = self.separation.rows(values, RELAXED_ROWS)
            free = [i for i in range(len(used)) if i not in fixed and used[i] > SLIGHT]
            if not rows and not free:
                break
            up = [i for i in free if used[i] >= ROUNDED_UP]
            fixed |= set(up or sorted(free, key=lambda i: (-round(used[i], 6), i))[:1])
            master.add_rows(rows)
            master.fix(fixed)
        # Both what is rounded up and what the relaxation uses at all are kept as long as can be.
        offered = [self.repair.whittled(frozenset(kept), dearest) for kept in (fixed, ()) for dearest in (False, True)]
        if not any(offered):
            offered.append(self.repair.repaired(Chosen(frozenset(fixed), frozenset(), self.asm.wanted)))
        for chosen in offered:
            if chosen is not None:
                self._offer(chosen)

    def whole(self, nodes: int, rounds: int) -> None:
        """Solve in whole numbers, adding rows for what cannot be carried out, until the proof or the limits."""
        spent, round_nodes = 0, ROUND_NODES
        while self.taken < rounds and spent < nodes and self.separation.work < WORK:
            self.taken += 1
            self.master.make_whole(min(round_nodes, nodes - spent))
            solved = self.master.solve()
            self.bound = max(self.bound, self.master.bound())
            spent += max(1, self.master.nodes())
            if not solved:
                break
            values = self.master.values()
            chosen = self.master.chosen(values)
            rows = self.separation.rows(values, WHOLE_ROWS)
            good = self.repair.good(chosen)
            self._offer(self.repair.tidied(chosen) if good else self.repair.repaired(chosen))
            if self._proved():
                return
            self.master.add_rows(rows)
            if not rows:
                round_nodes *= 2
        self.limit = "the search stopped at its limit of branches"
        self.dive()

    def _offer(self, chosen: Chosen) -> None:
        if self.best is None or self._cost(chosen) < self._cost(self.best):
            self.best = chosen

    def _cost(self, chosen: Chosen) -> float:
        return cost_minutes(self.asm, chosen, self.lifted)

    def _proved(self) -> bool:
        return self.best is not None and self._cost(self.best) <= self.bound + TOLERANCE_MINUTES

    def found(self) -> Found:
        """Return the best solution with what is shown of it."""
        if self.best is None:
            start = Chosen(frozenset(self.wanted), frozenset(), self.asm.wanted)
            self.best = self.repair.repaired(start)
        cost, proved = self._cost(self.best), self._proved()
        least = cost if proved else max(0.0, self.bound - self.master.ties())
        return Found(self.best, cost, least, proved, None if proved else self.limit, rounds=self.taken)
