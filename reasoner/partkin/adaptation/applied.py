"""The donor as it is after the work: the task that the geometry is asked again, and the features."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from partkin.model.adapting import Action, Adaptation, Bracket
from partkin.model.build import Feature
from partkin.model.fitting import FitTask, Option, Spot

RESHAPES = ("open out", "slot")
RETHREADS = ("other bolt", "thread insert")
MOVES = (*RESHAPES, "new hole", "thread insert")


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
    fixings = {spot.id: spot for spot in task.fixings}
    features = {spot.id: spot for spot in task.features}
    for action in adaptation.actions:
        if action.allowed_mm is not None and action.fixing is not None:
            partner = dict(adaptation.pairs).get(action.fixing, action.feature)
            # The first job of a pair may be its bolt, the last its hole: the last word counts.
            if action.do != "other bolt" or (action.fixing, partner) not in allowed_mm:
                allowed_mm[(action.fixing, partner)] = action.allowed_mm
        if action.do == "new hole" and action.at_mm is not None:
            axis = fixings[action.fixing].axis if action.fixing in fixings else (0.0, 0.0, 1.0)
            features[action.feature] = Spot(action.feature, action.at_mm, must=False, should=True, axis=axis)
        elif action.do in RESHAPES:
            side = features if action.side == "donor" else fixings
            side[action.feature] = _reshaped(side[action.feature], action)
    left_out = {a.fixing for a in adaptation.actions if a.do in ("leave unused", "move over")}
    # A bracket that is moved over is fixed where its fixing is.
    met = {a.fixing for a in adaptation.actions if a.do == "move over"}
    return replace(
        task,
        fixings=tuple(
            replace(s, should=False, must=s.must and s.id not in met) if s.id in left_out else s
            for s in fixings.values()
        ),
        features=tuple(features.values()),
        options=tuple(Option(*pair, allowed_mm[pair]) for pair in adaptation.pairs),
        given=True,
    )


def _reshaped(spot: Spot, action: Action) -> Spot:
    if action.length_mm is None or action.to_mm is None:
        return spot
    return replace(
        spot,
        at_mm=action.at_mm or spot.at_mm,
        half_travel_mm=max(0.0, (action.length_mm - action.to_mm) / 2.0),
        angle_deg=action.angle_deg if action.angle_deg is not None else spot.angle_deg,
    )


def workmanship_of(adaptation: Adaptation, side: str = "donor") -> dict[str, float]:
    """How far each feature that was changed by hand may be off its asked-for place, mm.

    Examples
    --------
    >>> job = Action("slot", "c", "D1", 9.0, 15.0, None, "", fixing="F1", workmanship_mm=0.5)
    >>> workmanship_of(Adaptation((job,), 15.0, None, 0.4, True))
    {'c': 0.5}
    """
    found: dict[str, float] = {}
    for action in adaptation.actions:
        if action.side == side and action.workmanship_mm > 0.0 and action.do in MOVES:
            found[action.feature] = max(found.get(action.feature, 0.0), action.workmanship_mm)
    return found


def adapted_features(
    features: Iterable[Feature], adaptation: Adaptation, side: str = "donor", brackets: Iterable[Bracket] = ()
) -> tuple[Feature, ...]:
    """Return the features of a part as its sheet would list them after the work; `brackets`: those of the question."""
    moved = {bracket.fixing: bracket.feature for bracket in brackets}
    changed: dict[str, Feature] = {feature.feature: feature for feature in features}
    for action in adaptation.actions:
        if action.side != side:
            continue
        if action.do in RESHAPES and action.feature in changed:
            changed[action.feature] = _after(changed[action.feature], action)
        elif action.do in RETHREADS and action.feature in changed:
            changed[action.feature] = replace(changed[action.feature], thread=action.thread, fastener_mm=None)
        elif action.do == "new hole" and action.at_mm is not None:
            x, y, z = (*action.at_mm, None)[:3]
            changed[action.feature] = Feature(
                action.part,
                action.feature,
                "hole",
                across_mm=action.to_mm,
                x_mm=x,
                y_mm=y,
                z_mm=z,
                goes_on=action.fixing,
                need="should",
            )
        elif action.do == "move over" and action.at_mm is not None and action.fixing in moved:
            x, y, z = (*action.at_mm, None)[:3]
            changed[action.feature] = replace(
                moved[action.fixing],
                part=action.part,
                feature=action.feature,
                x_mm=x,
                y_mm=y,
                z_mm=z,
                goes_on=action.fixing,
            )
    return tuple(changed.values())


def _after(feature: Feature, action: Action) -> Feature:
    if action.length_mm is None:
        return replace(feature, across_mm=action.to_mm)
    x, y, z = (*(action.at_mm or ()), None, None, None)[:3]
    return replace(
        feature,
        kind="slot",
        across_mm=action.to_mm,
        length_mm=action.length_mm,
        angle_deg=action.angle_deg,
        x_mm=x if x is not None else feature.x_mm,
        y_mm=y if y is not None else feature.y_mm,
        z_mm=z if z is not None else feature.z_mm,
    )
