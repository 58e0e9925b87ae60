"""Sizes held against what goes through them: a hole ten times its stud is a slip until somebody has looked again."""

from __future__ import annotations

from collections.abc import Iterator

from partkin.fit.mating import OPENINGS, fastener_mm, solid_mm
from partkin.model.build import Feature, Reading
from partkin.model.known import Known, Side
from partkin.model.positions import Suspect
from partkin.positions.lengths import dimensions, value_mm
from partkin.positions.slips import Slip, slip_of
from partkin.tables.instruments import slip_rule

WIDE = (*OPENINGS, "peg hole", "clip hole")
# Sizes of one part are alike within this share, and two that are alike confirm each other.
ALIKE = 0.25


def odd_sizes(known: Known) -> tuple[Suspect, ...]:
    """Find the sizes that cannot well go with what they go with; each counts as not known until it is read again.

    Of a hole or slot and what goes through it (its own thread or fastener_mm, the fixing that it goes on, or any) both
    are doubted, but for one that another feature of its part confirms, that was told twice, or that a thread tells.
    Where it is not told what goes through, a decimal sign or another unit has to explain it: a hole may be for
    something else.
    """
    sides = {side.part.part: side for side in (known.donor, known.host, known.original) if side is not None}
    found: dict[tuple[str, str], Suspect] = {}
    for side in sides.values():
        for feature in side.features:
            for opening, solid, solid_side, told in _pairs(feature, side, known):
                for suspect, slip in _odd(opening, side, solid, solid_side):
                    supposed = suspect.part == known.donor.part.part and suspect.from_feature in known.supposed
                    if not supposed and (told or (slip is not None and feature.need != "spare")):
                        found.setdefault((suspect.part or "", suspect.from_feature or ""), suspect)
    return tuple(found.values())


def _pairs(feature: Feature, side: Side, known: Known) -> Iterator[tuple[Feature, Feature, Side, bool]]:
    """What goes through an opening, and whether that is told; else the nearest in size of all that could."""
    if feature.kind not in WIDE:
        return
    if fastener_mm(feature) is not None:
        yield feature, feature, side, True
        return
    others = known.host if side is known.donor else known.donor
    solids = [other for other in others.features if other.kind not in WIDE]
    told = [o for o in solids if feature.goes_on == o.feature or o.goes_on == feature.feature]
    across_mm = _across_mm(feature, side)
    sized = [(size, o) for o in told or solids if (size := _solid_mm(o, others)) is not None]
    if across_mm is not None and sized:
        yield feature, min(sized, key=lambda one: abs(one[0] - across_mm))[1], others, bool(told)


def _across_mm(feature: Feature, side: Side) -> float | None:
    return dimensions(feature, side.readings).across_mm


def _solid_mm(feature: Feature, side: Side) -> float | None:
    """Diameter of what goes through: of a bolt by its hole's thread or fastener_mm, else its own size or thread."""
    if feature.kind in WIDE:
        return fastener_mm(feature)
    across_mm = _across_mm(feature, side)
    return solid_mm(feature) if across_mm is None else across_mm


def _odd(opening: Feature, side: Side, solid: Feature, solid_side: Side) -> Iterator[tuple[Suspect, Slip | None]]:
    wide_mm, through_mm = _across_mm(opening, side), _solid_mm(solid, solid_side)
    if wide_mm is None or through_mm is None:
        return
    if slip_rule("hole narrowest") * through_mm <= wide_mm <= slip_rule("hole widest") * through_mm:
        return
    what = f"{solid.feature} of {solid_side.part.part}" if solid is not opening else "what goes through it"
    if not _confirmed(opening, wide_mm, side):
        yield _suspect(opening, side, wide_mm, 1.2 * through_mm, f"{what} is {through_mm:g} mm")
    if solid is not opening and not solid.thread and not _confirmed(solid, through_mm, solid_side):
        beside = f"{opening.feature} of {side.part.part} is {wide_mm:g} mm"
        yield _suspect(solid, solid_side, through_mm, wide_mm / 1.2, beside)


def _confirmed(feature: Feature, across_mm: float, side: Side) -> bool:
    """Whether another feature of its kind is as wide, or it was told twice."""
    others = [f for f in side.features if f.kind == feature.kind and f.feature != feature.feature]
    sizes = [_across_mm(other, side) for other in others]
    if any(size is not None and abs(size - across_mm) <= ALIKE * across_mm for size in sizes):
        return True
    told = [value_mm(row) for row in (*side.readings, *side.replaced) if _tells(row, feature)]
    told += [feature.across_mm] if feature.across_mm is not None else []
    return sum(abs(one - across_mm) <= 0.5 * ALIKE * across_mm for one in told) > 1


def _tells(row: Reading, feature: Feature) -> bool:
    return row.quantity == "across" and row.from_feature == feature.feature


def _suspect(
    feature: Feature, side: Side, across_mm: float, usual_mm: float, beside: str
) -> tuple[Suspect, Slip | None]:
    read = [row for row in side.readings if _tells(row, feature)]
    row = read[-1] if read else Reading(side.part.part, "", "across", across_mm, "mm", feature.feature)
    slip = slip_of(row, usual_mm, 0.5 * usual_mm)
    slip = None if slip is not None and slip.kind == "tape" else slip
    meant = f"; {slip.says}?" if slip is not None else "."
    says = (
        f"{feature.feature} of {side.part.part} is {row.value:g} {row.unit} across, and {beside}{meant} Read it "
        f"again: until then its size counts as not known"
    )
    name = row.reading or f"{feature.feature}.across_mm"
    ends = side.part.part, "across", feature.feature
    return Suspect(name, 0.0, across_mm - usual_mm, says, True, *ends, likely=3.0), slip
