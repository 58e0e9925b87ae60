"""The path and transform languages of SVG, as far as lines need them (SVG 2, Paths, Transforms)."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise

from partkin.drawing.loops import CHORD_ERROR_MM, LinePiece
from partkin.drawing.plane import Point

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_TRANSFORM = re.compile(r"(\w+)\s*\(([^()]*)\)")
_BETWEEN = re.compile(r"[\s,]*")
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
MOST_COMMANDS = 100_000


@dataclass(frozen=True)
class Transform:
    """x' = a x + c y + e, y' = b x + d y + f."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0
    e: float = 0.0
    f: float = 0.0

    def moved(self, point: Point) -> Point:
        """Carry a point."""
        return (self.a * point[0] + self.c * point[1] + self.e, self.b * point[0] + self.d * point[1] + self.f)

    @property
    def largest(self) -> float:
        """An upper bound of how much it lengthens anything."""
        return math.sqrt(self.a**2 + self.b**2 + self.c**2 + self.d**2) or 1.0


def within(outer: Transform, inner: Transform) -> Transform:
    """Return the transform of something inside: inner first, then outer."""
    e, f = outer.moved((inner.e, inner.f))
    return Transform(
        outer.a * inner.a + outer.c * inner.b,
        outer.b * inner.a + outer.d * inner.b,
        outer.a * inner.c + outer.c * inner.d,
        outer.b * inner.c + outer.d * inner.d,
        e,
        f,
    )


def _one_transform(name: str, v: list[float]) -> Transform:
    match name, len(v):
        case "matrix", 6:
            return Transform(*v)
        case "translate", 1 | 2:
            return Transform(e=v[0], f=v[1] if len(v) > 1 else 0.0)
        case "scale", 1 | 2:
            return Transform(v[0], d=v[-1])
        case "rotate", 1 | 3:
            cos, sin = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
            x, y = v[1:] or (0.0, 0.0)
            return Transform(cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y)
        case "skewX", 1:
            return Transform(c=math.tan(math.radians(v[0])))
        case "skewY", 1:
            return Transform(b=math.tan(math.radians(v[0])))
    raise ValueError(f"no transform {name}")


def transform_of(text: str) -> Transform:
    """Read a transform attribute. ValueError: it holds anything else than the transforms of SVG."""
    if len(text) > 1000:
        raise ValueError("a transform too long to be one")
    whole = Transform()
    for name, values in _TRANSFORM.findall(text):
        numbers = [float(word) for word in re.split(r"[\s,]+", values.strip()) if word]
        whole = within(whole, _one_transform(name, numbers))
    if _TRANSFORM.sub("", text).strip(" ,\t\r\n"):
        raise ValueError("a transform cannot be read")
    return whole


