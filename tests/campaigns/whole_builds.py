"""Random builds of which everything is known: hosts, originals, donors, readings and all the other sheets. Invented.

`partial_builds` leaves cells and rows out of these. So each partial build has at least one allowed way of filling in
what it lacks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

from partkin.model.words import AIRBAG_ZONES

Row = dict[str, str]
Sheets = dict[str, list[Row]]
Point = tuple[float, float, float]

THREADS = {"M5x0.8": 5.0, "M6x1": 6.0, "M8x1.25": 8.0, "1/4-20": 6.35}
# What a donor may hold each kind of fixing by.
MATES = {
    "stud": ("hole", "hole", "slot"),
    "captive nut": ("hole", "hole", "slot"),
    "tapped hole": ("hole", "slot"),
    "hole": ("hole", "hole", "stud", "captive nut", "slot"),
    "slot": ("stud", "hole"),
    "peg": ("peg hole", "slot"),
    "peg hole": ("peg",),
    "clip": ("clip hole",),
    "clip hole": ("clip",),
}
HOST_KINDS = ("stud",) * 6 + ("captive nut",) * 3 + ("hole",) * 3 + tuple(MATES)
ERRORS_MM = ("0", "0.1", "0.5", "0.5", "1", "2")
TOOLS = (("tape", 1.0), ("tape", 2.0), ("steel rule", 0.5), ("caliper", 0.05), ("seller", 3.0))
UNITS = (("mm", 1.0, 2), ("mm", 1.0, 2), ("mm", 1.0, 2), ("cm", 0.1, 3), ("in", 1 / 25.4, 4))
MATERIALS = ("ABS", "PP", "steel", "aluminium", "leather-covered foam")


@dataclass
class Pattern:
    """Where a part's features are, in the frame of its host, and what they are."""

    ids: list[str]
    kinds: list[str]
    points: list[Point]
    axes: list[Point]
    on: list[str]
    threads: list[str]


@dataclass
class Whole:
    """A build while it is drawn up."""

    draw: Random
    sheets: Sheets = field(default_factory=dict)

    def add(self, sheet: str, **cells: object) -> None:
        """Add a row; None is an empty cell."""
        row = {name.rstrip("_"): "" if value is None else str(value) for name, value in cells.items()}
        self.sheets.setdefault(sheet, []).append(row)

    def maybe(self, share: float, value: object) -> object:
        """The value, in so many of all cases; else an empty cell."""
        return value if self.draw.random() < share else ""


def whole(seed: int) -> Sheets:
    """Draw up the build of a number: the rows of each sheet, every cell as text.

    Parameters
    ----------
    seed

    Returns
    -------
    dict of sheet name to rows; `build.toml` is left to `partial_builds`
    """
    build = Whole(Random(f"whole build {seed}"))
    for model in ("velt", "kurm"):
        build.add("models.csv", model=model, maker="Ostrane", platform="OP4", first_year=2014, last_year=2019)
    hosts = 1 if build.draw.random() < 0.8 else 2
    for n in range(1, hosts + 1):
        _add_place(build, n)
    _add_money(build)
    _add_holdings(build)
    return build.sheets


