"""What must be said where taking apart can hurt someone. Facts: common practice unless a source is named."""

from __future__ import annotations

import re
from collections.abc import Iterable

from partkin.model.build import Build
from partkin.model.reasons import Caution
from partkin.strip.assembly import Assembly, Fastener, children_of, family
from partkin.tables.costs import lift_row, lift_rows

COMMON = "common practice, no source"
DEFER = "Follow the maker's instructions and local law, and leave it to a licensed person."


def _common(rule: str, says: str, hold: bool = False) -> Caution:
    return Caution(rule, says, hold, COMMON)


RESTRAINT_CARRIED = _common(
    "restraint part in it",
    "A restraint part is in it: licensed practice. Carry a live module with its trim side away from you and never lay "
    "it face down.",
    hold=True,
)
HEAVY = _common("heavy", "Heavy: support it, and have help there, before this one comes undone.")
HEAVY_BACK = _common("heavy", "Heavy: keep it supported, with help, until this one holds.")

# By the words of held_by.csv: what is said at the step.
STEP_CAUTIONS = {
    "restraint": _common(
        "restraint part",
        "Restraint part: the battery is off and the maker's waiting time is over before a connector of it is touched; "
        "licensed practice only.",
        hold=True,
    ),
    "high voltage": _common("high voltage", "High voltage: only after isolation by a qualified person.", hold=True),
    "refrigerant": _common(
        "refrigerant", "Refrigerant pipe: only after recovery by a certified person. Cap open pipes.", hold=True
    ),
    "coolant": _common("coolant", "Coolant: only cold and drained. Cap open pipes, keep a cloth under them."),
    "spring": _common("spring", "Under spring force: mark how it sits, and hold it back while you let it go."),
    "glass": _common("glass", "Glass: gloves and eye protection, and a second pair of hands for a pane."),
    "heavy": HEAVY,
}
# What is done before the very first step; and before the first step that needs it.
AT_THE_START = {
    "high voltage": _common(
        "high voltage: isolation first",
        f"Have the high-voltage system isolated, and shown to be dead, by a qualified person. {DEFER}",
        hold=True,
    ),
    "restraint": _common(
        "restraint: battery first",
        "Before anything else disconnect the battery and keep the maker's waiting time (look it up: it is not given "
        f"here). {DEFER}",
        hold=True,
    ),
}
BEFORE_ITS_STEP = {
    "refrigerant": _common(
        "refrigerant: recovered first",
        f"Have the refrigerant recovered by a certified person; it is never vented. {DEFER}",
        hold=True,
    ),
    "coolant": _common(
        "coolant: drained first",
        "Let the engine cool, open the cap last of all and slowly, and drain the coolant into a clean, closed "
        "container.",
    ),
}

_TURNED = re.compile(r"\b(hinge|column|spline)(s|d)?\b", re.IGNORECASE)
_BEARING = ("bolt", "nut", "stud nut")
_NOT_MARKED = ("connector", "hose", "clip", "adhesive")


def restraint_parts(build: Build, names: Iterable[str]) -> tuple[str, ...]:
    """Return the restraint parts among some parts and their children."""
    children, duty = children_of(build), {part.part: part.duty for part in build.parts}
    found = dict.fromkeys(below for name in names for below in family(children, name))
    return tuple(name for name in found if duty.get(name) == "restraint")


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
        found.append(_common("mass not known", says))
    return tuple(found)
