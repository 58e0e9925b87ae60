"""Readings and stated coordinates of one part -> positions with covariance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from partkin.model.build import Feature, Reading
from partkin.model.distributions import chi_square_quantile
from partkin.model.positions import Missing, Observed, Positions, Suspect
from partkin.positions import asking_for, in_doubt, lengths, not_flat, sides
from partkin.positions.in_doubt import plainly_wrong
from partkin.positions.network import AdjustedNetwork, Network, gauge, solve, without_rigid
from partkin.positions.start import firm_points
from partkin.positions.suspects import FAMILY_LEVEL, RIVAL_LAYOUT, Contradicted, layout_limit, search

AXES = "xyz"
# From this ratio of variances on the frame is not worth what it costs the shape.
ROUGH_FRAME = 5.0


@dataclass(frozen=True, eq=False)
class Survey:
    """One part's network with the names that belong to its rows: `points` and `readings`."""

    part: str
    points: tuple[str, ...]
    readings: tuple[lengths.Distance, ...]
    network: Network


def adjust(part: str, features: Sequence[Feature], readings: Sequence[Reading]) -> Positions:
    """Work out where the features of one part are, and how surely.

    Without distance readings the stated coordinates pass through untouched, rectangular within their
    plus or minus. With them, coordinates and distances are adjusted together by least squares. A reading
    that the others clearly contradict is named and left out; where several could be the wrong one all
    are named, none is left out and the covariance is widened.

    Parameters
    ----------
    part
        Rows of other parts are passed over.
    features
        In the order of their ids.
    readings
        In the order of their ids, the newest last; corrected ones may still be among them.

    Returns
    -------
    Positions
        Features that cannot be placed are in `missing`, with the reading that ties them down.

    Examples
    --------
    >>> from partkin.model.build import Feature, Reading
    >>> rows = [Feature("p", name, "hole") for name in "ABC"]
    >>> sides = [("A", "B", 300.0), ("B", "C", 400.0), ("A", "C", 500.0)]
    >>> read = [Reading("p", f"r{i}", "centres", v, "mm", a, b) for i, (a, b, v) in enumerate(sides)]
    >>> found = adjust("p", rows, read)
    >>> found.xyz_mm.round(6).tolist(), found.handed
    ([[0.0, 0.0], [300.0, 0.0], [300.0, 400.0]], False)
    """
    own = (row for row in features if row.part == part), (row for row in readings if row.part == part)
    return of_part(part, *map(tuple, own))


@lru_cache(maxsize=64)
def of_part(part: str, features: tuple[Feature, ...], rows: tuple[Reading, ...]) -> Positions:
    """`adjust` of a part's own rows, kept: one command asks for the same from several places."""
    mine = {row.feature: row for row in features}
    distances, unusable = lengths.centre_distances(mine, rows)
    missing = asking_for.sizes(part, unusable)
    notes = tuple(
        f"Reading {bad.reading.reading} ({asking_for.described(bad.reading)}) was not used: {bad.why}."
        for bad in unusable
    )
    seen = sides.seen_sides(rows)
    ruled_out, maybe = plainly_wrong(distances)
    counted = tuple(one for one in distances if one not in ruled_out)
    found = _from_distances(part, mine, counted, maybe, missing, notes, seen)
    known = {suspect.reading for suspect in found.suspects}
    more = [in_doubt.out_of_bounds(part, distances, one, left_out=True) for one in ruled_out]
    # Where points hang together the adjustment has tried which of them it is.
    if not any(one.reading in known for one in maybe):
        more += [in_doubt.out_of_bounds(part, distances, one, left_out=False) for one in maybe]
    suspects = in_doubt.with_causes((*more, *found.suspects), rows, distances, [*maybe, *ruled_out])
    return replace(found, suspects=suspects)


def _from_distances(
    part: str, mine: dict[str, Feature], distances: Sequence[lengths.Distance], maybe: Sequence[lengths.Distance],
    missing: tuple[Missing, ...], notes: tuple[str, ...], seen: Sequence[sides.SideSeen],
) -> Positions:  # fmt: skip
    if not distances:
        return _stated(part, mine, missing, notes, (), seen)
    whole = _survey(part, mine, distances, seen)
    firm = firm_points(whole.network)
    if len(firm) < 2:
        return _stated(part, mine, missing, notes, distances, seen)
    survey = _among(whole, firm)
    rest = [name for name in mine if name not in survey.points]
    found = not_flat.told(_adjusted(survey, maybe, missing, notes, seen), survey.network)
    return replace(found, missing=found.missing + asking_for.loose(rest, found, distances))


