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
GAP_X, GAP_Y = 26.0, 74.0
MARGIN = 24.0
PER_ROW = 6
LIST_CHARS = 100

Rect = tuple[float, float, float, float]


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
    boxes, width, height = _placed(rows)
    bundles = _bundled(plan)
    taken: list[Rect] = [box.rect for box in boxes.values()]
    lines, numbers = [], []
    for (a, b), joints in bundles.items():
        lines += _strokes(boxes[a], boxes[b], joints)
    for (a, b), joints in bundles.items():
        text = ", ".join(str(joint.step) for joint in joints if joint.step is not None)
        spot = _room(boxes[a], boxes[b], text, taken, width) if text else None
        if spot is not None:
            taken.append(spot)
            numbers.append(_number(spot, text))
    key, end = _key(plan, height)
    width = max(width, 2 * MARGIN + LIST_CHARS * CHAR_PX)
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


def _placed(rows: list[list[BodyOn]]) -> tuple[dict[str, _Box], float, float]:
    box_width = BOX_CHARS * CHAR_PX + 2 * BOX_PAD
    widest = max((len(row) for row in rows), default=1)
    width = 2 * MARGIN + widest * box_width + (widest - 1) * GAP_X
    boxes: dict[str, _Box] = {}
    y = MARGIN
    for number, row in enumerate(rows):
        texts = [_folded(body) for body in row]
        height = max(len(lines) for lines in texts) * LINE_PX + 2 * BOX_PAD
        # Every other row stands half a box to the side, so that fewer lines run under boxes.
        side = (box_width + GAP_X) / 4 * (1 if number % 2 else -1) if len(rows) > 1 and len(row) < widest else 0.0
        x = (width - len(row) * box_width - (len(row) - 1) * GAP_X) / 2 + side
        for body, lines in zip(row, texts, strict=True):
            boxes[body.part] = _Box(body, lines, x, y, box_width, height)
            x += box_width + GAP_X
        y += height + GAP_Y
    return boxes, width, y - GAP_Y + MARGIN


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


def _bundled(plan: StripPlan) -> dict[tuple[str, str], list[Joint]]:
    found: dict[tuple[str, str], list[Joint]] = {}
    for joint in plan.joints:
        for a, b in joint.joins:
            key = (a, b) if (b, a) not in found else (b, a)
            found.setdefault(key, []).append(joint)
    return found


def _strokes(one: _Box, other: _Box, joints: list[Joint]) -> list[str]:
    """One line for each way that fasteners between two parts are treated, side by side."""
    kinds = []
    if any(joint.step is not None for joint in joints):
        kinds.append('stroke-width="3" stroke-dasharray="9 5"')
    if any(joint.step is None and not joint.done for joint in joints):
        kinds.append('stroke-width="1"')
    if any(joint.done for joint in joints):
        kinds.append('stroke-width="1" stroke-dasharray="1 4"')
    (xa, ya), (xb, yb) = one.middle, other.middle
    strokes = []
    for number, style in enumerate(kinds):
        shift = (number - (len(kinds) - 1) / 2) * 8.0
        if ya == yb:
            # Two boxes of one row: the line swings below them.
            low = one.y + one.height + GAP_Y * 0.42 + shift
            d = f"M{_n(xa + shift)} {_n(one.y + one.height)}V{_n(low)}H{_n(xb + shift)}V{_n(other.y + other.height)}"
        else:
            d = f"M{_n(xa + shift)} {_n(ya)}L{_n(xb + shift)} {_n(yb)}"
        strokes.append(f'<path d="{d}" {style}/>')
    return strokes


def _room(one: _Box, other: _Box, text: str, taken: list[Rect], width: float) -> Rect | None:
    """Return a free place for a number along a line; None where there is none."""
    (xa, ya), (xb, yb) = one.middle, other.middle
    if ya == yb:
        low = one.y + one.height + GAP_Y * 0.42
        points = [(xa + (xb - xa) * t / 20, low) for t in range(2, 19)]
    else:
        points = [(xa + (xb - xa) * t / 40, ya + (yb - ya) * t / 40) for t in (20, *_outward(20, 17))]
    wide, high = len(text) * CHAR_PX + 6, LINE_PX
    for x, y in points:
        rect = (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)
        if rect[0] >= 2 and rect[2] <= width - 2 and not any(_overlap(rect, other_) for other_ in taken):
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
        listed += _wrap(f"{joint.step}: {joint.fastener}, {joint.count} {joint.kind}, {pairs}{guess}", LIST_CHARS)
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
