"""Invented builds whose truth is known: a host, a donor, and what anybody would read on them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from partkin.fit.batch import batch_fits
from partkin.model.build import Feature, Part, Reading
from partkin.model.known import Known, Side
from partkin.model.verdict import Trial, Unknown
from partkin.positions.budget import covariance_mm2, length_row
from partkin.positions.next_reading import Candidate
from partkin.readings import next_readings
from partkin.readings.could_read import instrument_for
from partkin.tables.instruments import greatest_error_mm, making
from partkin.trial import trying
from partkin.trial.findings import Findings
from partkin.trial.trying import Places

CONFIDENCE = 0.95
PLAYS_MM = (1.0, 1.5, 2.0, 2.5)
Pair = tuple[int, int]


@dataclass(frozen=True, eq=False)
class Truth:
    """One invented build.

    `host_mm`, `donor_mm` (n, 2): where everything really is; `play_mm` (n,): of each pair; `known`: the sheets
    as the person begins.
    """

    known: Known
    host_mm: np.ndarray
    donor_mm: np.ndarray
    play_mm: np.ndarray
    seed: int

    @property
    def goes_on(self) -> bool:
        """Whether the donor really goes on."""
        return bool(batch_fits(self.host_mm[None], self.donor_mm[None], self.play_mm[None])[0])

    @property
    def pairs(self) -> list[Pair]:
        """Every pair of donor holes, in the order of the sheet."""
        return list(combinations(range(len(self.donor_mm)), 2))

    def reading(self, pair: Pair) -> Reading:
        """What somebody reads between two donor holes on the bench; the same whenever it is asked for."""
        a, b = pair
        true_mm = float(np.linalg.norm(self.donor_mm[a] - self.donor_mm[b]))
        instrument = instrument_for(true_mm, at_hand=True)
        within_mm = greatest_error_mm(instrument, true_mm)
        draw = np.random.default_rng([self.seed, 7, a, b])
        value_mm = true_mm + float(draw.uniform(-within_mm, within_mm))
        return Reading("donor", f"r{a}.{b}", "centres", value_mm, "mm", f"a{a}", f"a{b}", instrument=instrument)

    def side(self, asked: Unknown) -> Reading:
        """What somebody sees who is asked whether a donor hole is left or right of the line through two others."""
        line = (asked.to_feature or "").split()
        a, b, c = (self.donor_mm[int(name[1:])] for name in (*line, asked.from_feature))
        (bx, by), (cx, cy) = b - a, c - a
        quantity = "left of" if bx * cy - by * cx > 0.0 else "right of"
        return Reading("donor", "s1", quantity, None, None, asked.from_feature, line_from=line[0], line_to=line[1])


def spread(draw: np.random.Generator, count: int) -> np.ndarray:
    """Fixings of an invented panel, none nearer to another than 60 mm."""
    size = draw.uniform((300.0, 150.0), (1300.0, 450.0))
    points: list[np.ndarray] = []
    while len(points) < count:
        point = draw.uniform((0.0, 0.0), size)
        if all(np.linalg.norm(point - other) > 60.0 for other in points):
            points.append(point)
    return np.array(points)


def build(
    seed: int,
    holes: tuple[int, int] = (4, 9),
    rough_mm: float = 1.0,
    host_within_mm: float = 0.5,
    sisters: float = 0.5,
    given: bool = True,
) -> Truth:
    """One invented build.

    Of the donors, the share `sisters` has every hole where the fixing is but for the maker's spread (0.3 mm, one
    standard deviation in x and in y); of the others one or two holes besides were moved by 1 to 6 mm. The host was
    measured within `host_within_mm`; places of the donor's holes are known within `rough_mm`.
    """
    draw = np.random.default_rng([seed, 11])
    n = int(draw.integers(holes[0], holes[1] + 1))
    host = spread(draw, n)
    donor = host + draw.normal(0.0, 0.3, (n, 2))
    if draw.random() >= sisters:
        for at in draw.permutation(n)[: int(draw.integers(1, 3))]:
            way = draw.uniform(0.0, 2.0 * np.pi)
            donor[at] += draw.uniform(1.0, 6.0) * np.array([np.cos(way), np.sin(way)])
    turn = draw.uniform(-0.2, 0.2)
    donor = donor @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return of(host, donor, draw.choice(PLAYS_MM, n), seed, rough_mm, host_within_mm, given)


def of(
    host: np.ndarray,
    donor: np.ndarray,
    play: np.ndarray,
    seed: int,
    rough_mm: float,
    host_within_mm: float,
    given: bool = True,
) -> Truth:
    """Write down what is known at the start of true places: studs of 6 mm, holes as wide as their play asks for."""
    draw = np.random.default_rng([seed, 13])
    studs = [
        Feature("host", f"F{at}", "stud", across_mm=6.0, plus_minus_mm=host_within_mm, need="must", **_place(point))
        for at, point in enumerate(host + draw.uniform(-host_within_mm, host_within_mm, host.shape))
    ]
    holes = [
        Feature(
            "donor",
            f"a{at}",
            "hole",
            across_mm=6.0 + 2.0 * float(play[at]),
            plus_minus_mm=rough_mm,
            goes_on=f"F{at}" if given else None,
            **_place(point),
        )
        for at, point in enumerate(donor + draw.uniform(-rough_mm, rough_mm, donor.shape))
    ]
    parts = (
        Part("host", origin="host", seen_from="outside", duty="trim", airbag=False),
        Part("donor", origin="donor", takes_place_of="host", seen_from="outside", duty="structural"),
    )
    sides = [Side(part, None, tuple(rows), (), (), ()) for part, rows in zip(parts, (studs, holes), strict=True)]
    return Truth(Known(sides[0], sides[1], None, (), ()), host, donor, np.asarray(play), seed)


def _place(point: np.ndarray) -> dict[str, float]:
    return {"x_mm": float(point[0]), "y_mm": float(point[1])}


def with_readings(truth: Truth, pairs: Iterable[Pair]) -> Known:
    """The sheets once these distances of the donor were read."""
    rows = tuple(truth.reading(pair) for pair in pairs)
    return replace(truth.known, donor=replace(truth.known.donor, readings=rows))


def judged(known: Known) -> tuple[Findings, Places]:
    """What a check finds out of these sheets, before words and work, with the places it rests on."""
    places = trying.places_of(known)
    trials = trying.trials(known, places, CONFIDENCE)
    findings = Findings(
        known, CONFIDENCE, "host",
        trials=trials,
        suspects=(*places.suspects, *trying.looks_in_doubt(known, places, trials)),
        sides=trying.side_questions(places),
        layouts_left_out=trying.layouts_left_out(places),
    )  # fmt: skip
    return findings, places


def settled(findings: Findings, places: Places) -> bool:
    """Whether the verdict is reached and asks for no reading: not even because the readings are coarse."""
    trial = trial_of(findings)
    if findings.face_open or trial.stand not in ("fits", "does not"):
        return False
    return not next_readings.open_readings(findings, places)


def by_verdict(findings: Findings, places: Places, taken: list[Pair]) -> Pair | None:
    """What measure-next puts first on the donor, which lies on the bench."""
    trial = findings.trial
    assert trial is not None
    field = next_readings.field_of(findings, places, trial, at_hand=True)
    rows = [at for at, one in enumerate(field.candidates) if one.part == "donor" and ends(one) not in taken]
    found = next_readings.best_of(next_readings.only(field, rows), places, trial, 1)
    return ends(found[0].reading) if found else None


def by_coordinates(places: Places, taken: list[Pair]) -> Pair | None:
    """What shrinks the sum of the coordinates' variances most (A-optimal), whatever the verdict hangs on."""
    donor = places.donor
    covariance = covariance_mm2(donor)
    best: tuple[float, Pair] | None = None
    for a, b in combinations(range(len(donor.features)), 2):
        pair = (int(donor.features[a][1:]), int(donor.features[b][1:]))
        if pair in taken:
            continue
        row = length_row(donor, a, b)
        length_mm = float(np.linalg.norm(donor.xyz_mm[a] - donor.xyz_mm[b]))
        sigma_mm = greatest_error_mm(instrument_for(length_mm, at_hand=True), length_mm) / np.sqrt(3.0)
        felt = covariance @ row
        drop = float(felt @ felt) / (sigma_mm**2 + float(row @ felt))
        if best is None or drop > best[0] + 1e-12:
            best = (drop, pair)
    return best[1] if best else None


