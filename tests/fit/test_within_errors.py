"""Places within the errors of all readings at which pairs hold, in the plane and in space."""

from __future__ import annotations

import numpy as np
import pytest

from partkin.fit.just_goes_on import Reach
from partkin.fit.within_errors import Said, within_errors


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
