"""Every sheet and column, described once: the reader, `partkin new`, the documentation and the graph derive from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass
from functools import cache, cached_property, partial
from types import MappingProxyType
from typing import Any, Literal

from partkin.model import build
from partkin.model.words import WORDS

ReadAs = Literal[
    "",
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


# What a column holds in the graph, by how its cells are read; where it refers to a sheet, a link.
_HOLDS = {
    "id": "id", "name": "text", "text": "text", "thread": "text", "number": "decimal", "money": "decimal",
    "direction": "decimal", "whole number": "integer", "year": "integer", "date": "date", "yes or no": "boolean",
    "unit": "unit", "word": "word", "words": "cautions", "alternatives": "behind", "part numbers": "numbers",
}  # fmt: skip
_LINKS = {PARTS: "part", MODELS: "model"}


@dataclass(frozen=True)
class Column:
    """One column of a sheet, and the property that it is in the graph.

    `term`: the property; empty: none by itself. `read_as`: empty where no column has that name, and others tell the
    value. `needed`: the column must be there and every row must fill it, but where `may_be_empty`, which the row's own
    sense decides. `unit`: of a bare number. `least` and `most` include, `above` excludes, the bound. `attribute`: of
    the dataclass, where it is not the column's name. `refers_to`: the sheet whose first key column holds the ids;
    `loosely`: other names may stand there too, and only one that looks like a slip is warned about. `examples`: what
    `partkin new --example` writes, one value a row. `holds`: what its values are in the graph, where how it is read
    does not tell: a link to a feature, zone, reading or person; platform or number, both as written and as a link to
    what it names; axis or corners, several values.
    """

    name: str
    term: str
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
    holds: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "attribute", self.attribute or self.name)
        if not self.holds:
            object.__setattr__(self, "holds", _LINKS.get(self.refers_to or "") or _HOLDS[self.read_as])

    @property
    def scheme(self) -> str:
        """The concept scheme of its words."""
        return SCHEME_OF[self.words]


@dataclass(frozen=True)
class Sheet:
    """One sheet: its columns, its dataclass, its class in the graph.

    `attribute`: of the build. `key`: the columns that name a row, and must not come twice.
    In the graph its things stand after `~` and `segment` (parts and features stand bare), those with `of_part` under
    their part, named by the column `by`; empty: by their place in the sheet.
    """

    name: str
    attribute: str
    row: type
    rdf_class: str
    all_columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    must_exist: bool = False
    segment: str = ""
    of_part: bool = False
    by: str = ""

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        """The columns of the sheet."""
        return tuple(column for column in self.all_columns if column.read_as)

    @cached_property
    def numeric(self) -> frozenset[str]:
        """The columns that hold numbers."""
        return frozenset(column.name for column in self.columns if column.read_as in NUMERIC)

    @cached_property
    def terms(self) -> tuple[Column, ...]:
        """What its rows say in the graph."""
        return tuple(column for column in self.all_columns if column.term)

    @property
    def example_rows(self) -> tuple[tuple[str, ...], ...]:
        """The rows that `partkin new --example` writes, to be overwritten."""
        most = max(len(column.examples) for column in self.columns)
        return tuple(
            tuple(column.examples[place] if place < len(column.examples) else "" for column in self.columns)
            for place in range(most)
        )


def _mm(name: str, term: str, meaning: str, *examples: str, **bounds: Any) -> Column:
    return Column(name, term, "number", meaning, unit="mm", most=GREATEST_MM, examples=examples, **bounds)


_size, _span, _place = partial(_mm, above=0.0), partial(_mm, least=0.0), partial(_mm, least=-GREATEST_MM)


def _money(name: str, term: str, meaning: str, *examples: str) -> Column:
    return Column(name, term, "money", meaning, least=0.0, most=GREATEST_AMOUNT, examples=examples)


def _word(name: str, term: str, scheme: str, meaning: str, *examples: str, needed: bool = False) -> Column:
    return Column(name, term, "word", meaning, needed, WORDS[scheme], examples=examples)


def _note(*examples: str) -> Column:
    return Column("note", "skos:note", "text", "anything you like", examples=examples)


def _part(*examples: str, term: str = "partkin:ofPart") -> Column:
    return Column("part", term, "id", "the part that the row is about", True, refers_to=PARTS, examples=examples)


def _day(*examples: str) -> Column:
    return Column("on", "dcterms:date", "date", "the day: 2024-05-31, 31.5.2024 or 31 May 2024", examples=examples)


def _derived(name: str, term: str, holds: str) -> Column:
    return Column(name, term, "", "", holds=holds)


_DONOR, _HOST = "example-donor", "example-host"

SHEETS: tuple[Sheet, ...] = (
    Sheet("models.csv", "models", build.VehicleModel, "partkin:VehicleModel", (
        Column("model", "dcterms:identifier", "name", "what you call the model", True, examples=("Example One",),
               holds="id"),
        Column("maker", "partkin:maker", "name", "who made it", examples=("Invented Motors",)),
        Column("platform", "partkin:platform", "name", "the platform that sister models share",
               examples=("platform-x",), holds="platform"),
        Column("first_year", "partkin:firstYear", "year", "first year it was built", examples=("2010",)),
        Column("last_year", "partkin:lastYear", "year", "last year it was built", examples=("2016",)),
        _note(EXAMPLE),
    ), key=("model",), segment="model", by="model"),
    Sheet("parts.csv", "parts", build.Part, "partkin:Part", (
        Column("part", "dcterms:identifier", "id", "id, unique: letters, digits, - _ .", True,
               examples=(_HOST, _DONOR)),
        Column("name", "schema:name", "name", "what people call it", examples=("bracket place", "bracket")),
        Column("model", "partkin:model", "name", "the model it is from", refers_to=MODELS,
               examples=("Example One",) * 2),
        Column("part_number", "partkin:number", "name", "the maker's part number", holds="number"),
        Column("replaces", "partkin:replaces", "part numbers", "part numbers that this one supersedes, ; between"),
        _word("origin", "partkin:origin", "origin",
              "host: stays on the vehicle; original: came off; donor: might go on instead", "host", "donor"),
        Column("takes_place_of", "partkin:takesPlaceOf", "id",
               "donor or original: the host part whose fixings it goes on", refers_to=PARTS, examples=("", _HOST)),
        Column("part_of", "partkin:partOf", "id", "the assembly that it belongs to", refers_to=PARTS),
        _word("hand", "partkin:hand", "side", "the side it is made for; empty: either"),
        _word("drive", "partkin:drive", "side", "the side the steering is on; empty: either"),
        _word("seen_from", "partkin:seenFrom", "face", "which face you looked at when you took x and y", "outside",
              "outside"),
        _word("duty", "partkin:duty", "duty",
              "what it does for people's safety; empty: not known, and nothing may be cut", "body", "trim"),
        Column("airbag", "partkin:airbag", "yes or no",
               "yes: an airbag opens through it; empty: not known, and nothing is cut of trim", examples=("", "no")),
        _word("broken_by", "partkin:brokenBy", "broken-by",
              "original: what broke it; airbag: whether one opens through it is asked"),
        Column("material", "schema:material", "name", "what it is made of", examples=("sheet steel", "plastic")),
        _size("thickness_mm", "partkin:thicknessMm", "thickness where it is fixed"),
        Column("mass_kg", "partkin:massKg", "number", "mass", unit="kg", above=0.0, most=100_000.0),
        Column("finish", "partkin:finish", "name", "colour, grain or paint"),
        _span("flex_mm", "partkin:flexMm", "how far hand pressure pulls it at a fixing"),
        Column("flex_in_plane", "partkin:flexInPlane", "yes or no",
               "yes: it gives in its own plane too, not only across it"),
        _note(EXAMPLE, EXAMPLE),
    ), key=("part",), must_exist=True, by="part"),
    Sheet("features.csv", "features", build.Feature, "partkin:Feature", (
        _part(_HOST, _DONOR),
        Column("feature", "dcterms:identifier", "id", "id, unique within its part", True, examples=("F1", "a")),
        _word("kind", "partkin:kind", "kind", "what it is", "stud", "hole", needed=True),
        _size("across_mm", "partkin:acrossMm",
              "hole or peg diameter, slot width, stud diameter (from the thread when empty)", "", "7"),
        _size("length_mm", "partkin:lengthMm", "slot: overall length, end to end"),
        Column("angle_deg", "partkin:angleDeg", "direction",
               "slot: its direction in the part's own frame, degrees anticlockwise, or to ID: it points at that "
               "feature; empty: not known", unit="deg", least=-3600.0, most=3600.0),
        _derived("angle_to", "partkin:pointsAt", "feature"),
        _span("float_mm", "partkin:floatMm", "captive nut: how far it can move in any direction from its centre"),
        Column("thread", "partkin:thread", "thread", "as the trade writes it: M6x1, M8 (coarse pitch), 1/4-20",
               examples=("M6x1", "")),
        _size("fastener_mm", "partkin:fastenerMm",
              "diameter of the bolt or screw that goes through, when no thread says it"),
        _place("x_mm", "partkin:xMm", "centre, in the part's own frame (any origin)", "0", "0"),
        _place("y_mm", "partkin:yMm", "centre, in the part's own frame", "0", "0"),
        _place("z_mm", "partkin:zMm", "centre; empty on every feature of a part: a flat pattern"),
        _span("plus_minus_mm", "partkin:plusMinusMm",
              "greatest error believed possible in each coordinate; empty: a steel rule's", "0.5", "0.5"),
        Column("goes_on", "partkin:goesOn", "id", "donor feature: the host fixing that it is meant for; empty: found",
               holds="text"),
        _word("need", "partkin:need", "need", "must be paired, should be paired, or spare"),
        Column("zone", "partkin:inZone", "name", "a protected zone's name, when the feature stands in one",
               holds="zone"),
        Column("axis_x", "", "number", "direction the fastener points in, with axis_y and axis_z; empty: z"),
        Column("axis_y", "", "number", "see axis_x"),
        Column("axis_z", "", "number", "see axis_x"),
        _derived("axis", "partkin:axis", "axis"),
    ), key=("part", "feature"), must_exist=True, of_part=True, by="feature"),
    Sheet("readings.csv", "readings", build.Reading, "partkin:Reading", (
        _part(_DONOR, term="sosa:hasFeatureOfInterest"),
        Column("reading", "dcterms:identifier", "id", "id, unique within its part", True, examples=("r1",)),
        _word("quantity", "sosa:observedProperty", "quantity",
              "what was read; centres and edges are distances between two features; left of, right of: on which side "
              "of a line it lies, seen from the face of seen_from; withdrawn: the reading named in corrects does not "
              "count", "across", needed=True),
        Column("from", "partkin:fromFeature", "name", "the feature it is read from (gap: the edge)",
               attribute="from_feature", holds="feature", examples=("a",)),
        Column("to", "partkin:toFeature", "name",
               "the feature it is read to (gap: the neighbour; left of, right of: the two features that the line runs "
               "through, a blank between); empty for across and length", attribute="to_feature", holds="feature"),
        _derived("line_from", "partkin:lineFrom", "feature"),
        _derived("line_to", "partkin:lineTo", "feature"),
        Column("value", "sosa:hasSimpleResult", "number",
               "what was read, in the row's unit; empty for left of, right of, withdrawn", needed=True,
               may_be_empty=True, examples=("7",)),
        Column("unit", "qudt:hasUnit", "unit", "mm, cm, m, in, kg, g, lb", needed=True, may_be_empty=True,
               examples=("mm",)),
        Column("plus_minus", "partkin:plusMinus", "number",
               "greatest error believed possible, same unit; empty: the instrument's", least=0.0, examples=("0.1",)),
        _word("instrument", "partkin:instrument", "instrument", "what it was read with", "caliper"),
        Column("by", "prov:wasAttributedTo", "name", "who read it", holds="person"),
        _day("2024-05-31"),
        Column("corrects", "prov:wasRevisionOf", "id", "the id of the reading that this one replaces", holds="reading"),
        _note(EXAMPLE),
    ), key=("part", "reading"), segment="reading", of_part=True, by="reading"),
    Sheet("offers.csv", "offers", build.Offer, "partkin:Offer", (
        _word("option", "partkin:option", "option", "which of the four ways", "donor", needed=True),
        Column("part", "schema:itemOffered", "id",
               "the part on offer; repair or custom of a donor: what matching its finish costs", refers_to=PARTS,
               examples=(_DONOR,)),
        _money("price", "schema:price", "what it costs", "40"),
        _money("shipping", "partkin:shipping", "carriage", "8"),
        Column("seller", "partkin:seller", "name", "who offers it", examples=("invented seller",)),
        _day("2024-05-31"),
        Column("available", "partkin:available", "yes or no", "whether it can still be had", examples=("yes",)),
        Column("hours", "partkin:hours", "number", "work that it takes", least=0.0, most=100_000.0),
        _note(EXAMPLE),
    ), segment="offer"),
    Sheet("costs.csv", "costs", build.Cost, "partkin:Cost", (
        _day("2024-05-31"),
        Column("what", "partkin:what", "name", "what it was for", True, examples=("example clips",)),
        Column("part", "partkin:ofPart", "id", "the part it was for", refers_to=PARTS, examples=(_DONOR,)),
        Column("amount", "partkin:amount", "money", "what was paid; below zero: paid back", True,
               least=-GREATEST_AMOUNT, most=GREATEST_AMOUNT, examples=("3.5",)),
        _note(EXAMPLE),
    ), segment="cost"),
    Sheet("neighbours.csv", "neighbours", build.Neighbour, "partkin:Gap", (
        _part(_HOST),
        Column("edge", "partkin:edge", "name", "which edge of the part", True, examples=(_UNTIL,)),
        Column("neighbour", "partkin:neighbour", "name", "the part beside it", True, refers_to=PARTS, loosely=True,
               examples=(_DONOR,)),
        _span("gap_mm", "partkin:gapMm", "gap as it is or was", "4"),
        _span("gap_min_mm", "partkin:gapMinMm", "least gap that will do", "3"),
        _span("gap_max_mm", "partkin:gapMaxMm", "widest gap that will do", "5"),
    ), segment="gap"),
    Sheet("zones.csv", "zones", build.Zone, "partkin:Zone", (
        _part(*(_DONOR,) * 3),
        Column("zone", "dcterms:identifier", "name", "the zone's name", True, examples=(_UNTIL,) * 3, holds="id"),
        _word("kind", "partkin:zoneKind", "zone", "what it protects", *("keep clear",) * 3, needed=True),
        Column("point", "", "whole number", "the corner's number, in order round the zone", True, least=0,
               most=1_000_000, examples=("1", "2", "3")),
        _place("x_mm", "", "the corner, in the part's own frame", "50", "60", "60", needed=True),
        _place("y_mm", "", "the corner, in the part's own frame", "0", "0", "10", needed=True),
        _derived("corners_mm", "partkin:corner", "corners"),
    ), key=("part", "zone", "point"), segment="zone", of_part=True, by="zone"),
    Sheet("outlines.csv", "outlines", build.Outline, "partkin:Outline", (
        _part(*(_DONOR,) * 4),
        _word("kind", "partkin:outlineKind", "outline", "what the line bounds", *("edge",) * 4, needed=True),
        Column("name", "schema:name", "name", "the line's name, where a part has several of one kind",
               examples=(_UNTIL,) * 4),
        Column("point", "", "whole number", "the corner's number, in order round the line", True, least=0,
               most=1_000_000, examples=("1", "2", "3", "4")),
        _place("x_mm", "", "the corner, in the part's own frame", "-20", "70", "70", "-20", needed=True),
        _place("y_mm", "", "the corner, in the part's own frame", "-20", "-20", "20", "20", needed=True),
        _derived("corners_mm", "partkin:corner", "corners"),
    ), key=("part", "kind", "name", "point"), segment="outline"),
    Sheet("connectors.csv", "connectors", build.Connector, "partkin:Connector", (
        _part(_DONOR),
        Column("connector", "dcterms:identifier", "name", "what it is for", True, examples=(_UNTIL,), holds="id"),
        Column("ways", "partkin:ways", "whole number", "how many contacts", least=1, most=10_000, examples=("2",)),
        Column("keyed_as", "partkin:keyedAs", "name", "its shape, colour or keying"),
        _word("need", "partkin:need", "need", "whether it has to be plugged in", "should"),
    ), key=("part", "connector"), segment="connector", of_part=True, by="connector"),
    Sheet("held_by.csv", "holdings", build.Holding, "partkin:Holding", (
        _part(_DONOR),
        Column("held_to", "partkin:heldTo", "name", "the part or body that it is held to", True, refers_to=PARTS,
               loosely=True, examples=(_HOST,)),
        Column("fastener", "dcterms:identifier", "id", "id; one that goes through several parts has a row for each",
               True, examples=("bolt-1",)),
        _word("kind", "partkin:fastenerKind", "fastener", "what kind of fastener", "bolt", needed=True),
        Column("count", "partkin:count", "whole number", "how many; empty: one", least=1, most=10_000, examples=("1",)),
        Column("thread", "partkin:thread", "thread", "as the trade writes it", examples=("M6x1",)),
        Column("tool", "partkin:tool", "name", "what undoes it", examples=("10 mm socket",)),
        Column("minutes", "partkin:minutes", "number", "to undo it", least=0.0, most=100_000.0, examples=("2",)),
        Column("behind", "partkin:behind", "alternatives",
               "parts or fasteners that must be off first: ; all, | either"),
        Column("place", "partkin:place", "name", "where you stand to reach it: cabin, engine bay, door",
               examples=("engine bay",)),
        Column("caution", "partkin:caution", "words", "what to be careful of; ; between", words=WORDS["caution"],
               attribute="cautions"),
        Column("certain", "partkin:certain", "word", "yes, or guess when nobody has seen it", words=("yes", "guess"),
               examples=("yes",), holds="boolean"),
        Column("torque_nm", "partkin:torqueNm", "number", "the maker's value, never a guess", above=0.0, most=10_000.0),
        Column("single_use", "partkin:singleUse", "yes or no", "yes: a new one each time", examples=("no",)),
        _note(EXAMPLE),
    ), key=("part", "held_to", "fastener"), segment="holding"),
    Sheet("looks.csv", "looks", build.Look, "partkin:Look", (
        _part(_DONOR),
        Column("beside", "partkin:beside", "id", "the host or original that it was held against", True, refers_to=PARTS,
               examples=(_HOST,)),
        _word("looks", "partkin:likeness", "likeness", "what the photograph says of the shape; it never tells the size",
              "alike", needed=True),
        Column("picture", "partkin:picture", "text", "which photograph", examples=("invented-example.jpg",)),
        _day("2024-05-31"),
        _note(EXAMPLE),
    ), segment="look"),
    Sheet("outcomes.csv", "outcomes", build.Outcome, "partkin:Outcome", (
        Column("donor", "partkin:ofPart", "id", "the donor that was tried", True, refers_to=PARTS, examples=(_DONOR,)),
        _day("2024-05-31"),
        _word("verdict_then", "partkin:verdictThen", "verdict", "what the verdict was"),
        Column("chance_then", "partkin:chanceThen", "number", "what the chance was, 0 to 1", least=0.0, most=1.0),
        Column("happened", "partkin:happened", "text", "what really happened", True, examples=("nothing yet",)),
        _note(EXAMPLE),
    ), segment="outcome"),
)  # fmt: skip

BY_NAME: Mapping[str, Sheet] = MappingProxyType({sheet.name: sheet for sheet in SHEETS})
COLUMNS: Mapping[str, tuple[Column, ...]] = MappingProxyType({sheet.name: sheet.columns for sheet in SHEETS})
WORK = "work.csv"
# Every file that a build is read from.
FILES = (SETTINGS, *BY_NAME, WORK)
SHEET_ORDER: Mapping[str, int] = MappingProxyType({name: place for place, name in enumerate((SETTINGS, *BY_NAME))})
BUILD = Sheet(SETTINGS, "settings", build.Settings, "partkin:Build", (
    Column("name", "schema:name", "text", "what you call the build"),
    Column("currency", "partkin:currency", "text", "three letters (ISO 4217), such as EUR"),
    Column("labour_rate", "partkin:labourRate", "number", "what an hour of your work is worth, in that currency"),
    Column("confidence", "partkin:confidence", "number", "how sure a verdict must be; 0.95 when left out"),
    Column("same_drawing", "partkin:sameDrawing", "number", "how likely it is that a donor was made to the original's "
           "drawing, 0.01 to 0.99; told by the evidence when left out"),
    Column("scatter_mm", "partkin:scatterMm", "number", "how far a maker's tool puts a hole from where the drawing "
           "has it (standard deviation each way), 0 to 5; 0.1 when left out"),
    Column("adapt_host", "partkin:adaptHost", "yes or no",
           "true: the vehicle itself may be cut or drilled; false when left out"),
))  # fmt: skip
SETTING_MEANINGS: Mapping[str, str] = MappingProxyType({one.name: one.meaning for one in BUILD.columns})
NUMBER_SETTINGS = tuple(one.name for one in BUILD.columns if one.read_as == "number")

SCHEME_OF: Mapping[tuple[str, ...], str] = MappingProxyType({words: scheme for scheme, words in WORDS.items()})


@cache
def terms_of(row: type) -> dict[str, Column]:
    """What a row of a dataclass says in the graph, by attribute."""
    sheet = next(sheet for sheet in (BUILD, *SHEETS) if sheet.row is row)
    return {column.attribute: column for column in sheet.terms}


def default_of(row: type, attribute: str) -> Any:
    """What a dataclass puts where a cell is empty; None where it must be given."""
    spec = row.__dataclass_fields__[attribute]  # type: ignore[attr-defined]
    return None if spec.default is MISSING else spec.default
