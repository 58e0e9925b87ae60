"""How a host feature and a donor feature go together, before any geometry, and which way a slot points."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from partkin.model.build import Feature

PlayRule = Literal[
    "fixed by the host", "fixed by the donor", "floating", "push fit by the host", "push fit by the donor"
]


class Size(NamedTuple):
    """A diameter or width with the greatest error believed possible; None: not known."""

    mm: float | None
    half_width_mm: float = 0.0


@dataclass(frozen=True)
class Fixing:
    """A host feature that a donor is held by.

    `feature`: as a host feature; where the original stands in for the host, what must have stood there: the stud under
    the original's hole, the hole around the original's peg. `shown_by`: id of the original's feature that shows the
    place; None: measured on the host. `play_mm` to `play_angle_to`: where it may stand around that place: the play of
    the original's own hole, and for a slot its direction, or the feature of the original that it points at.
    `material`: of the host, which a clip is pushed into. `play_open_mm`: half travel of an original's slot of which
    nobody said which way it points. `play_lacks`: what of the original's feature is not known, so that how far the
    fixing may stand from it is not. `supposed`: nothing of the host is listed here: it is what must have stood under
    the original's feature, if the original was held there at all.
    """

    feature: Feature
    across: Size
    length: Size
    shown_by: str | None = None
    play_mm: float = 0.0
    play_half_travel_mm: float = 0.0
    play_angle_deg: float | None = None
    play_angle_to: str | None = None
    material: str | None = None
    play_open_mm: float = 0.0
    play_lacks: tuple[str, ...] = ()
    supposed: bool = False


@dataclass(frozen=True)
class DonorFeature:
    """A donor feature with its sizes; `material` of the donor, which a clip is pushed into."""

    feature: Feature
    across: Size
    length: Size
    material: str | None = None


class Mating(NamedTuple):
    """What one fixing and one donor feature allow each other.

    `blocked`: why they cannot go together (then `allowed_mm` may still say by how much a bolt is too large).
    `lacks`: what is not known of them, as (side, quantity) with side `host`, `donor` or `shown`: the original's
    feature that places the fixing. `allowed_mm`: the play that there is whatever the unknown is; None: there may be
    none. `most_mm`: the play that there is at most; None: without bound. Both are the play where `lacks` is empty.
    """

    fixing: str
    feature: str
    rule: PlayRule | None
    allowed_mm: float | None
    blocked: str | None = None
    lacks: tuple[tuple[str, str], ...] = ()
    option: bool = True
    most_mm: float | None = None


def direction_deg(feature: Feature, at_mm: Mapping[str, Sequence[float]]) -> float | None:
    """Return a slot's direction, anticlockwise in the frame that its places are told in; None: not known.

    `at_mm`: places, (x, y) or (x, y, z), of the features of its part. Out of plane a direction is told as seen along z
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
