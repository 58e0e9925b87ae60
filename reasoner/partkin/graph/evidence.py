"""What the rules found between a donor and the part it is compared with, in words, with their reasons."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

from partkin.graph.graph import Knowledge, rule_files
from partkin.graph.names import full, last
from partkin.model.build import Part
from partkin.model.known import Evidence, OneDrawing, Side
from partkin.tables.instruments import same_drawing

Told = tuple[str, tuple[str, ...]]
Step = tuple[str, str]


def _model(side: Side) -> str:
    if side.part.model:
        return f"model {side.part.model}"
    return "a model" if side.model else "a model that is not given"


def _years(side: Side) -> str:
    first, final = (side.model.first_year, side.model.last_year) if side.model else (None, None)
    if first is None:
        return f"until {final}"
    return f"from {first}" if final is None else f"{first} to {final}"


def _chain(graph: Knowledge, start: Part, end: Part) -> tuple[str, ...]:
    """Return the shortest chain of replaced numbers from one part to another part's number, in words."""
    rows = graph.rows("superseded")
    by_part: dict[str, list[Step]] = {}
    by_number: dict[str, list[Step]] = {}
    for row in rows:
        by = row.get("written", "a part without a number")
        step = (row["old"], f"{row['old_written']} is replaced by {by}, says {last(row['part'])}")
        by_part.setdefault(row["part"], []).append(step)
        if "number" in row:
            by_number.setdefault(row["number"], []).append(step)
    numbers = {row["part"]: row["number"] for row in rows if "number" in row}
    number_of_end = graph.number(end.part_number or "")
    first = graph.part(start.part)
    own = numbers.get(first) or graph.number(start.part_number or "")
    ways: list[tuple[Step, ...]] = [(step,) for step in (*by_part.get(first, ()), *by_number.get(own, ()))]
    seen: set[str] = set()
    while ways:
        found = next((way for way in ways if way[-1][0] == number_of_end), None)
        if found is not None:
            return tuple(says for _, says in reversed(found))
        seen.update(way[-1][0] for way in ways)
        ways = [(*way, step) for way in ways for step in by_number.get(way[-1][0], ()) if step[0] not in seen]
    return ()


def _by_numbers(kind: str, ours: Part, theirs: Part, label: str, graph: Knowledge) -> Told:
    """What part numbers say of a donor."""
    own, other = (f"{part.part} carries {part.part_number}" for part in (ours, theirs))
    if kind == "same part number":
        written = f" (written {theirs.part_number} on the {label})" * (ours.part_number != theirs.part_number)
        return f"the donor carries the same part number as the {label}: {ours.part_number}{written}", (own, other)
    if kind == "older part number":
        says = (
            f"the donor carries the older part number {ours.part_number}, which the {label}'s replaces: that the later "
            f"part goes on in place of the earlier one says nothing about the other way round"
        )
        return says, (own, *_chain(graph, theirs, ours))
    chain = _chain(graph, ours, theirs)
    if ours.part_number:
        says = f"the maker replaced the {label}'s part number {theirs.part_number} by the donor's, {ours.part_number}"
        return says, (other, *chain, own)
    says = f"the donor is listed as replacing the {label}'s part number {theirs.part_number}"
    return says, (other, *chain, f"{ours.part} has no number given")


def _by_name(kind: str, donor: Side, other: Side, label: str) -> Told:
    """What a name says that donor and other part share, and the model or platform that they do or do not."""
    ours, theirs = donor.part, other.part
    called = f"{ours.part} and {theirs.part} are both called {ours.name}"
    own, its = (side.model.platform if side.model else None for side in (donor, other))
    if kind == "looks alike":
        apart = f"the platforms differ ({own} and {its})" if own and its else "no shared platform is known"
        says = f"donor and {label} have the same name, {ours.name}, but {apart}: it may only look alike"
        return says, (called, apart)
    shared = f"{_model(donor)} and {_model(other)} share the platform {own}"
    if ours.model == theirs.model:
        shared = f"both are from {_model(donor)}"
    return f"donor and {label} have the same name, {ours.name}, and {shared}", (called, shared)


def _by_picture(kind: str, ours: Part, theirs: Part, label: str, graph: Knowledge) -> Told:
    """What photographs of the donor say."""
    likeness = kind.removeprefix("pictured ")
    says = f"in no view can the photograph of the donor be one of the pattern of the {label}"
    if likeness == "alike":
        says = f"a photograph of the donor may show the pattern of the {label}; a picture never tells the size"
    return says, tuple(
        f"{row.get('picture', 'a photograph')} was held against {theirs.part}: {likeness}"
        for row in graph.rows("looks", [graph.part(ours.part)])
        if last(row["beside"]) == theirs.part and row["likeness"] == full(f"partkin:likeness-{likeness}")
    )


