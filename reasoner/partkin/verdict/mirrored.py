"""A donor that goes on unless it is a mirror image: what to look at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from partkin.model.positions import Missing
from partkin.model.words import SIDES
from partkin.positions.asking_for import tells_mirror_image
from partkin.trial.findings import Findings


def mirror_says(findings: Findings) -> str | None:
    """Say what to look at where the donor goes on one way round and not the other, and nothing else is open."""
    asked = [m for m in findings.sides if tells_mirror_image(m)]
    fits = {trial.mirrored for trial in findings.trials if trial.says == "fits"}
    others = {trial.mirrored for trial in findings.trials if trial.says != "fits"}
    if not asked or len(asked) < len(findings.sides) or len(fits) != 1 or fits & others or findings.hand is not None:
        return None
    one = asked[0]
    a, b = (one.to_feature or "").split()
    side = _side(findings, one, mirrored=next(iter(fits))) if len(asked) == 1 else None
    if side is None:
        return f"look on which side of {a} to {b} {one.from_feature} lies"
    return f"look whether {one.from_feature} lies {side} {a} to {b}"


def _side(findings: Findings, one: Missing, *, mirrored: bool) -> str | None:
    """Where the feature lies if the donor goes on; None where it is not known which face was looked at."""
    known, trial = findings.known, findings.trial
    shown = known.original if findings.measured_from == "original" and known.original else known.host
    faces = shown.part.seen_from, known.donor.part.seen_from
    if trial is None or (faces[0] is None) != (faces[1] is None):
        return None
    spots = trial.task.features if one.part == known.donor.part.part else trial.task.fixings
    at_mm = {spot.id: spot.at_mm for spot in spots}
    names = [*(one.to_feature or "").split(), one.from_feature or ""]
    if not set(names) <= set(at_mm):
        return None
    # As it is drawn the part lies one way round; it is drawn so if it goes on with its face as told.
    as_drawn = mirrored == (faces[0] != faces[1])
    return SIDES[0] if (_cross_mm2(at_mm, names) > 0.0) == as_drawn else SIDES[1]


def _cross_mm2(at_mm: Mapping[str, Sequence[float]], names: Sequence[str]) -> float:
    (ax, ay), (bx, by), (cx, cy) = (at_mm[name][:2] for name in names)
    return (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
