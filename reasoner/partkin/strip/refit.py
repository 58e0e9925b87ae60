"""The way back: the plan in reverse, what to buy and to count, and what is moved across from the original."""

from __future__ import annotations

from dataclasses import replace

from partkin.model.build import Build, Connector, Holding, Part
from partkin.model.stripping import Buy, Moved, RefitPlan, RefitStep, StripPlan, StripStep
from partkin.model.verdict import COMMON
from partkin.strip.assembly import children_of, family
from partkin.strip.steps import HEAVY, HEAVY_BACK, START, pieces

RESTRAINT = (
    "a restraint part: not moved on this advice; only by the maker's part number for that very vehicle, by licensed "
    "practice"
)


def move_across(build: Build, original: str, donor: str) -> tuple[Moved, ...]:
    """Return the parts and connectors that the original has and the donor does not.

    A child of the donor stands for a child of the original when it takes its place, has its part number (or
    replaces that number), or has its name. A connector stands for one with the same name, unless its ways or
    its keying are known to differ, or with the same keying and number of ways where the names differ.

    They come in the order of their ids, the parts first; `hold` on what must not be moved on this advice. One of kind
    `look` where no sheet has a part or a connector on the original. A part that is not there raises KeyError.
    """
    for name in (original, donor):
        if build.part(name) is None:
            raise KeyError(name)
    children, parts = children_of(build), {part.part: part for part in build.parts}
    had, has = ([parts[p] for p in family(children, name)[1:] if p in parts] for name in (original, donor))
    names = {original: "the original", **{part.part: part.name or part.part for part in had}}
    spare, found = list(has), list[Moved]()
    for part in had:
        match = next((other for other in spare if _stands_for(other, part)), None)
        if match is not None:
            spare.remove(match)
        else:
            found.append(_moved(build, part, names.get(part.part_of or "", part.part_of or "the original"), original))
    found += _connectors(build, {original, *(part.part for part in had)}, {donor, *(part.part for part in has)})
    if not had and all(plug.part != original for plug in build.connectors):
        says = (
            f"no sheet says what {original} carries: look it over for brackets, clips, captive nuts, ducts, lamps, "
            "sensors and looms that the donor lacks"
        )
        found.append(Moved("look", original, original, says))
    return tuple(found)


def _moved(build: Build, part: Part, carries: str, original: str) -> Moved:
    rows = [row for row in build.holdings if (row.part == part.part) != (row.held_to == part.part)]
    held = tuple(dict.fromkeys(row.fastener for row in rows))
    says = f"{part.name or part.part} is on {carries} and on the donor no part stands for it"
    if part.duty == "restraint":
        says += f": {RESTRAINT}"
    else:
        says += f"; held by {', '.join(held)}" if held else "; how it is held is not known"
    return Moved("part", part.part, part.part_of or original, says, held, part.duty == "restraint")


def _stands_for(donor: Part, original: Part) -> bool:
    number = original.part_number
    if donor.takes_place_of == original.part or (number and number in (donor.part_number, *donor.replaces)):
        return True
    same = donor.name is not None and original.name is not None and _plain(donor.name) == _plain(original.name)
    return same and (donor.hand == original.hand or donor.hand is None or original.hand is None)


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _connectors(build: Build, had: set[str], has: set[str]) -> list[Moved]:
    spare, found = [plug for plug in build.connectors if plug.part in has], []
    for plug in (plug for plug in build.connectors if plug.part in had):
        own = _ways(plug)
        called = [other for other in spare if _plain(other.connector) == _plain(plug.connector)]
        # A known difference in ways or keying tells two plugs of one name apart.
        alike = [o for o in called if all(None in p or p[0] == p[1] for p in zip(own, _ways(o), strict=True))]
        same = [other for other in spare if None not in own and _ways(other) == own]
        match = next(iter((*alike, *same)), None)
        if match is not None:
            spare.remove(match)
            continue
        lacks = f"the donor's has {_described(called[0])}" if called else "the donor has none like it"
        says = f"connector {plug.connector} (of {plug.part}; {_described(plug)}): {lacks}"
        found.append(Moved("connector", plug.connector, plug.part, says))
    return found


def _ways(plug: Connector) -> tuple[int | None, str | None]:
    return plug.ways, plug.keyed_as


def _described(plug: Connector) -> str:
    ways = f"{plug.ways} ways" if plug.ways is not None else "ways not known"
    return f"{ways}, keyed {plug.keyed_as}" if plug.keyed_as else ways


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
    """Return the way back of a plan; torques come from the sheets alone.

    Whatever stood in the way of a fastener when it was undone stands there again only after it, so the plan
    in reverse can always be carried out.
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
    back = replace(back, do="do up", says=says, fastener=step.fastener, kind=step.kind, count=step.count)
    cautions = tuple(HEAVY_BACK if caution == HEAVY else caution for caution in step.cautions)
    return replace(back, torque_nm=torque_nm, torque_says=torque_says, single_use=single_use, cautions=cautions)


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
