"""Start values for distance networks: which points hang together, and every layout that may be meant."""

from __future__ import annotations

import math

import numpy as np

from partkin.model.distributions import chi_square_quantile
from partkin.positions.network import AdjustedNetwork, Network, median, solve
from partkin.positions.sides import beside_line_mm

# Rough layouts that are kept on the way: so many of the best, and all that are near the best one (nothing
# has told them apart yet) up to a limit.
BEAM = 60
NEAR = 50.0
WIDE_BEAM = 2048
# A rough layout this many times worse than the best one is not worth adjusting.
HOPELESS = 100.0
# So many standard deviations beside a line a point counts as left or right of it; and what it costs to be on the other
# side than was seen: more than being near the best layout allows.
CLEARLY = 10.0
PUT_BACK = 2.0 * NEAR
REFINED = 64
SCATTERED = 160
POLISHED = 8
# Seeds of the draws below; they only choose generic positions and start values.
GENERIC_SEED = 20_240_601


def firm_points(network: Network) -> np.ndarray:
    """Return the point numbers (ascending) of the largest group that its distances hold in shape.

    Two or more points with coordinates form one group by themselves, and those that distances tie to
    them belong to it. Decided at random coordinates: what the pattern of readings can do at best
    (generic rigidity), so that lengths which do not agree do not matter.
    """
    k = network.size[0]
    if k <= 1:
        return np.arange(k)
    held = _held_pairs(network)
    given = np.flatnonzero(network.placed)
    if len(given) >= 2:
        return np.flatnonzero(held[given].all(axis=0))
    best = given if len(given) else np.zeros(1, dtype=int)
    for a, b in zip(*np.nonzero(np.triu(held, 1)), strict=True):
        group = np.flatnonzero(held[a] & held[b])
        if len(group) > len(best):
            best = group
    return best


def _held_pairs(network: Network) -> np.ndarray:
    """bool (k, k): pairs whose distance cannot change while every reading holds."""
    k, d = network.size
    xyz = np.random.default_rng(GENERIC_SEED).uniform(-1.0, 1.0, (k, d))
    m = len(network.edges)
    rows = np.zeros((m + int(network.seen.sum()), k * d))
    apart = xyz[network.edges[:, 0]] - xyz[network.edges[:, 1]]
    at = np.arange(m)[:, None]
    rows[at, network.edges[:, :1] * d + np.arange(d)] = apart
    rows[at, network.edges[:, 1:] * d + np.arange(d)] = -apart
    rows[m + np.arange(len(rows) - m), np.flatnonzero(network.seen.ravel())] = 1.0
    _, size, axes = np.linalg.svd(rows, full_matrices=True)
    reach = np.zeros(k * d)
    reach[: len(size)] = size
    moves = axes[reach < 1e-9].reshape(-1, k, d)
    change = np.einsum("abc,labc->abl", xyz[:, None] - xyz[None], moves[:, :, None] - moves[:, None])
    return np.asarray(np.abs(change).max(axis=2, initial=0.0) < 1e-8)


def layouts(network: Network) -> list[AdjustedNetwork]:
    """Return every layout that the beam finds, adjusted, the best chi-square first.

    All points have to hang together (`firm_points`). Mirror images of the whole are left out where no
    stated coordinates tell them apart.
    """
    if network.placed.all():
        return [solve(network, network.seen_mm)]
    tried = [solve(network, start_mm, cautious=True) for start_mm in _starts(network)]
    found: list[AdjustedNetwork] = []
    for solution in sorted(tried, key=lambda solution: round(solution.chi_square, 6)):
        if not any(_same(network, solution, known) for known in found):
            found.append(solution)
    return found


def straightened(network: Network, solution: AdjustedNetwork) -> AdjustedNetwork | None:
    """Return the layout with all points in one line, where the readings allow that as well.

    Noise turns a straight row into a shallow zigzag: its distances do not tell on which side of the line
    a point stands, nor whether it does. The straight row is the middle of all that they allow.
    """
    xyz_mm = solution.xyz_mm
    if network.seen.any():
        return None
    centred = xyz_mm - xyz_mm.mean(axis=0)
    _, size, axes = np.linalg.svd(centred, full_matrices=False)
    wide_mm = 3.0 * math.sqrt(float(network.length_mm.max()) * median(network.sigma_mm))
    if size[1] / math.sqrt(len(xyz_mm)) > wide_mm:
        return None
    straight = np.zeros_like(xyz_mm)
    straight[:, 0] = centred @ axes[0]
    # Distances pull along the line alone: what starts straight stays so.
    found = solve(network, straight)
    return found if found.chi_square <= chi_square_quantile(0.99, found.degrees_of_freedom) else None


