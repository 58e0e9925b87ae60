"""A template on tiles of paper: every sheet with its rules, square, place in the whole and face."""

from __future__ import annotations

import io
import math
import unicodedata

from reportlab.pdfgen.canvas import Canvas

from partkin.drawing.laying import spread_of
from partkin.drawing.shapes import (
    INK,
    PAPER,
    PAPER_PENS,
    SOFT,
    Arc,
    Box,
    Line,
    Obround,
    Oval,
    Pen,
    Point,
    Poly,
    Round,
    Shape,
    Strokes,
    Window,
    Words,
    millimetres,
    obround_points,
    shortened,
    text_width,
    turned,
    wrapped,
)
from partkin.drawing.svg import clean
from partkin.drawing.symbols import size_mm
from partkin.drawing.template import (
    caution_lines,
    cut_words,
    face_words,
    filing_ends,
    heading_words,
    pattern_shapes,
    rule_shapes,
    size_words,
    square_shapes,
)
from partkin.drawing.tiles import (
    BOTTOM_STRIP_MM,
    LEFT_STRIP_MM,
    OVERLAP_MM,
    PAPER_MARGIN_MM,
    JoinMark,
    PaperSheets,
    join_marks,
    lay_out,
    tile_name,
)
from partkin.model.drawing import TemplateView

POINTS_PER_MM = 72.0 / 25.4
_CAUTION_MM = 3.4


def printable(text: str) -> str:
    """Return text in the letters that the built-in typefaces of PDF have; accents go before letters do.

    Examples
    --------
    >>> printable("caf\\u00e9 \\u0159\\u00ed\\u0163 \\u6f22")
    'caf\\xe9 r\\xedt ?'
    """
    out = []
    for letter in unicodedata.normalize("NFC", clean(text)):
        for attempt in (letter, unicodedata.normalize("NFKD", letter)[:1], "?"):
            try:
                attempt.encode("cp1252")
            except UnicodeEncodeError:
                continue
            out.append(attempt)
            break
    return "".join(out)


