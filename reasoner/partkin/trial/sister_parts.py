"""What was read of a donor against what it takes the place of, for telling how sister parts come about."""

from __future__ import annotations

from partkin.fit.discrepancies import Discrepancies
from partkin.fit.solve import solve
from partkin.model.known import Known, is_restraint
from partkin.trial.believed import believed
from partkin.trial.places import faces, layouts, places_of, prepared_task


def departures(known: Known) -> Discrepancies | None:
    """How a donor departs, as read; None: it was not measured so far, or the readings leave open how it lies."""
    if is_restraint(known) or not known.donor.features:
        return None
    places = places_of(known)
    ways = faces(known, places)
    if not places.hosted.fixings or len(ways) > 1 or len(layouts(places)) > 1:
        return None
    prepared = prepared_task(known, places, mirrored=ways[0])
    if prepared.deciding():
        return None
    belief = believed(prepared, solve(prepared.task), places)
    of = belief.ways[0].of if belief is not None else None
    return of if of is not None and len(of.y_mm) else None
