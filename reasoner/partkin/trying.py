"""One trial of a donor on its host: places, play, pairing, placement, chance."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType

import numpy as np

from partkin.fit import solve
from partkin.fit.arrays import PlanePairs
from partkin.fit.chance import certain, sequential, sure_without_draws
from partkin.fit.fixings import HostFixings, donor_features, host_fixings
from partkin.fit.flex import gives, pulled, with_flex
from partkin.fit.rotations import laid_over
from partkin.fit.scatter import fits_block
from partkin.fit.task import UNKNOWN_PLAY_MM, Pairing, Prepared, prepare
from partkin.model.build import Feature
from partkin.model.fitting import Chance, FitAnswer, FitTask, Spot
from partkin.model.known import Known, Side
from partkin.model.mating import Size
from partkin.model.positions import Missing, Positions
from partkin.model.trial import Stand, Trial
from partkin.openings import clear_of_studs
from partkin.positions import adjust, dimensions, draws, uniform_in_stadium
from partkin.positions.asking_for import tells_sides
from partkin.positions.lengths import current, value_mm
from partkin.positions.start import POLISHED

SEED = 1
MOST_LAYOUTS = 8
MOST_RIVALS = 4
NOTHING: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class Places:
    """Where everything is: the part that shows the fixings, and the donor."""

    hosted: HostFixings
    host_side: Side
    host: Positions
    donor: Positions


def places_of(known: Known) -> Places:
    """Adjust the readings of the donor and of the part that shows where the fixings are."""
    donor = adjusted(known.donor)
    host = adjusted(known.host)
    hosted = host_fixings(known.host, known.original, frozenset(host.features), _sizes(known))
    side = known.host if hosted.measured_from == "host" or known.original is None else known.original
    return Places(hosted, side, host if side is known.host else adjusted(side), donor)


def adjusted(side: Side) -> Positions:
    """Positions of one side's features."""
    return adjust(side.part.part, side.features, side.readings)


def _sizes(known: Known) -> Callable[[Feature], tuple[Size, Size]]:
    readings = {
        side.part.part: side.readings for side in (known.host, known.original, known.donor) if side is not None
    }  # fmt: skip

    def sizes_of(feature: Feature) -> tuple[Size, Size]:
        found = dimensions(feature, readings.get(feature.part, ()))
        return (
            Size(found.across_mm, found.across_half_width_mm),
            Size(found.length_mm, found.length_half_width_mm),
        )

    return sizes_of


def trials(known: Known, places: Places, confidence: float) -> tuple[Trial, ...]:
    """Try the donor in every way that the sheets leave open.

    The face that was looked at, the layouts, and which of several readings that contradict each other is wrong.
    """
    ways: list[tuple[tuple[str, str] | None, Places]] = [(None, places), *_without_each(known, places)]
    found = []
    for without, there in ways:
        for layouts in _layouts(there)[:MOST_LAYOUTS]:
            for mirrored in _faces(known, there):
                tried = trial(known, in_layouts(there, layouts), confidence, mirrored=mirrored)
                found.append(replace(tried, layouts=layouts, without=without))
    return tuple(found)


def _without_each(known: Known, places: Places) -> list[tuple[tuple[str, str], Places]]:
    """The places without each reading that may be the wrong one of several."""
    found: list[tuple[tuple[str, str], Places]] = []
    for side, positions, whose in ((places.host_side, places.host, "host"), (known.donor, places.donor, "donor")):
        rivals = [s for s in positions.suspects if not s.left_out and s.quantity is not None]
        for suspect in rivals[:MOST_RIVALS]:
            rest = tuple(row for row in side.readings if row.reading != suspect.reading)
            other = adjusted(replace(side, readings=rest))
            changed = replace(places, host=other) if whose == "host" else replace(places, donor=other)
            found.append(((positions.part, suspect.reading), changed))
    return found


def _faces(known: Known, places: Places) -> tuple[bool, ...]:
    host, donor = places.host_side.part.seen_from, known.donor.part.seen_from
    handed = places.donor.handed and places.host.handed
    if not handed or (host is None) != (donor is None):
        return (False, True)
    return (host != donor,)


def _layouts(places: Places) -> list[tuple[int, int]]:
    """Every combination of layouts that the readings of either side cannot tell apart, the likeliest first."""
    host, donor = (max(1, len(side.layouts)) for side in (places.host, places.donor))
    return sorted(((one, other) for one in range(host) for other in range(donor)), key=lambda two: (sum(two), two))


