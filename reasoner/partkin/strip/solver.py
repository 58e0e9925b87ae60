"""The cheapest set of fasteners to undo, with proof: relaxation, whole numbers, rows for what cannot be done."""

from __future__ import annotations

from dataclasses import dataclass, replace

from partkin.strip.access import has_left, lump_of_wanted, run
from partkin.strip.bodies import Assembly
from partkin.strip.bundles import bundled
from partkin.strip.blocking import Blocking
from partkin.strip.cuts import before_bench, reaching
from partkin.strip.master import TOLERANCE_MINUTES, Chosen, Master, cost_minutes

RELAXED_ROUNDS = 60
RELAXED_ROWS = 40
WHOLE_ROWS = 200
STALL_ROUNDS = 6
STALL_MINUTES = 0.05
ROUNDS = 150
NODES = 20_000


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


def cheapest(
    asm: Assembly, must: tuple[int, ...] | None = None, nodes: int = NODES, rounds: int = ROUNDS
) -> Found:
    """Return the cheapest solution that undoes what must be undone.

    Parameters
    ----------
    asm
    must
        Fasteners to undo; None: those that hold the wanted part, which is then carried away.
    nodes, rounds
        Limits: of branches a round, and of rounds. The same input gives the same answer on any machine.

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
        reach = run(asm, (f.index for f in asm.fasteners if f.index not in asm.without))
        blocked -= reach
    return replace(found, chosen=chosen, blocked=tuple(sorted(blocked)))


def _search(asm: Assembly, must: tuple[int, ...] | None, nodes: int, rounds: int) -> Found:
    lifted = must is None
    wanted = asm.boundary if must is None else must
    can = frozenset(run(asm, (f.index for f in asm.fasteners if f.index not in asm.without)))
    blocked = tuple(index for index in wanted if index not in can)
    if blocked:
        return Found(None, 0.0, 0.0, True, blocked=blocked)
    master, blocking = Master(asm, wanted, lifted, can), Blocking(asm)
    _relax(master, blocking, can)
    master.make_whole(nodes)
    best, bound, limit, done = None, 0.0, None, 0
    for done in range(1, rounds + 1):
        solved = master.solve()
        bound = max(bound, master.bound())
        if not solved:
            limit = f"the search stopped after {nodes} branches"
            break
        values = master.values()
        chosen = master.chosen(values)
        rows = reaching(asm, blocking, master.columns, values, can, WHOLE_ROWS)
        rows = rows or before_bench(asm, blocking, master.columns, chosen, can)
        offered = _repaired(asm, wanted, chosen, lifted, can) if rows else _tidied(asm, wanted, chosen, lifted)
        if best is None or cost_minutes(asm, offered, lifted) < cost_minutes(asm, best, lifted):
            best = offered
        if cost_minutes(asm, best, lifted) <= bound + TOLERANCE_MINUTES or not rows:
            break
        master.add_rows(rows)
    else:
        limit = f"the search stopped after {rounds} rounds"
    if best is None:
        best = _repaired(asm, wanted, Chosen(frozenset(wanted), frozenset(), asm.wanted), lifted, can)
    cost = cost_minutes(asm, best, lifted)
    proved = cost <= bound + TOLERANCE_MINUTES
    if not proved and limit is None:
        limit = f"the search stopped after {nodes} branches"
    return Found(best, cost, cost if proved else max(0.0, bound), proved, None if proved else limit, rounds=done)


def _relax(master: Master, blocking: Blocking, can: frozenset[int]) -> None:
    """Add rows at the relaxation until it breaks none, or they no longer lift the bound."""
    bounds: list[float] = []
    while len(bounds) < RELAXED_ROUNDS and master.solve():
        bounds.append(master.bound())
        if len(bounds) > STALL_ROUNDS and bounds[-1] - bounds[-1 - STALL_ROUNDS] < STALL_MINUTES:
            return
        rows = reaching(master.asm, blocking, master.columns, master.values(), can, RELAXED_ROWS)
        if not rows:
            return
        master.add_rows(rows)


def _good(asm: Assembly, wanted: tuple[int, ...], chosen: Chosen) -> bool:
    """Whether a solution can be carried out and does what is wanted."""
    if not chosen.undone.issuperset(wanted) or run(asm, chosen.undone) != set(chosen.undone):
        return False
    if not chosen.at_bench:
        return True
    before = run(asm, chosen.undone - chosen.at_bench)
    carried = lump_of_wanted(asm, before)
    return has_left(asm, before) and all(
        carried.issuperset(asm.fasteners[index].ends) for index in chosen.at_bench
    )


def _at_least(asm: Assembly, chosen: Chosen) -> Chosen:
    """Carry to the bench only what is still joined to the part then."""
    if not chosen.at_bench:
        return Chosen(chosen.undone, frozenset(), asm.wanted)
    before = run(asm, chosen.undone - chosen.at_bench)
    return Chosen(chosen.undone, chosen.at_bench, lump_of_wanted(asm, before))


def _tidied(asm: Assembly, wanted: tuple[int, ...], chosen: Chosen, lifted: bool) -> Chosen:
    """Leave out whatever is not needed, dearest first, where that does not make the lift dearer."""
    chosen = _at_least(asm, chosen)
    cost = cost_minutes(asm, chosen, lifted)
    order = sorted(chosen.undone - frozenset(wanted), key=lambda i: (-asm.fasteners[i].minutes, i))
    for index in order:
        gone = frozenset([index])
        smaller = Chosen(chosen.undone - gone, chosen.at_bench - gone, chosen.carried)
        if _good(asm, wanted, smaller):
            smaller = _at_least(asm, smaller)
            less = cost_minutes(asm, smaller, lifted)
            if less <= cost:
                chosen, cost = smaller, less
    return chosen


def _repaired(
    asm: Assembly, wanted: tuple[int, ...], chosen: Chosen, lifted: bool, can: frozenset[int]
) -> Chosen:
    """Make a solution that can be carried out from one that cannot: add what helps, then leave out again."""
    done = run(asm, chosen.undone)
    while not chosen.undone <= done:
        more = _helping(asm, chosen.undone - done, can - chosen.undone)
        if not more:
            chosen = Chosen(can, frozenset(), asm.wanted)
            break
        chosen = Chosen(chosen.undone | more, chosen.at_bench, chosen.carried)
        done = run(asm, chosen.undone)
    if not _good(asm, wanted, chosen):
        chosen = Chosen(chosen.undone, frozenset(), asm.wanted)
    return _tidied(asm, wanted, chosen, lifted)


def _helping(asm: Assembly, blocked: frozenset[int], spare: frozenset[int]) -> frozenset[int]:
    """Return what the blocked fasteners' clauses name, or what holds it."""
    ways = [way for index in blocked for clause in asm.fasteners[index].behind for way in clause]
    found = {way.fastener for way in ways if way.fastener is not None}
    for family in {way.family for way in ways if way.family}:
        found |= {f.index for f in asm.fasteners if any((a in family) != (b in family) for a, b in f.joins)}
    return frozenset(found & spare)
