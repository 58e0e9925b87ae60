"""The donor as it is after the work: the task that the geometry is asked again."""

from __future__ import annotations

from dataclasses import replace

from partkin.model.adapting import RESHAPES, Action, Adaptation
from partkin.model.fitting import FitTask, Option, Spot


def adapted_task(task: FitTask, adaptation: Adaptation) -> FitTask:
    """Return the fit task as it stands once the work is done as asked for.

    Parameters
    ----------
    task
        Before the work, with the pairing given or open.
    adaptation
        Its `pairs` become the given pairing.

    Returns
    -------
    FitTask
        New slots and holes in place, plays as after the work. A new hole is a feature `new-` and its fixing.
    """
    allowed_mm = {(option.fixing, option.feature): option.allowed_mm for option in task.options}
    fixings, features = ({spot.id: spot for spot in spots} for spots in (task.fixings, task.features))
    partner = dict(adaptation.pairs)
    for action in adaptation.actions:
        if action.allowed_mm is not None and action.fixing is not None:
            pair = (action.fixing, partner.get(action.fixing, action.feature))
            # The first job of a pair may be its bolt, the last its hole: the last word counts.
            if action.do != "other bolt" or pair not in allowed_mm:
                allowed_mm[pair] = action.allowed_mm
        if action.do == "new hole" and action.at_mm is not None:
            features[action.feature] = _drilled(action)
        elif action.do in RESHAPES:
            side = features if action.side == "donor" else fixings
            side[action.feature] = _reshaped(side[action.feature], action)
        # A bracket that is moved over is fixed where its fixing is.
        elif action.do in ("leave unused", "move over") and action.fixing in fixings:
            spot = fixings[action.fixing]
            fixings[spot.id] = replace(spot, should=False, must=spot.must and action.do == "leave unused")
    return replace(
        task,
        fixings=tuple(fixings.values()),
        features=tuple(features.values()),
        options=tuple(Option(*pair, allowed_mm[pair]) for pair in adaptation.pairs),
        given=True,
    )


def _drilled(action: Action) -> Spot:
    assert action.at_mm is not None
    spot = Spot(action.feature, action.at_mm, must=False, should=True)
    if action.axis is None:
        return spot
    x, y, z = action.axis
    return replace(spot, axis=(x, y, z))


def _reshaped(spot: Spot, action: Action) -> Spot:
    if action.length_mm is None or action.to_mm is None:
        return spot
    half_mm = max(0.0, (action.length_mm - action.to_mm) / 2.0)
    angle_deg = action.angle_deg if action.angle_deg is not None else spot.angle_deg
    return replace(spot, at_mm=action.at_mm or spot.at_mm, half_travel_mm=half_mm, angle_deg=angle_deg)
