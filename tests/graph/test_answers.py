"""What each query answers, by plain loops over the sheets, which share no line with it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import pytest

from graph.builds import dashboard, family
from graph.test_one_drawing import with_original
from partkin.graph import compile_graph
from partkin.graph.backwards import cell_of
from partkin.graph.graph import Knowledge, query_files
from partkin.graph.names import plain_number
from partkin.model.build import Build
from partkin.sheets.loading import load
from partkin.tables.reader import shipped

Row = tuple[Any, ...]


@dataclass(frozen=True)
class Answered:
    """A build, its graph, and what the rules derived in it, as people read it."""

    build: Build
    graph: Knowledge
    derived: frozenset[tuple[str, str, str]]

    def follows(self, *names: str) -> Iterator[tuple[str, str, str]]:
        """Rows of donor, finding and other part in the order of the donors, the findings and the others."""
        order = {part.part: place for place, part in enumerate(self.build.parts)}
        found = [one for one in self.derived if one[1] in names and one[0] in order and one[2] in order]
        yield from sorted(found, key=lambda one: (order[one[0]], names.index(one[1]), order[one[2]]))


@cache
def answered() -> list[Answered]:
    every = load(shipped("ontology") / "examples" / "valid" / "every-sheet").build
    assert every is not None
    builds = [
        every,
        dashboard(),
        with_original(7.0),
        with_original(9.0, "bracket"),
        *(family(seed) for seed in range(40)),
    ]
    found = []
    for graph, build in ((compile_graph(build), build) for build in builds):
        derived = {
            (cell_of_text(one, graph), cell_of_text(term, graph), cell_of_text(two, graph))
            for _, one, term, two in graph.derived()
        }
        found.append(Answered(build, graph, frozenset(derived)))
    return found


def cell_of_text(iri: str, graph: Knowledge) -> Any:
    from pyoxigraph import NamedNode

    return cell_of(NamedNode(iri), graph.base)


def found_by(query: str, graph: Knowledge) -> list[Row]:
    answer: Any = graph.store.query(query_files()[query].sparql, use_default_graph_as_union=True)
    return [tuple(cell_of(term, graph.base) for term in row) for row in answer]


LOOPS: dict[str, Callable[[Answered], Iterator[Row]]] = {}


def loop(query: str) -> Callable[[Callable[[Answered], Iterator[Row]]], None]:
    return lambda rows: LOOPS.__setitem__(query, rows)


def rows_of(sheet: str, columns: str, links: str = "") -> Callable[[Answered], Iterator[Row]]:
    """Every row of a sheet with these attributes; a link to a thing of the same part bears the part's id."""

    def rows(one: Answered) -> Iterator[Row]:
        for row in getattr(one.build, sheet):
            cells = [getattr(row, name) if name != "row" else row.row or None for name in columns.split()]
            named = zip(columns.split(), cells, strict=True)
            yield tuple(f"{row.part}/{cell}" if cell and name in links.split() else cell for name, cell in named)

    return rows


LOOPS["connectors"] = rows_of("connectors", "part connector ways keyed_as need row")
LOOPS["offers"] = rows_of("offers", "part option price shipping seller on available hours note")
LOOPS["outcomes"] = rows_of("outcomes", "donor on verdict_then chance_then happened")
LOOPS["looks"] = rows_of("looks", "part beside looks picture on")
LOOPS["parts"] = rows_of(
    "parts",
    "part name model part_number origin takes_place_of part_of hand drive seen_from duty airbag broken_by material"
    " thickness_mm mass_kg finish flex_mm flex_in_plane note row",
)


@loop("features")
def _(one: Answered) -> Iterator[Row]:
    columns = (
        "part feature kind across_mm length_mm angle_deg angle_to float_mm thread fastener_mm x_mm y_mm z_mm"
        " plus_minus_mm goes_on need zone"
    )
    plain = rows_of("features", columns, "angle_to zone")
    for cells, feature in zip(plain(one), one.build.features, strict=True):
        yield (*cells, *(feature.axis or (None,) * 3), feature.row or None)


