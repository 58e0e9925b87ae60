"""Points picked in a photograph: the file they come in, the picture they belong to, what is known in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from partkin.model.problem import FaultyInput, Problem, refuse_any, refused
from partkin.photo.photo import Camera
from partkin.photo.pictures import ImageSize, NoImage, read_image_size
from partkin.readings.typed_readings import Faults
from partkin.sheets.dialect import LARGEST_BYTES, read_grid
from partkin.sheets.findings import ProblemList
from partkin.sheets.number import NotANumber, parse_number
from partkin.sheets.records import column_name

COLUMNS = ("feature", "px", "py")
MOST_PICKS = 500


@dataclass(frozen=True, eq=False)
class Picks:
    """Picked points by name, in px (x right, y down), and the picture's size."""

    at_px: Mapping[str, np.ndarray]
    size: ImageSize
    image: str

    def of(self, names: tuple[str, ...], where: str) -> np.ndarray:
        """Return the points of some names (n, 2); refuse those that were not picked."""
        lacking = [name for name in names if name not in self.at_px]
        mend = f"Add its row, or name one of: {', '.join(self.at_px)}"
        refuse_any(Problem("photo", 0, where, f"{name} was not picked", mend) for name in lacking)
        return np.array([self.at_px[name] for name in names])


def read_picks(image: Path, points: Path) -> Picks:
    """Read picked points, a CSV with the columns feature, px, py, and the size of the picture they were picked in.

    Its pixels are never unpacked. All faults are told at once; a picture that is none, or too large, is refused.
    """
    faults = Faults("photo")
    told = read_image_size(image)
    size = None if isinstance(told, NoImage) else told
    if isinstance(told, NoImage):
        faults.add("image", told.reason, "Give a photograph of at most 40 million pixels: JPEG, PNG, WEBP, TIFF or BMP")
    picked = faults.kept(_points, points, size)
    faults.raise_any()
    if size is None or picked is None:
        raise AssertionError("both are there, or a fault says why not")
    return Picks(picked, size, image.name)


def _points(path: Path, size: ImageSize | None) -> dict[str, np.ndarray]:
    name = path.name
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise refused(name, 0, "", "the file is too large for picked points", "Give one row a point")
        content = path.read_bytes()
    except OSError as error:
        what = f"it cannot be read ({error.strerror or 'unknown reason'})"
        raise refused(name, 0, "", what, "Give the CSV file with the columns feature, px, py") from None
    findings = ProblemList()
    grid = read_grid(name, content, findings)
    if grid is None:
        raise FaultyInput(findings.sorted(warnings=False))
    header = [column_name(cell) for cell in grid.rows[0]]
    lacking = [column for column in COLUMNS if column not in header]
    mend = "Give it a first row with the columns feature, px, py"
    refuse_any(Problem(name, 1, one, f"the column {one} is missing", mend) for one in lacking)
    places = [header.index(column) for column in COLUMNS]
    problems: list[Problem] = []
    found: dict[str, np.ndarray] = {}
    for number, row in enumerate(grid.rows[1:], start=2):
        cells = [row[at].strip() if at < len(row) else "" for at in places]
        if any(cells):
            _take(found, problems, (name, number), cells)
    if len(found) > MOST_PICKS:
        problems.append(Problem(name, 0, "", f"more than {MOST_PICKS} points were picked", "Pick fewer"))
    if not problems and not found:
        problems.append(Problem(name, 0, "", "no point was picked", "Give one row a point: feature, px, py"))
    problems += _outside(name, found, size) if size is not None and not problems else []
    refuse_any(problems)
    return found


