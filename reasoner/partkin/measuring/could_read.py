"""Everything that could be read on either part, with what each would come out at in the draws of the chance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from partkin.judging.chances import SEED, fitting_draws, size_errors
from partkin.judging.places import Places
from partkin.measuring.reading_costs import effort_minutes, instrument_for, reading_costs
from partkin.model.build import Reading
from partkin.model.positions import Positions
from partkin.model.trial import Trial
from partkin.positions import draws, lengths
from partkin.positions.by_draws import agreement, ask_by_draws
from partkin.positions.next_reading import Ask, Candidate
from partkin.positions.sampling import as_normal
from partkin.tables import greatest_error_mm
from partkin.verdict import Findings

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

    `drawn_mm` (c, n): what each would come out at; `fits` (n,). `agrees_within` (c,): how many standard deviations
    off each may be and still agree with the other readings of its part; None: no matter how far.
    """

    candidates: tuple[Candidate, ...]
    drawn_mm: np.ndarray
    fits: np.ndarray
    confidence: float
    donor: str
    agrees_within: tuple[float | None, ...] = ()

    @property
    def one_way(self) -> bool:
        """Whether hardly any draw goes one of the two ways."""
        yes = int(np.count_nonzero(self.fits))
        return min(yes, len(self.fits) - yes) < FEWEST_DRAWS

    def ask(self, at: int, weight: np.ndarray | None = None) -> Ask:
        """Judge one candidate by the draws."""
        return ask_by_draws(
            self.candidates[at], self.fits, self.drawn_mm[at], self.confidence, weight, self.agrees_within[at]
        )


def only(field: Field, rows: list[int]) -> Field:
    """Some candidates of a field."""
    return replace(
        field,
        candidates=tuple(field.candidates[at] for at in rows),
        drawn_mm=field.drawn_mm[rows],
        agrees_within=tuple(field.agrees_within[at] for at in rows),
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
    # Once a reading is in, the check takes what it ties together as normal; so what it will say is foretold so.
    places = replace(places, host=as_normal(places.host), donor=as_normal(places.donor))
    shown = places.hosted.placed_by
    host_rows = places.host_side.readings
    candidates: list[Candidate] = []
    drawn: list[np.ndarray] = []
    for side, names, rows, near in (
        (places.donor, {feature for _, feature in pairs}, known.donor.readings, at_hand),
        (places.host, {shown.get(fixing, fixing) for fixing, _ in pairs}, host_rows, True),
    ):
        found, values = _distances(side, names, rows, near, labour_rate, count)
        candidates += found
        drawn += values
    for one, values_mm in _widths(places, trial, pairs, known.donor.readings, at_hand, labour_rate, count):
        candidates.append(one)
        drawn.append(values_mm)
    fits = fitting_draws(known, places, trial, count) if candidates else np.zeros(count, dtype=bool)
    spread = np.array(drawn) if drawn else np.zeros((0, count))
    agreeing = {side.part: _agrees_within(side) for side in (places.host, places.donor)}
    within = tuple(agreeing[one.part] if one.quantity == "centres" else None for one in candidates)
    return Field(tuple(candidates), spread, fits, findings.confidence, known.donor.part.part, within)


def _agrees_within(side: Positions) -> float | None:
    """None where the readings disagree already: then everything is widened, and one more changes little."""
    return agreement(side.chi_square, side.degrees_of_freedom) if side.agree else None


def _measured_pairs(trial: Trial) -> list[tuple[str, str]]:
    """Pairs of every pairing that counts, without those of which something needed is not known."""
    open_ = {(p.fixing, p.feature) for p in trial.answer.pairs if p.allowed_mm >= OPEN_PLAY_MM}
    shown = [(p.fixing, p.feature) for p in trial.answer.pairs]
    pairs = [*shown, *(pair for pairing in trial.answer.also_pairs for pair in pairing)]
    return [pair for pair in dict.fromkeys(pairs) if pair not in open_]


def _distances(
    side: Positions, names: set[str], rows: Sequence[Reading], at_hand: bool, labour_rate: float | None, count: int
) -> tuple[list[Candidate], list[np.ndarray]]:
    """Distances among the named features that were not read yet, or only more coarsely."""
    at = [number for number, name in enumerate(side.features) if name in names]
    if len(at) < 2:
        return [], []
    known_mm = read_already(rows)
    places_mm = draws(side, count, SEED)
    found, values = [], []
    for place, i in enumerate(at):
        for k in at[place + 1 :]:
            length_mm = float(np.linalg.norm(side.xyz_mm[i] - side.xyz_mm[k]))
            if length_mm < 1.0:
                continue
            instrument = instrument_for(length_mm, at_hand)
            error_mm = greatest_error_mm(instrument, length_mm)
            ends = side.features[i], side.features[k]
            if error_mm > FINER * known_mm.get(frozenset(ends), np.inf):
                continue
            sigma_mm = lengths.standard_uncertainty_mm(error_mm)
            effort = effort_minutes(instrument, labour_rate)
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
        sides = [(places.donor.part, feature, "donor", _donor_half_mm(feature, donor_rows), at_hand)]
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
            one = Candidate(
                part, name, "", lengths.standard_uncertainty_mm(error_mm), instrument,
                effort_minutes(instrument, labour_rate), "across",
            )  # fmt: skip
            found.append((one, width_mm + half_mm * size_errors(f"{whose} {name}", 0, count)))
    return found


def _donor_half_mm(feature: str, rows: Sequence[Reading]) -> tuple[float | None, float]:
    """The newest reading of a donor feature's width, with its greatest error; a cell is taken as exact."""
    mine = [r for r in lengths.current(rows) if r.quantity == "across" and r.from_feature == feature]
    return (lengths.value_mm(mine[-1]), lengths.greatest_error_of_mm(mine[-1])) if mine else (None, 0.0)
