"""What is missing from a part's readings, in words, and the reading that would tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from partkin.model.build import Reading
from partkin.model.positions import Missing, Observed, Positions, Suspect
from partkin.model.verdict import Unknown
from partkin.model.words import SIDES, Face
from partkin.positions.lengths import Distance, Unusable
from partkin.positions.network import AdjustedNetwork
from partkin.positions.sides import SideSeen, question, telling_look
from partkin.positions.start import POLISHED
from partkin.positions.suspects import Contradicted

WHICH_LAYOUT = "which of"


def described(reading: Reading) -> str:
    """Return a reading's quantity and ends in words."""
    ends = " to ".join(end for end in (reading.from_feature, reading.to_feature) if end)
    return f"{reading.quantity}, {ends}" if ends else reading.quantity


def sizes(part: str, unusable: Sequence[Unusable]) -> tuple[Missing, ...]:
    """Ask for the sizes without which edge readings cannot be turned into centres."""
    names = dict.fromkeys(bad.needs_across_of for bad in unusable if bad.needs_across_of)
    return tuple(
        Missing(
            f"the size of {name}",
            part,
            "across",
            name,
            None,
            f"Read how wide {name} is across: without it a reading from its edge does not give one from its centre.",
        )
        for name in names
    )


def loose(names: Sequence[str], found: Positions, distances: Sequence[Distance]) -> tuple[Missing, ...]:
    """Ask for what ties down each feature that has no place: first from what stands widest of the rest."""
    near: dict[str, list[str]] = {}
    for row in distances:
        near.setdefault(row.from_feature, []).append(row.to_feature)
        near.setdefault(row.to_feature, []).append(row.from_feature)
    asked = []
    for number, name in enumerate(names):
        have = near.get(name, [])
        earlier = [other for other in names[:number] if other not in have]
        to = (
            _widest(found, [other for other in have if other in found.features])
            or earlier
            or [other for other in names if other not in (name, *have)]
        )
        # With nothing placed the first of them is where the others are measured from.
        there = len(found.features) or number
        tied = sum(other in found.features or other in names[:number] for other in have)
        need = max(1, min(found.dims, there) - tied)
        asked.append(
            Missing(
                f"where {name} is", found.part, "centres", name, to[0] if to else None,
                _tie(name, found.part, to[:need], to[need : need + 1] if there > 1 else ()),
            )
        )  # fmt: skip
    return tuple(asked)


def tells_sides(missing: Missing) -> bool:
    """Whether this would tell layouts, or a layout from its mirror image, apart."""
    return missing.quantity in SIDES or missing.what.startswith(WHICH_LAYOUT)


def tells_mirror_image(missing: Missing | Unknown) -> bool:
    """Whether this would tell a part from its mirror image."""
    return missing.quantity in SIDES and not missing.what.startswith(WHICH_LAYOUT)


def _widest(found: Positions, have: Sequence[str]) -> list[str]:
    """Placed features not measured from yet, each as far as can be from the span of those before it."""
    xyz_mm = found.xyz_mm
    taken = [found.features.index(name) for name in have]
    order: list[str] = []
    for _ in range(len(found.features) - len(set(taken))):
        rest = [at for at in range(len(xyz_mm)) if at not in taken]
        if taken:
            off = xyz_mm[rest] - xyz_mm[taken[0]]
            span = (xyz_mm[taken[1:]] - xyz_mm[taken[0]]).reshape(-1, found.dims)
            axes = np.linalg.svd(span, full_matrices=False)[2][: found.dims - 1]
            off = off - off @ axes.T @ axes if len(taken) <= found.dims else off
        else:
            off = xyz_mm[rest] - xyz_mm.mean(axis=0)
        best = rest[int(np.argmax(np.linalg.norm(off, axis=1).round(6)))]
        taken.append(best)
        order.append(found.features[best])
    return order


def _tie(name: str, part: str, wanted: Sequence[str], more: Sequence[str]) -> str:
    if not wanted:
        return f"Give x and y of {name} of {part}: there is no other feature to measure it from."
    ways = wanted[0] if len(wanted) == 1 else ", ".join(wanted[:-1]) + " and " + wanted[-1]
    side = f", and to {more[0]} if that leaves two places for it" if more else ""
    return f"Measure from {name} to {ways} of {part}, centre to centre{side}; or give its x and y."


def after(
    points: Sequence[str],
    layouts: Sequence[np.ndarray],
    handed: bool,
    part: str,
    readings: Sequence[Distance],
) -> tuple[Missing, ...]:
    """Ask for what tells apart the layouts, and the layout from its mirror image."""
    asked: list[Missing] = []
    if len(layouts) > 1:
        # Until left and right are known of the whole, a look at one feature tells nothing of where it is.
        look = telling_look(points, layouts) if handed and layouts[0].shape[1] == 2 else None
        asked.append(_separating(points, layouts, part, readings, look))
    if not handed:
        asked.append(_which_way_round(points, layouts[0], part))
    return tuple(asked)


