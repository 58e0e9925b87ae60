"""Points marked in a photograph: the host's pattern drawn onto it, distances, and what is kept of them."""

from __future__ import annotations

import csv
import hashlib
import io
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from partkin.commands import photographs
from partkin.commands.recording import change_says, reading_in_words
from partkin.drawing.laying import rigid_fit
from partkin.drawing.symbols import size_mm
from partkin.model.build import Build
from partkin.model.drawing import OverlayView
from partkin.model.problem import FaultyInput, refused
from partkin.page.photo_store import Photo
from partkin.photo.photo import NoHomography, homography
from partkin.photo.pictures import NoImage, read_image_size
from partkin.photo.sameness import can_match
from partkin.readings.photographed import PICKED_WITHIN_PX, PhotoQuestion, readings_of, seen_in
from partkin.readings.picks import COLUMNS, MOST_PICKS, Picks
from partkin.sheets import files

CORNERS = 4
ROUND = 24
COARSEST_PX = 1000.0


@dataclass(frozen=True, eq=False)
class Marks:
    """What was marked, and how finely; `rectangle_mm`: width and height of the known rectangle; None: none is known."""

    part: str
    at_px: Mapping[str, tuple[float, float]]
    rectangle_mm: tuple[float, float] | None = None
    within_px: Mapping[str, float] = field(default_factory=dict)

    @property
    def error_px(self) -> float:
        """Standard uncertainty of the coarsest mark: no finer than it was seen when it was put."""
        return max([PICKED_WITHIN_PX, *self.within_px.values()])


def corner_names(build: Build, part: str) -> tuple[str, ...]:
    """Names for the rectangle's corners that no feature of the part has."""
    taken = {feature.feature for feature in build.features_of(part)}
    prefix = "corner-"
    while any(f"{prefix}{number}" in taken for number in range(1, CORNERS + 1)):
        prefix += "-"
    return tuple(f"{prefix}{number}" for number in range(1, CORNERS + 1))


def marks_of(tree: Any) -> Marks:
    """Read what the script sent. FaultyInput: it is not what the script sends."""
    none = _refused("marks", "these are no marks", "Reload the page")
    try:
        placed = {str(name)[:200]: [float(value) for value in at] for name, at in dict(tree["marks"]).items()}
        at_px = {name: (at[0], at[1]) for name, at in placed.items()}
        within_px = {name: at[2] for name, at in placed.items() if len(at) > 2}
        given = tree.get("rectangle")
        rectangle = (float(given[0]), float(given[1])) if given else None
        part = str(tree["part"])
    except (TypeError, ValueError, KeyError, IndexError, AttributeError):
        raise none from None
    numbers = [value for at in placed.values() for value in at] + [*(rectangle or ())]
    fine = all(0.0 <= within < COARSEST_PX for within in within_px.values())
    if len(at_px) > MOST_PICKS or not all(map(math.isfinite, numbers)) or not fine:
        raise none
    if rectangle is not None and not all(0.0 < side < 1e5 for side in rectangle):
        raise _refused("rectangle", "a rectangle has two sides above 0", "Write both in mm")
    return Marks(part, at_px, rectangle, within_px)


def _refused(where: str, what: str, mend: str) -> FaultyInput:
    return refused("photo", 0, where, what, mend)


# What is seen of them


