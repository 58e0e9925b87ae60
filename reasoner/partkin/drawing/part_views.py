"""Fills what is drawn of one part alone: its template, its pattern, its margins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from partkin.drawing.laying import moved, moved_angle_deg
from partkin.drawing.places import features_at, inverse, places_mm, spreads
from partkin.model.build import Build
from partkin.model.drawing import (
    DrawnFeature,
    DrawnOutline,
    DrawnZone,
    MarginPlot,
    Matrix,
    OverlayView,
    PatternPlot,
    TemplateView,
)
from partkin.model.known import airbag_of
from partkin.model.positions import Positions
from partkin.model.problem import FaultyInput, Problem
from partkin.model.verdict import Verdict

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

    Raises
    ------
    FaultyInput
        The part is a restraint part: those are never laid out, drilled or judged by geometry.
    """
    part = build.part(part_id)
    if part is not None and part.duty == "restraint":
        mend = "Only the maker's part number for that very vehicle tells, fitted by licensed practice"
        what = f"{part_id} is a restraint part, of which no template is made"
        raise FaultyInput((Problem("parts.csv", part.row, "duty", what, mend),))
    if part is None or part.duty in (None, "structural"):
        cautions = (_UNCUT, *cautions)
    elif part.origin != "donor" and airbag_of(part, build.zones, part.duty) is None:
        # A donor's verdict says so, and by the original as well.
        cautions = (_UNASKED, *cautions)
    zones = tuple(DrawnZone(z.zone, z.kind, z.corners_mm, "donor") for z in build.zones if z.part == part_id)
    outlines = tuple(DrawnOutline(o.name, o.kind, o.corners_mm, "donor") for o in build.outlines if o.part == part_id)
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
    donor = view.part == overlay.donor
    matrix = overlay.matrix
    if matrix is not None and donor:
        matrix = inverse(matrix)
    others = overlay.fixings if donor else overlay.features
    laid_on = tuple(_carried(feature, matrix) for feature in others) if matrix is not None else ()
    zones = list(view.zones)
    for zone in overlay.zones if donor and matrix is not None else ():
        if zone.of == "original" and matrix is not None:
            corners = tuple(moved(matrix, corner) for corner in zone.corners_mm)
            zones.append(DrawnZone(zone.name, zone.kind, corners, "original"))
    return replace(
        view,
        laid_on_part=overlay.host if donor else overlay.donor,
        laid_on_name=overlay.host_name if donor else overlay.donor_name,
        features=view.features or (() if donor else overlay.fixings),
        laid_on=laid_on,
        cuts=tuple(cut for cut in overlay.cuts if (cut.of == "donor") == donor),
        zones=tuple(zones),
    )


def _carried(feature: DrawnFeature, matrix: Matrix) -> DrawnFeature:
    return DrawnFeature(
        feature.id,
        moved(matrix, feature.at_mm),
        feature.kind,
        feature.across_mm,
        feature.length_mm,
        moved_angle_deg(matrix, feature.angle_deg),
        feature.fastener_mm,
        feature.need,
    )


def pattern_plot(build: Build, part_id: str, positions: Positions) -> PatternPlot:
    """Return what a plot of one part's pattern is made from."""
    part = build.part(part_id)
    features = features_at(build, part_id, places_mm(positions))
    return PatternPlot(part_id, part.name if part else None, features, spreads(positions, "host"))


def margin_plot(verdict: Verdict) -> MarginPlot:
    """Return what a plot of a donor's margins is made from."""
    return MarginPlot(verdict.donor, verdict.host, verdict.shown.pairs)
