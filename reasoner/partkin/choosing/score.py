"""How the stated chances have fared."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from math import sqrt
from statistics import NormalDist

from partkin.model.build import Outcome
from partkin.model.choosing import Bin, Calibration
from partkin.model.known import FittedMaking

EDGES = (0.0, 0.05, 0.5, 0.95, 1.0)
FEW = 20
WENT_ON = ("fits", "fitted", "went on", "bolted on", "yes")
DID_NOT = ("does not fit", "did not fit", "did not go on", "no")


def with_sisters(
    found: Calibration, assumed: Sequence[float], scatter_mm: float, fit: Callable[[], FittedMaking]
) -> Calibration:
    """Add what measured sister parts tell of how parts come about. It changes nothing until somebody sets it.

    `assumed`: how likely one drawing was taken to be of each before anything was read; `scatter_mm`: what is taken for
    granted; `fit`: asked only where there are enough.
    """
    count = len(assumed)
    if count < FEW:
        says = f"{count} measured sister part{'s' * (count != 1)}: too few to tell of; {FEW} are the least"
        return replace(found, sisters=count, making_says=says)
    making = fit()
    says = (
        f"of {count} measured sister parts {making.one_drawing:.0%} share a drawing ({making.one_drawing_low:.0%} to "
        f"{making.one_drawing_high:.0%}), where {sum(assumed) / count:.0%} was taken for granted; they scatter by "
        f"{making.scatter_mm:.2f} mm ({making.scatter_low_mm:.2f} to {making.scatter_high_mm:.2f}), where "
        f"{scatter_mm:g} was. Nothing changes until you say so: same_drawing = {making.one_drawing:.2f} "
        f"and scatter_mm = {making.scatter_mm:.2f} in build.toml"
    )
    return replace(found, sisters=count, making=making, making_says=says)


def went_on(happened: str) -> bool | None:
    """Read what happened as yes or no; None: it says neither.

    Examples
    --------
    >>> went_on("Bolted on after filing"), went_on("did not fit at F4"), went_on("sold before I asked")
    (True, False, None)
    """
    text = " ".join(happened.lower().split())
    if text.startswith(DID_NOT):
        return False
    return True if text.startswith(WENT_ON) else None


def interval(yes: int, count: int, together: int = 1) -> tuple[float, float]:
    """95 % interval of a share (Wilson, 1927); of several `together`, so that all hold at once (Bonferroni).

    >>> tuple(round(edge, 3) for edge in interval(9, 10))
    (0.596, 0.982)
    """
    z = NormalDist().inv_cdf(1.0 - 0.025 / together)
    share, z2 = yes / count, z * z
    middle = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = z * sqrt(share * (1 - share) / count + z2 / (4 * count * count)) / (1 + z2 / count)
    return max(0.0, middle - half), min(1.0, middle + half)


def calibration(outcomes: Iterable[Outcome]) -> Calibration:
    """Compare the chances that were stated with what happened, where an outcome says yes or no."""
    stated_then = [(outcome.chance_then, went_on(outcome.happened)) for outcome in outcomes]
    told = [(p, went) for p, went in stated_then if p is not None and went is not None]
    by_edges = {
        (low, high): [(p, went) for p, went in told if low <= p < high or high == p == 1.0]
        for low, high in pairwise(EDGES)
    }
    filled = {edges: here for edges, here in by_edges.items() if here}
    bins = []
    for (low, high), here in filled.items():
        yes, stated = sum(went for _, went in here), sum(p for p, _ in here) / len(here)
        bounds = interval(yes, len(here), len(filled))
        bins.append(Bin(low, high, len(here), stated, yes / len(here), *bounds))
    brier = sum((p - went) ** 2 for p, went in told) / len(told) if told else None
    enough = len(told) >= FEW
    if not told:
        says = 'no outcome with a stated chance yet: partkin outcome DONOR --happened "..." adds one'
    elif not enough:
        says = f"{len(told)} outcome{'s' * (len(told) != 1)}: too few to tell; {FEW} are the least"
    else:
        off = [b for b in bins if not b.happened_low <= b.stated <= b.happened_high]
        says = "the stated chances have held" if not off else "the stated chances have not held where marked"
    return Calibration(tuple(bins), len(told), brier, enough, says)
