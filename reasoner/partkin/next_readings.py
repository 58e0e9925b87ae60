"""Which readings would settle a verdict that could still go either way, best first, and what each value means.

The draws are those that the chance is taken from, so correlations, play and equally good pairings count: each
draw knows whether the donor goes on in it, and what any reading would come out at. A reading is worth the share
of what is open that it is expected to close, for what it costs to get.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from partkin.fit.arrays import PlanePairs
from partkin.fit.minimax import best_placement
from partkin.model.build import Reading
from partkin.model.positions import Positions
from partkin.model.reasons import Unknown
from partkin.model.trial import Trial
from partkin.positions import draws, lengths
from partkin.positions.budget import covariance_mm2 as covariance_mm2
from partkin.positions.by_draws import agreement, ask_by_draws, told_by_each, weight_between
from partkin.positions.next_reading import Ask, Candidate
from partkin.positions.next_reading import next_readings as by_margin
from partkin.positions.sampling import as_normal
from partkin.positions.wording import meaning, named
from partkin.reading_costs import SELLER, effort_minutes, instrument_for, reading_costs
from partkin.tables import greatest_error_mm
from partkin.trying import SEED, Places, fitting_draws, in_layouts, size_errors
from partkin.verdict import Findings

MOST_ASKED = 3
DRAWS = 2048
# What is read next where a reading leaves the verdict open is looked for among so many of the best.
MOST_FOLLOWED = 12
OPEN_PLAY_MM = 1.0e4
# A reading at least this much finer than what is known already is worth taking again.
FINER = 0.8
# Below this share of what is open a reading is not worth a person's time.
LEAST_TOLD = 0.005
# Where fewer draws than this go either way they cannot rank, and the margin does.
FEWEST_DRAWS = 20


@dataclass(frozen=True)
class Wanted:
    """A reading worth taking.

    `ask`: what it is expected to do and what its values mean; `then`: what to read where it leaves the verdict
    open. `minutes`, `price`: what it costs to get. `says`: in one sentence.
    """

    ask: Ask
    minutes: float
    price: float
    says: str
    then: Candidate | None = None

    @property
    def reading(self) -> Candidate:
        """What is read."""
        return self.ask.candidate


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

    def ask(self, at: int, weight: np.ndarray | None = None) -> Ask:
        """Judge one candidate by the draws."""
        return ask_by_draws(
            self.candidates[at], self.fits, self.drawn_mm[at], self.confidence, weight, self.agrees_within[at]
        )


def open_readings(findings: Findings, places: Places) -> tuple[Unknown, ...]:
    """What the verdict asks for: the readings that would settle it, or one that would tell a "does not" apart.

    A donor is said not to fit where few of the ways that its readings may be out let it go on. Where even the
    same part, read as coarsely, would often look so, that is said with the reading that would tell most.
    """
    trial = findings.trial
    if trial is None or trial.stand not in ("unsure", "does not"):
        return ()
    if trial.stand == "unsure":
        return settling(findings, places)
    from partkin.coarse import same_would

    if trial.chance is None or trial.chance.draws == 0 or any(not s.left_out for s in findings.suspects):
        return ()
    share = same_would(trial, in_layouts(places, trial.layouts))
    if share is None or share <= 1.0 - findings.confidence:
        return ()
    best = wanted(findings, places, 1)
    says = (
        f"the readings are coarse for the play there is: a part with its holes exactly right, read like this, would "
        f"look as bad in {round(100 * share)} of 100 cases"
    )
    if not best:
        return (Unknown("coarse readings", f"{says}; read it again more finely before you let it go"),)
    one = as_unknown(best[0])
    return (replace(one, says=f"{says}; before you let it go, {one.says}"),)


def settling(findings: Findings, places: Places) -> tuple[Unknown, ...]:
    """The readings that are expected to settle most of what is open, best first, as the verdict lists them."""
    return tuple(as_unknown(one) for one in wanted(findings, places))


def as_unknown(one: Wanted) -> Unknown:
    """A wanted reading as an open question of the verdict."""
    it = one.reading
    ends = f"{it.from_feature} to {it.to_feature}" if it.to_feature else it.from_feature
    what = f"{ends} of {it.part}" if it.quantity == "centres" else f"{it.quantity} of {ends} of {it.part}"
    return Unknown(what, one.says, it.part, it.quantity, it.from_feature, it.to_feature or None)


def wanted(
    findings: Findings, places: Places, most: int = MOST_ASKED, at_hand: bool | None = None,
    labour_rate: float | None = None, count: int = DRAWS,
) -> tuple[Wanted, ...]:  # fmt: skip
    """Rank what could be read on either part.

    Parameters
    ----------
    findings
        With a trial that has pairs.
    places
    most
        How many to return.
    at_hand
        Whether the donor lies before you; None: told by its readings (`donor_at_hand`).
    labour_rate
        Turns prices into minutes; None: prices do not count.
    count
        Draws.

    Returns
    -------
    tuple of Wanted
        Best first; empty where nothing that can be read tells anything.
    """
    trial = findings.trial
    if trial is None or not trial.answer.pairs:
        return ()
    here = in_layouts(places, trial.layouts)
    on_bench = donor_at_hand(findings.known.donor.readings) if at_hand is None else at_hand
    field = field_of(findings, here, trial, on_bench, labour_rate, count)
    if not field.candidates:
        return ()
    return best_of(field, here, trial, most)


def best_of(field: Field, places: Places, trial: Trial, most: int) -> tuple[Wanted, ...]:
    """The best readings of a field: by its draws, or by the margin where hardly a draw goes one of the two ways."""
    return _by_margin(field, places, trial, most) if _one_way(field) else ranked(field, most)


def together(findings: Findings, places: Places, most: int) -> tuple[Wanted, ...]:
    """Readings of the donor to ask a seller for at once: each worth most where those before it left it open."""
    trial = findings.trial
    if trial is None or not trial.answer.pairs:
        return ()
    here = in_layouts(places, trial.layouts)
    whole = field_of(findings, here, trial, at_hand=False)
    field = only(whole, [at for at, one in enumerate(whole.candidates) if one.part == whole.donor])
    if not field.candidates:
        return ()
    if _one_way(field):
        return _by_margin(field, here, trial, most)
    found: list[Wanted] = []
    weight = np.ones(len(field.fits))
    while len(found) < most:
        asked = [one.reading for one in found]
        at = next((at for at in _order(field, weight) if field.candidates[at] not in asked), None)
        if at is None:
            break
        ask = field.ask(at, weight)
        found.append(_wanted(ask, field.donor, None))
        weight = weight * weight_between(ask, field.drawn_mm[at])
        if weight.sum() < FEWEST_DRAWS:
            break
    return tuple(found)


def _one_way(field: Field) -> bool:
    """Whether hardly any draw goes one of the two ways."""
    yes = int(np.count_nonzero(field.fits))
    return min(yes, len(field.fits) - yes) < FEWEST_DRAWS


def ranked(field: Field, most: int, weight: np.ndarray | None = None) -> tuple[Wanted, ...]:
    """The best of the field with their thresholds, and what to read where each leaves it open."""
    found = []
    order = _order(field, weight)
    near = only(field, order[:MOST_FOLLOWED])
    for at in order[:most]:
        one = field.candidates[at]
        ask = field.ask(at, weight)
        between = weight_between(ask, field.drawn_mm[at]) * (1.0 if weight is None else weight)
        after = _order(near, between) if between.sum() > FEWEST_DRAWS else []
        then = next((near.candidates[other] for other in after if near.candidates[other] != one), None)
        found.append(_wanted(ask, field.donor, then))
    return tuple(found)


def only(field: Field, rows: list[int]) -> Field:
    """Some candidates of a field."""
    return replace(
        field,
        candidates=tuple(field.candidates[at] for at in rows),
        drawn_mm=field.drawn_mm[rows],
        agrees_within=tuple(field.agrees_within[at] for at in rows),
    )


def _order(field: Field, weight: np.ndarray | None) -> list[int]:
    told = told_by_each(field.candidates, field.fits, field.drawn_mm, weight)
    keys = [
        (-round(float(tells) / one.effort, 6), one.part, one.from_feature, one.to_feature)
        for one, tells in zip(field.candidates, told, strict=True)
    ]
    worth = [at for at in range(len(keys)) if told[at] >= LEAST_TOLD]
    return sorted(worth, key=keys.__getitem__)


def _wanted(ask: Ask, donor: str, then: Candidate | None) -> Wanted:
    cost = reading_costs()[ask.candidate.instrument or SELLER]
    return Wanted(ask, cost.minutes, cost.price, sentence(ask, donor, then), then)


def sentence(ask: Ask, donor: str, then: Candidate | None = None) -> str:
    """Say what to read and which values mean what."""
    one = ask.candidate
    said = meaning(ask.bands, 2 if one.quantity == "across" else 1)
    head = f"{_how(one)} {_whose(one)}"
    if not said:
        told = f"it tells {_share(ask.tells)} of what is open" if ask.tells is not None else "it tells most"
        return f"{head}: no value of it settles the verdict alone, but {told}"
    if then is None or not any(band.answer == "between" for band in ask.bands):
        return f"{head}: {said}"
    ends = f"{then.from_feature} to {then.to_feature}" if then.to_feature else named(then)
    other = "" if then.part == one.part else f" of {then.part}"
    return f"{head}: {said}; between, {_verb(then)} {ends}{other}"


def _share(tells: float) -> str:
    """A share in words that promise no more than the draws know.

    Examples
    --------
    >>> _share(0.024), _share(0.37)
    ('a little (2 %)', '37 %')
    """
    return f"{100 * tells:.0f} %" if tells >= 0.1 else f"a little ({max(1, round(100 * tells))} %)"


def _verb(one: Candidate) -> str:
    return "ask for" if one.instrument == SELLER else "read"


def _how(one: Candidate) -> str:
    return "ask the seller for" if one.instrument == SELLER else "read"


def _whose(one: Candidate) -> str:
    if one.quantity == "across":
        return f"how wide {one.from_feature} of {one.part} is across"
    return f"{one.from_feature} to {one.to_feature} of {one.part}, centre to centre"


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
    count: int = DRAWS,
) -> Field:  # fmt: skip
    """List what could be read on either part, with its value in each draw."""
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
    known_mm = _read_already(rows)
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


def _read_already(rows: Sequence[Reading]) -> dict[frozenset[str | None], float]:
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
    for fixing, feature in pairs:
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


def _by_margin(field: Field, places: Places, trial: Trial, most: int) -> tuple[Wanted, ...]:
    """Rank by how far each narrows the margin: where hardly a draw goes one way, draws cannot."""
    if trial.task.dims != 2 or trial.answer.margin_mm is None:
        return ()
    host_pull, donor_pull = forces(trial)
    shown = {places.hosted.placed_by.get(fixing, fixing): pull for fixing, pull in host_pull.items()}
    sides = [(places.donor, _gradient(places.donor, donor_pull)), (places.host, _gradient(places.host, shown))]
    distances = [one for one in field.candidates if one.quantity == "centres"]
    asks = by_margin(sides, trial.answer.margin_mm, distances, field.confidence)
    order = sorted(range(len(asks)), key=lambda at: -round(asks[at].drop_mm2 / asks[at].candidate.effort, 9))
    best = [replace(asks[at], bands=()) for at in order if asks[at].drop_mm2 > 1e-9]
    if not best:
        # Patterns that lie exactly on each other have no direction in which the margin falls: the widest first.
        spread = dict(zip(field.candidates, field.drawn_mm.std(axis=1), strict=True))
        widest = sorted(asks, key=lambda ask: -round(float(spread[ask.candidate]) / ask.candidate.effort, 9))
        best = [replace(ask, bands=()) for ask in widest]
    return tuple(_wanted(ask, field.donor, None) for ask in best[:most])


def _gradient(positions: Positions, pulls: dict[str, np.ndarray]) -> np.ndarray:
    gradient = np.zeros_like(positions.xyz_mm)
    for number, name in enumerate(positions.features):
        if name in pulls:
            gradient[number, :2] = pulls[name]
    return gradient


def forces(trial: Trial) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """How the least margin changes when a fixing, or a donor feature, moves: (2,) each, in its own frame.

    They are the balanced forces at the best placement.
    """
    pairs = [(p.fixing, p.feature) for p in trial.answer.pairs if p.allowed_mm < OPEN_PLAY_MM]
    placed = best_placement(PlanePairs.of(trial.task, pairs))
    c, s = np.cos(placed.turn_rad), np.sin(placed.turn_rad)
    back = np.array([[c, s], [-s, c]])
    mirror = np.array([-1.0 if trial.mirrored else 1.0, 1.0])
    host = {fixing: weight for (fixing, _), weight in zip(pairs, placed.weights, strict=True)}
    donor = {feature: -(back @ weight) * mirror for (_, feature), weight in zip(pairs, placed.weights, strict=True)}
    return host, donor
