"""Where the parts and the lines of a plan's drawing stand: parts as boxes in rows, what stays at the bottom.

Rows follow the layers of the plan, broken where the width ends. A line that passes a row has a place of its own
between the boxes there, so that none runs under a box. Lines between boxes of one row run in lanes below it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from typing import Literal

from partkin.drawing.lettering import text_width, wrapped
from partkin.model.stripping import BodyOn, BodyRole, Joint, StripPlan

FONT_PX, LINE_PX = 11.0, 14.0
BOX_PX, PAD, GAP = 132.0, 7.0, 18.0
# A line that passes a row, and how far it keeps from its neighbours there.
PASSING_PX, BESIDE = 2.0, 7.0
LANE_PX, SLOPE_PX, MARGIN = 13.0, 46.0, 10.0
NAME_LINES = 3
SWEEPS = 6
LABEL_CHARS = 16
ROLES: dict[BodyRole, str] = {
    "wanted": "wanted", "comes with it": "comes with it", "comes off first": "off first", "stays": "stays",
}  # fmt: skip

Point = tuple[float, float]
Rect = tuple[float, float, float, float]
How = Literal["undone", "left alone", "undone before"]


@dataclass(eq=False)
class PlanSpot:
    """A box, or (without a body) the place of a line that passes its row; `x` is its middle."""

    width: float
    body: BodyOn | None = None
    lines: tuple[str, ...] = ()
    x: float = 0.0
    top: float = 0.0
    height: float = 0.0
    above: list[PlanSpot] = field(default_factory=list)
    below: list[PlanSpot] = field(default_factory=list)

    @property
    def rect(self) -> Rect:
        return self.x - self.width / 2, self.top, self.x + self.width / 2, self.top + self.height


@dataclass(eq=False)
class Wire:
    """A line between two parts: all fasteners between them that are treated alike; `text`: the steps."""

    how: How
    text: str
    through: list[PlanSpot]
    points: tuple[Point, ...] = ()
    label: Rect | None = None


@dataclass(frozen=True)
class LaidPlan:
    """A drawing laid out; `not_drawn`: parts that stay, of which nothing is undone."""

    boxes: tuple[PlanSpot, ...]
    wires: tuple[Wire, ...]
    width: float
    height: float
    not_drawn: tuple[str, ...]


def laid(plan: StripPlan, width: float) -> LaidPlan:
    """Lay a plan's drawing out for a width in pixels; it grows wider only where lines that pass need the room."""
    touched = {name for joint in plan.joints if joint.step is not None for pair in joint.joins for name in pair}
    bodies = [body for body in plan.bodies if body.role != "stays" or body.part in touched]
    rows, spots = _rows(plan.joints, bodies, width)
    level = {id(spot): number for number, row in enumerate(rows) for spot in row}
    wires = []
    for one, other, how, text in _strokes(plan.joints, spots):
        upper, lower = (one, other) if level[id(one)] <= level[id(other)] else (other, one)
        wires.append(Wire(how, text, _passing(rows, level, upper, lower)))
    # Lines between boxes of one row have a lane each below it.
    lanes: dict[int, int] = {}
    depth = [0] * len(rows)
    for wire in wires:
        row = level[id(wire.through[0])]
        if row == level[id(wire.through[-1])]:
            lanes[id(wire)] = depth[row]
            depth[row] += 1
    _order(rows)
    wide = _place(rows, width)
    height = _heights(rows, depth)
    _draw(wires, lanes, level, depth)
    _label(wires, [spot.rect for spot in spots.values()], wide)
    not_drawn = tuple(body.name for body in plan.bodies if body not in bodies)
    return LaidPlan(tuple(spots.values()), tuple(wires), wide, height, not_drawn)


def _strokes(joints: Sequence[Joint], spots: dict[str, PlanSpot]) -> list[tuple[PlanSpot, PlanSpot, How, str]]:
    found: dict[tuple[str, str], list[Joint]] = {}
    for joint in joints:
        for a, b in joint.joins:
            if a in spots and b in spots and a != b:
                found.setdefault((b, a) if (b, a) in found else (a, b), []).append(joint)
    strokes: list[tuple[PlanSpot, PlanSpot, How, str]] = []
    for (a, b), between in found.items():
        ends = spots[a], spots[b]
        steps = [joint.step for joint in between if joint.step is not None]
        if steps:
            strokes.append((*ends, "undone", runs(steps)))
        if any(joint.step is None and not joint.done for joint in between):
            strokes.append((*ends, "left alone", ""))
        if any(joint.done for joint in between):
            strokes.append((*ends, "undone before", ""))
    return strokes


def runs(steps: Sequence[int]) -> str:
    """Write step numbers shortly.

    Examples
    --------
    >>> runs([3, 12, 4, 5]), runs([1, 3, 5, 7, 9, 11, 13, 15])
    ('3-5, 12', '1 to 15, 8 steps')
    """
    ordered = sorted(set(steps))
    found = []
    for _, group in groupby(enumerate(ordered), key=lambda pair: pair[1] - pair[0]):
        run = [number for _, number in group]
        found.append(f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)))
    text = ", ".join(found)
    return text if len(text) <= LABEL_CHARS else f"{ordered[0]} to {ordered[-1]}, {len(ordered)} steps"


