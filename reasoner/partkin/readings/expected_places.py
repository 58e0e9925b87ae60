"""Where a donor's features are expected to be: as measured, else as the part that it would replace has them.

A part of a sister model resembles it, so its pattern is good for a sketch and for choosing what to ask. It is never a
measurement, and no verdict rests on it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from partkin.model.fitting import Placement
from partkin.model.verdict import Trial
from partkin.positions.budget import covariance_mm2
from partkin.positions.lengths import Distance, centre_distances
from partkin.readings.could_read import OPEN_PLAY_MM
from partkin.readings.next_readings import Next
from partkin.trial.places import as_tried

# How far a hole of another drawing may stand from the original's, and what is not known at all.
SISTER_MM, UNKNOWN_MM = 2.5, 100.0
RADIUS_MM = 300.0

Source = Literal["measured", "partly", "host", "nothing"]


@dataclass(frozen=True, eq=False)
class ExpectedPlaces:
    """Places of a donor's features.

    `at_mm` (n, d) in the donor's frame; `covariance_mm2` (n*d, n*d). `source`: the donor itself where all of them were
    measured, or some; the host (or the original that shows it) where none was; nothing where neither has places: then
    they stand in a ring. `measured`: those that the donor's own readings place. `play_mm`: of each feature's pair,
    where it is known.
    """

    features: tuple[str, ...]
    at_mm: np.ndarray
    covariance_mm2: np.ndarray
    source: Source
    measured: frozenset[str]
    play_mm: Mapping[str, float]


def expected_places(found: Next) -> ExpectedPlaces | None:
    """Lay out a donor's features; None: it has none."""
    trial = found.findings.trial if found.findings is not None else None
    names = tuple(row.feature for row in found.known.donor.features)
    if found.places is None or trial is None or not names:
        return None
    places = as_tried(found.known, found.places, trial)
    donor = places.donor
    at = dict(zip(donor.features, donor.xyz_mm, strict=True))
    loose = [name for name in names if name not in at]
    source: Source = "measured"
    if loose:
        at |= _expected(found, trial, loose, at)
        source = "partly" if donor.features else "host"
    if len(at) < 2:
        at, source = _ring(names), "nothing"
    chosen = tuple(name for name in names if name in at)
    at_mm = np.zeros((len(chosen), donor.dims if donor.features else max(len(place) for place in at.values())))
    for row, name in enumerate(chosen):
        # One side may be flat and the other in space.
        place = at[name][: at_mm.shape[1]]
        at_mm[row, : len(place)] = place
    likely = ExpectedPlaces(chosen, at_mm, _prior(at_mm, source), source, frozenset(donor.features), _plays(trial))
    if source in ("measured", "partly"):
        likely = _with_measured(likely, donor.features, covariance_mm2(donor))
    return _told(likely, _loose_distances(found, donor.features))


def _plays(trial: Trial) -> dict[str, float]:
    known = {feature: mating.allowed_mm for (_, feature), mating in trial.matings.items()}
    known |= {pair.feature: pair.allowed_mm for pair in trial.answer.pairs}
    return {name: mm for name, mm in known.items() if mm is not None and 0.0 < mm < OPEN_PLAY_MM}


def _expected(
    found: Next, trial: Trial, loose: list[str], measured: Mapping[str, np.ndarray]
) -> dict[str, np.ndarray]:  # fmt: skip
    """Places, in the donor's frame, of the fixings that the loose features would go on.

    Where several are open to one, a distance that was read to it tells which; else the order of the ids does, since
    nobody has said yet which hole is meant.
    """
    assert found.places is not None
    host, shown = found.places.host, found.places.hosted.placed_by
    back = _back(trial, len(measured))
    taken = {pair.fixing for pair in trial.answer.pairs if pair.feature in measured}
    free = {
        fixing: back(host.xyz_mm[host.features.index(name)]) for fixing, name in shown.items()
        if back is not None and name in host.features and fixing not in taken
    }  # fmt: skip
    open_to = {name: [o.fixing for o in trial.task.options if o.feature == name] for name in loose}
    read = _loose_distances(found, tuple(measured))
    places = dict(measured)
    for name in sorted(loose, key=lambda one: (len(open_to[one]), loose.index(one))):
        held = [row for row in read if name in (row.from_feature, row.to_feature)]
        fixings = [fixing for fixing in free if fixing in open_to[name]]
        if fixings:
            places[name] = free.pop(min(fixings, key=lambda one: _off_mm(free[one], name, held, places)))
    return places