def ends(one: Candidate) -> Pair:
    """Hole numbers of a candidate."""
    return int(one.from_feature[1:]), int(one.to_feature[1:])


@dataclass(frozen=True)
class Story:
    """One build measured until its verdict is reached.

    `readings`: how many distances were taken; None: even all pairs do not settle it. `stand`: of the trial at the end.
    `looks`: how often somebody was asked what is left and right.
    """

    readings: int | None
    stand: str
    goes_on: bool
    all_pairs: int
    looks: int = 0

    @property
    def share(self) -> float:
        """Distances taken, of all pairs."""
        return (self.all_pairs if self.readings is None else self.readings) / self.all_pairs

    @property
    def wrong(self) -> bool:
        """Whether a verdict was reached and is not so."""
        return self.readings is not None and (self.stand == "fits") != self.goes_on


def measured(truth: Truth, how: str) -> Story:
    """Read one distance after another: `verdict`, `sheet` order or `coordinates` says which comes next."""
    taken: list[Pair] = []
    while True:
        findings, places = judged(with_readings(truth, taken))
        assert findings.trial is not None
        done = settled(findings, places)
        if done or len(taken) == len(truth.pairs):
            count = len(taken) if done else None
            return Story(count, findings.trial.stand, truth.goes_on, len(truth.pairs))
        rest = [pair for pair in truth.pairs if pair not in taken]
        found: Pair | None = rest[0]
        if how == "verdict":
            found = by_verdict(findings, places, taken)
        elif how == "coordinates":
            found = by_coordinates(places, taken)
        taken.append(found or rest[0])