class _Sheet:
    """Paints shapes (millimetres, y up) on the sheet of paper that the canvas has open."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas = canvas

    def pen(self, name: str) -> Pen:
        pen = PAPER_PENS[name]
        self.canvas.setLineWidth(pen.width)
        self.canvas.setDash(list(pen.dash)) if pen.dash else self.canvas.setDash()
        if pen.stroke:
            self.canvas.setStrokeColor(pen.stroke)
        if pen.fill:
            self.canvas.setFillColor(pen.fill)
        return pen

    def outline(self, points: tuple[Point, ...], closed: bool, name: str) -> None:
        pen = self.pen(name)
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if closed:
            path.close()
        self.canvas.drawPath(path, stroke=int(bool(pen.stroke)), fill=int(bool(pen.fill)))

    def words(self, shape: Words) -> None:
        text = printable(shape.text)
        face = "Helvetica-Bold" if shape.bold else "Helvetica"
        width = self.canvas.stringWidth(text, face, shape.size)
        self.canvas.saveState()
        self.canvas.translate(*shape.at)
        if shape.turn_deg:
            self.canvas.rotate(shape.turn_deg)
        left = {"start": 0.0, "middle": -width / 2, "end": -width}[shape.anchor]
        if shape.halo:
            self.canvas.setFillColor(PAPER)
            self.canvas.rect(left - 0.4, -0.25 * shape.size, width + 0.8, 1.05 * shape.size, stroke=0, fill=1)
        self.canvas.setFillColor(shape.colour)
        self.canvas.setFont(face, shape.size)
        self.canvas.drawString(left, 0.0, text)
        self.canvas.restoreState()

    def paint(self, shape: Shape) -> None:
        if isinstance(shape, Words):
            self.words(shape)
        elif isinstance(shape, Line):
            self.pen(shape.pen)
            self.canvas.line(*shape.a, *shape.b)
        elif isinstance(shape, Strokes):
            self.pen(shape.pen)
            for a, b in shape.lines:
                self.canvas.line(*a, *b)
        elif isinstance(shape, Poly):
            self.outline(shape.points, shape.closed, shape.pen)
        elif isinstance(shape, Round):
            pen = self.pen(shape.pen)
            self.canvas.circle(*shape.centre, shape.radius, stroke=int(bool(pen.stroke)), fill=int(bool(pen.fill)))
        elif isinstance(shape, Obround):
            self.outline(obround_points(shape, True), True, shape.pen)
        elif isinstance(shape, Arc):
            spokes = (
                turned((shape.radius, 0.0), shape.from_deg + (shape.to_deg - shape.from_deg) * n / 32)
                for n in range(33)
            )
            self.outline(tuple((shape.centre[0] + x, shape.centre[1] + y) for x, y in spokes), False, shape.pen)
        elif isinstance(shape, Oval | Window):
            raise TypeError(f"a template has no {type(shape).__name__}")


def _join_shapes(mark: JoinMark) -> list[Shape]:
    """Draw a join mark: a diamond with its right half filled and a cross through it, unlike any hole."""
    x, y = mark.at
    corners = ((x + 3.2, y), (x, y + 3.2), (x - 3.2, y), (x, y - 3.2))
    return [
        Poly(corners, "join"),
        Poly((corners[0], corners[1], corners[3]), "dot"),
        Line((x - 5.5, y), (x + 5.5, y), "join"),
        Line((x, y - 5.5), (x, y + 5.5), "join"),
        Words((x + 3.4, y + 3.4), str(mark.number), 2.6),
    ]


def _page_map(sheets: PaperSheets, shown: tuple[int, int] | None, box: Box) -> list[Shape]:
    """Draw all tiles small, the shown one filled."""
    left, bottom, right, top = box
    cell = min((right - left) / sheets.columns, (top - bottom) / sheets.rows, 14.0)
    shapes: list[Shape] = []
    for column, row in sheets.tiles():
        x, y = right - (sheets.columns - column) * cell, bottom + (sheets.rows - 1 - row) * cell
        ring = ((x, y), (x + cell, y), (x + cell, y + cell), (x, y + cell))
        here = (column, row) == shown
        if here:
            shapes.append(Poly(ring, "dot"))
        shapes.append(Poly(ring, "thin"))
        if cell >= 5.0:
            name = tile_name(column, row)
            shapes.append(
                Words(
                    (x + cell / 2, y + cell / 2 - 0.9),
                    name,
                    min(2.8, 0.45 * cell),
                    "middle",
                    colour=PAPER if here else INK,
                )
            )
    return shapes


def _furniture(view: TemplateView, sheets: PaperSheets, page: int, shown: tuple[int, int] | None) -> list[Shape]:
    """Draw what every sheet carries along its foot and its left side."""
    width = sheets.page[0]
    pages = len(sheets.kept) + 1
    where = "read this sheet first" if shown is None else f"tile {tile_name(*shown)}"
    correction = ""
    if sheets.printer != (1.0, 1.0):
        correction = f"; corrected for a printer of {sheets.printer[0]:g} across, {sheets.printer[1]:g} up"
    left = LEFT_STRIP_MM
    lines = _foot_lines(view, width)
    above = _CAUTION_MM * len(lines)
    shapes = [
        *rule_shapes((left, 2.0), False),
        *rule_shapes((1.0, sheets.foot + 2.0), True),
        *square_shapes((left + 106.0, 2.0)),
        *_page_map(sheets, shown, (left + 130.0, 2.0, width, 22.0)),
        Words((left, above + 34.0), face_words(view), 8.0, bold=True),
        Words((width, above + 34.0), f"Sheet {page} of {pages}: {where}", 3.6, "end", bold=True),
        Words((left, above + 27.6), shortened(heading_words(view), 4.0, width - left), 4.0),
        *(Words((left, above + 23.6 - _CAUTION_MM * n), line, 2.8) for n, line in enumerate(lines)),
        Words((width, 23.0), f"Print at 100 %, not fitted to the page{correction}", 2.6, "end", colour=SOFT),
    ]
    if shown is not None:
        # The foot is trimmed off where another sheet follows below; what stands beside the window stays.
        text = f"{tile_name(*shown)}  {face_words(view)}"
        size = min(5.0, (sheets.window[1] - 110.0) / text_width(text, 1.0, True))
        shapes.append(Words((8.8, sheets.foot + 107.0), text, size, bold=True, turn_deg=90.0))
    return shapes


def _foot_lines(view: TemplateView, width: float) -> list[str]:
    return caution_lines(view, 2.8, width - LEFT_STRIP_MM)


def _tile_edges(sheets: PaperSheets, column: int, row: int, window: Box) -> list[Shape]:
    """Draw the frame of a tile: dashed where it is trimmed to be laid on its neighbour, which is named."""
    left, bottom, right, top = window
    middle_x, middle_y = (left + right) / 2, (bottom + top) / 2
    on, under = "trim, lay on {}", "{} is laid on here"
    sides = (
        ((1, 0), (right, bottom), (right, top), (right - 1.2, middle_y), 90.0, on),
        ((-1, 0), (left, bottom), (left, top), (left + 3.4, middle_y), 90.0, under),
        ((0, -1), (left, top), (right, top), (middle_x, top - 3.4), 0.0, under),
        ((0, 1), (left, bottom), (right, bottom), (middle_x, bottom + 1.2), 0.0, on),
    )
    shapes: list[Shape] = []
    for (across, down), a, b, at, turn_deg, says in sides:
        # A sheet that meets this one at a corner alone has to have the paper beyond the edge out of its way too.
        beyond = [(column + across + side * down, row + down + side * across) for side in (0, -1, 1)]
        trimmed = says == on and any(tile in sheets.kept for tile in beyond)
        shapes.append(Line(a, b, "hidden" if trimmed else "thin"))
        if beyond[0] in sheets.kept:
            text = says.format(tile_name(*beyond[0]))
            shapes.append(Words(at, text, 2.6, "middle", turn_deg=turn_deg, colour=SOFT, halo=True))
    return shapes


def _box_of(shape: Shape) -> Box | None:
    """Return the box about a shape of which a tile may show a part; None: always painted."""
    if isinstance(shape, Line):
        points: tuple[Point, ...] = (shape.a, shape.b)
    elif isinstance(shape, Poly):
        points = shape.points
    elif isinstance(shape, Round):
        x, y = shape.centre
        points = ((x - shape.radius, y - shape.radius), (x + shape.radius, y + shape.radius))
    elif isinstance(shape, Obround):
        reach = shape.radius + shape.half_travel
        x, y = shape.centre
        points = ((x - reach, y - reach), (x + reach, y + reach))
    elif isinstance(shape, Words):
        reach = text_width(shape.text, shape.size, shape.bold)
        points = ((shape.at[0] - 1.0, shape.at[1] - 2.0), (shape.at[0] + reach, shape.at[1] + shape.size))
    else:
        return None
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return (min(xs) - 1.0, min(ys) - 1.0, max(xs) + 1.0, max(ys) + 1.0)


def _on_tile(shape: Shape, tile: Box) -> Shape | None:
    """Return what of a shape a tile can show; None: nothing."""
    if isinstance(shape, Strokes):
        lines = tuple(
            (a, b)
            for a, b in shape.lines
            if max(a[0], b[0]) >= tile[0]
            and min(a[0], b[0]) <= tile[2]
            and max(a[1], b[1]) >= tile[1]
            and min(a[1], b[1]) <= tile[3]
        )
        return Strokes(lines, shape.pen, shape.layer) if lines else None
    box = _box_of(shape)
    if box is None or (box[0] <= tile[2] and tile[0] <= box[2] and box[1] <= tile[3] and tile[1] <= box[3]):
        return shape
    return None


def needed_boxes(view: TemplateView, shapes: list[Shape]) -> list[Box]:
    """Return what has to be on a sheet: crosses with what they are of, labels, and zones piece by piece.

    A stretch of the part's edge is not worth a sheet. Empty for a part that is nothing but edge: then every sheet is.
    """
    boxes = [box for shape in shapes if isinstance(shape, Words) for box in (_box_of(shape),) if box is not None]
    crosses = [(f.at_mm, (size_mm(f) or 0.0) / 2 + f.half_travel_mm) for f in (*view.features, *view.laid_on)]
    crosses += [(cut.at_mm, max(cut.across_mm, cut.length_mm or 0.0) / 2) for cut in view.cuts]
    for at, radius in crosses:
        reach = radius + 6.0
        boxes.append((at[0] - reach, at[1] - reach, at[0] + reach, at[1] + reach))
    cell = OVERLAP_MM
    for zone in view.zones if boxes else ():
        left, bottom, right, top = spread_of(zone.corners_mm) or (0.0, 0.0, 0.0, 0.0)
        for n in range(math.ceil((right - left) / cell)):
            for m in range(math.ceil((top - bottom) / cell)):
                x, y = left + n * cell, bottom + m * cell
                boxes.append((x, y, min(x + cell, right), min(y + cell, top)))
    return boxes


def _open_page(canvas: Canvas, sheets: PaperSheets) -> None:
    """Go from points to true millimetres of the usable page, the printer's fault taken out."""
    canvas.setPageSize((sheets.paper_mm[0] * POINTS_PER_MM, sheets.paper_mm[1] * POINTS_PER_MM))
    margin = PAPER_MARGIN_MM * POINTS_PER_MM
    canvas.transform(POINTS_PER_MM / sheets.printer[0], 0.0, 0.0, POINTS_PER_MM / sheets.printer[1], margin, margin)


