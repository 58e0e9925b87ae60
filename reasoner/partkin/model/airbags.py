"""Whether an airbag opens through a part: what the sheets say of it, and of the original whose place it takes."""

from __future__ import annotations

from collections.abc import Iterable

from partkin.model.build import Part, Zone
from partkin.model.words import AIRBAG_ZONES, Duty


def airbag_of(part: Part, zones: Iterable[Zone], duty: Duty | None) -> bool | None:
    """Whether an airbag opens through one part.

    Parameters
    ----------
    part
    zones
        Of any parts; a tear seam or airbag door of this one means yes.
    duty
        That counts for it.

    Returns
    -------
    bool or None
        None: that is not known and has to be asked. Of a part that is known to be no trim it is asked only where an
        airbag broke it.

    Examples
    --------
    >>> airbag_of(Part("top"), (), "trim"), airbag_of(Part("wing"), (), "body")
    (None, False)
    """
    if any(zone.part == part.part and zone.kind in AIRBAG_ZONES for zone in zones):
        return True
    if part.airbag is not None:
        return part.airbag
    return None if duty in (None, "trim") or part.broken_by == "airbag" else False


def airbag_through(
    donor: Part, original: Part | None, host: Part, zones: Iterable[Zone], duty: Duty | None
) -> bool | None:
    """Whether an airbag opens through a donor in the place that it takes; None: that has to be asked.

    A yes of any part counts. Without one the original's answer holds for the donor: an airbag behind it opens through
    whatever is put in its place, so a donor's no does not settle it. Without an original the donor's holds.
    """
    known = tuple(zones)
    if any(airbag_of(part, known, duty) for part in (donor, original, host) if part is not None):
        return True
    return airbag_of(original or donor, known, duty)
