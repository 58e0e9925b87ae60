"""What a `does not fit` claims besides: it does not go on whatever the errors are, within a share of what was stated.

A reading bounds how far two places may depart from where they are stated: a distance along its line, a coordinate
along its axis. Forces on the pairs, balanced by what the readings carry of them, then prove as in `proofs` that the
pairs hold at no turn. A part that was measured by distances alone is laid on where it is stated by least squares, so
its departures have no mean and no moment.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from partkin.model.build import Build, Part
from partkin.verify.as_written import DISTANCES, Sides, Unwritten, half_travel, shown_by, standing
from partkin.verify.held import Held
from partkin.verify.likely import between_centres, error_of, read_within
from partkin.verify.proofs import Named, covers_every_turn, two_exclude, weights_leave
from partkin.verify.vectors import ALONG_X, EPS, PI, Vector, cos_sin, cross, dot, exact, minus, root, short, towards

Left = frozenset[tuple[str, str]]


@dataclass(frozen=True)
class StatedDistance:
    """A distance: between which two, in which direction it was stated, how long then; what was read and how far out."""

    one: str
    other: str
    along: Vector
    now: Fraction
    value: Fraction
    within: Fraction

    def changes(self, swing: Fraction) -> tuple[Fraction, Fraction]:
        """Least and most that it changes by along its line, if it swings sideways by no more.

        It is at least as long as its part along the line, and that is at least what is left beside what it swings.
        """
        least = max(self.value - self.within, Fraction(0))
        low = root(max(least**2 * (1 - 4 * EPS) - (swing + EPS * (1 + self.now)) ** 2, Fraction(0)), up=False)
        return low - self.now, (self.value + self.within) * (1 + 4 * EPS) - self.now


@dataclass(frozen=True)
class StatedPlaces:
    """Stated places of a side, and how far readings let them be elsewhere.

    `boxes`: least and most departure along x and y of those of which both coordinates were read, if there are two.
    `near`: how far the others may be.
    """

    at: Mapping[str, Vector]
    bars: Mapping[str, StatedDistance]
    boxes: Mapping[str, tuple[Vector, Vector]]
    near: Fraction

    def radius(self, name: str) -> Fraction:
        """How far a place may be from where it is stated."""
        if name not in self.boxes:
            return self.near
        far = tuple(max(abs(low), abs(high)) for low, high in zip(*self.boxes[name], strict=True))
        return root(far[0] ** 2 + far[1] ** 2, up=True)

    def gives(self, load: Mapping[str, Vector], carried: Iterable[tuple[str, Fraction, Fraction]]) -> Fraction:
        """Upper bound of the sum of load . departure over all departures that the readings allow."""
        rest = {name: load.get(name, (Fraction(0), Fraction(0))) for name in self.at}
        most = Fraction(0)
        for reading, weight, swing in carried:
            bar = self.bars[reading]
            most += max(weight * change for change in bar.changes(swing))
            for name, sign in ((bar.one, weight), (bar.other, -weight)):
                rest[name] = minus(rest[name], (sign * bar.along[0], sign * bar.along[1]))
        if not self.boxes:
            rest = self._balanced(rest)
        for name, left in rest.items():
            if name in self.boxes:
                most += sum(max(f * low, f * high) for f, low, high in zip(left, *self.boxes[name], strict=True))
            else:
                most += self.near * root(dot(left, left), up=True)
        return most

    def _balanced(self, rest: Mapping[str, Vector]) -> dict[str, Vector]:
        """Without what a shift and a turn of the whole side would take up."""
        count = len(rest)
        mean = tuple(short(sum((f[axis] for f in rest.values()), Fraction(0)) / count) for axis in (0, 1))
        middle = tuple(short(sum((q[axis] for q in self.at.values()), Fraction(0)) / count) for axis in (0, 1))
        arm = {name: (at[0] - middle[0], at[1] - middle[1]) for name, at in self.at.items()}
        left = {name: (f[0] - mean[0], f[1] - mean[1]) for name, f in rest.items()}
        size = sum((dot(a, a) for a in arm.values()), Fraction(0))
        turns = short(sum((cross(arm[n], f) for n, f in left.items()), Fraction(0)) / size) if size else Fraction(0)
        # With no mean departure it is the same about any middle.
        return {n: (f[0] + turns * arm[n][1], f[1] - turns * arm[n][0]) for n, f in left.items()}


def faults_within_errors(verdict: Mapping[str, Any], build: Build, sides: Sides) -> tuple[list[str], tuple[str, ...]]:
    """What is wrong with the proof that errors within what was stated change nothing; and what is taken as stated."""
    errors = verdict["conflict"]["errors"]
    if errors is None:
        return [], ()
    proof, share = errors["certificate"], exact(errors["share"])
    if proof is None:
        return [], ("by what share of the errors the readings would have to be out",)
    if share < 1:
        return ["less than the errors that were stated would let it go on, and it is said to be proved"], ()
    left_out = frozenset((row["part"], row["reading"]) for row in proof["left_out"])
    trusted = tuple(f"that reading {name} of {part} is the wrong one" for part, name in sorted(left_out))
    refused = []
    for row in proof["pairings"]:
        pairs = frozenset((fixing, feature) for fixing, feature in row["pairs"])
        try:
            fault = _Branch(verdict, build, sides, share, left_out, row).fault(pairs)
        except Unwritten as unwritten:
            fault = str(unwritten)
        if fault:
            named = ", ".join(f"{d} on {f}" for f, d in sorted(pairs))
            refused.append(f"within the stated errors the branch {named}: {fault}")
    near = {side: max((row["near_mm"][side] for row in proof["pairings"]), default=0.0) for side in ("host", "donor")}
    for part, side in zip(shown_by(verdict, build)[:2], ("host", "donor"), strict=True):
        if any(row.quantity in DISTANCES for row in standing(build, part.part)):
            trusted += (
                f"that no place of {part.part} is more than {near[side]:.2f} mm from where it is stated, and no line "
                f"between two of them swings farther than is stated",
            )
    return refused, trusted


class _Branch:
    """Pairs that cannot hold together, with the shapes they stand on."""

    def __init__(
        self,
        verdict: Mapping[str, Any],
        build: Build,
        sides: Sides,
        share: Fraction,
        left_out: Left,
        row: Mapping[str, Any],
    ) -> None:
        self.build, self.sides, self.share, self.pieces = build, sides, share, row["pieces"]
        self.mirrored, near = bool(row.get("mirrored", False)), row["near_mm"]
        shows, donor, self.shown = shown_by(verdict, build)
        self.parts = verdict["host"], shows.part, donor.part
        called = {feature: fixing for fixing, feature in reversed(self.shown.items())}
        fixings = {name: point.at for name, point in sides.fixings.items() if point.at is not None}
        features = {name: point.at for name, point in sides.features.items() if point.at is not None}
        self.host = self._shape(shows, fixings, called, exact(near["host"]), left_out, False)
        own = {name: name for name in features}
        self.donor = self._shape(donor, features, own, exact(near["donor"]), left_out, self.mirrored)

    def _shape(
        self, part: Part, at: Mapping[str, Vector], called: Mapping[str, str], near: Fraction, left_out: Left,
        mirrored: bool,
    ) -> StatedPlaces:  # fmt: skip
        features = {row.feature: row for row in self.build.features_of(part.part)}
        flip = -1 if mirrored else 1
        at = {name: (flip * x, y) for name, (x, y) in at.items()}
        boxes = {}
        for feature, name in called.items():
            own = features[feature]
            both = all((part.part, f"{feature}.{axis}_mm") not in left_out for axis in "xy")
            if name in at and both and own.x_mm is not None and own.y_mm is not None:
                off = minus((flip * exact(own.x_mm), exact(own.y_mm)), at[name])
                wide = self.share * error_of(own)
                boxes[name] = ((off[0] - wide, off[1] - wide), (off[0] + wide, off[1] + wide))
        rows = [row for row in standing(self.build, part.part) if (part.part, row.reading) not in left_out]
        bars = {}
        for row in rows:
            ends = called.get(row.from_feature or ""), called.get(row.to_feature or "")
            told = between_centres(row, rows, features) if row.quantity in DISTANCES else None
            if told is not None and ends[0] in at and ends[1] in at and ends[0] is not None and ends[1] is not None:
                bar = _bar(ends[0], ends[1], at, told[0], self.share * told[1], near)
                if bar is not None:
                    bars[row.reading] = bar
        return StatedPlaces(at, bars, boxes if len(boxes) > 1 else {}, near)

    def fault(self, pairs: frozenset[Named]) -> str | None:
        """Why the pieces do not prove that these pairs cannot hold together; None: they do."""
        if len({f for f, _ in pairs}) != len(pairs) or len({d for _, d in pairs}) != len(pairs):
            return "it pairs something twice"
        on = dict(pairs)
        held = {fixing: self._held((fixing, feature)) for fixing, feature in pairs}
        wide = {
            fixing: replace(one, allowed=one.allowed + self._apart(fixing, feature))
            for (fixing, one), feature in zip(held.items(), on.values(), strict=True)
        }

        def rules_out(piece: Mapping[str, Any], lo: Fraction, hi: Fraction) -> bool:
            if "apart" in piece:
                one, other = piece["apart"]
                return held[one].allowed < 0 if one == other else two_exclude(wide[one], wide[other], lo, hi)
            names = [name for name, *_ in piece["weights"]]
            if len(set(names)) != len(names):
                return False
            force = {name: (exact(x), exact(y)) for name, x, y in piece["weights"]}
            carried = [
                [(name, exact(w), exact(swing)) for name, w, swing in piece.get("carried", {}).get(side, ())]
                for side in ("host", "donor")
            ]
            return self._left(held, on, force, carried, lo, hi) > 0

        return covers_every_turn(self.pieces, rules_out)

    def _held(self, pair: Named) -> Held:
        """A pair with the play of the original that shows its fixing, and what errors of sizes add."""
        held, point = self.sides.held(pair, self.mirrored), self.sides.fixings[pair[0]]
        host, shows, donor = self.parts
        sized = {(host, pair[0]), (shows, self.shown.get(pair[0], "")), (donor, pair[1])}
        rows = [
            row for part in {part for part, _ in sized} for row in standing(self.build, part)
            if row.quantity in ("across", "length") and (part, row.from_feature) in sized
        ]  # fmt: skip
        newest = {(row.part, row.from_feature, row.quantity): read_within(row)[1] for row in rows}
        return replace(held, allowed=held.allowed + point.play + self.share * sum(newest.values(), Fraction(0)) / 2)

    def _apart(self, fixing: str, feature: str) -> Fraction:
        stood = self.sides.fixings[fixing].stood
        return self.host.radius(fixing) + self.donor.radius(feature) + (half_travel(stood) if stood else 0)

    def _left(
        self, held: Mapping[str, Held], on: Mapping[str, str], force: Mapping[str, Vector],
        carried: Sequence[Sequence[tuple[str, Fraction, Fraction]]], lo: Fraction, hi: Fraction,
    ) -> Fraction:  # fmt: skip
        """What the forces leave to prove with when every reading is out as it helps most."""
        left = weights_leave([held[name] for name in force], list(force.values()), lo, hi)
        (c, s), half = cos_sin((lo + hi) / 2), (hi - lo) / 2 * PI / 180 + EPS
        back, swing = {}, Fraction(0)
        for name, f in force.items():
            size = root(dot(f, f), up=True)
            stood = self.sides.fixings[name].stood
            if stood is not None:
                left -= half_travel(stood) * (abs(dot(f, stood.along or ALONG_X)) + 2 * EPS * size)
            back[on[name]] = (-short(c * f[0] + s * f[1]), -short(c * f[1] - s * f[0]))
            swing += (half + 4 * EPS) * size * self.donor.radius(on[name])
        return left - self.host.gives(force, carried[0]) - self.donor.gives(back, carried[1]) - swing


def _bar(
    one: str, other: str, at: Mapping[str, Vector], value: Fraction, within: Fraction, near: Fraction
) -> StatedDistance | None:
    """A distance between two stated places; None: it may point anywhere."""
    apart = minus(at[one], at[other])
    along = towards(apart)
    now = dot(along, apart)
    return StatedDistance(one, other, along, now, value, within) if now > 2 * near + EPS else None
