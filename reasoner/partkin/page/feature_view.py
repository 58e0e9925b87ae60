"""The holes, studs and clips of a part, listed on the page: several alike at once, with ids proposed."""

from __future__ import annotations

import json
from urllib.parse import urlencode

from markupsafe import Markup

from partkin.model.build import Build, Feature
from partkin.model.problem import FaultyInput, refused
from partkin.model.words import KINDS
from partkin.page.desk import Desk
from partkin.page.frame import Typed, address, cells_of, whole
from partkin.page.starting import FEATURES, next_for
from partkin.readings.typed_cells import through_cells
from partkin.sheets.cells import numbered_on
from partkin.sheets.changing import append_all

MOST_ALIKE = 40
FIELDS = ("count", "kind", "feature", "across_mm", "length_mm", "angle_deg", "through", "float_mm", "goes_on")
LABELS = {
    "count": "How many alike", "kind": "What it is", "feature": "Name of the first", "across_mm": "Across, mm",
    "length_mm": "Long, end to end, mm", "angle_deg": "It points at (to ID), or degrees",
    "through": "Thread, or what goes through: M6, or 6", "float_mm": "Moves each way by, mm", "goes_on": "Goes on",
    "thread": "Thread, or what goes through", "fastener_mm": "Thread, or what goes through", "part": "Part",
}  # fmt: skip
KIND_WORDS = {
    "stud": "stud: threaded pin", "hole": "hole", "slot": "slot: a long hole",
    "tapped hole": "tapped hole: threaded",
    "captive nut": "captive nut: caged", "peg": "peg: a plain pin", "peg hole": "peg hole",
    "clip": "clip", "clip hole": "clip hole",
}  # fmt: skip
THREADED = ("stud", "tapped hole", "captive nut")
# Which kinds a field is for; the others are for all.
FOR_KINDS = {
    "across_mm": tuple(kind for kind in KINDS if kind not in THREADED), "length_mm": ("slot",), "angle_deg": ("slot",),
    "through": (*THREADED, "hole", "slot"), "float_mm": ("captive nut",),
}  # fmt: skip
USUAL = {"host": ("stud", "F1"), "original": ("hole", "o1"), "donor": ("hole", "a")}
IN_ORDER = "in order"


def features_page(
    desk: Desk, part: str, donor: str | None, typed: Typed | None = None, refused: Markup | None = None
) -> str | None:
    """Return the page that lists what a part is held by; None: there is no such part.

    `donor`: whose way leads here. `typed`, `refused`: what was typed, and why it was not taken.
    """
    build = desk.sheets().build
    found = build.part(part) if build is not None else None
    if build is None or found is None:
        return None
    there = build.features_of(part)
    fixings = build.features_of(found.takes_place_of) if found.takes_place_of else ()
    known = {"": "not known", IN_ORDER: "the next, in this order"}
    # Where the vehicle cannot be got at, the part that came off shows where its fixings were.
    original = build.original_on(part) if found.origin == "host" else None
    instead = original.part if original is not None else None
    # The form is given out as for the last one, with the next free name.
    usual, first = USUAL[found.origin or "donor"]
    given = {"kind": there[-1].kind if there else usual, "count": "1", **(typed or {})}
    given["feature"] = given.get("feature") or _next_name(first, there)
    return whole(
        desk, "features.html", part, build=build, part=found, donor=donor, there=there, refused=refused,
        typed=given, labels=LABELS, kind_words=KIND_WORDS, sizes=tuple(FOR_KINDS),
        kinds=json.dumps(FOR_KINDS), fixings=fixings and {**known, **{one.feature: one.feature for one in fixings}},
        instead=instead, instead_at=features_address(instead, donor) if instead else "",
    )  # fmt: skip


def features_address(part: str, donor: str | None) -> str:
    """Return where the features of a part are listed, on the way to a donor."""
    return address("part", part, "features") + (f"?{urlencode({'donor': donor})}" if donor else "")


def _next_name(first: str, there: tuple[Feature, ...]) -> str:
    taken = {feature.feature for feature in there}
    return numbered_on(there[-1].feature if there else first, 1, taken)[0]


def add_features(desk: Desk, part: str, typed: Typed) -> str:
    """Add the rows of features that are alike, and return the address to go on at.

    FaultyInput: they cannot be meant so, or the sheets hold faults; nothing was changed.
    """
    build = desk.build()
    cells = cells_of(typed, FIELDS)
    there = build.features_of(part)
    said = cells["count"] or "1"
    if not (said.isascii() and said.isdigit() and 1 <= int(said[:4]) <= MOST_ALIKE):
        raise refused(FEATURES, 0, "count", f'"{said}" is not 1 to {MOST_ALIKE}', "Write a number")
    count = int(said)
    taken = {feature.feature for feature in there}
    first = cells["feature"] or _next_name(USUAL["donor"][1], there)
    if first in taken:
        mend = f"{_next_name(first, there)} is free"
        raise refused(FEATURES, 0, "feature", f"{first} is listed already", mend)
    names = numbered_on(first, count, taken)
    alike = {name: cells[name] for name in ("kind", "across_mm", "length_mm", "angle_deg", "float_mm") if cells[name]}
    sizes = _through(cells)
    rows = [{"part": part, "feature": name, **alike, **sizes} for name in names]
    for row, fixing in zip(rows, _fixings(build, part, cells["goes_on"], count), strict=False):
        row["goes_on"] = fixing
    try:
        append_all(desk.folder, {FEATURES: rows})
    except FaultyInput as fault:
        # The same of each one that is alike.
        once = {(one.column, one.what): one for one in reversed(fault.problems)}
        raise FaultyInput(tuple(reversed(once.values()))) from None
    donor = typed.get("donor") or None
    if typed.get("do") == "more":
        return features_address(part, donor)
    now = desk.build()
    return next_for(now, donor) if donor and now.part(donor) else address("part", part)


def _through(cells: dict[str, str]) -> dict[str, str]:
    """What goes through a hole; of what has a thread itself a bare number is its own diameter."""
    found = through_cells(cells["through"])
    if cells["kind"] in THREADED and "fastener_mm" in found:
        return {"across_mm": found["fastener_mm"]}
    return found


def _fixings(build: Build, part: str, said: str, count: int) -> tuple[str, ...]:
    """What each of the new features goes on, as far as that was said."""
    if said != IN_ORDER:
        return (said,) if said and count == 1 else ()
    own = build.part(part)
    fixings = build.features_of(own.takes_place_of) if own is not None and own.takes_place_of else ()
    taken = {feature.goes_on for feature in build.features_of(part)}
    return tuple(fixing.feature for fixing in fixings if fixing.feature not in taken)
