"""Which way a slot points: in degrees, or towards another feature of its part."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from partkin.model.build import Feature


def direction_deg(feature: Feature, at_mm: Mapping[str, Sequence[float]]) -> float | None:
    """Return a slot's direction, anticlockwise in the frame that its places are told in; None: not known.

    Parameters
    ----------
    feature
    at_mm
        Places, (x, y) or (x, y, z), of the features of its part. Out of plane a direction is told as seen along z
        once the slot's axis is laid over to z by the shortest turn.

    Examples
    --------
    >>> slot = Feature("p", "s", "slot", angle_to="h")
    >>> direction_deg(slot, {"s": (0.0, 0.0), "h": (0.0, 40.0)}), direction_deg(slot, {})
    (90.0, None)
    """
    if feature.angle_to is None:
        return feature.angle_deg
    here, there = at_mm.get(feature.feature), at_mm.get(feature.angle_to)
    if here is None or there is None:
        return None
    x_mm, y_mm, *z_mm = (float(b) - float(a) for a, b in zip(here, there, strict=True))
    if z_mm and feature.axis is not None:
        a, b, c = feature.axis if feature.axis[2] >= 0.0 else tuple(-v for v in feature.axis)
        along_mm = (a * x_mm + b * y_mm) / (1.0 + c)
        x_mm, y_mm = x_mm - a * (along_mm + z_mm[0]), y_mm - b * (along_mm + z_mm[0])
    return math.degrees(math.atan2(y_mm, x_mm)) if math.hypot(x_mm, y_mm) > 1e-9 else None
