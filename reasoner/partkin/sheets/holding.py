"""held_by.csv: what must be off first is there, and can come off."""

from __future__ import annotations

from collections.abc import Mapping

from partkin.sheets.columns import PARTS
from partkin.sheets.cycles import find_cycles, shown
from partkin.sheets.findings import Findings
from partkin.sheets.records import Record, Table

SHEET = "held_by.csv"


def check_holding(tables: Mapping[str, Table], findings: Findings) -> None:
    """Note names in `behind` that are nothing, and fasteners that wait for each other."""
    table = tables[SHEET]
    if not table.whole or not tables[PARTS].whole:
        return
    fasteners = {one["fastener"]: one for one in table.records}
    parts = {part["part"]: None for part in tables[PARTS].records}
    bodies = {one[side]: None for one in table.records for side in ("part", "held_to") if side in one}
    names = tuple(dict.fromkeys((*fasteners, *parts, *bodies)))
    known = frozenset(names)
    for record in table.records:
        if record["fastener"] in parts:
            what = f"{record['fastener']} is a part too, and behind could mean either"
            findings.fault(SHEET, record["row"], "fastener", what, "Give the fastener another id")
        for wrong in (name for clause in record.get("behind", ()) for name in clause if name not in known):
            what = f"{wrong} is neither a part nor a fastener"
            mend = f"{findings.meant(wrong, names)}Name what must be off first (; for all, | for either)"
            findings.fault(SHEET, record["row"], "behind", what, mend)
    for cycle in find_cycles(_stuck(fasteners)):
        first = next(name for name in cycle if name in fasteners)
        what = f"these wait for each other and never come off: {shown(cycle)}"
        mend = "Take out of behind what need not be off first, or write guess in certain where nobody looked"
        findings.fault(SHEET, fasteners[first]["row"], "behind", what, mend)


def _stuck(fasteners: Mapping[str, Record]) -> dict[str, list[str]]:
    """Return what can never be undone, with what each waits for.

    A part is off when every fastener that holds it is undone. A guess never stops anything.
    """
    holding: dict[str, list[str]] = {}
    waits: dict[str, list[tuple[str, ...]]] = {}
    for name, record in fasteners.items():
        if record.get("certain") != "guess":
            waits[name] = list(record.get("behind", ()))
            if "part" in record:
                holding.setdefault(record["part"], []).append(name)
    for part, held in holding.items():
        waits.setdefault(part, []).extend((name,) for name in held)
    stuck = dict(waits)
    freed = True
    while freed:
        free = [
            name
            for name, clauses in stuck.items()
            if all(any(other not in stuck for other in clause) for clause in clauses)
        ]
        freed = bool(free)
        for name in free:
            del stuck[name]
    return {
        name: [clause[0] for clause in clauses if all(other in stuck for other in clause)]
        for name, clauses in stuck.items()
    }
