"""Which distances to ask a seller for in one message: those that tell most together, not the best ones by themselves.

Where the chance's draws go either way, each set is judged by the draws that its readings would leave believable. Where
they do not, or nothing is placed yet, by how much of what is not known of the donor's shape it would take away.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np

from partkin.positions.by_draws import look_mm
from partkin.positions.lengths import standard_uncertainty_mm
from partkin.readings.could_read import FINER, SELLER, Field, field_of, only, read_already
from partkin.readings.expected_places import ExpectedPlaces, expected_places, gradients
from partkin.readings.next_readings import LEAST_TOLD, Next, order_of
from partkin.tables.instruments import greatest_error_mm
from partkin.trial.places import as_tried

# Sets are tried all where there are no more than this; else each question is added to the best set before it.
MOST_SETS = 20_000
# Of the draws' candidates, the best so many by themselves.
MOST_TRIED = 12
# Values that a set of readings may come out at, one from each of so many draws.
MOST_VALUES = 384

Worth = Callable[[tuple[int, ...]], float]


@dataclass(frozen=True)
class Question:
    """A distance between two features of the donor, or how wide one is across (`to_feature` empty)."""

    quantity: str
    from_feature: str
    to_feature: str = ""


def asked_together(found: Next, most: int) -> tuple[Question, ...]:
    """Choose what to ask for.

    Parameters
    ----------
    found
    most
        Questions at most.

    Returns
    -------
    tuple of Question
        Of the donor alone; empty where nothing that a seller can read tells anything.
    """
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

    Examples
    --------
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
