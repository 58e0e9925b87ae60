"""Writes a screen picture as PNG with Pillow, from the same shapes as the SVG."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

from PIL import Image, ImageDraw, ImageFont
from PIL.PngImagePlugin import PngInfo

from partkin.drawing.pens import PAPER, SCREEN_PENS
from partkin.drawing.plane import Point, turned
from partkin.drawing.shapes import (
    Arc,
    Line,
    Obround,
    Oval,
    Picture,
    Poly,
    Round,
    Shape,
    Strokes,
    Words,
    obround_points,
)
from partkin.drawing.svg import clean

# Drawn so many times as large, then made smaller, for smooth edges.
_SMOOTH = 3
MOST_PIXELS = 40_000_000


def dashes(points: Sequence[Point], pattern: tuple[float, ...]) -> list[tuple[Point, Point]]:
    """Cut a line into the strokes of its dashes.

    Examples
    --------
    >>> dashes([(0.0, 0.0), (10.0, 0.0)], (4.0, 2.0))
    [((0.0, 0.0), (4.0, 0.0)), ((6.0, 0.0), (10.0, 0.0))]
    """
    strokes = []
    place, left, on = 0, pattern[0], True
    for a, b in pairwise(points):
        length = math.dist(a, b)
        done = 0.0
        while length - done > 1e-9:
            step = min(left, length - done)
            if on:
                start, end = (
                    (a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share)
                    for share in (done / length, (done + step) / length)
                )
                strokes.append((start, end))
            done += step
            left -= step
            if left <= 1e-9:
                place = (place + 1) % len(pattern)
                left, on = pattern[place], not on
    return strokes


class _Canvas:
    """Paints shapes on an image `scale` times as large as the picture."""

    def __init__(self, image: Image.Image, scale: float) -> None:
        self.image = image
        self.draw = ImageDraw.Draw(image)
        self.scale = scale

    def px(self, point: Point) -> Point:
        return (point[0] * self.scale, point[1] * self.scale)

    def outline(self, points: Sequence[Point], closed: bool, name: str) -> None:
        pen = SCREEN_PENS[name]
        ring = [*points, points[0]] if closed else list(points)
        if pen.fill and closed and len(points) > 2:
            self.draw.polygon([self.px(point) for point in points], fill=pen.fill)
        if not pen.stroke:
            return
        width = max(1, round(pen.width * self.scale))
        if pen.dash:
            for a, b in dashes(ring, pen.dash):
                self.draw.line([self.px(a), self.px(b)], fill=pen.stroke, width=width)
        else:
            self.draw.line([self.px(point) for point in ring], fill=pen.stroke, width=width, joint="curve")

    def ellipse(self, centre: Point, semi: tuple[float, float], angle_deg: float, name: str) -> None:
        turns = [2 * math.pi * n / 72 for n in range(72)]
        spokes = (turned((semi[0] * math.cos(turn), semi[1] * math.sin(turn)), angle_deg) for turn in turns)
        self.outline([(centre[0] + x, centre[1] - y) for x, y in spokes], True, name)

    def words(self, shape: Words) -> None:
        text = clean(shape.text).replace("\n", " ")
        if not text:
            return
        size = shape.size * self.scale
        font = ImageFont.load_default(size)
        weight = round(0.028 * size) if shape.bold else 0
        halo = round(1.6 * self.scale) if shape.halo else 0
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[shape.anchor]

        def write(draw: ImageDraw.ImageDraw, at: Point) -> None:
            if halo:
                draw.text(at, text, fill=PAPER, font=font, anchor=anchor, stroke_width=halo + weight, stroke_fill=PAPER)
            colour = shape.colour
            draw.text(at, text, fill=colour, font=font, anchor=anchor, stroke_width=weight, stroke_fill=colour)

        at = self.px(shape.at)
        if not shape.turn_deg:
            write(self.draw, at)
            return
        side = int(font.getlength(text) + 4 * size)
        layer = Image.new("RGBA", (2 * side, 2 * side), (255, 255, 255, 0))
        write(ImageDraw.Draw(layer), (side, side))
        layer = layer.rotate(shape.turn_deg, resample=Image.Resampling.BICUBIC)
        self.image.paste(layer, (round(at[0]) - side, round(at[1]) - side), layer)

    def paint(self, shapes: Iterable[Shape]) -> None:
        for shape in shapes:
            match shape:
                case Words():
                    self.words(shape)
                case Line():
                    self.outline((shape.a, shape.b), False, shape.pen)
                case Strokes():
                    for line in shape.lines:
                        self.outline(line, False, shape.pen)
                case Poly():
                    self.outline(shape.points, shape.closed, shape.pen)
                case Round():
                    self.ellipse(shape.centre, (shape.radius, shape.radius), 0.0, shape.pen)
                case Oval():
                    self.ellipse(shape.centre, shape.semi, shape.angle_deg, shape.pen)
                case Obround():
                    self.outline(obround_points(shape, False), True, shape.pen)
                case Arc():
                    sweep_deg, (x, y) = shape.to_deg - shape.from_deg, shape.centre
                    spokes = [turned((shape.radius, 0.0), shape.from_deg + sweep_deg * n / 48) for n in range(49)]
                    self.outline([(x + across, y - up) for across, up in spokes], False, shape.pen)


def picture_png(picture: Picture, scale: float = 2.0) -> bytes:
    """Write a screen picture (pixels, y down) as PNG, `scale` pixels of the image for one of the picture.

    The same bytes for the same picture and the same version of Pillow. Letters outside ASCII may be missing from
    Pillow's own typeface; the SVG has them. ValueError: the image would have more than 40 million pixels.
    """
    size = (max(1, round(picture.width * scale)), max(1, round(picture.height * scale)))
    if size[0] * size[1] > MOST_PIXELS or not scale > 0:
        raise ValueError(f"an image of {size[0]} x {size[1]} pixels is too large")
    smooth = _SMOOTH if size[0] * size[1] * _SMOOTH**2 <= 4 * MOST_PIXELS else 1
    image = Image.new("RGB", (size[0] * smooth, size[1] * smooth), PAPER)
    _Canvas(image, scale * smooth).paint(picture.shapes)
    if smooth > 1:
        image = image.resize(size, Image.Resampling.LANCZOS)
    out = io.BytesIO()
    made_by = PngInfo()
    made_by.add_text("Software", "partkin")
    image.quantize(64, dither=Image.Dither.NONE).save(out, "PNG", optimize=True, pnginfo=made_by)
    return out.getvalue()
