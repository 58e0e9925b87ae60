"""Every sheet and column, described once: the reader, `partkin new` and the documentation derive from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from partkin.model.words import (
    BROKEN_BY,
    CAUTIONS,
    DUTIES,
    FACES,
    FASTENER_KINDS,
    HANDS,
    INSTRUMENTS,
    KINDS,
    LIKENESSES,
    NEEDS,
    OPTION_KINDS,
    ORIGINS,
    OUTLINE_KINDS,
    QUANTITIES,
    VERDICTS,
    ZONE_KINDS,
)

ReadAs = Literal[
    "id", "name", "text", "word", "words", "number", "whole number", "year", "date", "yes or no", "thread",
    "unit", "part numbers", "alternatives", "direction", "money",
]  # fmt: skip

# Columns whose cells hold numbers, and so have the sheet's decimal sign.
NUMERIC = ("number", "whole number", "money", "direction")
PARTS, FEATURES, READINGS, MODELS = "parts.csv", "features.csv", "readings.csv", "models.csv"
SETTINGS = "build.toml"
GREATEST_MM = 100_000.0
GREATEST_AMOUNT = 1e9
EXAMPLE = "Invented example: overwrite this row"
_UNTIL = "invented example"


@dataclass(frozen=True)
class Column:
    """One column of a sheet.

    `needed`: the column must be there and every row must fill it, but where `may_be_empty`, which the row's own
    sense decides. `unit`: of a bare number. `least` and `most` include, `above` excludes, the bound.
    `attribute`: of the dataclass, where it is not the column's name. `refers_to`: the sheet whose first key column
    holds the ids; `loosely`: other names may stand there too, and only one that looks like a slip is warned about.
    `examples`: what `partkin new --example` writes, one value a row.
    """

    name: str
    read_as: ReadAs
    meaning: str
    needed: bool = False
    words: tuple[str, ...] = ()
    unit: str | None = None
    least: float | None = None
    above: float | None = None
    most: float | None = None
    attribute: str = ""
    refers_to: str | None = None
    loosely: bool = False
    examples: tuple[str, ...] = ()
    may_be_empty: bool = False


@dataclass(frozen=True)
class Sheet:
    """One sheet. `key`: the columns that name a row, and must not come twice; `title`: the kind of row."""

    name: str
    row_is: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    must_exist: bool = False

    @property
    def example_rows(self) -> tuple[tuple[str, ...], ...]:
        """The rows that `partkin new --example` writes, to be overwritten."""
        most = max(len(column.examples) for column in self.columns)
        return tuple(
            tuple(column.examples[place] if place < len(column.examples) else "" for column in self.columns)
            for place in range(most)
        )


def _size(name: str, meaning: str, *examples: str) -> Column:
    return Column(name, "number", meaning, unit="mm", above=0.0, most=GREATEST_MM, examples=examples)


def _place(name: str, meaning: str, *examples: str, needed: bool = False) -> Column:
    return Column(
        name, "number", meaning, needed, unit="mm", least=-GREATEST_MM, most=GREATEST_MM, examples=examples
    )


def _span(name: str, meaning: str, *examples: str) -> Column:
    return Column(name, "number", meaning, unit="mm", least=0.0, most=GREATEST_MM, examples=examples)


def _money(name: str, meaning: str, *examples: str) -> Column:
    return Column(name, "money", meaning, least=0.0, most=GREATEST_AMOUNT, examples=examples)


def _word(name: str, words: tuple[str, ...], meaning: str, *examples: str, needed: bool = False) -> Column:
    return Column(name, "word", meaning, needed, words, examples=examples)


def _note(*examples: str) -> Column:
    return Column("note", "text", "anything you like", examples=examples)


def _part(*examples: str, meaning: str = "the part that the row is about") -> Column:
    return Column("part", "id", meaning, needed=True, refers_to=PARTS, examples=examples)


def _day(*examples: str) -> Column:
    return Column("on", "date", "the day: 2024-05-31, 31.5.2024 or 31 May 2024", examples=examples)


_DONOR, _HOST = "example-donor", "example-host"

SHEETS: tuple[Sheet, ...] = (
    Sheet("models.csv", "model", (
        Column("model", "name", "what you call the model", True, examples=("Example One",)),
        Column("maker", "name", "who made it", examples=("Invented Motors",)),
        Column("platform", "name", "the platform that sister models share", examples=("platform-x",)),
        Column("first_year", "year", "first year it was built", examples=("2010",)),
        Column("last_year", "year", "last year it was built", examples=("2016",)),
        _note(EXAMPLE),
    ), key=("model",)),
    Sheet("parts.csv", "part", (
        Column("part", "id", "id, unique: letters, digits, - _ .", True, examples=(_HOST, _DONOR)),
        Column("name", "name", "what people call it", examples=("bracket place", "bracket")),
        Column("model", "name", "the model it is from", refers_to=MODELS, examples=("Example One",) * 2),
        Column("part_number", "name", "the maker's part number"),
        Column("replaces", "part numbers", "part numbers that this one supersedes, ; between"),
        _word("origin", ORIGINS, "host: stays on the vehicle; original: came off; donor: might go on instead",
              "host", "donor"),
        Column("takes_place_of", "id", "donor or original: the host part whose fixings it goes on",
               refers_to=PARTS, examples=("", _HOST)),
        Column("part_of", "id", "the assembly that it belongs to", refers_to=PARTS),
        _word("hand", HANDS, "the side it is made for; empty: either"),
        _word("drive", HANDS, "the side the steering is on; empty: either"),
        _word("seen_from", FACES, "which face you looked at when you took x and y", "outside", "outside"),
        _word("duty", DUTIES, "what it does for people's safety; empty: not known, and nothing may be cut",
              "body", "trim"),
        Column("airbag", "yes or no", "yes: an airbag opens through it; empty: not known, and nothing is cut of trim",
               examples=("", "no")),
        _word("broken_by", BROKEN_BY, "original: what broke it; airbag: whether one opens through it is asked"),
        Column("material", "name", "what it is made of", examples=("sheet steel", "plastic")),
        _size("thickness_mm", "thickness where it is fixed"),
        Column("mass_kg", "number", "mass", unit="kg", above=0.0, most=100_000.0),
        Column("finish", "name", "colour, grain or paint"),
        _span("flex_mm", "how far hand pressure pulls it at a fixing"),
        Column("flex_in_plane", "yes or no", "yes: it gives in its own plane too, not only across it"),
        _note(EXAMPLE, EXAMPLE),
    ), key=("part",), must_exist=True),
    Sheet("features.csv", "feature", (
        _part(_HOST, _DONOR),
        Column("feature", "id", "id, unique within its part", True, examples=("F1", "a")),
        _word("kind", KINDS, "what it is", "stud", "hole", needed=True),
        _size("across_mm", "hole or peg diameter, slot width, stud diameter (from the thread when empty)",
              "", "7"),
        _size("length_mm", "slot: overall length, end to end"),
        Column("angle_deg", "direction", "slot: its direction in the part's own frame, degrees anticlockwise, or "
               "to ID: it points at that feature; empty: not known", unit="deg", least=-3600.0, most=3600.0),
        _span("float_mm", "captive nut: how far it can move in any direction from its centre"),
        Column("thread", "thread", "as the trade writes it: M6x1, M8 (coarse pitch), 1/4-20",
               examples=("M6x1", "")),
        _size("fastener_mm", "diameter of the bolt or screw that goes through, when no thread says it"),
        _place("x_mm", "centre, in the part's own frame (any origin)", "0", "0"),
        _place("y_mm", "centre, in the part's own frame", "0", "0"),
        _place("z_mm", "centre; empty on every feature of a part: a flat pattern"),
        _span("plus_minus_mm", "greatest error believed possible in each coordinate; empty: a steel rule's",
              "0.5", "0.5"),
        Column("goes_on", "id", "donor feature: the host fixing that it is meant for; empty: found"),
        _word("need", NEEDS, "must be paired, should be paired, or spare"),
        Column("zone", "name", "a protected zone's name, when the feature stands in one"),
        Column("axis_x", "number", "direction the fastener points in, with axis_y and axis_z; empty: z"),
        Column("axis_y", "number", "see axis_x"),
        Column("axis_z", "number", "see axis_x"),
    ), key=("part", "feature"), must_exist=True),
    Sheet("readings.csv", "reading", (
        _part(_DONOR),
        Column("reading", "id", "id, unique within its part", True, examples=("r1",)),
        _word("quantity", QUANTITIES, "what was read; centres and edges are distances between two features; left of, "
              "right of: on which side of a line it lies, seen from the face of seen_from; withdrawn: the reading "
              "named in corrects does not count", "across", needed=True),
        Column("from", "name", "the feature it is read from (gap: the edge)", attribute="from_feature",
               examples=("a",)),
        Column("to", "name", "the feature it is read to (gap: the neighbour; left of, right of: the two features "
               "that the line runs through, a blank between); empty for across and length", attribute="to_feature"),
        Column("value", "number", "what was read, in the row's unit; empty for left of, right of, withdrawn",
               needed=True, may_be_empty=True, examples=("7",)),
        Column("unit", "unit", "mm, cm, m, in, kg, g, lb", needed=True, may_be_empty=True, examples=("mm",)),
        Column("plus_minus", "number", "greatest error believed possible, same unit; empty: the instrument's",
               least=0.0, examples=("0.1",)),
        _word("instrument", INSTRUMENTS, "what it was read with", "caliper"),
        Column("by", "name", "who read it"),
        _day("2024-05-31"),
        Column("corrects", "id", "the id of the reading that this one replaces"),
        _note(EXAMPLE),
    ), key=("part", "reading")),
    Sheet("offers.csv", "offer", (
        _word("option", OPTION_KINDS, "which of the four ways", "donor", needed=True),
        Column("part", "id", "the part on offer; repair or custom of a donor: what matching its finish costs",
               refers_to=PARTS, examples=(_DONOR,)),
        _money("price", "what it costs", "40"),
        _money("shipping", "carriage", "8"),
        Column("seller", "name", "who offers it", examples=("invented seller",)),
        _day("2024-05-31"),
        Column("available", "yes or no", "whether it can still be had", examples=("yes",)),
        Column("hours", "number", "work that it takes", least=0.0, most=100_000.0),
        _note(EXAMPLE),
    )),
    Sheet("costs.csv", "cost", (
        _day("2024-05-31"),
        Column("what", "name", "what it was for", True, examples=("example clips",)),
        Column("part", "id", "the part it was for", refers_to=PARTS, examples=(_DONOR,)),
        Column("amount", "money", "what was paid; below zero: paid back", True,
               least=-GREATEST_AMOUNT, most=GREATEST_AMOUNT, examples=("3.5",)),
        _note(EXAMPLE),
    )),
    Sheet("neighbours.csv", "neighbour", (
        _part(_HOST),
        Column("edge", "name", "which edge of the part", True, examples=(_UNTIL,)),
        Column("neighbour", "name", "the part beside it", True, refers_to=PARTS, loosely=True,
               examples=(_DONOR,)),
        _span("gap_mm", "gap as it is or was", "4"),
        _span("gap_min_mm", "least gap that will do", "3"),
        _span("gap_max_mm", "widest gap that will do", "5"),
    )),
    Sheet("zones.csv", "corner of a zone", (
        _part(*(_DONOR,) * 3),
        Column("zone", "name", "the zone's name", True, examples=(_UNTIL,) * 3),
        _word("kind", ZONE_KINDS, "what it protects", *("keep clear",) * 3, needed=True),
        Column("point", "whole number", "the corner's number, in order round the zone", True,
               least=0, most=1_000_000, examples=("1", "2", "3")),
        _place("x_mm", "the corner, in the part's own frame", "50", "60", "60", needed=True),
        _place("y_mm", "the corner, in the part's own frame", "0", "0", "10", needed=True),
    ), key=("part", "zone", "point")),
    Sheet("outlines.csv", "corner of an outline", (
        _part(*(_DONOR,) * 4),
        _word("kind", OUTLINE_KINDS, "what the line bounds", *("edge",) * 4, needed=True),
        Column("name", "name", "the line's name, where a part has several of one kind",
               examples=(_UNTIL,) * 4),
        Column("point", "whole number", "the corner's number, in order round the line", True,
               least=0, most=1_000_000, examples=("1", "2", "3", "4")),
        _place("x_mm", "the corner, in the part's own frame", "-20", "70", "70", "-20", needed=True),
        _place("y_mm", "the corner, in the part's own frame", "-20", "-20", "20", "20", needed=True),
    ), key=("part", "kind", "name", "point")),
    Sheet("connectors.csv", "connector", (
        _part(_DONOR),
        Column("connector", "name", "what it is for", True, examples=(_UNTIL,)),
        Column("ways", "whole number", "how many contacts", least=1, most=10_000, examples=("2",)),
        Column("keyed_as", "name", "its shape, colour or keying"),
        _word("need", NEEDS, "whether it has to be plugged in", "should"),
    ), key=("part", "connector")),
    Sheet("held_by.csv", "fastener", (
        _part(_DONOR),
        Column("held_to", "name", "the part or body that it is held to", True, refers_to=PARTS, loosely=True,
               examples=(_HOST,)),
        Column("fastener", "id", "id; one that goes through several parts has a row for each", True,
               examples=("bolt-1",)),
        _word("kind", FASTENER_KINDS, "what kind of fastener", "bolt", needed=True),
        Column("count", "whole number", "how many; empty: one", least=1, most=10_000, examples=("1",)),
        Column("thread", "thread", "as the trade writes it", examples=("M6x1",)),
        Column("tool", "name", "what undoes it", examples=("10 mm socket",)),
        Column("minutes", "number", "to undo it", least=0.0, most=100_000.0, examples=("2",)),
        Column("behind", "alternatives", "parts or fasteners that must be off first: ; all, | either"),
        Column("place", "name", "where you stand to reach it: cabin, engine bay, door",
               examples=("engine bay",)),
        Column("caution", "words", "what to be careful of; ; between", words=CAUTIONS, attribute="cautions"),
        Column("certain", "word", "yes, or guess when nobody has seen it", words=("yes", "guess"),
               examples=("yes",)),
        Column("torque_nm", "number", "the maker's value, never a guess", above=0.0, most=10_000.0),
        Column("single_use", "yes or no", "yes: a new one each time", examples=("no",)),
        _note(EXAMPLE),
    ), key=("part", "held_to", "fastener")),
    Sheet("looks.csv", "look at a photograph", (
        _part(_DONOR),
        Column("beside", "id", "the host or original that it was held against", True, refers_to=PARTS,
               examples=(_HOST,)),
        _word("looks", LIKENESSES, "what the photograph says of the shape; it never tells the size", "alike",
              needed=True),
        Column("picture", "text", "which photograph", examples=("invented-example.jpg",)),
        _day("2024-05-31"),
        _note(EXAMPLE),
    )),
    Sheet("outcomes.csv", "outcome", (
        Column("donor", "id", "the donor that was tried", True, refers_to=PARTS, examples=(_DONOR,)),
        _day("2024-05-31"),
        _word("verdict_then", VERDICTS, "what the verdict was"),
        Column("chance_then", "number", "what the chance was, 0 to 1", least=0.0, most=1.0),
        Column("happened", "text", "what really happened", True, examples=("nothing yet",)),
        _note(EXAMPLE),
    )),
)  # fmt: skip

BY_NAME: Mapping[str, Sheet] = MappingProxyType({sheet.name: sheet for sheet in SHEETS})
COLUMNS: Mapping[str, tuple[Column, ...]] = MappingProxyType({sheet.name: sheet.columns for sheet in SHEETS})
SHEET_ORDER: Mapping[str, int] = MappingProxyType(
    {name: place for place, name in enumerate((SETTINGS, *BY_NAME))}
)
SETTING_MEANINGS: Mapping[str, str] = MappingProxyType(
    {
        "name": "what you call the build",
        "currency": "three letters (ISO 4217), such as EUR",
        "labour_rate": "what an hour of your work is worth, in that currency",
        "confidence": "how sure a verdict must be; 0.95 when left out",
        "same_drawing": "how likely it is that a donor was made to the original's drawing, 0.01 to 0.99; told by the "
        "evidence when left out",
        "adapt_host": "true: the vehicle itself may be cut or drilled; false when left out",
    }
)
NUMBER_SETTINGS = ("labour_rate", "confidence", "same_drawing")


def describe() -> list[tuple[str, str, str]]:
    """Return (sheet, column, meaning) for every column of every sheet and every line of build.toml.

    Words that a cell may hold stand behind the meaning; so does that a cell must be filled.

    Examples
    --------
    >>> [meaning for sheet, column, meaning in describe() if (sheet, column) == ("parts.csv", "seen_from")]
    ['which face you looked at when you took x and y: outside, inside']
    """
    table = [(SETTINGS, key, meaning) for key, meaning in SETTING_MEANINGS.items()]
    for sheet in SHEETS:
        for column in sheet.columns:
            words = f": {', '.join(column.words)}" if column.words else ""
            table.append((sheet.name, column.name, column.meaning + words + (" (needed)" * column.needed)))
    return table
