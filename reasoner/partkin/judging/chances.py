"""The chance that a donor goes on: draws of every position and size, as the readings may be out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from types import MappingProxyType

import numpy as np

from partkin.fit.arrays import PlanePairs
from partkin.fit.chance import certain, sequential, sure_without_draws
from partkin.fit.rotations import laid_over
from partkin.fit.scatter import fits_block
from partkin.fit.task import UNKNOWN_PLAY_MM, Pairing, Prepared
from partkin.judging.places import Places, prepared_task
from partkin.model.fitting import Chance, FitAnswer, FitTask, Spot
from partkin.model.known import Known
from partkin.model.positions import Positions
from partkin.model.trial import Trial
from partkin.positions import draws, evenly, uniform_in_stadium

SEED = 1
NOTHING: Mapping[str, float] = MappingProxyType({})


def chance_of(
    prepared: Prepared, answer: FitAnswer, places: Places, confidence: float = 0.95,
    workmanship_mm: Mapping[str, float] = NOTHING,
) -> Chance:  # fmt: skip
    """Probability that the pairs which have to hold do, over draws of every position and size.

    `workmanship_mm`: how far a donor feature that was made or moved by hand may be off besides.
    """
    pairings = pairings_of(prepared, answer)
    if answer.margin_mm is None or not pairings[0]:
        return certain(bool(answer.fits))
    if _is_exact(prepared, places) and not workmanship_mm:
        return certain(bool(answer.fits))
    if not workmanship_mm:
        sure = _sure(prepared, pairings, places)
        if sure is not None:
            return certain(sure)
    return sequential(_fitting(prepared, pairings, places, workmanship_mm), confidence)


def fitting_draws(known: Known, places: Places, trial: Trial, count: int) -> np.ndarray:
    """Which of the draws that the chance of a trial is taken from let the donor go on.

    Draw k has its positions from draw k of `positions.draws` of either side under `SEED`, and its sizes from
    `size_errors`; so each can be asked what a reading would have been in it.

    Parameters
    ----------
    known
    places
        Of the layout that the trial was made with.
    trial
        With pairs; what is not known of it counts as kind as it can be, and work as done.
    count

    Returns
    -------
    ndarray
        bool (count,).
    """
    prepared = replace(prepared_task(known, places, mirrored=trial.mirrored), task=trial.task)
    off_mm = NOTHING
    if trial.work is not None:
        from partkin.adaptation import workmanship_of

        # Holes that are made have the sizes that the task says.
        prepared = replace(prepared, unknown=frozenset((o.fixing, o.feature) for o in trial.task.options))
        off_mm = workmanship_of(trial.work)
    return _fitting(prepared, pairings_of(prepared, trial.answer), places, off_mm)(0, count)


def pairings_of(prepared: Prepared, answer: FitAnswer) -> list[list[Pairing]]:
    """The pairs that have to hold, of the pairing shown and of those that are as good."""
    shown = _must_pairs(prepared.task, [(p.fixing, p.feature) for p in answer.pairs])
    return [shown, *(_must_pairs(prepared.task, list(pairing)) for pairing in answer.also_pairs)]


def _fitting(
    prepared: Prepared, pairings: list[list[Pairing]], places: Places, workmanship_mm: Mapping[str, float]
) -> Callable[[int, int], np.ndarray]:
    return fits_block(
        prepared, pairings, _host_draws(prepared, places), _donor_draws(prepared, places, workmanship_mm), size_errors
    )


def _sure(prepared: Prepared, pairings: list[list[Pairing]], places: Places) -> bool | None:
    """Whether the greatest errors of all readings together cannot change the answer; None: it takes draws.

    Only where every reading has a greatest error, in the plane.
    """
    if prepared.task.dims != 2 or places.host.covariance_mm2 is not None or places.donor.covariance_mm2 is not None:
        return None
    hosts = [places.hosted.placed_by.get(s.id) for s in prepared.task.fixings]
    shown = dict(zip([s.id for s in prepared.task.fixings], _rows(places.host, hosts), strict=True))
    donors = [s.id for s in prepared.task.features]
    there = dict(zip(donors, _rows(places.donor, donors), strict=True))

    def half(positions: Positions, row: int) -> float:
        return float(positions.half_width_mm[row]) if row >= 0 else 0.0

    def room(fixing: str, feature: str) -> float:
        own, other = prepared.fixings[fixing], prepared.features.get(feature)
        sizes = own.across.half_width_mm + (other.across.half_width_mm if other is not None else 0.0)
        return sizes + own.play_mm + own.play_half_travel_mm

    return sure_without_draws(
        [PlanePairs.of(prepared.task, pairing) for pairing in pairings],
        [np.array([half(places.donor, there[feature]) for _, feature in pairing]) for pairing in pairings],
        [np.array([half(places.host, shown[fixing]) for fixing, _ in pairing]) for pairing in pairings],
        [np.array([room(*pair) for pair in pairing]) for pairing in pairings],
    )


def _must_pairs(task: FitTask, pairs: list[Pairing]) -> list[Pairing]:
    """The pairs that have to hold; those of which a size is not known can never be the ones that fail."""
    must = {s.id for s in task.fixings if s.must}, {s.id for s in task.features if s.must}
    open_ended = {(o.fixing, o.feature) for o in task.options if o.allowed_mm >= UNKNOWN_PLAY_MM}
    known = [pair for pair in pairs if pair not in open_ended]
    held = [pair for pair in known if pair[0] in must[0] or pair[1] in must[1]]
    return held or known


def _is_exact(prepared: Prepared, places: Places) -> bool:
    """Whether nothing is uncertain: no error of a reading, no play of an original."""
    spread = [*places.host.half_width_mm, *places.donor.half_width_mm]
    spread += [f.play_mm + f.play_half_travel_mm + f.across.half_width_mm for f in prepared.fixings.values()]
    spread += [d.across.half_width_mm for d in prepared.features.values()]
    adjusted_any = places.host.covariance_mm2 is not None or places.donor.covariance_mm2 is not None
    return not adjusted_any and not any(spread)


def size_errors(name: str, start: int, count: int) -> np.ndarray:
    """(count,) evenly within plus or minus 1; draw k of a name is the same however blocks are cut."""
    return np.asarray(2.0 * evenly(SEED, [name], start, count)[:, 0, 0] - 1.0)


def _rows(positions: Positions, ids: Sequence[str | None]) -> list[int]:
    return [positions.features.index(name) if name in positions.features else -1 for name in ids]


def _scattered(places: Positions, rows: list[int], spots: tuple[Spot, ...], start: int, count: int) -> np.ndarray:
    """The task's own places, each moved as its reading may be out; unmoved where no reading gives the place."""
    dims = len(spots[0].at_mm)
    out = np.repeat(np.array([spot.at_mm for spot in spots])[None], count, axis=0)
    placed = [column for column, row in enumerate(rows) if row >= 0]
    if placed:
        errors = draws(places, count, SEED, start=start) - places.xyz_mm
        out[:, placed] += errors[:, [rows[column] for column in placed], :dims]
    return out