def layouts_left_out(places: Places) -> bool:
    """Whether there are more layouts than are tried: then what the others say is not known."""
    cut = any(len(side.layouts) >= POLISHED for side in (places.host, places.donor))
    return cut or len(_layouts(places)) > MOST_LAYOUTS


def side_questions(places: Places) -> tuple[Missing, ...]:
    """What would tell the layouts of either side, or a layout from its mirror image, apart."""
    return tuple(m for m in (*places.donor.missing, *places.host.missing) if tells_sides(m))


def in_layouts(places: Places, layouts: tuple[int, int]) -> Places:
    """The places with one layout of either side in front, as a trial was made with."""
    from partkin.positions.sampling import of_layout

    host, donor = (
        of_layout(side, number) if side.layouts else side
        for side, number in zip((places.host, places.donor), layouts, strict=True)
    )
    return replace(places, host=host, donor=donor)


def trial(known: Known, places: Places, confidence: float, *, mirrored: bool) -> Trial:
    """Lay the donor on its fixings and say how it stands.

    What is missing counts only where it is needed: a donor that already fits by what is measured fits, and
    fixings that conflict whatever the missing values are decide against it.
    """
    prepared = prepared_task(known, places, mirrored=mirrored)
    sure = _without_unknown(prepared)
    answer = with_flex(sure.task, solve)
    if answer.fits is False:
        sure, answer = clear_of_studs(known, sure) or (sure, answer)
    open_ends = bool(prepared.unknown or _placeless(prepared, places))
    if answer.fits is None:
        return _trial(mirrored, prepared, answer, None, "undecided")
    if answer.fits or not open_ends:
        answer, chance, judged = _as_pulled(sure, answer, places, confidence)
        return _trial(mirrored, judged if answer.fits else prepared, answer, chance, _stand(answer, chance, confidence))
    least = with_flex(_optimistic(prepared, places), solve)
    if least.fits is False and chance_of(prepared, least, places).fits <= 1.0 - confidence:
        return _trial(mirrored, prepared, least, None, "does not", _needed(prepared, places))
    return _trial(mirrored, prepared, least, None, "missing", _needed(prepared, places))


def _as_pulled(
    sure: Prepared, answer: FitAnswer, places: Places, confidence: float
) -> tuple[FitAnswer, Chance, Prepared]:
    """The chance of the donor rigid; where that is not enough, of the donor pulled as far as it gives."""
    rigid = chance_of(sure, answer, places, confidence) if not answer.flex_used_mm else None
    if rigid is not None and (not gives(sure.task) or not answer.fits or rigid.fits >= confidence):
        return answer, rigid, sure
    soft = replace(sure, task=pulled(sure.task, sure.task.flex_mm))
    chance = chance_of(soft, answer, places, confidence)
    if rigid is None:
        return answer, chance, soft
    if chance.fits < confidence:
        return answer, rigid, sure
    return replace(answer, flex_used_mm=sure.task.flex_mm, flex_to_be_sure=True), chance, soft


def prepared_task(known: Known, places: Places, *, mirrored: bool) -> Prepared:
    """The numbers of one trial."""
    part = known.donor.part
    return prepare(
        places.hosted, donor_features(known.donor, _sizes(known)), places.host, places.donor,
        host_part=places.host_side.part.part, mirrored=mirrored, flex_mm=part.flex_mm or 0.0,
        flex_in_plane=bool(part.flex_in_plane), host_thickness_mm=_thickness_mm(places.host_side),
        donor_thickness_mm=_thickness_mm(known.donor),
    )  # fmt: skip


def _thickness_mm(side: Side) -> float | None:
    """Thickness of a part: its newest reading, else its cell."""
    read = [row for row in current(side.readings) if row.quantity == "thickness" and row.part == side.part.part]
    return value_mm(read[-1]) if read else side.part.thickness_mm


def _trial(
    mirrored: bool, prepared: Prepared, answer: FitAnswer, chance: Chance | None, stand: Stand,
    missing: tuple[Missing, ...] = (),
) -> Trial:  # fmt: skip
    return Trial(mirrored, prepared.task, answer, chance, stand, prepared.matings, missing)


