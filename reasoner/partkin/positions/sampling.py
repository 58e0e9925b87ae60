"""Seeded draws of positions, the same whichever way they are split into blocks."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np

from partkin.model.positions import Positions
from partkin.positions.budget import covariance_mm2, weighted_rows

BLOCK = 128


def draws(positions: Positions, n: int, seed: int, start: int = 0) -> np.ndarray:
    """Draw positions of one part as its readings allow.

    Adjusted features are multivariate normal with their covariance, correlations included; the others
    are rectangular, every coordinate by itself. Where several layouts agree with the readings these
    are draws of the first; `sampling.of_layout` gives the others.

    Parameters
    ----------
    positions
    n
        How many.
    seed
        Parts of different id draw independently under the same seed.
    start
        Number of the first draw: `draws(p, 128, s, start=128)` equals rows 128 to 255 of `draws(p, 256, s)`.

    Returns
    -------
    ndarray
        float64 (n, k, d) in mm.
    """
    k, d = positions.xyz_mm.shape
    half_mm = np.asarray(positions.half_width_mm, dtype=float)
    out = np.empty((n, k, d))
    spread = None if positions.covariance_mm2 is None else _root(positions.covariance_mm2)
    unbend = _unbending(positions) if positions.bent else None
    tied = np.isin(np.array(positions.features, dtype=object), np.array(positions.adjusted, dtype=object))
    for first, last, lines in _blocks(n, start):
        rng = _generator(seed, positions.part, first // BLOCK)
        off = (2.0 * rng.random((BLOCK, k, d)) - 1.0) * half_mm[:, None]
        if spread is not None:
            normal = (rng.standard_normal((BLOCK, k * d)) @ spread.T).reshape(BLOCK, k, d)
            normal = unbend(normal) if unbend else normal
            off = np.where(tied[None, :, None], normal, off)
        out[lines] = positions.xyz_mm + off[first % BLOCK : last - first + first % BLOCK]
    return out


def of_layout(positions: Positions, layout: int) -> Positions:
    """Return the same positions with another of the layouts that the readings cannot tell apart in front."""
    return replace(
        positions,
        xyz_mm=positions.layouts[layout],
        covariance_mm2=positions.layout_covariances_mm2[layout],
    )


def as_normal(positions: Positions) -> Positions:
    """Return the same positions with normal errors everywhere, as they are once a reading ties features together.

    Adjusted features keep their covariance, the others have that of their rectangular errors.
    """
    names = positions.features
    return replace(positions, covariance_mm2=covariance_mm2(positions), adjusted=names)


def uniform_in_stadium(
    n: int,
    seed: int,
    radius_mm: np.ndarray,
    half_travel_mm: np.ndarray,
    angle_deg: np.ndarray,
    part: str = "",
    start: int = 0,
) -> np.ndarray:
    """Draw evenly over discs and stadiums: where studs were within the play of an original's holes.

    Parameters
    ----------
    n, seed, start
        As in `draws`.
    radius_mm, half_travel_mm, angle_deg
        float64 (k,). Radius of the play (nothing below 0), half of the centre line, its direction.
    part
        Mixed into the seed.

    Returns
    -------
    ndarray
        float64 (n, k, 2), offsets from the hole's centre in mm, in the part's frame.
    """
    radius = np.maximum(0.0, np.asarray(radius_mm, dtype=float))
    travel = np.maximum(0.0, np.asarray(half_travel_mm, dtype=float))
    turn = np.radians(np.asarray(angle_deg, dtype=float))
    area = 4.0 * travel * radius + np.pi * radius**2
    # Without a radius the stadium is its centre line alone.
    box = np.where(area > 0.0, 4.0 * travel * radius / np.where(area > 0.0, area, 1.0), 1.0)
    out = np.empty((n, len(radius), 2))
    for first, last, lines in _blocks(n, start):
        rng = _generator(seed, "play of " + part, first // BLOCK)
        pick, u, v = rng.random((3, BLOCK, len(radius)))[:, first % BLOCK : last - first + first % BLOCK]
        inside = pick < box
        reach, around = radius * np.sqrt(u), 2.0 * np.pi * v
        cap = reach * np.cos(around)
        x = np.where(inside, (2.0 * u - 1.0) * travel, cap + np.copysign(travel, cap))
        y = np.where(inside, (2.0 * v - 1.0) * radius, reach * np.sin(around))
        out[lines, :, 0] = x * np.cos(turn) - y * np.sin(turn)
        out[lines, :, 1] = x * np.sin(turn) + y * np.cos(turn)
    return out


def _unbending(positions: Positions) -> Callable[[np.ndarray], np.ndarray]:
    """What takes back, by moves that the distances feel, the lengthening that a wide sideways move brings.

    The covariance knows distances to first order only; over a soft direction a draw moves so far that
    the second order, square of the sideways move over twice the length, would exceed the readings.
    """
    number = {name: at for at, name in enumerate(positions.features)}
    used = [row for row in positions.observed if row.used]
    tied = [row for row in used if row.kind == "distance"]
    ends = np.array([[number[row.from_feature], number[row.to_feature or ""]] for row in tied])
    apart = positions.xyz_mm[ends[:, 0]] - positions.xyz_mm[ends[:, 1]]
    length_mm = np.maximum(np.linalg.norm(apart, axis=1), 1e-9)
    unit = apart / length_mm[:, None]
    sigma = np.array([row.sigma_mm for row in tied])
    rows = weighted_rows(positions, [*tied, *(row for row in used if row.kind != "distance")])
    rows[:, np.diagonal(np.asarray(positions.covariance_mm2)) == 0.0] = 0.0
    size, axes = np.linalg.eigh(rows.T @ rows)
    firm = size > max(1e-9 * size[-1], 10.0 / float(np.median(length_mm) * np.median(sigma)))
    back = ((axes[:, firm] / size[firm]) @ axes[:, firm].T @ rows[: len(tied)].T) / sigma

    def unbend(off_mm: np.ndarray) -> np.ndarray:
        pairs = off_mm[:, ends[:, 0]] - off_mm[:, ends[:, 1]]
        along = np.einsum("nmd,md->nm", pairs, unit)
        longer = (np.einsum("nmd,nmd->nm", pairs, pairs) - along**2) / (2.0 * length_mm)
        return np.asarray(off_mm - (longer @ back.T).reshape(off_mm.shape))

    return unbend


def _generator(seed: int, name: str, block: int) -> np.random.Generator:
    mixed = np.random.SeedSequence([seed, zlib.crc32(name.encode()), block])
    return np.random.Generator(np.random.PCG64(mixed))


def _blocks(n: int, start: int) -> list[tuple[int, int, slice]]:
    """Split draws at whole blocks: first and last of the whole count, and the rows of the answer."""
    cuts = [start, *range((start // BLOCK + 1) * BLOCK, start + n, BLOCK), start + n]
    return [(a, b, slice(a - start, b - start)) for a, b in pairwise(cuts) if b > a]


def _root(covariance_mm2: np.ndarray) -> np.ndarray:
    """A symmetric square root; covariances of free networks have no inverse, so no Cholesky factor."""
    size, axes = np.linalg.eigh(0.5 * (covariance_mm2 + covariance_mm2.T))
    return (axes * np.sqrt(np.maximum(0.0, size))) @ axes.T