def _donor_draws(
    prepared: Prepared, places: Places, workmanship_mm: Mapping[str, float]
) -> Callable[[int, int], np.ndarray]:
    spots = prepared.task.features
    rows = _rows(places.donor, [s.id for s in spots])
    off_mm = np.array([workmanship_mm.get(s.id, 0.0) for s in spots])
    none = np.zeros(len(spots))

    @cache
    def block(start: int, count: int) -> np.ndarray:
        at = _scattered(places.donor, rows, spots, start, count)
        if off_mm.any():
            names = [f"{places.donor.part} {s.id} workmanship" for s in spots]
            at[:, :, :2] += uniform_in_stadium(count, SEED, off_mm, none, none, names, start)
        return at

    return block


def _host_draws(prepared: Prepared, places: Places) -> Callable[[int, int], np.ndarray]:
    """Places of the fixings: the readings' errors and, under an original, the play that it had."""
    rows = _rows(places.host, [places.hosted.placed_by.get(s.id) for s in prepared.task.fixings])
    fixings = [prepared.fixings[s.id] for s in prepared.task.fixings]
    radius = np.array([f.play_mm for f in fixings])
    travel = np.array([f.play_half_travel_mm for f in fixings])
    angle = np.array([f.play_angle_deg for f in fixings])
    names = [f"{places.host.part} {s.id} play" for s in prepared.task.fixings]
    across_axes = laid_over(np.array([s.axis for s in prepared.task.fixings]).reshape(-1, 3))[:, :, :2]

    @cache
    def block(start: int, count: int) -> np.ndarray:
        at = _scattered(places.host, rows, prepared.task.fixings, start, count)
        if radius.any() or travel.any():
            stood = uniform_in_stadium(count, SEED, radius, travel, angle, names, start)
            at += stood if at.shape[2] == 2 else (across_axes @ stood[..., None])[..., 0]
        return at

    return block
