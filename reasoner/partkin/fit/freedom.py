"""What movement is left where a placement is not unique, and which of the equal ones to take."""

from __future__ import annotations

from partkin.fit.arrays import Floats, PlanePairs


def choose(pairs: PlanePairs, angle: float, shift: Floats, worst: float) -> tuple[float, Floats, bool]:
    """Take the settled placement as it is."""
    return angle, shift, False
