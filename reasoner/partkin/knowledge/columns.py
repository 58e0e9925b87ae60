"""Which column of which sheet is which term: the one table that writing, reading back and asking share."""

from __future__ import annotations

from dataclasses import MISSING, dataclass
from functools import cache
from typing import Any, Final

from partkin.model import words
from partkin.model.build import (
    Connector,
    Cost,
    Feature,
    Holding,
    Look,
    Neighbour,
    Offer,
    Outcome,
    Outline,
    Part,
    Reading,
    Settings,
    VehicleModel,
    Zone,
)


@dataclass(frozen=True)
class Column:
    """One column: the dataclass attribute, the term, and what its values are.

    `holds`: id, text, decimal, integer, boolean, date, unit; word (of `scheme`); a link to a part, feature,
    zone, model, reading or person; named (the written form and a link to the thing that it names);
    or the many-valued axis, corners, numbers, cautions, behind.
    """

    name: str
    term: str
    holds: str
    scheme: str = ""


@dataclass(frozen=True)
class Sheet:
    """One sheet: its file, its dataclass, its class in the graph, its columns.

    `segment`: where its things stand, after `~`; parts and features stand bare. `of_part`: they stand under
    their part. `by`: the column that names them; empty: their place in the sheet does.
    """

    file: str
    attribute: str
    row: type
    rdf_class: str
    columns: tuple[Column, ...]
    segment: str = ""
    of_part: bool = False
    by: str = ""


NOTE: Final = Column("note", "skos:note", "text")
PART: Final = Column("part", "partkin:ofPart", "part")
ON: Final = Column("on", "dcterms:date", "date")


def _decimals(*pairs: tuple[str, str]) -> tuple[Column, ...]:
    return tuple(Column(name, f"partkin:{term}", "decimal") for name, term in pairs)


SETTINGS: Final = Sheet(
    "build.toml", "settings", Settings, "partkin:Build",
    (
        Column("name", "schema:name", "text"),
        Column("currency", "partkin:currency", "text"),
        *_decimals(("labour_rate", "labourRate"), ("confidence", "confidence"), ("same_drawing", "sameDrawing")),
        Column("adapt_host", "partkin:adaptHost", "boolean"),
    ),
)

MODELS: Final = Sheet(
    "models.csv", "models", VehicleModel, "partkin:VehicleModel",
    (
        Column("model", "dcterms:identifier", "id"),
        Column("maker", "partkin:maker", "text"),
        Column("platform", "partkin:platform", "named", "platform"),
        Column("first_year", "partkin:firstYear", "integer"),
        Column("last_year", "partkin:lastYear", "integer"),
        NOTE,
    ),
    segment="model", by="model",
)

PARTS: Final = Sheet(
    "parts.csv", "parts", Part, "partkin:Part",
    (
        Column("part", "dcterms:identifier", "id"),
        Column("name", "schema:name", "text"),
        Column("model", "partkin:model", "model"),
        Column("part_number", "partkin:number", "named", "number"),
        Column("replaces", "partkin:replaces", "numbers"),
        Column("origin", "partkin:origin", "word", "origin"),
        Column("takes_place_of", "partkin:takesPlaceOf", "part"),
        Column("part_of", "partkin:partOf", "part"),
        Column("hand", "partkin:hand", "word", "side"),
        Column("drive", "partkin:drive", "word", "side"),
        Column("seen_from", "partkin:seenFrom", "word", "face"),
        Column("duty", "partkin:duty", "word", "duty"),
        Column("airbag", "partkin:airbag", "boolean"),
        Column("broken_by", "partkin:brokenBy", "word", "broken-by"),
        Column("material", "schema:material", "text"),
        *_decimals(("thickness_mm", "thicknessMm"), ("mass_kg", "massKg")),
        Column("finish", "partkin:finish", "text"),
        *_decimals(("flex_mm", "flexMm")),
        Column("flex_in_plane", "partkin:flexInPlane", "boolean"),
        NOTE,
    ),
    by="part",
)

