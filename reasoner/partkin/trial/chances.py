"""The chance that a donor goes on: donors as they may really be, by what was read and by how parts come about."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from types import MappingProxyType

import numpy as np

from partkin.fit.arrays import Pairs
from partkin.fit.batch import fits_block
from partkin.fit.chance import certain, sequential, sure_without_draws
from partkin.fit.discrepancies import Discrepancies
from partkin.fit.just_goes_on import just_goes_on, shortfalls
from partkin.fit.own_order import own_frame, own_order, size_names, slot_frame
from partkin.fit.rotations import laid_over
from partkin.fit.task import UNKNOWN_PLAY_MM, Pairing, Prepared
from partkin.model.fitting import Chance, FitAnswer, FitTask, Spot
from partkin.model.known import Known
from partkin.model.positions import Positions
from partkin.model.verdict import Trial
from partkin.positions import evenly, within_play
from partkin.trial.believed import (
    SEED,
    Believed,
    Guard,
    believed,
    guard_of,
    held_alone,
    placed_as,
    placed_pairs,
    reach_of,
)
from partkin.trial.places import Places, prepared_task

NOTHING: Mapping[str, float] = MappingProxyType({})
# Draws of a part of another drawing: what could be hidden, and what it would be if the odds were others.
DRAWS_OF_ANOTHER = 256
HIDDEN_SHARE = 0.95
FEWEST = 64
NEXT_TO_NOTHING = 0.002


def chance_of(prepared: Prepared, answer: FitAnswer, places: Places, confidence: float = 0.95) -> Chance:
    """Probability that the pairs which have to hold do, given the readings and how parts come about."""
    pairings = pairings_of(prepared, answer)
    if answer.margin_mm is None or not pairings[0]:
        return certain(bool(answer.fits))
    belief = believed(prepared, answer, places)
    sure = bool(answer.fits) if _is_exact(prepared, places) else _sure(prepared, pairings, places)
    if sure is not None or belief is None:
        return _stated(certain(bool(answer.fits) if sure is None else sure), belief)
    chance, of_one, of_another = _by_draws(belief, prepared, pairings, confidence)
    chance = _stated(chance, belief, of_one, of_another)
    return _with_hidden(chance, belief, prepared, pairings[0]) if chance.fits >= confidence else chance


def chance_after_work(
    prepared: Prepared, changed: FitTask, after: FitAnswer, places: Places, confidence: float,
    workmanship_mm: Mapping[str, float],
) -> Chance:  # fmt: skip
    """The chance that the donor goes on once the work is done: `changed` is the task then, `after` how it then lies.

    `workmanship_mm`: how far a donor feature that was made or moved by hand may be off besides.
    """
    done = replace(prepared, task=changed, unknown=frozenset((o.fixing, o.feature) for o in changed.options))
    belief, pairings = believed(prepared, after, places), pairings_of(done, after)
    if belief is None or not pairings[0]:
        return certain(bool(after.fits))
    return sequential(_goes_on_after(belief, done, pairings, workmanship_mm), confidence)


def _goes_on_after(
    belief: Believed, done: Prepared, pairings: list[list[Pairing]], workmanship_mm: Mapping[str, float]
) -> Callable[[int, int], np.ndarray]:
    changed, places = done.task, belief.places
    shown = [places.hosted.placed_by.get(spot.id) for spot in changed.fixings]
    own = _rows(places.host, shown), _rows(places.donor, [spot.id for spot in changed.features])

    @cache
    def sides(start: int, count: int) -> tuple[np.ndarray, np.ndarray]:
        host, donor, _ = belief.sides_mm(start, count)
        moved = (
            _moved(changed.fixings, host - places.host.xyz_mm, own[0]),
            _moved(changed.features, donor - places.donor.xyz_mm, own[1]),
        )
        stood = _play(done, belief.scatter_mm, start, count)
        return moved[0] + stood, moved[1] + _by_hand(changed, workmanship_mm, start, count)

    return fits_block(done, pairings, lambda *at: sides(*at)[0], lambda *at: sides(*at)[1], size_errors)


def sides_drawn(
    known: Known, places: Places, trial: Trial, count: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Which of many draws let the donor go on, and where every feature of host and donor is in each.

    So each draw can be asked what a reading would have been in it; its sizes come from `size_errors`. What is not known
    of the trial counts as kind as it can be, and work as done. bool (count,), float64 (count, n, d) of the host's
    features and of the donor's; None: nothing is placed, or no pair has to hold.
    """
    as_read = prepared_task(known, places, mirrored=trial.mirrored)
    prepared = replace(as_read, task=trial.task)
    belief = believed(prepared if trial.work is None else as_read, trial.answer, places)
    pairings = pairings_of(prepared, trial.answer)
    if belief is None or not all(pairings):
        return None
    host, donor, laid = belief.sides_mm(0, count)
    if trial.work is not None:
        from partkin.model.adapting import workmanship_of

        # Holes that are made have the sizes that the task says.
        done = replace(prepared, unknown=frozenset((o.fixing, o.feature) for o in trial.task.options))
        return _goes_on_after(belief, done, pairings, workmanship_of(trial.work))(0, count), host, donor
    return _goes_on(belief, prepared, pairings, lambda *at: laid)(0, count), host, donor


