"""Getting a part out and back in, as values: the plan, its steps, what else may hold, the way back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from partkin.model.verdict import Caution, Unknown

StepKind = Literal["prepare", "undo", "take off", "to the bench"]
RefitKind = Literal["put on", "do up", "check", "restore"]
BodyRole = Literal["wanted", "comes with it", "comes off first", "stays"]


@dataclass(frozen=True)
class StripStep:
    """One thing to do, with the number that is ticked.

    `bodies`: what is carried away by a `take off` or a `to the bench`; `mass_kg` is theirs, of what is known,
    and `mass_unknown` names those without a mass. `minutes` counts a fastener's whole row. `mark`: what to
    mark before it is separated. `bag`: the label of what comes out. `guess`: the sheet is not certain of it.
    """

    number: int
    do: StepKind
    place: str
    says: str
    fastener: str | None = None
    kind: str | None = None
    count: int = 0
    thread: str | None = None
    tool: str | None = None
    joins: tuple[tuple[str, str], ...] = ()
    minutes: float = 0.0
    on_bench: bool = False
    bodies: tuple[str, ...] = ()
    mass_kg: float | None = None
    mass_unknown: tuple[str, ...] = ()
    guess: bool = False
    mark: str | None = None
    bag: str | None = None
    cautions: tuple[Caution, ...] = ()

    @property
    def key(self) -> str:
        """What the step is known by when the numbers change: its fastener, or what is carried or made ready.

        Examples
        --------
        >>> undo = StripStep(3, "undo", "cabin", "", fastener="B1")
        >>> undo.key, StripStep(4, "take off", "cabin", "", bodies=("cowl",)).key
        ('B1', 'take off:cowl')
        """
        if self.fastener is not None:
            return self.fastener
        return f"{self.do}:{self.bodies[0] if self.bodies else self.cautions[0].rule if self.cautions else ''}"


@dataclass(frozen=True)
class Joint:
    """One fastener of the drawing: what it joins, and the step that undoes it (None: left alone)."""

    fastener: str
    kind: str
    count: int
    joins: tuple[tuple[str, str], ...]
    step: int | None
    guess: bool = False
    done: bool = False


class BodyOn(NamedTuple):
    """One part of the drawing. `layer`: how many joints away from what stays (0)."""

    part: str
    name: str
    role: BodyRole
    layer: int


class StripPlan(NamedTuple):
    """The least work that frees a part.

    `steps`: in an order that works. `undone`: fasteners that are, in order. `comes_off`: the bodies that leave the
    vehicle together with the part, its own first; `with_it`: those that stay on it because a fastener between them will
    not come. `left_alone`: fasteners that hold `comes_off` to itself and are not touched, in all `left_alone_pieces`.
    `minutes`: hands on fasteners, bench minutes at the bench's factor. `cost_minutes`: what was minimised: these, going
    to each place once, and what lifting with others costs; no plan is cheaper than `bound_minutes`, equal to it (to
    rounding) where `proved`; `limit`: where the search stopped before the proof. `changes_of_place`: how often the
    person changes position, in that order. `joints`, `bodies`: what holds what, for the drawing.
    """

    part: str
    name: str
    steps: tuple[StripStep, ...]
    undone: tuple[str, ...]
    comes_off: tuple[str, ...]
    with_it: tuple[str, ...]
    left_alone: tuple[str, ...]
    left_alone_pieces: int
    minutes: float
    cost_minutes: float
    bound_minutes: float
    proved: bool
    limit: str | None
    changes_of_place: int
    unknowns: tuple[Unknown, ...] = ()
    cautions: tuple[Caution, ...] = ()
    joints: tuple[Joint, ...] = ()
    bodies: tuple[BodyOn, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def gap(self) -> float:
        """How far the plan may be from the cheapest, as a share of its cost: 0 where proved."""
        if self.proved or self.cost_minutes <= 0:
            return 0.0
        return max(0.0, (self.cost_minutes - self.bound_minutes) / self.cost_minutes)


@dataclass(frozen=True)
class NoPlan:
    """No plan frees the part, and why. Falsy. `blocked`: fasteners that can never be reached."""

    part: str
    reason: str
    blocked: tuple[str, ...] = ()

    def __bool__(self) -> Literal[False]:
        """Stay falsy, so that `if plan(...)` reads well."""
        return False


@dataclass(frozen=True)
class Suspected:
    """Something that may still be holding. `look`: the shortest way to see; `minutes` to get there."""

    rank: int
    fastener: str | None
    why: str
    look: str
    minutes: float
    first: tuple[str, ...] = ()
    guess: bool = False


@dataclass(frozen=True)
class RefitStep:
    """One thing of the way back. `torque_nm`: the maker's value as the sheet gives it, else None."""

    number: int
    do: RefitKind
    place: str
    says: str
    of_step: int | None = None
    fastener: str | None = None
    kind: str | None = None
    count: int = 0
    torque_nm: float | None = None
    torque_says: str | None = None
    single_use: bool = False
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class Buy:
    """New fasteners to have before refitting. `sure`: the sheet says single use; else it is advice."""

    fastener: str
    kind: str
    count: int
    thread: str | None
    sure: bool
    says: str


class RefitPlan(NamedTuple):
    """The way back of a plan. `connectors`: how many plugs were undone and must be counted back in."""

    part: str
    steps: tuple[RefitStep, ...]
    buy: tuple[Buy, ...]
    connectors: int
    connector_rows: tuple[str, ...]
    checks: tuple[str, ...]
    cautions: tuple[Caution, ...] = ()


class Moved(NamedTuple):
    """One thing the original carries and the donor lacks. `what`: a part or a connector, as `kind` says.

    `look`: no sheet says what the original carries, so somebody has to look.
    """

    kind: Literal["part", "connector", "look"]
    what: str
    on: str
    says: str
    fasteners: tuple[str, ...] = ()
    hold: bool = False


class PlanView(NamedTuple):
    """A plan with all that is shown beside it, for the report and the page.

    `says`: the sentences at its head, the verdict first; `tools`: what to lay out, with how many fasteners each
    undoes; `moved_from`: the original that `moved` is read against (None: not asked, or there is none);
    `plan` None: there is none, and `says` has the reason.
    """

    part: str
    name: str
    says: tuple[str, ...]
    plan: StripPlan | None = None
    way_back: RefitPlan | None = None
    tools: tuple[tuple[str, int], ...] = ()
    labels: tuple[str, ...] = ()
    moved_from: str | None = None
    moved: tuple[Moved, ...] = ()
