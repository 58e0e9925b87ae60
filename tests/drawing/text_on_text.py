"""How many texts of the drawings lie on a text or a line, and how many leaders cross one: random builds, measured
with shapely alone.

python tests/drawing/text_on_text.py --count 200
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from random import Random

import shapely
from shapely import affinity

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from builders import Row, build, moved
from partkin.commands.seeing import overlay, see
from partkin.drawing.lettering import text_width
from partkin.drawing.overlay import pattern
from partkin.drawing.pens import SCREEN_PENS
from partkin.drawing.shapes import (
    Arc,
    Leader,
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
from partkin.model.build import Build, Feature, Outline, Zone
from partkin.model.drawing import OverlayView
from partkin.model.words import WORDS
from partkin.report.html_figure import BROAD_PX, NARROW_PX

# The figure of report and page at 360 px, at 800 and 1400 px, and as wide as the drawing in docs/drawings.md.
WIDTHS = {"narrow": NARROW_PX, "broad": BROAD_PX, "wide": 760.0}
KINDS = {"stud": "hole", "captive nut": "hole", "tapped hole": "slot", "peg hole": "peg", "clip hole": "clip"}


def random_build(seed: int) -> Build:
    """Draw up 3 to 30 fixings with edges and zones on both sides; some holes stand off, by a little or by much."""
    draw = Random(f"text on text {seed}")
    count, wide, high = draw.randint(3, 30), draw.uniform(150, 1400), draw.uniform(30, 500)
    corners = ((-15.0, -15.0), (wide + 15, -15.0), (wide + 15, high + 15), (-15.0, high + 15))
    at = [(draw.uniform(0, wide), draw.uniform(0, high)) for _ in range(count)]
    off = draw.choice((0.0, 0.1, 0.5))
    odd = set(draw.sample(range(count), draw.choice((0, 0, 1, 1, 2))))
    placed = [tuple(c + draw.gauss(0.0, 5.0 if k in odd else off) for c in point) for k, point in enumerate(at)]
    turn_deg, x_mm, y_mm = draw.uniform(-20, 20), draw.uniform(-50, 50), draw.uniform(-50, 50)
    on_donor = moved(placed, turn_deg, x_mm, y_mm)
    host, donor = [], []
    names = draw.choice((("F", "a"), ("screw-", "hole no. "), ("", "top ")))
    for k, (point, hole) in enumerate(zip(at, on_donor, strict=True), start=1):
        kind = draw.choice(tuple(KINDS))
        read = draw.choice((0.0, 0.1, 0.5, 2.0))
        long_mm = 12.0 if KINDS[kind] == "slot" else None
        host.append(Feature("host", f"{names[0]}{k}", kind, across_mm=6.0, x_mm=point[0], y_mm=point[1],
                            plus_minus_mm=read, need="must"))  # fmt: skip
        donor.append(Feature("donor", f"{names[1]}{k}", KINDS[kind], across_mm=7.0 if KINDS[kind] in ("hole", "slot")
                             else 5.0, length_mm=long_mm, x_mm=hole[0], y_mm=hole[1], plus_minus_mm=read,
                             goes_on=f"{names[0]}{k}"))  # fmt: skip
    made = build(host, donor, duty=draw.choice(("trim", "trim", "structural")))
    zones = [
        Zone(part, f"{part} zone {k}", draw.choice(WORDS["zone"]), tuple(_corners(draw, part, wide, high, turn_deg)))
             for part in ("host", "donor") for k in range(draw.choice((0, 1, 2)))]  # fmt: skip
    outlines = (Outline("host", "edge", "rim", corners),
                Outline("donor", "edge", "rim", tuple(moved(corners, turn_deg, x_mm, y_mm))))  # fmt: skip
    return replace(made, zones=tuple(zones), outlines=outlines if draw.random() < 0.8 else ())


def _corners(draw: Random, part: str, wide: float, high: float, turn_deg: float) -> list[Row]:
    x, y = draw.uniform(0, 0.7 * wide), draw.uniform(0, 0.7 * high)
    right, top = x + draw.uniform(20, 0.4 * wide), y + draw.uniform(10, 0.5 * high)
    corners = [(x, y), (right, y), (right, top), (x, top)]
    return moved(corners, turn_deg, 0.0, 0.0) if part == "donor" else corners


def views(made: Build) -> list[OverlayView]:
    """Return what is drawn of a build: as it is and, where there is work, with the work done."""
    seen = see(made, "donor")
    found = (overlay(made, seen), overlay(made, seen, after=True))
    return [view for view in found if view is not None]


def pictures(view: OverlayView) -> dict[str, Picture]:
    """Return a view's drawings by the name of their width."""
    return {name: pattern(view, width).picture for name, width in WIDTHS.items()}


