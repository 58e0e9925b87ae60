"""Ids that name something in another row or sheet: whether it is there, leads back to nothing, and can come off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set

from partkin.model.columns import BY_NAME, FEATURES, PARTS, READINGS
from partkin.model.words import AIRBAG_ZONES, SIDES
from partkin.sheets.findings import ProblemList
from partkin.sheets.records import Record, SheetTable
from partkin.sheets.sense import BETWEEN_TWO, OF_ONE_FEATURE


def find_cycles(leads_to: Mapping[str, Sequence[str]]) -> list[list[str]]:
    """Return cycles of a graph, at least one where there are any, no two with a node in common.

    Examples
    --------
    >>> find_cycles({"a": ["b"], "b": ["c"], "c": ["b"], "d": ["a"]})
    [['b', 'c']]
    """
    found: list[list[str]] = []
    taken: set[str] = set()
    done: set[str] = set()
    for start in leads_to:
        if start in done:
            continue
        path, on_path = [start], {start: 0}
        waiting = [iter(leads_to[start])]
        while path:
            after = next(waiting[-1], None)
            if after is None:
                done.add(path[-1])
                del on_path[path.pop()]
                waiting.pop()
            elif after in on_path:
                cycle = path[on_path[after] :]
                if taken.isdisjoint(cycle):
                    found.append(cycle)
                    taken.update(cycle)
            elif after in leads_to and after not in done:
                on_path[after] = len(path)
                path.append(after)
                waiting.append(iter(leads_to[after]))
    return found


def shown(cycle: Sequence[str]) -> str:
    """Write a cycle out, back to its beginning.

    Examples
    --------
    >>> shown(["a", "b"])
    'a, b, a'
    """
    return ", ".join((*cycle, cycle[0]))


MOST_ORIGINALS = 20
Tables = Mapping[str, SheetTable]


def check_references(tables: Tables, findings: ProblemList) -> None:
    """Note every id that names nothing, and every chain of ids that leads back to its beginning."""
    for name in BY_NAME:
        _check_ids(tables, tables[name], findings)
    _check_parts(tables, findings)
    _check_looks(tables, findings)
    _check_feature_ends(tables, findings)
    _check_directions(tables[FEATURES], findings)
    _check_corrections(tables[READINGS], tables[PARTS], findings)
    _check_feature_zones(tables, findings)
    _check_airbags(tables, findings)
    _check_goes_on(tables, findings)


def _things(table: SheetTable, column: str) -> dict[str, list[str]]:
    """The ids that each part has in a sheet, each once, in their order."""
    found: dict[str, dict[str, None]] = {}
    for row in table.records:
        if "part" in row and column in row:
            found.setdefault(row["part"], {})[row[column]] = None
    return {part: list(names) for part, names in found.items()}


def _check_goes_on(tables: Tables, findings: ProblemList) -> None:
    """Note fixings that are not the host's, and two features of one part that go on the same fixing."""
    parts = {part["part"]: part for part in tables[PARTS].records if "part" in part}
    whole = tables[PARTS].whole and tables[FEATURES].whole
    taken: dict[tuple[str, str], Record] = {}
    for feature in tables[FEATURES].records:
        owner = parts.get(feature.get("part", ""))
        if owner is None or "goes_on" not in feature:
            continue
        key, row = (owner["part"], feature["goes_on"]), feature["row"]
        if owner.get("origin") == "host":
            mend = "Leave it empty here, and write it on the donor's or the original's feature"
            findings.fault(FEATURES, row, "goes_on", f"{key[0]} is a host: its fixings go on nothing", mend)
        elif key in taken:
            other = taken[key]
            what = f"{other.get('feature')} of {key[0]} goes on {key[1]} already (row {other['row']})"
            findings.fault(FEATURES, row, "goes_on", what, "Leave one of the two empty, or mend it")
        else:
            taken[key] = feature
    fixings = _things(tables[FEATURES], "feature") if whole else {}
    originals: dict[str, list[str]] = {}
    for name, part in parts.items():
        if part.get("origin") == "original" and "takes_place_of" in part:
            originals.setdefault(part["takes_place_of"], []).append(name)
    for (name, wanted), feature in taken.items() if whole else ():
        part, row = parts[name], feature["row"]
        if "takes_place_of" not in part:
            if "takes_place_of" not in part.get("faulty", ()):
                what = f"{name} takes the place of nothing yet, so {wanted} is not looked up"
                findings.warn(FEATURES, row, "goes_on", what, f"Fill takes_place_of in {PARTS}")
            continue
        # The original's holes stand in for a host that was not measured, so their ids name fixings too.
        sides = [part["takes_place_of"]]
        if host := parts.get(sides[0], {}).get("takes_place_of"):
            sides.append(host)
        sides += [other for side in tuple(sides) for other in originals.get(side, ())[:MOST_ORIGINALS]]
        sides = [side for side in dict.fromkeys(sides) if side != name]
        measured = [fixing for side in sides for fixing in fixings.get(side, ())]
        if measured and wanted not in measured:
            what = f"{' and '.join(sides[:3])} {'has' if len(sides) == 1 else 'have'} no fixing {wanted}"
            mend = f"{findings.meant(wanted, measured)}Name a feature of {sides[0]}, or leave it empty"
            findings.fault(FEATURES, row, "goes_on", what, mend)