def size_errors_of(trial: Trial, whose: str, name: str, count: int) -> np.ndarray:
    """By how much a size is out in each draw of `sides_drawn`, in its own half widths; `whose`: host or donor."""
    pairs = _must_pairs(trial.task, [(pair.fixing, pair.feature) for pair in trial.answer.pairs])
    end = f"{whose} {name}"
    return size_errors(size_names(trial.task, pairs).get(end, end), 0, count)


def guard_of_trial(known: Known, places: Places, trial: Trial) -> Guard | None:
    """The guard on "does not fit" of a trial, for readings to come; None: none, or work was done to it first."""
    if trial.work is not None:
        return None
    prepared = replace(prepared_task(known, places, mirrored=trial.mirrored), task=trial.task)
    return guard_of(prepared, trial.answer, places, pairings_of(prepared, trial.answer)[0])


def would_just_go_on(prepared: Prepared, answer: FitAnswer, places: Places, confidence: float) -> float | None:
    """Share in which a part that just goes on would be read as far off as this one; None: there is nothing to compare.

    0 where a size, or the way that an axis points, keeps off even a part whose places are all right.
    """
    pairs = pairings_of(prepared, answer)[0]
    if answer.margin_mm is None or (found := held_alone(prepared, answer, places, pairs)) is None:
        return None
    return just_goes_on(found[0], found[1], confidence) if _goes_on_at_its_best(prepared, pairs, found[0]) else 0.0


def _goes_on_at_its_best(prepared: Prepared, pairs: list[Pairing], of: Discrepancies) -> bool:
    """Whether it goes on with every place right and every size as kind as the readings allow."""
    task = prepared.task
    half_mm = {(o.fixing, o.feature): _size_room_mm(prepared, o.fixing, o.feature) for o in task.options}
    options = tuple(replace(o, allowed_mm=o.allowed_mm + half_mm[o.fixing, o.feature]) for o in task.options)
    if min(o.allowed_mm for o in options if (o.fixing, o.feature) in pairs) < 0.0:
        return False
    if task.dims == 2:
        return True
    kind = replace(prepared, task=replace(task, options=options), unknown=frozenset(half_mm))
    right = placed_as(task, placed_pairs(task, pairs), of.donor_mm(np.zeros((1, len(of.y_mm)))))
    return bool(fits_block(kind, [pairs], lambda *_: _spots(task.fixings, 1), lambda *_: right, size_errors)(0, 1)[0])


def _size_room_mm(prepared: Prepared, fixing: str, feature: str) -> float:
    own, other = prepared.fixings[fixing], prepared.features.get(feature)
    return own.across.half_width_mm + (other.across.half_width_mm if other is not None else 0.0)


