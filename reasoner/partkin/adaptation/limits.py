"""How far one part may be cut: duty, material, protected zones, edges, other holes, washers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from partkin.adaptation.tables import rule, rule_or_none
from partkin.adaptation.zones import near_zone
from partkin.model.adapting import AdaptationQuestion, Bracket
from partkin.model.airbags import airbag_of
from partkin.model.build import Feature, Outline, Part, Zone
from partkin.model.fitting import Spot
from partkin.model.words import AIRBAG_ZONES, PROTECTED_ZONES, Duty
from partkin.tables import Material, material_of

LICENSED = "the maker's instructions, local law and a licensed person decide"
SAFETY = "protected zones and structural parts are not cut: project rule, common practice, no source"
OPENINGS = ("hole", "slot", "peg hole")


@dataclass(frozen=True)
class Refusal:
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


@dataclass(frozen=True, eq=False)
class PartLimits:
    """What holds for cuts in one part; lengths in its own frame."""

    part: Part
    side: str
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
        return _untouchable(self.features, self.zones, self.places)

    def may(self, do: str) -> Refusal | None:
        """Whether the part may be worked in that way at all."""
        if self.stop is not None:
            return self.stop
        if self.material is None:
            return None
        if not self.material.bears(do):
            return Refusal(self.material.why, self.material.source)
        return None

    @property
    def group(self) -> str:
        """Material group for the work table."""
        return self.material.group if self.material else "any"


def limits_of(question: AdaptationQuestion, side: str) -> PartLimits:
    """Gather the limits of the donor or of the host."""
    donor = side == "donor"
    part = question.donor if donor else question.host
    features = question.donor_features if donor else question.fixings
    spots = question.task.features if donor else question.task.fixings
    zones = question.donor_zones if donor else question.host_zones
    outlines = question.donor_outlines if donor else question.host_outlines
    duty = question.duty if donor else question.host_duty
    material = material_of(part.material)
    stop = _whole_part(part, duty, material)
    if stop is None:
        stop = (_unseen_zone(question) if donor else None) or _airbag(question, side)
    by_id = {feature.feature: feature for feature in features}
    places = {spot.id: spot.at_mm for spot in spots if _is_placed(spot, by_id.get(spot.id))}
    return PartLimits(
        part, side, material, stop, _obstacles(features, spots, places, zones, outlines),
        features, zones, places, any(line.kind == "edge" for line in outlines),
    )  # fmt: skip


def _is_placed(spot: Spot, feature: Feature | None) -> bool:
    """A spot at the very origin whose feature has no place of its own stands for `not known where`."""
    at_origin = all(value == 0.0 for value in spot.at_mm)
    return not at_origin or (feature is not None and feature.x_mm is not None)


def _whole_part(part: Part, duty: Duty | None, material: Material | None) -> Refusal | None:
    if duty is None:
        says = f"the duty of {part.part} is not known: nothing is cut until it is"
        return Refusal(says, SAFETY)
    if duty == "restraint":
        return Refusal(f"{part.part} is a restraint part: it is never altered; {LICENSED}", SAFETY)
    if duty == "structural":
        says = f"{part.part} is structural: it goes on as it is or not at all; {LICENSED}"
        return Refusal(says, SAFETY)
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


def _ring(corners: tuple[tuple[float, float], ...]) -> tuple[np.ndarray, np.ndarray]:
    points = np.asarray(corners, dtype=float)
    if len(points) <= 2:
        return points[:1], points[-1:]
    return points, np.roll(points, -1, axis=0)


def _obstacles(
    features: tuple[Feature, ...],
    spots: tuple[Spot, ...],
    places: dict[str, tuple[float, ...]],
    zones: tuple[Zone, ...],
    outlines: tuple[Outline, ...],
) -> tuple[Obstacle, ...]:
    found = [
        Obstacle(zone.kind, zone.zone, *_ring(zone.corners_mm))
        for zone in zones
        if zone.corners_mm and zone.kind in (*PROTECTED_ZONES, "opening")
    ]
    found += [
        Obstacle("edge" if line.kind == "edge" else "opening", line.name, *_ring(line.corners_mm))
        for line in outlines
        if line.kind in ("edge", "opening") and line.corners_mm
    ]
    by_id = {feature.feature: feature for feature in features}
    for spot in spots:
        feature = by_id.get(spot.id)
        if feature is not None and spot.id in places:
            line = centre_line(spot)
            found.append(Obstacle("hole", spot.id, line[:1], line[1:], feature.across_mm or 0.0))
    return tuple(found)


def _untouchable(
    features: tuple[Feature, ...], zones: tuple[Zone, ...], places: dict[str, tuple[float, ...]]
) -> dict[str, Refusal]:
    margin = rule("zone margin")
    kinds = {zone.zone: zone.kind for zone in zones}
    found = {}
    for feature, (zone, away_mm) in near_zone(features, zones, places_mm=places).items():
        if away_mm >= margin.value:
            continue
        kind = kinds.get(zone, "protected zone")
        where = "in" if away_mm == 0.0 else f"{away_mm:.0f} mm from"
        says = f"{feature} lies {where} the {kind} {zone} ({margin.value:g} mm are kept); {LICENSED}"
        found[feature] = Refusal(says, margin.source)
    return found


def centre_line(spot: Spot) -> np.ndarray:
    """Both ends, (2, 2), of a spot's centre line in its part's own frame."""
    turn = math.radians(spot.angle_deg)
    reach = spot.half_travel_mm * np.array([math.cos(turn), math.sin(turn)])
    centre = np.array(spot.at_mm[:2], dtype=float)
    return np.array([centre - reach, centre + reach])


def points_apart_mm(points: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> float:
    """Least distance between any of k points, (k, 2), and n segments."""
    return float(_to_line(points[:, None], starts, ends).min())


def _to_line(points: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    along = b - a
    square = np.einsum("...i,...i->...", along, along)
    share = np.einsum("...i,...i->...", points - a, along) / np.where(square > 0.0, square, 1.0)
    nearest = a + np.clip(share, 0.0, 1.0)[..., None] * along
    return np.linalg.norm(points - nearest, axis=-1)


def apart_mm(line: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> float:
    """Least distance between one segment, (2, 2), and n others; 0 where they cross."""
    a, b = line[0], line[1]
    if len(starts) and np.any(_crossing(a, b, starts, ends)):
        return 0.0
    return float(
        min(
            _to_line(a, starts, ends).min(),
            _to_line(b, starts, ends).min(),
            _to_line(starts, a, b).min(),
            _to_line(ends, a, b).min(),
        )
    )


def _crossing(a: np.ndarray, b: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    def side(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> np.ndarray:
        return (q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1]) - (q[..., 1] - p[..., 1]) * (
            r[..., 0] - p[..., 0]
        )

    straddles = side(a, b, starts) * side(a, b, ends) < 0.0
    return np.asarray(straddles & (side(starts, ends, a) * side(starts, ends, b) < 0.0))


def edge_distance_mm(group: str, hole_mm: float, bolt_mm: float, slot: bool = False) -> tuple[float, str]:
    """Least distance from a hole's centre (a slot's centre line) to an edge, and whose figure it is.

    Parameters
    ----------
    group
        `sheet metal`, `moulded`, `cast` or `composite`.
    hole_mm, bolt_mm
        Diameter or width of the hole, and of the bolt in it.

    Examples
    --------
    >>> edge_distance_mm("sheet metal", 13.0, 12.0)[0], edge_distance_mm("moulded", 7.0, 6.0)[0]
    (15.6, 12.0)
    """
    wanted = rule_or_none("slot edge", group) if slot else None
    wanted = wanted or rule("edge", group)
    away_mm = wanted.value * (hole_mm if wanted.of == "hole" else bolt_mm)
    listed = rule_or_none(f"edge of M{bolt_mm:g}", group)
    if listed is not None and listed.value > away_mm:
        return listed.value, listed.source
    return round(away_mm, 6), wanted.source


def refuse_cut(
    limits: PartLimits, line: np.ndarray, across_mm: float, bolt_mm: float, slot: bool, but: str | None = None
) -> Refusal | None:
    """Check a hole or slot against all that it must keep away from; None: it may be cut.

    Parameters
    ----------
    line
        Both ends of its centre line, (2, 2), in the part's frame.
    across_mm, bolt_mm
    slot
    but
        The feature that is being worked on.
    """
    group = limits.material.rules_as if limits.material else "moulded"
    margin, pitch = rule("zone margin"), rule("pitch")
    rings = [obstacle for obstacle in limits.obstacles if obstacle.what == "edge" and len(obstacle.starts) > 2]
    if rings and not any(_covers(ring, line) for ring in rings):
        return Refusal("it would lie off the part as its outline is drawn", "the outline")
    for obstacle in limits.obstacles:
        if obstacle.what == "hole" and obstacle.name == but:
            continue
        if obstacle.what == "opening" and _covers(obstacle, line):
            return Refusal(f"it would lie in the opening {obstacle.name}", "the outline")
        away_mm = apart_mm(line, obstacle.starts, obstacle.ends)
        if obstacle.what in PROTECTED_ZONES:
            kept_mm = away_mm - across_mm / 2.0
            if kept_mm < margin.value or _covers(obstacle, line):
                return _too_near("it would", obstacle, kept_mm, _covers(obstacle, line))
        elif obstacle.what == "hole":
            least_mm = pitch.value * max(across_mm, obstacle.across_mm)
            if away_mm < least_mm:
                says = f"it would come within {away_mm:.0f} mm of {obstacle.name} ({least_mm:.0f} are kept)"
                return Refusal(says, pitch.source, obstacle.name)
        else:
            least_mm, source = edge_distance_mm(group, across_mm, bolt_mm, slot)
            if away_mm < least_mm:
                says = f"its centre would come within {away_mm:.0f} mm of an edge ({least_mm:.1f} are kept)"
                return Refusal(says, source)
    return None


def refuse_bracket(limits: PartLimits, at_mm: tuple[float, ...], bracket: Bracket) -> Refusal | None:
    """Check that a bracket whose own feature comes to a place reaches the part, and no hole for it a protected zone."""
    margin, at = rule("zone margin"), np.array([at_mm[:2], at_mm[:2]], dtype=float)
    rings = [obstacle for obstacle in limits.obstacles if obstacle.what == "edge" and len(obstacle.starts) > 2]
    if rings and bracket.reach_mm is not None and not any(_covers(ring, at) for ring in rings):
        away_mm = min(apart_mm(at, ring.starts, ring.ends) for ring in rings)
        if away_mm > bracket.reach_mm:
            reach = f"it reaches {bracket.reach_mm:.0f} mm, and the edge is {away_mm:.0f} mm away"
            return Refusal(f"{bracket.part} would not reach the part as its outline is drawn: {reach}", "the outline")
    for obstacle in limits.obstacles:
        if obstacle.what in PROTECTED_ZONES:
            kept_mm = apart_mm(at, obstacle.starts, obstacle.ends) - (bracket.reach_mm or 0.0)
            if kept_mm < margin.value or _covers(obstacle, at):
                return _too_near("its holes could", obstacle, kept_mm, _covers(obstacle, at))
    return None


def _too_near(what: str, zone: Obstacle, kept_mm: float, inside: bool) -> Refusal:
    margin = rule("zone margin")
    where = "stand in" if inside else "reach into" if kept_mm <= 0.0 else f"come within {kept_mm:.0f} mm of"
    says = f"{what} {where} the {zone.what} {zone.name} ({margin.value:g} mm are kept)"
    return Refusal(f"{says}; {LICENSED}", margin.source)


def _covers(obstacle: Obstacle, line: np.ndarray) -> bool:
    """Whether the zone's ring has the cut inside it."""
    if len(obstacle.starts) < 3:
        return False
    (x, y) = line[0]
    (ax, ay), (bx, by) = obstacle.starts.T, obstacle.ends.T
    level = (ay > y) != (by > y)
    rise = np.where(level, by - ay, 1.0)
    return bool(np.count_nonzero(level & (x < ax + (y - ay) * (bx - ax) / rise)) % 2)
