"""One check asked of the graph: which sides, with which features, and what speaks for or against."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Any

from partkin.graph.backwards import cell, row_of, sheet_rows
from partkin.graph.evidence import evidence_of, forbids_of, one_drawing_of
from partkin.graph.graph import Knowledge, Row, graph_of
from partkin.graph.names import last
from partkin.model.build import Build, Connector, Part, VehicleModel, Zone, current, the_original
from partkin.model.columns import BY_NAME, FEATURES, PARTS, READINGS, Sheet, terms_of
from partkin.model.known import Known, OneDrawing, Side
from partkin.model.problem import FaultyInput, Problem, no_part, some_of
from partkin.model.words import WITHDRAWN

SHEET = "parts.csv"


class ListedParts:
    """Every part with its side and the place it takes: small enough to hold whole."""

    def __init__(self, graph: Knowledge) -> None:
        part = terms_of(Part)
        self.rows = {last(row["part"]): row for row in graph.rows("places")}
        self.origin, self.place, self.row = {}, {}, {}
        for name, row in self.rows.items():
            self.origin[name] = cell(part["origin"], row["origin"]) if "origin" in row else None
            self.place[name] = last(row["takes_place_of"]) if "takes_place_of" in row else None
            self.row[name] = int(row.get("row", "0"))

    def of_origin(self, origin: str) -> list[str]:
        """Return the parts of one side, in the order of their ids."""
        return [name for name in self.rows if self.origin[name] == origin]

    def unknown(self, name: str, row: int = 0, column: str = "part") -> Problem:
        """Return the fault of naming a part that is not there."""
        return no_part(name, list(self.rows), row, column)


def find_host(places: ListedParts, donor: str, host: str | None) -> str | Problem:
    """Return the part that stands as host for a donor, or the fault that keeps it from being found.

    `host`, else the part whose place the donor takes; an original gives way to its own host where it has one;
    with neither, the only host part, or the only original.
    """
    named = host if host is not None else places.place[donor]
    if named is not None:
        if named not in places.rows:
            if host is not None:
                return places.unknown(named)
            return places.unknown(named, places.row[donor], "takes_place_of")
        return _standing(places, named)
    hosts = places.of_origin("host")
    originals = places.of_origin("original")
    if len(hosts) == 1:
        return hosts[0]
    if not hosts and (len(originals) == 1 or places.origin[donor] == "original"):
        return _standing(places, originals[0] if len(originals) == 1 else donor)
    many = hosts or originals
    if not many:
        mend = "Give one part the origin host, or the part that came off the origin original"
        return Problem(SHEET, 0, "origin", "there is no host part and no original to compare with", mend)
    what = f"{donor!r} does not say whose place it takes, and it could be any of {len(many)} parts"
    mend = f"Name one of them, in takes_place_of or when you ask: {some_of(many)}"
    return Problem(SHEET, places.row[donor], "takes_place_of", what, mend)


def _standing(places: ListedParts, named: str) -> str | Problem:
    origin, place = places.origin[named], places.place[named]
    if origin == "host":
        return named
    if origin == "original":
        if place is not None and place not in places.rows:
            return places.unknown(place, places.row[named], "takes_place_of")
        return place if place is not None and places.origin[place] == "host" else named
    what = f"{named!r} is neither a host part nor an original, so nothing can be fitted in its place"
    return Problem(SHEET, places.row[named], "origin", what, "Name the host part, or the original that came off")


def find_original(graph: Knowledge, places: ListedParts, donor: str, host: str, asked: str | None) -> str | None:
    """Return the original that stood on a host: itself, or the one of `the_original`."""
    if places.origin[host] == "original":
        return host
    there = [name for name in places.of_origin("original") if places.place[name] == host]
    measured: set[str] = set()
    if len(there) > 1:
        measured = {last(row["part"]) for row in graph.rows("feature-facts", map(graph.part, there))}
    return the_original(there, (asked, places.place[donor], donor), measured)


def _sides(graph: Knowledge, names: list[str]) -> dict[str, Side]:
    """Return everything that the queries tell of a few parts."""
    iris = [graph.part(name) for name in names]
    numbers: dict[str, tuple[str, ...]] = {}
    for row in graph.rows("replaced-numbers", iris):
        numbers[row["part"]] = (*numbers.get(row["part"], ()), row["number"])
    parts = {
        part.part: replace(part, replaces=numbers.get(graph.part(part.part), ()))
        for part in _told(graph, BY_NAME[PARTS], "part-facts", iris)
    }
    models = {
        last(row["part"]): row_of(VehicleModel, row, model=last(row["model"])) for row in graph.rows("models", iris)
    }
    features = _by_part(_told(graph, BY_NAME[FEATURES], "feature-facts", iris))
    readings = _by_part(_told(graph, BY_NAME[READINGS], "reading-facts", iris))
    connectors = _by_part([row_of(Connector, row) for row in graph.rows("connectors", iris)])
    zones = _by_part(_zones(graph.rows("zones", iris)))
    found = {}
    for name in names:
        standing = current(readings[name])
        replaced = tuple(row for row in readings[name] if row not in standing and row.quantity != WITHDRAWN)
        found[name] = Side(
            parts[name], models.get(name), tuple(features[name]), standing, tuple(zones[name]),
            tuple(connectors[name]), replaced,
        )  # fmt: skip
    return found


def _by_part(rows: list[Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.part].append(row)
    return found


def _told(graph: Knowledge, sheet: Sheet, query: str, iris: list[str]) -> list[Any]:
    """Return the rows of a sheet from a query that gives one fact a row.

    A query with a column for each of twenty terms says the same (`features` beside `feature-facts`) and takes
    several times as long: the store plans each OPTIONAL anew around those before it.
    """
    return sheet_rows(sheet, ((row["thing"], row["term"], row["value"]) for row in graph.rows(query, iris)))


def _zones(rows: list[Row]) -> list[Zone]:
    """Return zones from rows of one corner each."""
    found: dict[tuple[str, str], tuple[Row, list[tuple[float, float]]]] = {}
    for row in rows:
        corners = found.setdefault((row["part"], row["zone"]), (row, []))[1]
        if "corner_x_mm" in row:
            corners.append((float(row["corner_x_mm"]), float(row["corner_y_mm"])))
    return [row_of(Zone, row, corners_mm=tuple(corners)) for row, corners in found.values()]


def ask_check(graph: Knowledge, donor: str, host: str | None = None) -> Known | tuple[Problem, ...]:
    """Ask the graph all that one check needs.

    `graph`: of the build. `donor`: id of the part that might go on: a donor, or an original (a part checked against
    itself). `host`: id of the part it would go on; None: the one the sheet names, or the only one. Returns Known: host,
    donor and original with features and standing readings in the order of their ids, every number the same float as in
    the sheets. Where an original stands as host it is both `host` and `original`. Returns tuple of Problem: when a part
    is not there or no host can be told.
    """
    places = ListedParts(graph)
    if donor not in places.rows:
        return (places.unknown(donor),)
    if places.origin[donor] == "host":
        what = f"{donor!r} is a host part: it stays on the vehicle"
        return (Problem(SHEET, places.row[donor], "origin", what, "Name a donor, or an original, to be checked on it"),)
    found = find_host(places, donor, host)
    if isinstance(found, Problem):
        return (found,)
    original = find_original(graph, places, donor, found, host)
    others = [name for name in dict.fromkeys((original, found)) if name is not None]
    graph.compare(donor, *(name for name in others if name != donor))
    sides = _sides(graph, list(dict.fromkeys((donor, *others))))
    return Known(
        host=sides[found],
        donor=sides[donor],
        original=sides[original] if original is not None else None,
        evidence=evidence_of(graph, sides[donor], [sides[name] for name in others]),
        forbids=forbids_of(graph, sides[donor].part, [sides[name].part for name in others]),
        one_drawing=one_drawing_of(graph, sides[donor], [sides[name] for name in others]),
    )


def known_of(build: Build, donor: str, host: str | None = None) -> Known:
    """Ask the graph of a build what is known about a donor on its host; build.toml may say how likely one drawing is.

    Raises
    ------
    FaultyInput
        Where the donor or host cannot be told from the sheets.
    """
    answer = ask_check(graph_of(build), donor, host)
    if isinstance(answer, tuple):
        raise FaultyInput(answer)
    said, one = build.settings, answer.one_drawing
    if said.same_drawing is not None:
        one = OneDrawing(said.same_drawing, "build.toml says so (same_drawing)", "build.toml")
    return replace(answer, one_drawing=replace(one, scatter_mm=said.scatter_mm))