def _same(network: Network, a: AdjustedNetwork, b: AdjustedNetwork) -> bool:
    """Whether two layouts are one, up to a rigid move or (without a frame) the mirror image."""
    return _same_shape(network, a.xyz_mm, b.xyz_mm)


def _same_shape(network: Network, a_mm: np.ndarray, b_mm: np.ndarray) -> bool:
    apart = np.linalg.norm(a_mm[:, None] - a_mm[None], axis=2)
    also = np.linalg.norm(b_mm[:, None] - b_mm[None], axis=2)
    return float(np.abs(apart - also).max()) < max(1e-3, 0.5 * median(network.sigma_mm))


def _starts(network: Network) -> list[np.ndarray]:
    beam, score, placed = _seed(network)
    while not placed.all():
        point = _next_point(network, placed)
        if point is None:
            break
        beam, score = _extend(network, beam, score, placed, point)
        placed[point] = True
    if not placed.all():
        return _scattered(network, beam[:POLISHED], placed)
    if len(beam) > POLISHED:
        beam, score = _refined(network, beam[:REFINED])
    order = np.argsort(score + _against_looks(network, beam, placed), kind="stable")
    beam, score = beam[order], score[order]
    keep = score <= HOPELESS * (score[0] + len(network.length_mm))
    return list(beam[keep][:POLISHED])