def look(build: Build, photo: Photo, marks: Marks, view: OverlayView | None) -> dict[str, Any]:
    """Return distances between the marked features, and the host's pattern as the picture should show it.

    `view`: how the donor lies on its host; None: the part is no donor.
    """
    corners = corner_names(build, marks.part)
    said: list[str] = []
    found: dict[str, Any] = {"distances": [], "pattern": [], "said": said, "doubts": []}
    seen = None
    features = [f.feature for f in build.features_of(marks.part) if f.feature in marks.at_px]
    if marks.rectangle_mm is not None and all(name in marks.at_px for name in corners) and len(features) >= 2:
        try:
            seen = seen_in(build, _asked(photo, marks, corners), _picks(photo, marks))
            found["distances"] = [
                {"from": r.from_feature, "to": r.to_feature, "says": reading_in_words(r)}
                for r in readings_of(marks.part, seen, photo.name)
            ]
            said += seen.notes
            found["doubts"] = seen.doubts
            if marks.error_px > 2.0 * PICKED_WITHIN_PX:
                said.append(f"The coarsest mark was put to {marks.error_px:.0f} px: put it finer in the loupe.")
        except FaultyInput as fault:
            said += [f"{problem.what}. {problem.mend}." for problem in fault.problems]
    there = {fixing.id: fixing.at_mm[:2] for fixing in view.fixings} if view is not None else {}
    pairs = [(p.fixing, p.feature) for p in view.pairs if p.feature in features and p.fixing in there] if view else []
    if view is None or not pairs:
        return found
    host = np.array([there[fixing] for fixing, _ in pairs])
    if seen is not None and len(pairs) >= 2 and marks.rectangle_mm is not None:
        at_mm = dict(zip(seen.names, seen.at_mm, strict=True))
        move = _laid(host, np.array([at_mm[feature] for _, feature in pairs]))
        corner_px = np.array([marks.at_px[name] for name in corners])
        made = homography(corner_px, _laid_out(corner_px, marks.rectangle_mm), PICKED_WITHIN_PX)
        if move is not None and not isinstance(made, NoHomography):
            found["pattern"] = _pattern(view, pairs, made.matrix, move)
            said.append("The host's pattern is drawn at its true size, laid on the marked features as well as it goes.")
    elif len(pairs) >= 4:
        picked = np.array([marks.at_px[feature] for _, feature in pairs])
        made = homography(picked, host, PICKED_WITHIN_PX)
        if isinstance(made, NoHomography):
            said.append(f"{made.reason}.")
        else:
            found["pattern"] = _pattern(view, pairs, made.matrix, (np.eye(2), np.zeros(2)))
            said += _by_shape(view, host, picked, [fixing for fixing, _ in pairs])
    return found


def _by_shape(view: OverlayView, host: np.ndarray, picked: np.ndarray, fixings: list[str]) -> list[str]:
    """Without a known size the host's pattern is stretched onto the marks: shape alone can be seen."""
    allowed = {pair.fixing: max(0.0, pair.allowed_mm or 0.0) for pair in view.pairs}
    slack = np.array([allowed.get(fixing, 0.0) for fixing in fixings])
    # Which face a picture shows is not asked, so both are allowed.
    told_of = can_match(host, picked, PICKED_WITHIN_PX, fixings, slack_mm=slack)
    return ["Size is not known here: the host's pattern is stretched onto the marks.", told_of.says]


def _laid(host: np.ndarray, places: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """The turn and shift that lay the host's fixings on places of the picture's face, for the drawing alone.

    A picture may show either face, so both hands are tried and the nearer one is taken.
    """
    best: tuple[float, np.ndarray, np.ndarray] | None = None
    for mirrored in (False, True):
        move = rigid_fit([(tuple(a), tuple(b)) for a, b in zip(host.tolist(), places.tolist(), strict=True)], mirrored)
        if move is None:
            continue
        turn, shift = np.array([row[:2] for row in move[:2]]), np.array([move[0][3], move[1][3]])
        off = sum(float(np.sum((turn @ a + shift - b) ** 2)) for a, b in zip(host, places, strict=True))
        if best is None or off < best[0] - 1e-9:
            best = off, turn, shift
    return None if best is None else best[1:]


def _laid_out(corner_px: np.ndarray, rectangle_mm: tuple[float, float]) -> np.ndarray:
    """The rectangle on its face, its corners in the order in which they run in the picture (which has y down)."""
    x, y = corner_px[:, 0], corner_px[:, 1]
    clockwise = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) > 0
    width, height = rectangle_mm
    up = -height if clockwise else height
    return np.array([[0.0, 0.0], [width, 0.0], [width, up], [0.0, up]])


def _pattern(
    view: OverlayView, pairs: list[tuple[str, str]], matrix: np.ndarray, move: tuple[np.ndarray, np.ndarray]
) -> list[dict[str, Any]]:
    """Every fixing as the picture should show it: its middle, its edge, and the play about it, in px."""
    paired = dict(pairs)
    allowed = {pair.fixing: pair.allowed_mm for pair in view.pairs}
    angle = np.linspace(0.0, 2.0 * math.pi, ROUND, endpoint=False)
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    found = []
    for fixing in view.fixings:
        middle = np.array(fixing.at_mm[:2]) @ move[0].T + move[1]
        radius, play = (size_mm(fixing) or 5.0) / 2, allowed.get(fixing.id)
        rings = [radius, *([play] if play is not None and 0.0 < play < 1e3 else [])]
        edge, *more = (_projected(matrix, middle + circle * ring) for ring in rings)
        at = _projected(matrix, middle[None])
        if at is not None and edge is not None and None not in more:
            told = {"id": fixing.id, "feature": paired.get(fixing.id), "at": at[0], "edge": edge}
            found.append({**told, "play": more[0] if more else None})
    return found


