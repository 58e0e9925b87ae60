"""Fills what the pictures are drawn from, out of a verdict, the build and the positions of its parts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from partkin.drawing.laying import (
    IDENTITY,
    drawn_feature,
    features_at,
    inverse,
    moved,
    moved_angle_deg,
    places_mm,
    rigid_fit,
    spreads,
)
from partkin.drawing.plane import Point
from partkin.model.build import Build, Offer, Outline, Part, Zone
from partkin.model.drawing import (
    Cut,
    DrawnFeature,
    DrawnOutline,
    DrawnZone,
    MarginPlot,
    Matrix,
    OptionRow,
    OverlayView,
    Owner,
    PatternPlot,
    ReportView,
    Span,
    Spread,
    TemplateView,
)
from partkin.model.fitting import Conflict, Placement
from partkin.model.known import airbag_of
from partkin.model.mating import Fixing
from partkin.model.positions import Positions
from partkin.model.problem import refused
from partkin.model.verdict import Laid, Verdict

_CUTTING = ("open out", "slot", "new hole")


def _host_fixings(
    build: Build,
    verdict: Verdict,
    positions: Mapping[str, Positions],
    fixings: Sequence[Fixing] | None,
    original: Part | None,
) -> tuple[tuple[DrawnFeature, ...], tuple[Spread, ...]]:
    """Find the fixings with their places: on the host itself, or where the original shows them."""
    source = positions.get(verdict.host)
    shown = build.features_of(original.part) if original else ()
    shown_by: dict[str, str] = {}
    if original and (verdict.measured_from == "original" or not places_mm(source)):
        source = positions.get(original.part)
        shown_by = {feature.goes_on or feature.feature: feature.feature for feature in shown}
        shown_by |= {fixing.feature.feature: fixing.shown_by for fixing in fixings or () if fixing.shown_by}
    elif verdict.measured_from == "original":
        source = None
    listed = build.features_of(verdict.host) or shown if fixings is None else [fixing.feature for fixing in fixings]
    places = places_mm(source)
    keys = {feature.feature: shown_by.get(feature.feature, feature.feature) for feature in listed}
    at_mm = {name: places[key] for name, key in keys.items() if key in places}
    names = {keys[name]: name for name in at_mm}
    ellipses = (replace(one, id=names[one.id]) for one in spreads(source, "host") if one.id in names)
    return tuple(drawn_feature(one, at_mm) for one in listed if one.feature in at_mm), tuple(ellipses)


def conflict_spans(
    conflict: Conflict,
    fixings: Sequence[DrawnFeature],
    features: Sequence[DrawnFeature],
    laid: Laid,
) -> tuple[Span, ...]:
    """Return the distances between the fixings in conflict, on both sides, the worst first.

    `laid`: as they lie in the drawing, which counts where the smallest conflict pairs its fixings otherwise. Nothing
    is told where it lies nowhere, or where it is not known by how much the fixings miss each other.
    """
    if laid.placement is None or conflict.shortfall_mm is None:
        return ()
    host = {fixing.id: fixing for fixing in fixings}
    donor = {feature.id: feature for feature in features}
    lying = {pair.fixing: (pair.feature, pair.allowed_mm or 0.0) for pair in laid.pairs if pair.feature in donor}
    meant = {name: lying[name] for name in conflict.fixings if name in lying}
    if len(meant) < 2:
        meant = {pair.fixing: (pair.feature, pair.allowed_mm) for pair in conflict.pairs if pair.feature in donor}
    known = [(name, *meant[name]) for name in host if name in meant]
    spans = []
    for (a, a_feature, a_allowed_mm), (b, b_feature, b_allowed_mm) in combinations(known, 2):
        ends = (host[a], host[b]), (donor[a_feature], donor[b_feature])
        p, q = ends[0]
        line = math.atan2(q.at_mm[1] - p.at_mm[1], q.at_mm[0] - p.at_mm[0])
        slots = [(one, one.angle_deg) for one in ends[0]]
        slots += [(one, moved_angle_deg(laid.placement.matrix, one.angle_deg)) for one in ends[1]]
        travel_mm = 0.0
        for slot, angle_deg in slots:
            travel_mm += slot.half_travel_mm * abs(math.cos(math.radians(angle_deg) - line))
        host_mm, donor_mm = (math.dist(one.at_mm, other.at_mm) for one, other in ends)
        play_mm = max(0.0, a_allowed_mm) + max(0.0, b_allowed_mm) + travel_mm
        spans.append(Span(a, b, host_mm, donor_mm, play_mm, a_feature, b_feature))
    spans.sort(key=lambda span: (span.play_mm - abs(span.too_long_mm), span.from_fixing, span.to_fixing))
    beyond = [span for span in spans if abs(span.too_long_mm) > span.play_mm]
    return tuple(beyond[:3] or spans[:1])


def areas_of(
    build: Build, part: str, owner: Owner, matrix: Matrix = IDENTITY
) -> tuple[tuple[DrawnZone, ...], tuple[DrawnOutline, ...]]:
    """Find zones and outlines of a part, carried into the frame that they are drawn in."""

    def corners(area: Zone | Outline) -> tuple[Point, ...]:
        return tuple(moved(matrix, corner) for corner in area.corners_mm)

    zones = (DrawnZone(one.zone, one.kind, corners(one), owner) for one in build.zones if one.part == part)
    lines = (DrawnOutline(one.name, one.kind, corners(one), owner) for one in build.outlines if one.part == part)
    return tuple(zones), tuple(lines)


def _all_areas(
    build: Build, verdict: Verdict, positions: Mapping[str, Positions], original: Part | None
) -> tuple[tuple[DrawnZone, ...], tuple[DrawnOutline, ...]]:
    """Find zones and outlines of all three parts; the original's are carried into the host's frame, if it is known."""
    sides: list[tuple[str, Owner, Matrix | None]] = [(verdict.host, "host", IDENTITY)]
    if original is not None:
        carried: Matrix | None = IDENTITY
        if verdict.measured_from != "original":
            at_mm, host_mm = (places_mm(positions.get(part)) for part in (original.part, verdict.host))
            pairs = [
                (at_mm[feature.feature], host_mm[feature.goes_on])
                for feature in build.features_of(original.part)
                if feature.feature in at_mm and feature.goes_on in host_mm
            ]
            host = build.part(verdict.host)
            faces = (original.seen_from, host.seen_from if host else None)
            carried = rigid_fit(pairs, None not in faces and faces[0] != faces[1])
        sides.append((original.part, "original", carried))
    sides.append((verdict.donor, "donor", IDENTITY))
    areas = [areas_of(build, part, owner, matrix) for part, owner, matrix in sides if matrix is not None]
    return tuple(zone for zones, _ in areas for zone in zones), tuple(line for _, lines in areas for line in lines)


def _cuts(verdict: Verdict, features: Sequence[DrawnFeature], fixings: Sequence[DrawnFeature]) -> tuple[Cut, ...]:
    """Return the holes and slots that the verdict's adaptation makes, on the donor first."""
    found = []
    sides: tuple[tuple[Owner, str, Sequence[DrawnFeature]], ...]
    sides = (("donor", verdict.donor, features), ("host", verdict.host, fixings))
    for of, part, listed in sides:
        places = {feature.id: feature.at_mm for feature in listed}
        for action in verdict.adaptation.actions if verdict.adaptation else ():
            at_mm = action.at_mm or places.get(action.feature)
            if action.do in _CUTTING and action.part == part and at_mm is not None and action.to_mm is not None:
                size = (action.to_mm, action.length_mm, action.angle_deg or 0.0)
                found.append(Cut(action.do, action.feature, at_mm, *size, action.says, of))
    return tuple(found)