def _stated(
    part: str,
    mine: dict[str, Feature],
    missing: tuple[Missing, ...],
    notes: tuple[str, ...],
    distances: Sequence[lengths.Distance],
    seen: Sequence[sides.SideSeen],
) -> Positions:
    """Coordinates as they stand in the sheet."""
    d = _dims(mine)
    placed = {name: _coordinates(row, d) for name, row in mine.items()}
    names = tuple(name for name, at in placed.items() if not np.isnan(at).any())
    xyz_mm = np.array([placed[name] for name in names]).reshape(len(names), d)
    half_mm = np.array([lengths.coordinate_half_width_mm(mine[name]) for name in names], dtype=float)
    wrong = sides.against(seen, sides.PlacedLayout(names, xyz_mm, np.diag(np.repeat(half_mm**2 / 3.0, d))))[1]
    found = Positions(
        part,
        names,
        xyz_mm,
        half_mm,
        missing=missing,
        suspects=tuple(asking_for.wrong_side(part, one) for one in wrong),
        notes=notes,
        handed=not wrong,
    )
    rest = [name for name in mine if name not in names]
    return replace(found, missing=missing + asking_for.loose(rest, found, distances))


def _dims(mine: dict[str, Feature]) -> int:
    return 3 if any(row.z_mm is not None for row in mine.values()) else 2


def _coordinates(row: Feature, d: int) -> np.ndarray:
    stated = (row.x_mm, row.y_mm, row.z_mm)[:d]
    return np.array([math.nan if value is None else value for value in stated], dtype=float)


def _survey(
    part: str, mine: dict[str, Feature], distances: Sequence[lengths.Distance], seen: Sequence[sides.SideSeen]
) -> Survey:
    d = _dims(mine)
    number = {name: at for at, name in enumerate(mine)}
    seen_mm = np.array([_coordinates(row, d) for row in mine.values()])
    looks = [one for one in seen if d == 2 and set(one.names) <= set(number)]
    sigma_mm = [lengths.standard_uncertainty_mm(lengths.coordinate_half_width_mm(row)) for row in mine.values()]
    network = Network(
        np.array([[number[row.from_feature], number[row.to_feature]] for row in distances]),
        np.array([row.length_mm for row in distances]),
        np.array([row.sigma_mm for row in distances]),
        seen_mm,
        np.repeat(np.array(sigma_mm)[:, None], d, axis=1),
        tuple((number[a], number[b], number[c], 1 if one.is_left else -1) for one in looks for a, b, c in [one.names]),
    )
    return Survey(part, tuple(mine), tuple(distances), network)


def _among(whole: Survey, points: np.ndarray) -> Survey:
    names = tuple(whole.points[at] for at in points)
    inside = set(names)
    kept = tuple(row for row in whole.readings if {row.from_feature, row.to_feature} <= inside)
    return Survey(whole.part, names, kept, whole.network.among(points))


def _adjusted(
    survey: Survey, maybe: Sequence[lengths.Distance], missing: tuple[Missing, ...], notes: tuple[str, ...],
    seen: Sequence[sides.SideSeen],
) -> Positions:  # fmt: skip
    searched = search(survey.network, [at for at, one in enumerate(survey.readings) if one in maybe])
    network = searched.network
    ways = _ways_round(survey, network, searched.found, seen)
    best = ways.found[0]
    observed = [_observed(survey, best, int(row), at) for at, row in enumerate(searched.kept)]
    observed += [_left_out(survey, bad) for bad in searched.contradicted if bad.left_out]
    shaken = any(not bad.left_out for bad in searched.contradicted)
    positions = _as_positions(survey, network, ways, shaken)
    asked = asking_for.after(
        survey.points, positions.layouts, ways.handed or bool(ways.contradicted), survey.part, survey.readings
    )
    return replace(
        positions,
        missing=(*missing, *asked),
        suspects=(
            *(_suspect(survey, bad) for bad in searched.contradicted),
            *(asking_for.wrong_side(survey.part, one) for one in ways.contradicted),
        ),
        notes=notes + asking_for.remarks(best, positions),
        observed=tuple(sorted(observed, key=lambda row: row.kind != "distance")),
    )


def _observed(survey: Survey, solution: AdjustedNetwork, row: int, at: int) -> Observed:
    """One observation: `row` counts in the survey, `at` in the solution."""
    seen = _read(survey, row)
    return replace(
        seen,
        adjusted_mm=seen.value_mm + float(solution.residual_mm[at]),
        redundancy=float(solution.redundancy[at]),
        w=float(solution.w[at]),
    )