def _add_place(build: Whole, n: int) -> None:
    """One host with its originals and donors."""
    draw, host = build.draw, f"frame-{n}"
    in_space = draw.random() < 0.15
    fixings = _fixings(draw, in_space)
    duty = draw.choice(("trim", "trim", "body", "structural"))
    _add_part(build, host, "host", "", duty, seen_from="outside")
    _add_features(build, host, fixings, in_space, within="", mirrored=False)
    assembly = draw.random() < 0.2
    if assembly:
        _add_part(build, f"dash-old-{n}", "original", host, duty)
    for k in range(draw.choice((0, 1, 1, 1, 2))):
        name = f"old-{n}{'ab'[k]}"
        within = f"dash-old-{n}" if assembly else ""
        pattern = _mated(draw, fixings, draw.choice((0.0, 0.2)), same_ids=draw.random() < 0.5)
        _add_part(build, name, "original", host, duty, part_of=within, seen_from="outside")
        _add_features(build, name, pattern, in_space, within, mirrored=False)
        _add_lines(build, name, pattern)
    if assembly:
        _add_part(build, f"dash-new-{n}", "donor", host, duty)
    for k in range(draw.choice((1, 1, 1, 1, 2, 3))):
        name = f"top-{n}{'abc'[k]}"
        out_mm = draw.choice((0.0, 0.2, 0.5, 1.0, 3.0, 30.0))
        pattern = _mated(draw, fixings, out_mm, same_ids=False)
        face = "inside" if draw.random() < 0.15 and not in_space else "outside"
        within = f"dash-new-{n}" if assembly and k == 0 else ""
        its_duty = "restraint" if draw.random() < 0.04 else duty
        _add_part(build, name, "donor", host, its_duty, part_of=within, seen_from=face)
        _add_features(build, name, pattern, in_space, within, mirrored=face == "inside")
        _add_lines(build, name, pattern)


def _fixings(draw: Random, in_space: bool) -> Pattern:
    count = draw.choice((1, 2, 2, 3, 3, 4, 4, 4, 5, 6, 8))
    points: list[Point] = []
    # Now and then fixings in one line, or all on a rectangle's corners: more than one pairing is the same then.
    line, corners = draw.random() < 0.1, draw.random() < 0.1
    while len(points) < count:
        x, y = draw.uniform(0, 900), 0.0 if line else draw.uniform(0, 300)
        if corners and count <= 4:
            x, y = ((0, 0), (600, 0), (600, 200), (0, 200))[len(points)]
        z = draw.choice((0.0, 0.0, 40.0, draw.uniform(-60, 60))) if in_space else 0.0
        if all(math.dist((x, y), other[:2]) > 25 for other in points):
            points.append((x, y, z))
    up = (0.0, 0.0, 1.0)
    axes = [draw.choice((up, up, (0.0, 0.6, 0.8))) if in_space else up for _ in points]
    kinds = [draw.choice(HOST_KINDS) for _ in points]
    threads = [draw.choice(("M6x1", "M6x1", *THREADS)) for _ in points]
    return Pattern([f"F{k}" for k in range(1, count + 1)], kinds, points, axes, [""] * count, threads)


def _mated(draw: Random, fixings: Pattern, out_mm: float, same_ids: bool) -> Pattern:
    """What goes on the fixings: out by so much, one missing now and then, and sometimes a hole or two more."""
    made = Pattern([], [], [], [], [], [])
    for k, fixing in enumerate(fixings.ids):
        if draw.random() < 0.08:
            continue
        x, y, z = (c + draw.uniform(-out_mm, out_mm) for c in fixings.points[k])
        made.ids.append(fixing if same_ids else "abcdefgh"[k])
        made.kinds.append(draw.choice(MATES[fixings.kinds[k]]))
        made.points.append((x, y, z if fixings.points[k][2] else 0.0))
        made.axes.append(fixings.axes[k])
        made.on.append(fixing)
        made.threads.append(fixings.threads[k])
    for k in range(draw.choice((0, 0, 0, 1, 2))):
        made.ids.append(f"x{k}")
        made.kinds.append(draw.choice(("hole", "slot", "peg", "clip hole")))
        made.points.append((draw.uniform(0, 900), draw.uniform(0, 300), 0.0))
        made.axes.append((0.0, 0.0, 1.0))
        made.on.append("")
        made.threads.append("M6x1")
    return made