def _steps(view: TemplateView) -> list[str]:
    face = face_words(view).lower().replace("seen from", "seen from the")
    return [
        "1  Print at 100 %. On every sheet measure both rules: each has to be 100 mm long. If one is not, "
        "print again with --printer and what it measured over 100, across first, such as 0.993,1.002.",
        "2  Trim the dashed edges. Lay each sheet on its neighbour until the half-filled diamonds meet, and "
        "tape it down.",
        f"3  The drawing is as {face}. Lay it on that face, or hold it to the light and see that it is not "
        "turned over.",
        "4  Where nothing but the part's edge would be, no sheet is printed; the DXF has all of it. A sheet with "
        "diamonds alone holds its neighbours in their place.",
        "5  Black crosses: this part. Blue dashed: the other part, to check against. Dashed on a broad band: "
        "to be cut.",
    ]


def _first_lines(view: TemplateView, room: float) -> list[tuple[str, float, bool]]:
    """Return the lines of the first sheet: text, size, and whether it is a heading."""
    lines: list[tuple[str, float, bool]] = []
    for step in _steps(view):
        lines += [(line, 3.5, False) for line in wrapped(step, 3.5, room)]
    lines.append(("What is drawn (millimetres, in the part's own frame)", 4.2, True))
    sign = -1.0 if view.turned_over else 1.0
    told = [(feature.id, size_words(feature), feature.at_mm) for feature in view.features]
    for cut in view.cuts:
        told.append((f"To cut, {cut.feature}", cut_words(cut), cut.at_mm))
        told += [
            (f"To file, {cut.feature}", f"{millimetres(by_mm, 1)} mm as far as its end", end)
            for end, by_mm in filing_ends(cut, view)
        ]
    for name, size, at in told:
        lines.append((f"{name}: {size}, at {millimetres(sign * at[0])}, {millimetres(at[1])}", 3.2, False))
    return lines


