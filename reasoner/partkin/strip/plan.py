"""The least work that frees a part, why there is none, and how pieces of an assembly stand by themselves."""

from __future__ import annotations

from collections.abc import Iterable, Set
from dataclasses import replace

from partkin.model.build import Build, Part
from partkin.model.problem import Problem
from partkin.model.stripping import BodyOn, BodyRole, Joint, NoPlan, StripPlan, StripStep
from partkin.model.verdict import Level, Verdict
from partkin.model.words import DOES_NOT_FIT, GOES_ON, WITH_ADAPTATION
from partkin.strip.assembly import Assembly, Fastener, assembly, children_of, family
from partkin.strip.formulation import Chosen
from partkin.strip.order import ordered
from partkin.strip.reach import bits
from partkin.strip.search import NODES, ROUNDS, LeastFound, cheapest
from partkin.strip.steps import steps_of, unknowns_of

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
    """Return the cheapest plan that frees a part, an assembly's children with it; NoPlan is falsy and says why.

    Parameters
    ----------
    build
    part
    done
        Fasteners that are undone already, and parts that are off already.
    without
        Fasteners that will not come: the plan leaves them alone, and where one of them holds the part itself
        the part comes off with what it is held to (`with_it`).
    stays
        Parts that stay where they are; None: the vehicle as the sheet has it. Empty: all of it lies on a bench.
    nodes, rounds
        Limits of the search, the same on every machine.

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


# Fasteners named in the sentence; the plan names them all.
MOST_LISTED = 6


def level_of(build: Build, own: Verdict, part: Part, within: bool, verdict: Verdict) -> Level:
    """Say how a donor within this one, or an assembly around it, stands for its own place.

    Where a part of what does not go on whole goes on, one sentence says both, and what has to be separated.
    """
    return Level(part.part, part.name, verdict.host, verdict.verdict, within, _says(build, part, verdict, own, within))


def best_first(levels: Iterable[Level]) -> tuple[Level, ...]:
    """Order levels: those that go on first, of these the ones within the donor."""
    return tuple(sorted(levels, key=lambda level: (level.verdict not in GOES_ON, not level.within)))


def _says(build: Build, part: Part, verdict: Verdict, own: Verdict, within: bool) -> str:
    """How a part within the donor, or an assembly round it, stands beside the donor's own verdict."""
    donor = build.part(own.donor)
    assert donor is not None
    whole, piece = (donor, part) if within else (part, donor)
    of_whole, of_piece = (own, verdict) if within else (verdict, own)
    if of_whole.verdict == DOES_NOT_FIT and of_piece.verdict in GOES_ON:
        return (
            f"the whole {called(whole)} does not go on {of_whole.host}{_differs(of_whole)}; its {called(piece)} does, "
            f"on {of_piece.host}{_after_work(of_piece)}; {_separating(build, piece.part)}"
        )
    where = f"part of {donor.part}" if within else f"the assembly that {donor.part} belongs to"
    if verdict.verdict in GOES_ON:
        apart = f"; {_separating(build, part.part)}" if within else ""
        return f"{called(part)}, {where}, goes on {verdict.host}{' whole' * (not within)}{_after_work(verdict)}{apart}"
    if verdict.verdict == DOES_NOT_FIT:
        return f"{called(part)}, {where}, does not go on {verdict.host}{' whole' * (not within)}{_differs(verdict)}"
    return f"{called(part)}, {where}, on {verdict.host}: {verdict.says or verdict.verdict}"


def called(part: Part) -> str:
    """What a part is, with its id."""
    return f"{part.name} ({part.part})" if part.name else part.part


def _after_work(verdict: Verdict) -> str:
    if verdict.verdict != WITH_ADAPTATION:
        return ""
    minutes = f", {verdict.adaptation.minutes:g} min" if verdict.adaptation is not None else ""
    return f" after work on it{minutes}"


def _differs(verdict: Verdict) -> str:
    """Where it differs: the fixings that are out of reach at the best placement, or those that conflict."""
    out = [pair.fixing for pair in verdict.pairs if pair.state in ("out of reach", "blocked")]
    named = out or list(verdict.conflict.fixings if verdict.conflict is not None else ())
    if not named:
        return f": {verdict.conflict_says}" if verdict.conflict_says else ""
    return f": it differs at {len(named)} fixing{'s' * (len(named) != 1)} ({', '.join(named)})"


def separating_minutes(build: Build, part: str) -> float | None:
    """Minutes in hand to get a part out of its assembly, by the strip plan; None: it cannot be told."""
    found = plan(build, part)
    if isinstance(found, NoPlan) or not any(joint.step is not None for joint in found.joints):
        return None
    return found.minutes


def _separating(build: Build, part: str) -> str:
    """What has to be undone to get a part out of its assembly, and how long that takes, by the strip plan.

    >>> from partkin.model.build import Holding
    >>> rows = (Holding("top", "frame", "s1", "screw", 4),)
    >>> _separating(Build(parts=(Part("top"), Part("frame")), holdings=rows), "top")
    'to separate it undo 4 screws (s1): about 2 min in hand; strip lists the steps'
    """
    found = plan(build, part)
    if isinstance(found, NoPlan):
        return f"it cannot be separated: {found.reason}"
    undone = [joint for joint in found.joints if joint.step is not None]
    if not undone:
        return "what holds it to the rest is not known: list it in held_by.csv"
    listed = [
        f"{joint.count} {joint.kind}{'s' * (joint.count != 1)} ({joint.fastener}{', a guess' * joint.guess})"
        for joint in undone[:MOST_LISTED]
    ]
    more = f" and {len(undone) - MOST_LISTED} more rows" if len(undone) > MOST_LISTED else ""
    aside = [body.part for body in found.bodies if body.role == "comes off first"]
    first = f"take off {', '.join(aside)} first and " if aside else ""
    stuck = f", with {', '.join(found.with_it)} still on it" if found.with_it else ""
    return (
        f"to separate it {first}undo {', '.join(listed)}{more}{stuck}: about {found.minutes:.0f} min in hand; "
        "strip lists the steps"
    )
