"""Distances that no plane holds, though space does: the part is not flat, and nobody took a height."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partkin.model.distributions import chi_square_quantile
from partkin.model.positions import Missing, Positions
from partkin.positions.network import Network, solve

TRIES = 8
SEED = 1
SURE = 0.99
# Heights tried at first, in shares of how far the points reach.
RISES = (0.1, 0.3)


def spare_in_space(network: Network, flat_mm: np.ndarray) -> int | None:
    """How many distances space has to spare (less than 0: it is open there) where it holds all; None: it does not.

    Parameters
    ----------
    network
        Of distances alone, in the plane.
    flat_mm
        (k, 2) the layout that comes nearest in the plane.
    """
    k, spare = len(flat_mm), len(network.length_mm) - (3 * len(flat_mm) - 6)
    if network.seen.any() or k < 4:
        return None
    nowhere = np.full((k, 3), np.nan)
    space = replace(network, seen_mm=nowhere, seen_sigma_mm=np.zeros((k, 3)))
    reach_mm = float(np.ptp(flat_mm, axis=0).max())
    draw = np.random.default_rng(SEED)
    limit = chi_square_quantile(SURE, spare) if spare > 0 else 0.1 * len(network.length_mm)
    for number in range(TRIES):
        heights_mm = draw.normal(size=(k, 1)) * reach_mm * RISES[number % len(RISES)]
        found = solve(space, np.hstack([flat_mm, heights_mm]), cautious=True)
        if found.chi_square <= limit:
            return spare
    return None


def or_not_flat(part: str) -> str:
    """What a suspect of such a part says beside the slip."""
    return f"; or {part} is not flat: then give its heights (z_mm)."


def told(positions: Positions, network: Network) -> Positions:
    """Say that a part may not be flat, where its distances contradict each other in the plane and not in space.

    One reading that is plainly wrong explains as much; and where space has nothing to spare it holds any distances,
    so then it is said and no more.
    """
    if positions.dims != 2 or (positions.agree and not positions.suspects):
        return positions
    spare = spare_in_space(network, positions.xyz_mm)
    if spare is None:
        return positions
    part = positions.part
    suspects = tuple(replace(one, says=one.says.rstrip(".") + or_not_flat(part)) for one in positions.suspects)
    positions = replace(positions, suspects=suspects)
    says = (
        f"no plane holds these distances of {part}, though space does: if {part} is not flat, give the height (z_mm) "
        f"of every feature of it above one plane"
    )
    one_slip = len(positions.suspects) == 1 and positions.suspects[0].left_out
    if one_slip or spare <= 0:
        flat = f"{says}; if it is flat, one of the distances is wrong, and one more distance may tell which"
        return replace(positions, notes=(*positions.notes, flat))
    asked = Missing(f"z of {part}", part, "z", None, None, says)
    return replace(positions, flat=False, missing=(asked, *positions.missing))
