"""What holds what, as a picture: parts as boxes in layers, fasteners as lines. Black on white, the same every time.

What stays is at the bottom, each layer one joint further away. A thick dashed line is undone, with the
numbers of its steps; a thin one is left alone; a thin dotted one was undone before. A list below names
every fastener, so nothing depends on a number that found no room on the drawing.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from partkin.model.stripping import BodyOn, Joint, StripPlan

# A fixed-width face, so that a text's width is known here: 0.6 em a character.
FONT = "'Liberation Mono','DejaVu Sans Mono',Courier,monospace"
FONT_PX = 12.0
CHAR_PX = 0.6 * FONT_PX
LINE_PX = 16.0
BOX_CHARS = 22
BOX_PAD = 8.0
GAP_X, GAP_Y = 26.0, 64.0
LANE_PX = 18.0
MARGIN = 24.0
PER_ROW = 6
LIST_CHARS = 100

UNDONE = 'stroke-width="3" stroke-dasharray="9 5"'
LEFT_ALONE = 'stroke-width="1"'
BEFORE = 'stroke-width="1" stroke-dasharray="1 4"'

Rect = tuple[float, float, float, float]


@dataclass(frozen=True)
class _Stroke:
    """One line between two parts; `shift` sets lines of the same two parts side by side."""

    one: str
    other: str
    style: str
    text: str
    shift: float


@dataclass(frozen=True)
class _Box:
    body: BodyOn
    lines: tuple[str, ...]
    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> tuple[float, float]:
        return self.x + self.width / 2, self.y + self.height / 2

    @property
    def rect(self) -> Rect:
        return self.x, self.y, self.x + self.width, self.y + self.height


def drawing(plan: StripPlan) -> str:
    """Return an SVG of what holds what, with what the plan undoes.

    Parameters
    ----------
    plan

    Returns
    -------
    str
        One `<svg>` element with title and description; the same bytes for the same plan.
    """
    rows = _rows(plan)
    strokes = _all_strokes(plan)
    lanes, depth = _lanes(rows, strokes)
    boxes, width, height = _placed(rows, depth)
    width = max(width, 2 * MARGIN + LIST_CHARS * CHAR_PX)
    taken: list[Rect] = [box.rect for box in boxes.values()]
    lines, numbers = [], []
    for number, stroke in enumerate(strokes):
        points = _points(boxes, stroke, lanes.get(number))
        d = "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
        lines.append(f'<path d="{d}" {stroke.style}/>')
        spot = _room(points, stroke.text, taken, width) if stroke.text else None
        if spot is not None:
            taken.append(spot)
            numbers.append(_number(spot, stroke.text))
    key, end = _key(plan, height)
    undone = sum(joint.step is not None for joint in plan.joints)
    alone = sum(joint.step is None and not joint.done for joint in plan.joints)
    title = f"What holds {plan.name}"
    says = (
        f"{len(plan.bodies)} parts as boxes, those that stay at the bottom. {undone} fasteners are undone (thick "
        f"dashed lines, with step numbers), {alone} are left alone (thin lines). "
        "The list below the drawing names them all."
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="strip-title strip-desc" '
        f'viewBox="0 0 {_n(width)} {_n(end)}" width="{_n(width)}" height="{_n(end)}" '
        f'font-family="{FONT}" font-size="{_n(FONT_PX)}">'
        f'<title id="strip-title">{escape(title)}</title><desc id="strip-desc">{escape(says)}</desc>'
        f'<rect width="{_n(width)}" height="{_n(end)}" fill="#fff"/>'
        f'<g stroke="#000" fill="none">{"".join(lines)}</g>{"".join(_drawn(box) for box in boxes.values())}'
        f"{''.join(numbers)}{key}</svg>"
    )


def _rows(plan: StripPlan) -> list[list[BodyOn]]:
    """Layers from the furthest out to what stays, broken into rows, neighbours near each other."""
    near: dict[str, set[str]] = {}
    for joint in plan.joints:
        for a, b in joint.joins:
            near.setdefault(a, set()).add(b)
            near.setdefault(b, set()).add(a)
    layers: dict[int, list[BodyOn]] = {}
    for body in plan.bodies:
        layers.setdefault(body.layer, []).append(body)
    at: dict[str, float] = {}
    rows: list[list[BodyOn]] = []
    for layer in sorted(layers):
        order = {body.part: place for place, body in enumerate(layers[layer])}

        def middle(body: BodyOn, order: dict[str, int] = order) -> tuple[float, int]:
            known = [at[name] for name in near.get(body.part, ()) if name in at]
            return (sum(sorted(known)) / len(known) if known else 0.5, order[body.part])

        ordered = sorted(layers[layer], key=middle)
        for place, body in enumerate(ordered):
            at[body.part] = (place + 0.5) / len(ordered)
        rows += [ordered[start : start + PER_ROW] for start in range(0, len(ordered), PER_ROW)]
    return rows[::-1]


def _all_strokes(plan: StripPlan) -> list[_Stroke]:
    """One line for each way that the fasteners between two parts are treated."""
    found: dict[tuple[str, str], list[Joint]] = {}
    for joint in plan.joints:
        for a, b in joint.joins:
            found.setdefault((b, a) if (b, a) in found else (a, b), []).append(joint)
    strokes = []
    for (a, b), joints in found.items():
        kinds = []
        steps = [joint.step for joint in joints if joint.step is not None]
        if steps:
            kinds.append((UNDONE, ", ".join(map(str, sorted(steps)))))
        if any(joint.step is None and not joint.done for joint in joints):
            kinds.append((LEFT_ALONE, ""))
        if any(joint.done for joint in joints):
            kinds.append((BEFORE, ""))
        for number, (style, text) in enumerate(kinds):
            strokes.append(_Stroke(a, b, style, text, (number - (len(kinds) - 1) / 2) * 8.0))
    return strokes


def _lanes(rows: list[list[BodyOn]], strokes: list[_Stroke]) -> tuple[dict[int, int], list[int]]:
    """Give lines between two boxes of one row a lane each below it; return lanes by line, and how many a row has."""
    spot = {body.part: (number, place) for number, row in enumerate(rows) for place, body in enumerate(row)}
    lanes: dict[int, int] = {}
    depth = [0] * len(rows)
    used: dict[tuple[int, int], list[tuple[int, int]]] = {}
    flat = [n for n, stroke in enumerate(strokes) if spot[stroke.one][0] == spot[stroke.other][0]]
    for number in sorted(flat, key=lambda n: (abs(spot[strokes[n].one][1] - spot[strokes[n].other][1]), n)):
        row = spot[strokes[number].one][0]
        low, high = sorted((spot[strokes[number].one][1], spot[strokes[number].other][1]))
        lane = 0
        while any(low <= b and a <= high for a, b in used.get((row, lane), [])):
            lane += 1
        used.setdefault((row, lane), []).append((low, high))
        lanes[number] = lane
        depth[row] = max(depth[row], lane + 1)
    return lanes, depth


def _placed(rows: list[list[BodyOn]], depth: list[int]) -> tuple[dict[str, _Box], float, float]:
    box_width = BOX_CHARS * CHAR_PX + 2 * BOX_PAD
    widest = max((len(row) for row in rows), default=1)
    width = 2 * MARGIN + widest * box_width + (widest - 1) * GAP_X
    boxes: dict[str, _Box] = {}
    y = MARGIN
    for number, row in enumerate(rows):
        texts = [_folded(body) for body in row]
        height = max(len(lines) for lines in texts) * LINE_PX + 2 * BOX_PAD
        # Every other row stands a quarter of a box to the side, so that fewer lines run under boxes.
        side = (box_width + GAP_X) / 4 * (1 if number % 2 else -1) if len(rows) > 1 and len(row) < widest else 0.0
        x = (width - len(row) * box_width - (len(row) - 1) * GAP_X) / 2 + side
        for body, lines in zip(row, texts, strict=True):
            boxes[body.part] = _Box(body, lines, x, y, box_width, height)
            x += box_width + GAP_X
        last = number == len(rows) - 1
        y += height + (depth[number] * LANE_PX + LANE_PX if last else GAP_Y + depth[number] * LANE_PX)
    return boxes, width, y + MARGIN


def _folded(body: BodyOn) -> tuple[str, ...]:
    role = {"wanted": "wanted", "comes with it": "comes with it", "comes off first": "off first", "stays": "stays"}
    return (*_wrap(body.name, BOX_CHARS), f"[{role[body.role]}]")


def _wrap(text: str, most: int) -> list[str]:
    """Fold a text; a word longer than the line is cut."""
    lines: list[str] = []
    for word in text.split():
        while len(word) > most:
            lines.append(word[:most])
            word = word[most:]
        if lines and len(lines[-1]) + 1 + len(word) <= most and len(lines[-1]) < most:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return [line for line in lines if line] or [""]


def _points(boxes: dict[str, _Box], stroke: _Stroke, lane: int | None) -> list[tuple[float, float]]:
    """The corners of a line: straight, or in its lane below the row."""
    one, other = boxes[stroke.one], boxes[stroke.other]
    (xa, ya), (xb, yb) = one.middle, other.middle
    if lane is None:
        return [(xa + stroke.shift, ya), (xb + stroke.shift, yb)]
    # Each lane leaves its boxes at a place of its own, further out the deeper it lies.
    aside = min(10.0 + 9.0 * lane, one.width / 2 - 6.0) * (1.0 if xb > xa else -1.0)
    low = one.y + one.height + LANE_PX * (lane + 1)
    return [
        (xa + aside, one.y + one.height),
        (xa + aside, low),
        (xb - aside, low),
        (xb - aside, other.y + other.height),
    ]


def _room(points: list[tuple[float, float]], text: str, taken: list[Rect], width: float) -> Rect | None:
    """Return a free place for a number along a line; None where there is none."""
    middle = len(points) // 2
    (xa, ya), (xb, yb) = points[middle - 1], points[middle]
    wide, high = len(text) * CHAR_PX + 6, LINE_PX
    for t in (20, *_outward(20, 18)):
        x, y = xa + (xb - xa) * t / 40, ya + (yb - ya) * t / 40
        rect = (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)
        if rect[0] >= 2 and rect[2] <= width - 2 and not any(_overlap(rect, other) for other in taken):
            return rect
    return None


def _outward(middle: int, most: int) -> list[int]:
    return [middle + sign * step for step in range(1, most) for sign in (1, -1)]


def _overlap(a: Rect, b: Rect) -> bool:
    return a[0] < b[2] + 2 and b[0] < a[2] + 2 and a[1] < b[3] + 2 and b[1] < a[3] + 2


def _number(rect: Rect, text: str) -> str:
    x, y = rect[0], rect[1]
    return (
        f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(rect[2] - x)}" height="{_n(rect[3] - y)}" fill="#fff"/>'
        f'<text x="{_n(x + 3)}" y="{_n(y + 12)}" font-weight="bold">{escape(text)}</text>'
    )


def _drawn(box: _Box) -> str:
    role = box.body.role
    stroke = {"wanted": 4.0, "comes with it": 2.5, "comes off first": 1.2, "stays": 1.2}[role]
    dash = ' stroke-dasharray="5 3"' if role == "comes off first" else ""
    inner = ""
    if role == "stays":
        inner = (
            f'<rect x="{_n(box.x + 3)}" y="{_n(box.y + 3)}" width="{_n(box.width - 6)}" height="{_n(box.height - 6)}" '
            'fill="none" stroke="#000" stroke-width="1"/>'
        )
    texts = "".join(
        f'<text x="{_n(box.x + BOX_PAD)}" y="{_n(box.y + BOX_PAD + 12 + number * LINE_PX)}">{escape(line)}</text>'
        for number, line in enumerate(box.lines)
    )
    return (
        f'<rect x="{_n(box.x)}" y="{_n(box.y)}" width="{_n(box.width)}" height="{_n(box.height)}" fill="#fff" '
        f'stroke="#000" stroke-width="{_n(stroke)}"{dash}/>{inner}{texts}'
    )


def _key(plan: StripPlan, top: float) -> tuple[str, float]:
    """The list below the drawing: what the lines mean, and every fastener by name."""
    listed = ["thick dashed: undone, with step numbers; thin: left alone; dotted: undone before"]
    undone = sorted((joint for joint in plan.joints if joint.step is not None), key=lambda j: j.step or 0)
    for joint in undone:
        pairs = "; ".join(f"{a} - {b}" for a, b in joint.joins)
        guess = ", a guess" if joint.guess else ""
        what = f"{joint.count} {joint.kind}{'' if joint.count == 1 else 's'}"
        listed += _wrap(
            f"{joint.step}: {joint.fastener}, {what}, {pairs}{guess}",
            LIST_CHARS,
        )
    alone = [joint.fastener for joint in plan.joints if joint.step is None and not joint.done]
    if alone:
        listed += _wrap("left alone: " + ", ".join(alone), LIST_CHARS)
    before = [joint.fastener for joint in plan.joints if joint.done]
    if before:
        listed += _wrap("undone before: " + ", ".join(before), LIST_CHARS)
    texts = []
    y = top + LINE_PX
    for line in listed:
        texts.append(f'<text x="{_n(MARGIN)}" y="{_n(y)}">{escape(line)}</text>')
        y += LINE_PX
    return "".join(texts), y + MARGIN - LINE_PX / 2


def _n(value: float) -> str:
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text
