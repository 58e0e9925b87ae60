"""The features of a part as its sheet would list them once the work is done."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from partkin.model.adapting import RESHAPES, Adaptation, Bracket
from partkin.model.build import Feature

RETHREADS = ("other bolt", "thread insert")


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