@loop("readings")
def _(one: Answered) -> Iterator[Row]:
    columns = (
        "part reading quantity from_feature to_feature line_from line_to value unit plus_minus instrument by on"
        " corrects note row"
    )
    plain = rows_of("readings", columns, "from_feature to_feature line_from line_to corrects")
    corrected = {(row.part, row.corrects) for row in one.build.readings}
    for cells, reading in zip(plain(one), one.build.readings, strict=True):
        if (reading.part, reading.reading) not in corrected:
            yield cells


@loop("places")
def _(one: Answered) -> Iterator[Row]:
    for place, part in enumerate(one.build.parts, start=1):
        yield part.part, part.origin, part.takes_place_of, place, part.row or None


@loop("newest-readings")
def _(one: Answered) -> Iterator[Row]:
    newest: dict[Row, Row] = {}
    for cells in LOOPS["readings"](one):
        part, reading, quantity, start, end, _, _, value, unit, *_ = cells
        if quantity != "withdrawn":
            newest.pop((part, quantity, start, end), None)
            newest[part, quantity, start, end] = (value, unit, reading)
    yield from (key + rest for key, rest in newest.items())


@loop("models")
def _(one: Answered) -> Iterator[Row]:
    models = {model.model: model for model in one.build.models}
    for part in one.build.parts:
        if model := models.get(part.model or ""):
            years = (model.first_year, model.last_year)
            yield part.part, model.model, model.maker, model.platform, *years, model.note, model.row or None


@loop("zones")
def _(one: Answered) -> Iterator[Row]:
    for zone in one.build.zones:
        yield from ((zone.part, zone.zone, zone.kind, *corner, zone.row or None) for corner in zone.corners_mm)


@loop("airbags")
def _(one: Answered) -> Iterator[Row]:
    seamed = {zone.part for zone in one.build.zones if zone.kind in ("tear seam", "airbag door")}
    for part in one.build.parts:
        comes_off = part.origin in ("original", "donor") and part.airbag is None and part.part not in seamed
        if comes_off and (part.duty in (None, "trim") or part.broken_by == "airbag"):
            yield part.part, part.name


@loop("candidates")
def _(one: Answered) -> Iterator[Row]:
    place = {part.part: part.takes_place_of for part in one.build.parts}
    for host in one.build.parts:
        for donor in one.build.parts:
            if host.origin in ("host", "original") and donor.origin == "donor":
                step = donor.takes_place_of
                while step and step != host.part:
                    step = place.get(step)
                if step or not donor.takes_place_of:
                    yield host.part, donor.part, bool(step)


@loop("cheapest")
def _(one: Answered) -> Iterator[Row]:
    prices: dict[str, list[float]] = {}
    for offer in one.build.offers:
        if offer.part and offer.price is not None and offer.available is not False:
            prices.setdefault(offer.part, []).append(offer.price + (offer.shipping or 0.0))
    for part, listed in sorted(prices.items(), key=lambda row: (min(row[1]), row[0])):
        yield part, min(listed), len(listed)


@loop("compared")
def _(one: Answered) -> Iterator[Row]:
    yield from ((donor, other) for donor, _, other in one.follows("partkin:comparedWith"))


FINDINGS = ("samePartNumberAs", "replacesPart", "carriedOverFrom", "looksLike", "picturedLike", "olderThan",
            "otherHandThan", "otherDriveThan", "otherYearsThan", "picturedUnlike")  # fmt: skip


def beside(one: Answered, *names: str) -> Iterator[Row]:
    compared = {(donor, other) for donor, _, other in one.follows("partkin:comparedWith")}
    yield from (row for row in one.follows(*(f"partkin:{name}" for name in names)) if (row[0], row[2]) in compared)


LOOPS["evidence"] = lambda one: beside(one, *FINDINGS)
LOOPS["drawing"] = lambda one: beside(one, "otherSizeThan", "sameSizeAs", "carriedOverFrom")


@loop("dangers")
def _(one: Answered) -> Iterator[Row]:
    for holding in one.build.holdings:
        yield from ((holding.part, holding.fastener, caution) for caution in holding.cautions)


@loop("fixings")
def _(one: Answered) -> Iterator[Row]:
    parts = {part.part: part for part in one.build.parts}
    placed = {feature.part for feature in one.build.features if feature.x_mm is not None}
    for feature in one.build.features:
        part = parts[feature.part]
        stands_in = part.origin == "original" and part.takes_place_of not in (None, *placed)
        host = part.part if part.origin == "host" else part.takes_place_of if stands_in else None
        if host and feature.need != "spare":
            yield host, f"{part.part}/{feature.feature}", feature.kind, feature.need or "must", part.part