def _by_draws(
    belief: Believed, prepared: Prepared, pairings: list[list[Pairing]], confidence: float
) -> tuple[Chance, float, float]:
    """The chance, and that of a part of one drawing and of another."""
    goes_on, of_one_drawing = [], []

    def donors_mm(start: int, count: int) -> np.ndarray:
        at_mm, one = belief.donors_mm(start, count)
        of_one_drawing.append(one)
        return at_mm

    asked = _goes_on(belief, prepared, pairings, donors_mm)

    def block(start: int, count: int) -> np.ndarray:
        goes_on.append(asked(start, count))
        return goes_on[-1]

    chance = sequential(block, confidence)
    fits, one = np.concatenate(goes_on), np.concatenate(of_one_drawing)
    of_one = float(fits[one].mean()) if one.any() else 1.0
    if np.count_nonzero(~one) >= FEWEST:
        return chance, of_one, float(fits[~one].mean())
    if belief.with_odds(0.5) > 1.0 - NEXT_TO_NOTHING:
        return chance, of_one, 0.0
    another = belief.another
    asked = _goes_on(belief, prepared, pairings, lambda *at: another.donors_mm(*at)[0])
    return chance, of_one, float(asked(0, DRAWS_OF_ANOTHER).mean())


def _goes_on(
    belief: Believed, prepared: Prepared, pairings: list[list[Pairing]],
    donors_mm: Callable[[int, int], np.ndarray],
) -> Callable[[int, int], np.ndarray]:  # fmt: skip
    """Of each draw: the fixings stand as read and, under an original, within the play that it had."""

    def stood(start: int, count: int) -> np.ndarray:
        return np.asarray(_spots(prepared.task.fixings, count) + _play(prepared, belief.scatter_mm, start, count))

    return fits_block(prepared, pairings, stood, donors_mm, size_errors)


def _stated(chance: Chance, belief: Believed | None, of_one: float = 0.0, of_another: float = 0.0) -> Chance:
    """The chance with the idea of one drawing that it rests on, and what it would be under other odds."""
    if belief is None:
        return chance
    more = of_one - of_another
    half, twice = (
        float(np.clip(chance.fits + (belief.with_odds(times) - belief.one_drawing) * more, 0.0, 1.0))
        for times in (0.5, 2.0)
    )
    assumed = belief.places.one_drawing.weight
    return replace(chance, one_drawing=belief.one_drawing, assumed=assumed, at_half=half, at_twice=twice)


def _with_hidden(chance: Chance, belief: Believed, prepared: Prepared, pairs: list[Pairing]) -> Chance:
    """The chance with what a part of another drawing could be short by without having shown, and where."""
    way, placed = belief.another.ways[0], belief.pairings[0]
    held = [pair for pair in placed if pair in pairs]
    if len(held) < len(pairs):
        return chance
    reach = reach_of(prepared, placed, way.of.onto)
    open_mm = [np.inf if pair not in pairs else 0.0 for pair in placed]
    reach = replace(reach, radius_mm=reach.radius_mm + open_mm)
    short, where = shortfalls(way.of, reach, way.drawn(0, DRAWS_OF_ANOTHER).departs_mm)
    order = np.argsort(short, kind="stable")
    at = int(order[int(np.ceil(HIDDEN_SHARE * len(short))) - 1])
    return replace(chance, hidden_mm=max(0.0, float(short[at])), hidden_at=placed[int(where[at])][0])


def pairings_of(prepared: Prepared, answer: FitAnswer) -> list[list[Pairing]]:
    """The pairs that have to hold, of the pairing shown and of those that are as good."""
    shown = _must_pairs(prepared.task, [(p.fixing, p.feature) for p in answer.pairs])
    return [shown, *(_must_pairs(prepared.task, list(pairing)) for pairing in answer.also_pairs)]