def _left_out(survey: Survey, bad: Contradicted) -> Observed:
    seen = _read(survey, bad.row)
    return replace(seen, adjusted_mm=seen.value_mm - bad.off_by_mm, redundancy=1.0, w=bad.w, used=False)


def _read(survey: Survey, row: int) -> Observed:
    """An observation by itself, before anything is adjusted."""
    network = survey.network
    m = len(network.length_mm)
    sigma_mm = float(network.sigmas[row])
    if row < m:
        read = survey.readings[row]
        value_mm = float(network.length_mm[row])
        ends = (read.from_feature, read.to_feature)
        return Observed(read.reading, "distance", *ends, value_mm, sigma_mm, value_mm, 0.0, 0.0)
    point, axis = divmod(int(network.weighed[row - m]), network.size[1])
    value_mm = float(network.seen_mm[point, axis])
    name = survey.points[point]
    return Observed(f"{name}.{AXES[axis]}_mm", AXES[axis], name, None, value_mm, sigma_mm, value_mm, 0.0, 0.0)


def _suspect(survey: Survey, bad: Contradicted) -> Suspect:
    seen = _read(survey, bad.row)
    says = asking_for.contradiction(seen, bad)
    quantity = "centres" if seen.kind == "distance" else None
    ends = (seen.from_feature, seen.to_feature)
    return Suspect(seen.reading, bad.w, bad.off_by_mm, says, bad.left_out, survey.part, quantity, *ends)


@dataclass(frozen=True, eq=False)
class _WaysRound:
    """Layouts that stand, the right way round where that was seen, each as adjusted and as laid down.

    `handed`: the readings tell each from its mirror image. `contradicted`: answers of left or right that
    cannot hold together with the rest; then no layout was left out for any of them.
    """

    found: list[AdjustedNetwork]
    laid: list[sides.PlacedLayout]
    handed: bool
    contradicted: tuple[sides.SideSeen, ...] = ()


def _ways_round(
    survey: Survey, network: Network, found: list[AdjustedNetwork], seen: Sequence[sides.SideSeen]
) -> _WaysRound:
    """Every layout or its mirror image, without those that somebody saw to be otherwise."""
    free = not network.seen.any()
    # In space nobody knows which way a frame that the distances made up is looked at.
    told = () if free and network.size[1] == 3 else tuple(seen)
    tried: list[list[tuple[AdjustedNetwork, sides.PlacedLayout]]] = []
    for at, solution in enumerate(found):
        own = sides.PlacedLayout(survey.points, *(_in_own_frame(solution) if free else _as_stated(solution)))
        tried.append([(solution, own)])
        # Without an answer only the likeliest layout is held against its mirror image.
        if (told or at == 0) and (other := _mirror_image(network, found, solution)) is not None:
            tried[-1].append((other, own.mirrored() if free else sides.PlacedLayout(survey.points, *_as_stated(other))))
    wrong = [[sides.against(told, layout)[1] for _, layout in ways] for ways in tried]
    least = min(len(one) for each in wrong for one in each)
    if least:
        named = {one.reading for each in wrong for some in each for one in some if len(some) == least}
        # What was looked at once is to be looked at again before what was already.
        disputed = tuple(sorted((one for one in told if one.reading in named), key=lambda one: one.again))
        return _WaysRound(found, [ways[0][1] for ways in tried], handed=False, contradicted=disputed)
    stand = [
        [way for way, bad in zip(ways, each, strict=True) if not bad] for ways, each in zip(tried, wrong, strict=True)
    ]
    kept = [ways for ways in stand if ways]
    return _WaysRound(
        [ways[0][0] for ways in kept], [ways[0][1] for ways in kept], handed=all(len(ways) == 1 for ways in kept)
    )


def _as_stated(solution: AdjustedNetwork) -> tuple[np.ndarray, np.ndarray]:
    return solution.xyz_mm, solution.covariance_mm2


def _mirror_image(network: Network, found: list[AdjustedNetwork], solution: AdjustedNetwork) -> AdjustedNetwork | None:
    """The mirror image of a layout, where the readings do not tell the two apart; None: they do."""
    xyz_mm = solution.xyz_mm
    centred = xyz_mm - xyz_mm.mean(axis=0)
    if np.linalg.svd(centred, compute_uv=False)[-1] < 1e-3:
        return None
    given = xyz_mm[network.placed]
    if network.placed.all():
        return None
    if len(given) < 2:
        return solution
    middle = given.mean(axis=0)
    _, _, axes = np.linalg.svd(given - middle, full_matrices=True)
    across = axes[-1]
    other = xyz_mm.copy()
    free = ~network.placed
    other[free] -= 2.0 * np.outer((xyz_mm[free] - middle) @ across, across)
    mirrored = solve(network, other, cautious=True)
    # What is a layout of its own is in the list already and stands for itself.
    if any(float(np.abs(mirrored.xyz_mm - known.xyz_mm).max()) < 1e-2 for known in found):
        return None
    told_apart = mirrored.chi_square > max(layout_limit(solution), solution.chi_square + RIVAL_LAYOUT)
    return None if told_apart else mirrored


