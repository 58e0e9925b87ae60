"""Where features are, with what uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np


@dataclass(frozen=True)
class Suspect:
    """A reading that the rest of the readings contradict.

    `left_out`: it clearly is the wrong one and does not count; False: it or another one is, and all count.
    `quantity` and the ends say what to read (or, of left and right, look at) again; None for a stated coordinate.
    `likely`: of several, the one with the most is asked about first. `by_other`: nothing but the same distance on the
    other part speaks against it.
    """

    reading: str
    w: float
    off_by_mm: float
    says: str
    left_out: bool = False
    part: str | None = None
    quantity: str | None = None
    from_feature: str | None = None
    to_feature: str | None = None
    likely: float = 1.0
    by_other: bool = False


MOST_SUSPECTS = 3


def likeliest(suspects: Sequence[Suspect]) -> tuple[Sequence[Suspect], str]:
    """Return the first few of suspects in order, and in words how many more there are; empty: none."""
    left = len(suspects) - MOST_SUSPECTS
    says = f"{left} more may be the wrong one in place of these" if left > 0 else ""
    return suspects[:MOST_SUSPECTS], says


@dataclass(frozen=True)
class Missing:
    """Something that a check needs and the sheets do not say, with the reading that would tell.

    Of a left-or-right question the quantity is `left of`, and `to_feature` the two ids that the line runs through.
    """

    what: str
    part: str
    quantity: str
    from_feature: str | None
    to_feature: str | None
    says: str


@dataclass(frozen=True)
class Observed:
    """One reading (or stated coordinate) as the adjustment used it.

    `kind`: distance, x, y or z. `value_mm`: between centres. `redundancy`: the part of an error of this
    reading that the others show (0: nothing checks it, 1: everything does). `w`: the residual over its
    own standard deviation, 0 where nothing checks it. `used`: False for a suspect that was left out.
    """

    reading: str
    kind: str
    from_feature: str
    to_feature: str | None
    value_mm: float
    sigma_mm: float
    adjusted_mm: float
    redundancy: float
    w: float
    used: bool = True

    @property
    def residual_mm(self) -> float:
        """Adjusted minus read."""
        return self.adjusted_mm - self.value_mm


@dataclass(frozen=True, eq=False)
class Positions:
    """Adjusted positions of the features of one part.

    `features`: in the order of their ids, only those that have a position. `xyz_mm`: float64 (n, 2) for a flat pattern,
    (n, 3) in space. `half_width_mm`: float64 (n,), greatest error of each coordinate, rectangular (JCGM 100:2008,
    4.3.7); used where `covariance_mm2` is None.
    `covariance_mm2`: float64 (n*d, n*d), order x1 y1 [z1] x2 ..., of the shape: a common turn and shift is no error,
    since the part is laid on anyhow; None: not adjusted. `in_frame_mm2`: the same with how far the whole may lie off
    the frame that the sheet's coordinates are in; None: no coordinates. `adjusted`: the features that distances tie
    together, which it holds for: others stay rectangular, each on its own. `sigma0`: by how much it was widened because
    the readings disagree; 1: not at all.
    `missing`: features without a position, and what would give it. `notes`: for the reasons of the verdict.
    `layouts`: float64 (n, d) each: every layout that the readings cannot tell apart, `xyz_mm` first, () where nothing
    was adjusted, each with one of `layout_covariances_mm2`. The mirror image of the whole is not listed: `handed` False
    says that it agrees with the readings as well. `framed` False: no coordinates; the frame is the first feature, with
    the second on its x axis. `observed`: what the adjustment used, distances first, then coordinates.
    `chi_square`, `degrees_of_freedom`: global test of the readings against each other; `agree` False: beyond its 95 %
    quantile. `bent`: some moves within the covariance are so wide that they change distances by their second order
    (features nearly in one line, or a frame known only roughly), and draws are bent back to the distances. `flat`
    False: no plane holds the distances, though space does, and no heights are given: nothing rests on the places.
    """

    part: str
    features: tuple[str, ...]
    xyz_mm: np.ndarray
    half_width_mm: np.ndarray
    covariance_mm2: np.ndarray | None = None
    in_frame_mm2: np.ndarray | None = None
    missing: tuple[Missing, ...] = ()
    suspects: tuple[Suspect, ...] = ()
    notes: tuple[str, ...] = ()
    adjusted: tuple[str, ...] = ()
    layouts: tuple[np.ndarray, ...] = ()
    layout_covariances_mm2: tuple[np.ndarray, ...] = ()
    handed: bool = True
    framed: bool = True
    observed: tuple[Observed, ...] = ()
    chi_square: float = 0.0
    degrees_of_freedom: int = 0
    agree: bool = True
    flat: bool = True
    sigma0: float = 1.0
    bent: bool = False

    @property
    def dims(self) -> int:
        """2 for a flat pattern, 3 in space."""
        return int(self.xyz_mm.shape[1])
