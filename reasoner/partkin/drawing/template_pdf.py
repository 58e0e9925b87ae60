"""A template on tiles of paper: every sheet with its rules, square, place in the whole and face."""

from __future__ import annotations

import io
import math
import unicodedata
from collections.abc import Iterable

from reportlab.pdfgen.canvas import Canvas

from partkin.drawing import template, tiles
from partkin.drawing.lettering import millimetres, shortened, text_width, wrapped
from partkin.drawing.pens import INK, PAPER, PAPER_PENS, SOFT
from partkin.drawing.plane import Box, Point, box_about, corners_of, spread_of
from partkin.drawing.shapes import Line, Obround, Poly, Round, Shape, Strokes, Words, obround_points
from partkin.drawing.svg import clean
from partkin.drawing.symbols import half_size_mm
from partkin.model.drawing import TemplateView

POINTS_PER_MM = 72.0 / 25.4
_CAUTION_MM = 3.4


def printable(text: str) -> str:
    """Return text in the letters that the built-in typefaces of PDF have; accents go before letters do."""
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

    def __init__(self, canvas: Canvas, sheets: tiles.PaperSheets) -> None:
        """Go from points to true millimetres of the usable page, the printer's fault taken out."""
        self.canvas = canvas
        canvas.setPageSize((sheets.paper_mm[0] * POINTS_PER_MM, sheets.paper_mm[1] * POINTS_PER_MM))
        across, up = (POINTS_PER_MM / factor for factor in sheets.printer)
        canvas.transform(
            across, 0.0, 0.0, up, tiles.PAPER_MARGIN_MM * POINTS_PER_MM, tiles.PAPER_MARGIN_MM * POINTS_PER_MM
        )

    def pen(self, name: str) -> dict[str, int]:
        pen = PAPER_PENS[name]
        self.canvas.setLineWidth(pen.width)
        self.canvas.setDash(list(pen.dash)) if pen.dash else self.canvas.setDash()
        if pen.stroke:
            self.canvas.setStrokeColor(pen.stroke)
        if pen.fill:
            self.canvas.setFillColor(pen.fill)
        return {"stroke": int(bool(pen.stroke)), "fill": int(bool(pen.fill))}

    def outline(self, points: tuple[Point, ...], closed: bool, name: str) -> None:
        told = self.pen(name)
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if closed:
            path.close()
        self.canvas.drawPath(path, **told)

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

    def paint(self, shapes: Iterable[Shape]) -> None:
        for shape in shapes:
            match shape:
                case Words():
                    self.words(shape)
                case Line() | Strokes():
                    self.pen(shape.pen)
                    for a, b in shape.lines if isinstance(shape, Strokes) else ((shape.a, shape.b),):
                        self.canvas.line(*a, *b)
                case Poly():
                    self.outline(shape.points, shape.closed, shape.pen)
                case Round():
                    self.canvas.circle(*shape.centre, shape.radius, **self.pen(shape.pen))
                case Obround():
                    self.outline(obround_points(shape, True), True, shape.pen)
                case _:
                    raise TypeError(f"a template has no {type(shape).__name__}")

    def tile(self, shapes: list[Shape], sheets: tiles.PaperSheets, tile: tuple[int, int]) -> None:
        """Paint what a tile shows, and the edges of the tile."""
        canvas, box, corner = self.canvas, sheets.tile_box(*tile), (tiles.LEFT_STRIP_MM, sheets.foot)
        canvas.saveState()
        clip = canvas.beginPath()
        clip.rect(*corner, *sheets.window)
        canvas.clipPath(clip, stroke=0, fill=0)
        canvas.translate(corner[0] - box[0], corner[1] - box[1])
        for shape in shapes:
            if isinstance(shape, Strokes):
                lines = tuple(line for line in shape.lines if _meets(spread_of(line), box))
                self.paint([Strokes(lines, shape.pen)] if lines else ())
            elif _meets(_box_of(shape), box):
                self.paint((shape,))
        canvas.restoreState()
        window = (*corner, corner[0] + sheets.window[0], corner[1] + sheets.window[1])
        self.paint(_tile_edges(sheets, *tile, window))


def _page_map(sheets: tiles.PaperSheets, shown: tuple[int, int] | None, box: Box) -> list[Shape]:
    """Draw all tiles small, the shown one filled."""
    left, bottom, right, top = box
    cell = min((right - left) / sheets.columns, (top - bottom) / sheets.rows, 14.0)
    shapes: list[Shape] = []
    for column, row in sheets.tiles():
        x, y = right - (sheets.columns - column) * cell, bottom + (sheets.rows - 1 - row) * cell
        ring, here = corners_of((x, y, x + cell, y + cell)), (column, row) == shown
        shapes += [Poly(ring, pen) for pen in (("dot", "thin") if here else ("thin",))]
        if cell >= 5.0:
            at, size = (x + cell / 2, y + cell / 2 - 0.9), min(2.8, 0.45 * cell)
            shapes.append(Words(at, tiles.tile_name(column, row), size, "middle", colour=PAPER if here else INK))
    return shapes


