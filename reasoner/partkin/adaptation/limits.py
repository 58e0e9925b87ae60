"""How far one part may be cut: duty, material, protected zones, edges, other holes, washers.

In: the question and a side. Out: what holds for every cut in that part, and for one cut the reason against it.
A zone of one corner is a point, of two a line; three or more close into a ring. Distances are to its line; inside a
ring counts as 0.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from partkin.fit.segments import apart_each_mm, apart_mm, centre_line, covers, direction, segments_of
from partkin.model.adapting import AdaptationQuestion, Bracket
from partkin.model.build import Feature, Outline, Part, Zone
from partkin.model.fitting import Spot
from partkin.model.known import airbag_of
from partkin.model.mating import direction_deg
from partkin.model.words import AIRBAG_ZONES, PROTECTED_ZONES, Duty
from partkin.tables.work import Material, edge_rule, edge_rule_or_none, material_of

LICENSED = "the maker's instructions, local law and a licensed person decide"
SAFETY = "protected zones and structural parts are not cut: project rule, common practice, no source"
OPENINGS = ("hole", "slot", "peg hole")


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
    """Find the nearest protected zone of each feature of one part, and how far its edge is from it, in mm.

    0: the feature is in the zone, because its cell says so or because its edge comes inside the corners. A cell that
    names a zone of no known kind counts. Features without a place and without a cell are left out, as are all when
    there is no zone. `places_mm`: centres to use in place of the sheet's (adjusted positions), by feature.
    """
    listed, own = tuple(zones), tuple(features)
    at_mm = {f.feature: (f.x_mm, f.y_mm) for f in own if f.x_mm is not None and f.y_mm is not None}
    at_mm |= {name: (float(at[0]), float(at[1])) for name, at in (places_mm or {}).items()}
    kind_of = {zone.zone: zone.kind for zone in listed}
    counting = [zone for zone in listed if zone.kind in kinds and zone.corners_mm]
    found: dict[str, tuple[str, float]] = {}
    for feature in own:
        named, edge = feature.zone, edge_of(feature, at_mm)
        if named is not None and (named not in kind_of or kind_of[named] in kinds):
            found[feature.feature] = (named, 0.0)
        elif edge is not None and counting:
            away = [(to_zone_mm(*edge, zone), zone.zone) for zone in counting]
            nearest_mm, name = min(away, key=lambda pair: pair[0])
            found[feature.feature] = (name, nearest_mm)
    return found


class Refusal(NamedTuple):
    """Why a job is not done; `near`: the hole that is in the way."""

    says: str
    source: str
    near: str | None = None


@dataclass(frozen=True, eq=False)
class Obstacle:
    """Lines that a cut keeps away from: segments (n, 2) to (n, 2)."""

    what: str
    name: str
    starts: np.ndarray
    ends: np.ndarray
    across_mm: float = 0.0

    @property
    def is_protected(self) -> bool:
        """Whether it is a zone that nothing is cut in or near."""
        return self.what in PROTECTED_ZONES

    def covers(self, line: np.ndarray) -> bool:
        """Whether its ring has a cut inside."""
        return covers(self.starts, self.ends, line[0])


@dataclass(frozen=True, eq=False)
class PartLimits:
    """What holds for cuts in one part; lengths in its own frame."""

    part: Part
    material: Material | None
    stop: Refusal | None
    obstacles: tuple[Obstacle, ...]
    features: tuple[Feature, ...]
    zones: tuple[Zone, ...]
    places: dict[str, tuple[float, ...]]
    outline_known: bool

    @cached_property
    def untouchable(self) -> dict[str, Refusal]:
        """Features in or near a protected zone: as they are only."""
        margin, kinds, found = edge_rule("zone margin"), {zone.zone: zone.kind for zone in self.zones}, {}
        for feature, (zone, away_mm) in near_zone(self.features, self.zones, places_mm=self.places).items():
            if away_mm < margin.value:
                where = "in" if away_mm == 0.0 else f"{away_mm:.0f} mm from"
                says = f"{feature} lies {where} the {kinds.get(zone, 'protected zone')} {zone}"
                found[feature] = Refusal(f"{says} ({margin.value:g} mm are kept); {LICENSED}", margin.source)
        return found

    def may(self, do: str) -> Refusal | None:
        """Whether the part may be worked in that way at all."""
        if self.stop is not None or self.material is None or self.material.bears(do):
            return self.stop
        return Refusal(self.material.why, self.material.source)

    @cached_property
    def _lines(self) -> tuple[np.ndarray, np.ndarray, list[int]]:
        """Starts and ends of the segments of all obstacles, and where each obstacle begins."""
        counts = [0, *(len(obstacle.starts) for obstacle in self.obstacles)]
        starts, ends = ([getattr(one, side) for one in self.obstacles] for side in ("starts", "ends"))
        return np.concatenate(starts), np.concatenate(ends), [int(first) for first in np.cumsum(counts[:-1])]

    def apart_mm(self, line: np.ndarray) -> list[tuple[Obstacle, float]]:
        """Return the obstacles, each with the least distance of a cut's centre line, (2, 2), from it."""
        if not self.obstacles:
            return []
        return list(zip(self.obstacles, apart_each_mm(line, *self._lines).tolist(), strict=True))

    @property
    def group(self) -> str:
        """Material group for the work table."""
        return self.material.group if self.material else "any"

    @property
    def outside(self) -> list[Obstacle]:
        """The rings that the part lies in."""
        return [obstacle for obstacle in self.obstacles if obstacle.what == "edge" and len(obstacle.starts) > 2]

    def edge_mm(self, hole_mm: float, bolt_mm: float, slot: bool) -> tuple[float, str]:
        """Least distance from a hole's centre (a slot's centre line) to an edge, and whose figure it is."""
        return edge_distance_mm(self.material.rules_as if self.material else "moulded", hole_mm, bolt_mm, slot)

    def kept_mm(self, obstacle: Obstacle, across_mm: float, bolt_mm: float, slot: bool) -> tuple[float, str]:
        """How far the centre line of a cut keeps from an obstacle, and whose figure it is."""
        margin, pitch = edge_rule("zone margin"), edge_rule("pitch")
        if obstacle.is_protected:
            return margin.value + across_mm / 2.0, margin.source
        if obstacle.what == "hole":
            return pitch.value * max(across_mm, obstacle.across_mm), pitch.source
        return self.edge_mm(across_mm, bolt_mm, slot)