class _Scanner:
    """Reads a path's commands and numbers from left to right, each letter once."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.place = 0

    def skip(self) -> str:
        """Go over spaces and commas; return the letter that follows, or nothing at the end."""
        between = _BETWEEN.match(self.text, self.place)
        self.place = between.end() if between else self.place
        return self.text[self.place : self.place + 1]

    def number(self) -> float:
        self.skip()
        found = _NUMBER.match(self.text, self.place)
        if found is None or found.end() - found.start() > 60:
            raise ValueError("a command lacks a number")
        self.place = found.end()
        value = float(found.group())
        if not math.isfinite(value):
            raise ValueError("a number without end")
        return value

    def flag(self) -> float:
        """Read a flag of an arc, which may stand without any space after it."""
        letter = self.skip()
        if letter not in ("0", "1"):
            raise ValueError("an arc lacks a flag")
        self.place += 1
        return float(letter)

    def arguments(self, command: str) -> list[float]:
        if command.upper() != "A":
            return [self.number() for _ in range(_ARGUMENTS[command.upper()])]
        first = [self.number() for _ in range(3)]
        return [*first, self.flag(), self.flag(), self.number(), self.number()]


class _Pen:
    """Follows a path; every curve becomes chords."""

    def __init__(self, unit_mm: float) -> None:
        self.unit_mm = unit_mm
        self.at: Point = (0.0, 0.0)
        self.start: Point = (0.0, 0.0)
        self.control: Point | None = None
        self.last = ""
        self.line: list[Point] = []
        self.pieces: list[LinePiece] = []

    def lift(self, closed: bool) -> None:
        if len(self.line) > 1:
            self.pieces.append(LinePiece(tuple(self.line), closed))
        self.line = []

    def to(self, *points: Point) -> None:
        if not self.line:
            self.line = [self.at]
        self.line += points
        self.at = points[-1]

    def curve(self, *controls: Point) -> None:
        """Follow a Bezier curve of any degree from here."""
        points = (self.at, *controls)
        bends = [
            math.hypot(a[0] - 2 * b[0] + c[0], a[1] - 2 * b[1] + c[1])
            for a, b, c in zip(points, points[1:], points[2:], strict=False)
        ]
        wanted = math.sqrt(0.75 * max(bends) * self.unit_mm / CHORD_ERROR_MM) if bends else 1.0
        count = int(min(200.0, max(8.0, wanted + 1.0)))
        self.to(*(_bezier(points, n / count) for n in range(1, count)), points[-1])

    def arc(self, rx: float, ry: float, turn_deg: float, large: bool, sweep: bool, end: Point) -> None:
        """Follow an elliptical arc (SVG 2, implementation notes: from end points to centre)."""
        rx, ry = abs(rx), abs(ry)
        if rx == 0 or ry == 0 or end == self.at:
            self.to(end)
            return
        cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
        dx, dy = (self.at[0] - end[0]) / 2, (self.at[1] - end[1]) / 2
        x, y = cos * dx + sin * dy, -sin * dx + cos * dy
        grow = math.sqrt(max(1.0, (x / rx) ** 2 + (y / ry) ** 2))
        rx, ry = rx * grow, ry * grow
        below = (rx * y) ** 2 + (ry * x) ** 2
        root = math.sqrt(max(0.0, (rx * ry) ** 2 - below) / below) if below else 0.0
        root = -root if large == sweep else root
        cx, cy = root * rx * y / ry, -root * ry * x / rx
        start = math.atan2((y - cy) / ry, (x - cx) / rx)
        stop = math.atan2((-y - cy) / ry, (-x - cx) / rx)
        turn = (stop - start) % (2 * math.pi) if sweep else -((start - stop) % (2 * math.pi))
        middle = ((self.at[0] + end[0]) / 2 + cos * cx - sin * cy, (self.at[1] + end[1]) / 2 + sin * cx + cos * cy)
        flat = math.acos(max(-1.0, 1.0 - min(1.0, CHORD_ERROR_MM / max(1e-9, max(rx, ry) * self.unit_mm))))
        count = int(min(720.0, max(8.0, abs(turn) / max(2 * flat, 1e-3) + 1.0)))
        points = []
        for n in range(1, count):
            angle = start + turn * n / count
            u, v = rx * math.cos(angle), ry * math.sin(angle)
            points.append((middle[0] + cos * u - sin * v, middle[1] + sin * u + cos * v))
        self.to(*points, end)

    def mirrored(self, kinds: str) -> Point:
        """Return the last control point mirrored at the current one, for the smooth commands."""
        if self.control is None or self.last not in kinds:
            return self.at
        return (2 * self.at[0] - self.control[0], 2 * self.at[1] - self.control[1])

    def do(self, command: str, v: list[float]) -> None:
        kind = command.upper()
        base = self.at if command.islower() else (0.0, 0.0)
        points = [(base[0] + v[n], base[1] + v[n + 1]) for n in range(0, len(v) - 1, 2)] if kind not in "AHVZ" else []
        match kind:
            case "M":
                self.lift(False)
                self.at = self.start = points[0]
            case "Z":
                self.lift(True)
                self.at = self.start
            case "L":
                self.to(points[0])
            case "H":
                self.to((base[0] + v[0], self.at[1]))
            case "V":
                self.to((self.at[0], base[1] + v[0]))
            case "A":
                self.arc(v[0], v[1], v[2], v[3] != 0, v[4] != 0, (base[0] + v[5], base[1] + v[6]))
            case _:
                if kind in "ST":
                    points = [self.mirrored("CS" if kind == "S" else "QT"), *points]
                self.curve(*points)
                self.control = points[-2]
        self.last = kind


def _bezier(points: tuple[Point, ...], t: float) -> Point:
    """Return a point of a Bezier curve (de Casteljau)."""
    while len(points) > 1:
        points = tuple((a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])) for a, b in pairwise(points))
    return points[0]


def path_pieces(text: str, unit_mm: float) -> list[LinePiece]:
    """Follow the `d` of a path; `unit_mm` settles how closely. ValueError: it is not a path."""
    scanner = _Scanner(text)
    pen = _Pen(unit_mm)
    command = ""
    done = 0
    while letter := scanner.skip():
        if letter.upper() in _ARGUMENTS:
            command = letter
            scanner.place += 1
        elif command in ("M", "m"):
            command = "L" if command == "M" else "l"
        elif command.upper() in ("", "Z"):
            raise ValueError(f"{letter!r} where a command should stand")
        if done == 0 and command.upper() != "M":
            raise ValueError("a path begins with M")
        pen.do(command, scanner.arguments(command))
        done += 1
        if done > MOST_COMMANDS:
            raise ValueError("a path with too many commands")
    pen.lift(False)
    return pen.pieces