def _furniture(view: TemplateView, sheets: tiles.PaperSheets, page: int, shown: tuple[int, int] | None) -> list[Shape]:
    """Draw what every sheet carries along its foot and its left side."""
    width = sheets.page[0]
    pages = len(sheets.kept) + 1
    where = "read this sheet first" if shown is None else f"tile {tiles.tile_name(*shown)}"
    correction = ""
    if sheets.printer != (1.0, 1.0):
        correction = f"; corrected for a printer of {sheets.printer[0]:g} across, {sheets.printer[1]:g} up"
    left = tiles.LEFT_STRIP_MM
    lines = _foot_lines(view, width)
    above = _CAUTION_MM * len(lines)
    shapes = [
        *template.rule_shapes((left, 2.0), False),
        *template.rule_shapes((1.0, sheets.foot + 2.0), True),
        *template.square_shapes((left + 106.0, 2.0)),
        *_page_map(sheets, shown, (left + 130.0, 2.0, width, 22.0)),
        Words((left, above + 34.0), template.face_words(view), 8.0, bold=True),
        Words((width, above + 34.0), f"Sheet {page} of {pages}: {where}", 3.6, "end", bold=True),
        Words((left, above + 27.6), shortened(template.heading_words(view), 4.0, width - left), 4.0),
        *(Words((left, above + 23.6 - _CAUTION_MM * n), line, 2.8) for n, line in enumerate(lines)),
        Words((width, 23.0), f"Print at 100 %, not fitted to the page{correction}", 2.6, "end", colour=SOFT),
    ]
    if shown is not None:
        # The foot is trimmed off where another sheet follows below; what stands beside the window stays.
        text = f"{tiles.tile_name(*shown)}  {template.face_words(view)}"
        size = min(5.0, (sheets.window[1] - 110.0) / text_width(text, 1.0, True))
        shapes.append(Words((8.8, sheets.foot + 107.0), text, size, bold=True, turn_deg=90.0))
    return shapes


def _foot_lines(view: TemplateView, width: float) -> list[str]:
    return template.caution_lines(view, 2.8, width - tiles.LEFT_STRIP_MM)


def _tile_edges(sheets: tiles.PaperSheets, column: int, row: int, window: Box) -> list[Shape]:
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
            text = says.format(tiles.tile_name(*beyond[0]))
            shapes.append(Words(at, text, 2.6, "middle", turn_deg=turn_deg, colour=SOFT, halo=True))
    return shapes


def _box_of(shape: Shape) -> Box | None:
    """Return the box about a shape of which a tile may show a part; None: always painted."""
    match shape:
        case Line():
            box = spread_of((shape.a, shape.b))
        case Poly():
            box = spread_of(shape.points)
        case Round():
            box = box_about(shape.centre, shape.radius)
        case Obround():
            box = box_about(shape.centre, shape.radius + shape.half_travel)
        case Words(at=(x, y)):
            box = (x - 1.0, y - 2.0, x + shape.width, y + shape.size)
        case _:
            box = None
    return box and (box[0] - 1.0, box[1] - 1.0, box[2] + 1.0, box[3] + 1.0)


def _meets(box: Box | None, tile: Box) -> bool:
    """Whether a tile may show some of a box; None: of what is always painted."""
    return box is None or (box[0] <= tile[2] and tile[0] <= box[2] and box[1] <= tile[3] and tile[1] <= box[3])


def needed_boxes(view: TemplateView, shapes: list[Shape]) -> list[Box]:
    """Return what has to be on a sheet: crosses with what they are of, labels, and zones piece by piece.

    A stretch of the part's edge is not worth a sheet. Empty for a part that is nothing but edge: then every sheet is.
    """
    boxes = [box for shape in shapes if isinstance(shape, Words) for box in (_box_of(shape),) if box is not None]
    boxes += [box_about(f.at_mm, half_size_mm(f) + 6.0) for f in template.spots_of(view)]
    cell = tiles.OVERLAP_MM
    for zone in view.zones if boxes else ():
        left, bottom, right, top = spread_of(zone.corners_mm) or (0.0, 0.0, 0.0, 0.0)
        counts = math.ceil((right - left) / cell), math.ceil((top - bottom) / cell)
        for x, y in ((left + n * cell, bottom + m * cell) for n in range(counts[0]) for m in range(counts[1])):
            boxes.append((x, y, min(x + cell, right), min(y + cell, top)))
    return boxes


_STEPS = (
    "1  Print at 100 %. On every sheet measure both rules: each has to be 100 mm long. If one is not, "
    "print again with --printer and what it measured over 100, across first, such as 0.993,1.002.",
    "2  Trim the dashed edges. Lay each sheet on its neighbour until the half-filled diamonds meet, and tape it down.",
    "3  The drawing is as {face}. Lay it on that face, or hold it to the light and see that it is not turned over.",
    "4  Where nothing but the part's edge would be, no sheet is printed; the DXF has all of it. A sheet with "
    "diamonds alone holds its neighbours in their place.",
    "5  Black crosses: this part. Blue dashed: the other part, to check against. Dashed on a broad band: to be cut.",
)