def _worked(cuts: Sequence[Cut], of: Owner, features: Sequence[DrawnFeature]) -> tuple[DrawnFeature, ...]:
    """Return the features of a side as they are once cut; a new hole follows the others."""
    found = {feature.id: feature for feature in features}
    for cut in cuts:
        if cut.of != of:
            continue
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
    original: str | None = None,
    after: bool = False,
) -> OverlayView | None:
    """Return what the drawing of one verdict is made from.

    `positions`: by part id, of host, original and donor, as far as they are known. `fixings`: as the pairing saw them
    (the stud under an original's hole); None: as the sheets list them. `original`: id of the part that came off; None:
    the first that is measured of those that did. `after`: with the work done, what is cut marked; else as it is. None:
    no place is known on either side, the part is not judged by geometry, or there is no work to show.
    """
    laid = verdict.after if after else verdict.shown
    if verdict.verdict == "not judged" or laid is None:
        return None
    came_off = build.original_on(verdict.host, original)
    drawn_fixings, host_spreads = _host_fixings(build, verdict, positions, fixings, came_off)
    features = features_at(build, verdict.donor, places_mm(positions.get(verdict.donor)))
    cuts = _cuts(verdict, features, drawn_fixings) if after or verdict.after is None else ()
    if after:
        features, drawn_fixings = _worked(cuts, "donor", features), _worked(cuts, "host", drawn_fixings)
    if not (drawn_fixings or features):
        return None
    conflict = None if after else verdict.conflict
    zones, outlines = _all_areas(build, verdict, positions, came_off)
    view = OverlayView(
        host=verdict.host,
        donor=verdict.donor,
        verdict=verdict.verdict,
        measured_from=verdict.measured_from,
        fixings=drawn_fixings,
        features=features,
        margin_mm=min(p.margin_mm or 0.0 for p in laid.pairs) if after else verdict.margin_mm,
        pairs=laid.pairs,
        conflict=conflict.fixings if conflict else (),
        spans=conflict_spans(conflict, drawn_fixings, features, laid) if conflict else (),
        shortfall_mm=conflict.shortfall_mm if conflict else None,
        zones=zones,
        outlines=outlines,
        spreads=host_spreads + spreads(positions.get(verdict.donor), "donor"),
        cuts=cuts,
        odd=laid.odd,
        holding=(laid.holding, laid.count) if laid.odd else None,
        after=after,
    )
    return _placed(view, build, laid.placement)


