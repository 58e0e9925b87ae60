"""Events into steps: numbers, words, cautions, marks and bags; and what the plan takes on trust."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from partkin.model.reasons import Caution, Unknown
from partkin.model.stripping import StripStep
from partkin.strip.assembly import NO_PLACE, Assembly, Fastener
from partkin.strip.cautions import (
    AT_THE_START,
    BEFORE_ITS_STEP,
    RESTRAINT_CARRIED,
    STEP_CAUTIONS,
    lifting,
    restraint_parts,
    witness_mark,
    words_of,
)
from partkin.strip.looking import look_for
from partkin.strip.order import BENCH, Event
from partkin.tables.costs import fastener_rows

VERBS = {
    "connector": "unplug", "hose": "take off", "clip": "unclip", "adhesive": "release", "clamp": "loosen",
    "strap": "open",
}  # fmt: skip
START = "before you start"


def pieces(count: int, kind: str, thread: str | None) -> str:
    """Return how many of what.

    Examples
    --------
    >>> pieces(4, "screw", "M6"), pieces(2, "adhesive", None)
    ('4 screws M6', '2 adhesive joints')
    """
    plural = kind if count == 1 else "adhesive joints" if kind == "adhesive" else f"{kind}s"
    return f"{count} {plural}" + (f" {thread}" if thread else "")


def counted(fastener: Fastener) -> str:
    """Return how many of what a fastener is."""
    return pieces(fastener.count, fastener.kind, fastener.given("thread"))


def steps_of(asm: Assembly, events: list[Event], at_bench: frozenset[int]) -> tuple[StripStep, ...]:
    """Return the numbered steps of an order, with what must be done before them.

    Parameters
    ----------
    asm
    events
    at_bench
        Fasteners that are undone at the bench.
    """
    found: list[tuple[StripStep, set[str]]] = []
    heavy: set[int] = set()
    for event in events:
        if event.do == "undo":
            fastener = asm.fasteners[event.fastener]
            words = words_of(asm, fastener)
            found.append((_undo(asm, event, words, asm.on_bench or event.fastener in at_bench), set(words)))
            heavy.update(fastener.ends if "heavy" in words else ())
        else:
            step = _come_loose(asm, event, not heavy.isdisjoint(event.bodies))
            found.append((step, {"restraint"} if RESTRAINT_CARRIED in step.cautions else set()))
    every = {word for _, words in found for word in words}
    steps = [_prepare(START, caution) for word, caution in AT_THE_START.items() if word in every]
    prepared: set[str] = set()
    for step, words_ in found:
        for word, caution in BEFORE_ITS_STEP.items():
            if word in words_ - prepared:
                prepared.add(word)
                steps.append(_prepare(step.place, caution))
        steps.append(step)
    return tuple(_numbered(step, number) for number, step in enumerate(steps, start=1))


def _undo(asm: Assembly, event: Event, words: Iterable[str], at_bench: bool) -> StripStep:
    fastener = asm.fasteners[event.fastener]
    pairs = "; ".join(f"{asm.named(a)} from {asm.named(b)}" for a, b in fastener.joins)
    tool, note = fastener.given("tool"), fastener.given("note")
    says = f"{VERBS.get(fastener.kind, 'undo')} {counted(fastener)} ({fastener.id}): {pairs}"
    says += f", with {tool}" if tool else ""
    says += "; a guess: look whether it is there" if fastener.guess else ""
    says += f" ({note})" if note else ""
    return StripStep(
        number=0,
        do="undo",
        place=event.place,
        says=says,
        fastener=fastener.id,
        kind=fastener.kind,
        count=fastener.count,
        thread=fastener.rows[0].thread,
        tool=tool,
        joins=tuple((asm.bodies[a], asm.bodies[b]) for a, b in fastener.joins),
        minutes=round(fastener.minutes * (fastener.bench_factor if at_bench else 1.0), 3),
        on_bench=at_bench,
        guess=fastener.guess,
        mark=witness_mark(asm, fastener),
        bag=fastener_rows()[fastener.kind].label or None,
        cautions=tuple(STEP_CAUTIONS[word] for word in words),
    )


def _come_loose(asm: Assembly, event: Event, heavy: bool) -> StripStep:
    names = tuple(asm.bodies[body] for body in event.bodies)
    mine = not asm.wanted.isdisjoint(event.bodies)
    listed = ", ".join(asm.named(body) for body in sorted(event.bodies, key=lambda b: (b not in asm.wanted, b)))
    if event.do == "to the bench":
        says = f"lift out in one piece and lay on the bench: {listed}"
    elif asm.wanted.issuperset(event.bodies):
        says = f"take away: {listed}; it is free"
    elif mine:
        says = f"hold up, it comes loose in one piece: {listed}"
    else:
        says = f"{'now apart from it' if event.place == BENCH else 'take off and lay aside'}: {listed}"
    step = StripStep(0, event.do, _out_of(asm, event), says, bodies=names)
    if event.place == BENCH and not mine:
        return step
    mass_kg = asm.mass_kg(event.bodies)
    unknown = tuple(asm.bodies[body] for body in event.bodies if body in asm.no_mass)
    cautions = lifting(mass_kg, unknown, heavy)
    if restraint_parts(asm.build, names):
        cautions += (RESTRAINT_CARRIED,)
    return replace(step, mass_kg=mass_kg or None, mass_unknown=unknown, cautions=cautions)


def _out_of(asm: Assembly, event: Event) -> str:
    """Return the place where most of what held the bodies was undone: that is where they come out."""
    count: dict[str, int] = {}
    for fastener in asm.fasteners:
        if not fastener.link and fastener.holds(event.bodies):
            count[fastener.place] = count.get(fastener.place, 0) + fastener.count
    if asm.on_bench or event.place == BENCH or not count:
        return event.place
    return max(count, key=lambda place: (count[place], place == event.place))


def _prepare(place: str, caution: Caution) -> StripStep:
    return StripStep(number=0, do="prepare", place=place, says=caution.says, cautions=(caution,))


def _numbered(step: StripStep, number: int) -> StripStep:
    if step.bag is None:
        return replace(step, number=number)
    what = pieces(step.count, step.kind or "", step.thread)
    pairs = "; ".join(f"{part} from {other}" for part, other in step.joins)
    label = f"{step.bag} {number} | {step.place} | {what} | {step.fastener} | {pairs}"
    return replace(step, number=number, bag=label)


def unknowns_of(asm: Assembly, events: list[Event]) -> tuple[Unknown, ...]:
    """Return what the plan takes on trust: what nothing, little or only a guess is known to hold."""
    found: list[Unknown] = []
    for event in events:
        holding = [f for f in (*asm.fasteners, *asm.done) if event.do != "undo" and f.holds(event.bodies)]
        if event.do != "undo":
            found += _held_by_little(asm, event, [f for f in holding if not f.link])
        for link in (f for f in holding if f.link):
            part, parent = (asm.named(body) for body in link.joins[0])
            look = f"Before pulling look for: {look_for(*(asm.named(body) for body in link.ends))}."
            says = f"{part} belongs to {parent}, and nothing is known to hold it there. {look}"
            found.append(Unknown(f"how {part} is held", says, asm.bodies[link.joins[0][0]]))
    undone = [asm.fasteners[event.fastener] for event in events if event.do == "undo"]
    for fastener in undone:
        if fastener.guess:
            says = (
                f"{fastener.id} ({counted(fastener)}, {fastener.place}) is a guess: look whether it is there, and "
                "whether there are others like it."
            )
            found.append(Unknown(f"whether {fastener.id} is there", says, asm.bodies[fastener.joins[0][0]]))
    for name, waits in asm.unheld:
        if any(fastener.id == waits for fastener in undone):
            says = f"{name} stands before {waits}, and no row says how {name} is held: it is taken to be off already."
            found.append(Unknown(f"how {name} is held", says, name))
    return tuple(dict.fromkeys(found))


def _held_by_little(asm: Assembly, event: Event, holding: list[Fastener]) -> list[Unknown]:
    sure = sum(f.count for f in holding if fastener_rows()[f.kind].holds and not f.guess)
    if sure > 1:
        return []
    if not holding:
        what = "nothing is known to hold it"
    elif not sure:
        what = "only guesses, plugs or pipes are known to hold it"
    else:
        what = "only one fastener is known to hold it, and one alone seldom does"
    names = [asm.named(body) for body in event.bodies]
    places = [place for place in (event.place, *(f.place for f in holding[:1])) if place not in (NO_PLACE, BENCH, "")]
    listed, look = ", ".join(names), look_for(*places, *names)
    says = f"{listed}: {what}. Before pulling look for: {look}."
    return [Unknown(f"what holds {listed}", says, asm.bodies[event.bodies[0]])]