FEATURES: Final = Sheet(
    "features.csv", "features", Feature, "partkin:Feature",
    (
        PART,
        Column("feature", "dcterms:identifier", "id"),
        Column("kind", "partkin:kind", "word", "kind"),
        *_decimals(
            ("across_mm", "acrossMm"), ("length_mm", "lengthMm"), ("angle_deg", "angleDeg"),
        ),
        Column("angle_to", "partkin:pointsAt", "feature"),
        *_decimals(("float_mm", "floatMm")),
        Column("thread", "partkin:thread", "text"),
        *_decimals(
            ("fastener_mm", "fastenerMm"), ("x_mm", "xMm"), ("y_mm", "yMm"), ("z_mm", "zMm"),
            ("plus_minus_mm", "plusMinusMm"),
        ),
        Column("goes_on", "partkin:goesOn", "text"),
        Column("need", "partkin:need", "word", "need"),
        Column("zone", "partkin:inZone", "zone"),
        Column("axis", "partkin:axis", "axis"),
    ),
    of_part=True, by="feature",
)

READINGS: Final = Sheet(
    "readings.csv", "readings", Reading, "partkin:Reading",
    (
        Column("part", "sosa:hasFeatureOfInterest", "part"),
        Column("reading", "dcterms:identifier", "id"),
        Column("quantity", "sosa:observedProperty", "word", "quantity"),
        Column("from_feature", "partkin:fromFeature", "feature"),
        Column("to_feature", "partkin:toFeature", "feature"),
        Column("line_from", "partkin:lineFrom", "feature"),
        Column("line_to", "partkin:lineTo", "feature"),
        Column("value", "sosa:hasSimpleResult", "decimal"),
        Column("unit", "qudt:hasUnit", "unit"),
        Column("plus_minus", "partkin:plusMinus", "decimal"),
        Column("instrument", "partkin:instrument", "word", "instrument"),
        Column("by", "prov:wasAttributedTo", "person"),
        ON,
        Column("corrects", "prov:wasRevisionOf", "reading"),
        NOTE,
    ),
    segment="reading", of_part=True, by="reading",
)

OFFERS: Final = Sheet(
    "offers.csv", "offers", Offer, "partkin:Offer",
    (
        Column("option", "partkin:option", "word", "option"),
        Column("part", "schema:itemOffered", "part"),
        Column("price", "schema:price", "decimal"),
        Column("shipping", "partkin:shipping", "decimal"),
        Column("seller", "partkin:seller", "text"),
        ON,
        Column("available", "partkin:available", "boolean"),
        Column("hours", "partkin:hours", "decimal"),
        NOTE,
    ),
    segment="offer",
)

COSTS: Final = Sheet(
    "costs.csv", "costs", Cost, "partkin:Cost",
    (ON, Column("what", "partkin:what", "text"), PART, *_decimals(("amount", "amount")), NOTE),
    segment="cost",
)

NEIGHBOURS: Final = Sheet(
    "neighbours.csv", "neighbours", Neighbour, "partkin:Gap",
    (
        PART,
        Column("edge", "partkin:edge", "text"),
        Column("neighbour", "partkin:neighbour", "part"),
        *_decimals(("gap_mm", "gapMm"), ("gap_min_mm", "gapMinMm"), ("gap_max_mm", "gapMaxMm")),
    ),
    segment="gap",
)

ZONES: Final = Sheet(
    "zones.csv", "zones", Zone, "partkin:Zone",
    (
        PART,
        Column("zone", "dcterms:identifier", "id"),
        Column("kind", "partkin:zoneKind", "word", "zone"),
        Column("corners_mm", "partkin:corner", "corners"),
    ),
    segment="zone", of_part=True, by="zone",
)

