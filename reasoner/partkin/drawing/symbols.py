"""How a fixing, a feature, a zone and a cut look: marks by kind, the same on every drawing (y down); bar and key."""

from __future__ import annotations

import math

from partkin.drawing.plane import Box, Point, corners_of, hatching, turned
from partkin.drawing.shapes import Arc, Hatched, Line, Obround, Oval, Poly, Round, Shape, Strokes, Words
from partkin.model.drawing import Cut, DrawnFeature, DrawnZone, OverlayView, Spread

STANDS_PROUD = ("stud", "peg", "clip")


def size_mm(feature: DrawnFeature) -> float | None:
    """Return the diameter or width that is drawn; None where it is not known."""
    return feature.across_mm if feature.across_mm is not None else feature.fastener_mm


def half_size_mm(drawn: DrawnFeature | Cut) -> float:
    """Return how far a feature or cut reaches from its centre at most; one of unknown size: as far as it slides."""
    if isinstance(drawn, Cut):
        return max(drawn.across_mm, drawn.length_mm or 0.0) / 2
    return (size_mm(drawn) or 0.0) / 2 + drawn.half_travel_mm


def hexagon(centre: Point, radius: float, pen: str) -> Poly:
    """Return a nut's six sides; `radius` to the flats."""
    corner = radius / math.cos(math.radians(30.0))
    turns = [math.radians(60 * k) for k in range(6)]
    return Poly(tuple((centre[0] + corner * math.cos(t), centre[1] + corner * math.sin(t)) for t in turns), pen)


def rectangle(box: Box, pen: str) -> Poly:
    """Return a box as a closed line."""
    return Poly(corners_of(box), pen)


def cross(centre: Point, reach: float, pen: str) -> Strokes:
    """Return the two centre lines of a round feature."""
    x, y = centre
    return Strokes((((x - reach, y), (x + reach, y)), ((x, y - reach), (x, y + reach))), pen)


def feature_marks(feature: DrawnFeature, centre: Point, scale: float, angle_deg: float, donor: bool) -> list[Shape]:
    """Draw one feature at true size, `scale` drawing units a millimetre, a slot `angle_deg` anticlockwise.

    Donor features are blue and have no centre lines, so that the host's stay readable under them.
    """
    wide, thin = ("donor", "donor-thin") if donor else ("wide", "thin")
    solid = "donor-fill" if donor else "stud"
    size = size_mm(feature)
    radius = (size if size is not None else 5.0) / 2 * scale
    shapes: list[Shape] = []
    if size is None:
        shapes.append(Round(centre, radius, "donor-spread" if donor else "hidden"))
    elif feature.kind == "slot" and feature.half_travel_mm > 0:
        shapes.append(Obround(centre, feature.half_travel_mm * scale, radius, angle_deg, wide))
    elif feature.kind == "tapped hole":
        shapes += [Round(centre, radius * 0.85, wide), Arc(centre, radius, 0.0, 270.0, thin)]
    elif feature.kind == "captive nut":
        shapes += [hexagon(centre, max(radius * 1.6, radius + 1.5), thin), Round(centre, radius, wide)]
    elif feature.kind == "clip":
        x, y = centre
        shapes.append(Poly(((x + radius, y), (x, y - radius), (x - radius, y), (x, y + radius)), solid))
    elif feature.kind in STANDS_PROUD:
        shapes.append(Round(centre, radius, solid))
    else:
        shapes.append(Round(centre, radius, wide))
    if not donor:
        shapes.append(cross(centre, radius + feature.half_travel_mm * scale + 4.0, "centre"))
    return shapes


# Spacing in pixels and slope of the hatching by kind; protected kinds are close and crossed or steep.
_HATCH = {
    "tear seam": (4.0, (45.0, 135.0)),
    "airbag door": (6.0, (45.0,)),
    "structural": (6.0, (30.0, 150.0)),
    "keep clear": (11.0, (45.0,)),
    "opening": (0.0, ()),
}


def _slopes(kind: str, donor: bool) -> list[tuple[float, float]]:
    """Spacing and slope of each set of lines that hatches a kind of zone."""
    spacing, slopes = _HATCH[kind]
    lean = -12.0 if donor else 0.0
    return [(spacing, (180.0 - slope if donor and len(slopes) == 1 else slope) + lean) for slope in slopes]


