"""The holes, studs and clips of a part, listed on the page: several alike at once, with ids proposed."""

from __future__ import annotations

import json
from urllib.parse import urlencode

from partkin import sheets
from partkin.measuring.typed_cells import through_cells
from partkin.model.build import Build, Feature, Part
from partkin.model.problem import FaultyInput, Problem
from partkin.model.words import KINDS
from partkin.page.desk import Desk
from partkin.page.fields import Typed, cells_of, choice, line
from partkin.page.frame import address, whole
from partkin.page.markup import Html, tag, text
from partkin.page.starting import FEATURES, next_for
from partkin.report.html_donor import called, size_words
from partkin.report.html_pieces import name as named
from partkin.report.html_pieces import table
from partkin.sheets.proposing import numbered_on

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
    desk: Desk, part: str, donor: str | None, typed: Typed | None = None, refused: Html | None = None
) -> str | None:
    """Return the page that lists what a part is held by; None: there is no such part.

    Parameters
    ----------
    desk
    part
    donor
        Whose way leads here; None: none.
    typed, refused
        What was typed, and why it was not taken.
    """
    build = desk.sheets().build
    found = build.part(part) if build is not None else None
    if build is None or found is None:
        return None
    there = build.features_of(part)
    heading = "What holds it on" if found.origin == "host" else "Its holes, pins and clips"
    main = [
        tag("h1", heading), tag("p", Html(called(build, part)), ". ", _hint(found)),
        _instead(build, found, donor), refused, _form(build, found, donor, _given(found, there, typed or {})),
        Html(_listed(there)) if there else None,
    ]  # fmt: skip
    return whole(desk, part, text(main), ("holes.js",))


def _hint(part: Part) -> str:
    if part.origin == "host":
        return "List what stays on the vehicle: studs, nuts and holes that the part is held by."
    if part.origin == "original":
        return "Its holes show where the vehicle's studs were, to within their own play."
    return "As far as the seller or a picture tells; what is not known stays empty."


def _instead(build: Build, part: Part, donor: str | None) -> Html | None:
    """Where the vehicle cannot be got at: the part that came off shows where its fixings were."""
    came_off = [one for one in build.parts if one.origin == "original" and one.takes_place_of == part.part]
    if part.origin != "host" or not came_off:
        return None
    href = features_address(came_off[0].part, donor)
    link = tag("a", "list the holes of ", Html(called(build, came_off[0].part)), href=href)
    return tag("p", "The vehicle cannot be got at? Then ", link, ".")


def features_address(part: str, donor: str | None) -> str:
    """Return where the features of a part are listed, on the way to a donor."""
    return address("part", part, "features") + (f"?{urlencode({'donor': donor})}" if donor else "")


def _given(part: Part, there: tuple[Feature, ...], typed: Typed) -> Typed:
    """What the form is given out with: as the last one, and the next free name."""
    usual, first = USUAL[part.origin or "donor"]
    kind = there[-1].kind if there else usual
    return {"kind": kind, "count": "1", **typed, "feature": typed.get("feature") or _next_name(first, there)}


def _next_name(first: str, there: tuple[Feature, ...]) -> str:
    taken = {feature.feature for feature in there}
    return numbered_on(there[-1].feature if there else first, 1, taken)[0]


def _form(build: Build, part: Part, donor: str | None, typed: Typed) -> Html:
    boxes = [
        line("count", LABELS["count"], typed, inputmode="numeric", autofocus=True),
        choice("kind", LABELS["kind"], dict(KIND_WORDS), typed),
        line("feature", LABELS["feature"], typed, required=True),
        *(line(name, LABELS[name], typed) for name in FOR_KINDS),
    ]
    fixings = build.features_of(part.takes_place_of) if part.takes_place_of else ()
    if fixings:
        known = {"": "not known", IN_ORDER: "the next, in this order"}
        boxes.append(choice("goes_on", LABELS["goes_on"], {**known, **{f.feature: f.feature for f in fixings}}, typed))
    keys = [tag("button", "Add, and another kind", name="do", value="more")]
    keys.append(tag("button", "Add; that is all", name="do", value="done"))
    way = tag("input", type_="hidden", name="donor", value=donor or "")
    return tag(
        "form", way, tag("div", *boxes, class_="fields"), tag("p", *keys, class_="keys"), method="post",
        action=address("part", part.part, "features"), autocomplete="off", id_="feature",
        data_kinds=json.dumps(FOR_KINDS),
    )  # fmt: skip


def _listed(there: tuple[Feature, ...]) -> str:
    rows = []
    for one in there:
        through = one.thread or (f"{one.fastener_mm:g} mm" if one.fastener_mm is not None else "")
        rows.append([named(one.feature), named(size_words(one)), named(through), named(one.goes_on or "")])
    return table("Listed so far", [("Name", False), ("What", False), ("Thread", False), ("Goes on", False)], rows)


def add_features(desk: Desk, part: str, typed: Typed) -> str:
    """Add the rows of features that are alike, and return the address to go on at.

    Raises
    ------
    FaultyInput
        They cannot be meant so, or the sheets hold faults; nothing was changed.
    """
    build = desk.build()
    cells = cells_of(typed, FIELDS)
    there = build.features_of(part)
    count = _count(cells["count"])
    taken = {feature.feature for feature in there}
    first = cells["feature"] or _next_name(USUAL["donor"][1], there)
    if first in taken:
        mend = f"{_next_name(first, there)} is free"
        raise FaultyInput((Problem(FEATURES, 0, "feature", f"{first} is listed already", mend),))
    names = numbered_on(first, count, taken)
    alike = {name: cells[name] for name in ("kind", "across_mm", "length_mm", "angle_deg", "float_mm") if cells[name]}
    sizes = _through(cells)
    rows = [{"part": part, "feature": name, **alike, **sizes} for name in names]
    for row, fixing in zip(rows, _fixings(build, part, cells["goes_on"], count), strict=False):
        row["goes_on"] = fixing
    try:
        sheets.append_rows(desk.folder, FEATURES, rows)
    except FaultyInput as fault:
        # The same of each one that is alike.
        once = {(one.column, one.what): one for one in reversed(fault.problems)}
        raise FaultyInput(tuple(reversed(once.values()))) from None
    donor = typed.get("donor") or None
    if typed.get("do") == "more":
        return features_address(part, donor)
    now = desk.build()
    return next_for(now, donor) if donor and now.part(donor) else address("part", part)


def _count(text: str) -> int:
    if not text:
        return 1
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= MOST_ALIKE):
        raise FaultyInput((Problem(FEATURES, 0, "count", f'"{text}" is not 1 to {MOST_ALIKE}', "Write a number"),))
    return int(text)


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
