"""What a person asks of getting a part out, answered in lines: the plan, what is left, what is stuck, the way back."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import partial

from partkin.model.build import Build
from partkin.model.problem import Problem, refuse_any
from partkin.model.stripping import Moved, NoPlan, PlanView, RefitPlan, RefitStep, StripPlan, StripStep, Suspected
from partkin.model.words import WIDTH, folded
from partkin.sheets import in_folder
from partkin.strip.assembly import children_of, family
from partkin.strip.plan import impossible, plan
from partkin.strip.refit import move_across, refit
from partkin.strip.stuck import left, stuck, undone_by

LINE_WIDTH = 100
UNDER = " " * 9
_wide = partial(folded, width=LINE_WIDTH)


def labels(plan: StripPlan) -> list[str]:
    """Return the labels for bags and tags, one a step: number and place first."""
    return [step.bag for step in plan.steps if step.bag is not None]


def stuck_lines(found: Iterable[Suspected]) -> list[str]:
    """Return what may still hold, the likeliest first."""
    listed: list[str] = []
    for suspected in found:
        says = f"{suspected.fastener or 'not in the sheet'}: {suspected.why}"
        listed += _wide(says, f"{suspected.rank:>2}  ")
        listed += _wide(suspected.look, "      ")
    return listed


def moved_lines(found: Iterable[Moved]) -> list[str]:
    """Return what is to be moved across from the original."""
    listed = [line for moved in found for line in _wide(moved.says, "[!] " if moved.hold else "[ ] ")]
    return listed or ["Nothing that the sheets know has to be moved across."]


def said(plan: StripPlan) -> tuple[str, ...]:
    """Return the sentences at the head of a plan, the verdict first."""
    if nothing_known(plan):
        return (
            f"Nothing is known to hold {plan.name}, so there is no plan yet. Write what holds it into held_by.csv, and "
            "look before you pull.",
        )
    pieces, steps, changes = sum(step.count for step in plan.steps), len(plan.steps), plan.changes_of_place
    counted = f"{plan.cost_minutes:.1f} min counted with going from place to place and with lifting"
    proof = f"No other plan takes less: {counted}."
    if not plan.proved:
        limits = f"{counted}; none takes less than {plan.bound_minutes:.1f} min"
        proof = f"Not shown to be the cheapest ({plan.limit}): {limits}."
    told = [
        f"{plan.name} comes free: {pieces} {'fastener' if pieces == 1 else 'fasteners'} to undo, {steps} "
        f"{'step' if steps == 1 else 'steps'} in all, about {plan.minutes:.0f} min in hand, "
        f"{changes or 'no'} change{'' if changes < 2 else 's'} of place.",
        proof,
        *(f"Note: {note}." for note in plan.notes),
    ]
    if len(plan.comes_off) > 1:
        told.append(f"Comes off in one lift: {', '.join(plan.comes_off)}.")
    if plan.left_alone:
        pieces = plan.left_alone_pieces
        this, they = ("this one", "it holds") if pieces == 1 else (f"these {pieces}", "they hold")
        told.append(f"Leave {this} alone: {they} the assembly to itself ({', '.join(plan.left_alone)}).")
    return tuple(told)


def nothing_known(plan: StripPlan) -> bool:
    """Whether no row of the sheet joins the part to anything: then nothing is shown by an empty plan."""
    mine = {body.part for body in plan.bodies if body.role == "wanted"} | {plan.part}
    return not any((a in mine) != (b in mine) for joint in plan.joints for a, b in joint.joins)


def tools(plan: StripPlan) -> tuple[tuple[str, int], ...]:
    """Return the tools of a plan in the order in which they are first needed, with how many fasteners each undoes."""
    found: dict[str, int] = {}
    for step in plan.steps:
        if step.tool:
            found[step.tool] = found.get(step.tool, 0) + step.count
    return tuple(found.items())


def lines(plan: StripPlan) -> list[str]:
    """Return a plan as lines to print and tick, the verdict first."""
    listed = [line for sentence in said(plan) for line in _wide(sentence)]
    lay_out = ", ".join(f"{tool} ({count})" for tool, count in tools(plan))
    listed += _wide(f"Tools, and how many each undoes: {lay_out}.") if lay_out else []
    holds = [line for caution in plan.cautions if caution.hold for line in _wide(caution.says, "  ! ")]
    listed += ["", "First of all", *holds] if holds else []
    unknowns = [line for unknown in plan.unknowns for line in _wide(unknown.says, "  ? ")]
    listed += ["", "Not known: look before you pull", *unknowns] if unknowns else []
    if nothing_known(plan):
        return listed
    listed += ["", "Steps"]
    for step in plan.steps:
        minutes = f" [{step.minutes:g} min]" if step.minutes else ""
        listed += ticked(step, f"{f'{step.place}: ' if step.place else ''}{step.says}{minutes}")
        if step.mass_kg is not None:
            least = " at least" if step.mass_unknown else ""
            listed += _wide(f"mass {step.mass_kg:g} kg{least}", UNDER)
        listed += _wide(step.mark, f"{UNDER}mark ") if step.mark is not None else []
        listed += warned(step) if step.do != "prepare" else []
        listed += _wide(f"label: {step.bag}", UNDER) if step.bag is not None else []
    return listed


def refit_lines(plan: RefitPlan) -> list[str]:
    """Return the way back of a plan as lines to print and tick."""
    listed = [f"The way back for {plan.part}: {len(plan.steps)} steps."]
    if plan.connectors:
        listed += _wide(f"Plugs to count back in: {plan.connectors} ({', '.join(plan.connector_rows)}).")
    listed += ["", "To have before you begin"] if plan.buy else []
    for buy in plan.buy:
        kind = buy.kind if buy.count == 1 else f"{buy.kind}s"
        thread = f" {buy.thread}" if buy.thread else ""
        listed += _wide(f"{buy.count} {kind}{thread} ({buy.fastener}): {buy.says}", "[ ] ")
    listed += ["", "Steps"]
    for step in plan.steps:
        listed += ticked(step, f"{f'{step.place}: ' if step.place else ''}{step.says}")
        listed += _wide(step.torque_says, UNDER) if step.torque_says is not None else []
        listed += warned(step) if step.do != "restore" else []
    return listed


def ticked(step: StripStep | RefitStep, says: str, width: int = LINE_WIDTH) -> list[str]:
    """Return a step with a box to tick."""
    return folded(says, f"[ ] {step.number:>3}  ", width=width)


def warned(step: StripStep | RefitStep, width: int = LINE_WIDTH) -> list[str]:
    """Return the cautions of a step."""
    return [line for caution in step.cautions for line in folded(caution.says, f"{UNDER}! ", width=width)]


@dataclass(frozen=True)
class StripQuestion:
    """What the person wants to know of getting a part out.

    `done`: step numbers of the whole plan. `across_from`: an original whose other things are to be moved over.
    `folder`: of the build, for the commands that are named.
    """

    part: str
    done: tuple[int, ...] = ()
    without: tuple[str, ...] = ()
    stuck: str | None = None
    across_from: str | None = None
    folder: str = "."


@dataclass(frozen=True)
class StripAnswer:
    """The answer as lines; `plan` None: there is none.

    `warnings`: fasteners that wait for each other by what is only guessed (certain ones are refused where the
    sheets are read), and parts of which none is the vehicle.
    """

    lines: tuple[str, ...]
    labels: tuple[str, ...] = ()
    plan: StripPlan | None = None
    warnings: tuple[Problem, ...] = ()


def step_numbers(text: str) -> tuple[int, ...]:
    """Read step numbers as `3,4,7`; refuse anything else."""
    words = [word.strip() for word in text.replace(";", ",").split(",") if word.strip()]
    _refuse_steps(f"{word!r} is no step number" for word in words if not (word.isascii() and word.isdigit()))
    return tuple(dict.fromkeys(int(word) for word in words))


def answer(build: Build, asked: StripQuestion) -> StripAnswer:
    """Plan the least work that frees a part, and answer what goes with it; refuse what is no part, fastener or step."""
    _refuse(build, asked)
    whole = plan(build, asked.part, without=frozenset(asked.without))
    if isinstance(whole, NoPlan):
        listed, undone = [f"No plan frees {asked.part}: {whole.reason}"], frozenset[str]()
    else:
        of, undone = len(whole.steps), undone_by(whole, asked.done)
        strange = [number for number in asked.done if not 0 < number <= of]
        _refuse_steps(f"{number} is none of the plan's {of} steps" for number in strange)
        listed = _what_is_left(whole, asked.done) if asked.done else lines(whole)
    if asked.stuck is not None:
        listed = [f"What may still hold {asked.stuck}", "", *stuck_lines(stuck(build, asked.stuck, done=undone))]
        listed += ["", *_without_the_stuck(build, asked, asked.stuck, whole)]
    original = asked.across_from or _original_of(build, asked.part)
    if original is not None and asked.stuck is None:
        listed += ["", f"To move across from {original}", *moved_lines(move_across(build, original, asked.part))]
    tags, found = (tuple(labels(whole)), whole) if isinstance(whole, StripPlan) else ((), None)
    return StripAnswer(tuple(listed), tags, found, impossible(build))


def way_back(build: Build, part: str, without: tuple[str, ...] = (), folder: str = ".") -> tuple[list[str], bool]:
    """The way back of the plan that frees a part, as lines; False: there is no plan."""
    _refuse(build, StripQuestion(part, without=without))
    whole = plan(build, part, without=frozenset(without))
    if isinstance(whole, NoPlan):
        return [f"No plan frees {part}, so there is no way back to write: {whole.reason}"], False
    if nothing_known(whole):
        return [f"{said(whole)[0]} The way back is written from the plan."], True
    listed = refit_lines(refit(build, whole))
    original = _original_of(build, part)
    if original is not None:
        onto = "this is the way back onto the assembly that it comes off"
        says = f"{part} is a donor: {onto}. On the vehicle it goes as {original} came off:"
        listed = [*folded(says), f"  partkin refit {original}{in_folder(folder)}", "", *listed]
    return listed, True


def view_of(build: Build, part: str, without: tuple[str, ...] = ()) -> PlanView:
    """Return a part's plan with all that the report and the page show beside it."""
    _refuse(build, StripQuestion(part, without=without))
    found, original = build.part(part), _original_of(build, part)
    name = f"{found.name} ({part})" if found is not None and found.name else part
    moved = move_across(build, original, part) if original is not None else ()
    whole = plan(build, part, without=frozenset(without))
    if isinstance(whole, NoPlan):
        return PlanView(part, name, (f"No plan frees {part}: {whole.reason}.",), moved_from=original, moved=moved)
    # A donor goes back onto nothing that it came off.
    back = refit(build, whole) if original is None else None
    return PlanView(part, name, said(whole), whole, back, tools(whole), tuple(labels(whole)), original, moved)