def _projected(matrix: np.ndarray, at_mm: np.ndarray) -> list[list[float]] | None:
    """Points of the face in px; None where one lies behind the camera."""
    ahead = np.concatenate([at_mm, np.ones((len(at_mm), 1))], axis=1) @ matrix.T
    if not (np.sign(ahead[:, 2]) == np.sign(ahead[0, 2])).all() or np.abs(ahead[:, 2]).min() < 1e-12:
        return None
    return [[round(float(value), 2) for value in row] for row in ahead[:, :2] / ahead[:, 2:]]


# What is kept of them


def picks_file(folder: Path, photo: Photo) -> Path:
    """Where the marks of a picture are kept."""
    return folder / files.PHOTOS / f"{photo.name}.picks.csv"


def kept(folder: Path, photo: Photo) -> dict[str, Any]:
    """The marks that are kept of a picture, with the digest that saving them anew has to name."""
    path = picks_file(folder, photo)
    content = path.read_bytes() if path.is_file() else b""
    found: dict[str, Any] = {"digest": _digest(content), "part": None, "rectangle": None, "marks": {}}
    rows = list(csv.DictReader(io.StringIO(content.decode("utf-8", "replace"))))
    for row in rows[:MOST_PICKS]:
        try:
            within = [float(row["within_px"])] if row.get("within_px") else []
            found["marks"][row["feature"]] = [float(row["px"]), float(row["py"]), *within]
            found["part"] = row.get("part") or found["part"]
            if row.get("width_mm") and row.get("height_mm"):
                found["rectangle"] = [float(row["width_mm"]), float(row["height_mm"])]
        except (KeyError, TypeError, ValueError):
            continue
    return found


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def keep(folder: Path, build: Build, photo: Photo, marks: Marks, digest: str) -> str:
    """Write the marks beside the picture; returns the new digest.

    FaultyInput: somebody changed them since they were read; nothing was changed.
    """
    path = picks_file(folder, photo)
    if _digest(path.read_bytes() if path.is_file() else b"") != digest:
        raise _refused("marks", "these marks were changed by something else", "Reload the page to see them")
    corners = corner_names(build, marks.part)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*COLUMNS, "within_px", "part", "width_mm", "height_mm"])
    sides = [f"{side:.10g}" for side in marks.rectangle_mm] if marks.rectangle_mm else ["", ""]
    for name, (x, y) in sorted(marks.at_px.items()):
        within = f"{marks.within_px[name]:.3g}" if name in marks.within_px else ""
        own_sides = sides if name in corners else ["", ""]
        writer.writerow([name, f"{x:.2f}", f"{y:.2f}", within, marks.part, *own_sides])
    path.parent.mkdir(exist_ok=True)
    content = out.getvalue().encode()
    files.put(path, content)
    return _digest(content)


def take_down(folder: Path, build: Build, photo: Photo, marks: Marks) -> list[str]:
    """Turn kept marks into readings with instrument photo; returns what was taken down and what it changed.

    FaultyInput: nothing can be told from the picture, and why; no sheet was changed.
    """
    corners = corner_names(build, marks.part)
    done = photographs.photograph(folder, _asked(photo, marks, corners, picks_file(folder, photo)))
    said = [f"Taken down as {reading.reading}: {reading_in_words(reading)}." for reading in done.readings]
    said += [f"Look: {doubt}" for doubt in done.doubts]
    return [*said, *done.notes, *(f"{change_says(change)}." for change in done.changes)]


def _asked(photo: Photo, marks: Marks, corners: tuple[str, ...], points: Path | None = None) -> PhotoQuestion:
    if marks.rectangle_mm is None:
        raise _refused("rectangle", "the size of the rectangle is not said", "Write its width and height in mm")
    sides = ",".join(f"{side:.10g}" for side in marks.rectangle_mm)
    asked = PhotoQuestion(marks.part, photo.path, points or photo.path)
    return replace(asked, rectangle=f"{sides},{','.join(corners)}", error_px=marks.error_px)


def _picks(photo: Photo, marks: Marks) -> Picks:
    size = read_image_size(photo.path)
    if isinstance(size, NoImage):
        raise _refused("image", size.reason, "Give another picture")
    return Picks({name: np.array(at) for name, at in marks.at_px.items()}, size, photo.name)