def _add_part(build: Whole, name: str, origin: str, host: str, duty: str, **more: str) -> None:
    draw = build.draw
    build.add(
        "parts.csv", part=name, name=f"invented {name}", model=draw.choice(("velt", "kurm")),
        part_number=build.maybe(0.3, f"OV{draw.randint(10, 14)}-A"), replaces=build.maybe(0.05, "OV9-A"),
        origin=origin, takes_place_of=host, part_of=more.get("part_of", ""),
        hand=build.maybe(0.2, draw.choice(("left", "left", "right"))), drive=build.maybe(0.2, "left"),
        seen_from=more.get("seen_from", "outside"), duty=duty,
        airbag=draw.choice(("no", "no", "no", "yes")), material=draw.choice(MATERIALS),
        thickness_mm=draw.choice((1.5, 2.5, 3)), mass_kg=draw.choice((0.6, 6.5, 30)),
        finish=build.maybe(0.5, draw.choice(("black", "grey"))),
        flex_mm=build.maybe(0.1, draw.choice((1, 4))), flex_in_plane=build.maybe(0.1, "yes"),
    )  # fmt: skip


def _add_features(build: Whole, part: str, pattern: Pattern, in_space: bool, within: str, mirrored: bool) -> None:
    """Rows of features.csv in the part's own frame, and readings of what they say."""
    draw = build.draw
    turn = math.radians(draw.choice((0.0, 90.0, draw.uniform(-180, 180))))
    shift = (draw.uniform(-200, 200), draw.uniform(-200, 200))
    sign = -1.0 if mirrored else 1.0

    def laid(p: Point, by: tuple[float, float]) -> Point:
        x = math.cos(turn) * p[0] - math.sin(turn) * p[1] + by[0]
        y = math.sin(turn) * p[0] + math.cos(turn) * p[1] + by[1]
        return sign * x, y, p[2]

    places = [laid(p, shift) for p in pattern.points]
    error = draw.choice(ERRORS_MM)
    for k, feature in enumerate(pattern.ids):
        x, y, z = (round(c + draw.uniform(-1, 1) * float(error), 2) for c in places[k])
        axis = laid(pattern.axes[k], (0.0, 0.0)) if in_space and pattern.axes[k] != (0.0, 0.0, 1.0) else ("", "", "")
        need = draw.choice(("must", "must", "should", "spare")) if pattern.on[k] or not k else "spare"
        build.add(
            "features.csv", part=part, feature=feature, kind=pattern.kinds[k],
            **_sizes(draw, pattern.kinds[k], pattern.threads[k]), x_mm=x, y_mm=y, z_mm=z if in_space else "",
            plus_minus_mm=error, goes_on=pattern.on[k], need=need, zone=build.maybe(0.03, "S1"),
            axis_x=axis[0], axis_y=axis[1], axis_z=axis[2],
        )  # fmt: skip
    if not within or draw.random() < 0.7:
        _add_readings(build, part, pattern, places)


def _sizes(draw: Random, kind: str, thread: str) -> dict[str, object]:
    """Cells of a feature's size: thread or diameter, a slot's length and direction, a nut's float."""
    of_mm = THREADS[thread]
    columns = ("across_mm", "length_mm", "angle_deg", "float_mm", "thread", "fastener_mm")
    given: dict[str, object] = dict.fromkeys(columns, "")
    if kind in ("tapped hole", "captive nut", "stud"):
        given["thread"] = thread
        if kind == "captive nut":
            given["float_mm"] = draw.choice((0, 0.5, 1, 2))
        return given
    if kind in ("peg", "clip"):
        return given | {"across_mm": draw.choice((7.5, 8))}
    if kind in ("peg hole", "clip hole"):
        return given | {"across_mm": draw.choice((8, 8.2, 9, 12))}
    given["across_mm"] = round(of_mm + draw.choice((0.4, 1, 1, 3)), 2)
    if kind == "slot":
        given["length_mm"] = round(of_mm + draw.choice((4, 6, 10)), 2)
        given["angle_deg"] = draw.choice((0, 90, 45, draw.randint(-180, 180)))
    if draw.random() < 0.5:
        given["thread"] = thread
    elif draw.random() < 0.5:
        given["fastener_mm"] = of_mm
    return given


