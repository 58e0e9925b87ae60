"""What would have been cheaper, and why it is not done."""

from __future__ import annotations

from collections.abc import Sequence

from partkin.adaptation.choices import Choice, Unit
from partkin.adaptation.limits import SAFETY
from partkin.adaptation.optimise import Optimiser
from partkin.model.adapting import AdaptationQuestion, RuledOut

MOST_SHOWN = 6
MOST_TRIED = 12
NAMES = {
    "open out": "opening out {feature}",
    "slot": "a slot at {feature}",
    "new hole": "a new hole for {fixing}",
    "move over": "moving a bracket over to {fixing}",
    "thread insert": "a thread insert in {feature}",
}


def ruled_out(
    units: Sequence[Unit], optimiser: Optimiser, costs: Sequence[Sequence[int]], below: int | None,
    question: AdaptationQuestion,
) -> tuple[RuledOut, ...]:  # fmt: skip
    """List refused jobs that stand in a set that is cheaper than the cheapest permitted one."""
    if not any(choice.refusal for unit in units for choice in unit.choices):
        return ()
    optimiser.left = MOST_TRIED
    allowed = [list(range(len(unit.choices))) for unit in units]
    found: list[RuledOut] = []
    told: set[str] = set()
    while len(found) < MOST_SHOWN:
        cheaper = optimiser.run(tuple(tuple(choices) for choices in allowed), below=below, any_will_do=True)
        if cheaper.vector is None:
            break
        refused = [
            (number, choice)
            for number, choice in enumerate(cheaper.vector)
            if units[number].choices[choice].refusal is not None
        ]
        if not refused:
            break
        for number, choice in refused:
            allowed[number].remove(choice)
            refusal = units[number].choices[choice].refusal
            assert refusal is not None
            # What stops every cut of a part is said once, with the cheapest.
            if refusal.source != SAFETY or refusal.says not in told:
                found.append(_worded(units[number], choice, costs[number][choice], question, below))
            told.add(refusal.says)
    return tuple(found)


def _worded(
    unit: Unit, number: int, cost: int, question: AdaptationQuestion, below: int | None
) -> RuledOut:
    choice = unit.choices[number]
    do, feature = choice.cuts or choice.do[-1], _worked_on(unit, choice)
    rate, currency = question.settings.labour_rate, question.settings.currency
    took = f"{cost / 1000.0:.0f} min" if rate is None else f"{cost / 1000.0:.2f} {currency or ''}".strip()
    would = "would be cheaper" if below is not None else "would bring it on"
    assert choice.refusal is not None
    says = f"{job_name(unit, choice)} {would} ({took}), but {choice.refusal.says}"
    return RuledOut(do, feature, says, choice.refusal.source)


def _worked_on(unit: Unit, choice: Choice) -> str:
    return unit.feature.id if unit.feature is not None and choice.side != "host" else unit.fixing.id


def job_name(unit: Unit, choice: Choice) -> str:
    """Name a job as it stands in a sentence."""
    do = choice.cuts or choice.do[-1]
    return NAMES.get(do, do).format(feature=_worked_on(unit, choice), fixing=unit.fixing.id)
