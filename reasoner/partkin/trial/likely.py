"""Likely places of all features at which the donor goes on, each within the stated error of every reading of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partkin.fit.solve import solve
from partkin.fit.task import Pairing, Prepared
from partkin.fit.within_errors import Said, within_errors
from partkin.model.fitting import FitAnswer, FitTask, LikelyPlaces, Placement
from partkin.model.known import Side
from partkin.model.positions import Positions
from partkin.positions.budget import covariance_mm2
from partkin.positions.lengths import centre_distances, coordinate_half_width_mm
from partkin.trial.believed import mirror_of, reach_of
from partkin.trial.places import Places

_FIRM_MM = 1.0e-4


def likely_places(prepared: Prepared, answer: FitAnswer, places: Places, donor: Side, pairs: list[Pairing]) -> (
    LikelyPlaces | None
):  # fmt: skip
    """Find places within the errors of all readings at which the pairs hold; None: none were found.

    Parameters
    ----------
    prepared, answer
        Of the trial, with a placement.
    places
    donor
        With its readings.
    pairs
        Those that have to hold.
    """
    if not isinstance(answer.placement, Placement):
        return None
    task, shown = prepared.task, places.hosted.placed_by
    d = task.dims
    sides = said(places.host, places.host_side, d), said(places.donor, donor, d)
    if answer.fits and all(side.holds(side.at_mm) for side in sides):
        return _as_found(places, sides[0].at_mm, sides[1].at_mm, answer.placement)
    placed = [p for p in pairs if shown.get(p[0]) in places.host.features and p[1] in places.donor.features]
    if not placed or len(placed) < len(pairs):
        return None
    matrix, mirror = np.array(answer.placement.matrix), mirror_of(task)
    onto = matrix[:d, :d] * mirror
    rows = [(places.host.features.index(shown[f]), places.donor.features.index(name)) for f, name in placed]
    found = within_errors(
        sides[0], replace(sides[1], at_mm=sides[1].at_mm * mirror, read_mm=sides[1].read_mm * mirror), rows,
        reach_of(prepared, placed, onto, at_most=False), onto, matrix[:d, 3],
    )  # fmt: skip
    if found is None:
        return None
    host_mm, donor_mm = found[0], found[1] * mirror
    moved = _moved(prepared, places, host_mm, donor_mm, placed)
    again = solve(moved)
    sound = again.fits and isinstance(again.placement, Placement)
    if not sound or not (sides[0].holds(host_mm) and sides[1].holds(donor_mm)):
        return None
    assert isinstance(again.placement, Placement)
    return _as_found(places, host_mm, donor_mm, again.placement)


def said(positions: Positions, side: Side, d: int) -> Said:
    """What the sheets say of where the placed features of one side are."""
    number = {name: at for at, name in enumerate(positions.features)}
    left_out = {suspect.reading for suspect in positions.suspects if suspect.left_out}
    features = {row.feature: row for row in side.features}
    rows = [
        row for row in centre_distances(features, side.readings)[0]
        if row.reading not in left_out and row.from_feature in number and row.to_feature in number
    ]  # fmt: skip
    at_mm = positions.xyz_mm[:, :d]
    read_mm, error_mm = at_mm.copy(), np.full(at_mm.shape, np.inf)
    for name, at in number.items():
        row = features.get(name)
        for axis, value in enumerate((row.x_mm, row.y_mm, row.z_mm)[:d] if row is not None else ()):
            if row is not None and value is not None and f"{name}.{'xyz'[axis]}_mm" not in left_out:
                read_mm[at, axis], error_mm[at, axis] = value, coordinate_half_width_mm(row)
    spread = np.sqrt(np.maximum(np.diagonal(covariance_mm2(positions)), 0.0)).reshape(-1, positions.dims)[:, :d]
    return Said(
        at_mm, spread + _FIRM_MM,
        np.array([(number[row.from_feature], number[row.to_feature]) for row in rows], dtype=int).reshape(-1, 2),
        np.array([row.length_mm for row in rows]), np.array([row.error_mm for row in rows]), read_mm, error_mm,
        tuple(row.reading for row in rows),
    )  # fmt: skip


def _moved(
    prepared: Prepared, places: Places, host_mm: np.ndarray, donor_mm: np.ndarray, pairs: list[Pairing]
) -> FitTask:
    """The task with these pairs alone, and every feature where it is likely to be."""
    task = prepared.task
    at_host = dict(zip(places.host.features, host_mm.tolist(), strict=True))
    at_donor = dict(zip(places.donor.features, donor_mm.tolist(), strict=True))
    held = {name for pair in pairs for name in pair}
    fixings = tuple(
        replace(s, at_mm=tuple(at_host.get(places.hosted.placed_by.get(s.id, s.id), s.at_mm)))
        for s in task.fixings if s.id in held
    )  # fmt: skip
    features = tuple(replace(s, at_mm=tuple(at_donor.get(s.id, s.at_mm))) for s in task.features if s.id in held)
    options = tuple(o for o in task.options if (o.fixing, o.feature) in pairs)
    return replace(task, fixings=fixings, features=features, options=options, given=True)


def _as_found(places: Places, host_mm: np.ndarray, donor_mm: np.ndarray, placement: Placement) -> LikelyPlaces:
    at_host = dict(zip(places.host.features, host_mm.tolist(), strict=True))
    at_donor = dict(zip(places.donor.features, donor_mm.tolist(), strict=True))
    return LikelyPlaces(
        tuple((name, tuple(at)) for name, at in at_host.items()),
        tuple((name, tuple(at)) for name, at in at_donor.items()), placement, left_out(places),
    )  # fmt: skip


def left_out(places: Places) -> tuple[tuple[str, str], ...]:
    """(part, reading) of those that clearly are slips."""
    return tuple((side.part, s.reading) for side in (places.host, places.donor) for s in side.suspects if s.left_out)
