"""The way back: the plan in reverse, what to buy, what to count, what to try before the trim goes on."""

from __future__ import annotations

from dataclasses import replace

from partkin.model.build import Build, Holding
from partkin.model.stripping import Buy, RefitPlan, RefitStep, Step, StripPlan
from partkin.strip.bodies import children_of, family
from partkin.strip.cautions import COMMON, HEAVY, HEAVY_BACK
from partkin.strip.steps import START

AT_THE_END = "at the end"
THREADED = ("bolt", "screw", "nut", "stud nut")
NO_TORQUE = "torque: look up the maker's value; none is in the sheet"

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
}  # fmt: skip


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
    rows: dict[str, list[Holding]] = {}
    for row in build.holdings:
        rows.setdefault(row.fastener, []).append(row)
    # What goes back with the part is not the trim that covers it.
    mine = {*family(children_of(build), plan.part), *plan.comes_off}
    trim = {part.part for part in build.parts if part.duty == "trim"} - mine
    back = [_back(step, rows) for step in reversed(plan.steps)]
    place = _before_trim(plan, back, trim)
    covered = any(step.do in ("put on", "do up") for step in back[place:])
    checks = _checks(plan)
    when = "before the trim goes on" if covered else "now"
    back.insert(place, RefitStep(0, "check", "", f"{when}: " + "; ".join(checks)))
    end = next((n for n in range(len(back), 0, -1) if back[n - 1].place != AT_THE_END), 0)
    back.insert(end, RefitStep(0, "check", "", "at the end: " + "; ".join(_counts(plan))))
    connectors = [step for step in plan.steps if step.kind == "connector"]
    steps = tuple(replace(step, number=number) for number, step in enumerate(back, start=1))
    cautions = dict.fromkeys(caution for step in steps for caution in step.cautions)
    return RefitPlan(
        part=plan.part,
        steps=steps,
        buy=_buy(plan, rows),
        connectors=sum(step.count for step in connectors),
        connector_rows=tuple(step.fastener for step in connectors if step.fastener is not None),
        checks=(*checks, *_counts(plan)),
        cautions=tuple(sorted(cautions, key=lambda caution: not caution.hold)),
    )


def _back(step: Step, rows: dict[str, list[Holding]]) -> RefitStep:
    if step.do == "prepare":
        says = next((_RESTORE[c.rule] for c in step.cautions if c.rule in _RESTORE), step.says)
        place = AT_THE_END if step.place == START else step.place
        return RefitStep(0, "restore", place, says, of_step=step.number, cautions=step.cautions)
    if step.do != "undo" or step.fastener is None:
        verb = "put back in one piece" if step.do == "to the bench" else "put on"
        return RefitStep(
            0, "put on", step.place, f"{verb}: {', '.join(step.bodies)}", of_step=step.number, cautions=step.cautions
        )
    mine = rows[step.fastener]
    torque_nm = next((row.torque_nm for row in mine if row.torque_nm is not None), None)
    torque_says = None
    if torque_nm is not None:
        torque_says = f"{torque_nm:g} N m (the maker's value, as the sheet has it)"
    elif step.kind in THREADED:
        torque_says = NO_TORQUE
    single_use = any(row.single_use for row in mine)
    thread = f" {step.thread}" if step.thread else ""
    kind = step.kind or ""
    plural = kind if step.count == 1 else "adhesive joints" if kind == "adhesive" else f"{kind}s"
    verb = {"connector": "plug in", "clip": "clip in", "hose": "put on", "adhesive": "renew"}.get(kind, "do up")
    pairs = "; ".join(f"{part} to {other}" for part, other in step.joins)
    says = f"{verb} {step.count} {plural}{thread} ({step.fastener}): {pairs}"
    if step.bag is not None:
        says += f", {step.bag.split(' | ')[0]}"
    if single_use:
        says += "; new ones: single use"
    if step.mark is not None:
        says += "; bring the witness marks together first"
    return RefitStep(
        number=0, do="do up", place=step.place, says=says, of_step=step.number, fastener=step.fastener, kind=step.kind,
        count=step.count, torque_nm=torque_nm, torque_says=torque_says, single_use=single_use,
        cautions=tuple(HEAVY_BACK if caution == HEAVY else caution for caution in step.cautions),
    )  # fmt: skip


def _before_trim(plan: StripPlan, back: list[RefitStep], trim: set[str]) -> int:
    """Return where the check goes: every plug and pipe is back and filled but those of the trim, which goes on next."""
    number = {step.number: step for step in plan.steps}
    last, first_trim = -1, None
    for place, step in enumerate(back):
        old = number[step.of_step] if step.of_step is not None else None
        if step.do == "restore" and step.place != AT_THE_END:
            last = place
        if old is None or step.do == "restore":
            continue
        parts = {part for part, _ in old.joins} | set(old.bodies)
        if step.kind in ("connector", "hose") and not parts & trim:
            last = place
        if parts & trim and first_trim is None:
            first_trim = place
    if first_trim is not None and first_trim > last:
        return first_trim
    if last >= 0:
        return last + 1
    return next((place for place, step in enumerate(back) if step.do == "restore"), len(back))


def _checks(plan: StripPlan) -> tuple[str, ...]:
    found: list[str] = []
    plugs = [step for step in plan.steps if step.kind == "connector"]
    if plugs:
        behind = ", ".join(dict.fromkeys(part for step in plugs for part, _ in step.joins))
        found.append(f"plug in and try everything that hangs on a plug: {behind}")
    rules = {caution.rule for step in plan.steps for caution in step.cautions}
    if "restraint part" in rules:
        found.append(
            "connect the battery for this only by the maker's instructions and with every restraint connector plugged "
            "in; whether the restraint system is sound is for licensed practice to say"
        )
    if any(step.kind == "hose" for step in plan.steps):
        found.append("look at every pipe and hose for leaks")
    found.append("nothing is pinched, nothing rattles")
    return tuple(found)


def _counts(plan: StripPlan) -> tuple[str, ...]:
    plugs = sum(step.count for step in plan.steps if step.kind == "connector")
    found = [f"count the plugs: {plugs} were undone, {plugs} must be back"] if plugs else []
    if any(step.mark is not None for step in plan.steps):
        found.append("the witness marks meet; hinges, column and springs move as they did")
    return (*found, "no bag is left over")


def _buy(plan: StripPlan, rows: dict[str, list[Holding]]) -> tuple[Buy, ...]:
    found = []
    for step in plan.steps:
        if step.fastener is None or step.kind is None:
            continue
        if any(row.single_use for row in rows[step.fastener]):
            found.append(Buy(step.fastener, step.kind, step.count, step.thread, True, "single use, as the sheet says"))
        elif step.kind == "clip":
            says = f"old clips break on removal: count on new ones ({COMMON})"
            found.append(Buy(step.fastener, step.kind, step.count, step.thread, False, says))
        elif step.kind == "adhesive":
            says = f"new adhesive, the one that the maker names ({COMMON})"
            found.append(Buy(step.fastener, step.kind, step.count, step.thread, False, says))
    return tuple(found)
