"""held_by.csv: what must be off first is there, and can come off."""

from __future__ import annotations

from collections.abc import Mapping, Set

from partkin.sheets.columns import PARTS
from partkin.sheets.cycles import find_cycles, shown
from partkin.sheets.findings import Findings
from partkin.sheets.records import Record, Table

SHEET = "held_by.csv"
MOST_ROWS_TRIED = 5000


def check_holding(tables: Mapping[str, Table], findings: Findings) -> None:
    """Note names in `behind` that are nothing, and fasteners that wait for each other."""
    table = tables[SHEET]
    if not table.whole or not tables[PARTS].whole:
        return
    parts = {part["part"]: None for part in tables[PARTS].records}
    bodies = {one[side]: None for one in table.records for side in ("part", "held_to")}
    first: dict[str, Record] = {}
    for record in table.records:
        first.setdefault(record["fastener"], record)
    names = tuple(dict.fromkeys((*first, *parts, *bodies)))
    known = frozenset(names)
    for record in table.records:
        _check_id(record, first[record["fastener"]], parts.keys() | bodies.keys(), findings)
        for wrong in (name for clause in record.get("behind", ()) for name in clause if name not in known):
            what = f"{wrong} is neither a part nor a fastener"
            mend = f"{findings.meant(wrong, names)}Name what must be off first (; for all, | for either)"
            findings.fault(SHEET, record["row"], "behind", what, mend)
    if len(table.records) > MOST_ROWS_TRIED:
        return
    for cycle in find_cycles(_stuck(table)):
        row = next(first[name]["row"] for name in cycle if name in first)
        what = f"these wait for each other and never come off: {shown(cycle)}"
        mend = "Take out of behind what need not be off first, or write guess in certain where nobody looked"
        findings.fault(SHEET, row, "behind", what, mend)


def _check_id(record: Record, first: Record, others: Set[str], findings: Findings) -> None:
    name = record["fastener"]
    if record is first and name in others:
        what = f"{name} is a part too, and behind could mean either"
        findings.fault(SHEET, record["row"], "fastener", what, "Give the fastener another id")
    kinds = (first.get("kind"), record.get("kind"))
    if None not in kinds and kinds[0] != kinds[1]:
        what = f"{name} is a {kinds[0]} in row {first['row']} and a {kinds[1]} here"
        mend = "Give another fastener another id, or mend the kind"
        findings.fault(SHEET, record["row"], "kind", what, mend)


def _stuck(table: Table) -> dict[str, list[str]]:
    """Return what can never be undone, with what each waits for.

    A body is off when no fastener that is still on ties it to the vehicle, be it by way of other bodies. The
    vehicle is what nothing holds. A guess never stops anything, so that only what is certain is a fault.
    """
    certain = [one for one in table.records if one.get("certain") != "guess"]
    held = {one["part"] for one in certain}
    vehicle = {one["held_to"] for one in certain} - held
    waits: dict[str, list[tuple[str, ...]]] = {}
    for one in certain:
        waits.setdefault(one["fastener"], []).extend(one.get("behind", ()))
    freed = True
    on: set[str] = set()
    while freed:
        ties = [one for one in certain if one["fastener"] in waits]
        on = _tied(ties, vehicle) - vehicle
        free = [
            fastener
            for fastener, clauses in waits.items()
            if all(any(name not in waits and name not in on for name in clause) for clause in clauses)
        ]
        freed = bool(free)
        for fastener in free:
            del waits[fastener]
    stuck = {
        fastener: [clause[0] for clause in clauses if all(name in waits or name in on for name in clause)]
        for fastener, clauses in waits.items()
    }
    for one in certain:
        if one["fastener"] in waits:
            for body in (one["part"], one["held_to"]):
                if body in on:
                    stuck.setdefault(body, []).append(one["fastener"])
    return stuck


def _tied(ties: list[Record], vehicle: set[str]) -> set[str]:
    beside: dict[str, list[str]] = {}
    for one in ties:
        beside.setdefault(one["part"], []).append(one["held_to"])
        beside.setdefault(one["held_to"], []).append(one["part"])
    found, waiting = set(vehicle), list(vehicle)
    while waiting:
        for body in beside.get(waiting.pop(), ()):
            if body not in found:
                found.add(body)
                waiting.append(body)
    return found