def _placed(view: OverlayView, build: Build, placement: Placement | None) -> OverlayView:
    """Return the view with how its parts are called and seen, and where the donor lies, if that is known."""
    host, donor = build.part(view.host), build.part(view.donor)
    view = replace(
        view,
        host_name=host.name if host else None,
        donor_name=donor.name if donor else None,
        seen_from=(host.seen_from if host else None) or (donor.seen_from if donor else None),
    )
    if placement is None:
        return view
    return replace(view, mirrored=placement.mirrored, matrix=placement.matrix, turn_deg=placement.turn_deg)


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
    finishes = {(part.finish or "").strip().lower() for part in (donor, original) if part is not None}
    return original is not None and len(finishes) > 1 and all(offer.price is None for offer in matching)


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
        offer = max(offers, key=lambda offer: (offer.on or "", offer.row))
        part = build.part(part_id) if part_id else None
        adaptation = adapting.get(part_id, 0.0) if part_id else 0.0
        total, rate = None, build.settings.labour_rate
        if offer.price is not None and adaptation is not None and (rate is not None or not offer.hours):
            total = offer.price + (offer.shipping or 0.0) + (offer.hours or 0.0) * (rate or 0.0) + adaptation
        name, at_least = part.name if part else None, offer.shipping is None or bool(part and _to_match(build, part))
        rows.append(OptionRow(
            offer.option, part_id, name, offer.price, offer.shipping, offer.hours, adaptation, total, offer.available,
            offer.seller, offer.note, at_least,
        ))  # fmt: skip
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


