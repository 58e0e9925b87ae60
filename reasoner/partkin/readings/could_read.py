"""Everything that could be read on either part: what it costs, and would come out at in the draws of the chance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from partkin.model.build import Reading
from partkin.model.positions import Positions
from partkin.model.verdict import Trial
from partkin.model.words import Instrument
from partkin.positions import lengths
from partkin.positions.budget import covariance_mm2, length_row
from partkin.positions.by_draws import agreement, ask_by_draws
from partkin.positions.next_reading import Ask, Candidate, spread_drops
from partkin.tables.instruments import greatest_error_mm, reading_costs
from partkin.trial.believed import Guard
from partkin.trial.chances import guard_of_trial, sides_drawn, size_errors_of
from partkin.trial.findings import Findings
from partkin.trial.places import Places

SELLER: Instrument = "seller"
BENCH: tuple[Instrument, ...] = ("caliper", "steel rule", "tape")


def effort_minutes(instrument: str, labour_rate: float | None = None) -> float:
    """Minutes that a reading takes, its price counted in minutes of work where an hourly rate is known.

    >>> effort_minutes("template"), effort_minutes("template", 60.0)
    (15.0, 16.0)
    """
    row = reading_costs()[instrument]
    return row.minutes + (60.0 * row.price / labour_rate if labour_rate else 0.0)


def to_read_as_finely(length_mm: float, error_mm: float, quantity: str = "centres") -> str | None:
    """Say with what, on the bench, a length is read so finely; None: with none of it.

    >>> to_read_as_finely(80.0, 0.5), to_read_as_finely(80.0, 0.2), to_read_as_finely(612.0, 0.1)
    ('steel rule', 'caliper across the two edges', None)
    """
    ways = [(quantity, "")] if quantity != "centres" else [("centres", ""), ("near edges", " across the two edges")]
    for how, says in ways:
        for name in reversed(BENCH):
            reaches = length_mm <= reading_costs()[name].longest_mm
            if reaches and greatest_error_mm(name, length_mm, how) <= error_mm * (1.0 + 1e-9):
                return f"{name}{says}"
    return None


def instrument_for(length_mm: float, at_hand: bool, quantity: str = "centres") -> Instrument:
    """The instrument to take: the seller's where the part is not at hand, else the finest that reaches.

    >>> instrument_for(80.0, True), instrument_for(612.0, True), instrument_for(1276.0, True)
    ('caliper', 'steel rule', 'tape')
    >>> instrument_for(80.0, False)
    'seller'
    """
    if not at_hand:
        return SELLER
    reaching = [name for name in BENCH if length_mm <= reading_costs()[name].longest_mm] or ["tape"]
    return min(reaching, key=lambda name: (greatest_error_mm(name, length_mm, quantity), BENCH.index(name)))


DRAWS = 2048
# A draw in space takes a hundred times as long as one in the plane.
DRAWS_IN_SPACE = 384
OPEN_PLAY_MM = 1.0e4
# A reading at least this much finer than what is known already is worth taking again.
FINER = 0.8
# Where fewer draws than this go either way they cannot rank.
FEWEST_DRAWS = 20


@dataclass(frozen=True, eq=False)
class Field:
    """Every reading that could be taken (c of them), and the draws that they are judged by.

    `drawn_mm` (c, n): what each would come out at; `fits` (n,). `agreeing_mm` (c,): between which values each agrees
    with the other readings of its part; None: no matter which. `guard`: on promising that it does not fit.
    """

    candidates: tuple[Candidate, ...]
    drawn_mm: np.ndarray
    fits: np.ndarray
    confidence: float
    donor: str
    agreeing_mm: tuple[tuple[float, float] | None, ...] = ()
    guard: Guard | None = None

    @property
    def one_way(self) -> bool:
        """Whether hardly any draw goes one of the two ways."""
        yes = int(np.count_nonzero(self.fits))
        return min(yes, len(self.fits) - yes) < FEWEST_DRAWS

    def ask(self, at: int, error_mm: float | None = None) -> Ask:
        """Judge one candidate by the draws, read to `error_mm` where that is given."""
        one = self.candidates[at]
        if error_mm is not None:
            one = replace(one, sigma_mm=lengths.standard_uncertainty_mm(error_mm))
        seldom = None if self.guard is None or one.quantity != "centres" else _seldom(self.guard, one, self.confidence)
        return ask_by_draws(one, self.fits, self.drawn_mm[at], self.confidence, None, self.agreeing_mm[at], seldom)


def _seldom(guard: Guard, one: Candidate, confidence: float) -> Callable[[np.ndarray], np.ndarray]:
    side = guard.places.donor if guard.places.donor.part == one.part else guard.places.host
    row, length_mm = _length(side, one)
    return lambda read_mm: guard.lets(one.part, row, one.sigma_mm, read_mm - length_mm, confidence)


def _length(side: Positions, one: Candidate) -> tuple[np.ndarray, float]:
    """How a distance changes with the coordinates of a part, and what it is by them."""
    a, b = side.features.index(one.from_feature), side.features.index(one.to_feature)
    return length_row(side, a, b), float(np.linalg.norm(side.xyz_mm[a] - side.xyz_mm[b]))


def only(field: Field, rows: list[int]) -> Field:
    """Some candidates of a field."""
    return replace(
        field,
        candidates=tuple(field.candidates[at] for at in rows),
        drawn_mm=field.drawn_mm[rows],
        agreeing_mm=tuple(field.agreeing_mm[at] for at in rows),
    )


def donor_at_hand(readings: Sequence[Reading]) -> bool:
    """Whether the donor lies before you: something of it was read with a tool of the bench.

    Examples
    --------
    >>> donor_at_hand([Reading("p", "r1", "centres", 612.0, "mm", "a", "b", instrument="seller")])
    False
    """
    return any(row.instrument is not None and reading_costs()[row.instrument].at_hand for row in readings)


def field_of(
    findings: Findings, places: Places, trial: Trial, at_hand: bool, labour_rate: float | None = None,
    count: int | None = None,
) -> Field:  # fmt: skip
    """List what could be read on either part, with its value in each draw."""
    count = count or (DRAWS if trial.task.dims == 2 else DRAWS_IN_SPACE)
    known = findings.known
    pairs = _measured_pairs(trial)
    drawn_sides = sides_drawn(known, places, trial, count)
    if drawn_sides is None:
        return Field((), np.zeros((0, count)), np.zeros(count, dtype=bool), findings.confidence, known.donor.part.part)
    fits, host_mm, donor_mm = drawn_sides
    shown = places.hosted.placed_by
    host_rows = places.host_side.readings
    candidates: list[Candidate] = []
    drawn: list[np.ndarray] = []
    for side, at_mm, names, rows, near in (
        (places.donor, donor_mm, {feature for _, feature in pairs}, known.donor.readings, at_hand),
        (places.host, host_mm, {shown.get(fixing, fixing) for fixing, _ in pairs}, host_rows, True),
    ):
        found, values = _distances(side, at_mm, names, rows, near, labour_rate)
        candidates += found
        drawn += values
    for one, values_mm in _widths(places, trial, pairs, known.donor.readings, at_hand, labour_rate, count):
        candidates.append(one)
        drawn.append(values_mm)
    spread = np.array(drawn) if drawn else np.zeros((0, count))
    sides = {side.part: side for side in (places.host, places.donor)}
    within = tuple(_agreeing_mm(sides[one.part], one) if one.quantity == "centres" else None for one in candidates)
    guard = guard_of_trial(known, places, trial)
    return Field(tuple(candidates), spread, fits, findings.confidence, known.donor.part.part, within, guard)


def _agreeing_mm(side: Positions, one: Candidate) -> tuple[float, float] | None:
    """None where the readings disagree already: then everything is widened, and one more changes little."""
    if not side.agree:
        return None
    row, length_mm = _length(side, one)
    spread_mm = float(np.hypot(np.sqrt(row @ covariance_mm2(side) @ row), one.sigma_mm))
    reach_mm = agreement(side.chi_square, side.degrees_of_freedom) * spread_mm
    return length_mm - reach_mm, length_mm + reach_mm


def _measured_pairs(trial: Trial) -> list[tuple[str, str]]:
    """Pairs of every pairing that counts, without those of which something needed is not known."""
    open_ = {(p.fixing, p.feature) for p in trial.answer.pairs if p.allowed_mm >= OPEN_PLAY_MM}
    shown = [(p.fixing, p.feature) for p in trial.answer.pairs]
    pairs = [*shown, *(pair for pairing in trial.answer.also_pairs for pair in pairing)]
    return [pair for pair in dict.fromkeys(pairs) if pair not in open_]


def _distances(
    side: Positions,
    places_mm: np.ndarray,
    names: set[str],
    rows: Sequence[Reading],
    at_hand: bool,
    labour_rate: float | None,
) -> tuple[list[Candidate], list[np.ndarray]]:
    """Distances among the named features that were not read yet, or only more coarsely."""
    at = [number for number, name in enumerate(side.features) if name in names]
    known_mm = read_already(rows)
    found, values = [], []
    for i, k in combinations(at, 2):
        length_mm, ends = float(np.linalg.norm(side.xyz_mm[i] - side.xyz_mm[k])), (side.features[i], side.features[k])
        if length_mm < 1.0:
            continue
        instrument = instrument_for(length_mm, at_hand)
        error_mm = greatest_error_mm(instrument, length_mm)
        if error_mm <= FINER * known_mm.get(frozenset(ends), np.inf):
            sigma_mm, effort = lengths.standard_uncertainty_mm(error_mm), effort_minutes(instrument, labour_rate)
            found.append(Candidate(side.part, *ends, sigma_mm, instrument, effort))
            values.append(np.linalg.norm(places_mm[:, i] - places_mm[:, k], axis=1))
    return found, values


def read_already(rows: Sequence[Reading]) -> dict[frozenset[str | None], float]:
    """Greatest error of the finest reading that stands, by its two ends."""
    finest: dict[frozenset[str | None], float] = {}
    for row in lengths.current(rows):
        if row.quantity in lengths.DISTANCES:
            ends = frozenset((row.from_feature, row.to_feature))
            finest[ends] = min(finest.get(ends, np.inf), lengths.greatest_error_of_mm(row))
    return finest


def _widths(
    places: Places, trial: Trial, pairs: list[tuple[str, str]], donor_rows: Sequence[Reading], at_hand: bool,
    labour_rate: float | None, count: int,
) -> list[tuple[Candidate, np.ndarray]]:  # fmt: skip
    """Widths across that are known only within something a reading would narrow."""
    fixings = {f.feature.feature: f for f in places.hosted.fixings}
    found = []
    asked: set[tuple[str, str]] = set()
    made = {action.feature for action in trial.work.actions} if trial.work is not None else set()
    for fixing, feature in pairs:
        if feature in made:
            continue
        # The newest reading of a donor feature's width; a cell is taken as exact.
        read = [r for r in lengths.current(donor_rows) if r.quantity == "across" and r.from_feature == feature][-1:]
        known = next(((lengths.value_mm(r), lengths.greatest_error_of_mm(r)) for r in read), (None, 0.0))
        sides: list[tuple[str, str, str, tuple[float | None, float], bool]]
        sides = [(places.donor.part, feature, "donor", known, at_hand)]
        if places.hosted.measured_from == "host" and fixing in fixings:
            across = fixings[fixing].across
            sides.append((places.host.part, fixing, "host", (across.mm, across.half_width_mm), True))
        for part, name, whose, (width_mm, half_mm), near in sides:
            if not half_mm or width_mm is None or (part, name) in asked:
                continue
            asked.add((part, name))
            instrument = instrument_for(width_mm, near, "across")
            error_mm = greatest_error_mm(instrument, width_mm, "across")
            if error_mm > FINER * half_mm:
                continue
            sigma_mm, effort = lengths.standard_uncertainty_mm(error_mm), effort_minutes(instrument, labour_rate)
            one = Candidate(part, name, "", sigma_mm, instrument, effort, "across")
            found.append((one, width_mm + half_mm * size_errors_of(trial, whose, name, count)))
    return found


# Holes that conflict count so many times in the root of the sum that is shrunk.
CONFLICTING = 2.0
# What is in no pair is of little use, and yet what is read from it places the others.
UNPAIRED = 0.1


def asks_without_draws(field: Field, places: Places, trial: Trial, most: int) -> tuple[Ask, ...]:
    """Rank what could be read, best first, without promising what any value means: the draws all but agree."""
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
    centres = [(at, one) for at, one in enumerate(field.candidates) if one.quantity == "centres"]
    for positions, weight_of in zip((places.donor, places.host), weights, strict=True):
        mine = {at: one for at, one in centres if one.part == positions.part}
        least = UNPAIRED * min(weight_of.values())
        heavy = np.array([weight_of.get(name, least) for name in positions.features])
        if mine:
            worth[list(mine)] = spread_drops(positions, heavy, list(mine.values()))
    worth /= [one.effort for one in field.candidates]
    order = sorted(np.flatnonzero(worth > 1e-9).tolist(), key=lambda at: (-round(float(worth[at]), 9), at))
    return tuple(replace(field.ask(at), bands=(), tells=None) for at in order[:most])