def _separating(
    points: Sequence[str], layouts: Sequence[np.ndarray], part: str, readings: Sequence[Distance],
    look: tuple[str, str, str] | None,
) -> Missing:  # fmt: skip
    """What tells layouts apart: a look, where one is plain, else the distance that differs most between two of them."""
    taken = {frozenset((row.from_feature, row.to_feature)) for row in readings}
    best, gap_mm, lengths_mm = (0, 1), -1.0, np.zeros(len(layouts))
    for a, b in combinations(range(len(points)), 2):
        if frozenset((points[a], points[b])) in taken:
            continue
        apart_mm = np.sort([np.linalg.norm(layout[a] - layout[b]) for layout in layouts])
        # With more than two layouts one reading need not tell all of them apart: first the widest split.
        split_mm = float(np.diff(apart_mm).max())
        if split_mm > gap_mm + 1e-9:
            best, gap_mm, lengths_mm = (a, b), split_mm, apart_mm
    ends = points[best[0]], points[best[1]]
    count = str(len(layouts)) if len(layouts) < POLISHED else f"{len(layouts)} or more"
    values = " or ".join(f"{length:.0f} mm" for length in dict.fromkeys(lengths_mm.round().tolist()))
    what = f"{WHICH_LAYOUT} {count} layouts is the right one"
    allow = f"The readings of {part} allow {count} layouts."
    distance = f"{ends[0]} to {ends[1]}, centre to centre: it is {values}."
    if look is None:
        return Missing(what, part, "centres", *ends, f"{allow} Measure {distance}")
    begin, end, beside = look
    if len(layouts) == 2:
        allow = f"The readings of {part} leave two places for {beside}."
    says = f"{allow} {_left_or_right(part, look)}" + (f" Or measure {distance}" if gap_mm > 0.0 else "")
    return Missing(what, part, SIDES[0], beside, f"{begin} {end}", says)


def _which_way_round(points: Sequence[str], xyz_mm: np.ndarray, part: str) -> Missing:
    """A left-or-right question about the widest triangle that the features make."""
    a, b, c = question(points, xyz_mm)
    says = f"Distances alone do not tell left from right. {_left_or_right(part, (a, b, c))}"
    return Missing("which way round it is", part, SIDES[0], c, f"{a} {b}", says)


def _left_or_right(part: str, look: tuple[str, str, str]) -> str:
    a, b, c = look
    return f"Looking at {_face(part)} and going from {a} to {b}: is {c} on the left or on the right?"


def _face(part: str) -> str:
    return f"the face of {part} named in seen_from (where that is empty, write it into parts.csv first)"


def with_face(asked: Missing, seen_from: Face | None) -> Missing:
    """Name in a left-or-right question the face that the sheet names."""
    if seen_from is None:
        return asked
    return replace(asked, says=asked.says.replace(_face(asked.part), f"{asked.part} from the {seen_from}"))


def wrong_side(part: str, one: SideSeen) -> Suspect:
    """Say that a feature was seen on the other side of a line than where the rest puts it."""
    says = f"{_said(one, one.point)}, and all else that is known of {part} puts it on the other side"
    return _to_look_at(part, one, says)


def once_more(part: str, one: SideSeen) -> Suspect:
    """Say that the verdict hangs on an answer of left or right that was looked at once."""
    says = f"{_said(one, f'{one.point} of {part}')}; were it on the other side, the donor would or might go on"
    return _to_look_at(part, one, says)


def _said(one: SideSeen, what: str) -> str:
    return f"{one.reading}: {what} is said to lie {one.side} {' to '.join(one.line)}"


def _to_look_at(part: str, one: SideSeen, says: str) -> Suspect:
    says = f"{says}: look once more, at the face named in seen_from."
    return Suspect(one.reading, 0.0, 0.0, says, False, part, one.side, one.point, " ".join(one.line))


def contradiction(seen: Observed, bad: Contradicted) -> str:
    """Say by how much an observation stands out."""
    what = seen.reading
    if seen.kind == "distance":
        what += f" ({seen.from_feature} to {seen.to_feature})"
    more, off = "more" if bad.off_by_mm > 0 else "less", _plain(abs(bad.off_by_mm))
    text = f"{what}: {off} mm {more} than the other readings allow"
    if off == "0.0":
        text = f"{what}: it does not go together with the other readings"
    if bad.left_out:
        return text + "; left out until it is read again."
    return text + "; it, or one that it is checked against, is wrong: read it again."


def out_of_bounds(one: Distance, least_mm: float, most_mm: float, left_out: bool) -> str:
    """Say that the other readings rule a distance out, whatever the shape of the part is."""
    limit = f"at most {_plain(most_mm)}" if one.length_mm > most_mm else f"at least {_plain(least_mm)}"
    text = f"{one.reading} ({one.from_feature} to {one.to_feature}): {_plain(one.length_mm)} mm"
    if least_mm <= one.length_mm <= most_mm:
        return f"{text}; it, or one of the readings round it, is wrong: read it again."
    text += f", and the other readings leave room for {limit} mm"
    if left_out:
        return text + "; left out until it is read again."
    return text + "; it, or one of those, is wrong: read it again."


def _plain(value_mm: float) -> str:
    return f"{value_mm:.0f}" if value_mm >= 10.0 else f"{value_mm:.1f}"


def remarks(solution: AdjustedNetwork, positions: Positions) -> tuple[str, ...]:
    """Say what a reader of the positions should know beside the numbers."""
    notes = []
    if not positions.agree:
        notes.append(
            f"The readings do not agree with each other as well as their plus or minus says (chi-square "
            f"{positions.chi_square:.1f} with {positions.degrees_of_freedom} to spare): uncertainties were "
            f"widened {positions.sigma0:.1f} times."
        )
    if solution.soft:
        notes.append("Some features stand in one line: distances along it tell little of how far one stands beside it.")
    if positions.degrees_of_freedom == 0:
        notes.append(f"Nothing checks the readings of {positions.part}: one more would show a slip of the tape.")
    return tuple(notes)
