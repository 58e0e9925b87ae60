"""Fills what the pictures are drawn from, out of a verdict, the build and the positions of its parts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from partkin.drawing.laying import IDENTITY, moved, moved_angle_deg
from partkin.drawing.places import drawn_feature, features_at, places_mm, rigid_fit, spreads
from partkin.model.build import Build, Offer, Part
from partkin.model.drawing import (
    Cut,
    DrawnFeature,
    DrawnOutline,
    DrawnZone,
    Matrix,
    OptionRow,
    OverlayView,
    Owner,
    ReportView,
    Span,
    Spread,
)
from partkin.model.fitting import Conflict
from partkin.model.mating import Fixing
from partkin.model.positions import Positions
from partkin.model.verdict import Laid, Pair, Verdict

_CUTTING = ("open out", "slot", "new hole")


def _host_fixings(
    build: Build,
    verdict: Verdict,
    positions: Mapping[str, Positions],
    fixings: Sequence[Fixing] | None,
    original: Part | None,
) -> tuple[tuple[DrawnFeature, ...], tuple[Spread, ...]]:
    """Find the fixings with their places: on the host itself, or where the original shows them."""
    host_mm = places_mm(positions.get(verdict.host))
    original_mm = places_mm(positions.get(original.part)) if original else {}
    shown_by = {}
    if original:
        shown_by = {feature.goes_on or feature.feature: feature.feature for feature in build.features_of(original.part)}
    from_original = verdict.measured_from == "original" or not host_mm
    if fixings is not None:
        features = [fixing.feature for fixing in fixings]
        shown_by |= {fixing.feature.feature: fixing.shown_by for fixing in fixings if fixing.shown_by}
    else:
        features = list(build.features_of(verdict.host))
        if not features and original:
            features = list(build.features_of(original.part))
    places = original_mm if from_original else host_mm
    keys = {f.feature: shown_by.get(f.feature, f.feature) if from_original else f.feature for f in features}
    at_mm = {name: places[key] for name, key in keys.items() if key in places}
    drawn = [drawn_feature(feature, at_mm) for feature in features if feature.feature in at_mm]
    names = {keys[name]: name for name in at_mm}
    source = positions.get(original.part) if from_original and original else positions.get(verdict.host)
    ellipses = tuple(
        Spread("host", names[spread.id], spread.centre_mm, spread.semi_mm, spread.angle_deg)
        for spread in spreads(source, "host")
        if spread.id in names
    )
    return tuple(drawn), ellipses


def conflict_spans(
    conflict: Conflict,
    fixings: Sequence[DrawnFeature],
    features: Sequence[DrawnFeature],
    matrix: Matrix,
    pairs: Sequence[Pair] = (),
) -> tuple[Span, ...]:
    """Return the distances between the fixings in conflict, on both sides, the worst first.

    `pairs`: as they lie in the drawing, which counts where the smallest conflict pairs its fixings otherwise.
    """
    host = {fixing.id: fixing for fixing in fixings}
    donor = {feature.id: feature for feature in features}
    lying = {pair.fixing: (pair.feature, pair.allowed_mm or 0.0) for pair in pairs if pair.feature in donor}
    own = {pair.fixing: (pair.feature, pair.allowed_mm) for pair in conflict.pairs if pair.feature in donor}
    meant = {name: lying[name] for name in conflict.fixings if name in lying}
    if len(meant) < 2:
        meant = own
    known = [(name, *meant[name]) for name in host if name in meant]
    spans = []
    for (a, a_feature, a_allowed_mm), (b, b_feature, b_allowed_mm) in combinations(known, 2):
        p, q = host[a], host[b]
        line = math.atan2(q.at_mm[1] - p.at_mm[1], q.at_mm[0] - p.at_mm[0])
        travel_mm = 0.0
        for slot, angle_deg in (
            (p, p.angle_deg),
            (q, q.angle_deg),
            (donor[a_feature], moved_angle_deg(matrix, donor[a_feature].angle_deg)),
            (donor[b_feature], moved_angle_deg(matrix, donor[b_feature].angle_deg)),
        ):
            travel_mm += slot.half_travel_mm * abs(math.cos(math.radians(angle_deg) - line))
        spans.append(
            Span(
                a,
                b,
                math.dist(p.at_mm, q.at_mm),
                math.dist(donor[a_feature].at_mm, donor[b_feature].at_mm),
                max(0.0, a_allowed_mm) + max(0.0, b_allowed_mm) + travel_mm,
                a_feature,
                b_feature,
            )
        )
    spans.sort(key=lambda span: (span.play_mm - abs(span.too_long_mm), span.from_fixing, span.to_fixing))
    beyond = [span for span in spans if abs(span.too_long_mm) > span.play_mm]
    return tuple(beyond[:3] or spans[:1])


def _spans(
    verdict: Verdict, laid: Laid, fixings: Sequence[DrawnFeature], features: Sequence[DrawnFeature]
) -> tuple[Span, ...]:
    if verdict.conflict is None or verdict.conflict.shortfall_mm is None or laid.placement is None:
        return ()
    return conflict_spans(verdict.conflict, fixings, features, laid.placement.matrix, laid.pairs)


def _areas(
    build: Build, verdict: Verdict, positions: Mapping[str, Positions], original: Part | None
) -> tuple[tuple[DrawnZone, ...], tuple[DrawnOutline, ...]]:
    """Find zones and outlines of all three parts; the original's are carried into the host's frame."""
    sides: list[tuple[str, Owner, Matrix]] = [(verdict.host, "host", IDENTITY)]
    if original:
        carried: Matrix | None = IDENTITY
        if verdict.measured_from != "original":
            carried = _original_on_host(build, original, verdict.host, positions)
        if carried is not None:
            sides.append((original.part, "original", carried))
    sides.append((verdict.donor, "donor", IDENTITY))
    zones, outlines = [], []
    for part, owner, matrix in sides:
        for zone in build.zones:
            if zone.part == part:
                corners = tuple(moved(matrix, corner) for corner in zone.corners_mm)
                zones.append(DrawnZone(zone.zone, zone.kind, corners, owner))
        for outline in build.outlines:
            if outline.part == part:
                corners = tuple(moved(matrix, corner) for corner in outline.corners_mm)
                outlines.append(DrawnOutline(outline.name, outline.kind, corners, owner))
    return tuple(zones), tuple(outlines)


def _original_on_host(build: Build, original: Part, host: str, positions: Mapping[str, Positions]) -> Matrix | None:
    original_mm, host_mm = places_mm(positions.get(original.part)), places_mm(positions.get(host))
    pairs = [
        (original_mm[feature.feature], host_mm[feature.goes_on])
        for feature in build.features_of(original.part)
        if feature.feature in original_mm and feature.goes_on in host_mm
    ]
    found = build.part(host)
    faces = (original.seen_from, found.seen_from if found else None)
    return rigid_fit(pairs, None not in faces and faces[0] != faces[1])


def cuts_of(
    verdict: Verdict, part: str, places: Mapping[str, tuple[float, ...]], of: Owner = "donor"
) -> tuple[Cut, ...]:
    """Return the holes and slots that the verdict's adaptation makes on one part."""
    found = []
    for action in verdict.adaptation.actions if verdict.adaptation else ():
        at_mm = action.at_mm or places.get(action.feature)
        if action.do in _CUTTING and action.part == part and at_mm is not None and action.to_mm is not None:
            found.append(
                Cut(
                    action.do,
                    action.feature,
                    at_mm,
                    action.to_mm,
                    action.length_mm,
                    action.angle_deg or 0.0,
                    action.says,
                    of,
                )
            )
    return tuple(found)