@loop("forbids")
def _(one: Answered) -> Iterator[Row]:
    for part in one.build.parts:
        if part.duty in (None, "structural", "restraint"):
            yield part.part, part.duty


@loop("gaps")
def _(one: Answered) -> Iterator[Row]:
    for gap in one.build.neighbours:
        low, high = gap.gap_min_mm, gap.gap_max_mm
        wrong = gap.gap_mm is not None and not (low or 0.0) <= gap.gap_mm <= (1e9 if high is None else high)
        if wrong:
            yield gap.part, gap.edge, gap.neighbour, gap.gap_mm, low, high


@loop("levels")
def _(one: Answered) -> Iterator[Row]:
    whole_of = {part.part: part.part_of for part in one.build.parts}
    for part in one.build.parts:
        level, whole = 1, part.part_of
        while whole:
            yield part.part, whole, level
            level, whole = level + 1, whole_of.get(whole)


@loop("protected")
def _(one: Answered) -> Iterator[Row]:
    for feature in one.build.features:
        name = f"{feature.part}/{feature.feature}"
        whys = {why for thing, term, why in one.derived if (thing, term) == (name, "partkin:protectedBy")}
        yield from (
            (feature.part, name, why) for why in sorted(whys, key=lambda why: "~" not in why and "/" not in why)
        )


@loop("replaced-numbers")
def _(one: Answered) -> Iterator[Row]:
    for part in one.build.parts:
        yield from ((part.part, number) for number in part.replaces)


def own_number(part: Any) -> str | None:
    return plain_number(part.part_number) if part.part_number else None


@loop("superseded")
def _(one: Answered) -> Iterator[Row]:
    for part in one.build.parts:
        for old in part.replaces:
            yield part.part, own_number(part), plain_number(old), old, part.part_number


@loop("spent")
def _(one: Answered) -> Iterator[Row]:
    amounts: dict[str, list[float]] = {}
    for cost in one.build.costs:
        amounts.setdefault(cost.what, []).append(cost.amount)
    for what, listed in sorted(amounts.items(), key=lambda row: (-sum(row[1]), row[0])):
        yield what, sum(listed), len(listed)


@loop("stock-facts")
def _(one: Answered) -> Iterator[Row]:
    for part in sorted(one.build.parts, key=lambda part: part.part):
        for term, value in (
            ("drive", part.drive),
            ("duty", part.duty),
            ("hand", part.hand),
            ("number", own_number(part)),
        ):
            if value:
                yield part.part, f"partkin:{term}", value


@loop("stock-replaced")
def _(one: Answered) -> Iterator[Row]:
    numbered = [part for part in sorted(one.build.parts, key=lambda part: part.part) if part.part_number]
    for part in numbered:
        yield from ((part.part, own_number(part), old) for old in sorted(map(plain_number, part.replaces)))


@loop("unmeasured")
def _(one: Answered) -> Iterator[Row]:
    for feature in one.build.features:
        if feature.x_mm is None:
            yield feature.part, f"{feature.part}/{feature.feature}", feature.kind


@pytest.mark.parametrize("query", sorted(set(query_files()) - {"feature-facts", "part-facts", "reading-facts"}))
def test_a_query_answers_what_a_plain_loop_over_the_sheets_finds(query: str) -> None:
    """The facts of one thing, a term a row, are read back into the very rows by tests/graph/test_round_trip.py."""
    rows = 0
    for one in answered():
        found = found_by(query, one.graph)
        wanted = list(LOOPS[query](one))
        assert found == wanted, (one.build.settings.name, len(found), len(wanted))
        rows += len(wanted)
    assert rows > 0


@pytest.mark.parametrize("query", sorted(name for name, file in query_files().items() if "given" in file.header))
def test_a_query_of_given_things_answers_their_rows_of_the_whole(query: str) -> None:
    given = query_files()[query].header["given"]
    for graph in (one.graph for one in answered()[:6]):
        whole = graph.rows(query)
        for thing in {row[given] for row in whole}:
            assert graph.rows(query, [thing]) == [row for row in whole if row[given] == thing]
