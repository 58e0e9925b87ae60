"""Where the donor's tear seam and airbag door come to lie, against the original's."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from partkin.adaptation.zones import seam_departure
from partkin.fit import solve
from partkin.model.fitting import FitAnswer
from partkin.model.known import Known, Side
from partkin.model.trial import SeamCheck, Trial
from partkin.model.words import AIRBAG_ZONES
from partkin.tables import coordinate_error_mm
from partkin.trying import Places, adjusted, prepared_task
from partkin.verdict import is_airbag_panel

CORNERS_COMPARED = 2
DIAGONAL = 2**0.5


def compare(known: Known, places: Places, laid: FitAnswer, chosen: Trial) -> SeamCheck | None:
    """Compare the seams at a placement; None where no airbag bursts through this panel.

    The donor's seam may stand off the original's by what the corners' readings and the play at the fixings
    explain (where it does not go on: and by how far it is out of reach), and no further.

    Parameters
    ----------
    known, places
    laid
        The donor as it is, or as it will be after the work.
    chosen
        The trial as it is.
    """
    if not is_airbag_panel(known):
        return None
    original = known.original
    on_donor, on_original = _kinds(known.donor), _kinds(original)
    unknown_on_donor = tuple(k for k in AIRBAG_ZONES if on_original[k] > on_donor[k])
    unknown_on_original = tuple(k for k in AIRBAG_ZONES if on_donor[k] > on_original[k])
    if not laid.placement or chosen.stand in ("missing", "undecided") or original is None:
        return SeamCheck(True, (), (), unknown_on_donor, unknown_on_original)
    found = _original_on_host(known, original, places)
    if found is None:
        text = "the original's own fixings are not measured, so its seam could not be laid beside the donor's"
        return SeamCheck(True, (), (), unknown_on_donor, unknown_on_original, not_compared=text)
    matrix, play_mm = found
    limit_mm = CORNERS_COMPARED * DIAGONAL * coordinate_error_mm() + play_mm + abs(laid.margin_mm or 0.0)
    departures = seam_departure(known.donor.zones, original.zones, laid.placement.matrix, matrix)
    lying = [(d.kind, d.departure_mm, limit_mm) for d in departures if d.departure_mm is not None]
    return SeamCheck(
        True,
        tuple(row for row in lying if row[1] <= limit_mm), tuple(row for row in lying if row[1] > limit_mm),
        unknown_on_donor, unknown_on_original,
    )  # fmt: skip


def _kinds(side: Side | None) -> Counter[str]:
    """How many seams and doors of each kind a side lists."""
    return Counter() if side is None else Counter(zone.kind for zone in side.zones if zone.kind in AIRBAG_ZONES)


IDENTITY = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


def _original_on_host(
    known: Known, original: Side, places: Places
) -> tuple[tuple[tuple[float, ...], ...], float] | None:
    """Placement of the original on the host, and its play there: by itself where its own holes show the fixings."""
    if places.hosted.measured_from == "original":
        return IDENTITY, 0.0
    if not original.features:
        return None
    as_donor = replace(known, donor=original)
    there = replace(places, donor=adjusted(original))
    laid = solve(prepared_task(as_donor, there, mirrored=_mirrored(known, original)).task)
    if not laid.placement or not laid.pairs:
        return None
    return laid.placement.matrix, max(0.0, laid.margin_mm or 0.0)


def _mirrored(known: Known, original: Side) -> bool:
    faces = (known.host.part.seen_from, original.part.seen_from)
    return None not in faces and faces[0] != faces[1]
