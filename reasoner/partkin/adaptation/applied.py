"""The donor as it is after the work: the task that the geometry is asked again, and the features."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from partkin.model.adapting import RESHAPES, Action, Adaptation, Bracket
from partkin.model.build import Feature
from partkin.model.fitting import FitTask, Option, Spot

RETHREADS = ("other bolt", "thread insert")


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
            axis = fixings[action.fixing].axis if action.fixing in fixings else (0.0, 0.0, 1.0)
            features[action.feature] = Spot(action.feature, action.at_mm, must=False, should=True, axis=axis)
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


def _reshaped(spot: Spot, action: Action) -> Spot:
    if action.length_mm is None or action.to_mm is None:
        return spot
    half_mm = max(0.0, (action.length_mm - action.to_mm) / 2.0)
    angle_deg = action.angle_deg if action.angle_deg is not None else spot.angle_deg
    return replace(spot, at_mm=action.at_mm or spot.at_mm, half_travel_mm=half_mm, angle_deg=angle_deg)


def adapted_features(
    features: Iterable[Feature], adaptation: Adaptation, side: str = "donor", brackets: Iterable[Bracket] = ()
) -> tuple[Feature, ...]:
    """Return the features of a part as its sheet would list them after the work; `brackets`: those of the question."""
    moved = {bracket.fixing: bracket.feature for bracket in brackets}
    changed: dict[str, Feature] = {feature.feature: feature for feature in features}
    for action in adaptation.actions:
        name, feature = action.feature, changed.get(action.feature)
        if action.side != side:
            continue
        if action.do in RESHAPES and feature is not None:
            changed[name] = replace(feature, across_mm=action.to_mm)
            if action.length_mm is not None:
                slot = replace(changed[name], kind="slot", length_mm=action.length_mm, angle_deg=action.angle_deg)
                changed[name] = _placed(slot, action.at_mm or ())
        elif action.do in RETHREADS and feature is not None:
            changed[name] = replace(feature, thread=action.thread, fastener_mm=None)
        elif action.do == "new hole" and action.at_mm is not None:
            hole = Feature(action.part, name, "hole", across_mm=action.to_mm, goes_on=action.fixing, need="should")
            changed[name] = _placed(hole, action.at_mm)
        elif action.do == "move over" and action.at_mm is not None and action.fixing in moved:
            own = replace(moved[action.fixing], part=action.part, feature=name, z_mm=None, goes_on=action.fixing)
            changed[name] = _placed(own, action.at_mm)
    return tuple(changed.values())


def _placed(feature: Feature, at_mm: tuple[float, ...]) -> Feature:
    """A feature at another place; what the place does not say stays."""
    now = [feature.x_mm, feature.y_mm, feature.z_mm]
    now[: len(at_mm)] = at_mm
    return replace(feature, x_mm=now[0], y_mm=now[1], z_mm=now[2])
