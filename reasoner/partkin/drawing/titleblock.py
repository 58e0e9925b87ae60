"""The frame, the title block at the lower right, the scale bar and the key of a drawing (y down)."""

from __future__ import annotations

from partkin.drawing.alt import called
from partkin.drawing.lettering import millimetres, shortened, text_width, wrapped
from partkin.drawing.pens import SOFT
from partkin.drawing.plane import Box, Point, corners_of, hatching
from partkin.drawing.shapes import Line, Obround, Round, Shape, Strokes, Words
from partkin.drawing.svg import clean
from partkin.drawing.symbols import rectangle
from partkin.model.drawing import OverlayView

_ROW = 30.0


def sheet_frame(width: float, height: float) -> list[Shape]:
    """Return the drawing's frame with its centring marks (none where the title block stands)."""
    inset = 2.0
    box = (inset, inset, width - inset, height - inset)
    middle_x, middle_y, mark = width / 2, height / 2, 6.0
    below = [Line((middle_x, height - inset), (middle_x, height - inset - mark), "frame")] if width > 520 else []
    return [
        rectangle(box, "frame"),
        Line((middle_x, inset), (middle_x, inset + mark), "frame"),
        *below,
        Line((inset, middle_y), (inset + mark, middle_y), "frame"),
        Line((width - inset, middle_y), (width - inset - mark, middle_y), "frame"),
    ]


def _cell(box: Box, label: str, value: str, bold: bool) -> list[Shape]:
    left, top, right, bottom = box
    return [
        rectangle(box, "thin"),
        Words((left + 5.0, top + 10.5), label, 9.0, colour=SOFT),
        Words((left + 5.0, bottom - 6.0), shortened(clean(value), 12.0, right - left - 10.0, bold), 12.0, bold=bold),
    ]


def block_rows(view: OverlayView) -> list[list[tuple[str, str, float, bool]]]:
    """Return the cells of the title block, row by row: label, value, share of the row, and whether it is bold."""
    stands = ("Least margin", f"{millimetres(view.margin_mm)} mm" if view.margin_mm is not None else "not known")
    if view.holding is not None:
        stands = ("Holds", f"{view.holding[0]} of {view.holding[1]}")
    turn = f"{millimetres(view.turn_deg)} deg" if view.turn_deg is not None and view.matrix else "not placed"
    if view.mirrored:
        turn += ", mirrored"
    return [
        [("Donor", called(view.donor, view.donor_name), 1.0, True)],
        [("On host", called(view.host, view.host_name), 1.0, False)],
        [("Verdict", view.verdict or "not yet", 0.62, True), (*stands, 0.38, False)],
        [
            ("Seen from", view.seen_from or "not said", 0.28, False),
            ("Turned", turn, 0.44, False),
            ("Drawing", f"{view.drawing} of {view.drawings}", 0.28, False),
        ],
    ]


def title_block(view: OverlayView, right: float, bottom: float, width: float) -> list[Shape]:
    """Draw the title block with its lower right corner there."""
    rows = block_rows(view)
    left, top = right - width, bottom - _ROW * len(rows)
    shapes: list[Shape] = [rectangle((left, top, right, bottom), "paper")]
    for number, row in enumerate(rows):
        x = left
        for label, value, share, bold in row:
            shapes += _cell((x, top + number * _ROW, x + share * width, top + (number + 1) * _ROW), label, value, bold)
            x += share * width
    return [*shapes, rectangle((left, top, right, bottom), "frame")]


def scale_bar(at: Point, scale: float) -> list[Shape]:
    """Draw a bar of a round length, near 90 pixels, starting at `at`."""
    length_mm = min(
        (base * 10.0**power for power in range(-1, 5) for base in (1.0, 2.0, 5.0)),
        key=lambda length: (abs(length * scale - 90.0), length),
    )
    x, y = at
    end = x + length_mm * scale
    ticks = [
        ((x + part * (end - x), y - (4.0 if part in (0.0, 1.0) else 2.5)), (x + part * (end - x), y))
        for part in (0.0, 0.25, 0.5, 0.75, 1.0)
    ]
    return [
        Line((x, y), (end, y), "wide"),
        Strokes(tuple(ticks), "thin"),
        Words((end + 5.0, y + 1.0), f"{length_mm:g} mm", 11.0),
    ]


KEY_KINDS = ("host fixing", "donor feature", "host edge", "donor edge", "host zone", "donor zone", "to cut")


def sample(kind: str, x: float, y: float) -> list[Shape]:
    """Draw the sample of a key line, one of `KEY_KINDS`, 26 by 12 pixels, its middle at y."""
    box, middle, donor = (x, y - 6, x + 26, y + 6), (x + 13, y), kind.startswith("donor")
    if kind == "host fixing":
        axes = (((x + 4, y), (x + 22, y)), ((x + 13, y - 8), (x + 13, y + 8)))
        return [Round(middle, 5.0, "stud"), Strokes(axes, "centre")]
    if kind == "donor feature":
        return [Round(middle, 5.5, "donor")]
    if kind in ("host edge", "donor edge"):
        return [Line((x, y), (x + 26, y), "donor" if donor else "beyond")]
    if kind == "to cut":
        return [Obround(middle, 6.0, 4.0, 0.0, pen) for pen in ("cut-band", "cut")]
    lines = hatching(corners_of(box), 5.0, 123.0 if donor else 45.0)
    return [rectangle(box, "donor-thin" if donor else "thin"), Strokes(lines, "donor-hatch" if donor else "hatch")]


def key_lines(view: OverlayView) -> list[tuple[str, str]]:
    """Return what the key explains: the kind of each line, and its words."""
    owners = sorted({zone.of for zone in view.zones if zone.of != "donor"})
    lines = (
        ("host fixing", "host fixing", view.fixings),
        ("donor feature", "donor feature", view.features),
        ("host edge", "edge of the host", [line for line in view.outlines if line.of != "donor"]),
        ("donor edge", "edge of the donor", [line for line in view.outlines if line.of == "donor"]),
        ("host zone", "zone of the " + " and ".join(owners), owners),
        ("donor zone", "zone of the donor", [zone for zone in view.zones if zone.of == "donor"]),
        ("to cut", "to cut or open out", view.cuts),
    )
    return [(kind, words) for kind, words, there in lines if there]


def key(view: OverlayView, left: float, top: float, width: float) -> tuple[list[Shape], float]:
    """Draw the key, in as many columns as the width holds; returns its shapes and its height."""
    lines = key_lines(view)
    widest = max((text_width(text, 11.0) for _, text in lines), default=0.0) + 46.0
    columns = max(1, min(int(width // widest), 2))
    shapes: list[Shape] = []
    for number, (kind, text) in enumerate(lines):
        x, y = left + (number % columns) * widest, top + 9.0 + (number // columns) * 19.0
        shapes += sample(kind, x, y)
        shapes.append(Words((x + 34.0, y + 4.0), text, 11.0))
    rows = -(-len(lines) // columns)
    return shapes, rows * 19.0


def paragraph(lines: list[str], left: float, top: float, width: float) -> tuple[list[Shape], float]:
    """Set sentences one under the other, each on at most three lines; returns the shapes and the height."""
    shapes: list[Shape] = []
    down = top
    for sentence in lines:
        for line in wrapped(clean(sentence), 11.0, width, 3):
            down += 11.0 * 1.3
            shapes.append(Words((left, down), line, 11.0))
        down += 2.0
    return shapes, down - top
