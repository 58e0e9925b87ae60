"""How often readings this coarse would make even the same part look as bad as the donor does.

The chance takes every pattern within the readings' errors as equally likely. Many patterns lie within coarse
errors and few of them fit, so the chance of a donor is small then whatever it really is. This is the other
question: were the donor's holes exactly where the fixings are, how often would it look this bad, or worse, as it
was read? Where that is not seldom, "does not fit" rests on the coarseness and not on the donor.
"""

from __future__ import annotations

import numpy as np

from partkin.fit.arrays import PlanePairs
from partkin.fit.batch import batch_fits
from partkin.model.fitting import Placement
from partkin.model.positions import Positions
from partkin.model.trial import Trial
from partkin.next_readings import OPEN_PLAY_MM
from partkin.positions import draws
from partkin.trying import SEED, Places

DRAWS = 512


def same_would(trial: Trial, places: Places) -> float | None:
    """Share of cases in which the same part, read as this one was, has no larger margin than this one.

    Parameters
    ----------
    trial
        In the plane, with a placement.
    places
        That it was made with.

    Returns
    -------
    float or None
        None where the margin or the placement is not known.
    """
    pairs = [(p.fixing, p.feature) for p in trial.answer.pairs if p.allowed_mm < OPEN_PLAY_MM]
    placement, margin_mm = trial.answer.placement, trial.answer.margin_mm
    if trial.task.dims != 2 or margin_mm is None or not isinstance(placement, Placement) or len(pairs) < 2:
        return None
    nominal = PlanePairs.of(trial.task, pairs)
    shown = [places.hosted.placed_by.get(fixing, fixing) for fixing, _ in pairs]
    host_mm = nominal.q + _errors(places.host, shown)
    onto = np.array(placement.matrix)
    back = np.linalg.inv(onto)
    same = nominal.q @ back[:2, :2].T + back[:2, 3]
    donor_mm = same + _errors(places.donor, [feature for _, feature in pairs])
    if trial.mirrored:
        donor_mm = donor_mm * np.array([-1.0, 1.0])
    as_good = batch_fits(
        host_mm, donor_mm, nominal.rho - margin_mm, s_h=nominal.s_h, u_h=nominal.u_h, s_d=nominal.s_d, u_d=nominal.u_d
    )  # fmt: skip
    return 1.0 - float(np.mean(as_good))


def _errors(positions: Positions, names: list[str]) -> np.ndarray:
    """(DRAWS, n, 2): how far each named feature may be off."""
    rows = [positions.features.index(name) for name in names]
    return (draws(positions, DRAWS, SEED) - positions.xyz_mm)[:, rows, :2]
