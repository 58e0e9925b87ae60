"""What may be done to make a donor fit, and the same job at several fixings told once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import groupby

from partkin.model.build import Feature, Outline, Part, Settings, WorkRow, Zone
from partkin.model.fitting import Conflict, FitTask, PairFit, Placement
from partkin.model.mating import Mating
from partkin.model.words import Duty

RESHAPES = ("open out", "slot")
MOVES = (*RESHAPES, "new hole", "thread insert")
# An axis whose z is at least this counts as pointing along z (8 degrees; a convention, no source).
ALONG_Z = 0.99
Axis = tuple[float, float, float]


@dataclass(frozen=True)
class Action:
    """One job of an adaptation.

    `do`: open out, slot, new hole, leave unused, spacer, longer bolt, other bolt, thread insert, new clip,
    trim edge, move over (a bracket of the original, or what a connector belongs to), connector adapter.
    `to_mm`: diameter, width or thickness, as `do` says; `length_mm`
    (overall), `angle_deg`: of a slot, in the part's frame; `at_mm`: centre, in the part's frame.
    `allowed_mm`: the play of its pair once the job is done. `workmanship_mm`: how far a careful hand may
    miss the centre asked for. `side`: donor or host. `material_cost`: what is used up, which `cost` holds too.
    `thread`: of the other bolt or the insert. `axis`: of a new hole in space, in the part's frame.
    """

    do: str
    feature: str
    part: str
    to_mm: float | None
    minutes: float | None
    cost: float | None
    says: str
    fixing: str | None = None
    length_mm: float | None = None
    angle_deg: float | None = None
    at_mm: tuple[float, ...] | None = None
    tools: tuple[str, ...] = ()
    order: int = 0
    source: str | None = None
    allowed_mm: float | None = None
    workmanship_mm: float = 0.0
    side: str = "donor"
    material_cost: float | None = None
    thread: str | None = None
    axis: Axis | None = None


@dataclass(frozen=True)
class RuledOut:
    """A cheaper job that safety, material or room forbids."""

    do: str
    feature: str
    says: str
    source: str


@dataclass(frozen=True)
class Adaptation:
    """A set of jobs that makes the donor fit.

    `margin_mm`: after the work, by the sizes asked for. `bound_cost`: no set of jobs costs less (None: no
    labour rate is known). `pairs`: the pairing after the work; a new hole is named `new-` and its fixing.
    `proved_as_paired`: nothing cheaper would do under this pairing (`proved_cheapest`: under any). `notes`: what has
    to be known or seen to before the first cut. `placement`, `stands`: how the donor lies once it is done.
    """

    actions: tuple[Action, ...]
    minutes: float
    cost: float | None
    margin_mm: float
    proved_cheapest: bool
    bound_cost: float | None = None
    pairs: tuple[tuple[str, str], ...] = ()
    proved_as_paired: bool = False
    notes: tuple[str, ...] = ()
    placement: Placement | None = None
    stands: tuple[PairFit, ...] = ()


@dataclass(frozen=True)
class AdaptationAnswer:
    """The cheapest adaptation first, then different ones; empty with `why` when none exists.

    `conflict`: why not, as a proof, where everything that may be done was allowed for and it still does not
    go on. `notes`: what could not be checked, in words. `waits`: work may do, but what is not known yet decides it;
    `unsized`: the fixings whose size that is. `undecided`: it may do, and the search for it ended at its limit.
    """

    adaptations: tuple[Adaptation, ...]
    ruled_out: tuple[RuledOut, ...] = ()
    why: str | None = None
    conflict: Conflict | None = None
    notes: tuple[str, ...] = ()
    waits: bool = False
    unsized: tuple[str, ...] = ()
    undecided: bool = False


@dataclass(frozen=True)
class Bracket:
    """A part of the original that goes on a fixing by itself and can be moved over to the donor.

    `feature`: the one of it that goes on `fixing`. `holes`: how many hold it to the original (None: not known), none
    of them farther than `reach_mm` from that feature (None: not known). `undo`: how it comes off, in words, and
    `minutes` for it. `duty`: its own or, where that is empty, the original's.
    """

    part: str
    feature: Feature
    fixing: str
    holes: int | None = None
    reach_mm: float | None = None
    undo: str | None = None
    minutes: float = 0.0
    duty: Duty | None = None


@dataclass(frozen=True)
class AdaptationQuestion:
    """All that the search for the cheapest adaptation needs.

    `task`: at nominal positions, with the pairing given (the best one found), or open. `host`: the part that the
    fixings belong to; `fixings`: as host features, ids as in `task` (where the original stands in for the host: what
    must have stood there). `matings`: pairs not listed are judged from the features alone. `duty`: the strictest of the
    donor's and the original's, None: not known on both; `host_duty`: for work on the host. `airbag`: whether one opens
    through the donor where it goes; None: not known, and nothing is cut until it is. Zones and outlines stand each in
    its own part's frame; `original_zones`: those that the donor must be taken to have too, where its own are not
    listed. `bolts`: (fixing, feature, diameter in mm), where it is not what the features say. `work`: rows that
    override the shipped ones. `reserve_mm`: tolerance that every changed size has to leave besides workmanship, for
    the spread of the readings. `brackets`: parts of the original that may be moved over.
    """

    task: FitTask
    donor: Part
    host: Part
    donor_features: tuple[Feature, ...]
    fixings: tuple[Feature, ...]
    matings: tuple[Mating, ...] = ()
    duty: Duty | None = None
    host_duty: Duty | None = None
    airbag: bool | None = None
    settings: Settings = field(default_factory=Settings)
    donor_zones: tuple[Zone, ...] = ()
    host_zones: tuple[Zone, ...] = ()
    donor_outlines: tuple[Outline, ...] = ()
    host_outlines: tuple[Outline, ...] = ()
    original: Part | None = None
    original_zones: tuple[Zone, ...] = ()
    bolts: tuple[tuple[str, str, float], ...] = ()
    work: tuple[WorkRow, ...] = ()
    reserve_mm: float = 0.0
    brackets: tuple[Bracket, ...] = ()


@dataclass(frozen=True)
class Mark:
    """One marking-out dimension: `distance_mm` from `start` (an edge or a hole that exists) to the point."""

    start: str
    distance_mm: float
    says: str


@dataclass(frozen=True)
class BenchStep:
    """One line of the bench sheet.

    `marks`: dimensions that find the place; `before`: what to see before the cut; `check`: what to see after it.
    """

    order: int
    do: str
    part: str
    feature: str | None
    says: str
    marks: tuple[Mark, ...] = ()
    tools: tuple[str, ...] = ()
    minutes: float | None = None
    cautions: tuple[str, ...] = ()
    check: str | None = None
    before: str | None = None


@dataclass(frozen=True)
class EdgeGap:
    """The gap along a neighbour's edge at the placement; negative: the parts overlap there.

    `wanted_mm`: narrowest and widest that the sheet asks for (None: not said). `at_mm`: where, in the host's
    frame. `trim_mm`: how much to take off the donor's edge there; None: nothing, or filling is needed.
    `tight_at_mm`: the stretch that is too narrow, a point a millimetre, in the host's frame.
    """

    edge: str
    neighbour: str
    narrowest_mm: float
    narrowest_at_mm: tuple[float, float]
    widest_mm: float
    widest_at_mm: tuple[float, float]
    wanted_mm: tuple[float | None, float | None]
    overlap_mm2: float
    trim_mm: float | None
    says: str
    tight_at_mm: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class ConnectorLine:
    """How one connector of the original is met by the donor.

    `state`: matches, needs an adapter, move over, to be found out, not used, licensed practice only.
    """

    connector: str
    original: str | None
    donor: str | None
    state: str
    says: str


def workmanship_of(adaptation: Adaptation, side: str = "donor") -> dict[str, float]:
    """How far each feature that was changed by hand may be off its asked-for place, mm.

    Examples
    --------
    >>> job = Action("slot", "c", "D1", 9.0, 15.0, None, "", fixing="F1", workmanship_mm=0.5)
    >>> workmanship_of(Adaptation((job,), 15.0, None, 0.4, True))
    {'c': 0.5}
    """
    found: dict[str, float] = {}
    for action in adaptation.actions:
        if action.side == side and action.workmanship_mm > 0.0 and action.do in MOVES:
            found[action.feature] = max(found.get(action.feature, 0.0), action.workmanship_mm)
    return found


def together(actions: Iterable[Action]) -> list[Action]:
    """Join jobs that stand one after the other and differ in nothing but their fixing.

    Only jobs whose words begin with `At` and their fixing can be joined; minutes and costs are added up.

    Examples
    --------
    >>> one = Action("spacer", "a", "D", 2.0, 2.0, 1.5, "At F1: put a spacer.", fixing="F1")
    >>> other = replace(one, feature="b", fixing="F2", says="At F2: put a spacer.", order=2)
    >>> [(each.says, each.minutes) for each in together([one, other])]
    [('At F1 and F2: put a spacer.', 4.0)]
    """
    return [_joined(list(alike)) for _, alike in groupby(actions, key=_alike)]


def _alike(action: Action) -> tuple[object, ...]:
    lead = f"At {action.fixing}: "
    if action.fixing is None or not action.says.startswith(lead):
        return (action.order, action.do, action.feature)
    return (action.do, action.part, action.to_mm, action.length_mm, action.says.removeprefix(lead))


def _joined(alike: list[Action]) -> Action:
    if len(alike) == 1:
        return alike[0]
    *rest, last = [action.fixing or "" for action in alike]
    said = alike[0].says.removeprefix(f"At {alike[0].fixing}: ")
    return replace(
        alike[0], says=f"At {', '.join(rest)} and {last}: {said}", minutes=_sum([a.minutes for a in alike]),
        cost=_sum([a.cost for a in alike]), material_cost=_sum([a.material_cost for a in alike]),
    )  # fmt: skip


def _sum(amounts: list[float | None]) -> float | None:
    known = [amount for amount in amounts if amount is not None]
    return round(sum(known), 2) if len(known) == len(amounts) else None