_UNCUT = (
    "To check only: this part is structural, or its duty is not known. Nothing on it is drilled, slotted, welded or "
    "straightened on the strength of this sheet; the maker's instructions, local law and licensed practice decide."
)


_UNASKED = (
    "To check only: whether an airbag opens through this part is not known (airbag: yes or no in parts.csv). Nothing "
    "on it is cut or drilled until it is; the maker's instructions, local law and licensed practice decide."
)


def template_view(
    build: Build,
    part_id: str,
    positions: Mapping[str, Positions],
    overlay: OverlayView | None = None,
    cautions: Sequence[str] = (),
    turned_over: bool = False,
) -> TemplateView:
    """Return what a template of one part is made from, in that part's frame.

    With an `overlay` that has a placement, the other side's pattern is drawn on it to check against: the
    host's fixings on a donor's template, the donor's features on a host's.

    FaultyInput: it is a restraint part: those are never laid out, drilled or judged by geometry.
    """
    part = build.part(part_id)
    if part is not None and part.duty == "restraint":
        mend = "Only the maker's part number for that very vehicle tells, fitted by licensed practice"
        what = f"{part_id} is a restraint part, of which no template is made"
        raise refused("parts.csv", part.row, "duty", what, mend)
    if part is None or part.duty in (None, "structural"):
        cautions = (_UNCUT, *cautions)
    elif part.origin != "donor" and airbag_of(part, build.zones, part.duty) is None:
        # A donor's verdict says so, and by the original as well.
        cautions = (_UNASKED, *cautions)
    zones, outlines = areas_of(build, part_id, "donor")
    alone = TemplateView(
        part=part_id,
        name=part.name if part else None,
        seen_from=part.seen_from if part else None,
        turned_over=turned_over,
        features=features_at(build, part_id, places_mm(positions.get(part_id))),
        zones=zones,
        outlines=outlines,
        cautions=tuple(cautions),
    )
    if overlay is None or part_id not in (overlay.donor, overlay.host):
        return alone
    return _with_other_side(alone, overlay)


def _with_other_side(view: TemplateView, overlay: OverlayView) -> TemplateView:
    """Add the other side's pattern, what is to be cut, and the original's zones."""
    donor, matrix = view.part == overlay.donor, overlay.matrix
    laid_on: list[DrawnFeature] = []
    zones = list(view.zones)
    if matrix is not None:
        matrix = inverse(matrix) if donor else matrix
        for one in overlay.fixings if donor else overlay.features:
            angle_deg = moved_angle_deg(matrix, one.angle_deg)
            laid_on.append(replace(one, at_mm=moved(matrix, one.at_mm), angle_deg=angle_deg))
        for zone in overlay.zones if donor else ():
            if zone.of == "original":
                zones.append(replace(zone, corners_mm=tuple(moved(matrix, corner) for corner in zone.corners_mm)))
    return replace(
        view,
        laid_on_part=overlay.host if donor else overlay.donor,
        laid_on_name=overlay.host_name if donor else overlay.donor_name,
        features=view.features or (() if donor else overlay.fixings),
        laid_on=tuple(laid_on),
        cuts=tuple(cut for cut in overlay.cuts if (cut.of == "donor") == donor),
        zones=tuple(zones),
    )


def pattern_plot(build: Build, part_id: str, positions: Positions) -> PatternPlot:
    """Return what a plot of one part's pattern is made from."""
    part = build.part(part_id)
    features = features_at(build, part_id, places_mm(positions))
    return PatternPlot(part_id, part.name if part else None, features, spreads(positions, "host"))


def margin_plot(verdict: Verdict) -> MarginPlot:
    """Return what a plot of a donor's margins is made from."""
    return MarginPlot(verdict.donor, verdict.host, verdict.shown.pairs)
