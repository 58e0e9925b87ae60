"""A photograph of a flat face: picked points to places on it and to distances with their errors, or why not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import combinations
from pathlib import Path

import numpy as np

from partkin.model.build import Build, Reading
from partkin.model.positions import Positions
from partkin.model.problem import Problem, refuse_any
from partkin.model.problem import refused as one_refused
from partkin.photo.lens import followed, lens_of, on_face
from partkin.photo.photo import Camera, Homography, NoHomography, distance, lens_sigma_px, sides_ratio, undistorted
from partkin.photo.pictures import NoImage, read_shades
from partkin.positions import adjust
from partkin.positions.lengths import coordinate_half_width_mm, standard_uncertainty_mm
from partkin.readings.picks import Picks, Rectangle, Scale, camera_of, checked_error_px, rectangle_of, scale_of
from partkin.readings.typed_readings import Faults
from partkin.tables.instruments import greatest_error_mm

PICKED_WITHIN_PX = 1.5
ANCHORS = 3
# By how much the shape of the rectangle, or a length, may be off before it is asked about; common practice, no source.
# A picture cut from a larger one has its middle elsewhere, which makes a right shape look off by so much.
SIDES_WITHIN = 1.3
LENGTH_WITHIN = 0.01
Followed = tuple[tuple[int, int], tuple[np.ndarray, ...]]


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

    `names` of the n points; `tied`: features with known places among them, which need no reading; `doubts`: what to
    look at again.
    """

    names: tuple[str, ...]
    at_mm: np.ndarray
    covariance_mm2: np.ndarray
    notes: tuple[str, ...]
    tied: tuple[str, ...] = ()
    square_on: bool = False
    doubts: tuple[str, ...] = ()


refused = partial(one_refused, "photo", 0)


def seen_in(build: Build, asked: PhotoQuestion, picks: Picks) -> OnFace:
    """Carry the picked features of a part onto its face, or refuse with what keeps it from being told."""
    camera, rectangle, scale = understood_question(build, asked)
    try:
        if scale is not None:
            found = _by_scale(build, asked, picks, camera, scale)
        elif rectangle is not None:
            found = _by_rectangle(build, asked, picks, camera, rectangle)
        else:
            return _by_known(build, asked, picks, camera)
    except ValueError as fault:
        raise refused("camera", str(fault), "See that the calibration is of this camera at this size") from None
    return replace(found, doubts=found.doubts + _other_size(build, asked.part, found))


def _other_size(build: Build, part: str, seen: OnFace) -> tuple[str, ...]:
    """Say where the picture makes the part larger or smaller than the sheets do, by the widest distance of both."""
    readings = [row for row in build.readings if row.instrument != "photo"]
    known = adjust(part, build.features, readings)
    both = [name for name in seen.names if name in known.features]
    if len(both) < 2:
        return ()
    one, other = max(combinations(both, 2), key=lambda pair: _lengths_mm(known, *pair)[0])
    lengths_mm = _lengths_mm(known, one, other)
    a, b = seen.names.index(one), seen.names.index(other)
    seen_mm, sigma_mm = distance(seen.at_mm, seen.covariance_mm2, a, b)
    half_mm = math.sqrt(3.0) * sigma_mm + (greatest_error_mm("photo", seen_mm) if seen.square_on else 0.0)
    half_mm += sum(float(known.half_width_mm[known.features.index(name)]) for name in (one, other))
    if min(abs(seen_mm - length) for length in lengths_mm) <= half_mm + LENGTH_WITHIN * seen_mm:
        return ()
    return (
        f"{one} to {other} is {lengths_mm[0]:.1f} mm by the sheets and {seen_mm:.1f} mm by this picture: is the size "
        "right that was given, and are these the holes?",
    )


def _lengths_mm(known: Positions, one: str, other: str) -> list[float]:
    """How far two features are apart in every layout of the part."""
    a, b = known.features.index(one), known.features.index(other)
    return [float(np.linalg.norm(at[a] - at[b])) for at in known.layouts or (known.xyz_mm,)]


def understood_question(build: Build, asked: PhotoQuestion) -> tuple[Camera | None, Rectangle | None, Scale | None]:
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
    mend = f"Name a feature of {asked.part} ({', '.join(known) or 'it has none yet'}), or what is known in the picture"
    what = f"is no feature of {asked.part}"
    refuse_any(Problem("photo", 0, "points", f"{name} {what}", mend) for name in strange)
    found = tuple(name for name in known if name in picks.at_px and name not in others)
    if not found:
        mend = "Pick its holes too, under the names that they have in features.csv"
        raise refused("points", f"no feature of {asked.part} was picked besides what is known", mend)
    if asked.known is None and len(found) < 2:
        raise refused("points", f"only {found[0]} was picked: one point alone has no distance", "Pick a second one")
    return found


def _by_rectangle(
    build: Build, asked: PhotoQuestion, picks: Picks, camera: Camera | None, rectangle: Rectangle
) -> OnFace:
    (width, height), corners = rectangle
    names = _picked_features(build, asked, picks, corners)
    corner_px = picks.of(corners, "rectangle")
    # Which way the outline turns at each corner: above 0 clockwise as seen in the picture.
    ahead = np.roll(corner_px, -1, axis=0) - corner_px
    after = np.roll(ahead, -1, axis=0)
    turns = ahead[:, 0] * after[:, 1] - ahead[:, 1] * after[:, 0]
    if len(set(np.sign(turns))) != 1:
        what = "the corners do not stand in order round it"
        raise refused("rectangle", what, "Name them one after the other round it")
    # A picture has y down, so the corners keep the turn that they have in it: no face is turned over.
    up = -height if turns[0] > 0 else height
    plane = np.array([[0.0, 0.0], [width, 0.0], [width, up], [0.0, up]])
    return _carried(asked, picks, corner_px, plane, names, (), camera, asked.error_px)


