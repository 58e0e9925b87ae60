"""Rotations of space: as matrices, and as quaternions, in which what a turn does is a quadratic form.

For a quaternion q = (w, x, y, z) of any length the rotated point R p is a quadratic function of q over
|q|^2, so f.(R p) times |q|^2 is q.K q for one symmetric 4 x 4 matrix K (Davenport's, see F. L. Markley,
Fundamentals of Spacecraft Attitude Determination and Control, 2014, section 5.3). Every bound over a box of
rotations is built on that.
"""

from __future__ import annotations

import numpy as np

Floats = np.ndarray

_CYCLE = [1, 2, 0]
_CYCLE_TWICE = [2, 0, 1]


def cross(u: Floats, v: Floats) -> Floats:
    """Vector product over the last axis; numpy's own takes five times as long on a few vectors."""
    return np.asarray(u[..., _CYCLE] * v[..., _CYCLE_TWICE] - u[..., _CYCLE_TWICE] * v[..., _CYCLE])


def matrix_of(quaternion: Floats) -> Floats:
    """(..., 3, 3) rotation matrices of (..., 4) quaternions of any length but zero.

    Examples
    --------
    >>> matrix_of(np.array([1.0, 0.0, 0.0, 1.0])).round(12).tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    q = np.asarray(quaternion, dtype=float)
    w, x, y, z = q[..., 0], q[..., 1], q[..., 2], q[..., 3]
    square = w * w + x * x + y * y + z * z
    out = np.empty((*square.shape, 3, 3))
    out[..., 0, 0], out[..., 1, 1], out[..., 2, 2] = (
        w * w + x * x - y * y - z * z, w * w - x * x + y * y - z * z, w * w - x * x - y * y + z * z,
    )  # fmt: skip
    out[..., 0, 1], out[..., 1, 0] = 2 * (x * y - w * z), 2 * (x * y + w * z)
    out[..., 0, 2], out[..., 2, 0] = 2 * (x * z + w * y), 2 * (x * z - w * y)
    out[..., 1, 2], out[..., 2, 1] = 2 * (y * z - w * x), 2 * (y * z + w * x)
    return np.asarray(out / square[..., None, None])


def quaternion_of(matrix: Floats) -> Floats:
    """(4,) unit quaternion of a rotation matrix, its largest part positive."""
    m = np.asarray(matrix, dtype=float)
    trace = float(np.trace(m))
    parts = [trace, *(2 * m[k, k] - trace for k in range(3))]
    largest = int(np.argmax(np.round(parts, 9)))
    q = np.empty(4)
    if largest == 0:
        q[0] = 1 + trace
        q[1:] = m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]
    else:
        i = largest - 1
        j, k = _CYCLE[i], _CYCLE_TWICE[i]
        q[0] = m[k, j] - m[j, k]
        q[1 + i] = 1 + 2 * m[i, i] - trace
        q[1 + j], q[1 + k] = m[j, i] + m[i, j], m[k, i] + m[i, k]
    return q / np.linalg.norm(q)


def flat_turn(angle_rad: Floats | float) -> Floats:
    """(..., 2, 2) turns of the plane."""
    out = np.empty((*np.shape(angle_rad), 2, 2))
    out[..., 0, 0] = out[..., 1, 1] = np.cos(angle_rad)
    out[..., 1, 0] = np.sin(angle_rad)
    out[..., 0, 1] = -out[..., 1, 0]
    return out


def turned_by(vector_rad: Floats) -> Floats:
    """(..., 3, 3) rotations about (..., 3) vectors by their length in radians (Rodrigues); of (..., 1): `flat_turn`."""
    v = np.asarray(vector_rad, dtype=float)
    if v.shape[-1] == 1:
        return flat_turn(v[..., 0])
    half = np.sqrt((v * v).sum(axis=-1, keepdims=True)) / 2
    sine = np.sin(half) / np.where(half > 0, half, 1.0) + (half == 0)
    return matrix_of(np.concatenate([np.cos(half), v / 2 * sine], axis=-1))


def angle_deg(matrix: Floats) -> float:
    """By how much a rotation turns, 0 to 180 degrees."""
    m = np.asarray(matrix, dtype=float)
    sine = np.array([m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])
    return float(np.degrees(np.arctan2(np.linalg.norm(sine), np.trace(m) - 1)))


def form(p: Floats, f: Floats) -> Floats:
    """(..., 4, 4) symmetric K with q.K q = |q|^2 f.(R p), for (..., 3) points and directions.

    Examples
    --------
    >>> q, p, f = np.array([0.1, -0.4, 0.3, 0.9]), np.array([1.0, 2.0, 3.0]), np.array([0.5, -1.0, 0.2])
    >>> bool(np.isclose(q @ form(p, f) @ q, (q @ q) * (f @ matrix_of(q) @ p)))
    True
    """
    p, f = np.broadcast_arrays(np.asarray(p, dtype=float), np.asarray(f, dtype=float))
    dot = (p * f).sum(axis=-1)
    out = np.empty((*dot.shape, 4, 4))
    out[..., 0, 0] = dot
    side = cross(p, f)
    out[..., 0, 1:], out[..., 1:, 0] = side, side
    both = f[..., :, None] * p[..., None, :]
    out[..., 1:, 1:] = both + np.swapaxes(both, -1, -2) - dot[..., None, None] * np.eye(3)
    return out


def best_turn(forms: Floats) -> Floats:
    """(..., 3, 3) the rotation at which each (..., 4, 4) form is largest."""
    return matrix_of(np.linalg.eigh(forms)[1][..., :, -1])


def laid_over(axis: Floats) -> Floats:
    """(..., 3, 3) the shortest turn that lays z along an axis, whichever way along it is nearer.

    Its first two columns span what lies across the axis. A slot's direction is told in them: as seen in
    x and y where the axis is z, carried along as z is laid over to the axis otherwise.
    """
    a = np.asarray(axis, dtype=float)
    a = np.where(a[..., 2:] < 0, -a, a)
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    out = np.empty((*z.shape, 3, 3))
    out[..., 0, 0], out[..., 1, 1] = 1 - x * x / (1 + z), 1 - y * y / (1 + z)
    out[..., 0, 1] = out[..., 1, 0] = -x * y / (1 + z)
    out[..., 2, 0], out[..., 2, 1] = -x, -y
    out[..., :, 2] = a
    return out
