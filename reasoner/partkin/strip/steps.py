"""The steps of a plan in words: what to do, to mark, to be careful of, and to look for where nothing is known."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from partkin.model.stripping import StripStep
from partkin.model.verdict import DEFER, Caution, Unknown
from partkin.strip.assembly import NO_PLACE, Assembly, Fastener, children_of, family
from partkin.strip.order import BENCH, Event
from partkin.tables.work import fastener_rows, lift_row, lift_rows

_PLACES = {
    r"engine|bonnet|hood|bay|radiator|under the car|underneath|underside|wheel|exhaust|gearbox":
        "bolts from below and behind, earth straps, loom clips, hose clamps, brackets shared with a neighbour, dirt "
        "and sealer over bolt heads",
    r"door|tailgate|hatch":
        "screws under pull-handle caps, the mirror corner and the edge; clips around the rim, the membrane's adhesive, "
        "rods and cables behind, the loom's grommet",
    r"seat|belt": "bolts under rail caps, connectors under the cushion, belt anchors, clips of the side shields",
    r"roof|headlin|pillar": "screws under grab-handle and visor caps, clips along the edge, lamps, adhesive",
    r"boot|trunk|bumper|lamp|light|wing|fender": "screws in the wheel arch, nuts behind the trim, clips, connectors",
    r"cabin|dash|console|cockpit|steering|glove|interior|trim":
        "screws under trim caps, vents, mats and switch blanks; hidden clips along the edge, connectors, looms tied to "
        "the back, ducts pushed together, adhesive",
}  # fmt: skip
_ANYWHERE = "screws under caps and badges, hidden clips along the edge, connectors, looms tied to the back, adhesive"


def look_for(*texts: str) -> str:
    """Return what to look for, by the first text that names a kind of place.

    >>> look_for("rear door")[:34]
    'screws under pull-handle caps, the'
    """
    for text in texts:
        for pattern, says in _PLACES.items():
            if re.search(rf"\b({pattern})", text, re.IGNORECASE):
                return says
    return _ANYWHERE


RESTRAINT_CARRIED = Caution(
    "restraint part in it",
    "A restraint part is in it: licensed practice. Carry a live module with its trim side away from you and never lay "
    "it face down.",
    hold=True,
)
HEAVY = Caution("heavy", "Heavy: support it, and have help there, before this one comes undone.")
HEAVY_BACK = Caution("heavy", "Heavy: keep it supported, with help, until this one holds.")

# By the words of held_by.csv: what is said at the step.
STEP_CAUTIONS = {
    "restraint": Caution(
        "restraint part",
        "Restraint part: the battery is off and the maker's waiting time is over before a connector of it is touched; "
        "licensed practice only.",
        hold=True,
    ),
    "high voltage": Caution("high voltage", "High voltage: only after isolation by a qualified person.", hold=True),
    "refrigerant": Caution(
        "refrigerant", "Refrigerant pipe: only after recovery by a certified person. Cap open pipes.", hold=True
    ),
    "coolant": Caution("coolant", "Coolant: only cold and drained. Cap open pipes, keep a cloth under them."),
    "spring": Caution("spring", "Under spring force: mark how it sits, and hold it back while you let it go."),
    "glass": Caution("glass", "Glass: gloves and eye protection, and a second pair of hands for a pane."),
    "heavy": HEAVY,
}
# What is done before the very first step; and before the first step that needs it.
AT_THE_START = {
    "high voltage": Caution(
        "high voltage: isolation first",
        f"Have the high-voltage system isolated, and shown to be dead, by a qualified person. {DEFER}",
        hold=True,
    ),
    "restraint": Caution(
        "restraint: battery first",
        "Before anything else disconnect the battery and keep the maker's waiting time (look it up: it is not given "
        f"here). {DEFER}",
        hold=True,
    ),
}
BEFORE_ITS_STEP = {
    "refrigerant": Caution(
        "refrigerant: recovered first",
        f"Have the refrigerant recovered by a certified person; it is never vented. {DEFER}",
        hold=True,
    ),
    "coolant": Caution(
        "coolant: drained first",
        "Let the engine cool, open the cap last of all and slowly, and drain the coolant into a clean, closed "
        "container.",
    ),
}

_TURNED = re.compile(r"\b(hinge|column|spline)(s|d)?\b", re.IGNORECASE)
_BEARING = ("bolt", "nut", "stud nut")
_NOT_MARKED = ("connector", "hose", "clip", "adhesive")


def words_of(asm: Assembly, fastener: Fastener) -> tuple[str, ...]:
    """Return the caution words of a fastener: the sheet's, and what the duty of the parts adds."""
    found = {word for row in fastener.rows for word in row.cautions}
    ends = {asm.bodies[body] for body in fastener.ends}
    if any(part.duty == "restraint" and part.part in ends for part in asm.build.parts):
        found.add("restraint")
    return tuple(word for word in STEP_CAUTIONS if word in found)


def witness_mark(asm: Assembly, fastener: Fastener) -> str | None:
    """Return what to mark before separating: hinges, columns, splines, and what a spring holds.

    Told by the caution word, and by those words in the place or the note; for bolts and nuts in the names of
    what they join too, where that is no trim: a column's cowl is no column.
    """
    parts = {part.part: part for part in asm.build.parts}
    texts = [fastener.id, fastener.place, *(row.note or "" for row in fastener.rows)]
    if fastener.kind in _BEARING:
        for name in (name for row in fastener.rows for name in (row.part, row.held_to)):
            part = parts.get(name)
            if part is None or part.duty != "trim":
                texts.append(f"{name} {(part.name or name) if part is not None else ''}")
    match = _TURNED.search(" ".join(texts).replace("-", " ").replace("_", " "))
    if match and fastener.kind not in _NOT_MARKED:
        return f"{match.group(1).lower()}: draw a witness line across both parts before they are separated"
    return "spring: mark how it sits before it is let go" if "spring" in words_of(asm, fastener) else None


def lifting(mass_kg: float, unknown: tuple[str, ...], heavy: bool) -> tuple[Caution, ...]:
    """Return what to say of lifting a mass; `unknown`: parts in it whose mass is not known.

    Source of the 25 kg and 16 kg: HSE INDG143, lifting filter, held close to the body at waist height.
    """
    found = []
    row = lift_row(mass_kg)
    if row is not lift_rows()[0]:
        says = f"{mass_kg:g} kg: {row.says}; measure the way out of the door first, and agree who calls the lift."
        found.append(Caution("lifting", says, False, row.source))
    elif heavy:
        found.append(HEAVY)
    if unknown:
        known = f"It is at least {mass_kg:g} kg. " if mass_kg else ""
        says = f"Not weighed: {', '.join(unknown)}. {known}Try its weight with care before you carry it."
        found.append(Caution("mass not known", says))
    return tuple(found)


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
    """Return the numbered steps of an order, with what must be done before them."""
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
    children, duty = children_of(asm.build), {part.part: part.duty for part in asm.build.parts}
    if any(duty.get(below) == "restraint" for name in names for below in family(children, name)):
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
