"""Features that have no place yet: the fewest readings that would settle the verdict, and what their values mean.

Where the rest of the part is placed it is known where a hole has to be for the donor to go on; how far a reading
may be from that is found by draws around the spot, as for any other reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from partkin.model.distributions import normal_quantile
from partkin.model.fitting import Placement
from partkin.model.positions import Missing, Positions
from partkin.model.verdict import Trial
from partkin.positions.asking_for import tells_sides
from partkin.positions.by_draws import REACH, ask_by_draws
from partkin.positions.lengths import Distance, centre_distances, standard_uncertainty_mm
from partkin.positions.next_reading import Ask, Band, Candidate, meaning
from partkin.positions.sampling import as_normal
from partkin.positions.sides import telling_look
from partkin.readings.could_read import OPEN_PLAY_MM, SELLER, donor_at_hand, effort_minutes, instrument_for
from partkin.tables.instruments import greatest_error_mm
from partkin.trial import trying
from partkin.trial.findings import Findings
from partkin.trial.trying import Places

DRAWS = 4096
# A spot counts as the same side's as its mirror image where they are nearer than this.
ONE_SPOT_MM = 1.0


@dataclass(frozen=True, eq=False)
class UnplacedFeature:
    """A donor feature without a place, and where it has to be.

    `at_mm` (2,) in the donor's frame; `play_mm` of its pair; `held`: distances from it that are read already.
    """

    feature: str
    at_mm: np.ndarray
    play_mm: float
    held: tuple[Distance, ...]


def fewest(findings: Findings, places: Places) -> Findings:
    """Say of every trial that waits for places which few readings would do, in place of what ties anything down."""
    trial = findings.trial
    if trial is None or trial.stand != "missing":
        return findings
    missing = asked(findings, trying.as_tried(findings.known, places, trial), trial)
    trials = (replace(one, missing=missing) if one is trial else one for one in findings.trials)
    return replace(findings, trials=tuple(trials))


def asked(findings: Findings, places: Places, trial: Trial) -> tuple[Missing, ...]:
    """What the trial waits for: sizes, then places with the fewest readings, then what tells sides apart."""
    at_hand = donor_at_hand(findings.known.donor.readings)
    untold = [m for m in trial.missing if not tells_sides(m)]
    loose = [m for m in untold if m.part == places.donor.part and m.quantity == "centres"]
    sizes = [m for m in untold if m.quantity != "centres"]
    others = [m for m in trial.missing if m not in loose and m not in sizes]
    if not places.host.features:
        return (*sizes, *others, *loose)
    if len(places.donor.features) < 2:
        return (*sizes, *_opening(findings, places, trial, loose, at_hand), *others)
    found: list[Missing] = []
    for one in loose:
        spot = _spot(findings, places, trial, one.from_feature or "")
        found += [one] if spot is None else _tying(findings, places, trial, spot, at_hand)
    return (*sizes, *found, *others)


def _spot(findings: Findings, places: Places, trial: Trial, feature: str) -> UnplacedFeature | None:
    """Where a feature has to be; None where that is not known: several fixings are open to it, or no placement."""
    known_pairs = [p for p in trial.answer.pairs if p.allowed_mm < OPEN_PLAY_MM]
    fixings = {o.fixing for o in trial.task.options if o.feature == feature} - {p.fixing for p in known_pairs}
    placement = trial.answer.placement
    if len(fixings) != 1 or len(known_pairs) < 2 or trial.task.dims != 2 or not isinstance(placement, Placement):
        return None
    (fixing,) = fixings
    mating = trial.matings.get((fixing, feature))
    shown = places.hosted.placed_by.get(fixing)
    if mating is None or mating.allowed_mm is None or shown not in places.host.features:
        return None
    at_host = places.host.xyz_mm[places.host.features.index(shown)]
    back = np.linalg.inv(np.array(placement.matrix)) @ np.array([at_host[0], at_host[1], 0.0, 1.0])
    features = {row.feature: row for row in findings.known.donor.features}
    distances, _ = centre_distances(features, findings.known.donor.readings)
    held = tuple(row for row in distances if feature in (row.from_feature, row.to_feature))
    placed = tuple(row for row in held if _other_end(row, feature) in places.donor.features)
    return UnplacedFeature(feature, back[:2], mating.allowed_mm + _travel_mm(trial, fixing, feature), placed)


def _travel_mm(trial: Trial, fixing: str, feature: str) -> float:
    host = next(s for s in trial.task.fixings if s.id == fixing)
    donor = next(s for s in trial.task.features if s.id == feature)
    return host.half_travel_mm + donor.half_travel_mm


def _other_end(row: Distance, feature: str) -> str:
    return row.to_feature if row.from_feature == feature else row.from_feature


def _tying(findings: Findings, places: Places, trial: Trial, spot: UnplacedFeature, at_hand: bool) -> list[Missing]:
    """One or two distances, the second named in the first; the third only where the side matters."""
    donor = places.donor
    at = {name: donor.xyz_mm[number] for number, name in enumerate(donor.features)}
    have = [_other_end(row, spot.feature) for row in spot.held]
    new = _best_anchors(spot, at, have, at_hand, 1 if have else 2)
    if not new:
        return [m for m in trial.missing if m.from_feature == spot.feature][:1]
    asks = _judged(findings, places, trial, spot, [_candidate(spot, donor.part, at, name, at_hand) for name in new])
    tells = _telling_which(spot, at, [*have, *new], donor.handed)
    side = f"; where {spot.feature} may still be in two places then, {tells} tells which" if tells else ""
    verb = "ask the seller for" if not at_hand else "read"
    if len(asks) == 1:
        ((name, ask),) = zip(new, asks, strict=True)
        said = meaning(ask.bands)
        says = (
            f"{verb} {spot.feature} to {name} of {donor.part}, centre to centre ({ask.expected_mm:.1f} mm is just "
            f"right){': ' + said if said else ''}{side}"
        )
        return [_as_missing(spot, donor.part, name, says)]
    one, two = asks
    said = "; ".join(filter(None, map(_beyond, asks, new)))
    says = (
        f"{verb} {spot.feature} to {new[0]} and to {new[1]} of {donor.part}, centre to centre: about "
        f"{one.expected_mm:.1f} and {two.expected_mm:.1f} mm are just right{'; ' + said if said else ''}{side}"
    )
    second = f"with {spot.feature} to {new[0]}, the distance from {spot.feature} to {new[1]} of {donor.part} places it"
    return [_as_missing(spot, donor.part, new[0], says), _as_missing(spot, donor.part, new[1], second)]


def _beyond(ask: Ask, name: str) -> str:
    outer = tuple(band for band in ask.bands if band.answer == "does not")
    said = meaning(outer)
    return said.replace(" mm means that it does not", f" mm from {name} means that it does not") if said else ""


def _as_missing(spot: UnplacedFeature, part: str, to: str, says: str) -> Missing:
    return Missing(f"where {spot.feature} is", part, "centres", spot.feature, to, says)


def _candidate(spot: UnplacedFeature, part: str, at: dict[str, np.ndarray], name: str, at_hand: bool) -> Candidate:
    length_mm = float(np.linalg.norm(spot.at_mm - at[name][:2]))
    instrument = instrument_for(length_mm, at_hand)
    sigma_mm = standard_uncertainty_mm(greatest_error_mm(instrument, length_mm))
    return Candidate(part, spot.feature, name, sigma_mm, instrument, effort_minutes(instrument))


def _best_anchors(
    spot: UnplacedFeature, at: dict[str, np.ndarray], have: list[str], at_hand: bool, count: int
) -> tuple[str, ...]:
    """The features whose distances, with those that are read, place it best: least sum of variances."""
    free = [name for name in at if name not in have]
    best: tuple[float, tuple[str, ...]] | None = None
    for names in combinations(free, min(count, len(free))):
        information = np.zeros((2, 2))
        lines = [(_other_end(row, spot.feature), row.sigma_mm) for row in spot.held]
        for name in names:
            lines.append((name, _candidate(spot, "", at, name, at_hand).sigma_mm))
        for name, sigma_mm in lines:
            apart = spot.at_mm - at[name][:2]
            unit = apart / max(1e-9, float(np.linalg.norm(apart)))
            information += np.outer(unit, unit) / sigma_mm**2
        size = np.linalg.eigvalsh(information)
        spread = float((1.0 / np.maximum(size, 1e-9)).sum())
        if best is None or spread < best[0] - 1e-9:
            best = (spread, names)
    return best[1] if best else ()


def _telling_which(spot: UnplacedFeature, at: dict[str, np.ndarray], used: list[str], handed: bool) -> str | None:
    """What tells the spot from its mirror image across the line of the first two; None: nothing, or they are one."""
    a, b = (at[name][:2] for name in used[:2])
    along = (b - a) / max(1e-9, float(np.linalg.norm(b - a)))
    off = spot.at_mm - a
    beside = off - along * float(off @ along)
    image = spot.at_mm - 2.0 * beside
    if 2.0 * float(np.linalg.norm(beside)) < max(ONE_SPOT_MM, spot.play_mm) or len(used) > 2:
        return None
    two = [np.array([a, b, place]) for place in (spot.at_mm, image)]
    if handed and telling_look((*used[:2], spot.feature), two):
        return f"a look whether it lies left or right of {used[0]} to {used[1]}"
    rest = {name: place[:2] for name, place in at.items() if name not in used}
    gaps = {n: abs(float(np.linalg.norm(spot.at_mm - o) - np.linalg.norm(image - o))) for n, o in rest.items()}
    best = max(rest, key=lambda name: round(gaps[name], 6), default=None)
    return f"{spot.feature} to {best}" if best is not None and gaps[best] > ONE_SPOT_MM else None


def _judged(
    findings: Findings, places: Places, trial: Trial, spot: UnplacedFeature, candidates: list[Candidate]
) -> list[Ask]:
    """What each distance from the spot means, by draws over everywhere that it might be near there."""
    sigma_mm = max(one.sigma_mm for one in candidates)
    wide_mm = 1.5 * (spot.play_mm + 4.0 * sigma_mm)
    donor = with_guess(as_normal(places.donor), spot.feature, spot.at_mm, wide_mm)
    guessed = replace(places, donor=donor, host=as_normal(places.host))
    tried = trying.trial(findings.known, guessed, findings.confidence, mirrored=trial.mirrored)
    drawn = trying.sides_drawn(findings.known, guessed, tried, DRAWS) if tried.answer.pairs else None
    if drawn is None:
        return [Ask(one, _length(donor, one), one.sigma_mm, 0.0) for one in candidates]
    fits, _, at_mm = drawn
    weight = np.ones(DRAWS)
    for row in spot.held:
        off = (_apart(donor, at_mm, spot.feature, _other_end(row, spot.feature)) - row.length_mm) / row.sigma_mm
        weight *= np.exp(-0.5 * np.minimum(off**2, 200.0))
    found = []
    for one in candidates:
        drawn_mm = _apart(donor, at_mm, spot.feature, one.to_feature)
        ask = ask_by_draws(one, fits, drawn_mm, findings.confidence, weight)
        found.append(replace(_as_far_as_drawn(ask), expected_mm=_length(donor, one)))
    return found


def _as_far_as_drawn(ask: Ask) -> Ask:
    """The same, with nothing promised of values that no draw comes near: the hole might be elsewhere then."""
    low_mm, high_mm = ask.expected_mm - REACH * ask.sigma_mm, ask.expected_mm + REACH * ask.sigma_mm
    return replace(ask, bands=tuple(
        replace(
            band, from_mm=low_mm if band.from_mm is None else band.from_mm,
            to_mm=high_mm if band.to_mm is None else band.to_mm,
        ) if band.answer == "bolts on" else band for band in ask.bands
    ))  # fmt: skip


def with_guess(positions: Positions, feature: str, at_mm: np.ndarray, wide_mm: float) -> Positions:
    """Positions with one feature more, anywhere within a square of half width `wide_mm`."""
    d = positions.dims

    def grown(covariance_mm2: np.ndarray | None) -> np.ndarray | None:
        if covariance_mm2 is None:
            return None
        size = len(covariance_mm2)
        wider = np.zeros((size + d, size + d))
        wider[:size, :size] = covariance_mm2
        wider[size:, size:] = np.eye(d) * wide_mm**2 / 3.0
        return wider

    place = np.zeros(d)
    place[:2] = at_mm
    return replace(
        positions,
        features=(*positions.features, feature),
        xyz_mm=np.vstack([positions.xyz_mm, place]),
        half_width_mm=np.append(positions.half_width_mm, wide_mm),
        covariance_mm2=grown(positions.covariance_mm2),
        in_frame_mm2=grown(positions.in_frame_mm2),
        layouts=(),
        layout_covariances_mm2=(),
    )


def _apart(positions: Positions, at_mm: np.ndarray, one: str, other: str) -> np.ndarray:
    i, k = positions.features.index(one), positions.features.index(other)
    return np.asarray(np.linalg.norm(at_mm[:, i] - at_mm[:, k], axis=1))


def _length(positions: Positions, one: Candidate) -> float:
    i, k = positions.features.index(one.from_feature), positions.features.index(one.to_feature)
    return float(np.linalg.norm(positions.xyz_mm[i] - positions.xyz_mm[k]))


def _opening(findings: Findings, places: Places, trial: Trial, loose: list[Missing], at_hand: bool) -> list[Missing]:
    """The first three distances on a part of which nothing is placed: its widest triangle, as the host has it."""
    partner = _given(trial, [m.from_feature or "" for m in loose], places)
    if len(partner) < 3 or trial.task.dims != 2:
        return loose
    names = list(partner)
    taken = {frozenset((r.from_feature, r.to_feature)) for r in findings.known.donor.readings}
    a, b = max(combinations(names, 2), key=lambda two: round(_between(partner, *two), 6))
    along = partner[b][0] - partner[a][0]
    along = along / np.linalg.norm(along)

    def beside(name: str) -> float:
        off = partner[name][0] - partner[a][0]
        return round(abs(float(along[0] * off[1] - along[1] * off[0])), 6)

    c = max((name for name in names if name not in (a, b)), key=beside)
    spans = [two for two in ((a, b), (a, c), (b, c)) if frozenset(two) not in taken]
    found = [_span(places, partner, one, other, at_hand) for one, other in spans]
    rest = [m for m in loose if m.from_feature not in (a, b, c)] if found else loose
    return [*found, *rest]


def _given(trial: Trial, names: list[str], places: Places) -> dict[str, tuple[np.ndarray, float]]:
    """Of each feature with one fixing only, which is no other's only one: where that is on the host, and their play."""
    found = {}
    all_of = {name: [o.fixing for o in trial.task.options if o.feature == name] for name in names}
    only = [fixings[0] for fixings in all_of.values() if len(fixings) == 1]
    for name, fixings in all_of.items():
        if len(fixings) != 1 or only.count(fixings[0]) > 1:
            continue
        shown = places.hosted.placed_by.get(fixings[0])
        mating = trial.matings.get((fixings[0], name))
        if shown in places.host.features and mating is not None and mating.allowed_mm is not None:
            at = places.host.xyz_mm[places.host.features.index(shown)][:2]
            found[name] = (at, mating.allowed_mm + _travel_mm(trial, fixings[0], name))
    return found


