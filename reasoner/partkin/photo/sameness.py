"""Can the part in a listing's photograph have the host's pattern at all? Shape without scale.

A picture of a flat face is its pattern up to a homography. Four points agree with any four; from five on
the residual tests whether some homography carries the host's pattern onto the picture. That it does is
never enough to say that the part fits: a homography takes any stretch, and size is not in a picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, permutations
from typing import Literal

import numpy as np

from partkin.model.distributions import chi_square_tail
from partkin.photo import projective
from partkin.photo.photo import lens_sigma_px

ERROR_LEVEL = 0.01
MOST_POINTS = 12
# Standard deviations within which a pick may stand for a fixing while pairings are sought.
GATE = 5.0
MOST_TRIED = 400

Answer = Literal["different", "agrees", "four points", "not tried"]


@dataclass(frozen=True)
class PhotoAnswer:
    """What a photograph without scale says about two patterns.

    `different`: no homography carries the one onto the other within the picking error; then `error_probability` says
    how often the same pattern, picked as carelessly as stated, would look at least this different, and `fixings` are a
    smallest set that shows it, () where only all together do. Where they agree, `pairs` are the fixings with their
    picks, and the distance of the two fixings `read` on the part, `host_mm` on the host, would give the size.
    `chi_square`, `degrees_of_freedom`: of the best pairing.
    """

    answer: Answer
    says: str
    error_probability: float | None = None
    fixings: tuple[str, ...] = ()
    pairs: tuple[tuple[str, str], ...] = ()
    read: tuple[str, str] | None = None
    host_mm: float | None = None
    chi_square: float | None = None
    degrees_of_freedom: int = 0


@dataclass(frozen=True, eq=False)
class _Case:
    """Host points and picks in centred units; `names` of the fixings, `level` as `error_level` of `can_match`."""

    names: tuple[str, ...]
    level: float
    plane: np.ndarray
    picture: np.ndarray
    sigma: float
    slack: np.ndarray
    turn: int | None


def can_match(
    host_mm: np.ndarray,
    picked_px: np.ndarray,
    sigma_px: float = 1.5,
    ids: Sequence[str] = (),
    picks: Sequence[str] | None = None,
    slack_mm: np.ndarray | float = 0.0,
    same_face: bool | None = None,
    lens_free: bool = False,
    error_level: float = ERROR_LEVEL,
) -> PhotoAnswer:
    """Test whether a picture can be one of the host's pattern.

    Parameters
    ----------
    host_mm, picked_px
        float64 (n, 2) and (m, 2), x right, y down: fixings of one flat face, and what was picked. Without `picks`, row
        i shows fixing i and m equals n.
    sigma_px
        Standard uncertainty of a picked coordinate; widened for the lens where it is not `lens_free`.
    ids
        Names of the fixings; counted from 1 when left out.
    picks
        Names of the picks: which shows which fixing is then not known and is sought. All of the fewer
        ones must find a partner among the more.
    slack_mm
        (n,) or one number: how far a feature may stand from its fixing and still go on, position
        uncertainty included. A pattern that differs by no more is never called different for it.
    same_face
        True: the picture shows the face that the host's coordinates are seen from; False: the other one;
        None: not known, both are allowed.
    error_level
        How often the same pattern may be called different.
    """
    host = np.array(host_mm, dtype=float).reshape(-1, 2)
    seen = np.array(picked_px, dtype=float).reshape(-1, 2)
    names = tuple(ids) if ids else tuple(str(at + 1) for at in range(len(host)))
    if picks is None and len(host) != len(seen):
        raise ValueError("without names of the picks there has to be one for each fixing, in the same order")
    if min(len(host), len(seen)) <= 4:
        return PhotoAnswer("four points", "A picture of four points agrees with any four: pick a fifth.")
    if not lens_free:
        sigma_px = float(np.hypot(sigma_px, lens_sigma_px(seen)))
    slack = np.broadcast_to(np.asarray(slack_mm, dtype=float), len(host))
    to_plane, to_picture = projective.centred(host), projective.centred(seen)
    case = _Case(
        names, error_level, projective.moved(to_plane, host), projective.moved(to_picture, seen),
        sigma_px * float(to_picture[0, 0]), slack * float(to_plane[0, 0]),
        # A face in numbers has y up, a picture y down: a true view turns the other way round.
        None if same_face is None else -1 if same_face else 1,
    )  # fmt: skip
    if picks is None:
        order = np.arange(len(host))
        return _answer(case, names, host, (order, order), _fit(case, order, order))
    return _sought(case, tuple(picks), host)


def _sought(case: _Case, picks: tuple[str, ...], host: np.ndarray) -> PhotoAnswer:
    """Answer where it is not known which pick shows which fixing: by the best of all pairings."""
    n, most = sorted((len(host), len(case.picture)))
    if most > MOST_POINTS:
        says = f"More than {MOST_POINTS} points: say which pick shows which fixing, or pick fewer."
        return PhotoAnswer("not tried", says)
    rows, found, all_tried = _best_pairing(case)
    if found is None:
        chance = min(case.level, 2.0 * n * chi_square_tail(GATE**2, 2))
        says = (
            "The patterns differ: however the picks are paired with the fixings, no view of the host's fixings looks "
            f"like this picture. {_odds(chance)}"
        )
        return PhotoAnswer("different", says, chance, case.names, degrees_of_freedom=2 * n - 8)
    told = _answer(case, picks, host, rows, found)
    if told.answer == "different" and not all_tried:
        return PhotoAnswer("not tried", "Too many ways to pair picks with fixings: say which shows which.")
    # Another pairing may fail elsewhere: with the pairing sought, only all fixings together show it.
    return replace(told, fixings=case.names) if told.answer == "different" else told


def _fit(case: _Case, host_rows: np.ndarray, seen_rows: np.ndarray) -> projective.Fits:
    """Fit one pairing, or many: rows (n,) or (b, n)."""
    first, second = np.atleast_2d(host_rows), np.atleast_2d(seen_rows)
    first = np.broadcast_to(first, second.shape) if len(first) == 1 else first
    return projective.fit(case.plane[first], case.picture[second], case.sigma, case.slack[first])


def _allowed(case: _Case, found: projective.Fits) -> np.ndarray:
    """Which fits a camera can have taken: all points before it, and the right way round."""
    good = found.in_front & np.isfinite(found.chi_square)
    return np.asarray(good if case.turn is None else good & (found.turn == case.turn))


Rows = tuple[np.ndarray, np.ndarray]


def _answer(case: _Case, picks: tuple[str, ...], host: np.ndarray, rows: Rows, found: projective.Fits) -> PhotoAnswer:
    (host_rows, seen_rows), names = rows, case.names
    dof, chi2 = 2 * len(host_rows) - 8, float(found.chi_square[0])
    chance = chi_square_tail(chi2, dof)
    if not bool(_allowed(case, found)[0]):
        # The only homographies there are could not be pictures: mirrored, or through the camera.
        mirrored = bool(found.in_front[0]) and case.turn is not None and int(found.turn[0]) != case.turn
        says = "The patterns differ: no camera could see the host's fixings in this order."
        if mirrored and chance >= case.level:
            says = "The picture shows the mirror image of the host's pattern: the other hand, or the other face."
        proof = tuple(names[at] for at in host_rows)
        return PhotoAnswer("different", says, min(chance, case.level), proof, chi_square=chi2, degrees_of_freedom=dof)
    if chance < case.level:
        proof = tuple(names[at] for at in _smallest_proof(case, rows))
        told = f"{', '.join(proof)} show it" if proof else "all fixings together show it"
        says = f"The patterns differ: no view of the host's fixings looks like this picture; {told}. {_odds(chance)}"
        return PhotoAnswer("different", says, chance, proof, chi_square=chi2, degrees_of_freedom=dof)
    pairs = tuple((names[a], picks[b]) for a, b in zip(host_rows, seen_rows, strict=True))
    a, b = max(
        combinations(host_rows.tolist(), 2),
        key=lambda two: round(float(np.linalg.norm(host[two[0]] - host[two[1]])), 6),
    )
    size_mm = float(np.linalg.norm(host[a] - host[b]))
    says = (
        f"The shape agrees as far as a picture can tell; size unknown: read {names[a]} to {names[b]}, centre to "
        f"centre, on the part ({size_mm:.1f} mm on the host)."
    )
    read = (names[a], names[b])
    return PhotoAnswer("agrees", says, None, (), pairs, read, size_mm, chi2, dof)


def _odds(chance: float) -> str:
    words = "less than 1 in 1000" if chance < 0.001 else f"about {chance:.3f}"
    return f"Chance that picking error alone makes the same pattern look this different: {words}."


def _smallest_proof(case: _Case, rows: Rows) -> list[int]:
    """Host rows of a smallest set of pairs that no homography fits; the clearest of the smallest."""
    host_rows, seen_rows = rows
    for size in range(5, len(host_rows)):
        sets = np.array(list(combinations(range(len(host_rows)), size)))
        found = _fit(case, host_rows[sets], seen_rows[sets])
        worst = int(np.argmax(found.chi_square))
        if chi_square_tail(float(found.chi_square[worst]), 2 * size - 8) < case.level / len(sets):
            return [int(host_rows[at]) for at in sets[worst]]
    return []


def _best_pairing(case: _Case) -> tuple[Rows, projective.Fits | None, bool]:
    """The pairing with the least chi-square that a camera can have seen, and whether all were tried.

    Four points of the smaller side that stand widest are laid on every four of the other; what they
    predict for the rest has to find partners within the gate.
    """
    turned = len(case.plane) > len(case.picture)
    few = case.picture if turned else case.plane
    many = case.plane if turned else case.picture
    # Those whose flattest triangle is the largest.
    fours = list(combinations(range(len(few)), 4))
    base = max(fours, key=lambda four: round(_area(few[list(four)]), 9))
    rest = [at for at in range(len(few)) if at not in base]
    tried, all_tried = _candidates(case, few, many, list(base), rest, turned)
    none = (np.zeros(0, dtype=int), np.zeros(0, dtype=int))
    if not len(tried):
        return none, None, all_tried
    order = np.array([*base, *rest])
    partner = np.argsort(order)
    sets = tried[:, partner]
    own = np.broadcast_to(np.arange(len(few)), sets.shape)
    found = _fit(case, sets, own) if turned else _fit(case, own, sets)
    chi2 = np.where(_allowed(case, found), found.chi_square, np.inf)
    best = int(np.argmin(chi2))
    if not np.isfinite(chi2[best]):
        return none, None, all_tried
    one = projective.Fits(*(getattr(found, name)[best : best + 1] for name in found.__dataclass_fields__))
    rows = (sets[best], own[best]) if turned else (own[best], sets[best])
    return rows, one, all_tried


def _candidates(
    case: _Case, few: np.ndarray, many: np.ndarray, base: list[int], rest: list[int], turned: bool
) -> tuple[np.ndarray, bool]:
    """Rows of `many` for base and rest (c, n) within the gate, nearest first; whether all are there."""
    fours = np.array(list(permutations(range(len(many)), 4)))
    fixed = np.broadcast_to(few[base], (len(fours), 4, 2))
    plane, picture = (many[fours], fixed) if turned else (fixed, many[fours])
    fine = {four: _area(many[list(four)]) > 1e-6 for four in combinations(range(len(many)), 4)}
    keep = np.array([fine[tuple(sorted(four))] for four in fours.tolist()])
    fours, plane, picture = fours[keep], plane[keep], picture[keep]
    found = projective.fit(plane, picture, case.sigma, np.zeros(plane.shape[:2]), rounds=0)
    good = _allowed(case, found)
    fours, h, plane = fours[good], found.h[good], plane[good]
    gaps = _gaps(case, h, plane, few[rest], many, turned)
    partners = []
    for four, gap in zip(fours.tolist(), gaps, strict=True):
        if (gap.min(axis=1) <= GATE**2).all():
            partners += _completed(four, gap)
    partners.sort(key=lambda one: (one[0], one[1]))
    rows = np.array([list(one[1]) for one in partners[:MOST_TRIED]], dtype=int).reshape(-1, len(few))
    return rows, len(partners) <= MOST_TRIED


def _area(four: np.ndarray) -> float:
    """Return the area of the flattest triangle of four points, doubled."""
    sides = [(three[1] - three[0], three[2] - three[0]) for three in combinations(four, 3)]
    return float(min(abs(ax * by - ay * bx) for (ax, ay), (bx, by) in sides))


def _gaps(
    case: _Case, h: np.ndarray, plane: np.ndarray, rest: np.ndarray, many: np.ndarray, turned: bool
) -> np.ndarray:
    """Squared distance (b, r, m) of partners from where the base of four expects them, in their variance."""
    b, m = len(h), len(many)
    face = np.broadcast_to(many if turned else rest, (b, m if turned else len(rest), 2))
    slack = case.slack if turned else case.slack[: len(rest)] * 0.0 + float(case.slack.max(initial=0.0))
    seen, slope, _ = projective.projected(h, face)
    _, own, _ = projective.projected(h, plane)
    j = projective.stretch(h, plane)
    widest = float(case.slack.max(initial=0.0))
    # Errors of the four picks (and slack of the four fixings, seen in the picture) as errors of h.
    noise = case.sigma**2 * np.eye(2) + widest**2 * (j @ j.transpose(0, 1, 3, 2))
    rows = own.reshape(b, 8, 9)
    square = np.concatenate([rows, h[:, None, :]], axis=1)
    back = np.linalg.inv(square)[:, :, :8].reshape(b, 9, 4, 2)
    spread = np.einsum("bkpi,bpij,blpj->bkl", back, noise, back)
    away = projective.stretch(h, face)
    size = slack if turned else np.broadcast_to(slack, face.shape[1])
    variance = np.einsum("bnik,bkl,bnjl->bnij", slope, spread, slope)
    variance = variance + case.sigma**2 * np.eye(2)
    variance = variance + (size[:, None, None] ** 2) * (away @ away.transpose(0, 1, 3, 2))
    white = projective.whitening(variance)
    other = rest if turned else many
    miss = np.einsum("bnij,bnoj->bnoi", white, other[None, None] - seen[:, :, None])
    gaps = np.einsum("bnoi,bnoi->bno", miss, miss)
    return np.asarray(gaps.transpose(0, 2, 1) if turned else gaps)


def _completed(four: list[int], gap: np.ndarray) -> list[tuple[float, tuple[int, ...]]]:
    """Every way to give the rest different partners within the gate, with its sum of squares."""
    ways: list[tuple[float, tuple[int, ...]]] = [(0.0, tuple(four))]
    for line in gap:
        ways = [
            (total + float(line[at]), (*taken, int(at)))
            for total, taken in ways
            for at in np.flatnonzero(line <= GATE**2)
            if int(at) not in taken
        ]
        ways = sorted(ways)[:64]
    return ways
