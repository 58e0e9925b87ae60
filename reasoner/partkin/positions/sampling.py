"""Seeded draws of positions, the same whichever way they are split into blocks.

Every feature of every part has a stream of its own, named by their ids: its draws are the same whatever else
is listed, and in whichever order.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from partkin.model.positions import Positions
from partkin.positions.budget import covariance_mm2, weighted_rows
from partkin.positions.network import median

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
        Features of different part or id draw independently under the same seed.
    start
        Number of the first draw: `draws(p, 128, s, start=128)` equals rows 128 to 255 of `draws(p, 256, s)`.

    Returns
    -------
    ndarray
        float64 (n, k, d) in mm.
    """
    d = positions.dims
    half_mm = np.asarray(positions.half_width_mm, dtype=float)
    tied = np.isin(np.array(positions.features, dtype=object), np.array(positions.adjusted, dtype=object))
    names = [f"{positions.part} {feature}" for feature in positions.features]
    adjusted = None if positions.covariance_mm2 is None else _adjusted(positions, names, n, seed, start)
    if adjusted is not None and tied.all():
        return np.asarray(positions.xyz_mm + adjusted)
    off = (2.0 * evenly(seed, names, start, n)[:, :, :d] - 1.0) * half_mm[:, None]
    return np.asarray(positions.xyz_mm + (off if adjusted is None else np.where(tied[None, :, None], adjusted, off)))


def _adjusted(positions: Positions, names: Sequence[str], n: int, seed: int, start: int) -> np.ndarray:
    """(n, k, d) mm: how far off with the covariance of the readings; by whole blocks, so that no rounding differs."""
    k, d = positions.xyz_mm.shape
    spread = _root(np.asarray(positions.covariance_mm2))
    unbend = _unbending(positions) if positions.bent else None
    before = start % BLOCK
    count = -(-(before + n) // BLOCK)
    normal = _normally(seed, names, start - before, count * BLOCK)[:, :, :d].reshape(count, BLOCK, k * d)
    blocks = [(block @ spread.T).reshape(BLOCK, k, d) for block in normal]
    return np.concatenate([np.empty((0, k, d)), *(map(unbend, blocks) if unbend else blocks)])[before:][:n]


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


def within_play(
    n: int,
    seed: int,
    radius_mm: np.ndarray,
    half_travel_mm: np.ndarray,
    spread_mm: np.ndarray,
    names: Sequence[str],
    start: int = 0,
) -> np.ndarray:
    """Draw offsets from the middle of plays: normal, but never beyond the play; along a slot evenly besides.

    Parameters
    ----------
    n, seed, start
        As in `draws`.
    radius_mm, half_travel_mm
        float64 (k,). Radius of the play (nothing below 0) and half of a slot's centre line, along the first axis.
    spread_mm
        float64 (k,). Standard deviation each way if no play ended; infinite: evenly over the disc.
    names
        (k,) of the streams that are drawn from.

    Returns
    -------
    ndarray
        float64 (n, k, 2) in mm.
    """
    radius = np.maximum(0.0, np.asarray(radius_mm, dtype=float))
    # A very wide spread is as good as evenly, and a very narrow one as none.
    cut = np.clip(radius**2 / np.maximum(2.0 * np.asarray(spread_mm, dtype=float) ** 2, 1e-300), 1e-9, 1e18)
    slid, u, v = np.moveaxis(evenly(seed, names, start, n), 2, 0)
    reach = radius * np.sqrt(-np.log1p(u * np.expm1(-cut)) / cut)
    around = 2.0 * np.pi * v
    along = (2.0 * slid - 1.0) * np.maximum(0.0, np.asarray(half_travel_mm, dtype=float))
    return np.stack([reach * np.cos(around) + along, reach * np.sin(around)], axis=2)


def _unbending(positions: Positions) -> Callable[[np.ndarray], np.ndarray] | None:
    """What takes back, by moves that the distances feel, the lengthening that a wide sideways move brings.

    The covariance knows distances to first order only; over a soft direction a draw moves so far that
    the second order, square of the sideways move over twice the length, would exceed the readings. None where
    every distance was left out.
    """
    number = {name: at for at, name in enumerate(positions.features)}
    used = [row for row in positions.observed if row.used]
    tied = [row for row in used if row.kind == "distance"]
    if not tied:
        return None
    ends = np.array([[number[row.from_feature], number[row.to_feature or ""]] for row in tied])
    apart = positions.xyz_mm[ends[:, 0]] - positions.xyz_mm[ends[:, 1]]
    length_mm = np.maximum(np.linalg.norm(apart, axis=1), 1e-9)
    unit = apart / length_mm[:, None]
    sigma = np.array([row.sigma_mm for row in tied])
    rows = weighted_rows(positions, [*tied, *(row for row in used if row.kind != "distance")])
    rows[:, np.diagonal(np.asarray(positions.covariance_mm2)) == 0.0] = 0.0
    size, axes = np.linalg.eigh(rows.T @ rows)
    firm = size > max(1e-9 * size[-1], 10.0 / (median(length_mm) * median(sigma)))
    back = ((axes[:, firm] / size[firm]) @ axes[:, firm].T @ rows[: len(tied)].T) / sigma

    def unbend(off_mm: np.ndarray) -> np.ndarray:
        pairs = off_mm[:, ends[:, 0]] - off_mm[:, ends[:, 1]]
        along = np.einsum("nmd,md->nm", pairs, unit)
        longer = (np.einsum("nmd,nmd->nm", pairs, pairs) - along**2) / (2.0 * length_mm)
        return np.asarray(off_mm - (longer @ back.T).reshape(off_mm.shape))

    return unbend


def evenly(seed: int, names: Sequence[str], start: int, count: int) -> np.ndarray:
    """Draw three numbers within [0, 1) of each stream, for draws start to start + count - 1.

    The streams are those of SplitMix64 (Steele, Lea and Flood, Fast splittable pseudorandom number generators,
    2014), each begun where a hash of its name says: a draw needs none of the draws before it.

    Returns
    -------
    ndarray
        float64 (count, k, 3).
    """
    begun = [hashlib.blake2b(f"{seed} {name}".encode(), digest_size=8).digest() for name in names]
    key = np.array([int.from_bytes(one, "little") for one in begun], dtype=np.uint64)
    number = np.arange(3 * start, 3 * (start + count), dtype=np.uint64).reshape(count, 1, 3)
    return (split_mix(key[None, :, None], number) >> np.uint64(11)) * 2.0**-53


def split_mix(key: np.ndarray, number: np.ndarray) -> np.ndarray:
    """Return the numbers, counted from 0, of the streams of SplitMix64 that begin at these keys; uint64 each."""
    state = key + (number + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
    state = (state ^ (state >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    state = (state ^ (state >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(state ^ (state >> np.uint64(31)))


def _normally(seed: int, names: Sequence[str], start: int, count: int) -> np.ndarray:
    """(count, k, 3) standard normal numbers of each stream, by Box and Muller."""
    out, around = (evenly(seed, [f"{name} {which}" for name in names], start, count) for which in ("out", "around"))
    return np.asarray(np.sqrt(-2.0 * np.log1p(-out)) * np.cos(2.0 * np.pi * around))


def _root(covariance_mm2: np.ndarray) -> np.ndarray:
    """A symmetric square root; covariances of free networks have no inverse, so no Cholesky factor."""
    size, axes = np.linalg.eigh(0.5 * (covariance_mm2 + covariance_mm2.T))
    return np.asarray((axes * np.sqrt(np.maximum(0.0, size))) @ axes.T)