def _take(found: dict[str, np.ndarray], problems: list[Problem], where: tuple[str, int], cells: list[str]) -> None:
    name, number = where
    if not cells[0]:
        problems.append(Problem(name, number, "feature", "the point has no name", "Write which feature it shows"))
        return
    if cells[0] in found:
        problems.append(Problem(name, number, "feature", f"{cells[0]} was picked twice", "Leave one of the two"))
        return
    values = [parse_number(cell, "," if "," in cell else ".") for cell in cells[1:]]
    for column, value in zip(COLUMNS[1:], values, strict=True):
        if isinstance(value, NotANumber):
            problems.append(
                Problem(name, number, column, value.what, "Write the pixel's number, counted from the left or top")
            )
    numbers = [value.value for value in values if not isinstance(value, NotANumber)]
    if len(numbers) == 2:
        found[cells[0]] = np.array(numbers)


def _outside(name: str, found: Mapping[str, np.ndarray], size: ImageSize) -> list[Problem]:
    """Points beyond the picture, which may have been turned by a quarter for showing."""
    shapes = ((size.width_px, size.height_px), (size.height_px, size.width_px))
    out = [[point for point, at in found.items() if not (0.0 <= at[0] <= w and 0.0 <= at[1] <= h)] for w, h in shapes]
    if not all(out):
        return []
    what = f"{out[0][0]} lies outside the picture, which is {size.width_px} by {size.height_px} pixels"
    return [Problem(name, 0, "px", what, "Pick in this very picture, at its full size")]


# Width and height in mm with the corners in order round it; two ends and how far they are apart in mm.
Rectangle = tuple[tuple[float, float], tuple[str, ...]]
Scale = tuple[tuple[str, str], float]


def rectangle_of(text: str) -> Rectangle:
    """Read `W,H,c1,c2,c3,c4`: width, height, and the names of its corners, in order round it; refuse anything else.

    >>> rectangle_of("297,210,p1,p2,p3,p4")
    ((297.0, 210.0), ('p1', 'p2', 'p3', 'p4'))
    """
    pieces = [piece.strip() for piece in text.split(",")]
    sizes = [_length(piece) for piece in pieces[:2]]
    if len(pieces) != 6 or None in sizes or len(set(pieces[2:])) != 4 or not all(pieces[2:]):
        what = f'"{text}" is no rectangle'
        mend = "Write its width, height and four corners in order round it, such as 297,210,p1,p2,p3,p4"
        raise refused("photo", 0, "rectangle", what, mend)
    return (float(sizes[0] or 0.0), float(sizes[1] or 0.0)), tuple(pieces[2:])


def scale_of(text: str) -> Scale:
    """Read `A,B,LENGTH`: two picked points and how far they are apart, in mm; refuse anything else."""
    pieces = [piece.strip() for piece in text.split(",")]
    length_mm = _length(pieces[2]) if len(pieces) == 3 else None
    if length_mm is None or pieces[0] == pieces[1] or not all(pieces[:2]):
        mend = "Write two points and how far they are apart in mm, such as a,b,612"
        raise refused("photo", 0, "scale", f'"{text}" is no scale', mend)
    return (pieces[0], pieces[1]), length_mm


def _length(piece: str) -> float | None:
    number = parse_number(piece)
    if isinstance(number, NotANumber) or number.value <= 0.0 or number.unit not in (None, "mm"):
        return None
    return number.value


def camera_of(text: str) -> Camera:
    """Read a calibration `fx,fy,cx,cy[,k1,k2,p1,p2[,k3]]`, in pixels and as OpenCV numbers the distortion."""
    try:
        values = [float(piece) for piece in text.split(",")]
    except ValueError:
        values = []
    if len(values) not in (4, 8, 9) or not all(map(math.isfinite, values)) or min(values[:2]) <= 0.0:
        mend = "Write fx,fy,cx,cy in pixels, then k1,k2,p1,p2,k3 where the lens was calibrated"
        raise refused("photo", 0, "camera", f'"{text}" is no calibration', mend)
    return Camera(*values)


def checked_error_px(command: str, error_px: float) -> float:
    """Return a picking error that can be; refuse any other."""
    if not 0.0 < error_px < 1000.0:
        raise refused(command, 0, "error_px", f"a picking error of {error_px:g} px cannot be", "Say about 1 to 3")
    return error_px