def _worked(cuts: Sequence[Cut], features: Sequence[DrawnFeature]) -> tuple[DrawnFeature, ...]:
    """Return the features of a side as they are once cut; a new hole follows the others."""
    found = {feature.id: feature for feature in features}
    for cut in cuts:
        old = found.get(cut.feature) or DrawnFeature(cut.feature, cut.at_mm, "hole")
        kind = old.kind if cut.length_mm is None else "slot"
        found[cut.feature] = replace(
            old, at_mm=cut.at_mm, kind=kind, across_mm=cut.across_mm, length_mm=cut.length_mm, angle_deg=cut.angle_deg
        )
    return tuple(found.values())


def overlay_view(
    build: Build,
    verdict: Verdict,
    positions: Mapping[str, Positions],
    fixings: Sequence[Fixing] | None = None,
    drawing: int = 1,
    drawings: int = 1,
    original: str | None = None,
    after: bool = False,
) -> OverlayView | None:
    """Return what the drawing of one verdict is made from.

    Parameters
    ----------
    build, verdict
    positions
        By part id: host, original and donor, as far as they are known.
    fixings
        As the pairing saw them (the stud under an original's hole); None: as the sheets list them.
    drawing, drawings
        For the title block.
    original
        Id of the part that came off; None: the first that is measured of those that did.
    after
        With the work done, what is cut marked; else as it is.

    Returns
    -------
    OverlayView or None
        None: no place is known on either side, the part is not judged by geometry, or there is no work to show.
    """
    laid = verdict.after if after else verdict.shown
    if verdict.verdict == "not judged" or laid is None:
        return None
    came_off = build.original_on(verdict.host, original)
    drawn_fixings, host_spreads = _host_fixings(build, verdict, positions, fixings, came_off)
    donor_mm = places_mm(positions.get(verdict.donor))
    host_mm = {fixing.id: fixing.at_mm for fixing in drawn_fixings}
    cuts: tuple[Cut, ...] = ()
    if after or verdict.after is None:
        cuts = cuts_of(verdict, verdict.donor, donor_mm) + cuts_of(verdict, verdict.host, host_mm, "host")
    features = features_at(build, verdict.donor, donor_mm)
    if after:
        features = _worked([cut for cut in cuts if cut.of == "donor"], features)
        drawn_fixings = _worked([cut for cut in cuts if cut.of == "host"], drawn_fixings)
    if not drawn_fixings and not features:
        return None
    host, donor = build.part(verdict.host), build.part(verdict.donor)
    zones, outlines = _areas(build, verdict, positions, came_off)
    placement, conflict = laid.placement, None if after else verdict.conflict
    return OverlayView(
        host=verdict.host,
        donor=verdict.donor,
        host_name=host.name if host else None,
        donor_name=donor.name if donor else None,
        verdict=verdict.verdict,
        measured_from=verdict.measured_from,
        seen_from=(host.seen_from if host else None) or (donor.seen_from if donor else None),
        mirrored=bool(placement and placement.mirrored),
        fixings=drawn_fixings,
        features=features,
        matrix=placement.matrix if placement else None,
        turn_deg=placement.turn_deg if placement else None,
        margin_mm=min(p.margin_mm or 0.0 for p in laid.pairs) if after else verdict.margin_mm,
        pairs=laid.pairs,
        conflict=conflict.fixings if conflict else (),
        spans=() if after else _spans(verdict, laid, drawn_fixings, features),
        shortfall_mm=conflict.shortfall_mm if conflict else None,
        zones=zones,
        outlines=outlines,
        spreads=host_spreads + spreads(positions.get(verdict.donor), "donor"),
        cuts=cuts,
        drawing=drawing,
        drawings=drawings,
        odd=laid.odd,
        holding=(laid.holding, laid.count) if laid.odd else None,
        after=after,
    )


