"""What the rules found between a donor and the part it is compared with, in words, with their reasons."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from partkin.graph.graph import Knowledge, rule_files
from partkin.graph.names import full, last
from partkin.model.build import Part, VehicleModel
from partkin.model.known import Evidence, OneDrawing, Side
from partkin.tables.making import same_drawing

Told = tuple[str, tuple[str, ...]]
Step = tuple[str, str]


@dataclass(frozen=True)
class ComparedDonor:
    """A donor beside the original (or the host) that it is compared with."""

    donor: Side
    other: Side
    label: str
    graph: Knowledge


def _model(model: VehicleModel | None, part: Part) -> str:
    return f"model {part.model}" if part.model else ("a model" if model else "a model that is not given")


def _same_number(pair: ComparedDonor) -> Told:
    ours, theirs = pair.donor.part.part_number, pair.other.part.part_number
    written = "" if ours == theirs else f" (written {theirs} on the {pair.label})"
    return (
        f"the donor carries the same part number as the {pair.label}: {ours}{written}",
        (f"{pair.donor.part.part} carries {ours}", f"{pair.other.part.part} carries {theirs}"),
    )


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


def _superseded(pair: ComparedDonor) -> Told:
    donor, other = pair.donor.part, pair.other.part
    number = donor.part_number or "the donor"
    return (
        f"the maker replaced the {pair.label}'s part number {other.part_number} by the donor's, {number}"
        if donor.part_number
        else f"the donor is listed as replacing the {pair.label}'s part number {other.part_number}",
        (
            f"{other.part} carries {other.part_number}",
            *_chain(pair.graph, donor, other),
            f"{donor.part} carries {donor.part_number}" if donor.part_number else f"{donor.part} has no number given",
        ),
    )


def _older(pair: ComparedDonor) -> Told:
    donor, other = pair.donor.part, pair.other.part
    return (
        f"the donor carries the older part number {donor.part_number}, which the {pair.label}'s replaces: "
        f"that the later part goes on in place of the earlier one says nothing about the other way round",
        (f"{donor.part} carries {donor.part_number}", *_chain(pair.graph, other, donor)),
    )


def _carried_over(pair: ComparedDonor) -> Told:
    donor, other = pair.donor, pair.other
    if donor.part.model == other.part.model:
        shared = f"both are from {_model(donor.model, donor.part)}"
    else:
        platform = donor.model.platform if donor.model else None
        shared = (
            f"{_model(donor.model, donor.part)} and {_model(other.model, other.part)} share the platform {platform}"
        )
    return (
        f"donor and {pair.label} have the same name, {donor.part.name}, and {shared}",
        (f"{donor.part.part} and {other.part.part} are both called {donor.part.name}", shared),
    )


def _looks_alike(pair: ComparedDonor) -> Told:
    donor, other = pair.donor, pair.other
    ours = donor.model.platform if donor.model else None
    theirs = other.model.platform if other.model else None
    apart = f"the platforms differ ({ours} and {theirs})" if ours and theirs else "no shared platform is known"
    return (
        f"donor and {pair.label} have the same name, {donor.part.name}, but {apart}: it may only look alike",
        (f"{donor.part.part} and {other.part.part} are both called {donor.part.name}", apart),
    )


def _pictured_alike(pair: ComparedDonor) -> Told:
    return (
        f"a photograph of the donor may show the pattern of the {pair.label}; a picture never tells the size",
        _pictures(pair, "alike"),
    )


def _pictured_unlike(pair: ComparedDonor) -> Told:
    return (
        f"in no view can the photograph of the donor be one of the pattern of the {pair.label}",
        _pictures(pair, "different"),
    )


def _pictures(pair: ComparedDonor, likeness: str) -> tuple[str, ...]:
    donor, other = pair.donor.part.part, pair.other.part.part
    rows = pair.graph.rows("looks", [pair.graph.part(donor)])
    return tuple(
        f"{row.get('picture', 'a photograph')} was held against {other}: {likeness}"
        for row in rows if last(row["beside"]) == other and row["likeness"] == full(f"partkin:likeness-{likeness}")
    )  # fmt: skip


def _other_hand(pair: ComparedDonor) -> Told:
    ours, theirs = pair.donor.part.hand, pair.other.part.hand
    return (
        f"the donor is a {ours}-hand part and the {pair.label} a {theirs}-hand one",
        (f"{pair.donor.part.part} has the hand {ours}", f"{pair.other.part.part} has the hand {theirs}"),
    )


def _other_drive(pair: ComparedDonor) -> Told:
    ours, theirs = pair.donor.part.drive, pair.other.part.drive
    return (
        f"the donor is for {ours}-hand drive and the {pair.label} for {theirs}-hand drive",
        (f"{pair.donor.part.part} has the drive {ours}", f"{pair.other.part.part} has the drive {theirs}"),
    )


def _years(model: VehicleModel | None) -> str:
    first = model.first_year if model else None
    final = model.last_year if model else None
    if first is None:
        return f"until {final}"
    return f"from {first}" if final is None else f"{first} to {final}"


def _other_years(pair: ComparedDonor) -> Told:
    ours, theirs = _years(pair.donor.model), _years(pair.other.model)
    return (
        f"the model years do not overlap: the donor's model was made {ours}, the {pair.label}'s {theirs}",
        (
            f"{_model(pair.donor.model, pair.donor.part)} was made {ours}",
            f"{_model(pair.other.model, pair.other.part)} was made {theirs}",
        ),
    )


@dataclass(frozen=True)
class Finding:
    """What a property that a rule derives says of a donor; the vocabulary holds the same table."""

    kind: str
    strength: int
    rule: str
    tell: Callable[[ComparedDonor], Told]


FINDINGS: dict[str, Finding] = {
    full(f"partkin:{term}"): finding
    for term, finding in {
        "samePartNumberAs": Finding("same part number", 1, "same-part-number", _same_number),
        "replacesPart": Finding("superseded", 2, "superseding", _superseded),
        "carriedOverFrom": Finding("carried over", 4, "carried-over", _carried_over),
        "looksLike": Finding("looks alike", 5, "looks-alike", _looks_alike),
        "picturedLike": Finding("pictured alike", 5, "pictured-alike", _pictured_alike),
        "olderThan": Finding("older part number", 0, "older-number", _older),
        "otherHandThan": Finding("other hand", 0, "other-hand", _other_hand),
        "otherDriveThan": Finding("other drive", 0, "other-drive", _other_drive),
        "otherYearsThan": Finding("other years", 0, "other-years", _other_years),
        "picturedUnlike": Finding("pictured different", 0, "pictured-different", _pictured_unlike),
    }.items()
}


@cache
def _source(rule: str) -> str:
    return next(file.header["source"] for file in rule_files() if file.name == rule)


def _label(part: Part) -> str:
    return "original" if part.origin == "original" else "host"


def evidence_of(graph: Knowledge, donor: Side, others: list[Side]) -> tuple[Evidence, ...]:
    """Return what speaks for a donor, strongest first, then what speaks against it.

    Parameters
    ----------
    others
        The original, then the host; of two that say the same the original is told.
    """
    by_name = {graph.part(side.part.part): side for side in others}
    found: dict[str, set[str]] = {}
    for row in graph.rows("evidence", [graph.part(donor.part.part)]):
        found.setdefault(row["found"], set()).add(row["other"])
    told: list[Evidence] = []
    if any(side.part.part == donor.part.part for side in others):
        told.append(
            Evidence(
                "same part number",
                1,
                True,
                "the donor is the original itself",
                (f"{donor.part.part} is the part that came off",),
                "by definition",
            )
        )
    for term, finding in FINDINGS.items():
        iri = next((iri for iri in by_name if iri in found.get(term, ())), None)
        if iri is None:
            continue
        other = by_name[iri]
        says, because = finding.tell(ComparedDonor(donor, other, _label(other.part), graph))
        told.append(
            Evidence(finding.kind, finding.strength, finding.strength > 0, says, because, _source(finding.rule))
        )
    return tuple(told)


def one_drawing_of(graph: Knowledge, donor: Side, others: list[Side]) -> OneDrawing:
    """Return how likely the evidence makes it, before anything is read, that the donor was made to the same drawing."""
    by_name = {graph.part(side.part.part) for side in others}
    found = {
        row["found"] for row in graph.rows("drawing", [graph.part(donor.part.part)]) if row["other"] in by_name
    }  # fmt: skip
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
        told.append(
            Evidence(
                "unknown duty",
                0,
                False,
                f"the duty is not known ({' and '.join(counted)}): until it is, nothing may be cut",
                tuple(f"{name} has no duty given" for name in counted),
                source,
            )
        )
    return tuple(told)
