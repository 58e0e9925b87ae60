"""Places within the errors of all readings at which pairs hold, in the plane and in space."""

from __future__ import annotations

import numpy as np
import pytest

from partkin.fit.discrepancies import rotation
from partkin.fit.just_goes_on import Reach
from partkin.fit.within_errors import Said, _beyond, _slopes, within_errors


@pytest.mark.parametrize("d", [2, 3])
def test_what_the_errors_allow_is_found(d: int) -> None:
    """One coordinate 1 mm out, a play of 0.5 and errors of 0.4 on both sides: less than both may be out."""
    at = np.array([[0.0, 0.0, 0.0], [300.0, 0.0, 20.0], [310.0, 200.0, 0.0], [0.0, 180.0, 40.0]])[:, :d]
    read = at.copy()
    read[1, 0] += 2.0
    none = np.zeros((0, 2), dtype=int), np.zeros(0), np.zeros(0)
    host, donor = (Said(to, np.full(to.shape, 0.3), *none, to, np.full(to.shape, 0.4)) for to in (at, read))
    axis = np.tile([0.0, 0.0, 1.0], (4, 1)) if d == 3 else None
    reach = Reach(np.full(4, 0.5), np.zeros((4, 0, d)), np.zeros((4, 0)), axis)
    found = within_errors(host, donor, [(k, k) for k in range(4)], reach, np.eye(d), np.zeros(d))
    assert found is not None
    assert host.holds(found[0]) and donor.holds(found[1])


@pytest.mark.parametrize("d", [2, 3])
def test_slopes_are_the_derivatives(d: int) -> None:
    """Of lengths, places and gaps by every coordinate, a shift, and a turn about the middle of the donor as laid."""
    rng = np.random.default_rng(d)
    q, p = rng.uniform(-100, 100, (2, 4, d))
    ends = np.array([[0, 1], [1, 3], [2, 0]]), np.array([[3, 1], [0, 2]])
    none = np.zeros(0)
    said = tuple(Said(at, at, two, none, none, at, at) for at, two in zip((q, p), ends, strict=True))
    on, there = np.array([0, 2, 3]), np.array([1, 0, 2])
    onto, shift = rotation(rng.normal(size=d * (d - 1) // 2)), rng.normal(size=d)
    laid = p @ onto.T + shift
    middle = laid.mean(axis=0)

    def told(step: np.ndarray) -> np.ndarray:
        of_q, of_p, slid, turned = np.split(step, np.cumsum([q.size, p.size, d]))
        host, donor = q + of_q.reshape(q.shape), p + of_p.reshape(p.shape)
        lain = (donor @ onto.T + shift - middle) @ rotation(turned).T + middle + slid
        lengths = [
            np.linalg.norm(at[two[:, 0]] - at[two[:, 1]], axis=1) for at, two in zip((host, donor), ends, strict=True)
        ]
        return np.concatenate([lengths[0], host.ravel(), lengths[1], donor.ravel(), (lain[there] - host[on]).ravel()])

    slopes = _slopes(said, (q, p), (on, there), laid, onto)
    steps = 1e-5 * np.eye(slopes.shape[1])
    assert slopes == pytest.approx(np.stack([(told(s) - told(-s)) / 2e-5 for s in steps], axis=1), abs=1e-6)


def test_only_what_is_beyond_the_error_is_missed() -> None:
    assert _beyond(np.array([0.5, -0.5, 0.2, -0.2]), np.array([0.3, 0.1, 0.3, 0.2])) == pytest.approx([0.2, -0.4, 0, 0])


def test_readings_are_kept_within_a_share_of_their_errors() -> None:
    at = np.array([[0.0, 0.0], [30.0, 40.0]])
    read = at + np.array([[0.5, -0.3]])
    said = Said(at, at, np.array([[0, 1]]), np.array([51.0]), np.array([0.8]), read, np.full((2, 2), 0.4))
    for share, length, places in ((1.0, -0.2, (-0.1, 0.0)), (0.5, -0.6, (-0.3, 0.1)), (2.0, 0.0, (0.0, 0.0))):
        lengths, own = said.missed(at, share)
        assert lengths == pytest.approx([length]) and own == pytest.approx(np.array([places] * 2))
    assert not said.holds(at) and said.holds(at + np.array([[0.2, 0.0], [0.6, 0.0]]))