def _off_mm(place: np.ndarray, name: str, held: list[Distance], places: Mapping[str, np.ndarray]) -> float:
    """How far a place is off the distances that were read to what has a place."""
    off = 0.0
    for row in held:
        other = row.to_feature if row.from_feature == name else row.from_feature
        if other in places:
            # One side may be flat and the other in space.
            d = min(len(place), len(places[other]))
            off += abs(float(np.linalg.norm(place[:d] - places[other][:d])) - row.length_mm)
    return round(off, 6)


def _back(trial: Trial, placed: int) -> Callable[[np.ndarray], np.ndarray] | None:
    """Return what brings a place of the host into the donor's frame; None: that is not known."""
    if not placed:
        # No frame yet, so the host's, turned over where the two are seen from different faces.
        return lambda place: place * np.where(np.arange(len(place)) == 0, -1.0, 1.0) if trial.mirrored else place
    placement = trial.answer.placement
    if not isinstance(placement, Placement) or placed < 2:
        return None
    back = np.linalg.inv(np.array(placement.matrix))

    def moved(place: np.ndarray) -> np.ndarray:
        whole = np.append(np.append(place, np.zeros(3 - len(place))), 1.0)
        return np.asarray((back @ whole)[: len(place)])

    return moved


def _ring(names: tuple[str, ...]) -> dict[str, np.ndarray]:
    """Features round the part, clockwise from the upper left."""
    turn = np.pi * (0.75 - 2.0 * np.arange(len(names)) / max(1, len(names)))
    return {name: RADIUS_MM * np.array([np.cos(a), np.sin(a)]) for name, a in zip(names, turn, strict=True)}


def _prior(at_mm: np.ndarray, source: Source) -> np.ndarray:
    """What is believed before any measuring: holes near each other moved together, those far apart less so."""
    spread_mm = UNKNOWN_MM if source == "nothing" else SISTER_MM
    apart_mm = np.linalg.norm(at_mm[:, None] - at_mm[None], axis=2)
    alike = np.exp(-2.0 * apart_mm / max(float(apart_mm.max()), 1e-9))
    return np.asarray(spread_mm**2 * np.kron(alike, np.eye(at_mm.shape[1])))


def _with_measured(likely: ExpectedPlaces, measured: tuple[str, ...], known_mm2: np.ndarray) -> ExpectedPlaces:
    """Put what was measured in the place of what is believed."""
    d = likely.at_mm.shape[1]
    whose = [at for at, name in enumerate(likely.features) if name in measured]
    rows = [d * at + k for at in whose for k in range(d)]
    own = [d * measured.index(likely.features[at]) + k for at in whose for k in range(d)]
    covariance = likely.covariance_mm2.copy()
    covariance[rows, :] = covariance[:, rows] = 0.0
    covariance[np.ix_(rows, rows)] = known_mm2[np.ix_(own, own)]
    return replace(likely, covariance_mm2=covariance)


def _loose_distances(found: Next, placed: tuple[str, ...]) -> tuple[Distance, ...]:
    """Distances read to features that no place rests on yet."""
    rows = {row.feature: row for row in found.known.donor.features}
    distances, _ = centre_distances(rows, found.known.donor.readings)
    return tuple(row for row in distances if not {row.from_feature, row.to_feature} <= set(placed))


def gradients(likely: ExpectedPlaces, ends: list[tuple[str, str]]) -> np.ndarray:
    """How each distance changes with every coordinate, (c, n*d)."""
    n, d = likely.at_mm.shape
    number = {name: at for at, name in enumerate(likely.features)}
    slopes = np.zeros((len(ends), n, d))
    for at, (one, other) in enumerate(ends):
        apart = likely.at_mm[number[one]] - likely.at_mm[number[other]]
        unit = apart / max(float(np.linalg.norm(apart)), 1e-9)
        slopes[at, number[one]], slopes[at, number[other]] = unit, -unit
    return slopes.reshape(len(ends), n * d)


def _told(likely: ExpectedPlaces, read: tuple[Distance, ...]) -> ExpectedPlaces:
    """Take in distances that were read already."""
    rows = [row for row in read if row.from_feature in likely.features and row.to_feature in likely.features]
    if not rows:
        return likely
    slopes = gradients(likely, [(row.from_feature, row.to_feature) for row in rows])
    felt = slopes @ likely.covariance_mm2
    spread = felt @ slopes.T + np.diag([row.sigma_mm**2 for row in rows])
    return replace(likely, covariance_mm2=likely.covariance_mm2 - felt.T @ np.linalg.solve(spread, felt))
