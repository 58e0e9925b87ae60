"""Which distances to ask a seller for in one message, and where the donor's features are expected to be.

A part of a sister model resembles the one that it would replace, so its pattern is good for a sketch and for choosing
what to ask. It is never a measurement, and no verdict rests on it. Asked for are the distances that tell most together,
not the best ones by themselves: where the chance's draws go either way, each set is judged by the draws that its
readings would leave believable; where they do not, or nothing is placed yet, by how much of what is not known of the
donor's shape it would take away.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb
from typing import Literal, NamedTuple

import numpy as np

from partkin.model.build import Feature
from partkin.model.fitting import Placement
from partkin.model.known import Known
from partkin.model.verdict import Trial
from partkin.model.words import Kind
from partkin.positions.budget import covariance_mm2
from partkin.positions.by_draws import look_mm
from partkin.positions.lengths import Distance, centre_distances, standard_uncertainty_mm
from partkin.readings.could_read import FINER, OPEN_PLAY_MM, SELLER, Field, field_of, only, read_already
from partkin.readings.next_readings import LEAST_TOLD, Next, order_of
from partkin.tables.instruments import greatest_error_mm
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
    known_mm = {feature: mating.allowed_mm for (_, feature), mating in trial.matings.items()}
    known_mm |= {pair.feature: pair.allowed_mm for pair in trial.answer.pairs}
    plays_mm = {name: mm for name, mm in known_mm.items() if mm is not None and 0.0 < mm < OPEN_PLAY_MM}
    likely = ExpectedPlaces(chosen, at_mm, _prior(at_mm, source), source, frozenset(donor.features), plays_mm)
    if source in ("measured", "partly"):
        likely = _with_measured(likely, donor.features, covariance_mm2(donor))
    return _told(likely, _loose_distances(found, donor.features))


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
    return lambda place: (back @ [*place, *[0.0] * (3 - len(place)), 1.0])[: len(place)]


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


# Sets are tried all where there are no more than this; else each question is added to the best set before it.
MOST_SETS = 20_000
# Of the draws' candidates, the best so many by themselves.
MOST_TRIED = 12
# Values that a set of readings may come out at, one from each of so many draws.
MOST_VALUES = 384

Worth = Callable[[tuple[int, ...]], float]


class Question(NamedTuple):
    """A distance between two features of the donor, or how wide one is across (`to_feature` empty)."""

    quantity: str
    from_feature: str
    to_feature: str = ""


def asked_together(found: Next, most: int) -> tuple[Question, ...]:
    """Choose at most so many questions of the donor; empty where nothing that a seller can read tells anything."""
    trial = found.findings.trial if found.findings is not None else None
    if found.findings is None or found.places is None or trial is None or most < 1:
        return ()
    if trial.answer.pairs and found.findings.asks:
        here = as_tried(found.findings.known, found.places, trial)
        whole = field_of(found.findings, here, trial, at_hand=False)
        field = only(whole, [at for at, one in enumerate(whole.candidates) if one.part == whole.donor])
        if not field.candidates:
            return ()
        if not field.one_way:
            return _by_draws(field, most)
    likely = expected_places(found)
    return _by_shape(likely, read_already(found.known.donor.readings), most) if likely is not None else ()


def best_set(count: int, most: int, worth: Worth) -> tuple[int, ...]:
    """Return the set of at most `most` of `count` that is worth most; one more only where it adds enough.

    >>> best_set(3, 2, lambda chosen: {(): 0, (0,): 5, (1,): 4, (2,): 4, (1, 2): 9}.get(chosen, 6))
    (1, 2)
    """
    best: tuple[int, ...] = ()
    before = worth(()) if count else 0.0
    for size in range(1, min(most, count) + 1):
        if comb(count, size) <= MOST_SETS:
            sets: Sequence[tuple[int, ...]] = list(combinations(range(count), size))
        else:
            sets = [tuple(sorted((*best, at))) for at in range(count) if at not in best]
        worths = [round(worth(chosen), 9) for chosen in sets]
        at = int(np.argmax(worths))
        if worths[at] - before < LEAST_TOLD:
            break
        best, before = sets[at], worths[at]
    return best


def _by_draws(field: Field, most: int) -> tuple[Question, ...]:
    near = only(field, order_of(field, None)[:MOST_TRIED])
    values = np.linspace(0, len(near.fits) - 1, min(MOST_VALUES, len(near.fits))).astype(int)
    now = float(np.mean(near.fits))
    # Read a little off what the draw has, the same way each time.
    off = np.random.default_rng(1).standard_normal((len(near.candidates), len(values)))

    def worth(chosen: tuple[int, ...]) -> float:
        """The share of what is open that these readings are expected to close."""
        likely = np.zeros((len(values), len(near.fits)))
        for at in chosen:
            sigma_mm, drawn_mm = near.candidates[at].sigma_mm, near.drawn_mm[at]
            look = look_mm(sigma_mm, float(np.std(drawn_mm)), len(drawn_mm) / 4 ** (len(chosen) - 1))
            read_mm = drawn_mm[values] + sigma_mm * off[at]
            likely -= 0.5 * ((read_mm[:, None] - drawn_mm[None]) / look) ** 2
        weight = np.exp(likely - likely.max(axis=1, keepdims=True))
        chance = weight @ near.fits / weight.sum(axis=1)
        return 1.0 - float(np.mean(chance * (1.0 - chance))) / (now * (1.0 - now))

    found = [near.candidates[at] for at in best_set(len(near.candidates), most, worth)]
    return tuple(Question(one.quantity, one.from_feature, one.to_feature) for one in found)


def _by_shape(likely: ExpectedPlaces, known_mm: dict[frozenset[str | None], float], most: int) -> tuple[Question, ...]:
    ends, sigmas = [], []
    for one, other in combinations(likely.features, 2):
        i, k = likely.features.index(one), likely.features.index(other)
        length_mm = float(np.linalg.norm(likely.at_mm[i] - likely.at_mm[k]))
        error_mm = greatest_error_mm(SELLER, length_mm)
        if length_mm >= 1.0 and error_mm <= FINER * known_mm.get(frozenset((one, other)), np.inf):
            # From what has no place yet to what has one.
            ends.append((other, one) if one in likely.measured and other not in likely.measured else (one, other))
            sigmas.append(standard_uncertainty_mm(error_mm))
    if not ends:
        return ()
    covariance, matters = likely.covariance_mm2, _shape_alone(likely)
    slopes = gradients(likely, ends)
    felt = slopes @ covariance
    spread = felt @ slopes.T + np.diag(np.square(sigmas))
    told = felt @ matters @ felt.T
    whole = float(np.trace(matters @ covariance))

    def worth(chosen: tuple[int, ...]) -> float:
        """The share of what is not known of the shape that these readings take away."""
        at = np.ix_(chosen, chosen)
        return float(np.trace(np.linalg.solve(spread[at], told[at]))) / whole if chosen and whole > 0.0 else 0.0

    return tuple(Question("centres", *ends[at]) for at in best_set(len(ends), most, worth))


def _shape_alone(likely: ExpectedPlaces) -> np.ndarray:
    """Weights of the coordinates, (n*d, n*d): each by its play, and none for a turn and shift of the whole."""
    n, d = likely.at_mm.shape
    plays = [likely.play_mm.get(name) for name in likely.features]
    usual = float(np.median([play for play in plays if play is not None] or [1.0]))
    weight = np.repeat([1.0 / (play or usual) for play in plays], d)
    centred = likely.at_mm - likely.at_mm.mean(axis=0)
    moves = [np.tile(np.eye(d)[k], n) for k in range(d)]
    for i, k in combinations(range(d), 2):
        turn = np.zeros((n, d))
        turn[:, i], turn[:, k] = -centred[:, k], centred[:, i]
        moves.append(turn.ravel())
    free = np.array(moves).T * weight[:, None]
    onto, size, _ = np.linalg.svd(free, full_matrices=False)
    onto = onto[:, size > 1e-9 * max(float(size.max()), 1e-300)]
    kept = np.eye(n * d) - onto @ onto.T
    return np.asarray(weight[:, None] * kept * weight[None])


# What goes onto a host's feature, where no part that came off shows it.
GOES_ONTO: dict[Kind, Kind] = {
    "stud": "hole", "tapped hole": "hole", "captive nut": "hole", "hole": "hole", "slot": "hole", "peg": "peg hole",
    "peg hole": "peg", "clip": "clip hole", "clip hole": "clip",
}  # fmt: skip
# What a donor's feature most likely goes onto, where nothing of the host is listed.
GONE_ONTO: dict[Kind, Kind] = {
    "hole": "stud", "slot": "stud", "tapped hole": "hole", "captive nut": "hole", "stud": "hole", "peg": "peg hole",
    "peg hole": "peg", "clip": "clip hole", "clip hole": "clip",
}  # fmt: skip


def supposed_features(known: Known) -> tuple[Feature, ...]:
    """What an unlisted donor is asked about: what the original has, else one feature for each fixing of the host.

    Without places, and with the original's sizes. Where the donor alone is listed, one fixing of the host for each of
    its features; empty where features of both are listed, or of neither.
    """
    if known.donor.features:
        if known.host.features or (known.original is not None and known.original.features):
            return ()
        host = known.host.part.part
        return tuple(Feature(host, row.feature, GONE_ONTO[row.kind]) for row in known.donor.features)
    donor = known.donor.part.part
    if known.original is not None and known.original.features:
        return tuple(
            replace(row, part=donor, x_mm=None, y_mm=None, z_mm=None, plus_minus_mm=None, zone=None, axis=None)
            for row in known.original.features
        )
    return tuple(Feature(donor, row.feature, GOES_ONTO[row.kind]) for row in known.host.features if row.need != "spare")


COLUMNS, LINES = 56, 18


def sketch_of(at_mm: Mapping[str, tuple[float, float]], letters: Mapping[str, str]) -> list[str]:
    """Draw features as text: letters for those asked about, `o` for the others.

    Examples
    --------
    >>> corners = {"a": (0.0, 0.0), "b": (300.0, 0.0), "c": (300.0, 100.0)}
    >>> for line in sketch_of(corners, {"a": "A", "b": "B"}): print(line)
                                                            o
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    <BLANKLINE>
    A                                                       B
    """
    if len(at_mm) < 2 or any(name not in at_mm for name in letters):
        return []
    points = np.array(list(at_mm.values()))
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    # A letter is about twice as high as it is wide.
    step_mm = max(float(size[0]) / COLUMNS, float(size[1]) / LINES / 2.0, 1e-6)
    columns = np.round((points[:, 0] - low[0]) / step_mm).astype(int)
    rows = np.round((points[:, 1] - low[1]) / step_mm / 2.0).astype(int)
    grid = [[" "] * (COLUMNS + 2 * len(at_mm) + 1) for _ in range(int(rows.max()) + 1)]
    order = sorted(range(len(points)), key=lambda k: list(at_mm)[k] not in letters)
    for k in order:
        name = list(at_mm)[k]
        line, column = grid[int(rows.max()) - int(rows[k])], int(columns[k])
        while line[column] != " ":
            column += 2
        line[column] = letters.get(name, "o")
    return ["".join(line).rstrip() for line in grid]