def _told(kind: str, donor: Side, other: Side, graph: Knowledge) -> Told:
    """What a kind of evidence says, and its reasons."""
    ours, theirs, label = donor.part, other.part, _label(other.part)
    if kind.startswith("pictured"):
        return _by_picture(kind, ours, theirs, label, graph)
    if kind in ("carried over", "looks alike"):
        return _by_name(kind, donor, other, label)
    if kind == "other hand":
        says = f"the donor is a {ours.hand}-hand part and the {label} a {theirs.hand}-hand one"
        return says, tuple(f"{part.part} has the hand {part.hand}" for part in (ours, theirs))
    if kind == "other drive":
        says = f"the donor is for {ours.drive}-hand drive and the {label} for {theirs.drive}-hand drive"
        return says, tuple(f"{part.part} has the drive {part.drive}" for part in (ours, theirs))
    if kind == "other years":
        own, its = _years(donor), _years(other)
        says = f"the model years do not overlap: the donor's model was made {own}, the {label}'s {its}"
        return says, (f"{_model(donor)} was made {own}", f"{_model(other)} was made {its}")
    return _by_numbers(kind, ours, theirs, label, graph)


class Finding(NamedTuple):
    """What a property that a rule derives says of a donor; the vocabulary holds the same table."""

    kind: str
    strength: int
    rule: str


FINDINGS: dict[str, Finding] = {
    full("partkin:samePartNumberAs"): Finding("same part number", 1, "same-part-number"),
    full("partkin:replacesPart"): Finding("superseded", 2, "superseding"),
    full("partkin:carriedOverFrom"): Finding("carried over", 4, "carried-over"),
    full("partkin:looksLike"): Finding("looks alike", 5, "looks-alike"),
    full("partkin:picturedLike"): Finding("pictured alike", 5, "pictured-alike"),
    full("partkin:olderThan"): Finding("older part number", 0, "older-number"),
    full("partkin:otherHandThan"): Finding("other hand", 0, "other-hand"),
    full("partkin:otherDriveThan"): Finding("other drive", 0, "other-drive"),
    full("partkin:otherYearsThan"): Finding("other years", 0, "other-years"),
    full("partkin:picturedUnlike"): Finding("pictured different", 0, "pictured-different"),
}


@cache
def _source(rule: str) -> str:
    return next(file.header["source"] for file in rule_files() if file.name == rule)


def _label(part: Part) -> str:
    return "original" if part.origin == "original" else "host"


def evidence_of(graph: Knowledge, donor: Side, others: list[Side]) -> tuple[Evidence, ...]:
    """Return what speaks for a donor, strongest first, then what speaks against it.

    `others`: the original, then the host; of two that say the same the original is told.
    """
    by_name = {graph.part(side.part.part): side for side in others}
    found: dict[str, set[str]] = {}
    for row in graph.rows("evidence", [graph.part(donor.part.part)]):
        found.setdefault(row["found"], set()).add(row["other"])
    told: list[Evidence] = []
    if any(side.part.part == donor.part.part for side in others):
        itself, because = "the donor is the original itself", (f"{donor.part.part} is the part that came off",)
        told.append(Evidence("same part number", 1, True, itself, because, "by definition"))
    for term, finding in FINDINGS.items():
        iri = next((iri for iri in by_name if iri in found.get(term, ())), None)
        if iri is None:
            continue
        kind, strength, rule = finding
        says, reasons = _told(kind, donor, by_name[iri], graph)
        told.append(Evidence(kind, strength, strength > 0, says, reasons, _source(rule)))
    return tuple(told)


def one_drawing_of(graph: Knowledge, donor: Side, others: list[Side]) -> OneDrawing:
    """Return how likely the evidence makes it, before anything is read, that the donor was made to the same drawing."""
    by_name = {graph.part(side.part.part) for side in others}
    rows = graph.rows("drawing", [graph.part(donor.part.part)])
    found = {row["found"] for row in rows if row["other"] in by_name}
    other, same, carried = (full(f"partkin:{term}") in found for term in _DRAWING)
    if other:
        return same_drawing()["a size that differs"]
    if carried:
        return same_drawing()["same name and platform and alike in every size" if same else "same name and platform"]
    return same_drawing()["alike in every size" if same else "nothing of the kind"]


_DRAWING = ("otherSizeThan", "sameSizeAs", "carriedOverFrom")
_NEVER_JUDGED = (
    "never judged by geometry, only by the maker's part number for that very vehicle, and fitted by licensed practice"
)
_FORBIDDING = {
    "restraint": f"is a restraint part: {_NEVER_JUDGED}",
    "structural": "is structural: nothing on it is drilled, slotted, welded or straightened on this program's advice",
}


def forbids_of(graph: Knowledge, donor: Part, others: list[Part]) -> tuple[Evidence, ...]:
    """Return the duties that forbid: restraint (of any side), structural (of any side), and not known.

    The duty is not known only where it is empty on the donor and on the original (without an original: on the
    donor).
    """
    labels = {donor.part: "donor"}
    for part in others:
        labels.setdefault(part.part, _label(part))
    rows = {last(row["part"]): row.get("duty") for row in graph.rows("forbids", map(graph.part, labels))}
    source = _source("protected")
    told: list[Evidence] = []
    for duty, says in _FORBIDDING.items():
        for name, label in labels.items():
            if rows.get(name) == full(f"partkin:duty-{duty}"):
                because = (f"{name} has the duty {duty}",)
                told.append(Evidence(f"{duty} duty", 0, False, f"the {label} {name} {says}", because, source))
    counted = [name for name, label in labels.items() if label in ("donor", "original")]
    if all(name in rows and rows[name] is None for name in counted):
        says = f"the duty is not known ({' and '.join(counted)}): until it is, nothing may be cut"
        empty = tuple(f"{name} has no duty given" for name in counted)
        told.append(Evidence("unknown duty", 0, False, says, empty, source))
    return tuple(told)
