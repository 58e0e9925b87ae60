"""What can never be undone, and why: fasteners that wait for each other."""

from __future__ import annotations

from partkin.model.build import Build, Holding
from partkin.model.problem import Problem
from partkin.strip.access import is_off, labels, most, run
from partkin.strip.bodies import Assembly, Fastener, assembly

SHEET = "held_by.csv"


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
            problems.append(_nothing_stays(row, sorted(joined)))
        problems += _circles(asm)
    return tuple(sorted(set(problems)))


def _nothing_stays(row: Holding, joined: list[str]) -> Problem:
    return Problem(
        SHEET,
        row.row,
        "held_to",
        f"each of {', '.join(joined)} is held to another, so nothing of them is the vehicle",
        "Write what stays on the vehicle under held_to alone, never under part",
        warning=True,
    )


def _circles(asm: Assembly) -> list[Problem]:
    every = {fastener.index for fastener in asm.fasteners}
    blocked = every - run(asm, every)
    found: dict[frozenset[str], Problem] = {}
    for index in sorted(blocked):
        chain, closed = _chain(asm, index, blocked)
        if not closed:
            continue
        says = "; ".join(text for _, text in chain)
        row = min((f.rows[0].row for f, _ in chain if f.rows), default=0)
        found.setdefault(
            frozenset(fastener.id for fastener, _ in chain),
            Problem(SHEET, row, "behind", f"{says}: nobody can undo this", "Say which of them is reached first"),
        )
    return list(found.values())


def _chain(asm: Assembly, start: int, blocked: set[int]) -> tuple[list[tuple[Fastener, str]], bool]:
    """Follow what each waits for until one comes up again; return the circle and whether there is one."""
    lump = labels(asm, {f.index for f in asm.fasteners} - blocked)
    undone = {f.index for f in asm.fasteners} - blocked
    seen: list[int] = []
    texts: list[str] = []
    index = start
    while index not in seen:
        seen.append(index)
        step = _waits_for(asm, index, undone, blocked, lump)
        if step is None:
            return [], False
        text, index = step
        texts.append(text)
    begin = seen.index(index)
    circle = [(asm.fasteners[i], text) for i, text in zip(seen[begin:], texts[begin:], strict=True)]
    least = min(range(len(circle)), key=lambda place: circle[place][0].index)
    return circle[least:] + circle[:least], True


def _waits_for(
    asm: Assembly, index: int, undone: set[int], blocked: set[int], lump: list[int]
) -> tuple[str, int] | None:
    """Return in words what a blocked fastener waits for, and the blocked fastener that this comes down to."""
    fastener = asm.fasteners[index]
    for clause in fastener.behind:
        if any(is_off(asm, way, fastener, undone, lump) for way in clause):
            continue
        for way in clause:
            if way.unknown:
                continue
            if way.fastener is not None:
                if way.fastener in blocked:
                    return f"{fastener.id} waits for {way.name}", way.fastener
                continue
            holder = next(
                (
                    f
                    for f in asm.fasteners
                    if f.index in blocked and any((a in way.family) != (b in way.family) for a, b in f.joins)
                ),
                None,
            )
            if holder is not None:
                return f"{fastener.id} waits for {way.name} to be off, which {holder.id} holds", holder.index
    return None


def why_blocked(asm: Assembly, blocked: tuple[int, ...]) -> str:
    """Return in words why fasteners that hold the part can never be undone."""
    index = blocked[0]
    fastener = asm.fasteners[index]
    if index in asm.without:
        ends = " and ".join(asm.bodies[body] for body in fastener.ends)
        return f"{fastener.id} joins {ends}, and the part cannot be free while it holds"
    can = set(most(asm)[0])
    every = {f.index for f in asm.fasteners} - can
    chain, closed = _chain(asm, index, every - asm.without)
    if closed:
        return f"{fastener.id} can never be reached: " + "; ".join(text for _, text in chain)
    lump = labels(asm, can)
    for clause in fastener.behind:
        if not any(is_off(asm, way, fastener, can, lump) for way in clause):
            names = " or ".join(way.name + (" (in no sheet)" if way.unknown else "") for way in clause)
            return f"{fastener.id} is behind {names}, which cannot come off first"
    return f"{fastener.id} can never be reached"
