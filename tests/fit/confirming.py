"""Pairs in fractions, and proofs confirmed by `partkin.verify`, which shares no code with `partkin.fit`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

from partkin.model.fitting import FitTask, Nogood, Piece, Spot
from partkin.report.verdict_file import _piece
from partkin.verify.boxes import excludes_every_rotation
from partkin.verify.held import Held
from partkin.verify.proofs import excludes_every_turn
from partkin.verify.vectors import Vector, cos_sin, laid_over, mirror, towards


def solid(v: Iterable[float]) -> Vector:
    """The floats at their exact values."""
    return tuple(Fraction(float(x)) for x in v)


def flat_held(p, q, rho, s_h=0.0, angle_h=0.0, s_d=0.0, angle_d=0.0) -> Held:
    """A pair in the plane, its angles in degrees."""
    ways = (cos_sin(Fraction(float(angle))) for angle in (angle_h, angle_d))
    halves = Fraction(float(s_h)), Fraction(float(s_d))
    slots = [part for half, way in zip(halves, ways, strict=True) for part in (half, way)]
    return Held(solid(p), solid(q), Fraction(float(rho)), *slots)


def as_held(task: FitTask, pair: tuple[str, str]) -> Held:
    """A pair of a task."""
    fixing = next(s for s in task.fixings if s.id == pair[0])
    feature = next(s for s in task.features if s.id == pair[1])
    allowed = next(o.allowed_mm for o in task.options if (o.fixing, o.feature) == pair)
    halves = fixing.half_travel_mm, feature.half_travel_mm
    if task.dims == 2:
        (x, y), angle = feature.at_mm, feature.angle_deg
        at, angle = ((-x, y), 180.0 - angle) if task.mirrored else ((x, y), angle)
        return flat_held(at, fixing.at_mm, allowed, halves[0], fixing.angle_deg, halves[1], angle)
    return Held(
        mirror(solid(feature.at_mm), task.mirrored), solid(fixing.at_mm), Fraction(allowed),
        Fraction(halves[0]), _slot(fixing), Fraction(halves[1]), mirror(_slot(feature), task.mirrored),
        grip=Fraction(fixing.grip_mm if fixing.grip_mm is not None else feature.grip_mm or 0.0),
        host_axis=towards(solid(fixing.axis)), donor_axis=mirror(towards(solid(feature.axis)), task.mirrored),
        depth=Fraction(max(fixing.depth_mm or 0.0, feature.depth_mm or 0.0)),
    )  # fmt: skip


def _slot(spot: Spot) -> Vector:
    return laid_over(towards(solid(spot.axis)), *cos_sin(Fraction(spot.angle_deg)))


def refused(held: Mapping[str, Held], pieces: Sequence[Piece]) -> str | None:
    """Why the pieces do not prove that the pairs, by fixing, cannot all hold; None: they do."""
    in_space = any(len(pair.host) == 3 for pair in held.values())
    return (excludes_every_rotation if in_space else excludes_every_turn)(held, [_piece(piece) for piece in pieces])


def refused_of(task: FitTask, nogood: Nogood, pieces: Sequence[Piece] | None = None) -> str | None:
    """The same of a nogood's own pairs, and of its own pieces unless others are given."""
    return refused({pair[0]: as_held(task, pair) for pair in nogood.pairs}, pieces or nogood.pieces)
