"""Whether a donor fits in each of many draws of the positions and sizes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from partkin.fit.arrays import Floats, Pairs
from partkin.fit.batch import batch_fits
from partkin.fit.mating import allowed_play, bolt_between_mm, captive_float_mm, clip_between
from partkin.fit.own_order import size_names
from partkin.fit.task import Pairing, Prepared
from partkin.model.mating import Size

Draw = Callable[[int, int], np.ndarray]


def fits_block(
    prepared: Prepared,
    pairings: Sequence[Sequence[Pairing]],
    draw_host: Draw,
    draw_donor: Draw,
    draw_error: Callable[[str, int, int], np.ndarray],
) -> Callable[[int, int], np.ndarray]:
    """Make the function that tells for draws start .. start + count whether any of the pairings fits.

    Parameters
    ----------
    prepared
    pairings
        Equally good pairings; a draw fits where one of them does.
    draw_host, draw_donor
        (start, count) -> float64 (count, n, d): positions of `prepared.task.fixings` and `.features`.
    draw_error
        (name, start, count) -> float64 (count,) within plus or minus 1, one stream a name: how far a size
        is out, in its own half widths.
    """
    rows = {spot.id: number for number, spot in enumerate(prepared.task.fixings)}
    columns = {spot.id: number for number, spot in enumerate(prepared.task.features)}
    names = size_names(prepared.task, pairings[0])
    judges = [_judge(Pairs.of(prepared.task, pairing)) for pairing in pairings]

    def block(start: int, count: int) -> np.ndarray:
        d = prepared.task.dims
        host, donor = draw_host(start, count)[:, :, :d], draw_donor(start, count)[:, :, :d]
        if prepared.task.mirrored:
            donor = donor * np.array([-1.0, 1.0, 1.0])[:d]
        fits = np.zeros(count, dtype=bool)
        for pairing, judge in zip(pairings, judges, strict=True):
            todo = np.flatnonzero(~fits)
            if not len(todo):
                break
            q = host[todo][:, [rows[fixing] for fixing, _ in pairing]]
            p = donor[todo][:, [columns[feature] for _, feature in pairing]]
            rho = np.stack([_allowed(prepared, pair, names, draw_error, start, count) for pair in pairing], axis=1)
            fits[todo] = judge(q, p, rho[todo])
        return fits

    return block


def _judge(nominal: Pairs) -> Callable[[Floats, Floats, Floats], np.ndarray]:
    """What tells for draws of host points, donor points and plays whether these pairs hold."""
    if nominal.dims == 2:
        return lambda q, p, rho: batch_fits(q, p, rho, nominal)
    from partkin.fit.space_minimax import SpaceScatter

    return SpaceScatter(nominal).fits


def _allowed(
    prepared: Prepared, pair: Pairing, names: Mapping[str, str], draw_error: Callable[[str, int, int], np.ndarray],
    start: int, count: int,
) -> np.ndarray:  # fmt: skip
    """(count,) allowed offset of one pair, its sizes drawn within their uncertainty."""
    mating = prepared.matings.get(pair)
    as_asked = pair in prepared.unknown or pair in prepared.most_mm
    if as_asked or mating is None or mating.rule is None or mating.allowed_mm is None:
        allowed_mm = next(o.allowed_mm for o in prepared.task.options if (o.fixing, o.feature) == pair)
        return np.full(count, allowed_mm)
    fixing, donor = prepared.fixings[pair[0]], prepared.features[pair[1]]
    pulled_mm = prepared.task.pulled_mm if prepared.task.flex_in_plane else 0.0
    if not fixing.across.half_width_mm and not donor.across.half_width_mm:
        return np.full(count, mating.allowed_mm + pulled_mm)

    def drawn(name: str, size: Size) -> np.ndarray:
        return (size.mm or 0.0) + size.half_width_mm * draw_error(name, start, count)

    bolt_mm = bolt_between_mm(fixing.feature, donor.feature) or 0.0
    nut_mm = captive_float_mm(mating.rule, fixing.feature, donor.feature)
    ends = f"host {pair[0]}", f"donor {pair[1]}"
    sizes = drawn(names.get(ends[0], ends[0]), fixing.across), drawn(names.get(ends[1], ends[1]), donor.across)
    clip = clip_between(mating.rule, fixing, donor)
    return np.asarray(allowed_play(mating.rule, *sizes, bolt_mm, nut_mm, clip)) + pulled_mm
