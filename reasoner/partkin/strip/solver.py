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
NODES = 400
ROUND_NODES = 60


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
    separation = Separation(asm, master.columns, can, on_vehicle)
    guide = _relax(master, separation)
    repair = Repair(asm, wanted, lifted, can, on_vehicle, guide)
    round_nodes = ROUND_NODES
    best, bound, limit, spent, taken = None, 0.0, None, 0, 0
    while taken < rounds:
        taken += 1
        master.make_whole(min(round_nodes, nodes - spent))
        solved = master.solve()
        bound = max(bound, master.bound())
        spent += master.nodes()
        if not solved:
            limit = f"the search stopped after {nodes} branches"
            break
        stopped = spent >= nodes
        values = master.values()
        chosen = master.chosen(values)
        rows = separation.rows(values, WHOLE_ROWS)
        offered = repair.tidied(chosen) if repair.good(chosen) else repair.repaired(chosen)
        if best is None or cost_minutes(asm, offered, lifted) < cost_minutes(asm, best, lifted):
            best = offered
        if cost_minutes(asm, best, lifted) <= bound + TOLERANCE_MINUTES or stopped:
            break
        master.add_rows(rows)
        if not rows:
            round_nodes *= 2
    else:
        limit = f"the search stopped after {rounds} rounds"
    if best is None:
        best = repair.repaired(Chosen(frozenset(wanted), frozenset(), asm.wanted))
    cost = cost_minutes(asm, best, lifted)
    proved = cost <= bound + TOLERANCE_MINUTES
    if not proved and limit is None:
        limit = f"the search stopped after {nodes} branches"
    least = cost if proved else max(0.0, bound - master.ties())
    return Found(best, cost, least, proved, None if proved else limit, rounds=taken)


def _relax(master: Master, separation: Separation) -> tuple[float, ...]:
    """Add rows at the relaxation until it breaks none, or they no longer lift the bound.

    Returns how much it then uses each fastener.
    """
    bounds: list[float] = []
    used: tuple[float, ...] = (0.0,) * len(master.columns.w)
    while len(bounds) < RELAXED_ROUNDS and master.solve():
        values = master.values()
        used = tuple(values[column] for column in master.columns.w)
        bounds.append(master.bound())
        if len(bounds) > STALL_ROUNDS and bounds[-1] - bounds[-1 - STALL_ROUNDS] < STALL_MINUTES:
            break
        rows = separation.rows(values, RELAXED_ROWS)
        if not rows:
            break
        master.add_rows(rows)
    return used