def to_plan(build: Build, donors: Collection[str]) -> tuple[str, ...]:
    """Return the parts that a report of some donors plans for, in the order of their ids.

    They are the donors and the originals whose place these take, where a row of held_by.csv joins them to
    anything; restraint parts are left to licensed practice.
    """
    asked = {*donors, *(_original_of(build, donor) for donor in donors)}
    held = {name for row in build.holdings for name in (row.part, row.held_to)}
    children = children_of(build)
    parts = [part.part for part in build.parts if part.part in asked and part.duty != "restraint"]
    return tuple(part for part in parts if held.intersection(family(children, part)))


def _original_of(build: Build, donor: str) -> str | None:
    found = build.original_of(donor)
    return found.part if found is not None else None


def _without_the_stuck(build: Build, asked: StripQuestion, name: str, whole: StripPlan | NoPlan) -> list[str]:
    """What it takes to leave a fastener alone that will not come."""
    if all(row.fastener != name for row in build.holdings):
        return []
    if isinstance(whole, StripPlan) and name not in whole.undone:
        return folded(f"The plan for {asked.part} leaves {name} alone as it is.")
    without = (*asked.without, name)
    other = plan(build, asked.part, without=frozenset(without))
    if isinstance(other, NoPlan):
        return folded(f"Without undoing {name} nothing frees {asked.part}: {other.reason}.")
    more = ""
    if isinstance(whole, StripPlan):
        more = f", {other.cost_minutes - whole.cost_minutes:.1f} min more than with it"
    along = f"; it then comes off with {', '.join(other.with_it)}" if other.with_it else ""
    takes = f"another way takes {other.cost_minutes:.1f} min{more}{along}"
    words = " ".join(f"--without {fastener}" for fastener in without)
    return [
        *folded(f"If {name} will not come at all: {takes}. It is listed by:"),
        f"  partkin strip {asked.part} {words}{in_folder(asked.folder)}",
    ]


def _what_is_left(whole: StripPlan, done: tuple[int, ...]) -> list[str]:
    steps = left(whole, done)
    listed, place = [f"{len(steps)} of {len(whole.steps)} steps left"], None
    for step in steps:
        if step.place != place:
            place = step.place
            listed.append(f"{place}:")
        listed += [*ticked(step, step.says, WIDTH), *warned(step, WIDTH)]
    return listed


def _refuse_steps(faults: Iterable[str]) -> None:
    mend = "Give the numbers of the plan's steps, as --done 3,4,7"
    refuse_any(Problem("strip", 0, "--done", fault, mend) for fault in faults)


def _refuse(build: Build, asked: StripQuestion) -> None:
    """Every fault of the question at once."""
    fasteners = {row.fastener for row in build.holdings}
    named = (asked.part, *((asked.across_from,) if asked.across_from else ()))
    faults = [*build.lacking(named)]
    for name in (*asked.without, *((asked.stuck,) if asked.stuck else ())):
        if name not in fasteners and build.part(name) is None:
            what = f"there is no fastener {name!r}"
            faults.append(Problem("held_by.csv", 0, "fastener", what, "Name one of held_by.csv"))
    refuse_any(faults)
