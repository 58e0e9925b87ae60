"""The colours of the pictures, and the pens that they are drawn with on screen and paper."""

from __future__ import annotations

from dataclasses import dataclass

INK, SOFT, FAINT, RULE = "#111111", "#555555", "#767676", "#999999"
PAPER, SHADE, SOLID, TINT = "#FFFFFF", "#F2F2F2", "#DCDCDC", "#D4E7F3"
BLUE, ORANGE = "#0072B2", "#E69F00"
"""Black on white; blue and orange from the palette of M. Okabe and K. Ito, Color Universal Design (2008)."""

# Report and page name these colours; each as it is, and as it is on a screen that asks for a dark page. There the blue
# is that palette's sky blue, and the orange is darker, so that the dashes of a cut stay apart from their band.
THEME: dict[str, tuple[str, str]] = {
    "ink": (INK, "#ECECEC"),
    "soft": (SOFT, "#B4B4B4"),
    "faint": (FAINT, "#929292"),
    "rule": (RULE, "#6E6E6E"),
    "paper": (PAPER, "#151719"),
    "shade": (SHADE, "#2A2D31"),
    "solid": (SOLID, "#44484C"),
    "tint": (TINT, "#123A52"),
    "blue": (BLUE, "#56B4E9"),
    "orange": (ORANGE, "#936600"),
}


@dataclass(frozen=True)
class Pen:
    """A line and what it encloses: colour, width and dashes in units of the picture, fill."""

    stroke: str | None
    width: float = 0.0
    dash: tuple[float, ...] = ()
    fill: str | None = None


# Wide lines are twice the narrow ones (ISO 128-2, line groups). Dashes: centre lines long-dashed dotted,
# adjacent parts long-dashed double-dotted, as ISO 128-2 lists them.
SCREEN_PENS: dict[str, Pen] = {
    "frame": Pen(INK, 1.8),
    "thin": Pen(INK, 0.9),
    "wide": Pen(INK, 1.8),
    "faint": Pen(FAINT, 0.45),
    "centre": Pen(INK, 0.6, (9.0, 2.0, 1.5, 2.0)),
    "beyond": Pen(INK, 0.9, (11.0, 2.0, 1.5, 2.0, 1.5, 2.0)),
    "hidden": Pen(INK, 0.9, (4.0, 2.0)),
    "stud": Pen(INK, 1.8, fill=SOLID),
    "dot": Pen(None, fill=INK),
    "hollow": Pen(INK, 0.9, fill=PAPER),
    "hatch": Pen(INK, 0.45),
    "donor": Pen(BLUE, 1.8),
    "donor-thin": Pen(BLUE, 0.9),
    "donor-fill": Pen(BLUE, 1.8, fill=TINT),
    "donor-dot": Pen(None, fill=BLUE),
    "donor-hatch": Pen(BLUE, 0.45),
    "spread": Pen(INK, 0.9, (2.5, 1.8)),
    "donor-spread": Pen(BLUE, 0.9, (2.5, 1.8)),
    "cut-band": Pen(ORANGE, 5.0),
    "cut": Pen(INK, 1.3, (5.0, 2.2)),
    "paper": Pen(None, fill=PAPER),
}

# Millimetres; line group 0.5 of ISO 128-2: 0.5 wide, 0.25 narrow.
PAPER_PENS: dict[str, Pen] = {
    "thin": Pen(INK, 0.25),
    "wide": Pen(INK, 0.5),
    "hair": Pen(INK, 0.13),
    "centre": Pen(INK, 0.13),
    "beyond": Pen(INK, 0.25, (6.0, 1.0, 0.5, 1.0, 0.5, 1.0)),
    "hidden": Pen(INK, 0.25, (2.0, 1.0)),
    "laid-on": Pen(BLUE, 0.25, (3.0, 1.0)),
    "laid-on-centre": Pen(BLUE, 0.13),
    "hatch": Pen(SOFT, 0.13),
    "cut-band": Pen(ORANGE, 1.6),
    "cut": Pen(INK, 0.35, (2.0, 0.8)),
    "join": Pen(INK, 0.18),
    "dot": Pen(None, fill=INK),
    "paper": Pen(None, fill=PAPER),
}