def _add_readings(build: Whole, part: str, pattern: Pattern, places: Sequence[Point]) -> None:
    """True readings of distances between features, and of sizes, each to within its own error."""
    draw = build.draw
    pairs = [(i, k) for k in range(len(places)) for i in range(k)]
    draw.shuffle(pairs)
    sized = {row["feature"]: row for row in build.sheets["features.csv"] if row["part"] == part}
    for i, k in pairs[: draw.choice((0, 2, 4, 15))]:
        quantity, add = draw.choice(("centres", "centres", "centres", "near edges", "far edges")), 0.0
        ends = [sized[pattern.ids[end]] for end in (i, k)]
        if quantity != "centres":
            if not all(end["across_mm"] and end["kind"] in ("hole", "peg", "peg hole") for end in ends):
                quantity = "centres"
            else:
                add = sum(float(end["across_mm"]) for end in ends) / 2 * (-1 if quantity == "near edges" else 1)
        value_mm = math.dist(places[i], places[k]) + add
        if value_mm > 3.0:
            _add_reading(build, part, quantity, pattern.ids[i], pattern.ids[k], value_mm)
    for row in sized.values():
        for quantity, column in (("across", "across_mm"), ("length", "length_mm")):
            if row[column] and draw.random() < 0.15:
                _add_reading(build, part, quantity, row["feature"], "", float(row[column]))
    if draw.random() < 0.1:
        _add_reading(build, part, "thickness", "", "", 2.5)
    _add_sides(build, part, pattern, places)
    for row in sized.values():
        if row["kind"] == "slot" and len(sized) > 1 and draw.random() < 0.15:
            row["angle_deg"] = f"to {draw.choice([name for name in sized if name != row['feature']])}"


def _add_sides(build: Whole, part: str, pattern: Pattern, places: Sequence[Point]) -> None:
    """On which side of a line a feature lies, where that is plain."""
    draw = build.draw
    if len(places) > 2 and draw.random() < 0.2:
        a, b, c = draw.sample(range(len(places)), 3)
        across_mm2 = _cross(places[a], places[b], places[c])
        if abs(across_mm2) > 5000.0:
            side = "left of" if across_mm2 > 0 else "right of"
            _add_row(build, part, side, pattern.ids[c], f"{pattern.ids[a]} {pattern.ids[b]}")


