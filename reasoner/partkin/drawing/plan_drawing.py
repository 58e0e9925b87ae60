"""What holds what, as a drawing: ink on paper, told by line and word alone, the same every time.

A thick dashed line is undone, with the numbers of its steps; a thin one is left alone; a dotted one was undone
before. The part that is wanted stands in the thickest frame; what stays has a double one.
"""

from __future__ import annotations

from partkin.drawing.lettering import wrapped
from partkin.drawing.pens import INK, PAPER
from partkin.drawing.plan_layout import FONT_PX, LINE_PX, MARGIN, PAD, LaidPlan, PlanSpot, Rect, Wire, laid
from partkin.drawing.svg import FONT, escaped, short
from partkin.model.stripping import StripPlan

BROAD_PX = 760.0
# Of a kind of line: its stroke, and what the key says of it.
STROKES = {
    "undone": ('stroke-width="2.6" stroke-dasharray="7 4"', "undone, with the numbers of its steps"),
    "left alone": ('stroke-width="1"', "left alone"),
    "undone before": ('stroke-width="1.4" stroke-dasharray="1.4 4"', "undone before"),
}
_FRAMES = {"wanted": 3.4, "comes with it": 2.2, "comes off first": 1.1, "stays": 1.0}


def plan_svg(
    plan: StripPlan, width: float = BROAD_PX, key: str = "plan", kind: str = "", described_by: str | None = None
) -> str:
    """Return the drawing for a page, at a width in pixels at which text has its size.

    `key`: start of the ids in it; has to differ between drawings of one page. `kind`: class beside `dw`.
    `described_by`: id of the description of another drawing of the same plan; None: it carries its own.
    """
    found = laid(plan, width)
    title, says = plan_words(plan, found)
    described = "" if described_by else f'<desc id="{key}-d">{escaped(says)}</desc>'
    classes = f"dw {kind}".strip()
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{classes}" role="img" aria-labelledby="{key}-t" '
        f'aria-describedby="{described_by or f"{key}-d"}" viewBox="0 0 {short(found.width)} {short(found.height)}">'
        f'<title id="{key}-t">{escaped(title)}</title>{described}{_inside(found)}</svg>'
    )


def plan_file(plan: StripPlan) -> str:
    """Return the drawing as a file by itself, every fastener named below it; the same bytes for the same plan."""
    found = laid(plan, BROAD_PX)
    title, says = plan_words(plan, found)
    below, height = _listed(plan, found)
    size = f'width="{short(found.width)}" height="{short(height)}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="plan-t" aria-describedby="plan-d" '
        f'viewBox="0 0 {short(found.width)} {short(height)}" {size} font-family="{FONT}" font-size="{short(FONT_PX)}">'
        f'<title id="plan-t">{escaped(title)}</title><desc id="plan-d">{escaped(says)}</desc>'
        f'<rect {size} fill="{PAPER}"/>{_inside(found)}{below}</svg>'
    )


def plan_words(plan: StripPlan, found: LaidPlan) -> tuple[str, str]:
    """Return the title of the drawing, and what it shows in words; the list of steps names every fastener."""
    undone = sum(joint.step is not None for joint in plan.joints)
    alone = sum(joint.step is None and not joint.done for joint in plan.joints)
    groups = []
    roles = {"comes with it": "comes out with it", "comes off first": "comes off first", "stays": "stays"}
    for role, words in roles.items():
        names = [spot.body.name for spot in found.boxes if spot.body is not None and spot.body.role == role]
        groups += [f"{words}: {', '.join(names)}"] * bool(names)
    more = f" Not drawn, because nothing of them is undone: {', '.join(found.not_drawn)}." if found.not_drawn else ""
    counts = f"{_count(undone)} undone (thick dashed lines), {_count(alone)} left alone."
    says = f"{len(found.boxes)} parts as boxes. {'; '.join(groups).capitalize()}{'.' if groups else ''} {counts}{more}"
    return f"What holds {plan.name}", says.strip()


def _count(number: int) -> str:
    return f"{number} row{'' if number == 1 else 's'} of fasteners"


