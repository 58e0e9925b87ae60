"""A donor that does not go on: by how much readings would have to be out for it to go on, and which holes are odd."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from partkin.fit.arrays import Pairs, directions
from partkin.fit.odd_holes import odd_holes
from partkin.fit.out_by import MOST_SHARE, HeldPairs, StatedShape, prove, share_needed
from partkin.fit.pairings_left import pairings_left
from partkin.fit.solve import gives, pulled
from partkin.fit.task import UNKNOWN_PLAY_MM, Pairing, Prepared
from partkin.model.fitting import Nogood, OddHoles, WithinErrors
from partkin.model.known import Known, Side
from partkin.model.positions import Positions
from partkin.model.verdict import Trial
from partkin.trial.believed import left_out, mirror_of, said
from partkin.trial.places import Places, in_layouts, prepared_task

# What is stated is proved, so a little is left to prove it with.
_LESS = 0.98
_SAME = 0.999
# An error that is anything within what was stated is off by this share of it (root mean square): readings that need no
# more speak against nothing, whatever a covariance says that knows the distances to first order only.
_AS_EXPECTED = 1.0 / math.sqrt(3.0)


def with_errors(known: Known, places: Places, trial: Trial) -> Trial:
    """Add to a conflict what share of the errors would undo it; unchanged where the readings cannot tell.

    Where errors as they are to be expected would undo it, it is not settled that the donor does not go on.
    """
    conflict = trial.answer.conflict
    if conflict is None or trial.task.dims != 2 or trial.without is not None or conflict.shortfall_mm is None:
        return trial
    there = in_layouts(places, trial.layouts)
    task = pulled(trial.task, trial.task.flex_mm) if gives(trial.task) else trial.task
    prepared = replace(prepared_task(known, there, mirrored=trial.mirrored), task=task)
    found = _share(known, there, prepared)
    if found is None:
        return trial
    trial = replace(trial, answer=replace(trial.answer, conflict=replace(conflict, errors=found)))
    return replace(trial, stand="unsure", chance=None) if found.share <= _AS_EXPECTED else trial


def odd_holes_of(trial: Trial | None) -> OddHoles | None:
    """Lay a donor that does not go on as it is where the most of its fixings hold; None: it may go on."""
    if trial is None or trial.stand != "does not" or trial.answer.fits is not False:
        return None
    return odd_holes(trial.task, [(pair.fixing, pair.feature) for pair in trial.answer.pairs])


def _share(known: Known, places: Places, prepared: Prepared) -> WithinErrors | None:
    task = prepared.task
    must = tuple(s.id for s in task.fixings if s.must), tuple(s.id for s in task.features if s.must)
    placed = [
        (o.fixing, o.feature) for o in task.options
        if o.allowed_mm < UNKNOWN_PLAY_MM and places.hosted.placed_by.get(o.fixing) in places.host.features
        and o.feature in places.donor.features
    ]  # fmt: skip
    if not any(must) or not placed:
        return None
    sides = _sides(known, places, prepared)
    every = _held(places, prepared, sides, placed)
    found = pairings_left([(o.fixing, o.feature) for o in task.options], must, every, placed)
    if found is None or not all(any(pair in placed for pair in pairing) for pairing in found[0]):
        return None
    left = [[pair for pair in pairing if pair in placed] for pairing in found[0]]
    held = [_held(places, prepared, sides, pairs) for pairs in left]
    shares = [one for one in map(share_needed, held) if one is not None]
    if len(shares) < len(held):
        return None
    bars = [_held(places, prepared, sides, pairs) for pairs in found[1]]
    return _proved(min([MOST_SHARE, *shares]), [*bars, *held], [*found[1], *left], prepared, must, left_out(places))


def _proved(
    share: float, held: list[HeldPairs], branches: list[Sequence[Pairing]], prepared: Prepared,
    must: tuple[tuple[str, ...], tuple[str, ...]], slips: tuple[tuple[str, str], ...],
) -> WithinErrors:  # fmt: skip
    """The share with its proof; a smaller one where the proof comes upon a turn at which less will do."""
    if share < 1.0:
        return WithinErrors(math.ceil(100.0 * share) / 100.0)
    stated = max(1.0, math.floor(100.0 * _LESS * share) / 100.0)
    nogoods = []
    for one, pairs in zip(held, branches, strict=True):
        proof = prove(one, stated, [fixing for fixing, _ in pairs])
        if isinstance(proof, float):
            less = share_needed(one, proof)
            if less is not None and less < _SAME * share:
                return _proved(less, held, branches, prepared, must, slips)
        if not isinstance(proof, tuple):
            return WithinErrors(stated)
        near_mm = proof[1][0].mm, proof[1][1].mm
        nogoods.append(Nogood(tuple(pairs), proof[0], mirrored=prepared.task.mirrored, near_mm=near_mm))
    return WithinErrors(stated, *must, tuple(nogoods), slips)


def _sides(known: Known, places: Places, prepared: Prepared) -> tuple[StatedShape, StatedShape]:
    """The shapes that the readings of host and donor tell."""
    shown, task = places.hosted.placed_by, prepared.task
    host = _shape(places.host, places.host_side, {shown[spot.id] for spot in task.fixings if spot.id in shown})
    donor, flip = _shape(places.donor, known.donor, {spot.id for spot in task.features}), mirror_of(task)
    return host, replace(donor, at_mm=donor.at_mm * flip, read_mm=donor.read_mm * flip)


def _held(
    places: Places, prepared: Prepared, sides: tuple[StatedShape, StatedShape],
    pairs: Sequence[Pairing],
) -> HeldPairs:  # fmt: skip
    """The pairs on the shapes that the readings tell."""
    shown = places.hosted.placed_by
    flat = Pairs.of(prepared.task, pairs)
    on = np.array([(sides[0].features.index(shown[f]), sides[1].features.index(d)) for f, d in pairs])
    fixings = [prepared.fixings[f] for f, _ in pairs]
    return HeldPairs(
        sides, on,
        replace(
            flat, q=sides[0].at_mm[on[:, 0]], p=sides[1].at_mm[on[:, 1]],
            rho=flat.rho + [fixing.play_mm for fixing in fixings],
        ),
        np.array([_sizes_mm(places, prepared, pair) for pair in pairs]),
        np.array([fixing.play_half_travel_mm for fixing in fixings]),
        directions(np.array([fixing.play_angle_deg or 0.0 for fixing in fixings])),
    )  # fmt: skip


def _sizes_mm(places: Places, prepared: Prepared, pair: Pairing) -> float:
    """What the errors of all sizes concerned may add to a pair's play and travel together."""
    fixing, feature = prepared.fixings[pair[0]], prepared.features[pair[1]]
    ends = [(fixing.across, fixing.length), (feature.across, feature.length)]
    ends += [places.sizes_of(row) for row in places.host_side.features if row.feature == fixing.shown_by]
    return sum(across.half_width_mm + length.half_width_mm for across, length in ends) / 2.0


