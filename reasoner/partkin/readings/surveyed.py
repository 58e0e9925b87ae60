"""Where the features of one part are, how surely, and which reading that rests on: for people and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from partkin.model.build import Build
from partkin.model.positions import Observed, Positions, likeliest
from partkin.model.problem import refused
from partkin.model.words import folded
from partkin.positions import adjust, ellipse, place_budget
from partkin.positions.asking_for import with_face
from partkin.positions.budget import Ellipse

MOST_SHARES = 3
LIKELY = 0.95


@dataclass(frozen=True, eq=False)
class Surveyed:
    """One part's positions with what people ask of them.

    `ellipses`: where each feature is with probability 0.95; `made_of`: by feature, readings with their share of
    its variance, the largest first.
    """

    name: str | None
    positions: Positions
    ellipses: dict[str, Ellipse]
    made_of: dict[str, tuple[tuple[str, float], ...]]


def survey(build: Build, part: str) -> Surveyed:
    """Adjust the standing readings of one part; FaultyInput: there is no such part, or it has no features."""
    own = build.must_have(part)
    if not build.features_of(part):
        mend = "List its holes, slots and studs in features.csv, a row each"
        raise refused("positions", 0, "part", f"{part} has no features", mend)
    found = adjust(part, build.features, build.readings)
    found = replace(found, missing=tuple(with_face(one, own.seen_from) for one in found.missing))
    ellipses = {name: ellipse(found, name, LIKELY) for name in found.features}
    return Surveyed(own.name, found, ellipses, {name: place_budget(found, name) for name in found.features})


def survey_json(surveyed: Surveyed) -> str:
    """The positions as JSON, the same bytes each time."""
    found = surveyed.positions
    tree = {
        "partkin": 1,
        "part": found.part,
        "dims": found.dims,
        "framed": found.framed,
        "handed": found.handed,
        "chi_square": _rounded(found.chi_square, 4),
        "degrees_of_freedom": found.degrees_of_freedom,
        "agree": found.agree,
        "widened": _rounded(found.sigma0, 4),
        "features": [_feature_tree(surveyed, number, name) for number, name in enumerate(found.features)],
        "readings": [_reading_tree(row) for row in found.observed],
        "suspects": [
            {"reading": s.reading, "w": _rounded(s.w, 3), "off_by_mm": _rounded(s.off_by_mm, 3), "says": s.says}
            for s in found.suspects
        ],
        "missing": [
            {
                "what": m.what,
                "reading": {"part": m.part, "quantity": m.quantity, "from": m.from_feature, "to": m.to_feature},
                "says": m.says,
            }
            for m in found.missing
        ],
        "layouts": [[[_rounded(value, 3) for value in place] for place in layout.tolist()] for layout in found.layouts],
        "notes": list(found.notes),
    }
    return json.dumps(tree, indent=1, ensure_ascii=False) + "\n"


def _rounded(value: float, places: int) -> float:
    return round(float(value), places) + 0.0


def _feature_tree(surveyed: Surveyed, number: int, name: str) -> dict[str, Any]:
    found, at = surveyed.positions, surveyed.ellipses[name]
    place = [_rounded(value, 3) for value in found.xyz_mm[number]]
    return {
        "feature": name,
        "x_mm": place[0],
        "y_mm": place[1],
        "z_mm": place[2] if found.dims == 3 else None,
        "how": "adjusted" if name in found.adjusted else "as stated",
        "within_mm": _rounded(found.half_width_mm[number], 3),
        "ellipse": {
            "p": at.p, "long_mm": _rounded(at.long_mm, 3), "short_mm": _rounded(at.short_mm, 3),
            "angle_deg": _rounded(at.angle_deg, 1),
            "height_mm": None if at.height_mm is None else _rounded(at.height_mm, 3),
        },
        "made_of": [{"reading": row, "share": _rounded(share, 4)} for row, share in surveyed.made_of[name]],
    }  # fmt: skip


def _reading_tree(row: Observed) -> dict[str, Any]:
    return {
        "reading": row.reading, "kind": row.kind, "from": row.from_feature, "to": row.to_feature,
        "value_mm": _rounded(row.value_mm, 3), "sigma_mm": _rounded(row.sigma_mm, 4),
        "adjusted_mm": _rounded(row.adjusted_mm, 3), "residual_mm": _rounded(row.residual_mm, 3),
        "redundancy": _rounded(row.redundancy, 4), "w": _rounded(row.w, 3), "used": row.used,
    }  # fmt: skip


def survey_text(surveyed: Surveyed) -> str:
    """The positions as lines of text, ending in a newline."""
    return "\n".join(_lines(surveyed)) + "\n"


def _lines(surveyed: Surveyed) -> Iterator[str]:
    found = surveyed.positions
    named = f" ({surveyed.name})" if surveyed.name else ""
    yield from folded(f"{found.part}{named}: {_summary(found)}", "", "    ")
    if found.features:
        yield ""
        yield from _places(surveyed)
    if any(row.kind == "distance" for row in found.observed):
        yield ""
        yield from _readings(found.observed)
    first, more = likeliest(found.suspects)
    yield from _section("Suspect", [*(s.says for s in first), *([f"{more}."] if more else [])])
    yield from _section("Not known", [m.says for m in found.missing])
    yield from _section("Notes", list(found.notes))


def _summary(found: Positions) -> str:
    placed, loose = len(found.features), len({m.from_feature for m in found.missing if m.what.startswith("where ")})
    words = [f"{placed} feature{'s' if placed != 1 else ''} placed"]
    if loose:
        words.append(f"{loose} without a place")
    distances = sum(row.kind == "distance" and row.used for row in found.observed)
    if distances:
        stated = " with the stated places" if found.framed else ""
        words.append(f"{distances} distance{'s' if distances != 1 else ''} adjusted{stated}")
        spare = found.degrees_of_freedom
        words.append(f"{spare} of the readings to spare" if spare else "none to spare, so nothing shows a slip")
    if len(found.layouts) > 1:
        words.append(f"{len(found.layouts)} layouts agree with the readings; the likeliest is shown")
    if not found.handed:
        words.append("left and right are open")
    if not found.framed:
        words.append(f"frame: {found.features[0]} at 0, {found.features[1]} on the x axis")
    return "; ".join(words)


def _places(surveyed: Surveyed) -> Iterator[str]:
    found = surveyed.positions
    width = max(7, *(len(name) for name in found.features))
    height = f"{'z':>9}" if found.dims == 3 else ""
    yield f"Places (mm), and the ellipse that holds each in {100 * LIKELY:.0f} of 100 cases"
    yield (f"  {'feature':<{width}} {'x':>9} {'y':>9} {height} {'long':>6} {'short':>6} {'angle':>6}  rests on")
    for number, name in enumerate(found.features):
        at = surveyed.ellipses[name]
        cells = "".join(f" {round(float(value), 2) + 0.0:9.2f}" for value in found.xyz_mm[number])
        angle = f"{at.angle_deg:6.0f}" if at.long_mm - at.short_mm > 0.005 else f"{'':>6}"
        rests = _rests_on(surveyed, name)
        yield f"  {name:<{width}}{cells}  {at.long_mm:6.2f} {at.short_mm:6.2f} {angle}  {rests}"


def _rests_on(surveyed: Surveyed, name: str) -> str:
    if name not in surveyed.positions.adjusted:
        number = surveyed.positions.features.index(name)
        half_mm = float(surveyed.positions.half_width_mm[number])
        return f"stated, within {half_mm:g} mm" if half_mm else "stated, exact"
    parts = [f"{100 * share:.0f} % {row}" for row, share in surveyed.made_of[name][:MOST_SHARES] if share >= 0.005]
    more = len(surveyed.made_of[name]) > MOST_SHARES
    return ", ".join(parts) + (" and others" if more and parts else "")


def _readings(observed: Sequence[Observed]) -> Iterator[str]:
    rows = [row for row in observed if row.kind == "distance"]
    width = max(7, *(len(row.reading) for row in rows))
    ends = max(4, *(len(f"{row.from_feature} to {row.to_feature}") for row in rows))
    yield "Distances between centres (mm); checked: how much of a slip of this one the others would show"
    yield f"  {'reading':<{width}} {'':<{ends}} {'read':>9} {'adjusted':>9} {'off':>6} {'checked':>8}  {'w':>5}"
    for row in rows:
        between = f"{row.from_feature} to {row.to_feature}"
        left = "" if row.used else "  left out"
        yield (
            f"  {row.reading:<{width}} {between:<{ends}} {row.value_mm:9.2f} {row.adjusted_mm:9.2f} "
            f"{round(row.residual_mm, 2) + 0.0:6.2f} {100 * row.redundancy:6.0f} %  {round(row.w, 1) + 0.0:5.1f}{left}"
        )


def _section(title: str, texts: Sequence[str]) -> Iterator[str]:
    if texts:
        yield from ("", title)
    for text in texts:
        yield from folded(text, "  - ", "    ")
