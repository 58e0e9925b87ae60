"""The tables that travel with the program: threads that join and that must not, instruments, materials, clips.

Every stage may import this module. It reads data/tables once, with the csv module alone.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from types import MappingProxyType

from partkin.model.making import Making, OneDrawing
from partkin.tables.shipped import shipped
from partkin.tables.threads import Thread, parse

COORDINATE_INSTRUMENT = "steel rule"
UNKNOWN_INSTRUMENT = "seller"


@dataclass(frozen=True)
class NearMiss:
    """Two threads that may start by hand in each other and must not be joined.

    `turns`: how many turns until the threads are a quarter of the smaller pitch apart; None where the
    pitches are equal and something else (flank angle, taper, diameter) is wrong.
    """

    thread_a: str
    thread_b: str
    turns: float | None
    note: str
    source: str


@dataclass(frozen=True)
class InstrumentRow:
    """How far a reading of one instrument may be out: a + b L, and what reading it by eye adds.

    `whole_metres`: L is rounded up to the next metre, as the directive on tapes has it. `centres_mm` is
    added to a distance between centres.
    """

    instrument: str
    a_mm: float
    b_mm_per_m: float
    whole_metres: bool
    by_eye_mm: float
    centres_mm: float
    meaning: str
    source: str
    mark: str


@dataclass(frozen=True)
class Material:
    """How one group of materials may be worked: `open_out`, `slot`, `new_hole` are yes, no or carrier."""

    group: str
    words: tuple[str, ...]
    rules_as: str
    engages_as: str
    open_out: str
    slot: str
    new_hole: str
    why: str
    caution: str
    source: str

    def bears(self, do: str) -> bool:
        """Whether the material may be worked in that way at all."""
        said = {"open out": self.open_out, "slot": self.slot, "new hole": self.new_hole}
        return said.get(do, "yes") != "no"


@dataclass(frozen=True)
class ClipRule:
    """What a hole in one material asks of a push-fit clip.

    `takes_mm`: misplacement that the clip takes. `larger_mm`: how much larger than its hole it may be and still
    go in; `smaller_mm`: how much smaller and still hold.
    """

    takes_mm: float
    larger_mm: float
    smaller_mm: float
    source: str


def rows_of(name: str) -> list[dict[str, str]]:
    """Return the rows of one sheet of data/tables."""
    with (shipped("data") / "tables" / name).open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))


def marked(row: dict[str, str]) -> str:
    """Return the source of a row, and how it was checked."""
    return f"{row['source']}; {row['check']}" if row.get("check") else row["source"]


def _number(cell: str) -> float | None:
    return float(cell) if cell else None


@cache
def threads() -> Mapping[str, Thread]:
    """Return every thread of data/tables/threads.csv by its designation, in table order.

    Examples
    --------
    >>> threads()["M6x1"].clearance_medium_mm
    6.6
    """
    return MappingProxyType(
        {
            row["designation"]: Thread(
                designation=row["designation"],
                major_mm=float(row["major_mm"]),
                pitch_mm=float(row["pitch_mm"]),
                clearance_medium_mm=_number(row["clearance_medium_mm"]),
                series=row["series"],
                source=row["source"],
            )
            for row in rows_of("threads.csv")
        }
    )


@lru_cache(maxsize=4096)
def parse_thread(text: str) -> Thread | None:
    """Read a thread as the trade writes it; None where diameter and pitch cannot be told from it.

    A metric size alone is its coarse pitch; a bolt's length does not belong in a thread.

    Parameters
    ----------
    text
        For instance `M6x1`, `M8` (coarse), `m8 x 1,25`, `M10x1.25 LH`, `1/4-20`, `#10-32 UNF`, `G1/4`.

    Examples
    --------
    >>> parse_thread("M8").designation, parse_thread("1/4-20 UNC").major_mm
    ('M8x1.25', 6.35)
    >>> parse_thread("M8x30") is None
    True
    """
    return parse(text, threads())


def threads_join(a: Thread, b: Thread) -> bool:
    """Whether a bolt of one thread goes properly into a nut of the other: same form, size, pitch and hand.

    Examples
    --------
    >>> threads_join(parse_thread("M8"), parse_thread("M8x1.25"))
    True
    >>> threads_join(parse_thread("M8"), parse_thread("5/16-18"))
    False
    """
    return (
        a.form == b.form
        and a.left_hand == b.left_hand
        and math.isclose(a.major_mm, b.major_mm, abs_tol=0.002)
        and math.isclose(a.pitch_mm, b.pitch_mm, abs_tol=0.0005)
    )


@cache
def near_misses() -> tuple[NearMiss, ...]:
    """Return the pairs of threads that may start in each other and must not be joined."""
    return tuple(
        NearMiss(
            thread_a=row["thread_a"],
            thread_b=row["thread_b"],
            turns=_number(row["turns_to_quarter_pitch_of_smaller"]),
            note=row["note"],
            source=row["source"],
        )
        for row in rows_of("near_misses.csv")
    )


@lru_cache(maxsize=1024)
def near_miss(a: str, b: str) -> NearMiss | None:
    """Return the near miss of two designations, in either order; None where the table has none.

    Examples
    --------
    >>> near_miss("5/16-18", "M8x1.25").note
    'almost equal diameter'
    """
    return next((miss for miss in near_misses() if {miss.thread_a, miss.thread_b} == {a, b}), None)


@cache
def instruments() -> Mapping[str, InstrumentRow]:
    """Return data/tables/instruments.csv by instrument, in table order."""
    return MappingProxyType(
        {
            row["instrument"]: InstrumentRow(
                instrument=row["instrument"],
                a_mm=float(row["a_mm"]),
                b_mm_per_m=float(row["b_mm_per_m"]),
                whole_metres=row["whole_metres"] == "yes",
                by_eye_mm=float(row["by_eye_mm"]),
                centres_mm=float(row["centres_mm"]),
                meaning=row["meaning"],
                source=row["source"],
                mark=row["mark"],
            )
            for row in rows_of("instruments.csv")
        }
    )


def greatest_error_mm(instrument: str | None, length_mm: float, quantity: str = "centres") -> float:
    """Return the greatest error believed possible of a reading whose row states none.

    Parameters
    ----------
    instrument
        A word of the readings sheet, or `rule`; None: not known how it was taken, which counts as told by
        a seller.
    length_mm
        The length that was read.
    quantity
        A length quantity of the readings sheet. Centres of holes are harder to judge than edges.

    Returns
    -------
    float
        Half-width in mm of a rectangular distribution (JCGM 100:2008, 4.3.7).

    Raises
    ------
    KeyError
        No such instrument. ValueError: a mass is not a length.

    Examples
    --------
    A tape of class II between 1 m and 2 m: 0.3 + 0.2 x 2, and half a millimetre of reading by eye.

    >>> greatest_error_mm("tape", 1200.0)
    1.2
    """
    if quantity == "mass":
        raise ValueError("a mass has no error in millimetres")
    name = UNKNOWN_INSTRUMENT if instrument is None else instrument
    row = instruments()[COORDINATE_INSTRUMENT if name == "rule" else name]
    metres = abs(length_mm) / 1000.0
    if row.whole_metres:
        metres = max(1.0, math.ceil(metres))
    centres_mm = row.centres_mm if quantity == "centres" else 0.0
    return round(row.a_mm + row.b_mm_per_m * metres + row.by_eye_mm + centres_mm, 6)


@cache
def coordinate_error_mm() -> float:
    """Return the greatest error of a coordinate or a zone's corner that states none: a steel rule's.

    Examples
    --------
    >>> coordinate_error_mm()
    0.5
    """
    return greatest_error_mm(COORDINATE_INSTRUMENT, 0.0)


@cache
def materials() -> tuple[Material, ...]:
    """Return data/tables/materials.csv; the first row whose word is found counts."""
    return tuple(
        Material(
            group=row["group"],
            words=tuple(row["words"].split(";")),
            rules_as=row["rules_as"],
            engages_as=row["engages_as"],
            open_out=row["open_out"],
            slot=row["slot"],
            new_hole=row["new_hole"],
            why=row["why"],
            caution=row["caution"],
            source=marked(row),
        )
        for row in rows_of("materials.csv")
    )


@lru_cache(maxsize=256)
def material_of(text: str | None) -> Material | None:
    """Find the material group that a part's `material` cell names; None: not known.

    Examples
    --------
    >>> material_of("leather-covered foam").group, material_of("Glass-filled nylon").group
    ('covered foam', 'plastic')
    >>> material_of("unobtainium") is None
    True
    """
    if not text:
        return None
    said = text.lower()
    for row in materials():
        for word in row.words:
            # Glass-filled nylon is no glass.
            alone = rf"(?<![a-z0-9]){re.escape(word)}(?![a-z0-9])(?![- ](?:filled|reinforced|fib))"
            if re.search(alone, said):
                return row
    return None


@cache
def clip_rules() -> Mapping[str, ClipRule]:
    """Return data/tables/clips.csv by the group of the material that the hole is in."""
    return MappingProxyType(
        {
            row["hole_in"]: ClipRule(
                float(row["takes_mm"]), float(row["larger_mm"]), float(row["smaller_mm"]), row["source"]
            )
            for row in rows_of("clips.csv")
        }
    )


def clip_rule(material: str | None) -> ClipRule:
    """Return what a hole in this material asks of a clip; not known: as in sheet steel.

    Examples
    --------
    >>> clip_rule("ABS").takes_mm, clip_rule("sheet steel").takes_mm, clip_rule(None).takes_mm
    (0.5, 0.0, 0.0)
    """
    group = material_of(material)
    return clip_rules().get(group.group if group else "any", clip_rules()["any"])


@cache
def making(scatter_mm: float | None = None) -> Making:
    """Return how parts come about, of data/tables/making.csv; with another scatter, where one is given.

    Examples
    --------
    >>> making().scatter_mm
    0.1
    """
    rows = [(row["what"], float(row["value"])) for row in rows_of("making.csv")]
    one = dict(rows)
    return Making(
        scatter_mm=one["scatter"] if scatter_mm is None else scatter_mm,
        spreads_mm=tuple(value for what, value in rows if what == "spread"),
        one_hole=one["one hole"], two_holes=one["two holes"], group=one["group"], all_holes=one["all holes"],
        file_mm=one["file takes off"],
    )  # fmt: skip


@cache
def same_drawing() -> Mapping[str, OneDrawing]:
    """Return how likely one drawing is before anything is read, by what speaks for it.

    Examples
    --------
    >>> same_drawing()["nothing of the kind"].weight
    0.5
    """
    return MappingProxyType(
        {
            row["evidence"]: OneDrawing(float(row["weight"]), row["says"], row["source"])
            for row in rows_of("same_drawing.csv")
        }
    )


@cache
def _slip_rules() -> Mapping[str, float]:
    return MappingProxyType({row["rule"]: float(row["value"]) for row in rows_of("slips.csv")})


def slip_rule(name: str) -> float:
    """Return a threshold of data/tables/slips.csv, from which on a value is asked about.

    Examples
    --------
    >>> slip_rule("hole widest")
    2.5
    """
    return _slip_rules()[name]