def _shape(positions: Positions, side: Side, stated: set[str]) -> StatedShape:
    """One side as it was read, about its middle: those features that a verdict states places of.

    Distances to the edge of a slot hang on its direction and tell nothing here.
    """
    told = said(positions, side, 2)
    slots = {feature.feature for feature in side.features if feature.kind == "slot"}
    to_edges = [row for row in side.readings if row.quantity != "centres"]
    at_a_slot = {row.reading for row in to_edges if not slots.isdisjoint((row.from_feature, row.to_feature))}
    rows = np.array([at for at, name in enumerate(positions.features) if name in stated], dtype=int)
    number = {int(row): at for at, row in enumerate(rows)}
    keep = [
        at for at, name in enumerate(told.names)
        if name not in at_a_slot and all(int(end) in number for end in told.ends[at])
    ]  # fmt: skip
    middle = told.at_mm[rows].mean(axis=0)
    ends = [[number[int(end)] for end in told.ends[at]] for at in keep]
    return StatedShape(
        tuple(positions.features[row] for row in rows), told.at_mm[rows] - middle,
        np.array(ends, dtype=int).reshape(-1, 2), told.length_mm[keep], told.length_error_mm[keep],
        told.read_mm[rows] - middle, told.error_mm[rows], tuple(told.names[at] for at in keep),
    )  # fmt: skip