def _cross(a: Point, b: Point, c: Point) -> float:
    """Twice the area of a triangle; above zero where c lies left of the line from a to b."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _add_reading(build: Whole, part: str, quantity: str, start: str, end: str, value_mm: float) -> None:
    draw = build.draw
    tool, error_mm = draw.choice(TOOLS)
    error_mm = min(error_mm, value_mm / 4)
    unit, per_mm, places = draw.choice(UNITS)
    value = (value_mm + draw.uniform(-0.8, 0.8) * error_mm) * per_mm
    _add_row(
        build, part, quantity, start, end, value=f"{value:.{places}f}", unit=unit,
        plus_minus=f"{error_mm * per_mm:.3g}", instrument=tool,
    )  # fmt: skip


def _add_row(build: Whole, part: str, quantity: str, start: str, end: str, **cells: str) -> None:
    number = 1 + sum(row["part"] == part for row in build.sheets.get("readings.csv", ()))
    empty = dict.fromkeys(("value", "unit", "plus_minus", "instrument"), "")
    build.add(
        "readings.csv", part=part, reading=f"r{number}", quantity=quantity, from_=start, to=end, **(empty | cells),
        by="nobody", on="2024-05-31", corrects="", note="",
    )  # fmt: skip


def _add_lines(build: Whole, part: str, pattern: Pattern) -> None:
    """Outline, zones, neighbours, connectors and looks of a part."""
    draw = build.draw
    rows = [row for row in build.sheets["features.csv"] if row["part"] == part]
    if not rows:
        return
    xs, ys = [float(row["x_mm"]) for row in rows], [float(row["y_mm"]) for row in rows]
    by = draw.uniform(6, 40)
    if draw.random() < 0.5:
        ring = _ring(min(xs) - by, min(ys) - by, max(xs) + by, max(ys) + by)
        _add_corners(build, "outlines.csv", part, ring, kind="edge", name="rim")
    x, y = draw.choice(xs) + draw.gauss(0, 60), draw.choice(ys) + draw.gauss(0, 60)
    if draw.random() < 0.4:
        kind = draw.choice(("tear seam", "airbag door", "structural", "keep clear", "opening"))
        corners = [(x, y), (x + 80, y)] if kind == "tear seam" else _ring(x, y, x + 60, y + 25)
        _add_corners(build, "zones.csv", part, corners, kind=kind, zone="S1")
        if kind in AIRBAG_ZONES:
            next(row for row in build.sheets["parts.csv"] if row["part"] == part)["airbag"] = "yes"
    if draw.random() < 0.3:
        gap = {"gap_mm": 5, "gap_min_mm": 3, "gap_max_mm": 8}
        build.add("neighbours.csv", part=part, edge="front", neighbour=draw.choice(("windscreen", "frame-1")), **gap)
    if draw.random() < 0.3:
        ways, need = draw.choice((2, 4)), draw.choice(("must", "should", "spare"))
        build.add("connectors.csv", part=part, connector="speaker", ways=ways, keyed_as=draw.choice("AB"), need=need)
    if part.startswith("top") and draw.random() < 0.2:
        looks = draw.choice(("alike", "different"))
        build.add("looks.csv", part=part, beside=f"frame-{part[4]}", looks=looks, picture="invented.jpg")


def _ring(left: float, low: float, right: float, high: float) -> list[tuple[float, float]]:
    return [(left, low), (right, low), (right, high), (left, high)]


def _add_corners(build: Whole, sheet: str, part: str, corners: Sequence[tuple[float, float]], **cells: str) -> None:
    for point, (x, y) in enumerate(corners, start=1):
        build.add(sheet, part=part, **cells, point=point, x_mm=round(x, 1), y_mm=round(y, 1))


def _add_money(build: Whole) -> None:
    draw = build.draw
    for row in build.sheets["parts.csv"]:
        if row["origin"] == "donor" and draw.random() < 0.6:
            build.add(
                "offers.csv", option="donor", part=row["part"], price=draw.randint(10, 400),
                shipping=draw.choice((0, 9)), seller="invented seller", on="2024-05-31",
                available=draw.choice(("yes", "no")), hours=1.5,
            )  # fmt: skip
        if row["origin"] == "original" and draw.random() < 0.3:
            option = draw.choice(("repair", "new", "custom"))
            build.add("offers.csv", option=option, part=row["part"], price=380, hours=2)
        if row["origin"] == "donor" and draw.random() < 0.1:
            happened, then = draw.choice(("fits", "did not fit")), draw.choice(("bolts on", "does not fit"))
            build.add("outcomes.csv", donor=row["part"], verdict_then=then, chance_then=0.8, happened=happened)
    if draw.random() < 0.3:
        build.add("costs.csv", on="2024-05-31", what="clips", part="", amount=12.5)


def _add_holdings(build: Whole) -> None:
    """What holds each original (and now and then a donor) to its host, one behind another here and there."""
    draw = build.draw
    made: list[str] = []
    for row in build.sheets["parts.csv"]:
        share = 0.8 if row["origin"] == "original" else 0.3
        if row["origin"] == "host" or draw.random() > share:
            continue
        for _ in range(draw.choice((1, 2, 3))):
            fastener = f"B{len(made) + 1}"
            behind = draw.choice(made) if made and draw.random() < 0.2 else ""
            build.add(
                "held_by.csv", part=row["part"], held_to=draw.choice(("shell", row["takes_place_of"])),
                fastener=fastener, kind=draw.choice(("bolt", "screw", "clip", "connector")), count=draw.randint(1, 4),
                thread=build.maybe(0.4, "M6x1"), tool=build.maybe(0.6, "10 mm socket"), minutes=build.maybe(0.6, 2),
                behind=behind, place=build.maybe(0.5, draw.choice(("cabin", "engine bay"))),
                caution=build.maybe(0.1, "heavy"), certain=draw.choice(("yes", "guess")),
                torque_nm=build.maybe(0.2, 22), single_use=build.maybe(0.2, "yes"),
            )  # fmt: skip
            made.append(fastener)
