"""Plans as plain lines: a list to tick, bag labels, the way back, what may still hold."""

from __future__ import annotations

from collections.abc import Iterable

from partkin.model.folding import folded
from partkin.model.stripping import Moved, RefitPlan, RefitStep, StripPlan, StripStep, Suspected

WIDTH = 100
UNDER = " " * 9


def labels(plan: StripPlan) -> list[str]:
    """Return the labels for bags and tags, one a step: number and place first."""
    return [step.bag for step in plan.steps if step.bag is not None]


def stuck_lines(found: Iterable[Suspected]) -> list[str]:
    """Return what may still hold, the likeliest first."""
    listed: list[str] = []
    for suspected in found:
        says = f"{suspected.fastener or 'not in the sheet'}: {suspected.why}"
        listed += folded(says, f"{suspected.rank:>2}  ", width=WIDTH)
        listed += folded(suspected.look, "      ", width=WIDTH)
    return listed


def moved_lines(found: Iterable[Moved]) -> list[str]:
    """Return what is to be moved across from the original."""
    listed: list[str] = []
    for moved in found:
        listed += folded(moved.says, "[!] " if moved.hold else "[ ] ", width=WIDTH)
    return listed or ["Nothing that the sheets know has to be moved across."]


def said(plan: StripPlan) -> tuple[str, ...]:
    """Return the sentences at the head of a plan, the verdict first."""
    if nothing_known(plan):
        return (
            f"Nothing is known to hold {plan.name}, so there is no plan yet. Write what holds it into held_by.csv, and "
            "look before you pull.",
        )
    pieces, steps = sum(step.count for step in plan.steps), len(plan.steps)
    told = [
        f"{plan.name} comes free: {pieces} {'fastener' if pieces == 1 else 'fasteners'} to undo, {steps} "
        f"{'step' if steps == 1 else 'steps'} in all, about {plan.minutes:.0f} min in hand, "
        f"{_changes(plan.changes_of_place)}.",
        _proof(plan),
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
    listed = [line for sentence in said(plan) for line in folded(sentence, width=WIDTH)]
    lay_out = ", ".join(f"{tool} ({count})" for tool, count in tools(plan))
    listed += folded(f"Tools, and how many each undoes: {lay_out}.", width=WIDTH) if lay_out else []
    holds = [line for caution in plan.cautions if caution.hold for line in folded(caution.says, "  ! ", width=WIDTH)]
    listed += ["", "First of all", *holds] if holds else []
    unknowns = [line for unknown in plan.unknowns for line in folded(unknown.says, "  ? ", width=WIDTH)]
    listed += ["", "Not known: look before you pull", *unknowns] if unknowns else []
    if nothing_known(plan):
        return listed
    listed += ["", "Steps"]
    for step in plan.steps:
        minutes = f" [{step.minutes:g} min]" if step.minutes else ""
        listed += ticked(step, f"{f'{step.place}: ' if step.place else ''}{step.says}{minutes}")
        if step.mass_kg is not None:
            least = " at least" if step.mass_unknown else ""
            listed += folded(f"mass {step.mass_kg:g} kg{least}", UNDER, width=WIDTH)
        listed += folded(step.mark, f"{UNDER}mark ", width=WIDTH) if step.mark is not None else []
        listed += warned(step) if step.do != "prepare" else []
        listed += folded(f"label: {step.bag}", UNDER, width=WIDTH) if step.bag is not None else []
    return listed


def refit_lines(plan: RefitPlan) -> list[str]:
    """Return the way back of a plan as lines to print and tick."""
    listed = [f"The way back for {plan.part}: {len(plan.steps)} steps."]
    if plan.connectors:
        listed += folded(f"Plugs to count back in: {plan.connectors} ({', '.join(plan.connector_rows)}).", width=WIDTH)
    listed += ["", "To have before you begin"] if plan.buy else []
    for buy in plan.buy:
        kind = buy.kind if buy.count == 1 else f"{buy.kind}s"
        thread = f" {buy.thread}" if buy.thread else ""
        listed += folded(f"{buy.count} {kind}{thread} ({buy.fastener}): {buy.says}", "[ ] ", width=WIDTH)
    listed += ["", "Steps"]
    for step in plan.steps:
        listed += ticked(step, f"{f'{step.place}: ' if step.place else ''}{step.says}")
        listed += folded(step.torque_says, UNDER, width=WIDTH) if step.torque_says is not None else []
        listed += warned(step) if step.do != "restore" else []
    return listed


def ticked(step: StripStep | RefitStep, says: str, width: int = WIDTH) -> list[str]:
    """Return a step with a box to tick."""
    return folded(says, f"[ ] {step.number:>3}  ", width=width)


def warned(step: StripStep | RefitStep, width: int = WIDTH) -> list[str]:
    """Return the cautions of a step."""
    return [line for caution in step.cautions for line in folded(caution.says, f"{UNDER}! ", width=width)]


def _proof(plan: StripPlan) -> str:
    counted = f"{plan.cost_minutes:.1f} min counted with going from place to place and with lifting"
    if plan.proved:
        return f"No other plan takes less: {counted}."
    return f"Not shown to be the cheapest ({plan.limit}): {counted}; none takes less than {plan.bound_minutes:.1f} min."


def _changes(count: int) -> str:
    return "no change of place" if not count else f"{count} change{'' if count == 1 else 's'} of place"
