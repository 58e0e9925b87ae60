"""held_by.csv: what must be off first is there, and can come off."""

from __future__ import annotations

from collections.abc import Mapping, Set

from partkin.model.columns import PARTS
from partkin.sheets.findings import ProblemList
from partkin.sheets.records import Record, SheetTable
from partkin.sheets.references import find_cycles, shown

SHEET = "held_by.csv"
MOST_ROWS_TRIED = 5000


def check_holding(tables: Mapping[str, SheetTable], findings: ProblemList) -> None:
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
        if record["part"] == record["held_to"]:
            mend = "Name the other part or body that it is held to"
            findings.fault(SHEET, record["row"], "held_to", f"{record['part']} is held to itself", mend)
        for wrong in (name for clause in record.get("behind", ()) for name in clause if name not in known):
            what = f"{wrong} is neither a part nor a fastener"
            mend = f"{findings.meant(wrong, names)}Name what must be off first (; for all, | for either)"
            findings.fault(SHEET, record["row"], "behind", what, mend)
    if len(table.records) > MOST_ROWS_TRIED:
        return
    for cycle in find_cycles(_stuck(table, tables[PARTS])):
        row = next(first[name]["row"] for name in cycle if name in first)
        what = f"these wait for each other and never come off: {shown(cycle)}"
        mend = "Take out of behind what need not be off first, or write guess in certain where nobody looked"
        findings.fault(SHEET, row, "behind", what, mend)


def _check_id(record: Record, first: Record, others: Set[str], findings: ProblemList) -> None:
    name = record["fastener"]
    if record is first and name in others:
        what = f"{name} is a part too, and behind could mean either"
        findings.fault(SHEET, record["row"], "fastener", what, "Give the fastener another id")
    kinds = (first.get("kind"), record.get("kind"))
    if None not in kinds and kinds[0] != kinds[1]:
        what = f"{name} is a {kinds[0]} in row {first['row']} and a {kinds[1]} here"
        findings.fault(SHEET, record["row"], "kind", what, "Give another fastener another id, or mend the kind")


def _stuck(table: SheetTable, parts: SheetTable) -> dict[str, list[str]]:
    """Return what can never be undone, with what each waits for.

    A body is off when no fastener that is still on ties it to the vehicle, be it by way of other bodies. The
    vehicle is what nothing holds, and that belongs to nothing that is held. A guess never stops anything, so
    that only what is certain is a fault.
    """
    certain = [one for one in table.records if one.get("certain") != "guess"]
    held = {one["part"] for one in certain}
    belongs_to = {part["part"]: part["part_of"] for part in parts.records if "part_of" in part}
    vehicle = {one["held_to"] for one in certain if held.isdisjoint(_upwards(one["held_to"], belongs_to))}
    waits: dict[str, list[tuple[str, ...]]] = {}
    for one in certain:
        waits.setdefault(one["fastener"], []).extend(one.get("behind", ()))
    waited_for: dict[str, list[str]] = {}
    for fastener, clauses in waits.items():
        for name in (name for clause in clauses for name in clause):
            waited_for.setdefault(name, []).append(fastener)
    on = _tied(certain, vehicle) - vehicle
    looked_at = list(waits)
    while looked_at:
        while looked_at:
            fastener = looked_at.pop()
            if fastener in waits and all(
                any(name not in waits and name not in on for name in clause) for clause in waits[fastener]
            ):
                del waits[fastener]
                looked_at += waited_for.get(fastener, ())
        still_on = _tied([one for one in certain if one["fastener"] in waits], vehicle) - vehicle
        looked_at = [fastener for body in sorted(on - still_on) for fastener in waited_for.get(body, ())]
        on = still_on
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


def _upwards(name: str | None, belongs_to: Mapping[str, str]) -> list[str]:
    chain: list[str] = []
    while name is not None and name not in chain:
        chain.append(name)
        name = belongs_to.get(name)
    return chain


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
