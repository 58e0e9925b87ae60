"""Writes a picture as SVG: own writer, no library, the same bytes for the same picture."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cache

from partkin.drawing.pens import BLUE, INK, PAPER, SCREEN_PENS, SOFT, THEME, Pen
from partkin.drawing.plane import Point, turned
from partkin.drawing.shapes import (
    Arc,
    Hatched,
    Line,
    Obround,
    Oval,
    Picture,
    Poly,
    Round,
    Shape,
    Strokes,
    Words,
)
from partkin.drawing.symbols import hatches

FONT = "'Liberation Sans',Arial,Helvetica,'DejaVu Sans',sans-serif"

_USUAL_SIZE = "11"

# Not allowed in XML 1.0, section 2.2: control characters, surrogates, two non-characters. Also taken out: the
# marks that turn the writing direction of what follows, which could make one part's name read as another's.
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_TURNS_DIRECTION = re.compile("[\u202a-\u202e\u2066-\u2069\u200e\u200f]")


def clean(text: str) -> str:
    """Return text without what XML forbids and without marks that turn the writing direction."""
    return _TURNS_DIRECTION.sub("", _NOT_XML.sub("\ufffd", text))


def escaped(text: str) -> str:
    """Return text that is safe in an element and in a quoted attribute, of HTML and of XML."""
    text = clean(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return text.replace('"', "&quot;").replace("'", "&#39;")


def short(value: float, decimals: int = 2) -> str:
    """Write a number in as few characters as it needs."""
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def pen_classes(pens: Mapping[str, Pen]) -> dict[str, str]:
    """Return the class of each pen, short because a report names them thousands of times."""
    return {name: f"p{number}" for number, name in enumerate(pens)}


def pen_rules(pens: Mapping[str, Pen]) -> str:
    """Return the style rules of the pens, one class each, in the order of the table."""
    rules = []
    for name, known in pen_classes(pens).items():
        pen = pens[name]
        parts = [f"fill:{pen.fill or 'none'}", f"stroke:{pen.stroke or 'none'}"]
        if pen.stroke:
            parts.append(f"stroke-width:{short(pen.width, 3)}")
        if pen.dash:
            parts.append("stroke-dasharray:" + " ".join(short(length, 3) for length in pen.dash))
        rules.append(f".{known}{{{';'.join(parts)}}}")
    return "".join(rules)


def screen_style() -> str:
    """Return the style sheet of the screen drawings, for a drawing that stands alone."""
    return (
        f".dw{{font-family:{FONT};font-size:{_USUAL_SIZE}px}}.dw text{{fill:{INK}}}.dw .m{{text-anchor:middle}}"
        f".dw .u{{fill:{BLUE}}}.dw .s{{fill:{SOFT}}}"
        ".dw .b{font-weight:bold}"
        f".dw .h{{paint-order:stroke;stroke:{PAPER};stroke-width:3.5px;stroke-linejoin:round}}" + pen_rules(SCREEN_PENS)
    )


def theme_style() -> str:
    """Return the style sheet of the screen drawings for a page that carries many, and the colours that it may name.

    They are dark where a screen asks for that; on paper they never are.
    """
    light, dark = ("".join(f"--{name}:{both[at]};" for name, both in THEME.items()) for at in (0, 1))
    named = screen_style()
    for name, both in THEME.items():
        named = named.replace(both[0], f"var(--{name})")
    # What a drawing that may stand alone says itself.
    for kind in ("stroke", "fill"):
        named += "".join(f'.dw [{kind}="{THEME[name][0]}"]{{{kind}:var(--{name})}}' for name in ("ink", "paper"))
    asked = f"@media screen and (prefers-color-scheme:dark){{:root{{color-scheme:dark;{dark}}}}}"
    return f":root{{color-scheme:light;{light}}}{asked}{named}"


_COLOURS = {BLUE: "u", SOFT: "s"}


@cache
def hatch_names() -> dict[tuple[str, float, float], str]:
    """Return the id of the pattern of each hatching."""
    return {key: f"k{number}" for number, key in enumerate(hatches())}


def hatch_patterns() -> str:
    """Return the patterns that drawings of one page share, to be put once into an SVG of the page."""
    rules = pen_classes(SCREEN_PENS)
    made = []
    for (pen, spacing, angle_deg), name in hatch_names().items():
        side, line = short(spacing), f"M0 {short(spacing / 2)}H{short(spacing)}"
        made.append(
            f'<pattern id="{name}" patternUnits="userSpaceOnUse" width="{side}" height="{side}" '
            f'patternTransform="rotate({short(angle_deg)})"><path class="{rules[pen]}" d="{line}"/></pattern>'
        )
    return "".join(made)


class SvgWriter:
    """Turns shapes into elements; `flip` is the height of the picture where y points up, else None."""

    def __init__(
        self, flip: float | None = None, decimals: int = 1, grouped: bool = False,
        pens: Mapping[str, Pen] = SCREEN_PENS, shared: bool = False,
    ) -> None:  # fmt: skip
        self.shared = shared
        self.classes = pen_classes(pens)
        self.flip = flip
        # Of what lies upward in numbers, on the page.
        self.up = -1.0 if flip is None else 1.0
        self.decimals = decimals
        self.grouped = grouped

    def number(self, value: float) -> str:
        return short(value, self.decimals)

    def point(self, point: Point) -> str:
        y = point[1] if self.flip is None else self.flip - point[1]
        return f"{self.number(point[0])} {self.number(y)}"

    def xy(self, point: Point, x: str = "x", y: str = "y") -> str:
        first, second = self.point(point).split(" ")
        return f'{x}="{first}" {y}="{second}"'

    def rotated(self, angle_deg: float, about: Point) -> str:
        return f' transform="rotate({short(-angle_deg)} {self.point(about)})"' if angle_deg else ""

    def line(self, points: Iterable[Point], pen: str, closed: bool) -> str:
        return self.path("M" + "L".join(map(self.point, points)) + "Z" * closed, pen)

    def path(self, d: str, pen: str) -> str:
        return f'<path class="{self.classes[pen]}" d="{d}"/>'

    def strokes(self, shape: Strokes) -> str:
        """Return many lines in relative steps, which are shorter to write; rounded so that nothing adds up."""
        unit = 10**self.decimals
        at = (0, 0)
        parts = []
        for line in shape.lines:
            for command, (x, y) in zip("ml", line, strict=True):
                here = (round(x * unit), round((y if self.flip is None else self.flip - y) * unit))
                steps = [short((new - old) / unit, self.decimals) for new, old in zip(here, at, strict=True)]
                parts.append(f"{command}{steps[0]}{'' if steps[1].startswith('-') else ' '}{steps[1]}")
                at = here
        return "".join(parts)

    def obround(self, shape: Obround) -> str:
        along = turned((shape.half_travel, 0.0), shape.angle_deg)
        across = turned((0.0, shape.radius), shape.angle_deg)
        x, y = shape.centre
        corners = [
            self.point((x + a * along[0] + b * across[0], y + self.up * (a * along[1] + b * across[1])))
            for a, b in ((1, -1), (1, 1), (-1, 1), (-1, -1))
        ]
        radius = self.number(shape.radius)
        arc = f"A{radius} {radius} 0 0 0 "
        ends = ["", ""]
        if self.grouped:
            # Two quarters: a half circle between rounded ends would lie up to 0.02 mm out.
            out = turned((shape.half_travel + shape.radius, 0.0), shape.angle_deg)
            ends = [arc + self.point((x + a * out[0], y + self.up * a * out[1])) for a in (1, -1)]
        d = f"M{corners[0]}{ends[0]}{arc}{corners[1]}L{corners[2]}{ends[1]}{arc}{corners[3]}Z"
        return self.path(d, shape.pen)

    def arc(self, shape: Arc) -> str:
        spokes = (turned((shape.radius, 0.0), angle_deg) for angle_deg in (shape.from_deg, shape.to_deg))
        ends = [self.point((shape.centre[0] + x, shape.centre[1] + self.up * y)) for x, y in spokes]
        large = 1 if (shape.to_deg - shape.from_deg) % 360.0 > 180.0 else 0
        radius = self.number(shape.radius)
        return self.path(f"M{ends[0]}A{radius} {radius} 0 {large} 0 {ends[1]}", shape.pen)

    def words(self, shape: Words) -> str:
        size = short(shape.size)
        middle = shape.anchor == "middle" and not self.grouped
        named = not self.grouped and _COLOURS.get(shape.colour)
        told = (("b", shape.bold), ("h", shape.halo), ("m", middle), (named, named))
        names = " ".join(str(name) for name, on in told if on)
        parts = [f'class="{names}"'] if names else []
        parts.append(self.xy(shape.at))
        if size != _USUAL_SIZE or self.grouped:
            parts.append(f'font-size="{size}"')
        if shape.anchor != "start" and not middle:
            parts.append(f'text-anchor="{shape.anchor}"')
        if shape.colour != INK and not named:
            parts.append(f'fill="{shape.colour}"')
        turn = self.rotated(shape.turn_deg, shape.at)
        return f"<text {' '.join(parts)}{turn}>{escaped(shape.text)}</text>"

    def shape(self, shape: Shape) -> str:
        match shape:
            case Line():
                return self.line((shape.a, shape.b), shape.pen, closed=False)
            case Hatched() if self.shared:
                # A polygon that is filled with a pattern of the page (see `hatch_patterns`).
                corners = "L".join(map(self.point, shape.corners))
                return (
                    f'<path fill="url(#{hatch_names()[shape.pen, shape.spacing, shape.angle_deg]})" d="M{corners}Z"/>'
                )
            case Strokes():
                return self.path(self.strokes(shape), shape.pen)
            case Poly():
                return self.line(shape.points, shape.pen, shape.closed)
            case Round():
                centre, radius = self.xy(shape.centre, "cx", "cy"), self.number(shape.radius)
                return f'<circle class="{self.classes[shape.pen]}" {centre} r="{radius}"/>'
            case Oval():
                centre, (rx, ry) = self.xy(shape.centre, "cx", "cy"), map(self.number, shape.semi)
                turn = self.rotated(shape.angle_deg, shape.centre)
                return f'<ellipse class="{self.classes[shape.pen]}" {centre} rx="{rx}" ry="{ry}"{turn}/>'
            case Arc():
                return self.arc(shape)
            case Obround():
                return self.obround(shape)
        return self.words(shape)

    def all(self, shapes: Iterable[Shape]) -> str:
        if not self.grouped:
            return "".join(self.shape(shape) for shape in shapes)
        layers: dict[str, list[str]] = {}
        for shape in shapes:
            layers.setdefault(shape.layer or "drawing", []).append(_named(shape, self.shape(shape)))
        return "".join(f'<g id="{escaped(name)}">{"".join(parts)}</g>' for name, parts in layers.items())


def _named(shape: Shape, drawn: str) -> str:
    """Write about a known feature or line which one it is, and where it stood when it was drawn."""
    if not isinstance(shape, Poly | Round | Obround) or not shape.of:
        return drawn
    stood = ""
    if isinstance(shape, Round | Obround):
        stood = f' data-stood="{" ".join(short(one, 4) for one in shape.numbers)}"'
    return f'<g data-of="{escaped(shape.of)}"{stood}>{drawn}</g>'


def picture_svg(
    picture: Picture,
    prefix: str = "d",
    bounded: bool = False,
    described_by: str | None = None,
    shared: bool = False,
) -> str:
    """Write a screen picture (pixels, y down) as one SVG element.

    `prefix`: start of the ids of its title and description; has to differ between pictures of one page. `bounded`:
    with width and height in pixels, for a file that is opened by itself. `described_by`: id of a description that the
    page has already; None: the drawing brings its own. `shared`: the page has `theme_style` and `hatch_patterns`,
    which this drawing then uses instead of bringing its own.
    """
    style = f"<style>{screen_style()}</style>" if not shared else ""
    told = "" if described_by is not None else f'<desc id="{prefix}-d">{escaped(picture.says)}</desc>'
    described = described_by or f"{prefix}-d"
    box = f"0 0 {short(picture.width)} {short(picture.height)}"
    size = f' width="{short(picture.width)}" height="{short(picture.height)}"' if bounded else ""
    body = SvgWriter(shared=shared).all(picture.shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="dw" role="img" aria-labelledby="{prefix}-t" '
        f'aria-describedby="{described}" viewBox="{box}"{size}>'
        f'<title id="{prefix}-t">{escaped(picture.title)}</title>'
        f"{told}{style}{body}</svg>"
    )