def _stand(answer: FitAnswer, chance: Chance, confidence: float) -> Stand:
    """A verdict needs both: the likely positions and enough of the ways the readings may be out."""
    if answer.fits and chance.fits >= confidence:
        return "fits"
    if not answer.fits and chance.fits <= 1.0 - confidence:
        return "does not"
    return "unsure"


def _without_unknown(prepared: Prepared) -> Prepared:
    options = tuple(o for o in prepared.task.options if (o.fixing, o.feature) not in prepared.unknown)
    return replace(prepared, task=replace(prepared.task, options=options))


def _placeless(prepared: Prepared, places: Places) -> set[str]:
    """Fixings of which no place is known."""
    placed_by = places.hosted.placed_by
    return {s.id for s in prepared.task.fixings if placed_by.get(s.id) not in places.host.features}


def _optimistic(prepared: Prepared, places: Places) -> FitTask:
    """The task as it would be if everything that is not known were as kind as it can be."""
    placeless = _placeless(prepared, places)
    fixings = tuple(replace(s, must=False, should=False) if s.id in placeless else s for s in prepared.task.fixings)
    options = tuple(o for o in prepared.task.options if o.fixing not in placeless)
    return replace(prepared.task, fixings=fixings, options=options)


def _needed(prepared: Prepared, places: Places) -> tuple[Missing, ...]:
    """What the verdict waits for: places and sizes of what has to be paired, not of spare holes."""
    spare = {s.id for s in prepared.task.features if not s.must and not s.should}
    needed_host = {places.hosted.placed_by.get(s.id, s.id) for s in prepared.task.fixings if s.must}
    found = [m for m in places.donor.missing if m.from_feature not in spare or m.from_feature is None]
    found += [m for m in places.host.missing if m.from_feature in needed_host or m.from_feature is None]
    found += [m for m in prepared.missing if m.from_feature not in spare]
    return tuple(dict.fromkeys(found))


def chance_of(
    prepared: Prepared, answer: FitAnswer, places: Places, confidence: float = 0.95,
    workmanship_mm: Mapping[str, float] = NOTHING,
) -> Chance:  # fmt: skip
    """Probability that the pairs which have to hold do, over draws of every position and size.

    `workmanship_mm`: how far a donor feature that was made or moved by hand may be off besides.
    """
    pairings = _pairings(prepared, answer)
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
        With pairs; what is not known of it counts as kind as it can be.
    count

    Returns
    -------
    ndarray
        bool (count,).
    """
    prepared = replace(prepared_task(known, places, mirrored=trial.mirrored), task=trial.task)
    return _fitting(prepared, _pairings(prepared, trial.answer), places, NOTHING)(0, count)


def _pairings(prepared: Prepared, answer: FitAnswer) -> list[list[Pairing]]:
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
    stream = zlib.crc32(name.encode())

    def whole(block: int) -> np.ndarray:
        return np.random.default_rng([SEED, stream, block]).uniform(-1.0, 1.0, 128)

    first, last = start // 128, (start + count - 1) // 128
    return np.concatenate([whole(b) for b in range(first, last + 1)])[start - first * 128 :][:count]


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
            part = f"{places.donor.part} workmanship"
            at[:, :, :2] += uniform_in_stadium(count, SEED, off_mm, none, none, part=part, start=start)
        return at

    return block


def _host_draws(prepared: Prepared, places: Places) -> Callable[[int, int], np.ndarray]:
    """Places of the fixings: the readings' errors and, under an original, the play that it had."""
    rows = _rows(places.host, [places.hosted.placed_by.get(s.id) for s in prepared.task.fixings])
    fixings = [prepared.fixings[s.id] for s in prepared.task.fixings]
    radius = np.array([f.play_mm for f in fixings])
    travel = np.array([f.play_half_travel_mm for f in fixings])
    angle = np.array([f.play_angle_deg for f in fixings])
    across_axes = laid_over(np.array([s.axis for s in prepared.task.fixings]).reshape(-1, 3))[:, :, :2]

    @cache
    def block(start: int, count: int) -> np.ndarray:
        at = _scattered(places.host, rows, prepared.task.fixings, start, count)
        if radius.any() or travel.any():
            stood = uniform_in_stadium(count, SEED, radius, travel, angle, part=f"{places.host.part} play", start=start)
            at += stood if at.shape[2] == 2 else (across_axes @ stood[..., None])[..., 0]
        return at

    return block