def _text(words: Words) -> shapely.Polygon:
    width = text_width(words.text, words.size, words.bold)
    left = words.at[0] - {"start": 0.0, "middle": width / 2, "end": width}[words.anchor]
    # Height of capitals and depth of g and p, in ems: read off DejaVu Sans (0.73 and 0.24), from memory.
    level = shapely.box(left, words.at[1] - 0.73 * words.size, left + width, words.at[1] + 0.2 * words.size)
    return affinity.rotate(level, -words.turn_deg, origin=words.at)


def _drawn(shapes: Sequence[Shape]) -> Iterator[tuple[str, shapely.Geometry]]:
    for shape in shapes:
        match shape:
            case Line():
                yield shape.pen, shapely.LineString((shape.a, shape.b))
            case Strokes():
                yield shape.pen, shapely.MultiLineString(shape.lines)
            case Poly():
                yield shape.pen, _closed(shape.points) if shape.closed else shapely.LineString(shape.points)
            case Obround():
                yield shape.pen, _closed(obround_points(shape, y_up=False))
            case Round() | Arc():
                yield shape.pen, shapely.Point(shape.centre).buffer(shape.radius).exterior
            case Oval():
                level = affinity.scale(shapely.Point(0, 0).buffer(1.0), *shape.semi, origin=(0, 0))
                oval = affinity.rotate(level, -shape.angle_deg, origin=(0, 0))
                yield shape.pen, affinity.translate(oval, *shape.centre).exterior


def _closed(points: Sequence[Row]) -> shapely.Geometry:
    """Return a closed line; a mere stretch for two points."""
    return shapely.LinearRing(points) if len(points) > 2 else shapely.LineString(points)


def overlaps(picture: Picture) -> list[str]:
    """Say which texts lie on a text, on a line or beyond the edge; a line that paper covers is gone."""
    texts = [(shape.text, _text(shape)) for shape in picture.shapes if isinstance(shape, Words)]
    edge = shapely.box(0.0, 0.0, picture.width, picture.height)
    found = [f"{a} on {b}" for (a, one), (b, other) in combinations(texts, 2) if one.intersects(other)]
    found += [f"{text} beyond the edge" for text, box in texts if not edge.contains(box)]
    lines: list[tuple[str, shapely.Geometry]] = []
    for pen, line in _drawn(picture.shapes):
        if pen == "paper":
            sheet = shapely.Polygon(line.coords)
            lines = [(other, under.difference(sheet)) for other, under in lines]
        elif SCREEN_PENS[pen].fill:
            lines.append((pen, shapely.Polygon(line.coords)))
        else:
            lines.append((pen, line))
    tree = shapely.STRtree([line for _, line in lines])
    for text, box in texts:
        for number in tree.query(box, predicate="dwithin", distance=2.5):
            if SCREEN_PENS[lines[number][0]].width / 2 > box.distance(lines[number][1]):
                found.append(f"{text} on a line ({lines[number][0]})")
    return found + _crossed(picture, texts)


def _crossed(picture: Picture, texts: Sequence[tuple[str, shapely.Polygon]]) -> list[str]:
    """Say which leaders cross a text, a mark or a line; the edges and zones of parts they may cross."""
    found = []
    lines = [shape for shape in picture.shapes if shape.layer != "areas"]
    for leader in (shape for shape in lines if isinstance(shape, Leader)):
        way, half = shapely.LineString((leader.a, leader.b)), SCREEN_PENS[leader.pen].width / 2
        found += [f"a leader on {text}" for text, box in texts if way.distance(box) < half]
        for pen, line in _drawn([shape for shape in lines if shape is not leader]):
            area = shapely.Polygon(line.coords) if SCREEN_PENS[pen].fill else line
            if pen != "paper" and way.distance(area) < half + SCREEN_PENS[pen].width / 2:
                found.append(f"a leader on a line ({pen})")
    return found


def counted(seeds: Sequence[int]) -> tuple[dict[str, int], dict[str, int], list[str]]:
    """Return overlaps by width, texts of fixings by width, and what was found, with its build's number."""
    bad, told, said = dict.fromkeys(WIDTHS, 0), dict.fromkeys(WIDTHS, 0), []
    for seed in seeds:
        for number, view in enumerate(views(random_build(seed))):
            for name, picture in pictures(view).items():
                found = overlaps(picture)
                bad[name] += len(found)
                told[name] += sum(isinstance(shape, Words) for shape in picture.shapes)
                said += [f"build {seed}, drawing {number + 1}, {name}: {words}" for words in found]
    return bad, told, said


def main() -> None:
    """Count and print."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=200)
    asked.add_argument("--say", action="store_true", help="name each overlap")
    chosen = asked.parse_args()
    bad, told, said = counted(range(chosen.count))
    for line in said if chosen.say else ():
        print(line)
    for name, width in WIDTHS.items():
        print(f"{name} ({width:g} px): {bad[name]} overlaps, {told[name]} texts")


if __name__ == "__main__":
    main()
