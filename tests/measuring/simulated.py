"""Invented builds whose truth is known: a host, a donor, and what anybody would read on them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from partkin import trying
from partkin.fit.batch import batch_fits
from partkin.model.build import Feature, Part, Reading
from partkin.model.known import Known, Side
from partkin.model.trial import Trial
from partkin.tables import greatest_error_mm
from partkin.trying import Places

CONFIDENCE = 0.95


@dataclass(frozen=True, eq=False)
class Truth:
    """One invented build.

    `host_mm`, `donor_mm` (n, 2): where everything really is; `play_mm` (n,): of each pair; `known`: the sheets
    as the person begins, with a rough place of every donor hole.
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
    def pairs(self) -> list[tuple[int, int]]:
        """Every pair of donor holes, in the order of the sheet."""
        return list(combinations(range(len(self.donor_mm)), 2))

    def reading(self, pair: tuple[int, int], instrument: str = "tape") -> Reading:
        """What somebody reads between two donor holes; the same whenever it is asked for."""
        a, b = pair
        true_mm = float(np.linalg.norm(self.donor_mm[a] - self.donor_mm[b]))
        within_mm = greatest_error_mm(instrument, true_mm)
        draw = np.random.default_rng([self.seed, 7, a, b])
        value_mm = round(true_mm + float(draw.uniform(-within_mm, within_mm)), 1)
        return Reading("donor", f"r{a}.{b}", "centres", value_mm, "mm", f"a{a}", f"a{b}", instrument=instrument)


def spread(draw: np.random.Generator, count: int) -> np.ndarray:
    """Fixings of an invented panel, none nearer to another than 60 mm."""
    size = draw.uniform((250.0, 120.0), (1300.0, 450.0))
    points: list[np.ndarray] = []
    while len(points) < count:
        point = draw.uniform((0.0, 0.0), size)
        if all(np.linalg.norm(point - other) > 60.0 for other in points):
            points.append(point)
    return np.array(points)


def build(
    seed: int, count: int | None = None, rough_mm: float = 4.0, host_within_mm: float = 0.5,
    sister_mm: float = 0.3, moved_mm: tuple[float, float] = (2.0, 8.0), given: bool = True, sisters: float = 0.5,
) -> Truth:  # fmt: skip
    """One invented build.

    Half of the donors are sister parts (every hole off by `sister_mm`, one standard deviation in x and in y);
    of the others one or two holes besides were moved by the maker. The host was measured within
    `host_within_mm`; places of the donor's holes are known within `rough_mm`, as from a listing's picture.
    """
    draw = np.random.default_rng([seed, 11])
    n = int(draw.integers(4, 9)) if count is None else count
    host = spread(draw, n)
    donor = host + draw.normal(0.0, sister_mm, (n, 2))
    if draw.random() >= sisters:
        for at in draw.permutation(n)[: int(draw.integers(1, 3))]:
            way = draw.uniform(0.0, 2.0 * np.pi)
            donor[at] += draw.uniform(*moved_mm) * np.array([np.cos(way), np.sin(way)])
    turn = draw.uniform(-0.2, 0.2)
    donor = donor @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + draw.uniform(-50, 50, 2)
    play = draw.choice([0.5, 1.0, 1.5, 2.0], n)
    return of(host, donor, play, seed, rough_mm, host_within_mm, given)


def of(
    host: np.ndarray, donor: np.ndarray, play: np.ndarray, seed: int, rough_mm: float, host_within_mm: float,
    given: bool = True,
) -> Truth:  # fmt: skip
    """Write down what is known at the start of true places: studs of 6 mm, holes as wide as their play asks for."""
    draw = np.random.default_rng([seed, 13])
    studs = [
        Feature("host", f"F{at}", "stud", across_mm=6.0, plus_minus_mm=host_within_mm, need="must", **_place(point))
        for at, point in enumerate(host + draw.uniform(-host_within_mm, host_within_mm, host.shape))
    ]
    holes = [
        Feature(
            "donor", f"a{at}", "hole", across_mm=6.0 + 2.0 * float(play[at]), plus_minus_mm=rough_mm,
            goes_on=f"F{at}" if given else None, **_place(point),
        )
        for at, point in enumerate(donor + draw.uniform(-rough_mm, rough_mm, donor.shape))
    ]  # fmt: skip
    parts = (
        Part("host", origin="host", seen_from="outside", duty="trim"),
        Part("donor", origin="donor", takes_place_of="host", seen_from="outside", duty="structural"),
    )
    sides = [
        Side(part, None, tuple(rows), (), (), ()) for part, rows in zip(parts, (studs, holes), strict=True)
    ]
    return Truth(Known(sides[0], sides[1], None, (), ()), host, donor, np.asarray(play), seed)


def _place(point: np.ndarray) -> dict[str, float]:
    return {"x_mm": round(float(point[0]), 2), "y_mm": round(float(point[1]), 2)}


def with_readings(truth: Truth, pairs: Iterable[tuple[int, int]]) -> Known:
    """The sheets once these distances of the donor were read."""
    rows = tuple(truth.reading(pair) for pair in pairs)
    return replace(truth.known, donor=replace(truth.known.donor, readings=rows))


def judged(known: Known) -> tuple[Trial, Places]:
    """The trial of these sheets with the places it was made from."""
    places = trying.places_of(known)
    (trial,) = trying.trials(known, places, CONFIDENCE)
    return trial, places


def settled(trial: Trial) -> bool:
    """Whether the verdict is reached."""
    return trial.stand in ("fits", "does not")


def sheet_order(truth: Truth) -> Sequence[tuple[int, int]]:
    """Distances in the order in which the sheet lists the holes."""
    return truth.pairs