def _seed(network: Network) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points with coordinates, else one reading laid along x: beam (1, k, d), score (1,), placed (k,)."""
    k, d = network.size
    xyz_mm = np.zeros((k, d))
    placed = network.placed.copy()
    xyz_mm[placed] = network.seen_mm[placed]
    if placed.sum() < 2:
        a, b, length_mm = _first_reading(network, placed)
        middle_mm = xyz_mm[a].copy()
        xyz_mm[b] = middle_mm
        xyz_mm[b, 0] += length_mm
        placed[[a, b]] = True
    return xyz_mm[None], np.zeros(1), placed


def _first_reading(network: Network, placed: np.ndarray) -> tuple[int, int, float]:
    """The reading whose two ends are measured to the most common neighbours; the longer of equals."""
    k = network.size[0]
    near = np.zeros((k, k), dtype=int)
    near[network.edges[:, 0], network.edges[:, 1]] = near[network.edges[:, 1], network.edges[:, 0]] = 1
    common = near @ near
    best = max(
        (i for i in range(len(network.edges)) if not placed.any() or placed[network.edges[i]].any()),
        key=lambda i: (common[tuple(network.edges[i])], network.length_mm[i], -i),
    )
    a, b = (int(end) for end in network.edges[best])
    return (b, a, float(network.length_mm[best])) if placed[b] else (a, b, float(network.length_mm[best]))


def _readings_to(network: Network, placed: np.ndarray, point: int) -> tuple[np.ndarray, np.ndarray]:
    """Reading numbers from a point to placed ones, and those ones."""
    from_here = (network.edges[:, 0] == point) & placed[network.edges[:, 1]]
    to_here = (network.edges[:, 1] == point) & placed[network.edges[:, 0]]
    rows = np.flatnonzero(from_here | to_here)
    others = np.where(network.edges[rows, 0] == point, network.edges[rows, 1], network.edges[rows, 0])
    return rows, others


def _next_point(network: Network, placed: np.ndarray) -> int | None:
    """The point with readings to the most placed ones: at least d (fewer at the very start)."""
    _, d = network.size
    best, most = None, min(d, int(placed.sum())) - 1
    for point in np.flatnonzero(~placed):
        count = len(np.unique(_readings_to(network, placed, int(point))[1]))
        if count > most:
            best, most = int(point), count
    return best


def _extend(
    network: Network, beam: np.ndarray, score: np.ndarray, placed: np.ndarray, point: int
) -> tuple[np.ndarray, np.ndarray]:
    """Put one more point into every layout of the beam, on either side of what holds it."""
    rows, others = _readings_to(network, placed, point)
    sides = _both_sides(beam[:, others], network.length_mm[rows])
    if _flat(beam[0][placed]):
        sides = sides[:, :1]
    count = sides.shape[1]
    spots = sides.reshape(-1, beam.shape[2])
    anchors = np.repeat(beam[:, others], count, axis=0)
    spots, cost = _polish(spots, anchors, network.length_mm[rows], network.sigma_mm[rows])
    grown = np.repeat(beam, count, axis=0)
    grown[:, point] = spots
    total = np.repeat(score, count) + cost
    if count == 2:
        # Where more readings than needed hold the point, both sides end in one spot.
        twin = np.linalg.norm(spots[1::2] - spots[::2], axis=1) < 1e-3
        total[1::2][twin] = math.inf
    there = placed.copy()
    there[point] = True
    told = total + _against_looks(network, grown, there)
    order = np.argsort(told, kind="stable")
    best = told[order[0]]
    near = told[order] <= best + NEAR
    near[:BEAM] |= told[order[:BEAM]] <= HOPELESS * (best + len(network.length_mm))
    keep = order[near][:WIDE_BEAM]
    return grown[keep], total[keep]


def _against_looks(network: Network, beam: np.ndarray, placed: np.ndarray) -> np.ndarray:
    """(b,): what each layout is put back by answers of left or right that it clearly contradicts.

    Without a frame a layout may be meant as its mirror image: then the fewer count, those that it bears out or those
    that it contradicts.
    """
    looks = np.array([look for look in network.looks if placed[list(look[:3])].all()], dtype=int).reshape(-1, 4)
    beside_mm = beside_line_mm(*(beam[:, looks[:, column]] for column in range(3)))
    clear = np.abs(beside_mm) > CLEARLY * median(network.sigma_mm)
    wrong = (clear & (beside_mm * looks[:, 3] < 0.0)).sum(axis=1)
    if network.placed.sum() <= 2:
        wrong = np.minimum(wrong, clear.sum(axis=1) - wrong)
    return np.asarray(PUT_BACK * wrong)


def _flat(points_mm: np.ndarray) -> bool:
    """Whether placed points all lie in one line (in space: one plane), so that both sides are the same."""
    centred = points_mm - points_mm.mean(axis=0)
    size = np.linalg.svd(centred, compute_uv=False)
    return len(size) < centred.shape[1] or bool(size[-1] <= 1e-6 * size[0])


def _both_sides(anchors_mm: np.ndarray, length_mm: np.ndarray) -> np.ndarray:
    """Two spots (b, 2, d) for each layout, on either side of the line (plane) that the anchors span; left or up first.

    Distances minus that of the first anchor are linear in the spot; what they leave open is the
    direction across the anchors, where the first distance gives the height.
    """
    first = anchors_mm[:, 0]
    base = anchors_mm[:, 1:] - first[:, None]
    d = anchors_mm.shape[2]
    right = 0.5 * (np.einsum("bij,bij->bi", base, base) + length_mm[0] ** 2 - length_mm[1:] ** 2)
    if base.shape[1] == 0:
        along = np.zeros_like(first)
        across = np.zeros_like(first)
        across[:, d - 1] = 1.0
    else:
        _, _, axes = np.linalg.svd(base, full_matrices=True)
        across = axes[:, d - 1].copy()
        across *= np.where(_turns_left(base[:, 0], across) >= 0.0, 1.0, -1.0)[:, None]
        inner = base - np.einsum("bij,bj->bi", base, across)[:, :, None] * across[:, None]
        along = np.einsum("bij,bj->bi", np.linalg.pinv(inner, rcond=1e-9), right)
    height = np.sqrt(np.maximum(0.0, length_mm[0] ** 2 - np.einsum("bi,bi->b", along, along)))
    # Exactly on the line the gradient across it is nothing; a hair beside it lets the adjustment move.
    height = np.maximum(height, 1e-3 * length_mm[0])
    step = height[:, None] * across
    return np.stack([first + along + step, first + along - step], axis=1)


def _turns_left(base: np.ndarray, across: np.ndarray) -> np.ndarray:
    if base.shape[1] == 2:
        return np.asarray(base[:, 0] * across[:, 1] - base[:, 1] * across[:, 0])
    return np.asarray(across[:, 2])


def _polish(
    spots_mm: np.ndarray, anchors_mm: np.ndarray, length_mm: np.ndarray, sigma_mm: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Five damped Gauss-Newton steps of one point in every layout at once; its share of chi-square."""
    d = spots_mm.shape[1]
    damp = np.full(len(spots_mm), 1e-6)
    best, cost = spots_mm, _misses(spots_mm, anchors_mm, length_mm, sigma_mm)[0]
    for _ in range(5):
        _, miss, rows = _misses(best, anchors_mm, length_mm, sigma_mm)
        normal = np.einsum("bij,bik->bjk", rows, rows)
        normal += np.eye(d) * (damp * np.einsum("bii->b", normal) / d)[:, None, None]
        right = np.einsum("bij,bi->bj", rows, miss)
        tried = best + np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        now = _misses(tried, anchors_mm, length_mm, sigma_mm)[0]
        better = now < cost
        best = np.where(better[:, None], tried, best)
        cost = np.where(better, now, cost)
        damp = np.where(better, 0.2 * damp, np.maximum(1e-3, 5.0 * damp))
    return best, cost