def _first_sheet(view: TemplateView, sheets: PaperSheets) -> list[Shape]:
    """Set the sheet that is read first: how to check and join, what is drawn, the cautions."""
    width, height = sheets.page
    left, down = LEFT_STRIP_MM, height - 12.0
    room = width - left
    shapes: list[Shape] = [Words((left, down), "Template at true size", 8.0, bold=True)]
    down -= 3.0
    lines = _first_lines(view, room)
    floor = sheets.foot + 6.0
    for number, (line, size, bold) in enumerate(lines):
        down -= size * 1.45 + (3.0 if bold else 0.0)
        if down < floor:
            more = f"... and {len(lines) - number} lines more; the DXF has them all."
            shapes.append(Words((left, down + size * 0.6), more, 3.2))
            break
        shapes.append(Words((left, down), shortened(clean(line), size, room, bold), size, bold=bold))
    return shapes


def tiled_pdf(view: TemplateView, paper: str, printer: tuple[float, float]) -> bytes:
    """Write a template (already as seen) as PDF; see `template.template_pdf`."""
    shapes, box = pattern_shapes(view)
    needed = needed_boxes(view, shapes)
    around = [point for one in needed for point in (one[:2], one[2:])] or [box[:2], box[2:]]
    left, bottom, right, top = spread_of(around) or box
    sheets = lay_out(
        (left - 6.0, bottom - 6.0, right + 6.0, top + 6.0),
        paper,
        printer,
        lambda width: BOTTOM_STRIP_MM + _CAUTION_MM * len(_foot_lines(view, width)),
        needed,
        [(x, y, x, y) for outline in view.outlines for x, y in outline.corners_mm],
    )
    avoid: list[Point] = [(f.at_mm[0], f.at_mm[1]) for f in (*view.features, *view.laid_on)]
    avoid += [(cut.at_mm[0], cut.at_mm[1]) for cut in view.cuts]
    for label in (shape for shape in shapes if isinstance(shape, Words)):
        length = text_width(label.text, label.size, label.bold)
        avoid += [(label.at[0] + along, label.at[1]) for along in (0.0, length / 3, 2 * length / 3, length)]
    for mark in join_marks(sheets, avoid):
        shapes = shapes + _join_shapes(mark)
    buffer = io.BytesIO()
    canvas = Canvas(buffer, invariant=1, pageCompression=1)
    canvas.setTitle(printable(f"Template: {heading_words(view)}"))
    canvas.setAuthor("partkin")
    canvas.setCreator("partkin")
    canvas.setSubject(printable(face_words(view)))
    canvas.setViewerPreference("PrintScaling", "None")
    painter = _Sheet(canvas)
    _open_page(canvas, sheets)
    for shape in _first_sheet(view, sheets) + _furniture(view, sheets, 1, None):
        painter.paint(shape)
    canvas.showPage()
    for number, tile in enumerate(sheets.tiles(), 2):
        _open_page(canvas, sheets)
        _paint_tile(painter, shapes, sheets, tile)
        for shape in _furniture(view, sheets, number, tile):
            painter.paint(shape)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _paint_tile(painter: _Sheet, shapes: list[Shape], sheets: PaperSheets, tile: tuple[int, int]) -> None:
    canvas = painter.canvas
    box = sheets.tile_box(*tile)
    corner = (LEFT_STRIP_MM, sheets.foot)
    window = (corner[0], corner[1], corner[0] + sheets.window[0], corner[1] + sheets.window[1])
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(window[0], window[1], sheets.window[0], sheets.window[1])
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.translate(corner[0] - box[0], corner[1] - box[1])
    for shape in shapes:
        shown = _on_tile(shape, box)
        if shown is not None:
            painter.paint(shown)
    canvas.restoreState()
    for shape in _tile_edges(sheets, *tile, window):
        painter.paint(shape)