def _as_positions(survey: Survey, network: Network, ways: _WaysRound, shaken: bool) -> Positions:
    best = ways.found[0]
    d = network.size[1]
    framed = gauge(network, best.xyz_mm).shape[1] == 0
    limit = chi_square_quantile(1.0 - FAMILY_LEVEL, best.own_freedom)
    agree = not shaken and (best.own_freedom == 0 or best.own_chi_square <= limit)
    wider = 1.0 if agree else max(1.0, best.own_chi_square / max(1, best.own_freedom))
    plain = not network.seen.any()
    spread_mm2 = [laid.covariance_mm2 for laid in ways.laid]
    touched = np.isin(np.arange(len(survey.points)), network.edges)
    # What no distance touches is as sure as its cell says, whatever the distances disagree about.
    widen = np.sqrt(np.where(np.repeat(touched, d), wider, 1.0))
    tied = touched
    if touched.any() and not touched.all() and not plain:
        about = [_about(one, touched) for one in ways.found]
        tied = touched | _frame_is_rough(best, about[0], touched)
        spread_mm2 = about if tied.all() else [one.in_frame_mm2 for one in ways.found]
    covariances = tuple(np.outer(widen, widen) * covariance for covariance in spread_mm2)
    variance = np.diagonal(covariances[0]).reshape(-1, d).mean(axis=1)
    stated_mm = math.sqrt(3.0) * network.seen_sigma_mm[:, 0]
    return Positions(
        survey.part,
        survey.points,
        ways.laid[0].xyz_mm,
        np.where(tied, np.sqrt(3.0 * np.maximum(0.0, variance)), stated_mm.round(12)),
        covariances[0],
        adjusted=tuple(name for name, one in zip(survey.points, tied, strict=True) if one),
        in_frame_mm2=None if plain else np.outer(widen, widen) * best.in_frame_mm2,
        layouts=tuple(laid.xyz_mm for laid in ways.laid),
        layout_covariances_mm2=covariances,
        handed=ways.handed,
        framed=framed,
        chi_square=best.own_chi_square,
        degrees_of_freedom=best.own_freedom,
        agree=agree,
        sigma0=math.sqrt(wider),
        bent=best.bent,
    )


def _about(solution: AdjustedNetwork, among: np.ndarray) -> np.ndarray:
    """Covariance of all points but for what turns and shifts those `among` them."""
    fixed = without_rigid(solution.xyz_mm, among)
    return np.asarray(fixed @ solution.in_frame_mm2 @ fixed.T)


def _frame_is_rough(solution: AdjustedNetwork, about_mm2: np.ndarray, touched: np.ndarray) -> bool:
    """Whether the stated places tell much less of the frame than the distances do of the shape."""
    d = solution.xyz_mm.shape[1]
    own = np.repeat(touched, d)
    whole_mm2 = float(np.trace(solution.in_frame_mm2[np.ix_(own, own)]))
    return int(touched.sum()) > d and whole_mm2 > ROUGH_FRAME * float(np.trace(about_mm2[np.ix_(own, own)]))


def _in_own_frame(solution: AdjustedNetwork) -> tuple[np.ndarray, np.ndarray]:
    """Lay a free layout down: first feature at 0, second on the x axis, the next one off it on the left."""
    xyz_mm = solution.xyz_mm - solution.xyz_mm[0]
    k, d = xyz_mm.shape
    axes = np.zeros((d, d))
    left = xyz_mm.copy()
    for at in range(d):
        reach = np.linalg.norm(left, axis=1)
        if reach.max() > 1e-6:
            first = int(np.flatnonzero(reach > max(1e-6, 1e-4 * reach.max()))[0])
            axes[at] = left[first] / reach[first]
        else:
            # Nothing lies off the axes found so far: any direction at right angles will do.
            axes[at] = np.linalg.svd(axes[:at], full_matrices=True)[2][at]
        left = left - np.outer(left @ axes[at], axes[at])
    turned = xyz_mm @ axes.T
    turned[0] = 0.0
    whole = np.kron(np.eye(k), axes)
    return turned, whole @ solution.covariance_mm2 @ whole.T