def _between(partner: dict[str, tuple[np.ndarray, float]], one: str, other: str) -> float:
    return float(np.linalg.norm(partner[one][0] - partner[other][0]))


def _span(places: Places, partner: dict[str, tuple[np.ndarray, float]], one: str, other: str, at_hand: bool) -> Missing:
    """A distance with the values beyond which the two alone keep the donor off."""
    length_mm = _between(partner, one, other)
    instrument = instrument_for(length_mm, at_hand)
    sigma_mm = standard_uncertainty_mm(greatest_error_mm(instrument, length_mm))
    host_mm = float(np.mean(places.host.half_width_mm)) if len(places.host.half_width_mm) else 0.0
    spread_mm = float(np.hypot(sigma_mm, np.sqrt(2.0) * standard_uncertainty_mm(host_mm)))
    reach_mm = partner[one][1] + partner[other][1] + normal_quantile(0.95) * spread_mm
    bands = (
        Band("does not", None, length_mm - reach_mm),
        Band("between", length_mm - reach_mm, length_mm + reach_mm),
        Band("does not", length_mm + reach_mm, None),
    )
    verb = "ask the seller for" if instrument == SELLER else "read"
    says = (
        f"{verb} {one} to {other} of {places.donor.part}, centre to centre ({length_mm:.1f} mm on the host): "
        f"{meaning(bands)}"
    )
    return Missing(f"{one} to {other}", places.donor.part, "centres", one, other, says)