def _misses(
    spots_mm: np.ndarray, anchors_mm: np.ndarray, length_mm: np.ndarray, sigma_mm: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chi-square (b,), weighted misses (b, n) and slopes (b, n, d) of one point against its anchors."""
    apart = spots_mm[:, None] - anchors_mm
    reach = np.maximum(np.linalg.norm(apart, axis=2), 1e-9)
    miss = (length_mm - reach) / sigma_mm
    return np.einsum("bi,bi->b", miss, miss), miss, apart / reach[:, :, None] / sigma_mm[:, None]


def _refined(
    network: Network, beam: np.ndarray, rounds: int = 8, damping: float = 1e-6
) -> tuple[np.ndarray, np.ndarray]:
    """Levenberg-Marquardt steps of whole layouts, all at once; sorted by chi-square."""
    k, d = network.size
    weight = np.zeros(k * d)
    weight[network.weighed] = 1.0 / network.sigmas[len(network.length_mm) :]
    stated = np.where(network.seen, network.seen_mm, 0.0).ravel()
    damp = np.full(len(beam), damping)
    best, cost = beam, _misfits(network, beam, stated, weight)[0]
    for _ in range(rounds):
        _, miss, off, unit = _misfits(network, best, stated, weight)
        rows = _rows(network, unit)
        across = rows.transpose(0, 2, 1)
        normal = across @ rows
        mean = np.einsum("bii->b", normal) / (k * d)
        normal += np.diag(weight**2) + (damp * mean + 1e-9 * mean)[:, None, None] * np.eye(k * d)
        right = (across @ miss[:, :, None])[:, :, 0] + off * weight
        step_mm = np.linalg.solve(normal, right[:, :, None])[:, :, 0].reshape(best.shape)
        now = _misfits(network, best + step_mm, stated, weight)[0]
        better = now < cost
        best = np.where(better[:, None, None], best + step_mm, best)
        cost = np.where(better, now, cost)
        damp = np.where(better, 0.2 * damp, np.maximum(1e-4, 5.0 * damp))
    order = np.argsort(cost, kind="stable")
    return best[order], cost[order]


def _misfits(
    network: Network, beam: np.ndarray, stated: np.ndarray, weight: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Chi-square (b,), weighted misses of distances (b, m) and of coordinates (b, k*d), weighted units."""
    apart = beam[:, network.edges[:, 0]] - beam[:, network.edges[:, 1]]
    length_mm = np.maximum(np.linalg.norm(apart, axis=2), 1e-9)
    miss = (network.length_mm - length_mm) / network.sigma_mm
    off = (stated - beam.reshape(len(beam), -1)) * weight
    cost = np.einsum("bi,bi->b", miss, miss) + np.einsum("bi,bi->b", off, off)
    return cost, miss, off, apart / length_mm[:, :, None] / network.sigma_mm[:, None]


def _rows(network: Network, unit: np.ndarray) -> np.ndarray:
    k, d = network.size
    m = len(network.edges)
    rows = np.zeros((len(unit), m, k * d))
    at = np.arange(m)[:, None]
    rows[:, at, network.edges[:, :1] * d + np.arange(d)] = unit
    rows[:, at, network.edges[:, 1:] * d + np.arange(d)] = -unit
    rows[:, :, network.fixed] = 0.0
    return rows


def _scattered(network: Network, beam: np.ndarray, placed: np.ndarray) -> list[np.ndarray]:
    """Start values where no point-by-point construction exists: the rest is thrown over the part."""
    rng = np.random.default_rng(GENERIC_SEED)
    d = network.size[1]
    reach_mm = float(network.length_mm.max())
    starts = []
    for trial in range(SCATTERED):
        xyz_mm = beam[trial % len(beam)].copy()
        middle_mm = xyz_mm[placed].mean(axis=0)
        xyz_mm[~placed] = middle_mm + rng.uniform(-reach_mm, reach_mm, (int((~placed).sum()), d))
        starts.append(xyz_mm)
    found, _ = _refined(network, np.array(starts), rounds=40, damping=1e-2)
    # Many starts end in one layout: only different ones count towards how many are kept.
    kept: list[np.ndarray] = []
    for xyz_mm in found:
        if len(kept) < 2 * POLISHED and not any(_same_shape(network, xyz_mm, other) for other in kept):
            kept.append(xyz_mm)
    return kept
