"""How a donor was laid on its host and came out, and the verdict that `partkin check --json` writes, as values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from partkin.model.adapting import Action, Adaptation, ConnectorLine, EdgeGap, RuledOut
from partkin.model.fitting import Chance, Conflict, FitAnswer, FitTask, LikelyPlaces, OddHole, Placement
from partkin.model.mating import Mating
from partkin.model.positions import Missing
from partkin.model.words import PairState, VerdictWord


@dataclass(frozen=True)
class Reason:
    """Something the verdict rests on."""

    id: str
    says: str
    because: tuple[str, ...] = ()
    source: str | None = None


COMMON = "common practice, no source"
DEFER = "Follow the maker's instructions and local law, and leave it to a licensed person."


@dataclass(frozen=True)
class Caution:
    """A safety rule that applies; `hold`: the verdict alone is not enough to go ahead."""

    rule: str
    says: str
    hold: bool = False
    source: str = COMMON


@dataclass(frozen=True)
class Unknown:
    """What is not known, and the reading that would tell (None: a question, not a reading)."""

    what: str
    says: str
    part: str | None = None
    quantity: str | None = None
    from_feature: str | None = None
    to_feature: str | None = None


Stand = Literal["fits", "does not", "unsure", "missing", "undecided"]


@dataclass(frozen=True)
class SeamCheck:
    """Where the donor's tear seams and airbag doors lie against the original's at the placement.

    `too_far`: (zone kind, departure_mm, limit_mm). `unknown_on_donor`, `unknown_on_original`: zone kinds that
    one side has and the other does not list. `conflict`: the proof that no placement puts the seams right.
    `original_at`: 4 x 4, from the original to the host, as it was laid for that.
    """

    coincide: tuple[tuple[str, float, float], ...] = ()
    too_far: tuple[tuple[str, float, float], ...] = ()
    unknown_on_donor: tuple[str, ...] = ()
    unknown_on_original: tuple[str, ...] = ()
    not_compared: str | None = None
    conflict: Conflict | None = None
    original_at: tuple[tuple[float, ...], ...] | None = None


@dataclass(frozen=True)
class Trial:
    """The geometry's answer with what the verdict needs beside it.

    `stand`: fits (chance at or above the confidence), does not (a conflict that no reading still missing
    can undo), unsure (in between), missing (a needed value is not known), undecided (limit reached).
    `matings`: (fixing, feature) -> how the two go together, for every pair that was considered.
    `missing`: what is needed and not known; empty unless `stand` is missing.
    `layouts`: number of the host's and of the donor's layout that was tried. `without`: (part, reading) that
    was left out for this trial, because it or another one must be wrong. `seams`: how they lie, on a panel that an
    airbag bursts through. `nowhere`: fixings and features of which no place is known; the task has them at its origin.
    `work`: what was done to the donor first; None: it was laid on as it is. `likely`: of one that fits, places within
    the errors of all readings that let it go on.
    """

    mirrored: bool
    task: FitTask
    answer: FitAnswer
    chance: Chance | None
    stand: Stand
    matings: dict[tuple[str, str], Mating]
    missing: tuple[Missing, ...] = ()
    layouts: tuple[int, int] = (0, 0)
    without: tuple[str, str] | None = None
    seams: SeamCheck | None = None
    nowhere: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())
    work: Adaptation | None = None
    likely: LikelyPlaces | None = None

    @property
    def says(self) -> Stand:
        """How it stands, seams and all: a panel that goes on with its seam elsewhere does not fit."""
        wrong = self.seams is not None and bool(self.seams.too_far)
        return "does not" if wrong and self.stand in ("fits", "unsure") else self.stand


# The better of two answers first.
BEST_FIRST: dict[Stand, int] = {"fits": 0, "unsure": 1, "missing": 2, "undecided": 3, "does not": 4}


def better_way_round(trials: Iterable[Trial]) -> frozenset[Stand]:
    """What several ways of laying a part come to, each the way round that is better for it."""
    best: dict[object, Stand] = {}
    for trial in trials:
        key = (trial.layouts, trial.without)
        best[key] = min(best.get(key, trial.says), trial.says, key=BEST_FIRST.__getitem__)
    return frozenset(best.values())


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
class SeamElsewhere:
    """A tear seam or airbag door that lies further from the original's than `within_mm`, which the readings explain.

    `original_at`: 4 x 4, from the original to the host, as it was laid for that.
    """

    kind: str
    departure_mm: float
    within_mm: float
    original_at: tuple[tuple[float, ...], ...] | None


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
    `elsewhere`: the seam that lies elsewhere as the donor is laid, of what does not fit for that.
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
    elsewhere: SeamElsewhere | None = None
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
    notes: tuple[str, ...] = ()
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