def _first_lines(view: TemplateView, room: float) -> list[tuple[str, float, bool]]:
    """Return the lines of the first sheet: text, size, and whether it is a heading."""
    face = template.face_words(view).lower().replace("seen from", "seen from the")
    steps = (step.format(face=face) for step in _STEPS)
    lines = [(line, 3.5, False) for step in steps for line in wrapped(step, 3.5, room)]
    lines.append(("What is drawn (millimetres, in the part's own frame)", 4.2, True))
    sign = -1.0 if view.turned_over else 1.0
    told = [(feature.id, template.size_words(feature), feature.at_mm) for feature in view.features]
    for cut in view.cuts:
        told.append((f"To cut, {cut.feature}", template.cut_words(cut), cut.at_mm))
        told += [
            (f"To file, {cut.feature}", f"{millimetres(by_mm, 1)} mm as far as its end", end)
            for end, by_mm in template.filing_ends(cut, view)
        ]
    for name, size, at in told:
        lines.append((f"{name}: {size}, at {millimetres(sign * at[0])}, {millimetres(at[1])}", 3.2, False))
    return lines


def _first_sheet(view: TemplateView, sheets: tiles.PaperSheets) -> list[Shape]:
    """Set the sheet that is read first: how to check and join, what is drawn, the cautions."""
    width, height = sheets.page
    left, down = tiles.LEFT_STRIP_MM, height - 12.0
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


def template_pdf(view: TemplateView, paper: str = "A4", printer: tuple[float, float] = (1.0, 1.0)) -> bytes:
    """Write a template as PDF at true size, over as many sheets as it takes.

    Parameters
    ----------
    view
    paper
        A4, A3 or Letter.
    printer
        What the printer makes of a true millimetre, across and up the sheet.

    Returns
    -------
    bytes
        A first sheet to read, then the tiles; the same bytes for the same view.

    Raises
    ------
    FaultyInput
        Unknown paper, an impossible correction, or too many sheets.
    """
    view = template.as_seen(view)
    shapes, sheets = _laid_out(view, paper, printer)
    buffer = io.BytesIO()
    canvas = Canvas(buffer, invariant=1, pageCompression=1)
    canvas.setTitle(printable(f"Template: {template.heading_words(view)}"))
    canvas.setAuthor("partkin")
    canvas.setCreator("partkin")
    canvas.setSubject(printable(template.face_words(view)))
    canvas.setViewerPreference("PrintScaling", "None")
    for number, tile in enumerate((None, *sheets.tiles()), 1):
        sheet = _Sheet(canvas, sheets)
        if tile is None:
            sheet.paint(_first_sheet(view, sheets))
        else:
            sheet.tile(shapes, sheets, tile)
        sheet.paint(_furniture(view, sheets, number, tile))
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _laid_out(
    view: TemplateView, paper: str, printer: tuple[float, float]
) -> tuple[list[Shape], tiles.PaperSheets]:  # fmt: skip
    """Return what is drawn, with marks where its sheets are joined, and the sheets."""
    shapes, box = template.pattern_shapes(view)
    needed = needed_boxes(view, shapes)
    around = [point for one in needed for point in (one[:2], one[2:])] or [box[:2], box[2:]]
    left, bottom, right, top = spread_of(around) or box
    sheets = tiles.lay_out(
        (left - 6.0, bottom - 6.0, right + 6.0, top + 6.0),
        paper,
        printer,
        lambda width: tiles.BOTTOM_STRIP_MM + _CAUTION_MM * len(_foot_lines(view, width)),
        needed,
        [(x, y, x, y) for outline in view.outlines for x, y in outline.corners_mm],
    )
    avoid: list[Point] = [(one.at_mm[0], one.at_mm[1]) for one in template.spots_of(view)]
    for label in (shape for shape in shapes if isinstance(shape, Words)):
        (x, y), length = label.at, label.width
        avoid += [(x + along, y) for along in (0.0, length / 3, 2 * length / 3, length)]
    for mark in tiles.join_marks(sheets, avoid):
        # A diamond with its right half filled and a cross through it, unlike any hole.
        x, y = mark.at
        corners = ((x + 3.2, y), (x, y + 3.2), (x - 3.2, y), (x, y - 3.2))
        shapes += [Poly(corners, "join"), Poly((corners[0], corners[1], corners[3]), "dot")]
        shapes += [Line((x - 5.5, y), (x + 5.5, y), "join"), Line((x, y - 5.5), (x, y + 5.5), "join")]
        shapes.append(Words((x + 3.4, y + 3.4), str(mark.number), 2.6))
    return shapes, sheets