def hatches() -> list[tuple[str, float, float]]:
    """Pen, spacing and slope of every hatching that `zone_marks` draws, each once, in a fixed order."""
    found = [
        ("donor-hatch" if donor else "hatch", *slope)
        for donor in (False, True) for kind in _HATCH for slope in _slopes(kind, donor)
    ]  # fmt: skip
    return list(dict.fromkeys(found))


def zone_marks(zone: DrawnZone, corners: tuple[Point, ...]) -> list[Shape]:
    """Draw a zone: its edge, and inside it the hatching of its kind; an opening gets its diagonals.

    The donor's zones slope the other way than the host's, so that both can be told apart where they lie on
    each other and without colour.
    """
    donor = zone.of == "donor"
    edge, hatch = ("donor-thin", "donor-hatch") if donor else ("thin", "hatch")
    if len(corners) < 3:
        return _seam_line(corners, edge) if corners else []
    shapes: list[Shape] = [Poly(corners, edge)]
    for spacing, angle_deg in _slopes(zone.kind, donor):
        lines = hatching(corners, spacing, angle_deg)
        if lines:
            shapes.append(Hatched(lines, hatch, corners=corners, spacing=spacing, angle_deg=angle_deg))
    if zone.kind == "opening" and len(corners) == 4:
        shapes.append(Strokes(((corners[0], corners[2]), (corners[1], corners[3])), hatch))
    return shapes


def _seam_line(corners: tuple[Point, ...], pen: str) -> list[Shape]:
    """Draw a zone that is a mere line: the line with oblique strokes across it."""
    if len(corners) == 1:
        return [cross(corners[0], 6.0, pen)]
    (x0, y0), (x1, y1) = corners
    length = math.dist(corners[0], corners[1])
    ticks = []
    for step in range(1, max(2, int(length / 10.0))):
        t = step / max(2, int(length / 10.0))
        x, y = x0 + t * (x1 - x0), y0 + t * (y1 - y0)
        ticks.append(((x - 3.0, y + 3.0), (x + 3.0, y - 3.0)))
    return [Line(corners[0], corners[1], pen), Strokes(tuple(ticks), pen)]


def spread_mark(spread: Spread, at: Point, angle_deg: float, scale: float) -> Oval:
    """Draw where a centre lies, `scale` drawing units a millimetre."""
    pen = "donor-spread" if spread.of == "donor" else "spread"
    return Oval(at, (spread.semi_mm[0] * scale, spread.semi_mm[1] * scale), angle_deg, pen)


def cut_marks(cut: Cut, centre: Point, scale: float, angle_deg: float) -> list[Shape]:
    """Draw what is to be cut: its edge dashed on a broad band, at the size it shall have."""
    radius, pens = cut.across_mm / 2 * scale, ("cut-band", "cut")
    half = max(0.0, ((cut.length_mm or cut.across_mm) - cut.across_mm) / 2) * scale
    if half > 0:
        return [Obround(centre, half, radius, angle_deg, pen) for pen in pens]
    return [Round(centre, radius, pen) for pen in pens]


_STATE_STROKES = {
    "lines up": ((-4.0, -2.0, 4.0, -2.0), (-4.0, 2.0, 4.0, 2.0)),
    "tight": ((-4.0, 0.0, 4.0, 0.0),),
    "out of reach": ((-3.6, -3.6, 3.6, 3.6), (-3.6, 3.6, 3.6, -3.6)),
    "blocked": ((-4.0, -1.6, 4.0, -1.6), (-4.0, 1.6, 4.0, 1.6), (-1.6, -4.0, -1.6, 4.0), (1.6, -4.0, 1.6, 4.0)),
}


def state_mark(centre: Point, state: str) -> list[Shape]:
    """Draw a pair's state with the mark that the text has for it: = lines up, - tight, x out of reach, # blocked."""
    x, y = centre
    strokes = tuple(((x + a, y + b), (x + c, y + d)) for a, b, c, d in _STATE_STROKES[state])
    return [Strokes(strokes, "wide")]


def oblique(at: Point, along_deg: float, pen: str) -> Line:
    """Draw the oblique stroke that ends a dimension line (ISO 129-1), at 45 degrees to it (y down)."""
    x, y = turned((5.0, 0.0), along_deg + 45.0)
    return Line((at[0] - x, at[1] + y), (at[0] + x, at[1] - y), pen)


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
