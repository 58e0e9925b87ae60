"""What the rules found between a donor and the part it is compared with, in words, with their reasons."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from partkin.graph.graph import Knowledge, rule_files
from partkin.graph.names import full, last
from partkin.model.build import Part
from partkin.model.known import Evidence, OneDrawing, Side
from partkin.tables.instruments import same_drawing

Told = tuple[str, tuple[str, ...]]
Step = tuple[str, str]


@dataclass(frozen=True)
class ComparedDonor:
    """A donor beside the original (or the host) that it is compared with, with what their evidence is told in."""

    donor: Side
    other: Side
    label: str
    graph: Knowledge

    @property
    def ours(self) -> Part:
        """The donor's own row."""
        return self.donor.part

    @property
    def theirs(self) -> Part:
        """The row of the part that it is compared with."""
        return self.other.part

    @property
    def carry(self) -> tuple[str, ...]:
        """The part numbers of both."""
        return tuple(f"{part.part} carries {part.part_number}" for part in (self.ours, self.theirs))

    @property
    def called(self) -> str:
        """The name that both have."""
        return f"{self.ours.part} and {self.theirs.part} are both called {self.ours.name}"

    @property
    def shared(self) -> str:
        """The model or the platform that both are of."""
        if self.ours.model == self.theirs.model:
            return f"both are from {_model(self.donor)}"
        platform = self.donor.model.platform if self.donor.model else None
        return f"{_model(self.donor)} and {_model(self.other)} share the platform {platform}"

    @property
    def apart(self) -> str:
        """What is known of their platforms, where they do not share one."""
        ours, theirs = (side.model.platform if side.model else None for side in (self.donor, self.other))
        return f"the platforms differ ({ours} and {theirs})" if ours and theirs else "no shared platform is known"

    def pictures(self, likeness: str) -> tuple[str, ...]:
        """The photographs of the donor that say so."""
        rows = self.graph.rows("looks", [self.graph.part(self.ours.part)])
        return tuple(
            f"{row.get('picture', 'a photograph')} was held against {self.theirs.part}: {likeness}" for row in rows
            if last(row["beside"]) == self.theirs.part and row["likeness"] == full(f"partkin:likeness-{likeness}")
        )  # fmt: skip


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


def _same_number(pair: ComparedDonor) -> Told:
    ours, theirs = pair.ours.part_number, pair.theirs.part_number
    written = "" if ours == theirs else f" (written {theirs} on the {pair.label})"
    return f"the donor carries the same part number as the {pair.label}: {ours}{written}", pair.carry


def _superseded(pair: ComparedDonor) -> Told:
    ours, theirs = pair.ours, pair.theirs
    says = f"the donor is listed as replacing the {pair.label}'s part number {theirs.part_number}"
    if ours.part_number:
        says = (
            f"the maker replaced the {pair.label}'s part number {theirs.part_number} by the donor's, {ours.part_number}"
        )
    own = pair.carry[0] if ours.part_number else f"{ours.part} has no number given"
    return says, (pair.carry[1], *_chain(pair.graph, ours, theirs), own)


def _older(pair: ComparedDonor) -> Told:
    says = (
        f"the donor carries the older part number {pair.ours.part_number}, which the {pair.label}'s replaces: that the "
        f"later part goes on in place of the earlier one says nothing about the other way round"
    )
    return says, (pair.carry[0], *_chain(pair.graph, pair.theirs, pair.ours))


def _carried_over(pair: ComparedDonor) -> Told:
    says = f"donor and {pair.label} have the same name, {pair.ours.name}, and {pair.shared}"
    return says, (pair.called, pair.shared)


def _looks_alike(pair: ComparedDonor) -> Told:
    says = f"donor and {pair.label} have the same name, {pair.ours.name}, but {pair.apart}: it may only look alike"
    return says, (pair.called, pair.apart)


def _pictured_alike(pair: ComparedDonor) -> Told:
    says = f"a photograph of the donor may show the pattern of the {pair.label}; a picture never tells the size"
    return says, pair.pictures("alike")


def _pictured_unlike(pair: ComparedDonor) -> Told:
    says = f"in no view can the photograph of the donor be one of the pattern of the {pair.label}"
    return says, pair.pictures("different")


def _other_hand(pair: ComparedDonor) -> Told:
    says = f"the donor is a {pair.ours.hand}-hand part and the {pair.label} a {pair.theirs.hand}-hand one"
    return says, tuple(f"{part.part} has the hand {part.hand}" for part in (pair.ours, pair.theirs))


def _other_drive(pair: ComparedDonor) -> Told:
    says = f"the donor is for {pair.ours.drive}-hand drive and the {pair.label} for {pair.theirs.drive}-hand drive"
    return says, tuple(f"{part.part} has the drive {part.drive}" for part in (pair.ours, pair.theirs))


def _other_years(pair: ComparedDonor) -> Told:
    ours, theirs = _years(pair.donor), _years(pair.other)
    says = f"the model years do not overlap: the donor's model was made {ours}, the {pair.label}'s {theirs}"
    return says, (f"{_model(pair.donor)} was made {ours}", f"{_model(pair.other)} was made {theirs}")


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
        other = by_name[iri]
        says, reasons = finding.tell(ComparedDonor(donor, other, _label(other.part), graph))
        kind, strength = finding.kind, finding.strength
        told.append(Evidence(kind, strength, strength > 0, says, reasons, _source(finding.rule)))
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
