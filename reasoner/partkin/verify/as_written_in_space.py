"""What the sheets say of fixings that do not lie in one plane: the verifier's own reading of heights and axes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from partkin.model.build import Build, Feature, Part
from partkin.verify.as_written import (
    ALONG_X,
    UNTHREADED,
    Point,
    Sides,
    Unwritten,
    cell,
    exact,
    half_travel,
    has_distances,
    length,
    standing,
    towards,
)
from partkin.verify.proofs import Named
from partkin.verify.proofs_in_space import UP, ZERO, HeldInSpace, Solid, dot, laid_over, plus, unit


@dataclass(frozen=True)
class Solids:
    """Of one side: places and axes by feature (or fixing) id, and the depth of the part's own holes."""

    at: Mapping[str, Solid]
    axis: Mapping[str, Solid]
    depth: Fraction


@dataclass(frozen=True)
class SpaceSides(Sides):
    """Both sides in space."""

    host_solids: Solids = Solids({}, {}, ZERO)
    donor_solids: Solids = Solids({}, {}, ZERO)

    def solid(self, pair: Named, mirrored: bool) -> HeldInSpace:
        """The pair as numbers.

        Raises
        ------
        Unwritten
            A place or a size is not known, or the pair cannot be made at all.
        """
        if pair not in self.options:
            raise Unwritten(f"{pair[1]} cannot go on {pair[0]}")
        host, donor, allowed = self.fixings[pair[0]], self.features[pair[1]], self.allowed(pair)
        q, p = self.host_solids.at.get(pair[0]), self.donor_solids.at.get(pair[1])
        if q is None or p is None or allowed is None:
            raise Unwritten(f"a place or a size of {pair[0]} or {pair[1]} is not written")
        a, b = self.host_solids.axis[pair[0]], self.donor_solids.axis[pair[1]]
        grip = _grip(host)
        grip = _grip(donor) if grip is None else grip
        ends = ((self.host_solids, host), (self.donor_solids, donor))
        depths = [side.depth for side, point in ends if point.kind in UNTHREADED]
        along, flip = laid_over(b, *(donor.along or ALONG_X)), -1 if mirrored else 1
        return HeldInSpace(
            (flip * p[0], p[1], p[2]), q, allowed, (grip or ZERO) + self.pulled, a, (flip * b[0], b[1], b[2]),
            max([ZERO, *depths]), half_travel(host), laid_over(a, *(host.along or ALONG_X)), half_travel(donor),
            (flip * along[0], along[1], along[2]),
        )  # fmt: skip


def _grip(point: Point) -> Fraction | None:
    """A fastener engages to within one diameter of it either way (common practice, no source)."""
    return point.bolt if point.kind in UNTHREADED else point.across


def lift(
    sides: Sides, build: Build, rows: list[tuple[str, Feature, Feature]], donor: Part, shows: Part, stated: Mapping
) -> Sides:
    """The same sides in space, unless both are flat with every axis along z.

    Where one side is not flat and the other has no heights, the other has no places in space.
    """
    mine = [(f.feature, f, f) for f in build.features_of(donor.part)]
    found = []
    for side, part, listed in (("host", shows, rows), ("donor", donor, mine)):
        told = stated.get(side) if has_distances(build, part) else None
        found.append(Solids(_places(listed, told), _axes(listed), _depth(build, part)))
    host, own = found
    if all(_is_flat(side) for side, listed in ((host, rows), (own, mine)) if _has_heights(listed)):
        return sides
    points = {"fixings": _pointed(sides.fixings, rows, host), "features": _pointed(sides.features, mine, own)}
    # In space a pattern in one line may still have axes that lean to one side.
    more = {**points, "faces": replace(sides.faces, either=False)}
    return SpaceSides(**{**vars(sides), **more}, host_solids=host, donor_solids=own)


def _pointed(
    points: Mapping[str, Point], rows: list[tuple[str, Feature, Feature]], side: Solids
) -> dict[str, Point]:
    """The same points; a slot that points at another feature does so along its own plane."""
    found = dict(points)
    for name, feature, _ in rows:
        here, there = side.at.get(name), side.at.get(feature.angle_to or "")
        if here is not None and there is not None and points[name].kind == "slot":
            over = plus(there, here, -1)
            x, y = (dot(over, laid_over(side.axis[name], *way)) for way in ((Fraction(1), ZERO), (ZERO, Fraction(1))))
            found[name] = replace(points[name], along=towards(x, y))
    return found


def _places(rows: list[tuple[str, Feature, Feature]], stated: Mapping | None) -> dict[str, Solid]:
    """As the sheet has them; adjusted from distances: as the verdict states them."""
    found: dict[str, Solid] = {}
    for name, _, shown in rows:
        here = (shown.x_mm, shown.y_mm, shown.z_mm) if stated is None else tuple(stated.get(name, (None,)))
        if None not in here and len(here) == 3:
            x, y, z = (exact(value or 0) for value in here)
            found[name] = (x, y, z)
    return found


def _axes(rows: list[tuple[str, Feature, Feature]]) -> dict[str, Solid]:
    found = {}
    for name, _, shown in rows:
        x, y, z = (Fraction(value) for value in shown.axis) if shown.axis else UP
        found[name] = unit((x, y, z)) if shown.axis else UP
    return found


def _has_heights(rows: list[tuple[str, Feature, Feature]]) -> bool:
    return any(shown.z_mm is not None for _, _, shown in rows)


def _depth(build: Build, part: Part) -> Fraction:
    """Thickness of a part: its newest reading, else its cell."""
    found = cell(part.thickness_mm) or ZERO
    for row in standing(build, part.part):
        if row.quantity == "thickness":
            found = length(row) or ZERO
    return found


def _is_flat(solids: Solids) -> bool:
    level = len({at[2] for at in solids.at.values()}) <= 1
    return level and all(axis[2] > 1 - Fraction(1, 10**9) for axis in solids.axis.values())
