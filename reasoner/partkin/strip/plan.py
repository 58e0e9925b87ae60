"""The least work that frees a part: the whole of it on one page."""

from __future__ import annotations

from dataclasses import replace

from partkin.model.build import Build
from partkin.model.stripping import BodyOn, BodyRole, Joint, NoPlan, StripPlan, StripStep
from partkin.strip.assembly import Assembly, assembly, children_of, family
from partkin.strip.circles import why_blocked
from partkin.strip.formulation import Chosen
from partkin.strip.order import ordered
from partkin.strip.search import NODES, ROUNDS, LeastFound, cheapest
from partkin.strip.steps import steps_of, unknowns_of


def plan(
    build: Build,
    part: str,
    *,
    done: frozenset[str] = frozenset(),
    without: frozenset[str] = frozenset(),
    stays: frozenset[str] | None = None,
    nodes: int = NODES,
    rounds: int = ROUNDS,
) -> StripPlan | NoPlan:
    """Return the cheapest plan that frees a part, its children with it.

    Parameters
    ----------
    build
    part
        A part id; an assembly's children come with it.
    done
        Fasteners that are undone already, and parts that are off already.
    without
        Fasteners that will not come: the plan leaves them alone, and where one of them holds the part itself
        the part comes off with what it is held to (`with_it`).
    stays
        Parts that stay where they are; None: the vehicle as the sheet has it. Empty: all of it lies on a bench.
    nodes, rounds
        Limits of the search, the same on every machine.

    Returns
    -------
    StripPlan or NoPlan
        NoPlan is falsy and says why.

    Examples
    --------
    >>> from partkin.model.build import Build, Holding, Part
    >>> build = Build(parts=(Part("vent"), Part("dash")), holdings=(
    ...     Holding("vent", "dash", "S1", "screw", count=4), Holding("dash", "shell", "B1", "bolt", count=8)))
    >>> found = plan(build, "vent")
    >>> found.undone, found.minutes, found.proved
    (('S1',), 2.0, True)
    """
    unknown = _not_in_sheets(build, part, done, without)
    if unknown:
        return NoPlan(part, unknown)
    asm, with_it, first_reason = assembly(build, part, done, without, stays), list[str](), ""
    while True:
        found = cheapest(asm, nodes=nodes, rounds=rounds)
        if found.chosen is not None:
            return _worded(asm, part, found, found.chosen, tuple(with_it))
        grown, reason = _held_fast(asm, found), why_blocked(asm, found.blocked)
        if grown is None:
            says = f"{first_reason}. Nor do they come off together: {reason}" if first_reason else reason
            return NoPlan(part, says, tuple(asm.fasteners[i].id for i in found.blocked))
        first_reason = first_reason or reason
        with_it += [asm.bodies[body] for body in sorted(grown)]
        asm = replace(asm, wanted=asm.wanted | grown)


def _not_in_sheets(build: Build, part: str, done: frozenset[str], without: frozenset[str]) -> str | None:
    fasteners = {row.fastener for row in build.holdings}
    parts = {name for row in build.holdings for name in (row.part, row.held_to)} | {p.part for p in build.parts}
    if part not in parts:
        return f"no sheet has a part {part!r}"
    for name in sorted(done - fasteners - parts):
        return f"no sheet has a fastener or part {name!r}, which is said to be done"
    for name in sorted(without - fasteners):
        return f"held_by.csv has no fastener {name!r}, which is to be left alone"
    return None


def _held_fast(asm: Assembly, found: LeastFound) -> frozenset[int] | None:
    """Return the bodies that a fastener which will not come leaves on the part; None where that is no way out."""
    stuck = [asm.fasteners[index] for index in found.blocked if index in asm.without]
    others = {body for fastener in stuck for body in fastener.ends} - asm.wanted
    if not stuck or others & asm.stays:
        return None
    children = children_of(asm.build)
    names = {name for body in others for name in family(children, asm.bodies[body])}
    return frozenset(body for body, name in enumerate(asm.bodies) if name in names) - asm.stays - asm.wanted