def _newest(offers: Sequence[Offer]) -> Offer:
    return max(offers, key=lambda offer: (offer.on or "", offer.row))


def _work_cost(verdict: Verdict) -> float | None:
    """What the work and the jobs beside it cost; None where one of them is not priced."""
    costs = [job.cost for job in verdict.besides]
    if verdict.adaptation:
        costs.append(verdict.adaptation.cost)
    return None if any(cost is None for cost in costs) else sum(cost or 0.0 for cost in costs)


def _to_match(build: Build, donor: Part) -> bool:
    """Whether a donor's finish has to be matched, at a price that nobody has named yet."""
    original = build.original_of(donor.part)
    matching = [offer for offer in build.offers if offer.part == donor.part and offer.option in ("custom", "repair")]
    priced = any(offer.price is not None for offer in matching)
    if original is None or priced:
        return False
    return (donor.finish or "").strip().lower() != (original.finish or "").strip().lower()


def option_rows(build: Build, verdicts: Sequence[Verdict]) -> tuple[OptionRow, ...]:
    """Return the newest offer of each option and part, with what it comes to as far as the sheets tell.

    The total is price, carriage, hours at the build's rate, the adaptation's cost and that of the jobs beside it; None
    without a price, or where hours or jobs are not priced. At least that, where carriage is not stated or a finish has
    to be matched.
    """
    grouped: dict[tuple[str, str | None], list[Offer]] = {}
    for offer in build.offers:
        grouped.setdefault((offer.option, offer.part), []).append(offer)
    adapting = {verdict.donor: _work_cost(verdict) for verdict in verdicts}
    rows = []
    for (_, part_id), offers in grouped.items():
        offer = _newest(offers)
        part = build.part(part_id) if part_id else None
        adaptation = adapting.get(part_id, 0.0) if part_id else 0.0
        total, rate = None, build.settings.labour_rate
        if offer.price is not None and adaptation is not None and (rate is not None or not offer.hours):
            total = offer.price + (offer.shipping or 0.0) + (offer.hours or 0.0) * (rate or 0.0) + adaptation
        rows.append(
            OptionRow(
                offer.option,
                part_id,
                part.name if part else None,
                offer.price,
                offer.shipping,
                offer.hours,
                adaptation,
                total,
                offer.available,
                offer.seller,
                offer.note,
                at_least=offer.shipping is None or (part is not None and _to_match(build, part)),
            )
        )
    return tuple(rows)


def report_view(
    build: Build,
    verdicts: Sequence[Verdict],
    overlays: Sequence[OverlayView | None],
    options: Sequence[OptionRow] | None = None,
    notes: Sequence[str] = (),
) -> ReportView:
    """Return what a report is made from; `options` None: from the offers sheet alone."""
    spent = sum(cost.amount for cost in build.costs) if build.costs else None
    rows = option_rows(build, verdicts) if options is None else tuple(options)
    return ReportView(build, tuple(verdicts), tuple(overlays), rows, spent, tuple(notes))