def limits_of(question: AdaptationQuestion, side: str) -> PartLimits:
    """Gather the limits of the donor or of the host."""
    donor = side == "donor"
    part = question.donor if donor else question.host
    features = question.donor_features if donor else question.fixings
    spots = question.task.features if donor else question.task.fixings
    zones = question.donor_zones if donor else question.host_zones
    outlines = question.donor_outlines if donor else question.host_outlines
    material = material_of(part.material)
    stop = _whole_part(part, question.duty if donor else question.host_duty, material)
    stop = stop or (_unseen_zone(question) if donor else None) or _airbag(question, side)
    sized = {feature.feature: feature for feature in features}
    # A spot at the very origin whose feature has no place of its own stands for `not known where`.
    placed = [s for s in spots if any(s.at_mm) or (s.id in sized and sized[s.id].x_mm is not None)]
    holes = tuple(_hole(spot, sized[spot.id]) for spot in placed if spot.id in sized)
    return PartLimits(
        part=part,
        material=material,
        stop=stop,
        obstacles=(*_rings(zones, outlines), *holes),
        features=features,
        zones=zones,
        places={spot.id: spot.at_mm for spot in placed},
        outline_known=any(line.kind == "edge" for line in outlines),
    )


def _hole(spot: Spot, feature: Feature) -> Obstacle:
    line = centre_line(spot)
    return Obstacle("hole", spot.id, line[:1], line[1:], feature.across_mm or 0.0)


def _rings(zones: tuple[Zone, ...], outlines: tuple[Outline, ...]) -> list[Obstacle]:
    found: list[tuple[str, str, tuple[tuple[float, float], ...]]]
    found = [(z.kind, z.zone, z.corners_mm) for z in zones if z.kind in (*PROTECTED_ZONES, "opening")]
    found += [(line.kind, line.name, line.corners_mm) for line in outlines if line.kind in ("edge", "opening")]
    return [Obstacle(kind, name, *segments_of(corners)) for kind, name, corners in found if corners]


def _whole_part(part: Part, duty: Duty | None, material: Material | None) -> Refusal | None:
    if duty is None:
        return Refusal(f"the duty of {part.part} is not known: nothing is cut until it is", SAFETY)
    if duty == "restraint":
        return Refusal(f"{part.part} is a restraint part: it is never altered; {LICENSED}", SAFETY)
    if duty == "structural":
        return Refusal(f"{part.part} is structural: it goes on as it is or not at all; {LICENSED}", SAFETY)
    if material is None and duty == "body":
        says = f"the material of {part.part} is not known: it may be high-strength steel, which is never cut"
        return Refusal(says, "common practice, no source")
    return None


def _airbag(question: AdaptationQuestion, side: str) -> Refusal | None:
    """Nothing is cut before it is known whether an airbag opens through it, nor before it is known where."""
    donor = side == "donor"
    part, zones = (question.donor, question.donor_zones) if donor else (question.host, question.host_zones)
    opens = question.airbag if donor else airbag_of(part, zones, question.host_duty)
    if question.airbag is None or opens is None:
        which = (question.original or question.donor).part if question.airbag is None else part.part
        says = f"whether an airbag opens through {which} is not known: nothing is cut until it is"
        return Refusal(f"{says}; {LICENSED}", SAFETY)
    if opens and not any(zone.kind in AIRBAG_ZONES for zone in zones):
        says = f"where the seam that an airbag opens in {part.part} lies is not known: nothing is cut until it is"
        return Refusal(f"{says}; {LICENSED}", SAFETY)
    return None


