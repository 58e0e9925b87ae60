"""The geometry's own values: numbers and ids, nothing of cars or graphs.

Angles in degrees, anticlockwise; lengths in millimetres. A host frame and a donor frame; a placement
maps donor to host. Positions are tuples of 2 (flat pattern) or 3 numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from partkin.model.words import in_hundred

# From this share of the draws on what is told is the bound that they show.
SHARE_OF_ALL = 0.99


@dataclass(frozen=True)
class Spot:
    """A point of one side that pairs are made of.

    `half_travel_mm` along `angle_deg` (0: round): a slot's centre line, in the side's own frame.
    `must`: it has to be paired. `should`: paired where every must allows it.
    `axis`: unit vector in the side's frame; `grip_mm`: how far along the axis the fastener still engages;
    `depth_mm`: depth of the hole, which limits tilt.
    """

    id: str
    at_mm: tuple[float, ...]
    half_travel_mm: float = 0.0
    angle_deg: float = 0.0
    must: bool = True
    should: bool = False
    axis: tuple[float, float, float] = (0.0, 0.0, 1.0)
    grip_mm: float | None = None
    depth_mm: float | None = None


@dataclass(frozen=True)
class Option:
    """A pair that may be made: fixing and feature by id, with its play.

    `allowed_mm` may be negative: the fastener is larger than the hole by twice that. Pairs that cannot
    go together at all (kind, thread) are not options.
    """

    fixing: str
    feature: str
    allowed_mm: float


@dataclass(frozen=True)
class FitTask:
    """All that the geometry needs.

    `mirrored`: the donor's x is negated before anything else. `given`: the pairing is given, each fixing
    and feature stands in at most one option. `flex_mm`: how far hand pressure pulls the donor at a fixing
    (out of plane, unless `flex_in_plane`). `pulled_mm`: how much of that is counted in already, in the options
    and grips.
    """

    fixings: tuple[Spot, ...]
    features: tuple[Spot, ...]
    options: tuple[Option, ...]
    given: bool = False
    mirrored: bool = False
    flex_mm: float = 0.0
    flex_in_plane: bool = False
    pulled_mm: float = 0.0

    @property
    def dims(self) -> int:
        """2 for a flat pattern, 3 in space."""
        return len((self.fixings or self.features)[0].at_mm) if (self.fixings or self.features) else 2


@dataclass(frozen=True)
class Placement:
    """A rigid move of the donor onto the host: mirror first (if any), then turn, then shift.

    `matrix` is 4 x 4, donor to host, row major. In space `turn_deg` is the angle about whatever axis, and
    `z_mm` is given.
    """

    turn_deg: float
    x_mm: float
    y_mm: float
    mirrored: bool
    matrix: tuple[tuple[float, ...], ...]
    z_mm: float | None = None


Direction = Literal["across", "along", "lean"]


@dataclass(frozen=True)
class PairFit:
    """How one pair stands at the placement; `state` without `blocked`, which the mating decides.

    In space offset and allowed are those of the direction that leaves least: `across` the fixing's axis, `along`
    it, or how far the axes `lean` against each other, as if at the end of a metre. `along_mm` is how far the
    feature stands off along the axis, `lean_deg` by how much its axis leans against the fixing's. None in the
    plane.
    """

    fixing: str
    feature: str
    offset_mm: float
    allowed_mm: float
    margin_mm: float
    direction: Direction = "across"
    along_mm: float | None = None
    lean_deg: float | None = None


@dataclass(frozen=True)
class TurnBox:
    """Rotations in space: those of the quaternions (w, x, y, z) whose part `largest` (0 w to 3 z) is 1.

    The other three parts, in order, lie from `lo` to `hi`. The four boxes from -1 to 1 hold every rotation.
    """

    largest: int
    lo: tuple[float, float, float]
    hi: tuple[float, float, float]


@dataclass(frozen=True)
class Piece:
    """A range of turns with its proof: balanced weights on fixings, or two fixings that exclude it.

    In space `box` stands in place of `turn_deg` (None: every rotation), weights have three components, and
    there may be `couples` on deep holes and weights of the `axes`' directions (see docs/space.md). `carried`: what the
    distances that were read, of host and of donor, carry of the weights (see `WithinErrors`), and how far each may
    swing sideways, in mm.
    """

    turn_deg: tuple[float, float]
    weights: tuple[tuple[str, tuple[float, ...]], ...] = ()
    apart: tuple[str, str] | None = None
    box: TurnBox | None = None
    couples: tuple[tuple[str, tuple[float, ...]], ...] = ()
    axes: tuple[tuple[str, float], ...] = ()
    carried: tuple[tuple[tuple[str, float, float], ...], tuple[tuple[str, float, float], ...]] = ((), ())


@dataclass(frozen=True)
class Nogood:
    """Pairs that cannot hold together, with pieces that cover every turn.

    `near_mm`: of a proof whatever the errors are, how far from where they are stated places of host and donor may be.
    """

    pairs: tuple[tuple[str, str], ...]
    pieces: tuple[Piece, ...]
    mirrored: bool = False
    near_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class HeldSeam:
    """A tear seam or airbag door as a point (its Steiner point) that has to come near the original's.

    `original`, `donor`: their zones; `within_mm`: how far the two points may at most stand apart where the seams
    lie as they must. A conflict names it `name`, and on the donor `name_on_donor`.
    """

    kind: str
    original: str
    donor: str
    at_host_mm: tuple[float, float]
    at_donor_mm: tuple[float, float]
    within_mm: float

    @property
    def name(self) -> str:
        """No id has a space in it."""
        return f"{self.kind} {self.original}"

    @property
    def name_on_donor(self) -> str:
        """No id has a space in it."""
        return f"{self.kind} {self.donor}"


@dataclass(frozen=True)
class WithinErrors:
    """By how much of all stated errors readings would have to be out for it to go on.

    `share`: 1: all of them by as much as was stated. Where it is proved: nothing less does. `nogoods`: the proof, over
    all errors up to that share; empty: it is below 1, or was not proved. `fixings`, `features`: which have to be held
    for that. `left_out`: (part, reading) that clearly is a slip.
    """

    share: float
    fixings: tuple[str, ...] = ()
    features: tuple[str, ...] = ()
    nogoods: tuple[Nogood, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Conflict:
    """A smallest set of fixings (and of donor features that must be used) that cannot all be paired.

    `shortfall_mm`: by how much the best placement of this set alone is short; None: no pairing exists.
    `pairs`: the pairs at that best placement, for words and pictures. `seams`: of a panel that goes on, but not
    with its seams where they must be; the set is then of its fixings and these.
    """

    fixings: tuple[str, ...]
    features: tuple[str, ...]
    shortfall_mm: float | None
    pairs: tuple[PairFit, ...]
    nogoods: tuple[Nogood, ...]
    seams: tuple[HeldSeam, ...] = ()
    errors: WithinErrors | None = None


@dataclass(frozen=True)
class OddHole:
    """A pair that does not hold where the most others do.

    `out_mm`: from its fixing to the feature, in the host's frame, after its slots have taken what they can; along an
    axis in space what its grip does not take.
    `short_mm`: the least by which it is out of reach, wherever the donor is laid with the others held.
    """

    fixing: str
    feature: str
    out_mm: tuple[float, ...]
    short_mm: float


@dataclass(frozen=True)
class OddHoles:
    """A donor that does not go on, laid where the most of what must be paired holds with the largest margin.

    `pairs`: in fixing order, those that hold and those that do not; `odd`: the latter.
    """

    placement: Placement
    pairs: tuple[PairFit, ...]
    odd: tuple[OddHole, ...]


@dataclass(frozen=True)
class NoPlacement:
    """No placement was found, and why. Falsy."""

    reason: str

    def __bool__(self) -> Literal[False]:
        """Stay falsy, so that `if answer.placement` reads well."""
        return False


@dataclass(frozen=True)
class FitAnswer:
    """What the geometry found for the nominal positions.

    `fits`: None: undecided within the limit (`limit` says which). `placement`: the best one of the best pairing, also
    when it does not fit. `pairs`: in fixing order; `margin_mm`: the least over them, None where no complete pairing
    exists. `also`: how many other pairings are equally good; `also_pairs`: those, 64 at most. `conflict`: given where
    `fits` is False. `slides`: in words, movement that is left where the placement is not unique. `gaps`: in space,
    (fixing, mm) how far the faces stand apart there, largest first. `flex_used_mm`: how far the donor has to be pulled
    by hand at a fixing; where it does not fit, how far it was pulled in vain. `flex_to_be_sure`: it fits rigid as it
    likely is, and `flex_used_mm` is what may be needed for all that the readings leave open.
    """

    fits: bool | None
    placement: Placement | NoPlacement
    pairs: tuple[PairFit, ...]
    margin_mm: float | None
    also: int = 0
    also_pairs: tuple[tuple[tuple[str, str], ...], ...] = ()
    unpaired_fixings: tuple[str, ...] = ()
    unpaired_features: tuple[str, ...] = ()
    conflict: Conflict | None = None
    slides: tuple[str, ...] = ()
    limit: str | None = None
    gaps: tuple[tuple[str, float], ...] = ()
    flex_used_mm: float = 0.0
    flex_to_be_sure: bool = False


@dataclass(frozen=True)
class Chance:
    """Probability that some placement brings every pair within its play; 99 % bounds of the sequential test.

    `one_drawing`, `assumed`: weight of one drawing after the readings, and before; None where nothing was weighed.
    `at_half`, `at_twice`: `fits` if the odds of one drawing had been half, or twice, before. `just_goes_on`: share in
    which a part that just goes on would be read this far off. `hidden_mm`, `hidden_at`: by how much, and at which
    fixing, a part of another drawing may be short without having shown (95 % of the draws). None: not asked.
    """

    fits: float
    low: float
    high: float
    draws: int
    one_drawing: float | None = None
    assumed: float | None = None
    at_half: float | None = None
    at_twice: float | None = None
    just_goes_on: float | None = None
    hidden_mm: float | None = None
    hidden_at: str | None = None

    @property
    def says(self) -> str:
        """The chance for people: where all draws, or none, went on it is what they show at least, or at most.

        Examples
        --------
        >>> Chance(1.0, 0.961, 1.0, 256).says, Chance(0.004, 0.0, 0.048, 256).says, Chance(0.62, 0.5, 0.7, 256).says
        ('at least 96 in 100', 'at most 5 in 100', 'about 62 in 100')
        """
        if self.draws == 0:
            return in_hundred(self.fits)
        if self.fits >= SHARE_OF_ALL:
            return f"at least {math.floor(100.0 * self.low + 1e-9)} in 100"
        if self.fits <= 1.0 - SHARE_OF_ALL:
            return f"at most {math.ceil(100.0 * self.high - 1e-9)} in 100"
        return f"about {in_hundred(self.fits)}"


@dataclass(frozen=True)
class LikelyPlaces:
    """Places of all features, each within the stated error of every reading of it, at which the donor goes on.

    `host`, `donor`: by feature id of the part that the places come from, each in its own frame. `left_out`: (part,
    reading) that clearly is a slip.
    """

    host: tuple[tuple[str, tuple[float, ...]], ...]
    donor: tuple[tuple[str, tuple[float, ...]], ...]
    placement: Placement
    left_out: tuple[tuple[str, str], ...] = ()
