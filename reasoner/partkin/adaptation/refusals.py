"""What would have been cheaper, and why it is not done."""

from __future__ import annotations

from collections.abc import Sequence

from partkin.adaptation.choices import Choice, FixingChoices
from partkin.adaptation.limits import SAFETY
from partkin.adaptation.optimise import ChoiceNumbers, Optimiser
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


def ruled_out(optimiser: Optimiser, below: int | None, question: AdaptationQuestion) -> tuple[RuledOut, ...]:
    """List refused jobs that stand in a set that is cheaper than the cheapest permitted one."""
    units = optimiser.units
    if not any(choice.refusal for unit in units for choice in unit.choices):
        return ()
    optimiser.left = MOST_TRIED
    allowed = [list(range(len(unit.choices))) for unit in units]
    found: list[RuledOut] = []
    named: set[str] = set()
    while len(found) < MOST_SHOWN:
        cheaper = optimiser.run(tuple(tuple(choices) for choices in allowed), below=below, any_will_do=True)
        needed = _needed(units, optimiser, cheaper.vector) if cheaper.vector is not None else {}
        refused = [number for number, choice in needed.items() if units[number].choices[choice].refusal is not None]
        if not refused:
            break
        for number in refused:
            allowed[number].remove(needed[number])
            refusal = units[number].choices[needed[number]].refusal
            assert refusal is not None
            # What stops every cut of a part is said once, with the cheapest.
            if refusal.source != SAFETY or refusal.says not in named:
                found.append(_worded(optimiser, number, needed, question, below))
            named.add(refusal.says)
    return tuple(found)


def _needed(units: Sequence[FixingChoices], optimiser: Optimiser, vector: ChoiceNumbers) -> dict[int, int]:
    """The jobs of a set without which it would not do, by unit: each of the others is left as it is."""
    permitted = tuple(
        tuple(dict.fromkeys((choice, *(n for n, other in enumerate(unit.choices) if not other.do))))
        for unit, choice in zip(units, vector, strict=True)
    )
    left, optimiser.left = optimiser.left, MOST_TRIED
    least = optimiser.run(permitted).vector or vector
    optimiser.left = left
    return {number: choice for number, choice in enumerate(least) if units[number].choices[choice].do}


def _worded(
    optimiser: Optimiser, number: int, needed: dict[int, int], question: AdaptationQuestion, below: int | None
) -> RuledOut:
    jobs = {at: (optimiser.units[at], optimiser.units[at].choices[choice]) for at, choice in needed.items()}
    unit, choice = jobs[number]
    rest = [job_name(*job) for at, job in jobs.items() if at != number]
    along = f" together with {' and '.join(rest)}" if rest else ""
    cost = sum(optimiser.costs[at][choice] for at, choice in needed.items()) / 1000.0
    rate, currency = question.settings.labour_rate, question.settings.currency
    took = f"{cost:.0f} min" if rate is None else f"{cost:.2f} {currency or ''}".strip()
    would = "would be cheaper" if below is not None else "would bring it on"
    assert choice.refusal is not None
    says = f"{job_name(unit, choice)}{along} {would} ({took}), but {choice.refusal.says}"
    return RuledOut(choice.cuts or choice.do[-1], _worked_on(unit, choice), says, choice.refusal.source)


def _worked_on(unit: FixingChoices, choice: Choice) -> str:
    return unit.feature.id if unit.feature is not None and choice.side != "host" else unit.fixing.id


def job_name(unit: FixingChoices, choice: Choice) -> str:
    """Name a job as it stands in a sentence."""
    do = choice.cuts or choice.do[-1]
    return NAMES.get(do, do).format(feature=_worked_on(unit, choice), fixing=unit.fixing.id)
