"""The way back: the plan in reverse, what to buy, what to count, what to try before the trim goes on."""

from __future__ import annotations

from dataclasses import replace

from partkin.model.build import Build, Holding
from partkin.model.stripping import Buy, RefitPlan, RefitStep, StripPlan, StripStep
from partkin.strip.assembly import children_of, family
from partkin.strip.cautions import COMMON, HEAVY, HEAVY_BACK
from partkin.strip.steps import START, pieces

AT_THE_END = "at the end"
THREADED = ("bolt", "screw", "nut", "stud nut")
NO_TORQUE = "torque: look up the maker's value; none is in the sheet"
VERBS = {"connector": "plug in", "clip": "clip in", "hose": "put on", "adhesive": "renew"}
# By the rule of the caution that was prepared for.
_RESTORE = {
    "restraint: battery first": (
        "battery back last of all, nobody in the vehicle, by the maker's instructions; the restraint system is checked "
        "by licensed practice before the vehicle is used"
    ),
    "high voltage: isolation first": "have the high-voltage system put back into use by a qualified person",
    "refrigerant: recovered first": (
        "have the refrigerant circuit evacuated, leak-tested and filled by a certified person"
    ),
    "coolant: drained first": "fill the coolant that the maker names, bleed, run it warm and look for leaks",
}
_RESTRAINT_TRIED = (
    "connect the battery for this only by the maker's instructions and with every restraint connector plugged in; "
    "whether the restraint system is sound is for licensed practice to say"
)
Rows = dict[str, list[Holding]]


def refit(build: Build, plan: StripPlan) -> RefitPlan:
    """Return the way back of a plan.

    Whatever stood in the way of a fastener when it was undone stands there again only after it, so the plan
    in reverse can always be carried out.

    Parameters
    ----------
    build
        The sheets that the plan was made from; torques come from them alone.
    plan
    """
    rows: Rows = {}
    for row in build.holdings:
        rows.setdefault(row.fastener, []).append(row)
    # What goes back with the part is not the trim that covers it.
    mine = {*family(children_of(build), plan.part), *plan.comes_off}
    trim = {part.part for part in build.parts if part.duty == "trim"} - mine
    back = [_back(step, rows) for step in reversed(plan.steps)]
    place = _before_trim(plan, back, trim)
    covered = any(step.do in ("put on", "do up") for step in back[place:])
    checks, counts = _checks(plan), _counts(plan)
    when = "before the trim goes on" if covered else "now"
    back.insert(place, RefitStep(0, "check", "", f"{when}: {'; '.join(checks)}"))
    end = next((n for n in range(len(back), 0, -1) if back[n - 1].place != AT_THE_END), 0)
    back.insert(end, RefitStep(0, "check", "", f"at the end: {'; '.join(counts)}"))
    connectors = [step for step in plan.steps if step.kind == "connector"]
    steps = tuple(replace(step, number=number) for number, step in enumerate(back, start=1))
    cautions = dict.fromkeys(caution for step in steps for caution in step.cautions)
    return RefitPlan(
        part=plan.part,
        steps=steps,
        buy=tuple(buy for step in plan.steps for buy in _buy(step, rows)),
        connectors=sum(step.count for step in connectors),
        connector_rows=tuple(step.fastener for step in connectors if step.fastener is not None),
        checks=(*checks, *counts),
        cautions=tuple(sorted(cautions, key=lambda caution: not caution.hold)),
    )


def _back(step: StripStep, rows: Rows) -> RefitStep:
    back = RefitStep(0, "put on", step.place, "", step.number, cautions=step.cautions)
    if step.do == "prepare":
        says = next((_RESTORE[c.rule] for c in step.cautions if c.rule in _RESTORE), step.says)
        return replace(back, do="restore", place=AT_THE_END if step.place == START else step.place, says=says)
    if step.fastener is None:
        verb = "put back in one piece" if step.do == "to the bench" else "put on"
        return replace(back, says=f"{verb}: {', '.join(step.bodies)}")
    kind, mine = step.kind or "", rows[step.fastener]
    torque_nm = next((row.torque_nm for row in mine if row.torque_nm is not None), None)
    torque_says = NO_TORQUE if kind in THREADED else None
    if torque_nm is not None:
        torque_says = f"{torque_nm:g} N m (the maker's value, as the sheet has it)"
    single_use = any(row.single_use for row in mine)
    pairs = "; ".join(f"{part} to {other}" for part, other in step.joins)
    says = f"{VERBS.get(kind, 'do up')} {pieces(step.count, kind, step.thread)} ({step.fastener}): {pairs}"
    says += f", {step.bag.split(' | ')[0]}" if step.bag is not None else ""
    says += "; new ones: single use" if single_use else ""
    says += "; bring the witness marks together first" if step.mark is not None else ""
    return replace(
        back,
        do="do up",
        says=says,
        fastener=step.fastener,
        kind=step.kind,
        count=step.count,
        torque_nm=torque_nm,
        torque_says=torque_says,
        single_use=single_use,
        cautions=tuple(HEAVY_BACK if caution == HEAVY else caution for caution in step.cautions),
    )


def _before_trim(plan: StripPlan, back: list[RefitStep], trim: set[str]) -> int:
    """Return where the check goes: every plug and pipe is back and filled but those of the trim, which goes on next."""
    of_number = {step.number: step for step in plan.steps}
    last, first_trim = -1, len(back)
    for place, step in enumerate(back):
        old = of_number[step.of_step or 0]
        parts = {part for part, _ in old.joins} | set(old.bodies)
        if step.do == "restore":
            last = place if step.place != AT_THE_END else last
        elif parts & trim:
            first_trim = min(first_trim, place)
        elif step.kind in ("connector", "hose"):
            last = place
    if last < first_trim < len(back):
        return first_trim
    if last >= 0:
        return last + 1
    return next((place for place, step in enumerate(back) if step.do == "restore"), len(back))


def _checks(plan: StripPlan) -> tuple[str, ...]:
    found: list[str] = []
    behind = dict.fromkeys(part for step in plan.steps if step.kind == "connector" for part, _ in step.joins)
    if behind:
        found.append(f"plug in and try everything that hangs on a plug: {', '.join(behind)}")
    if any(caution.rule == "restraint part" for step in plan.steps for caution in step.cautions):
        found.append(_RESTRAINT_TRIED)
    if any(step.kind == "hose" for step in plan.steps):
        found.append("look at every pipe and hose for leaks")
    return (*found, "nothing is pinched, nothing rattles")


def _counts(plan: StripPlan) -> tuple[str, ...]:
    plugs = sum(step.count for step in plan.steps if step.kind == "connector")
    found = [f"count the plugs: {plugs} were undone, {plugs} must be back"] if plugs else []
    if any(step.mark is not None for step in plan.steps):
        found.append("the witness marks meet; hinges, column and springs move as they did")
    return (*found, "no bag is left over")


def _buy(step: StripStep, rows: Rows) -> list[Buy]:
    if step.fastener is None or step.kind is None:
        return []
    sure = any(row.single_use for row in rows[step.fastener])
    says = {
        "clip": f"old clips break on removal: count on new ones ({COMMON})",
        "adhesive": f"new adhesive, the one that the maker names ({COMMON})",
    }.get(step.kind)
    if sure:
        says = "single use, as the sheet says"
    return [Buy(step.fastener, step.kind, step.count, step.thread, sure, says)] if says is not None else []
