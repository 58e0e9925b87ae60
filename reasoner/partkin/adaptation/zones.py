"""How near a feature is to a protected zone.

A zone of one corner is a point, of two a line; three or more close into a ring. Distances are to its
line; inside a ring counts as 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from partkin.fit.segments import apart_mm, covers, direction, segments_of
from partkin.model.build import Feature, Zone
from partkin.model.mating import direction_deg
from partkin.model.words import PROTECTED_ZONES


def edge_of(feature: Feature, at_mm: Mapping[str, Sequence[float]]) -> tuple[np.ndarray, float] | None:
    """Centre line, (2, 2), and radius in mm of a feature's edge at its place; None where it has no place.

    A slot that points nobody knows where is taken as round: it reaches as far to every side.
    """
    if feature.feature not in at_mm:
        return None
    across_mm = feature.across_mm or feature.fastener_mm or 0.0
    centre = np.asarray(at_mm[feature.feature], dtype=float)[:2]
    half_mm = max(0.0, (feature.length_mm or across_mm) - across_mm) / 2.0
    towards_deg = direction_deg(feature, at_mm)
    if towards_deg is None:
        return np.array([centre, centre]), across_mm / 2.0 + half_mm
    reach = half_mm * direction(towards_deg)
    return np.array([centre - reach, centre + reach]), across_mm / 2.0


def to_zone_mm(line: np.ndarray, radius_mm: float, zone: Zone) -> float:
    """Distance from the edge of a rounded slot (`line` (2, 2), `radius_mm`) to a zone; 0: it reaches in.

    Examples
    --------
    >>> seam = Zone("P", "Z1", "tear seam", ((0.0, 0.0), (200.0, 0.0)))
    >>> to_zone_mm(np.array([[50.0, 10.0], [60.0, 10.0]]), 4.0, seam)
    6.0
    """
    segments = segments_of(zone.corners_mm)
    return 0.0 if covers(*segments, line[0]) else max(0.0, apart_mm(line, *segments) - radius_mm)


def near_zone(
    features: Iterable[Feature],
    zones: Iterable[Zone],
    kinds: Sequence[str] = PROTECTED_ZONES,
    places_mm: Mapping[str, Sequence[float]] | None = None,
) -> dict[str, tuple[str, float]]:
    """Find the nearest protected zone of each feature, and how far its edge is from it.

    Parameters
    ----------
    features, zones
        Of one part, in its own frame.
    kinds
        The zones that count.
    places_mm
        Centres to use in place of the sheet's (adjusted positions), by feature.

    Returns
    -------
    dict
        Feature to (zone, distance in mm). 0: the feature is in the zone, because its cell says so or because
        its edge comes inside the corners. A cell that names a zone of no known kind counts. Features
        without a place and without a cell are left out, as are all when there is no zone.
    """
    listed, own = tuple(zones), tuple(features)
    at_mm = {f.feature: (f.x_mm, f.y_mm) for f in own if f.x_mm is not None and f.y_mm is not None}
    at_mm |= {name: (float(at[0]), float(at[1])) for name, at in (places_mm or {}).items()}
    kind_of = {zone.zone: zone.kind for zone in listed}
    counting = [zone for zone in listed if zone.kind in kinds and zone.corners_mm]
    found: dict[str, tuple[str, float]] = {}
    for feature in own:
        named, edge = feature.zone, edge_of(feature, at_mm)
        if named is not None and kind_of.get(named, kinds[0]) in kinds:
            found[feature.feature] = (named, 0.0)
        elif edge is not None and counting:
            away = [(to_zone_mm(*edge, zone), zone.zone) for zone in counting]
            nearest_mm, name = min(away, key=lambda pair: pair[0])
            found[feature.feature] = (name, nearest_mm)
    return found