def _by_known(build: Build, asked: PhotoQuestion, picks: Picks, camera: Camera | None) -> OnFace:
    tied = tuple(dict.fromkeys(name.strip() for name in (asked.known or "").split(",") if name.strip()))
    rows = {row.feature: row for row in build.features_of(asked.part)}
    found = adjust(asked.part, build.features, build.readings)
    lacking = [name for name in tied if name not in found.features]
    if lacking:
        what = f"the place of {lacking[0]} is not known" if lacking[0] in rows else f"{asked.part} has no {lacking[0]}"
        placed = ", ".join(found.features) or "none"
        raise refused("known", what, f"Name four or more of the features with a place: {placed}")
    if found.dims == 3:
        raise refused("known", f"{asked.part} is not flat: its features have a z", "Use a rectangle laid on one face")
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
    wanted = (*names, *tied)
    points_px, lens = picks.of(wanted, "points"), None
    notes: tuple[str, ...] = ()
    if camera is not None:
        reference_px, points_px = undistorted(camera, reference_px), undistorted(camera, points_px)
    elif not asked.corrected:
        stamp = asked.image.stat().st_mtime_ns if asked.image.is_file() else 0
        corners = tuple(map(tuple, reference_px.tolist()))
        size_px, edges = ((0, 0), ()) if tied else _edges(asked.image, stamp, corners)
        if edges:
            lens = lens_of(size_px, edges, _spread(reference_px) / _spread(plane))
            notes = (f"How much the lens bends was read off {len(edges)} edges of the rectangle.",)
        else:
            lens_px = lens_sigma_px(reference_px)
            error_px = math.hypot(error_px, lens_px)
            notes = (f"No calibration of the lens: {lens_px:.1f} px were added to the picking error.",)
    found = on_face(reference_px, plane, points_px, error_px, lens)
    if isinstance(found, NoHomography):
        raise refused("known" if tied else "rectangle", found.reason, "Pick other points, or take the picture squarer")
    made, at_mm, covariance = found
    depth = at_mm @ made.matrix[2, :2] + made.matrix[2, 2]
    if not np.isfinite(at_mm).all() or ((depth <= 0.0).any() and (depth > 0.0).any()):
        what = "some points would lie beyond the horizon of this picture"
        raise refused("points", what, "Pick points of the flat face that what is known lies on")
    if tied:
        # The known position is more accurate than a click.
        at_mm[len(names) :] = plane
        covariance[2 * len(names) :, :] = 0.0
        covariance[:, 2 * len(names) :] = 0.0
    doubts = () if tied else _swapped(made, picks, np.abs(plane[2] - plane[0]))
    return OnFace(wanted, at_mm, covariance, notes, tied, doubts=doubts)


def _swapped(made: Homography, picks: Picks, sides_mm: np.ndarray) -> tuple[str, ...]:
    """Say where the sides that were given are not those that the picture shows."""
    size = picks.size.width_px, picks.size.height_px
    if any(x > size[0] or y > size[1] for x, y in picks.at_px.values()):
        size = size[1], size[0]
    least, most = sides_ratio(made, size)
    if least / SIDES_WITHIN <= 1.0 <= most * SIDES_WITHIN:
        return ()
    given = float(sides_mm[0] / sides_mm[1])
    shown = given * math.sqrt(least * most)
    ask = "are the two swapped?" if abs(math.log(shown * given)) < math.log(SIDES_WITHIN) else "are both right?"
    return (
        f"Corner 1 to 2 looks {shown:.1f} times as long as corner 2 to 3, and was given as {given:.1f} times: {ask}",
    )


@lru_cache(maxsize=4)
def _edges(image: Path, stamp: int, corners_px: tuple[tuple[float, float], ...]) -> Followed:
    """The picture's size as shown, and what edges of the rectangle can be followed; kept: the page asks often."""
    shades = read_shades(image)
    if isinstance(shades, NoImage):
        return (0, 0), ()
    return (shades.shape[1], shades.shape[0]), followed(shades, np.array(corners_px))


def _by_scale(build: Build, asked: PhotoQuestion, picks: Picks, camera: Camera | None, scale: Scale) -> OnFace:
    ends, length_mm = scale
    own = {row.feature for row in build.features_of(asked.part)}
    names = _picked_features(build, asked, picks, tuple(end for end in ends if end not in own))
    bar_px, at_px = picks.of(ends, "scale"), picks.of(names, "points")
    if camera is not None:
        bar_px, at_px = undistorted(camera, bar_px), undistorted(camera, at_px)
    bar = float(np.linalg.norm(bar_px[0] - bar_px[1]))
    if bar < 20.0 * asked.error_px:
        what = f"the scale is {bar:.0f} px long, too short against a picking error of {asked.error_px:g} px"
        raise refused("scale", what, "Take a longer distance, or a nearer picture")
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
            raise refused("points", what, "Take the picture nearer and squarer, or pick more exactly")
        row = Reading(part, "", "centres", round(length_mm, 1), "mm", seen.names[a], seen.names[b])
        found.append(replace(row, plus_minus=half_mm, instrument="photo", note=f"from {image}"))
    return found
