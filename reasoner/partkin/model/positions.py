"""Where features are, with what uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np


@dataclass(frozen=True)
class Suspect:
    """A reading that the rest of the readings contradict."""

    reading: str
    w: float
    off_by_mm: float
    says: str


@dataclass(frozen=True)
class Missing:
    """Something that a check needs and the sheets do not say, with the reading that would tell."""

    what: str
    part: str
    quantity: str
    from_feature: str | None
    to_feature: str | None
    says: str


@dataclass(frozen=True, eq=False)
class Positions:
    """Adjusted positions of the features of one part.

    Attributes
    ----------
    part
    features
        Feature ids, in sheet order; only those that have a position.
    xyz_mm
        float64 (n, 2) for a flat pattern, (n, 3) in space.
    half_width_mm
        float64 (n,): greatest error of each coordinate, rectangular (JCGM 100:2008, 4.3.7). Used where
        `covariance_mm2` is None.
    covariance_mm2
        float64 (n*d, n*d), order x1 y1 [z1] x2 ..., of the free network; None: not adjusted.
    missing
        Features without a position, and what would give it.
    suspects
    notes
        In words, for the reasons of the verdict.
    """

    part: str
    features: tuple[str, ...]
    xyz_mm: np.ndarray
    half_width_mm: np.ndarray
    covariance_mm2: np.ndarray | None = None
    missing: tuple[Missing, ...] = ()
    suspects: tuple[Suspect, ...] = ()
    notes: tuple[str, ...] = field(default=())

    @property
    def dims(self) -> int:
        """2 for a flat pattern, 3 in space."""
        return int(self.xyz_mm.shape[1])
