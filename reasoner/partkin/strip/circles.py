"""What can never be undone, and why: fasteners that wait for each other."""

from __future__ import annotations

from collections.abc import Set

from partkin.model.build import Build
from partkin.model.problem import Problem
from partkin.strip.assembly import Assembly, Fastener, assembly
from partkin.strip.reach import bits

SHEET = "held_by.csv"
NO_VEHICLE = "Write what stays on the vehicle under held_to alone, never under part"


def impossible(build: Build) -> tuple[Problem, ...]:
    """Return every circle of held_by.csv that no order undoes, one Problem a circle; for the sheet check.

    Names that no sheet has are left to the reader of the sheet.

    Examples
    --------
    >>> from partkin.model.build import Build, Holding
    >>> rows = (Holding("a", "b", "S1", "screw", behind=(("S2",),), row=2),
    ...         Holding("c", "b", "S2", "screw", behind=(("S1",),), row=3))
    >>> print(impossible(Build(holdings=rows))[0])
    held_by.csv:2:behind: S1 waits for S2; S2 waits for S1: nobody can undo this. Say which of them is reached first
    """
    problems: list[Problem] = []
    covered: set[str] = set()
    for row in build.holdings:
        if row.part in covered:
            continue
        asm = assembly(build, row.part)
        joined = {asm.bodies[body] for fastener in asm.fasteners for body in fastener.ends}
        covered |= joined
        if not asm.stays:
            what = f"each of {', '.join(sorted(joined))} is held to another, so nothing of them is the vehicle"
            problems.append(Problem(SHEET, row.row, "held_to", what, NO_VEHICLE, warning=True))
        problems += _circles(asm)
    return tuple(sorted(set(problems)))


def why_blocked(asm: Assembly, blocked: tuple[int, ...]) -> str:
    """Return in words why fasteners that hold the part can never be undone."""
    index = blocked[0]
    fastener = asm.fasteners[index]
    if index in asm.without:
        ends = " and ".join(asm.bodies[body] for body in fastener.ends)
        return f"{fastener.id} joins {ends}, and the part cannot be free while it holds"
    circle = _circle(asm, index, frozenset(range(len(asm.fasteners))) - asm.can - asm.without)
    if circle:
        return f"{fastener.id} can never be reached: " + "; ".join(circle.values())
    undone, joined = bits(asm.can), asm.reach.joined(asm.can)
    for clause, ways in zip(fastener.behind, asm.reach.clauses[index], strict=True):
        if not any(asm.reach.is_off(way, index, undone, joined) for way in ways):
            names = " or ".join(way.name + (" (in no sheet)" if way.unknown else "") for way in clause)
            return f"{fastener.id} is behind {names}, which cannot come off first"
    return f"{fastener.id} can never be reached"


def _circles(asm: Assembly) -> list[Problem]:
    every = range(len(asm.fasteners))
    blocked = frozenset(every) - asm.reach.run(every)
    found: dict[frozenset[int], Problem] = {}
    for index in sorted(blocked):
        circle = _circle(asm, index, blocked)
        if circle:
            row = min((asm.fasteners[i].rows[0].row for i in circle if asm.fasteners[i].rows), default=0)
            what = f"{'; '.join(circle.values())}: nobody can undo this"
            problem = Problem(SHEET, row, "behind", what, "Say which of them is reached first")
            found.setdefault(frozenset(circle), problem)
    return list(found.values())


def _circle(asm: Assembly, start: int, blocked: Set[int]) -> dict[int, str]:
    """Follow what each waits for until one comes up again; return those that go round, each with its words."""
    undone = frozenset(range(len(asm.fasteners))) - blocked
    joined, gone = asm.reach.joined(undone), bits(undone)
    seen: dict[int, str] = {}
    index = start
    while index not in seen:
        step = _waits_for(asm, asm.fasteners[index], gone, blocked, joined)
        if step is None:
            return {}
        seen[index], index = step
    order = list(seen)[list(seen).index(index) :]
    least = order.index(min(order))
    return {i: seen[i] for i in order[least:] + order[:least]}


def _waits_for(
    asm: Assembly, fastener: Fastener, gone: int, blocked: Set[int], joined: list[int]
) -> tuple[str, int] | None:
    """Return in words what a blocked fastener waits for, and the blocked fastener that this comes down to."""
    for clause, ways in zip(fastener.behind, asm.reach.clauses[fastener.index], strict=True):
        if any(asm.reach.is_off(way, fastener.index, gone, joined) for way in ways):
            continue
        for way in clause:
            if way.fastener is not None and way.fastener in blocked:
                return f"{fastener.id} waits for {way.name}", way.fastener
            if way.fastener is None and not way.unknown:
                for holder in asm.fasteners:
                    if holder.index in blocked and holder.holds(way.family):
                        says = f"{fastener.id} waits for {way.name} to be off, which {holder.id} holds"
                        return says, holder.index
    return None
