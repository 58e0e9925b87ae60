"""Readings where the chance's draws cannot rank them, since hardly a draw goes one of the two ways.

Then the places are known too roughly, or the donor conflicts: what is not known of the places is shrunk, each hole
as its play asks for, and those that conflict before the others.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partkin.fit.arrays import Pairs
from partkin.fit.minimax import best_placement
from partkin.model.positions import Positions
from partkin.model.trial import Trial
from partkin.positions.next_reading import Ask, spread_drops
from partkin.readings.could_read import OPEN_PLAY_MM, Field
from partkin.trial.places import Places

# Holes that conflict count so many times in the root of the sum that is shrunk.
CONFLICTING = 2.0
# What is in no pair is of little use, and yet what is read from it places the others.
UNPAIRED = 0.1


def asks_without_draws(field: Field, places: Places, trial: Trial, most: int) -> tuple[Ask, ...]:
    """Rank what could be read, best first, without promising what any value means.

    Parameters
    ----------
    field
        Of which the draws all but agree.
    places, trial
        That it was made with.
    most
        How many to return.
    """
    shown = places.hosted.placed_by
    weights: tuple[dict[str, float], dict[str, float]] = {}, {}
    conflict = trial.answer.conflict
    fighting = {(pair.fixing, pair.feature) for pair in conflict.pairs} if conflict is not None else set()
    for pair in trial.answer.pairs:
        if 0.0 < pair.allowed_mm < OPEN_PLAY_MM:
            weight = (CONFLICTING if (pair.fixing, pair.feature) in fighting else 1.0) / pair.allowed_mm
            weights[0][pair.feature] = weights[1][shown.get(pair.fixing, pair.fixing)] = weight
    if not weights[0]:
        return ()
    worth = np.zeros(len(field.candidates))
    for positions, weight_of in zip((places.donor, places.host), weights, strict=True):
        rows = [
            at for at, one in enumerate(field.candidates) if one.part == positions.part and one.quantity == "centres"
        ]
        asked = [field.candidates[at] for at in rows]
        if asked:
            worth[rows] = spread_drops(positions, _weights(positions, weight_of), asked)
    worth /= [one.effort for one in field.candidates]
    order = sorted(np.flatnonzero(worth > 1e-9).tolist(), key=lambda at: (-round(float(worth[at]), 9), at))
    return tuple(replace(field.ask(at), bands=(), tells=None) for at in order[:most])


def _weights(positions: Positions, weight_of: dict[str, float]) -> np.ndarray:
    least = UNPAIRED * min(weight_of.values())
    return np.array([weight_of.get(name, least) for name in positions.features])


def forces(trial: Trial) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """How the least margin changes when a fixing, or a donor feature, moves: (2,) each, in its own frame.

    They are the balanced forces at the best placement.
    """
    pairs = [(p.fixing, p.feature) for p in trial.answer.pairs if p.allowed_mm < OPEN_PLAY_MM]
    placed = best_placement(Pairs.of(trial.task, pairs))
    c, s = np.cos(placed.turn_rad), np.sin(placed.turn_rad)
    back = np.array([[c, s], [-s, c]])
    mirror = np.array([-1.0 if trial.mirrored else 1.0, 1.0])
    host = {fixing: weight for (fixing, _), weight in zip(pairs, placed.weights, strict=True)}
    donor = {feature: -(back @ weight) * mirror for (_, feature), weight in zip(pairs, placed.weights, strict=True)}
    return host, donor