def _check_ids(tables: Tables, table: SheetTable, findings: ProblemList) -> None:
    for column in table.sheet.columns:
        if column.refers_to is None:
            continue
        target = tables[column.refers_to]
        if not target.present or not target.whole:
            continue
        named = target.sheet.key[0]
        ids = tuple(dict.fromkeys(record[named] for record in target.records))
        known = frozenset(ids)
        for record in table.records:
            wrong = record.get(column.name)
            if wrong is None or wrong in known:
                continue
            what = f"{wrong} is not in {target.sheet.name}"
            near = findings.meant(wrong, ids)
            if not column.loosely:
                mend = f"{near}Add its row there, or mend the name here"
                findings.fault(table.sheet.name, record["row"], column.name, what, mend)
            elif near:
                mend = f"{near}If not, nothing needs doing: it is taken as something of the vehicle"
                findings.warn(table.sheet.name, record["row"], column.name, what, mend)


def _check_looks(tables: Tables, findings: ProblemList) -> None:
    parts = _by_id(tables[PARTS])
    for look in tables["looks.csv"].records:
        beside = parts.get(look.get("beside", ""))
        if beside is not None and beside.get("origin") == "donor":
            what = f"{beside['part']} is a donor, which no other donor has to look like"
            mend = "Name the host part, or the original, that the photograph was held against"
            findings.fault("looks.csv", look["row"], "beside", what, mend)


def _check_parts(tables: Tables, findings: ProblemList) -> None:
    parts = _by_id(tables[PARTS])
    for part in parts.values():
        wanted = parts.get(part.get("takes_place_of", ""))
        if wanted is not None and wanted is not part and wanted.get("origin") == "donor":
            what = f"{wanted['part']} is a donor, which has no place to take"
            mend = "Name the host part whose fixings this one goes on (or the original that came off)"
            findings.fault(PARTS, part["row"], "takes_place_of", what, mend)
    for column, mend in (
        ("part_of", "Break the chain: a part belongs to something larger than itself"),
        ("takes_place_of", "Name the host part whose fixings it goes on"),
    ):
        chains = {
            name: [part[column]]
            for name, part in parts.items()
            if column in part and not (column == "takes_place_of" and part.get("origin") == "host")
        }
        for cycle in find_cycles(chains):
            what = f"{column} leads back to its beginning: {shown(cycle)}"
            findings.fault(PARTS, parts[cycle[0]]["row"], column, what, mend)
    _check_replaces(tables[PARTS], findings)


