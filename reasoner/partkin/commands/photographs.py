"""A photograph of a flat face: picked points to readings with instrument photo, or why not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np

from partkin import pipeline
from partkin.commands.recording import Shown, VerdictChange, appended_all, changes, verdicts
from partkin.model.build import Build, Reading
from partkin.model.problem import FaultyInput, Problem
from partkin.photo.photo import Camera, NoHomography, distance, homography, to_plane
from partkin.positions import adjust
from partkin.positions.lengths import coordinate_half_width_mm, current, standard_uncertainty_mm
from partkin.readings.gathering import Faults
from partkin.readings.picks import (
    Picks,
    Rectangle,
    Scale,
    camera_of,
    checked_error_px,
    read_picks,
    rectangle_of,
    scale_of,
)
from partkin.readings.typed_cells import plain_number
from partkin.tables.instruments import greatest_error_mm

PICKED_WITHIN_PX = 1.5
FEATURES = "features.csv"
ANCHORS = 3


@dataclass(frozen=True)
class PhotoQuestion:
    """What was asked of a photograph: one of `rectangle`, `known` and `scale` says what is known in it.

    `error_px`: standard uncertainty of a picked coordinate. `corrected`: the picture was freed of lens distortion
    already. `places`: write places into features.csv in place of readings.
    """

    part: str
    image: Path
    points: Path
    rectangle: str | None = None
    known: str | None = None
    scale: str | None = None
    camera: str | None = None
    corrected: bool = False
    error_px: float = PICKED_WITHIN_PX
    places: bool = False


@dataclass(frozen=True, eq=False)
class OnFace:
    """Points on the face in mm, with their covariance (2n, 2n); `extra_mm`: greatest error that comes besides.

    `names` of the n points; `tied`: features with known places among them, which need no reading.
    """

    names: tuple[str, ...]
    at_mm: np.ndarray
    covariance_mm2: np.ndarray
    notes: tuple[str, ...]
    tied: tuple[str, ...] = ()
    square_on: bool = False


@dataclass(frozen=True)
class Photographed:
    """What came of it: readings taken down, or places filled in; `notes` in words; changes of verdicts."""

    part: str
    readings: tuple[Reading, ...]
    placed: tuple[str, ...]
    notes: tuple[str, ...]
    changes: tuple[VerdictChange, ...]


def photograph(folder: Path, asked: PhotoQuestion, shown: Shown | None = None) -> Photographed:
    """Turn picked points into readings (or places) of a part, and say what that changes.

    Parameters
    ----------
    folder
        The build folder.
    asked
    shown
        Shows the checks of the donors concerned.

    Raises
    ------
    FaultyInput
        Nothing can be told from the picture, and why; or the sheets hold faults. Then nothing was changed.
    """
    build, _ = pipeline.read(folder)
    faults = Faults("photo")
    picks = faults.kept(read_picks, asked.image, asked.points)
    faults.kept(_understood, build, asked)
    faults.raise_any()
    if picks is None:
        raise AssertionError("they are there, or a fault says why not")
    seen = seen_in(build, asked, picks)
    before = verdicts(build, asked.part, shown)
    readings: tuple[Reading, ...] = () if asked.places else _write_readings(folder, build, asked, seen)
    placed = _write_places(folder, build, asked, seen) if asked.places else ()
    now, _ = pipeline.read(folder)
    return Photographed(asked.part, readings, placed, seen.notes, changes(before, verdicts(now, asked.part, shown)))


def _refused(where: str, what: str, mend: str) -> FaultyInput:
    return FaultyInput((Problem("photo", 0, where, what, mend),))


def seen_in(build: Build, asked: PhotoQuestion, picks: Picks) -> OnFace:
    """Carry the picked features of a part onto its face.

    Raises
    ------
    FaultyInput
        With what keeps it from being told.
    """
    camera, rectangle, scale = _understood(build, asked)
    try:
        if scale is not None:
            return _by_scale(build, asked, picks, camera, scale)
        if rectangle is not None:
            return _by_rectangle(build, asked, picks, camera, rectangle)
        return _by_known(build, asked, picks, camera)
    except ValueError as fault:
        raise _refused("camera", str(fault), "See that the calibration is of this camera at this size") from None


def _understood(build: Build, asked: PhotoQuestion) -> tuple[Camera | None, Rectangle | None, Scale | None]:
    """The calibration and what is known in the picture; or everything that is wrong with what was asked."""
    faults = Faults("photo")
    faults.kept(build.must_have, asked.part)
    if sum(way is not None for way in (asked.rectangle, asked.known, asked.scale)) != 1:
        mend = "Say one of --rectangle W,H,corners, --known FEATURES and --scale A,B,MM"
        faults.add("known", "what is known in the picture has to be said in one way", mend)
    faults.kept(checked_error_px, "photo", asked.error_px)
    camera = faults.kept(camera_of, asked.camera) if asked.camera is not None else None
    rectangle = faults.kept(rectangle_of, asked.rectangle) if asked.rectangle is not None else None
    scale = faults.kept(scale_of, asked.scale) if asked.scale is not None else None
    faults.raise_any()
    return camera, rectangle, scale


def _picked_features(build: Build, asked: PhotoQuestion, picks: Picks, others: Sequence[str]) -> tuple[str, ...]:
    """Picks that are features of the part and not part of what is known.

    A pick that is neither is a slip and refused.
    """
    known = [feature.feature for feature in build.features_of(asked.part)]
    strange = [name for name in picks.at_px if name not in known and name not in others]
    if strange:
        mend = (
            f"Name a feature of {asked.part} ({', '.join(known) or 'it has none yet'}), or what is known in the picture"
        )
        what = f"is no feature of {asked.part}"
        raise FaultyInput(tuple(Problem("photo", 0, "points", f"{name} {what}", mend) for name in strange))
    found = tuple(name for name in known if name in picks.at_px and name not in others)
    if not found:
        mend = "Pick its holes too, under the names that they have in features.csv"
        raise _refused("points", f"no feature of {asked.part} was picked besides what is known", mend)
    return found


def _by_rectangle(
    build: Build, asked: PhotoQuestion, picks: Picks, camera: Camera | None, rectangle: Rectangle
) -> OnFace:
    (width, height), corners = rectangle
    names = _picked_features(build, asked, picks, corners)
    if len(names) < 2:
        raise _refused("points", f"only {names[0]} was picked: one point alone has no distance", "Pick a second one")
    corner_px = picks.of(corners, "rectangle")
    turns = _turns(corner_px)
    if len(set(np.sign(turns))) != 1:
        raise _refused(
            "rectangle", "the corners do not stand in order round it", "Name them one after the other round it"
        )
    # A picture has y down, so the corners keep the turn that they have in it: no face is turned over.
    up = -height if turns[0] > 0 else height
    plane = np.array([[0.0, 0.0], [width, 0.0], [width, up], [0.0, up]])
    return _carried(asked, picks, corner_px, plane, names, (), camera, asked.error_px)


def _turns(points: np.ndarray) -> np.ndarray:
    """Which way the outline turns at each corner: above 0 clockwise as seen in the picture."""
    ahead = np.roll(points, -1, axis=0) - points
    after = np.roll(ahead, -1, axis=0)
    return np.asarray(ahead[:, 0] * after[:, 1] - ahead[:, 1] * after[:, 0])


def _by_known(build: Build, asked: PhotoQuestion, picks: Picks, camera: Camera | None) -> OnFace:
    tied = tuple(dict.fromkeys(name.strip() for name in (asked.known or "").split(",") if name.strip()))
    rows = {row.feature: row for row in build.features_of(asked.part)}
    found = adjust(asked.part, tuple(rows.values()), current(r for r in build.readings if r.part == asked.part))
    lacking = [name for name in tied if name not in found.features]
    if lacking:
        what = f"the place of {lacking[0]} is not known" if lacking[0] in rows else f"{asked.part} has no {lacking[0]}"
        placed = ", ".join(found.features) or "none"
        raise _refused("known", what, f"Name four or more of the features with a place: {placed}")
    if found.dims == 3:
        raise _refused("known", f"{asked.part} is not flat: its features have a z", "Use a rectangle laid on one face")
    names = _picked_features(build, asked, picks, tied)
    known_px = picks.of(tied, "known")
    plane = np.array([found.xyz_mm[found.features.index(name)] for name in tied])
    # The error of the known places counts as picking error, at the picture's scale.
    half_mm = max(coordinate_half_width_mm(rows[name]) for name in tied)
    px_per_mm = _spread(known_px) / max(1e-9, _spread(plane))
    error_px = math.hypot(asked.error_px, standard_uncertainty_mm(half_mm) * px_per_mm)
    return _carried(asked, picks, known_px, plane, names, tied, camera, error_px)


def _spread(points: np.ndarray) -> float:
    return float(np.linalg.norm(points - points.mean(axis=0), axis=1).mean())


def _carried(
    asked: PhotoQuestion, picks: Picks, reference_px: np.ndarray, plane: np.ndarray, names: tuple[str, ...],
    tied: tuple[str, ...], camera: Camera | None, error_px: float,
) -> OnFace:  # fmt: skip
    made = homography(reference_px, plane, error_px, camera, asked.corrected)
    if isinstance(made, NoHomography):
        raise _refused("known" if tied else "rectangle", made.reason, "Pick other points, or take the picture squarer")
    wanted = (*names, *tied)
    at_mm, covariance = to_plane(made, picks.of(wanted, "points"), camera)
    if not np.isfinite(at_mm).all() or _behind(made.matrix, at_mm):
        what = "some points would lie beyond the horizon of this picture"
        raise _refused("points", what, "Pick points of the flat face that what is known lies on")
    if tied:
        # The known position is more accurate than a click.
        at_mm[len(names) :] = plane
        covariance[2 * len(names) :, :] = 0.0
        covariance[:, 2 * len(names) :] = 0.0
    return OnFace(wanted, at_mm, covariance, made.notes, tied)


def _behind(matrix: np.ndarray, at_mm: np.ndarray) -> bool:
    depth = at_mm @ matrix[2, :2] + matrix[2, 2]
    return bool((depth <= 0.0).any() and (depth > 0.0).any())


def _by_scale(build: Build, asked: PhotoQuestion, picks: Picks, camera: Camera | None, scale: Scale) -> OnFace:
    from partkin.photo.photo import undistorted

    ends, length_mm = scale
    own = {row.feature for row in build.features_of(asked.part)}
    names = _picked_features(build, asked, picks, tuple(end for end in ends if end not in own))
    if len(names) < 2:
        raise _refused("points", f"only {names[0]} was picked: one point alone has no distance", "Pick a second one")
    bar_px, at_px = picks.of(ends, "scale"), picks.of(names, "points")
    if camera is not None:
        bar_px, at_px = undistorted(camera, bar_px), undistorted(camera, at_px)
    bar = float(np.linalg.norm(bar_px[0] - bar_px[1]))
    if bar < 20.0 * asked.error_px:
        what = f"the scale is {bar:.0f} px long, too short against a picking error of {asked.error_px:g} px"
        raise _refused("scale", what, "Take a longer distance, or a nearer picture")
    mm_per_px = length_mm / bar
    at_mm = (at_px - at_px[0]) * mm_per_px * np.array([1.0, -1.0])
    covariance = (asked.error_px * mm_per_px) ** 2 * np.eye(2 * len(names))
    notes = (
        "With one distance known the picture is taken to be square on: how far it is not, and the lens, may put a "
        "distance out by the photo's row of the instrument table.",
    )
    return OnFace(names, at_mm, covariance, notes, square_on=True)


def chosen_pairs(seen: OnFace) -> list[tuple[int, int]]:
    """Which distances to take down: enough to fix the place of every point, and few more."""
    new = [at for at, name in enumerate(seen.names) if name not in seen.tied]
    fixed = [at for at, name in enumerate(seen.names) if name in seen.tied]
    anchors = _widest(seen.at_mm, fixed or new)
    pairs = [] if fixed else list(combinations(anchors, 2))
    return pairs + [(anchor, at) for at in new if at not in anchors for anchor in anchors]


def _widest(at_mm: np.ndarray, rows: list[int]) -> list[int]:
    """Three points with the largest triangle; all where there are no more."""
    if len(rows) <= ANCHORS:
        return rows

    def area(three: Sequence[int]) -> float:
        (ax, ay), (bx, by) = at_mm[three[1]] - at_mm[three[0]], at_mm[three[2]] - at_mm[three[0]]
        return round(abs(float(ax * by - ay * bx)), 6)

    return max(map(list, combinations(rows, ANCHORS)), key=area)


def readings_of(part: str, seen: OnFace, image: str) -> list[Reading]:
    """The distances as readings, not yet numbered.

    A picture has fewer degrees of freedom than there are distances, so the distances are not independent. Each one's
    uncertainty is multiplied by the root of distances over degrees of freedom.
    """
    pairs = chosen_pairs(seen)
    new = len(seen.names) - len(seen.tied)
    freedom = 2 * new if seen.tied else max(1, 2 * new - 3)
    widen = math.sqrt(max(1.0, len(pairs) / freedom))
    found = []
    for a, b in pairs:
        length_mm, sigma_mm = distance(seen.at_mm, seen.covariance_mm2, a, b)
        half_mm = math.sqrt(3.0) * sigma_mm * widen
        if seen.square_on:
            half_mm += greatest_error_mm("photo", length_mm)
        half_mm = math.ceil(10.0 * half_mm) / 10.0
        if half_mm >= length_mm:
            what = f"{seen.names[a]} to {seen.names[b]} comes out at {length_mm:.1f} mm, out by as much as itself"
            raise _refused("points", what, "Take the picture nearer and squarer, or pick more exactly")
        found.append(
            Reading(
                part, "", "centres", round(length_mm, 1), "mm", seen.names[a], seen.names[b], plus_minus=half_mm,
                instrument="photo", note=f"from {image}",
            )
        )  # fmt: skip
    return found


def _write_readings(folder: Path, build: Build, asked: PhotoQuestion, seen: OnFace) -> tuple[Reading, ...]:
    image = "".join(letter if letter.isprintable() else "?" for letter in asked.image.name)[:120]
    rows = readings_of(asked.part, seen, image)

    def meant(now: Build) -> list[Reading]:
        standing = current(row for row in now.readings if row.part == asked.part)
        earlier = {
            frozenset((row.from_feature, row.to_feature)): row.reading
            for row in standing if row.instrument == "photo" and row.note == f"from {image}"
        }  # fmt: skip
        return [replace(row, corrects=earlier.get(frozenset((row.from_feature, row.to_feature)))) for row in rows]

    return appended_all(folder, build, meant)


def _write_places(folder: Path, build: Build, asked: PhotoQuestion, seen: OnFace) -> tuple[str, ...]:
    """Fill in the places of features that have none, where the picture has the part's own frame."""
    from partkin.sheets.filling import fill

    rows = {row.feature: row for row in build.features_of(asked.part)}
    if not seen.tied and any(row.x_mm is not None for row in rows.values()):
        mend = "Say --known with four of them, or leave --places out and take readings"
        raise _refused("places", f"{asked.part} has places already, in a frame that this picture does not know", mend)
    cells: dict[tuple[str, ...], dict[str, str]] = {}
    for at, name in enumerate(seen.names):
        if name in seen.tied:
            continue
        block = seen.covariance_mm2[2 * at : 2 * at + 2, 2 * at : 2 * at + 2]
        half_mm = math.sqrt(3.0 * float(np.linalg.eigvalsh(block)[-1]))
        if seen.square_on:
            half_mm += greatest_error_mm("photo", float(np.abs(seen.at_mm[at]).max()))
        cells[asked.part, name] = {
            "x_mm": plain_number(round(float(seen.at_mm[at, 0]), 1)),
            "y_mm": plain_number(round(float(seen.at_mm[at, 1]), 1)),
            "plus_minus_mm": plain_number(math.ceil(10.0 * half_mm) / 10.0),
        }
    fill(folder, FEATURES, cells)
    return tuple(name for name in seen.names if name not in seen.tied)
