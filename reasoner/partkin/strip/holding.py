"""What else could be holding: candidates from the sheet, the likeliest first, with the shortest way to look."""

from __future__ import annotations

from collections.abc import Collection

from partkin.model.build import Build
from partkin.model.stripping import Step, StripPlan, Suspected
from partkin.strip.access import labels, reachable
from partkin.strip.bodies import NO_PLACE, Assembly, Fastener, assembly
from partkin.strip.looking import look_for
from partkin.strip.ordering import ordered
from partkin.strip.solver import cheapest
from partkin.strip.steps import counted, named

MOST = 12
NODES = 100
ROUNDS = 20


def left(plan: StripPlan, done: Collection[int | str]) -> tuple[Step, ...]:
    """Return the steps of a plan that are still to do.

    Parameters
    ----------
    plan
    done
        Step numbers, or fastener ids.
    """
    return tuple(step for step in plan.steps if step.number not in done and step.fastener not in done)


def undone_by(plan: StripPlan, done: Collection[int | str]) -> frozenset[str]:
    """Return the fasteners that some steps undid, to plan anew from there."""
    return frozenset(
        step.fastener
        for step in plan.steps
        if step.fastener is not None and (step.number in done or step.fastener in done)
    )


def stuck(
    build: Build, name: str, *, done: frozenset[str] = frozenset(), stays: frozenset[str] | None = None
) -> tuple[Suspected, ...]:
    """Return what else may be holding where a fastener or a part will not come.

    Parameters
    ----------
    build
    name
        A fastener id (the two parts that it joins will not part), or a part id (it will not come away).
    done
        Fasteners that are undone, and parts that are off.
    stays
        As for `plan`.

    Returns
    -------
    tuple of Suspected
        First what stands before it by its own row, then certain fasteners between the two, then guesses, then
        ways round by a third part, last what no sheet knows. Within each, the quickest look first.

    Raises
    ------
    KeyError
        No sheet has that fastener or part.
    """
    row = next((row for row in build.holdings if row.fastener == name), None)
    parts = {part for r in build.holdings for part in (r.part, r.held_to)} | {part.part for part in build.parts}
    if row is None and name not in parts:
        raise KeyError(name)
    wanted = row.part if row is not None else name
    asm = assembly(build, wanted, done - {name}, frozenset(), stays)
    own = next((f for f in asm.fasteners if f.id == name), None)
    if own is not None:
        tiers = _around(asm, own)
        place, ends = own.place, own.ends
    else:
        tiers = _of_part(asm)
        place, ends = NO_PLACE, tuple(sorted(asm.wanted))
    found = [_candidate(asm, tier, fastener, why) for tier, fastener, why in tiers[:MOST]]
    found.sort(key=lambda pair: (pair[0], pair[1].minutes))
    listed = [suspected for _, suspected in found]
    texts = [place if place != NO_PLACE else None, *(named(asm, body) for body in ends)]
    nothing = "no row is left that could hold it" if not listed else "something that no row tells of"
    listed.append(Suspected(0, None, nothing, f"look for {look_for(*texts)}", 0.0))
    return tuple(
        Suspected(rank, s.fastener, s.why, s.look, s.minutes, s.first, s.guess) for rank, s in enumerate(listed, 1)
    )


Tier = tuple[int, Fastener, str]


def _around(asm: Assembly, own: Fastener) -> list[Tier]:
    """Candidates for a fastener that will not come."""
    ends = set(own.ends)
    found: list[Tier] = []
    before = {way.fastener for clause in own.behind for way in clause if way.fastener is not None}
    families = [set(way.family) for clause in own.behind for way in clause if way.family]
    if not reachable(asm, own, (), labels(asm, (), in_place=not asm.on_bench)):
        for fastener in asm.fasteners:
            holds = any((a in family) != (b in family) for a, b in fastener.joins for family in families)
            if fastener is not own and not fastener.link and (fastener.index in before or holds):
                found.append((0, fastener, f"its row says that it must be off before {own.id}"))
    named_ = {fastener.index for _, fastener, _ in found}
    others = [f for f in asm.fasteners if f is not own and not f.link and f.index not in named_]
    for fastener in others:
        if ends.issuperset(fastener.ends):
            tier = 2 if fastener.guess else 1
            found.append((tier, fastener, f"joins the same two parts as {own.id}" + _maybe(fastener)))
    near = {body for f in others for body in f.ends if ends & set(f.ends)} - ends
    through = [
        body for body in sorted(near)
        if all(any({end, body} <= set(f.ends) for f in others) for end in own.ends)
    ]  # fmt: skip
    for body in through:
        for fastener in others:
            if body in fastener.ends and ends & set(fastener.ends):
                why = f"joins the two by way of {named(asm, body)}"
                tier = 3 if own.joins[0][0] in fastener.ends else 4
                found.append((tier, fastener, why + _maybe(fastener)))
    return _once(found)


def _of_part(asm: Assembly) -> list[Tier]:
    """Candidates for a part that will not come away."""
    found: list[Tier] = []
    for index in asm.boundary:
        fastener = asm.fasteners[index]
        if fastener.link:
            continue
        other = next(body for body in fastener.ends if body not in asm.wanted)
        why = f"joins it to {named(asm, other)}" + _maybe(fastener)
        found.append((2 if fastener.guess else 1, fastener, why))
    return _once(found)


def _maybe(fastener: Fastener) -> str:
    return "; a guess" if fastener.guess else ""


def _once(found: list[Tier]) -> list[Tier]:
    kept: dict[int, Tier] = {}
    for tier in sorted(found, key=lambda t: (t[0], t[1].index)):
        kept.setdefault(tier[1].index, tier)
    return list(kept.values())


def _candidate(asm: Assembly, tier: int, fastener: Fastener, why: str) -> tuple[int, Suspected]:
    """Return a candidate with the least that must be undone to get at it."""
    found = cheapest(asm, (fastener.index,), nodes=NODES, rounds=ROUNDS)
    place = "" if fastener.place == NO_PLACE else f" ({fastener.place})"
    what = f"{counted(fastener)}{place}"
    if found.chosen is None:
        look = f"{what}: by its row it cannot be reached before something else comes off; look from the other side"
        return tier, Suspected(0, fastener.id, why + ", hidden", look, float("inf"), (), fastener.guess)
    first = tuple(
        asm.fasteners[event.fastener].id
        for event in ordered(asm, found.chosen)[0]
        if event.do == "undo" and event.fastener != fastener.index
    )
    minutes = round(sum(f.minutes for f in asm.fasteners if f.id in first), 3)
    if not first:
        return tier, Suspected(0, fastener.id, why, f"{what}: in reach now", 0.0, (), fastener.guess)
    look = f"{what}: hidden; undo {', '.join(first)} first ({minutes:g} min), then look"
    why += ", hidden behind what is still on"
    return tier, Suspected(0, fastener.id, why, look, minutes, first, fastener.guess)
