"""Events into steps: numbers, words, cautions, marks and bags; and what the plan takes on trust."""

from __future__ import annotations

from dataclasses import replace

from partkin.model.reasons import Caution, Unknown
from partkin.model.stripping import Step
from partkin.strip.bodies import NO_PLACE, Assembly, Fastener
from partkin.strip.cautions import (
    AT_THE_START,
    BEFORE_ITS_STEP,
    RESTRAINT_CARRIED,
    lifting,
    restraint_parts,
    step_cautions,
    witness_mark,
    words_of,
)
from partkin.strip.costs import fastener_rows
from partkin.strip.looking import look_for
from partkin.strip.ordering import BENCH, Event

_VERBS = {
    "connector": "unplug", "hose": "take off", "clip": "unclip", "adhesive": "release", "clamp": "loosen",
    "strap": "open",
}  # fmt: skip
_PLURAL = {"adhesive": "adhesive joints"}
START = "before you start"


def named(asm: Assembly, body: int) -> str:
    """Return a part's name with its id, or its id alone."""
    part = asm.build.part(asm.bodies[body])
    return f"{part.name} ({part.part})" if part is not None and part.name else asm.bodies[body]


def counted(fastener: Fastener) -> str:
    """Return how many of what: `4 screws M6`."""
    plural = _PLURAL.get(fastener.kind, f"{fastener.kind}s")
    thread = next((row.thread for row in fastener.rows if row.thread), None)
    return f"{fastener.count} {fastener.kind if fastener.count == 1 else plural}" + (f" {thread}" if thread else "")


def _undo(asm: Assembly, event: Event, at_bench: bool) -> Step:
    fastener = asm.fasteners[event.fastener]
    first = fastener.rows[0]
    joins = tuple((asm.bodies[a], asm.bodies[b]) for a, b in fastener.joins)
    pairs = "; ".join(f"{named(asm, a)} from {named(asm, b)}" for a, b in fastener.joins)
    tool = next((row.tool for row in fastener.rows if row.tool), None)
    note = next((row.note for row in fastener.rows if row.note), None)
    says = f"{_VERBS.get(fastener.kind, 'undo')} {counted(fastener)} ({fastener.id}): {pairs}"
    if tool:
        says += f", with {tool}"
    if fastener.guess:
        says += "; a guess: look whether it is there"
    if note:
        says += f" ({note})"
    table = fastener_rows()[fastener.kind]
    return Step(
        number=0,
        do="undo",
        place=event.place,
        says=says,
        fastener=fastener.id,
        kind=fastener.kind,
        count=fastener.count,
        thread=first.thread,
        tool=tool,
        joins=joins,
        minutes=round(fastener.minutes * (fastener.bench_factor if at_bench else 1.0), 3),
        on_bench=at_bench,
        guess=fastener.guess,
        mark=witness_mark(asm, fastener),
        bag=table.label or None,
        cautions=step_cautions(asm, fastener),
    )


def _loose(asm: Assembly, event: Event, heavy: bool) -> Step:
    names = tuple(asm.bodies[body] for body in event.bodies)
    unknown = tuple(asm.bodies[body] for body in event.bodies if body in asm.no_mass)
    mass_kg = asm.mass_kg(event.bodies)
    listed = ", ".join(named(asm, body) for body in sorted(event.bodies, key=lambda b: (b not in asm.wanted, b)))
    mine = bool(set(event.bodies) & asm.wanted)
    if event.do == "to the bench":
        says = f"lift out in one piece and lay on the bench: {listed}"
    elif mine and set(event.bodies) <= asm.wanted:
        says = f"take away: {listed}; it is free"
    elif mine:
        says = f"hold up, it comes loose in one piece: {listed}"
    elif event.place == BENCH:
        says = f"now apart from it: {listed}"
    else:
        says = f"take off and lay aside: {listed}"
    stays_lying = event.place == BENCH and not mine
    cautions = () if stays_lying else lifting(mass_kg, unknown, heavy)
    if restraint_parts(asm.build, names) and not stays_lying:
        cautions += (RESTRAINT_CARRIED,)
    return Step(
        number=0,
        do=event.do,
        place=_out_of(asm, event),
        says=says,
        bodies=names,
        mass_kg=mass_kg if mass_kg and not stays_lying else None,
        mass_unknown=() if stays_lying else unknown,
        cautions=cautions,
    )


def _out_of(asm: Assembly, event: Event) -> str:
    """Return the place where most of what held the bodies was undone: that is where they come out."""
    bodies = set(event.bodies)
    pieces: dict[str, int] = {}
    for fastener in asm.fasteners:
        if not fastener.link and any((a in bodies) != (b in bodies) for a, b in fastener.joins):
            pieces[fastener.place] = pieces.get(fastener.place, 0) + fastener.count
    if asm.on_bench or event.place == BENCH or not pieces:
        return event.place
    return max(pieces, key=lambda place: (pieces[place], place == event.place))