OUTLINES: Final = Sheet(
    "outlines.csv", "outlines", Outline, "partkin:Outline",
    (
        PART,
        Column("kind", "partkin:outlineKind", "word", "outline"),
        Column("name", "schema:name", "text"),
        Column("corners_mm", "partkin:corner", "corners"),
    ),
    segment="outline",
)

CONNECTORS: Final = Sheet(
    "connectors.csv", "connectors", Connector, "partkin:Connector",
    (
        PART,
        Column("connector", "dcterms:identifier", "id"),
        Column("ways", "partkin:ways", "integer"),
        Column("keyed_as", "partkin:keyedAs", "text"),
        Column("need", "partkin:need", "word", "need"),
    ),
    segment="connector", of_part=True, by="connector",
)

OUTCOMES: Final = Sheet(
    "outcomes.csv", "outcomes", Outcome, "partkin:Outcome",
    (
        Column("donor", "partkin:ofPart", "part"),
        ON,
        Column("verdict_then", "partkin:verdictThen", "word", "verdict"),
        Column("happened", "partkin:happened", "text"),
        NOTE,
        Column("chance_then", "partkin:chanceThen", "decimal"),
    ),
    segment="outcome",
)

HOLDINGS: Final = Sheet(
    "held_by.csv", "holdings", Holding, "partkin:Holding",
    (
        PART,
        Column("held_to", "partkin:heldTo", "part"),
        Column("fastener", "dcterms:identifier", "id"),
        Column("kind", "partkin:fastenerKind", "word", "fastener"),
        Column("count", "partkin:count", "integer"),
        Column("thread", "partkin:thread", "text"),
        Column("tool", "partkin:tool", "text"),
        Column("minutes", "partkin:minutes", "decimal"),
        Column("behind", "partkin:behind", "behind"),
        Column("place", "partkin:place", "text"),
        Column("cautions", "partkin:caution", "cautions"),
        Column("certain", "partkin:certain", "boolean"),
        Column("torque_nm", "partkin:torqueNm", "decimal"),
        Column("single_use", "partkin:singleUse", "boolean"),
        NOTE,
    ),
    segment="holding",
)

LOOKS: Final = Sheet(
    "looks.csv", "looks", Look, "partkin:Look",
    (
        PART,
        Column("beside", "partkin:beside", "part"),
        Column("looks", "partkin:likeness", "word", "likeness"),
        Column("picture", "partkin:picture", "text"),
        ON,
        NOTE,
    ),
    segment="look",
)

SHEETS: Final = (
    MODELS, PARTS, FEATURES, READINGS, OFFERS, COSTS, NEIGHBOURS, ZONES, OUTLINES, CONNECTORS, OUTCOMES,
    HOLDINGS, LOOKS,
)

# The words of each concept scheme.
WORDS: Final[dict[str, tuple[str, ...]]] = {
    "origin": words.ORIGINS,
    "side": words.HANDS,
    "face": words.FACES,
    "duty": words.DUTIES,
    "broken-by": words.BROKEN_BY,
    "kind": words.KINDS,
    "need": words.NEEDS,
    "quantity": words.QUANTITIES,
    "instrument": words.INSTRUMENTS,
    "option": words.OPTION_KINDS,
    "zone": words.ZONE_KINDS,
    "outline": words.OUTLINE_KINDS,
    "fastener": words.FASTENER_KINDS,
    "caution": words.CAUTIONS,
    "verdict": words.VERDICTS,
    "likeness": words.LIKENESSES,
}


@cache
def column_names(row: type) -> dict[str, Column]:
    """Return the columns of a sheet's dataclass by name."""
    sheet = next(sheet for sheet in (SETTINGS, *SHEETS) if sheet.row is row)
    return {column.name: column for column in sheet.columns}


def default_of(row: type, name: str) -> Any:
    """Return what a dataclass puts where a column is empty; None where it must be given."""
    spec = row.__dataclass_fields__[name]  # type: ignore[attr-defined]
    return None if spec.default is MISSING else spec.default
