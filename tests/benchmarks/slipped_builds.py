"""Invented builds known from distances alone, of which one reading of the donor slipped."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from partkin.model.build import Build, Feature, Part, Reading
from partkin.model.words import Hand

WITHIN_MM = 0.55
HOLE_MM, STUD_MM = 9.0, 6.0
KINDS = ("unit", "swapped digits", "10 mm", "100 mm", "wrong hole")
# What a reading is out by when nobody slipped is told from one that is out by more than this.
LEAST_SLIP_MM = 3.0


@dataclass(frozen=True)
class Slipped:
    """A build with a slip, the same without, that of a donor with one hole elsewhere, and which reading slipped how."""

    right: Build
    wrong: Build
    other: Build
    reading: str
    kind: str


def slipped(seed: int) -> Slipped:
    """One build of 4 to 6 fixings: the donor is the very same part, both read between all or some of their holes.

    Every reading is rounded to 0.1 mm and out by at most 0.55 mm; at least as many are read as fix the shape. Half of
    the builds say which hole goes on which stud, and those of odd seeds that both parts are for the left side, so that
    nobody has to say what is left and right.
    """
    draw = np.random.default_rng([seed, 1309])
    count = int(draw.integers(4, 7))
    true = _spread(draw, count)
    given = bool(draw.integers(0, 2))
    host = _read(true, "host", "F", _pairs(draw, count), draw)
    pairs = _pairs(draw, count)
    donor = _read(true, "donor", "a", pairs, draw)
    while True:
        at, kind = int(draw.integers(0, len(donor))), KINDS[int(draw.integers(0, len(KINDS)))]
        bad = _slip(donor[at], kind, true, pairs[at], draw)
        if bad is not None:
            break
    features = [Feature("host", f"F{n}", "stud", across_mm=STUD_MM, need="must") for n in range(count)]
    features += [
        Feature("donor", f"a{n}", "hole", across_mm=HOLE_MM, goes_on=f"F{n}" if given else None) for n in range(count)
    ]
    hand: Hand | None = "left" if seed % 2 else None
    parts = (
        Part("host", origin="host", seen_from="outside", duty="trim", hand=hand),
        Part("donor", origin="donor", takes_place_of="host", seen_from="outside", duty="structural", hand=hand),
    )
    right = Build(parts=parts, features=tuple(features), readings=(*host, *donor))
    wrong = replace(right, readings=(*host, *donor[:at], bad, *donor[at + 1 :]))
    moved = true.copy()
    turn = draw.uniform(0.0, 2.0 * np.pi)
    moved[int(draw.integers(0, count))] += draw.uniform(10.0, 60.0) * np.array([np.cos(turn), np.sin(turn)])
    other = replace(right, readings=(*host, *_read(moved, "donor", "a", pairs, draw)))
    return Slipped(right, wrong, other, donor[at].reading, kind)


def _spread(draw: np.random.Generator, count: int) -> np.ndarray:
    """Holes of an invented panel, none nearer to another than 60 mm, and no three nearly in line."""
    while True:
        points = draw.uniform((0.0, 0.0), draw.uniform((300.0, 150.0), (1300.0, 450.0)), (count, 2))
        apart = [np.linalg.norm(points[a] - points[b]) for a, b in combinations(range(count), 2)]
        if min(apart) > 60.0 and np.linalg.svd(points - points.mean(axis=0), compute_uv=False)[1] > 60.0:
            return points


def _pairs(draw: np.random.Generator, count: int) -> list[tuple[int, int]]:
    """Every pair, or as many as fix the shape point by point and some more, in the order in which they are read."""
    every = list(combinations(range(count), 2))
    if draw.random() < 0.3:
        return every
    order = [int(at) for at in draw.permutation(count)]
    taken = {tuple(sorted(order[:2]))}
    for place in range(2, count):
        for other in draw.choice(order[:place], 2, replace=False):
            taken.add(tuple(sorted((order[place], int(other)))))
    rest = [pair for pair in every if pair not in taken]
    more = int(draw.integers(0, len(rest) + 1))
    taken |= {rest[int(at)] for at in draw.permutation(len(rest))[:more]}
    return sorted(taken)  # type: ignore[arg-type]


def _read(
    true: np.ndarray, part: str, name: str, pairs: list[tuple[int, int]], draw: np.random.Generator
) -> list[Reading]:
    found = []
    for number, (a, b) in enumerate(pairs, start=1):
        value = float(np.linalg.norm(true[a] - true[b]) + draw.uniform(-WITHIN_MM, WITHIN_MM))
        ends = f"{name}{a}", f"{name}{b}"
        found.append(Reading(part, f"r{number}", "centres", round(value, 1), "mm", *ends, plus_minus=WITHIN_MM + 0.05))
    return found


def _slip(
    row: Reading, kind: str, true: np.ndarray, pair: tuple[int, int], draw: np.random.Generator
) -> Reading | None:
    """The reading as somebody slipped; None where this slip cannot happen to it, or would change too little."""
    value = row.value or 0.0
    if kind == "unit":
        unit, size = (("cm", 10.0), ("in", 25.4))[int(draw.integers(0, 2))]
        # Read in one and taken down as the other, either way.
        if draw.integers(0, 2):
            return replace(row, unit=unit, plus_minus=(row.plus_minus or 0.0) / size)
        return replace(row, value=round(value / size, 1))
    if kind == "swapped digits":
        text = f"{value:.1f}"
        places = [at for at in range(len(text) - 1) if text[at].isdigit() and text[at + 1].isdigit()]
        places = [at for at in places if text[at] != text[at + 1] and not (at == 0 and text[1] == "0")]
        if not places:
            return None
        at = places[int(draw.integers(0, len(places)))]
        bad = float(text[:at] + text[at + 1] + text[at] + text[at + 2 :])
    elif kind == "wrong hole":
        others = [n for n in range(len(true)) if n not in pair]
        instead = others[int(draw.integers(0, len(others)))]
        stays = pair[int(draw.integers(0, 2))]
        bad = float(np.linalg.norm(true[stays] - true[instead]) + draw.uniform(-WITHIN_MM, WITHIN_MM))
    else:
        mark = 10.0 if kind == "10 mm" else 100.0
        bad = value + (mark if draw.integers(0, 2) or value <= mark + 20.0 else -mark)
    return replace(row, value=round(bad, 1)) if abs(bad - value) > LEAST_SLIP_MM else None