def _unseen_zone(question: AdaptationQuestion) -> Refusal | None:
    """A seam that the original has, and the donor must have too, lies somewhere unknown; so may one of several."""
    for kind in AIRBAG_ZONES:
        on_donor, on_original = (
            sum(zone.kind == kind for zone in zones) for zones in (question.donor_zones, question.original_zones)
        )
        if on_donor < on_original:
            which = f"the donor's {kind}" if not on_donor else f"one {kind} of the donor"
            return Refusal(f"where {which} lies is not known: nothing is cut until it is; {LICENSED}", SAFETY)
    return None


def edge_distance_mm(group: str, hole_mm: float, bolt_mm: float, slot: bool = False) -> tuple[float, str]:
    """Least distance from a hole's centre (a slot's centre line) to an edge, and whose figure it is.

    `group`: `sheet metal`, `moulded`, `cast` or `composite`.

    >>> edge_distance_mm("sheet metal", 13.0, 12.0)[0], edge_distance_mm("moulded", 7.0, 6.0)[0]
    (15.6, 12.0)
    """
    wanted = (edge_rule_or_none("slot edge", group) if slot else None) or edge_rule("edge", group)
    away_mm = wanted.value * (hole_mm if wanted.of == "hole" else bolt_mm)
    listed = edge_rule_or_none(f"edge of M{bolt_mm:g}", group)
    if listed is not None and listed.value > away_mm:
        return listed.value, listed.source
    return round(away_mm, 6), wanted.source


def refuse_cut(
    limits: PartLimits, line: np.ndarray, across_mm: float, bolt_mm: float, slot: bool, but: str | None = None
) -> Refusal | None:
    """Check a hole or slot against all that it must keep away from; None: it may be cut.

    `line`: both ends of its centre line, (2, 2), in the part's frame. `but`: the feature that is being worked on.
    """
    if limits.outside and not any(ring.covers(line) for ring in limits.outside):
        return Refusal("it would lie off the part as its outline is drawn", "the outline")
    for obstacle, away_mm in limits.apart_mm(line):
        if obstacle.what == "hole" and obstacle.name == but:
            continue
        if obstacle.what == "opening" and obstacle.covers(line):
            return Refusal(f"it would lie in the opening {obstacle.name}", "the outline")
        if obstacle.is_protected:
            refusal = _refuse_near_zone("it would", obstacle, line, away_mm - across_mm / 2.0)
            if refusal is not None:
                return refusal
            continue
        least_mm, source = limits.kept_mm(obstacle, across_mm, bolt_mm, slot)
        if away_mm < least_mm and obstacle.what == "hole":
            says = f"it would come within {away_mm:.0f} mm of {obstacle.name} ({least_mm:.0f} are kept)"
            return Refusal(says, source, obstacle.name)
        if away_mm < least_mm:
            says = f"its centre would come within {away_mm:.0f} mm of an edge ({least_mm:.1f} are kept)"
            return Refusal(says, source)
    return None


def refuse_bracket(limits: PartLimits, at_mm: tuple[float, ...], bracket: Bracket) -> Refusal | None:
    """Check that a bracket whose own feature comes to a place reaches the part, and no hole for it a protected zone."""
    at, rings = np.array([at_mm[:2], at_mm[:2]], dtype=float), limits.outside
    apart = limits.apart_mm(at)
    if rings and bracket.reach_mm is not None and not any(ring.covers(at) for ring in rings):
        away_mm = min(away_mm for ring, away_mm in apart if ring in rings)
        if away_mm > bracket.reach_mm:
            reach = f"it reaches {bracket.reach_mm:.0f} mm, and the edge is {away_mm:.0f} mm away"
            return Refusal(f"{bracket.part} would not reach the part as its outline is drawn: {reach}", "the outline")
    near = [(zone, away_mm - (bracket.reach_mm or 0.0)) for zone, away_mm in apart if zone.is_protected]
    found = (_refuse_near_zone("its holes could", zone, at, kept_mm) for zone, kept_mm in near)
    return next((refusal for refusal in found if refusal is not None), None)


def _refuse_near_zone(what: str, zone: Obstacle, line: np.ndarray, kept_mm: float) -> Refusal | None:
    margin, inside = edge_rule("zone margin"), zone.covers(line)
    if kept_mm >= margin.value and not inside:
        return None
    where = "stand in" if inside else "reach into" if kept_mm <= 0.0 else f"come within {kept_mm:.0f} mm of"
    says = f"{what} {where} the {zone.what} {zone.name} ({margin.value:g} mm are kept)"
    return Refusal(f"{says}; {LICENSED}", margin.source)
