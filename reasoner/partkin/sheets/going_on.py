"""`goes_on`: whether the fixing that a feature is meant for is one of the part's host."""

from __future__ import annotations

from collections.abc import Mapping

from partkin.model.columns import FEATURES, PARTS
from partkin.sheets.findings import ProblemList
from partkin.sheets.records import Record, SheetTable

MOST_ORIGINALS = 20


def check_goes_on(tables: Mapping[str, SheetTable], findings: ProblemList) -> None:
    """Note fixings that are not the host's, and two features of one part that go on the same fixing."""
    parts = {part["part"]: part for part in tables[PARTS].records if "part" in part}
    fixings: dict[str, dict[str, None]] = {}
    for feature in tables[FEATURES].records:
        if "part" in feature and "feature" in feature:
            fixings.setdefault(feature["part"], {})[feature["feature"]] = None
    originals: dict[str, list[str]] = {}
    for name, part in parts.items():
        if part.get("origin") == "original" and "takes_place_of" in part:
            originals.setdefault(part["takes_place_of"], []).append(name)
    whole = tables[PARTS].whole and tables[FEATURES].whole
    taken: dict[tuple[str, str], Record] = {}
    for feature in tables[FEATURES].records:
        owner = parts.get(feature.get("part", ""))
        if owner is None or "goes_on" not in feature or _is_host(owner, feature, findings):
            continue
        key = (owner["part"], feature["goes_on"])
        if key in taken:
            other = taken[key]
            what = f"{other.get('feature')} of {key[0]} goes on {key[1]} already (row {other['row']})"
            mend = "Leave one of the two empty, or mend it"
            findings.fault(FEATURES, feature["row"], "goes_on", what, mend)
            continue
        taken[key] = feature
        if whole:
            _check_fixing(owner, feature, parts, fixings, originals, findings)


def _is_host(part: Record, feature: Record, findings: ProblemList) -> bool:
    if part.get("origin") != "host":
        return False
    what = f"{part['part']} is a host: its fixings go on nothing"
    mend = "Leave it empty here, and write it on the donor's or the original's feature"
    findings.fault(FEATURES, feature["row"], "goes_on", what, mend)
    return True


def _check_fixing(
    part: Record,
    feature: Record,
    parts: Mapping[str, Record],
    fixings: Mapping[str, dict[str, None]],
    originals: Mapping[str, list[str]],
    findings: ProblemList,
) -> None:
    if "takes_place_of" not in part:
        if "takes_place_of" not in part.get("faulty", ()):
            what = f"{part['part']} takes the place of nothing yet, so {feature['goes_on']} is not looked up"
            mend = f"Fill takes_place_of in {PARTS}"
            findings.warn(FEATURES, feature["row"], "goes_on", what, mend)
        return
    # The original's holes stand in for a host that was not measured, so their ids name fixings too.
    sides = [part["takes_place_of"]]
    if host := parts.get(sides[0], {}).get("takes_place_of"):
        sides.append(host)
    sides += [name for side in tuple(sides) for name in originals.get(side, ())[:MOST_ORIGINALS]]
    sides = [side for side in dict.fromkeys(sides) if side != part["part"]]
    wanted = feature["goes_on"]
    if any(wanted in fixings.get(side, ()) for side in sides):
        return
    measured = [side for side in sides if fixings.get(side)]
    if measured:
        names = (name for side in measured for name in fixings[side])
        what = f"{' and '.join(sides[:3])} {'has' if len(sides) == 1 else 'have'} no fixing {wanted}"
        mend = f"{findings.meant(wanted, names)}Name a feature of {sides[0]}, or leave it empty"
        findings.fault(FEATURES, feature["row"], "goes_on", what, mend)