def steps_of(asm: Assembly, events: list[Event], at_bench: frozenset[int]) -> tuple[Step, ...]:
    """Return the numbered steps of an order, with what must be done before them.

    Parameters
    ----------
    asm
    events
    at_bench
        Fasteners that are undone at the bench.
    """
    steps: list[Step] = []
    words: list[set[str]] = []
    heavy: set[int] = set()
    for event in events:
        if event.do == "undo":
            fastener = asm.fasteners[event.fastener]
            found = set(words_of(asm, fastener))
            steps.append(_undo(asm, event, asm.on_bench or event.fastener in at_bench))
            if "heavy" in found:
                heavy.update(fastener.ends)
        else:
            step = _loose(asm, event, bool(heavy & set(event.bodies)))
            found = {"restraint"} if RESTRAINT_CARRIED in step.cautions else set()
            steps.append(step)
        words.append(found)
    every = set().union(*words) if words else set()
    ready: list[Step] = [_prepare(START, caution) for word, caution in AT_THE_START if word in every]
    said: set[str] = set()
    for step, found in zip(steps, words, strict=True):
        for word, caution in BEFORE_ITS_STEP:
            if word in found and word not in said:
                said.add(word)
                ready.append(_prepare(step.place, caution))
        ready.append(step)
    return tuple(_numbered(step, number) for number, step in enumerate(ready, start=1))


def _prepare(place: str, caution: Caution) -> Step:
    return Step(number=0, do="prepare", place=place, says=caution.says, cautions=(caution,))


def _numbered(step: Step, number: int) -> Step:
    if step.bag is None:
        return replace(step, number=number)
    thread = f" {step.thread}" if step.thread else ""
    kind = step.kind or ""
    plural = kind if step.count == 1 else _PLURAL.get(kind, f"{kind}s")
    pairs = "; ".join(f"{part} from {other}" for part, other in step.joins)
    label = f"{step.bag} {number} | {step.place} | {step.count} {plural}{thread} | {step.fastener} | {pairs}"
    return replace(step, number=number, bag=label)


def unknowns_of(asm: Assembly, events: list[Event]) -> tuple[Unknown, ...]:
    """Return what the plan takes on trust: what nothing, little or only a guess is known to hold."""
    found: list[Unknown] = []
    undone = [event.fastener for event in events if event.do == "undo"]
    for event in events:
        if event.do == "undo":
            continue
        bodies = set(event.bodies)
        boundary = [f for f in asm.fasteners if any((a in bodies) != (b in bodies) for a, b in f.joins)]
        boundary += [f for f in asm.done if any((a in bodies) != (b in bodies) for a, b in f.joins)]
        found += _held_by_little(asm, event, [f for f in boundary if not f.link])
        for link in (f for f in boundary if f.link):
            part, parent = (named(asm, body) for body in link.joins[0])
            found.append(
                Unknown(
                    f"how {part} is held",
                    f"{part} belongs to {parent}, and nothing is known to hold it there. Before pulling look for: "
                    f"{_look(asm, link)}.",
                    asm.bodies[link.joins[0][0]],
                )
            )
    for index in undone:
        fastener = asm.fasteners[index]
        if fastener.guess:
            found.append(
                Unknown(
                    f"whether {fastener.id} is there",
                    f"{fastener.id} ({counted(fastener)}, {fastener.place}) is a guess: look whether it is there, and "
                    "whether there are others like it.",
                    asm.bodies[fastener.joins[0][0]],
                )
            )  # fmt: skip
    for name, waits in asm.unheld:
        if waits in {asm.fasteners[index].id for index in undone}:
            says = f"{name} stands before {waits}, and no row says how {name} is held: it is taken to be off already."
            found.append(Unknown(f"how {name} is held", says, name))
    return tuple(dict.fromkeys(found))


def _held_by_little(asm: Assembly, event: Event, boundary: list[Fastener]) -> list[Unknown]:
    sure = sum(f.count for f in boundary if fastener_rows()[f.kind].holds and not f.guess)
    if sure > 1:
        return []
    listed = ", ".join(named(asm, body) for body in event.bodies)
    if not boundary:
        what = "nothing is known to hold it"
    elif not sure:
        what = "only guesses, plugs or pipes are known to hold it"
    else:
        what = "only one fastener is known to hold it, and one alone seldom does"
    first = boundary[0] if boundary else None
    look = look_for(*_texts(asm, event.place, event.bodies, first))
    says = f"{listed}: {what}. Before pulling look for: {look}."
    return [Unknown(f"what holds {listed}", says, asm.bodies[event.bodies[0]])]


def _texts(asm: Assembly, place: str, bodies: tuple[int, ...], fastener: Fastener | None) -> list[str]:
    texts = [place if place not in (NO_PLACE, "bench", "") else ""]
    texts += [fastener.place] if fastener is not None and fastener.place != NO_PLACE else []
    return texts + [named(asm, body) for body in bodies]


def _look(asm: Assembly, fastener: Fastener) -> str:
    return look_for(*(named(asm, body) for body in fastener.ends))