def _check_airbags(tables: Tables, findings: ProblemList) -> None:
    named = [zone for zone in tables["zones.csv"].records if "part" in zone and "zone" in zone]
    seams = {zone["part"]: zone for zone in reversed(named) if zone.get("kind") in AIRBAG_ZONES}
    for part in tables[PARTS].records:
        seam = seams.get(part.get("part", "")) if part.get("airbag") is False else None
        if seam is not None:
            what = f"airbag is no, and zones.csv gives {part['part']} the {seam['kind']} {seam['zone']}"
            findings.fault(PARTS, part["row"], "airbag", what, "Write yes, or take the zone out where it is none")


def _check_replaces(table: SheetTable, findings: ProblemList) -> None:
    first: dict[str, Record] = {}
    written: dict[str, str] = {}
    chains: dict[str, list[str]] = {}
    for part in table.records:
        if "part_number" not in part or "replaces" not in part:
            continue
        number = _plain(part["part_number"])
        first.setdefault(number, part)
        for text in (part["part_number"], *part["replaces"]):
            written.setdefault(_plain(text), text)
        chains.setdefault(number, []).extend(_plain(text) for text in part["replaces"])
    for cycle in find_cycles(chains):
        names = shown([written[number] for number in cycle])
        what = f"the part numbers supersede each other in a ring: {names}"
        mend = "Leave out the older one's claim: a number replaces earlier numbers only"
        findings.fault(PARTS, first[cycle[0]]["row"], "replaces", what, mend)


def _plain(number: str) -> str:
    return "".join(letter for letter in number.casefold() if letter not in " .-")


def _check_feature_ends(tables: Tables, findings: ProblemList) -> None:
    features, parts = tables[FEATURES], tables[PARTS]
    if not features.whole or not parts.whole:
        return
    known_parts = {part["part"] for part in parts.records}
    kinds = {(one["part"], one["feature"]): one.get("kind") for one in features.records}
    of_part = _things(features, "feature")
    for reading, column, feature in _ends(tables[READINGS]):
        part = reading.get("part", "")
        if part not in known_parts:
            continue
        if (part, feature) not in kinds:
            what = f"{part} has no feature {feature}"
            near = findings.meant(feature, of_part.get(part, ()))
            findings.fault(READINGS, reading["row"], column, what, f"{near}Add it to {FEATURES}, or mend it here")
        elif reading["quantity"] == "length" and kinds[part, feature] not in ("slot", None):
            what = f"the length of {feature} was read, and it is a {kinds[part, feature]}, not a slot"
            findings.fault(READINGS, reading["row"], "quantity", what, "Write across, or mend the feature's kind")


def _check_directions(table: SheetTable, findings: ProblemList) -> None:
    if not table.whole:
        return
    of_part = _things(table, "feature")
    for one in table.records:
        at, others = one.get("angle_deg"), [name for name in of_part[one["part"]] if name != one["feature"]]
        if not isinstance(at, str) or at in others:
            continue
        wrong = f"{one['feature']} points at itself" if at == one["feature"] else f"{one['part']} has no feature {at}"
        near = findings.meant(at, others)
        mend = f"{near}Name another feature of {one['part']}, or write degrees"
        findings.fault(FEATURES, one["row"], "angle_deg", wrong, mend)


def _ends(readings: SheetTable) -> Iterator[tuple[Record, str, str]]:
    """Each reading with the features that it names, and the column of each."""
    for reading in readings.records:
        quantity = reading.get("quantity")
        if quantity in SIDES:
            line = dict.fromkeys(reading.get("to", "").split())
            yield from ((reading, "to", name) for name in line)
        columns = ("from", "to") if quantity in BETWEEN_TWO else ("from",) * (quantity in (*OF_ONE_FEATURE, *SIDES))
        yield from ((reading, column, reading[column]) for column in columns if column in reading)


