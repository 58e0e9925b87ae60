"""What else could be holding: candidates from the sheet, the likeliest first, with the shortest way to look."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from partkin.model.build import Build
from partkin.model.stripping import StripPlan, StripStep, Suspected
from partkin.strip.assembly import NO_PLACE, Assembly, Fastener, assembly
from partkin.strip.order import ordered
from partkin.strip.search import cheapest
from partkin.strip.steps import counted, look_for

MOST = 12
NODES = 100
ROUNDS = 20


def left(plan: StripPlan, done: Collection[int | str]) -> tuple[StripStep, ...]:
    """Return the steps of a plan that are still to do; `done`: step numbers, or fastener ids."""
    return tuple(step for step in plan.steps if step.number not in done and step.fastener not in done)


def undone_by(plan: StripPlan, done: Collection[int | str]) -> frozenset[str]:
    """Return the fasteners that some steps undid, to plan anew from there."""
    steps = set(plan.steps) - set(left(plan, done))
    return frozenset(step.fastener for step in steps if step.fastener is not None)


def stuck(
    build: Build, name: str, *, done: frozenset[str] = frozenset(), stays: frozenset[str] | None = None
) -> tuple[Suspected, ...]:
    """Return what else may be holding where a fastener or a part will not come; KeyError: no sheet has it.

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
    """
    row = next((row for row in build.holdings if row.fastener == name), None)
    parts = {part for r in build.holdings for part in (r.part, r.held_to)} | {part.part for part in build.parts}
    if row is None and name not in parts:
        raise KeyError(name)
    asm = assembly(build, row.part if row is not None else name, done - {name}, frozenset(), stays)
    own = next((f for f in asm.fasteners if f.id == name), None)
    suspects = _near_fastener(asm, own) if own is not None else _of_part(asm)
    once: dict[int, Suspicion] = {}
    for suspect in sorted(suspects, key=lambda suspect: (suspect[0], suspect[1].index)):
        once.setdefault(suspect[1].index, suspect)
    found = [
        (tier, _with_look(asm, fastener, why + ("; a guess" if tier and fastener.guess else "")))
        for tier, fastener, why in list(once.values())[:MOST]
    ]
    found.sort(key=lambda pair: (pair[0], pair[1].minutes))
    ends = own.ends if own is not None else sorted(asm.wanted)
    places = [own.place] if own is not None and own.place != NO_PLACE else []
    look = f"look for {look_for(*places, *map(asm.named, ends))}"
    nothing = "something that no row tells of" if found else "no row is left that could hold it"
    listed = [*(suspected for _, suspected in found), Suspected(0, None, nothing, look, 0.0)]
    return tuple(replace(suspected, rank=rank) for rank, suspected in enumerate(listed, 1))


# The likelier the smaller the number.
Suspicion = tuple[int, Fastener, str]


def _near_fastener(asm: Assembly, own: Fastener) -> list[Suspicion]:
    """Candidates for a fastener that will not come."""
    ends, others = set(own.ends), [f for f in asm.fasteners if f is not own and not f.link]
    found: list[Suspicion] = []
    reach = asm.reach if asm.on_bench else asm.reach_in_place
    if not reach.reached(own.index, 0, reach.joined(())):
        ways = [way for clause in own.behind for way in clause]
        why = f"its row says that it must be off before {own.id}"
        for fastener in others:
            if any(way.fastener == fastener.index or fastener.holds(way.family) for way in ways):
                found.append((0, fastener, why))
    named = {fastener.index for _, fastener, _ in found}
    others = [f for f in others if f.index not in named]
    for fastener in others:
        if ends.issuperset(fastener.ends):
            found.append((2 if fastener.guess else 1, fastener, f"joins the same two parts as {own.id}"))
    for body in sorted({body for f in others if not ends.isdisjoint(f.ends) for body in f.ends} - ends):
        if all(any({end, body} <= set(f.ends) for f in others) for end in own.ends):
            for fastener in others:
                if body in fastener.ends and not ends.isdisjoint(fastener.ends):
                    tier = 3 if own.joins[0][0] in fastener.ends else 4
                    found.append((tier, fastener, f"joins the two by way of {asm.named(body)}"))
    return found


def _of_part(asm: Assembly) -> list[Suspicion]:
    """Candidates for a part that will not come away."""
    found: list[Suspicion] = []
    for fastener in (asm.fasteners[index] for index in asm.boundary):
        if not fastener.link:
            other = next(body for body in fastener.ends if body not in asm.wanted)
            found.append((2 if fastener.guess else 1, fastener, f"joins it to {asm.named(other)}"))
    return found


def _with_look(asm: Assembly, fastener: Fastener, why: str) -> Suspected:
    """Return a candidate with the least that must be undone to get at it."""
    found = cheapest(asm, (fastener.index,), nodes=NODES, rounds=ROUNDS)
    what = counted(fastener) + ("" if fastener.place == NO_PLACE else f" ({fastener.place})")
    if found.chosen is None:
        look = f"{what}: by its row it cannot be reached before something else comes off; look from the other side"
        return Suspected(0, fastener.id, f"{why}, hidden", look, float("inf"), (), fastener.guess)
    events = [event for event in ordered(asm, found.chosen)[0] if event.do == "undo"]
    first = tuple(asm.fasteners[event.fastener].id for event in events if event.fastener != fastener.index)
    if not first:
        return Suspected(0, fastener.id, why, f"{what}: in reach now", 0.0, (), fastener.guess)
    minutes = round(sum(f.minutes for f in asm.fasteners if f.id in first), 3)
    look = f"{what}: hidden; undo {', '.join(first)} first ({minutes:g} min), then look"
    return Suspected(0, fastener.id, f"{why}, hidden behind what is still on", look, minutes, first, fastener.guess)