def _worded(asm: Assembly, part: str, found: LeastFound, chosen: Chosen, with_it: tuple[str, ...]) -> StripPlan:
    events, changes = ordered(asm, chosen)
    steps = steps_of(asm, events, chosen.at_bench)
    # The bodies that leave the vehicle in one lift with the part (on a bench: the part alone).
    together = asm.wanted
    if chosen.at_bench and not asm.on_bench:
        together = asm.reach.with_wanted(chosen.undone - chosen.at_bench)
    inside = [f for f in asm.fasteners if f.index not in chosen.undone and together.issuperset(f.ends) and not f.link]
    cautions = dict.fromkeys(caution for step in steps for caution in step.cautions)
    return StripPlan(
        part=part,
        name=asm.named(asm.root),
        steps=steps,
        undone=tuple(step.fastener for step in steps if step.fastener is not None),
        comes_off=tuple(asm.bodies[body] for body in sorted(together, key=lambda b: (b not in asm.wanted, b))),
        with_it=with_it,
        left_alone=tuple(fastener.id for fastener in inside),
        left_alone_pieces=sum(fastener.count for fastener in inside),
        minutes=round(sum(step.minutes for step in steps), 3),
        cost_minutes=found.cost_minutes,
        bound_minutes=round(found.bound_minutes, 3),
        proved=found.proved,
        limit=found.limit,
        changes_of_place=changes,
        unknowns=unknowns_of(asm, events),
        cautions=tuple(sorted(cautions, key=lambda caution: not caution.hold)),
        joints=_joints(asm, steps),
        bodies=_bodies(asm, chosen, together),
        notes=_notes(asm, part, with_it),
    )


def _notes(asm: Assembly, part: str, with_it: tuple[str, ...]) -> tuple[str, ...]:
    notes, rows = [], asm.build.holdings
    if asm.on_bench:
        notes.append("nothing here is held to a vehicle: all of it is taken to lie on a bench")
    if any(row.held_to == part for row in rows) and not any(row.part == part for row in rows):
        notes.append(f"no row holds {part} to anything; it is free once all that is held to it is off")
    if with_it:
        notes.append(f"what will not come stays on it: {part} comes off with {', '.join(with_it)}")
    return tuple(notes)


def _joints(asm: Assembly, steps: tuple[StripStep, ...]) -> tuple[Joint, ...]:
    number = {step.fastener: step.number for step in steps if step.fastener is not None}
    found = []
    for f in (*asm.fasteners, *asm.done):
        if not f.link:
            joins = tuple((asm.bodies[a], asm.bodies[b]) for a, b in f.joins)
            found.append(Joint(f.id, f.kind, f.count, joins, number.get(f.id), f.guess, f in asm.done))
    return tuple(found)


def _bodies(asm: Assembly, chosen: Chosen, together: frozenset[int]) -> tuple[BodyOn, ...]:
    """Every body that some fastener holds, with how many joints lie between it and what stays."""
    layer = dict.fromkeys(sorted(asm.stays) or sorted(asm.wanted), 0)
    fasteners = [*asm.fasteners, *asm.done]
    waiting = list(layer)
    while waiting:
        body = waiting.pop(0)
        for other in (end for fastener in fasteners if body in fastener.ends for end in fastener.ends):
            if other not in layer:
                layer[other] = layer[body] + 1
                waiting.append(other)
    joined = asm.reach.joined(chosen.undone)
    home = {joined[body] for body in asm.stays}

    def role(body: int) -> BodyRole:
        if body in asm.wanted:
            return "wanted"
        if body in together:
            return "comes with it"
        return "stays" if asm.on_bench or joined[body] in home else "comes off first"

    there = {body for fastener in fasteners for body in fastener.ends} | asm.wanted
    return tuple(BodyOn(asm.bodies[b], asm.named(b), role(b), layer.get(b, 0)) for b in sorted(there))
