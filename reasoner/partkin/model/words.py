"""The words of the sheets and of the verdict, each listed once, and how lengths and lines are told to people."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from textwrap import wrap
from types import MappingProxyType
from typing import Final, Literal, get_args

Kind = Literal["hole", "slot", "tapped hole", "captive nut", "stud", "peg", "peg hole", "clip", "clip hole"]
Need = Literal["must", "should", "spare"]
Origin = Literal["host", "original", "donor"]
Duty = Literal["trim", "body", "structural", "restraint"]
BrokenBy = Literal["airbag", "crash", "other"]
Hand = Literal["left", "right"]
Face = Literal["outside", "inside"]
ZoneKind = Literal["tear seam", "airbag door", "structural", "keep clear", "opening"]
Likeness = Literal["alike", "different"]
Quantity = Literal[
    "centres", "near edges", "far edges", "across", "length", "thickness", "mass", "gap", "left of", "right of",
    "withdrawn",
]  # fmt: skip
Instrument = Literal["steel rule", "tape", "caliper", "template", "photo", "seller"]
OptionKind = Literal["donor", "repair", "new", "custom"]
VerdictWord = Literal["bolts on", "bolts on with adaptation", "does not fit", "not enough measured", "not judged"]
PairState = Literal["lines up", "tight", "out of reach", "blocked"]
FastenerKind = Literal["bolt", "screw", "nut", "stud nut", "clip", "connector", "hose", "clamp", "adhesive", "strap"]
OutlineKind = Literal["edge", "opening", "keep clear"]

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
# What people call a kind besides.
ALSO_CALLED: Final = {
    "oblong hole": "slot", "long hole": "slot", "elongated hole": "slot", "oval hole": "slot", "slotted hole": "slot",
    "round hole": "hole", "drilled hole": "hole", "bolt hole": "hole", "screw hole": "hole",
    "threaded hole": "tapped hole", "nut": "captive nut", "cage nut": "captive nut", "weld nut": "captive nut",
    "bolt": "stud", "threaded pin": "stud", "threaded stud": "stud",
    "pin": "peg", "dowel": "peg", "locating pin": "peg", "pin hole": "peg hole", "dowel hole": "peg hole",
    "push fit clip": "clip", "push in clip": "clip", "hole for a clip": "clip hole",
}  # fmt: skip
DUTIES: Final[tuple[Duty, ...]] = get_args(Duty)
AIRBAG_ZONES: Final = ("tear seam", "airbag door")
PROTECTED_ZONES: Final = ("tear seam", "airbag door", "structural")
SIDES: Final = ("left of", "right of")
# A row that takes back the reading that it corrects; it has no value of its own.
WITHDRAWN: Final = "withdrawn"
LENGTH_QUANTITIES: Final = ("centres", "near edges", "far edges", "across", "length", "thickness", "gap")
MM_PER_UNIT: Final = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
KG_PER_UNIT: Final = {"kg": 1.0, "g": 0.001, "lb": 0.45359237}
INSTRUMENTS: Final[tuple[Instrument, ...]] = get_args(Instrument)
OPTION_KINDS: Final[tuple[OptionKind, ...]] = get_args(OptionKind)
CAUTIONS: Final = ("coolant", "refrigerant", "restraint", "high voltage", "heavy", "spring", "glass")

BOLTS_ON: Final = "bolts on"
WITH_ADAPTATION: Final = "bolts on with adaptation"
DOES_NOT_FIT: Final = "does not fit"
NOT_ENOUGH: Final = "not enough measured"
NOT_JUDGED: Final = "not judged"
GOES_ON: Final = (BOLTS_ON, WITH_ADAPTATION)
VERDICTS: Final = (BOLTS_ON, WITH_ADAPTATION, DOES_NOT_FIT, NOT_ENOUGH, NOT_JUDGED)
EXIT_CODES: Final = {BOLTS_ON: 0, WITH_ADAPTATION: 10, DOES_NOT_FIT: 11, NOT_ENOUGH: 12, NOT_JUDGED: 13}
# The words of each concept scheme.
WORDS: Mapping[str, tuple[str, ...]] = MappingProxyType({
    "origin": get_args(Origin), "side": get_args(Hand), "face": get_args(Face), "duty": DUTIES,
    "broken-by": get_args(BrokenBy), "kind": KINDS, "need": get_args(Need), "quantity": get_args(Quantity),
    "instrument": INSTRUMENTS, "option": OPTION_KINDS, "zone": get_args(ZoneKind), "outline": get_args(OutlineKind),
    "fastener": get_args(FastenerKind), "caution": CAUTIONS, "verdict": VERDICTS, "likeness": get_args(Likeness),
})  # fmt: skip


def mm(value: float) -> str:
    """A length for people: two decimals under 1 mm, one up to 100 mm, none above 1 m.

    Examples
    --------
    >>> mm(0.504), mm(12.34), mm(1303.2)
    ('0.50 mm', '12.3 mm', '1303 mm')
    """
    places = 2 if abs(value) < 1 else 1 if abs(value) < 1000 else 0
    return f"{value:.{places}f} mm"


def in_hundred(share: float) -> str:
    """A share of a hundred cases that never rounds to certainty.

    Examples
    --------
    >>> in_hundred(0.962), in_hundred(0.9999), in_hundred(0.001), in_hundred(1.0)
    ('96 in 100', 'over 99 in 100', 'under 1 in 100', '100 in 100')
    """
    percent = round(100.0 * share)
    if percent >= 100 and share < 1.0:
        return "over 99 in 100"
    if percent <= 0 and share > 0.0:
        return "under 1 in 100"
    return f"{percent} in 100"


def heading(along_deg: float) -> str:
    """Tell a direction as an eye takes it, seen as x to the right and y up.

    Examples
    --------
    >>> heading(0.0), heading(172.0), heading(45.0), heading(250.0)
    ('to the right', 'to the left', 'up and to the right', 'down')
    """
    eighths = (
        "to the right", "up and to the right", "up", "up and to the left", "to the left", "down and to the left",
        "down", "down and to the right",
    )  # fmt: skip
    return eighths[round((along_deg % 360.0) / 45.0) % 8]


def way(name: str, from_mm: Sequence[float], to_mm: Sequence[float]) -> str:
    """Tell where a point lies from another that is named: how far to the right or left, and how far up or down.

    Examples
    --------
    >>> way("a", (0.0, 0.0), (1276.0, 9.1)), way("a", (5.0, 5.0), (5.0, 1.0))
    ('1276 mm to the right of a and 9 mm above it', '4 mm below a')
    """
    x, y = (float(b - a) for a, b in zip(from_mm[:2], to_mm[:2], strict=True))
    told = [
        f"{abs(step):.0f} mm {words[step > 0]}"
        for step, words in ((x, ("to the left of", "to the right of")), (y, ("below", "above")))
        if round(abs(step)) >= 1
    ]
    return " and ".join(f"{one} {'it' if number else name}" for number, one in enumerate(told)) or f"at {name}"


def off_words(off_mm: Sequence[float]) -> str:
    """Say how far and which way something is off: x to the right, y up and, in space, z towards the eye.

    Examples
    --------
    >>> off_words((-3.2, 0.1)), off_words((0.0, 2.0, -1.5)), off_words((0.0, 0.0, 0.75))
    ('3.2 mm to the left', '2.0 mm up and 1.5 mm away from you', '0.75 mm towards you')
    """
    x_mm, y_mm, *z_mm = off_mm
    told = [f"{mm(math.hypot(x_mm, y_mm))} {heading(math.degrees(math.atan2(y_mm, x_mm)))}"]
    for depth_mm in z_mm:
        if abs(depth_mm) >= _SEEN_MM:
            deep = f"{mm(abs(depth_mm))} {'towards' if depth_mm > 0.0 else 'away from'} you"
            told = [*told, deep] if math.hypot(x_mm, y_mm) >= _SEEN_MM else [deep]
    return " and ".join(told)


_SEEN_MM = 0.005
WIDTH = 96


def folded(text: str, first: str = "", rest: str | None = None, width: int = WIDTH) -> list[str]:
    """Fold a text behind a lead; the lines after the first begin with `rest`, or with as many blanks.

    Examples
    --------
    >>> folded("look before you pull", "  - ", width=16)
    ['  - look before', '    you pull']
    """
    later = " " * len(first) if rest is None else rest
    return wrap(
        text, width, initial_indent=first, subsequent_indent=later, break_long_words=False, break_on_hyphens=False
    )
