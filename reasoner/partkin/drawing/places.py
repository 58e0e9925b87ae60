"""Where features lie and how surely, as the drawings want it: out of sheets and positions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from partkin.drawing.laying import IDENTITY
from partkin.model.build import Build, Feature
from partkin.model.drawing import DrawnFeature, Matrix, Owner, Spread
from partkin.model.mating import direction_deg
from partkin.model.positions import Positions
from partkin.tables.threads import parse_thread

# Radius that holds 95 in 100 of a normal distribution in the plane, in standard deviations: sqrt(-2 ln 0.05).
WITHIN_95 = math.sqrt(-2.0 * math.log(0.05))


def drawn_feature(feature: Feature, places_mm: Mapping[str, tuple[float, ...]]) -> DrawnFeature:
    """Return a feature of the sheets at its place; sizes that a thread tells are taken from it."""
    thread = parse_thread(feature.thread) if feature.thread else None
    fastener_mm = feature.fastener_mm or (thread.major_mm if thread else None)
    threaded = feature.kind in ("stud", "tapped hole", "captive nut")
    across_mm = feature.across_mm or (fastener_mm if threaded else None)
    return DrawnFeature(
        feature.feature,
        places_mm[feature.feature],
        feature.kind,
        across_mm,
        feature.length_mm,
        direction_deg(feature, places_mm) or 0.0,
        fastener_mm,
        feature.need,
    )


def places_mm(positions: Positions | None) -> dict[str, tuple[float, ...]]:
    """Return the place of every feature that has one."""
    if positions is None:
        return {}
    return {
        feature: tuple(float(value) for value in row)
        for feature, row in zip(positions.features, positions.xyz_mm, strict=True)
    }


def features_at(build: Build, part: str, at_mm: Mapping[str, tuple[float, ...]]) -> tuple[DrawnFeature, ...]:
    """Return the features of a part that have a place, in the order of their ids."""
    return tuple(drawn_feature(feature, at_mm) for feature in build.features_of(part) if feature.feature in at_mm)


def spreads(positions: Positions | None, of: Owner) -> tuple[Spread, ...]:
    """Return the ellipse of every feature's place, 95 in 100, in the plane of the drawing.

    From the covariance where the feature was adjusted, else from the greatest error of each coordinate,
    a, with the standard uncertainty a/sqrt(3) (JCGM 100:2008, 4.3.7).
    """
    if positions is None:
        return ()
    found = []
    dims = positions.dims
    for place, feature in enumerate(positions.features):
        centre = (float(positions.xyz_mm[place][0]), float(positions.xyz_mm[place][1]))
        covariance = positions.covariance_mm2
        if covariance is not None and (not positions.adjusted or feature in positions.adjusted):
            row = place * dims
            xx, yy = float(covariance[row][row]), float(covariance[row + 1][row + 1])
            semi, angle_deg = ellipse(xx, float(covariance[row][row + 1]), yy)
        else:
            a = float(positions.half_width_mm[place])
            semi, angle_deg = (a / math.sqrt(3.0) * WITHIN_95,) * 2, 0.0
        if semi[0] > 0.0:
            found.append(Spread(of, feature, centre, semi, angle_deg))
    return tuple(found)


def ellipse(xx_mm2: float, xy_mm2: float, yy_mm2: float) -> tuple[tuple[float, float], float]:
    """Return semi axes and direction of the ellipse that holds 95 in 100.

    Examples
    --------
    >>> (a, b), angle = ellipse(4.0, 0.0, 1.0)
    >>> round(a, 4), round(b, 4), angle
    (4.8955, 2.4477, 0.0)
    """
    middle, half = (xx_mm2 + yy_mm2) / 2, math.hypot((xx_mm2 - yy_mm2) / 2, xy_mm2)
    angle_deg = math.degrees(0.5 * math.atan2(2.0 * xy_mm2, xx_mm2 - yy_mm2)) if half > 0 else 0.0
    large, small = math.sqrt(max(0.0, middle + half)), math.sqrt(max(0.0, middle - half))
    return (WITHIN_95 * large, WITHIN_95 * small), angle_deg


def rigid_fit(pairs: Sequence[tuple[tuple[float, ...], tuple[float, ...]]], mirrored: bool) -> Matrix | None:
    """Return the least-squares turn and shift that lays the first points on the second; None below 2.

    For bringing the original's zones into the host's frame; never for a verdict.
    """
    if len(pairs) < 2:
        return None
    sign = -1.0 if mirrored else 1.0
    p = [complex(sign * a[0], a[1]) for a, _ in pairs]
    q = [complex(b[0], b[1]) for _, b in pairs]
    p_mean, q_mean = sum(p) / len(p), sum(q) / len(q)
    turn = sum((b - q_mean) * (a - p_mean).conjugate() for a, b in zip(p, q, strict=True))
    if abs(turn) < 1e-9:
        return None
    turn /= abs(turn)
    shift = q_mean - turn * p_mean
    return (
        (sign * turn.real, -turn.imag, 0.0, shift.real),
        (sign * turn.imag, turn.real, 0.0, shift.imag),
        *IDENTITY[2:],
    )


def inverse(matrix: Matrix) -> Matrix:
    """Return the inverse of a rigid move, mirrored or not.

    Examples
    --------
    >>> inverse(((0.0, -1.0, 0.0, 5.0), (1.0, 0.0, 0.0, 7.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0)))[0]
    (0.0, 1.0, 0.0, -7.0)
    """
    rows = []
    for i in range(3):
        turned = tuple(matrix[j][i] for j in range(3))
        rows.append((*turned, 0.0 - sum(turned[j] * matrix[j][3] for j in range(3))))
    return (*rows, (0.0, 0.0, 0.0, 1.0))