def _check_corrections(table: SheetTable, parts: SheetTable, findings: ProblemList) -> None:
    if not table.whole or not parts.whole:
        return
    known = {part["part"] for part in parts.records}
    # Where a row names no part that there is, its reading may be the one that was meant.
    adrift = {one["reading"] for one in table.records if one["part"] not in known}
    by_id = {(one["part"], one["reading"]): one for one in table.records}
    ids = _things(table, "reading")
    corrected: dict[tuple[str, str], Record] = {}
    chains: dict[str, dict[str, list[str]]] = {}
    for reading in table.records:
        wrong = reading.get("corrects")
        if wrong is None or wrong in adrift or reading["part"] not in known:
            continue
        key = (reading["part"], wrong)
        if key not in by_id:
            what = f"{reading['part']} has no reading {wrong}"
            near = findings.meant(wrong, ids[reading["part"]])
            mend = f"{near}Name the reading that this one replaces, of the same part"
            findings.fault(READINGS, reading["row"], "corrects", what, mend)
            continue
        chains.setdefault(reading["part"], {})[reading["reading"]] = [wrong]
        if key in corrected:
            what = f"{wrong} is corrected in row {corrected[key]['row']} already, and both are used"
            findings.warn(READINGS, reading["row"], "corrects", what, "Let the later one correct the earlier one")
        corrected.setdefault(key, reading)
    for part, leads_to in chains.items():
        for cycle in find_cycles(leads_to):
            what = f"the readings of {part} correct each other in a ring: {shown(cycle)}"
            mend = "Let the first reading correct nothing"
            findings.fault(READINGS, by_id[part, cycle[0]]["row"], "corrects", what, mend)


def _check_feature_zones(tables: Tables, findings: ProblemList) -> None:
    zones = tables["zones.csv"]
    if not zones.whole:
        return
    drawn = _things(zones, "zone")
    for feature in tables[FEATURES].records:
        part, zone = feature.get("part"), feature.get("zone")
        if part is None or zone is None or zone in drawn.get(part, ()):
            continue
        what = f"{part} has no zone {zone} in zones.csv; the feature counts as protected all the same"
        near = findings.meant(zone, drawn.get(part, ()))
        findings.warn(FEATURES, feature["row"], "zone", what, f"{near}Draw the zone, or mend its name here")


def _by_id(table: SheetTable) -> dict[str, Record]:
    by_id: dict[str, Record] = {}
    for record in table.records:
        if "part" in record:
            by_id.setdefault(record["part"], record)
    return by_id


HELD_BY = "held_by.csv"
MOST_ROWS_TRIED = 5000


def check_holding(tables: Tables, findings: ProblemList) -> None:
    """Note names in `behind` that are nothing, and fasteners that wait for each other."""
    table = tables[HELD_BY]
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
            findings.fault(HELD_BY, record["row"], "held_to", f"{record['part']} is held to itself", mend)
        for wrong in (name for clause in record.get("behind", ()) for name in clause if name not in known):
            what = f"{wrong} is neither a part nor a fastener"
            mend = f"{findings.meant(wrong, names)}Name what must be off first (; for all, | for either)"
            findings.fault(HELD_BY, record["row"], "behind", what, mend)
    if len(table.records) > MOST_ROWS_TRIED:
        return
    for cycle in find_cycles(_stuck(table, tables[PARTS])):
        row = next(first[name]["row"] for name in cycle if name in first)
        what = f"these wait for each other and never come off: {shown(cycle)}"
        mend = "Take out of behind what need not be off first, or write guess in certain where nobody looked"
        findings.fault(HELD_BY, row, "behind", what, mend)


def _check_id(record: Record, first: Record, others: Set[str], findings: ProblemList) -> None:
    name = record["fastener"]
    if record is first and name in others:
        what = f"{name} is a part too, and behind could mean either"
        findings.fault(HELD_BY, record["row"], "fastener", what, "Give the fastener another id")
    kinds = (first.get("kind"), record.get("kind"))
    if None not in kinds and kinds[0] != kinds[1]:
        what = f"{name} is a {kinds[0]} in row {first['row']} and a {kinds[1]} here"
        findings.fault(HELD_BY, record["row"], "kind", what, "Give another fastener another id, or mend the kind")


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
