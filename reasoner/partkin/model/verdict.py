"""The verdict: what `partkin check --json` writes, as values."""

from dataclasses import dataclass, field

from partkin.model.adapting import Action, Adaptation, ConnectorLine, EdgeGap, RuledOut
from partkin.model.fitting import Chance, Conflict, LikelyPlaces, OddHole, Placement
from partkin.model.reasons import Caution, Reason, Unknown
from partkin.model.words import PairState, VerdictWord


@dataclass(frozen=True)
class Pair:
    """A pair with its state, as the verdict file lists it; numbers are None where not known.

    `direction`, `along_mm` and `lean_deg` as in `model.fitting.PairFit`.
    """

    fixing: str
    feature: str
    offset_mm: float | None
    allowed_mm: float | None
    margin_mm: float | None
    state: PairState
    why: str | None = None
    direction: str = "across"
    along_mm: float | None = None
    lean_deg: float | None = None


@dataclass(frozen=True)
class Unpaired:
    """A fixing (or donor feature) that is left over."""

    fixing: str | None
    feature: str | None
    need: str
    why: str


@dataclass(frozen=True)
class Laid:
    """A donor laid on its host: where, how each pair stands there, and what is left over.

    `odd`: of one laid where the most fixings hold, those that do not; `says` names them.
    """

    placement: Placement | None
    pairs: tuple[Pair, ...]
    unpaired: tuple[Unpaired, ...] = ()
    odd: tuple[OddHole, ...] = ()
    says: str = ""

    @property
    def holding(self) -> int:
        """How many of its pairs hold."""
        return sum(pair.state in ("lines up", "tight") for pair in self.pairs)

    @property
    def count(self) -> int:
        """How many fixings there are to hold."""
        return len(self.pairs) + sum(left.fixing is not None and left.need == "must" for left in self.unpaired)


@dataclass(frozen=True)
class Level:
    """How a part within the donor, or an assembly that the donor belongs to, stands by itself.

    `within`: True, a part of the donor; False, an assembly around it.
    """

    part: str
    name: str | None
    host: str
    verdict: VerdictWord
    within: bool
    says: str


@dataclass(frozen=True)
class Verdict:
    """One of the five words with all that it rests on.

    `host_positions`, `donor_positions`: the likely places that the geometry worked on, each in its own frame.
    `likely_work`: what would make it go on as everything was read, not surely enough to be cut yet, and the chance that
    it then does. `gaps`: in space, (fixing, mm) how far its faces stand apart, largest first. `flex_used_mm`: how far
    the donor has to be pulled by hand at a fixing (in vain, where it does not fit); None: it was judged rigid.
    `likely`: of what bolts on by what was measured, places within the errors of all readings that let it go on.
    `odd`: of what does not go on, laid where the most fixings hold. `after`: laid once the adaptation is done.
    """

    host: str
    donor: str
    measured_from: str
    verdict: VerdictWord
    chance: Chance | None = None
    margin_mm: float | None = None
    placement: Placement | None = None
    pairs: tuple[Pair, ...] = ()
    also: int = 0
    unpaired: tuple[Unpaired, ...] = ()
    conflict: Conflict | None = None
    conflict_says: str | None = None
    adaptation: Adaptation | None = None
    other_adaptations: tuple[Adaptation, ...] = ()
    ruled_out: tuple[RuledOut, ...] = ()
    adapted_chance: Chance | None = None
    likely_work: Adaptation | None = None
    likely_chance: Chance | None = None
    unknown: tuple[Unknown, ...] = ()
    safety: tuple[Caution, ...] = ()
    reasons: tuple[Reason, ...] = ()
    says: str = ""
    next_step: str = ""
    notes: tuple[str, ...] = field(default=())
    levels: tuple[Level, ...] = ()
    host_positions: tuple[tuple[str, tuple[float, ...]], ...] = ()
    donor_positions: tuple[tuple[str, tuple[float, ...]], ...] = ()
    gaps: tuple[tuple[str, float], ...] = ()
    flex_used_mm: float | None = None
    likely: LikelyPlaces | None = None
    odd: Laid | None = None
    after: Laid | None = None
    edges: tuple[EdgeGap, ...] = ()
    connectors: tuple[ConnectorLine, ...] = ()
    besides: tuple[Action, ...] = ()
    besides_ruled_out: tuple[RuledOut, ...] = ()

    @property
    def shown(self) -> Laid:
        """How it is shown as it is: where the most fixings hold, or by its best margin."""
        return self.odd or Laid(self.placement, self.pairs, self.unpaired)