def _inside(found: LaidPlan) -> str:
    lines = "".join(
        f'<path d="M{"L".join(f"{short(x)} {short(y)}" for x, y in wire.points)}" {STROKES[wire.how][0]}/>'
        for wire in sorted(found.wires, key=lambda wire: wire.how == "undone")
    )
    boxes = "".join(map(_box, found.boxes))
    return f'<g stroke="{INK}" fill="none">{lines}</g>{boxes}{"".join(map(_number, found.wires))}'


def _box(spot: PlanSpot) -> str:
    assert spot.body is not None
    role = spot.body.role
    x, y, right, bottom = spot.rect
    dash = ' stroke-dasharray="4 3"' if role == "comes off first" else ""
    frame = _rect(spot.rect, PAPER, f' stroke="{INK}" stroke-width="{short(_FRAMES[role])}"{dash}')
    if role == "stays":
        frame += _rect((x + 2.5, y + 2.5, right - 2.5, bottom - 2.5), "none", f' stroke="{INK}" stroke-width="1"')
    texts = []
    for number, line in enumerate(spot.lines):
        last = number == len(spot.lines) - 1
        bold = ' font-weight="bold"' if role == "wanted" and not last else ""
        slant = ' font-style="italic"' if last else ""
        at = f'x="{short(x + PAD)}" y="{short(y + PAD + 8 + number * LINE_PX)}"'
        texts.append(f"<text {at}{bold}{slant}>{escaped(line)}</text>")
    return frame + f'<g fill="{INK}">{"".join(texts)}</g>'


def _rect(rect: Rect, fill: str, stroke: str = "") -> str:
    x, y, right, bottom = rect
    place = f'x="{short(x)}" y="{short(y)}" width="{short(right - x)}" height="{short(bottom - y)}"'
    return f'<rect {place} fill="{fill}"{stroke}/>'


def _number(wire: Wire) -> str:
    if wire.label is None:
        return ""
    at = f'x="{short((wire.label[0] + wire.label[2]) / 2)}" y="{short(wire.label[1] + 10.6)}"'
    looks = f'text-anchor="middle" font-weight="bold" fill="{INK}"'
    return f"{_rect(wire.label, PAPER)}<text {at} {looks}>{escaped(wire.text)}</text>"


def key_strokes(plan: StripPlan) -> list[tuple[str, str]]:
    """Return the kinds of line that the drawing uses, as a little drawing and in words."""
    used = {"undone", "left alone", *("undone before" for joint in plan.joints if joint.done)}
    sample = '<svg class="dw" viewBox="0 0 28 18" aria-hidden="true"><path d="M0 9H28" stroke="{ink}" {stroke}/></svg>'
    return [
        (sample.format(ink=INK, stroke=stroke), words) for how, (stroke, words) in STROKES.items() if how in used
    ]  # fmt: skip


def _listed(plan: StripPlan, found: LaidPlan) -> tuple[str, float]:
    """The lines below the drawing: what the strokes mean, and every fastener by name."""
    lines = ["Thick dashed: undone, with the numbers of the steps. Thin: left alone. Dotted: undone before."]
    undone = sorted((joint for joint in plan.joints if joint.step is not None), key=lambda joint: joint.step or 0)
    for joint in undone:
        pairs = "; ".join(f"{a} from {b}" for a, b in joint.joins)
        what = f"{joint.count} {joint.kind}{'' if joint.count == 1 else 's'}"
        lines.append(f"{joint.step}: {joint.fastener}, {what}, {pairs}{', a guess' if joint.guess else ''}")
    for words, names in (
        ("Left alone", [joint.fastener for joint in plan.joints if joint.step is None and not joint.done]),
        ("Undone before", [joint.fastener for joint in plan.joints if joint.done]),
        ("Not drawn, because nothing of them is undone", list(found.not_drawn)),
    ):
        if names:
            lines.append(f"{words}: {', '.join(names)}.")
    room = found.width - 2 * MARGIN
    texts, y = [], found.height + LINE_PX
    for line in (row for sentence in lines for row in wrapped(sentence, FONT_PX, room)):
        texts.append(f'<text x="{short(MARGIN)}" y="{short(y)}" fill="{INK}">{escaped(line)}</text>')
        y += LINE_PX
    return "".join(texts), y