def _sure(prepared: Prepared, pairings: list[list[Pairing]], places: Places) -> bool | None:
    """Whether the greatest errors of all readings together cannot change the answer; None: it takes draws.

    Only where every reading has a greatest error, in the plane.
    """
    if prepared.task.dims != 2 or places.host.covariance_mm2 is not None or places.donor.covariance_mm2 is not None:
        return None
    shown = places.hosted.placed_by
    on_host, on_donor = (dict(zip(s.features, s.half_width_mm, strict=True)) for s in (places.host, places.donor))

    def room(fixing: str, feature: str) -> float:
        own = prepared.fixings[fixing]
        return _size_room_mm(prepared, fixing, feature) + own.play_mm + own.play_half_travel_mm

    return sure_without_draws(
        [Pairs.of(prepared.task, pairing) for pairing in pairings],
        [np.array([on_donor.get(feature, 0.0) for _, feature in pairing]) for pairing in pairings],
        [np.array([on_host.get(shown.get(fixing, ""), 0.0) for fixing, _ in pairing]) for pairing in pairings],
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


def _spots(spots: tuple[Spot, ...], count: int) -> np.ndarray:
    return np.repeat(np.array([spot.at_mm for spot in spots])[None], count, axis=0)


def _moved(spots: tuple[Spot, ...], off_mm: np.ndarray, rows: list[int]) -> np.ndarray:
    """The task's own places, each moved as its feature is; unmoved where no reading gives the place."""
    out = _spots(spots, len(off_mm))
    placed = [column for column, row in enumerate(rows) if row >= 0]
    out[:, placed] += off_mm[:, [rows[column] for column in placed], : out.shape[2]]
    return out


def _by_hand(task: FitTask, workmanship_mm: Mapping[str, float], start: int, count: int) -> np.ndarray:
    """How far off what was made or moved by hand is, (count, m, d) mm."""
    off_mm = np.array([workmanship_mm.get(spot.id, 0.0) for spot in task.features])
    anywhere = np.full(len(off_mm), np.inf)
    names = [f"{spot.id} workmanship" for spot in task.features]
    out = np.zeros((count, len(off_mm), task.dims))
    out[:, :, :2] = within_play(count, SEED, off_mm, np.zeros(len(off_mm)), anywhere, names, start)
    return out


def _play(prepared: Prepared, scatter_mm: float, start: int, count: int) -> np.ndarray:
    """How far each fixing stood from the middle of the original's hole, (count, n, d) mm.

    Fixings and original have one drawing and the original did go on, all of it at once: so what is left of each is the
    maker's scatter, cut off where the play ends, and not anywhere in the play.
    """
    spots = prepared.task.fixings
    fixings = [prepared.fixings[spot.id] for spot in spots]
    radius = np.array([f.play_mm for f in fixings])
    travel = np.array([f.play_half_travel_mm for f in fixings])
    if not radius.any() and not travel.any():
        return np.zeros((1, 1, prepared.task.dims))
    at_mm = np.array([spot.at_mm for spot in spots])
    order = own_order(at_mm)
    names = [f"{order.index(k)} play" for k in range(len(spots))]
    stood = within_play(count, SEED, radius, travel, np.full(len(spots), scatter_mm), names, start)
    # In space across the fixing's axis; in the plane in the pattern's own frame, the way that a slot points first.
    if prepared.task.dims == 3:
        along = laid_over(np.array([spot.axis for spot in spots]).reshape(-1, 3))[:, :, :2]
        turned = np.stack([slot_frame(f.play_angle_deg or 0.0) for f in fixings])
        return np.asarray((along @ turned @ stood[..., None])[..., 0])
    frame = own_frame(at_mm[order])
    turned = np.stack([
        slot_frame(f.play_angle_deg or 0.0, frame) if f.play_half_travel_mm else frame for f in fixings
    ])  # fmt: skip
    return np.asarray((turned @ stood[..., None])[..., 0])