def open_builds(count: int, first: int = 0, **how: object) -> list[Truth]:
    """Builds whose verdict is open at the start."""
    found: list[Truth] = []
    seed = first
    while len(found) < count:
        truth = build(seed, **how)  # type: ignore[arg-type]
        if not settled(*judged(truth.known)):
            found.append(truth)
        seed += 1
    return found


def trial_of(findings: Findings) -> Trial:
    """The trial that the verdict speaks of."""
    assert findings.trial is not None
    return findings.trial


def made_of(draw: np.random.Generator, plate: np.ndarray, one_drawing: float, only: int | None = None) -> np.ndarray:
    """A donor as the chance takes parts to come about, of one drawing so often.

    Of the others one hole (`only` 0), two, a group side by side or all are elsewhere.
    """
    how, n = making(), len(plate)
    made = plate + draw.normal(0.0, how.scatter_mm, plate.shape)
    if draw.random() < one_drawing:
        return made
    shares = np.array([how.one_hole, how.two_holes, how.group if n > 3 else 0.0, how.all_holes])
    kind, spread = draw.choice(4, p=shares / shares.sum()), draw.choice(how.spreads_mm)
    kind = kind if only is None else only
    if kind == 2:
        near = np.argsort(np.linalg.norm(plate - plate[draw.integers(n)], axis=1))
        made[near[: int(draw.integers(2, n // 2 + 1))]] += draw.normal(0.0, spread, 2)
        return made
    moved = draw.permutation(n)[: (1, 2, 0, n)[kind]]
    made[moved] += draw.normal(0.0, spread, (len(moved), 2))
    return made


def anyhow(seed: int, within_mm: float = 0.5) -> Truth:
    """A build whose donor comes about as the chance takes for granted.

    Half of the donors are known by coordinates, half by every distance between their holes and by coordinates to 3 mm
    that tell which way round they are.
    """
    draw = np.random.default_rng([seed, 17])
    n = int(draw.integers(3, 6))
    host = spread(draw, n)
    donor = made_of(draw, host, 0.5)
    turn = draw.uniform(-np.pi, np.pi)
    donor = donor @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    play = draw.choice((0.3, 0.4, 0.5, 0.6), n)
    by_distances = bool(seed % 2)
    truth = of(host, donor, play, seed, 3.0 if by_distances else within_mm, within_mm)
    if not by_distances:
        return truth
    return replace(truth, known=with_readings(truth, truth.pairs))


def near(truth: Truth, reach_mm: float = 1.0) -> bool:
    """Whether what was read comes within `reach_mm` of going on: seen in the readings alone, the truth unlooked at."""
    places = trying.places_of(truth.known)
    donor = places.donor.xyz_mm[None]
    return bool(batch_fits(places.host.xyz_mm[None], donor, (truth.play_mm + reach_mm)[None])[0])


def near_builds(count: int) -> list[Truth]:
    """Builds of `anyhow` that are read to come near to going on: of the others all are said not to, and do not."""
    found: list[Truth] = []
    seed = 0
    while len(found) < count:
        truth = anyhow(seed)
        if near(truth):
            found.append(truth)
        seed += 1
    return found


def said_and_happened(truth: Truth) -> tuple[float, bool]:
    """The chance that a check states, and whether the donor really goes on."""
    findings, _ = judged(truth.known)
    chance = trial_of(findings).chance
    assert chance is not None
    return chance.fits, truth.goes_on


def calibration(said: np.ndarray, happened: np.ndarray, bins: int = 10) -> tuple[float, list[tuple[int, float, float]]]:
    """Expected calibration error over bins of equal width, and (count, mean said, share that happened) of each.

    The error is the mean over all cases of how far what was said in a bin is from what happened there.
    """
    place = np.minimum((said * bins).astype(int), bins - 1)
    rows, error = [], 0.0
    for at in range(bins):
        inside = place == at
        count = int(inside.sum())
        told, came = (float(said[inside].mean()), float(happened[inside].mean())) if count else (0.0, 0.0)
        rows.append((count, told, came))
        error += count / len(said) * abs(told - came)
    return error, rows


def bare(truth: Truth) -> Truth:
    """The same build before anything of the donor is measured."""
    holes = tuple(replace(hole, x_mm=None, y_mm=None, plus_minus_mm=None) for hole in truth.known.donor.features)
    return replace(truth, known=replace(truth.known, donor=replace(truth.known.donor, features=holes)))


def measured_from_nothing(truth: Truth) -> Story:
    """Read what the verdict asks for first, from a bare donor on."""
    known, taken, seen = bare(truth).known, [], []
    most = 2 * len(truth.pairs)
    while True:
        rows = tuple(truth.reading(pair) for pair in taken)
        known = replace(known, donor=replace(known.donor, readings=(*rows, *seen)))
        findings, places = judged(known)
        trial = trial_of(findings)
        done = settled(findings, places)
        if done or len(taken) + len(seen) >= most:
            count = len(taken) if done else None
            return Story(count, trial.stand, truth.goes_on, len(truth.pairs), len(seen))
        asked = _asked_first(findings, places, taken)
        if isinstance(asked, Unknown):
            seen.append(replace(truth.side(asked), reading=f"s{len(seen)}"))
        elif asked is None:
            rest = [pair for pair in truth.pairs if pair not in taken]
            if not rest:
                return Story(None, trial.stand, truth.goes_on, len(truth.pairs))
            taken.append(rest[0])
        else:
            taken.append(asked)


def _asked_first(findings: Findings, places: Places, taken: list[Pair]) -> Pair | Unknown | None:
    """The first distance on the donor that is asked for, or the question what is left and right."""
    from partkin.readings import untied
    from partkin.verdict.unknowns import unknowns

    trial = trial_of(findings)
    if trial.stand in ("unsure", "does not") and not findings.face_open:
        return by_verdict(findings, places, taken)
    for one in unknowns(untied.fewest(findings, places), "not enough measured"):
        if one.quantity == "left of":
            return one
        if one.quantity == "centres" and one.from_feature and one.to_feature:
            pair = (int(one.from_feature[1:]), int(one.to_feature[1:]))
            pair = (min(pair), max(pair))
            if pair not in taken:
                return pair
    return None


def _once_read(truth: Truth, it: Candidate, value_mm: float) -> str:
    """How the verdict stands once a value was read; a value that looks like a slip is read a second time."""
    row = Reading("donor", "asked", "centres", value_mm, "mm", it.from_feature, it.to_feature, instrument=it.instrument)
    for rows in ((row,), (row, replace(row, reading="again"))):
        after, _ = judged(replace(truth.known, donor=replace(truth.known.donor, readings=rows)))
        if "asked" not in {suspect.reading for suspect in after.suspects}:
            break
    return "open" if after.face_open else trial_of(after).stand


def promised(truth: Truth, most: int = 3) -> tuple[int, int]:
    """Take values from what the best readings are said to mean: how many were tried, how many came out so.

    Of each range of values that settles the verdict, one near either end and the middle one.
    """
    findings, places = judged(truth.known)
    tried = held = 0
    for one in next_readings.wanted(findings, places, most, at_hand=True):
        it = one.reading
        if it.part != "donor":
            continue
        for band in one.ask.bands:
            if band.answer not in ("bolts on", "does not") or band.from_mm is None or band.to_mm is None:
                continue
            for share in (0.05, 0.5, 0.95):
                value_mm = round(band.from_mm + share * (band.to_mm - band.from_mm), 1)
                tried += 1
                held += _once_read(truth, it, value_mm) == {"bolts on": "fits", "does not": "does not"}[band.answer]
    return tried, held