def _rows(
    joints: Sequence[Joint], bodies: list[BodyOn], width: float
) -> tuple[list[list[PlanSpot]], dict[str, PlanSpot]]:
    """Layers from the furthest out to what stays, broken into rows of even length, neighbours near each other."""
    most = max(1, int((width - 2 * MARGIN + GAP) // (BOX_PX + GAP)))
    near: dict[str, list[str]] = {}
    for a, b in (pair for joint in joints for pair in joint.joins):
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    layers: dict[int, list[BodyOn]] = {}
    for body in bodies:
        layers.setdefault(body.layer, []).append(body)
    at: dict[str, float] = {}
    spots: dict[str, PlanSpot] = {}
    rows: list[list[PlanSpot]] = []
    for layer in sorted(layers):
        middles = {}
        for body in layers[layer]:
            known = sorted(at[name] for name in near.get(body.part, ()) if name in at)
            middles[body.part] = sum(known) / len(known) if known else 0.5
        ordered = sorted(layers[layer], key=lambda body: middles[body.part])
        count = -(-len(ordered) // most)
        cuts = [round(len(ordered) * number / count) for number in range(count + 1)]
        for place, body in enumerate(ordered):
            at[body.part] = (place + 0.5) / len(ordered)
            lines = wrapped(body.name, FONT_PX, BOX_PX - 2 * PAD, NAME_LINES, bold=body.role == "wanted")
            spots[body.part] = PlanSpot(BOX_PX, body, (*lines, ROLES[body.role]))
        rows += [[spots[body.part] for body in ordered[a:b]] for a, b in pairwise(cuts)]
    return rows[::-1], {body.part: spots[body.part] for body in bodies}


def _passing(rows: list[list[PlanSpot]], level: dict[int, int], upper: PlanSpot, lower: PlanSpot) -> list[PlanSpot]:
    """Return the spots of a line from top to bottom, with new ones in the rows that it passes."""
    through = [upper]
    for number in range(level[id(upper)] + 1, level[id(lower)]):
        passed = PlanSpot(PASSING_PX)
        rows[number].append(passed)
        through.append(passed)
    through.append(lower)
    if level[id(upper)] != level[id(lower)]:
        for high, low in pairwise(through):
            high.below.append(low)
            low.above.append(high)
    return through


def _order(rows: list[list[PlanSpot]]) -> None:
    """Put neighbours above each other, sweeping down and up."""
    for sweep in range(SWEEPS):
        down = sweep % 2 == 1
        for row in rows if down else rows[::-1]:
            at = {id(spot): (place + 0.5) / len(other) for other in rows for place, spot in enumerate(other)}
            middles = {}
            for spot in row:
                beside = (spot.above if down else spot.below) or [spot]
                middles[id(spot)] = sum(at[id(other)] for other in beside) / len(beside)
            row.sort(key=lambda spot: middles[id(spot)])


def _gap(one: PlanSpot, other: PlanSpot) -> float:
    return GAP if one.body is not None and other.body is not None else BESIDE


def _place(rows: list[list[PlanSpot]], width: float) -> float:
    """Give every spot its x: near the middle of its neighbours, in order, none on another."""
    for row in rows:
        x = MARGIN
        for before, spot in zip([None, *row], row, strict=False):
            x += spot.width / 2 + (_gap(before, spot) + before.width / 2 if before is not None else 0.0)
            spot.x = x
    width = max([width, *(row[-1].rect[2] + MARGIN for row in rows)])
    for sweep in range(SWEEPS):
        for row in rows if sweep % 2 else rows[::-1]:
            wish = []
            for spot in row:
                beside = [other.x for other in (*spot.above, *spot.below)] or [width / 2]
                wish.append(sum(beside) / len(beside))
            _settle(row, wish, width)
    ends = [(spot.rect[0], spot.rect[2]) for row in rows for spot in row]
    aside = (width - min(left for left, _ in ends) - max(right for _, right in ends)) / 2
    for spot in (spot for row in rows for spot in row):
        spot.x += aside
    return width


def _settle(row: list[PlanSpot], wish: list[float], width: float) -> None:
    """Bring a row as near to its wishes as its order and the gaps allow: halfway between all left and all right."""
    # How far each stands from the first when they stand close.
    close = [0.0]
    for one, other in pairwise(row):
        close.append(close[-1] + one.width / 2 + _gap(one, other) + other.width / 2)
    least, most = MARGIN + row[0].width / 2, width - MARGIN - row[-1].width / 2 - close[-1]
    lead = [min(max(x - off, least), most) for x, off in zip(wish, close, strict=True)]
    to_right, to_left = list(lead), list(lead)
    for place in range(1, len(row)):
        to_right[place] = max(to_right[place], to_right[place - 1])
        to_left[-1 - place] = min(to_left[-1 - place], to_left[-place])
    for spot, right, left, off in zip(row, to_right, to_left, close, strict=True):
        spot.x = (right + left) / 2 + off


def _heights(rows: list[list[PlanSpot]], depth: list[int]) -> float:
    """Give every spot its top and height; return the height of the drawing."""
    y = MARGIN
    for number, row in enumerate(rows):
        high = max((len(spot.lines) for spot in row), default=1) * LINE_PX + 2 * PAD - 3
        for spot in row:
            spot.top, spot.height = y, high
        y += high + depth[number] * LANE_PX
        if number + 1 < len(rows):
            y += SLOPE_PX + min(50.0, 3.0 * sum(len(spot.below) for spot in row))
    return y + (LANE_PX if depth and depth[-1] else 0.0) + MARGIN


def _draw(wires: list[Wire], lanes: dict[int, int], level: dict[int, int], depth: list[int]) -> None:
    """Give every line its corners; on each side of a box its lines leave side by side."""
    leaving: dict[tuple[int, str], list[tuple[float, int, PlanSpot]]] = {}
    for number, wire in enumerate(wires):
        first, last = wire.through[0], wire.through[-1]
        lane = id(wire) in lanes
        leaving.setdefault((id(first), "low"), []).append((wire.through[1].x, number, first))
        leaving.setdefault((id(last), "low" if lane else "top"), []).append((wire.through[-2].x, number, last))
    port: dict[tuple[int, int], float] = {}
    for ends in leaving.values():
        ends.sort(key=lambda end: end[:2])
        spot = ends[0][2]
        inside = spot.width - 2 * PAD
        for place, (_, number, _) in enumerate(ends):
            port[(number, id(spot))] = spot.x - inside / 2 + inside * (place + 0.5) / len(ends)
    for number, wire in enumerate(wires):
        first, last = wire.through[0], wire.through[-1]
        xa, xb = port[(number, id(first))], port[(number, id(last))]
        low = first.top + first.height
        if id(wire) in lanes:
            y = low + LANE_PX * (lanes[id(wire)] + 0.7)
            wire.points = ((xa, low), (xa, y), (xb, y), (xb, low))
            continue
        points = [(xa, low), (xa, low + depth[level[id(first)]] * LANE_PX + 3)]
        for row, passed in enumerate(wire.through[1:-1], level[id(first)] + 1):
            bottom = passed.top + passed.height + depth[row] * LANE_PX
            points += [(passed.x, passed.top - 3), (passed.x, bottom + 3)]
        points += [(xb, last.top - 3), (xb, last.top)]
        wire.points = tuple(points)


def _label(wires: list[Wire], taken: list[Rect], width: float) -> None:
    """Find a free place along its line for every number, clear of other lines where there is one.

    Those that find none are told by the list alone.
    """
    taken = list(taken)
    pieces = [(wire, *ends) for wire in wires for ends in pairwise(wire.points)]
    for wire in wires:
        if not wire.text:
            continue
        wide = text_width(wire.text, FONT_PX, bold=True) + 4
        free = []
        for (xa, ya), (xb, yb), t in _places(wire.points):
            x, y = xa + (xb - xa) * t, ya + (yb - ya) * t
            rect = (x - wide / 2, y - LINE_PX / 2, x + wide / 2, y + LINE_PX / 2)
            near = (o for o in taken if rect[0] < o[2] + 1 and o[0] < rect[2] + 1)
            on_other = any(rect[1] < o[3] + 1 and o[1] < rect[3] + 1 for o in near)
            if rect[0] >= 1 and rect[2] <= width - 1 and not on_other:
                free.append(rect)
        if free:
            clear = (rect for rect in free if not any(_on(rect, a, b) for one, a, b in pieces if one is not wire))
            wire.label = next(clear, free[0])
            taken.append(wire.label)


def _on(rect: Rect, a: Point, b: Point) -> bool:
    """Whether a straight piece of a line runs through a rectangle."""
    low, high = 0.0, 1.0
    for start, end, least, most in ((a[0], b[0], rect[0], rect[2]), (a[1], b[1], rect[1], rect[3])):
        along = end - start
        if not along:
            if not least < start < most:
                return False
            continue
        first, last = sorted(((least - start) / along, (most - start) / along))
        low, high = max(low, first), min(high, last)
    return low < high


def _places(points: tuple[Point, ...]) -> list[tuple[Point, Point, float]]:
    """Candidates along a line: its longest pieces first, from their middles outward."""
    pieces = sorted(pairwise(points), key=lambda ends: -max(abs(ends[0][0] - ends[1][0]), abs(ends[0][1] - ends[1][1])))
    shares = [0.5, *(0.5 + sign * step / 40 for step in range(1, 19) for sign in (1, -1))]
    return [(a, b, t) for a, b in pieces for t in shares]
