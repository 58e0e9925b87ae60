"""The cheapest set of jobs under one pairing, different ones, and what would have been cheaper and is ruled out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from partkin.adaptation.choices import (
    TAKE_A_HOLE,
    Choice,
    FixingChoices,
    enclosing,
    holds,
    move_over,
    new_hole,
    unit_of_pair,
)
from partkin.adaptation.dressing import dress
from partkin.adaptation.limits import SAFETY, refuse_cut
from partkin.adaptation.optimise import ChoiceNumbers, Optimiser, Optimum, Permitted
from partkin.adaptation.placing import RIM_MARK, Geometry, Refuted, Sets, adapted_task, line3, standing
from partkin.adaptation.question import Bench
from partkin.adaptation.sizes import blocked_by_thread, bolt_of
from partkin.adaptation.surroundings import fastener_jobs
from partkin.fit.solve import solve
from partkin.model.adapting import Action, Adaptation, AdaptationAnswer, AdaptationQuestion, RuledOut
from partkin.model.fitting import Placement, Spot

MOST_SHOWN = 6
MOST_TRIED = 12
NAMES = {
    "open out": "opening out {feature}",
    "slot": "a slot at {feature}",
    "new hole": "a new hole for {fixing}",
    "move over": "moving a bracket over to {fixing}",
    "thread insert": "a thread insert in {feature}",
}
NamedPairs = tuple[tuple[str, str], ...]
CUTS = ("open out", "slot", "new hole", "thread insert")
# Jobs done where the fixing stands once the part is laid on by the rest.
MADE_THERE = (("new hole",), ("move over",))
GOES_ON_AS_IT_IS = "it goes on as it is"
TOO_MANY = "no set of permitted jobs was found within the limit"


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


class OnePairing:
    """The search under one pairing, which is given in the question's task.

    `unique`: no other pairing can be made to go on, so what is cheapest here is cheapest of all.
    """

    def __init__(self, question: AdaptationQuestion, limit: int, quick: bool = True) -> None:
        self.question, self.unique = question, True
        self.bench, self.geometry = Bench(question), Geometry(question.task, (), quick)
        self.geometry.units = self.units = tuple(self._units())
        self.costs = [[self._price(choice) for choice in unit.choices] for unit in self.units]
        self.optimiser = Optimiser(self.units, self.geometry, self.costs, self._finish, limit)
        self.permitted: Permitted = tuple(
            tuple(n for n, choice in enumerate(unit.choices) if choice.refusal is None) for unit in self.units
        )

    @property
    def pairs(self) -> NamedPairs:
        """The pairing."""
        return tuple((option.fixing, option.feature) for option in self.question.task.options)

    def first(self) -> AdaptationAnswer:
        """The cheapest set alone."""
        return self._found if isinstance(self._found, AdaptationAnswer) else self._worded([self._found])

    def several(self, different: int) -> AdaptationAnswer:
        """The cheapest set and different ones."""
        if isinstance(self._found, AdaptationAnswer):
            return self._found
        found, cuts = [self._found], []
        while len(found) <= different:
            cuts.append(self._same_again(found[-1].vector or ()))
            following = self.optimiser.run(self.permitted, cuts)
            if following.vector is None:
                break
            found.append(following)
        return self._worded(found)

    def whole(self, different: int) -> AdaptationAnswer:
        """The cheapest set, different ones, and what was ruled out."""
        below = None if isinstance(self._found, AdaptationAnswer) else self._found.cost
        return replace(self.several(different), ruled_out=ruled_out(self.optimiser, below, self.question))

    @cached_property
    def _found(self) -> Optimum | AdaptationAnswer:
        """The cheapest permitted set, or why there is none."""
        refused = self.stuck() or self._hopeless()
        if refused is not None:
            return refused
        found = self.optimiser.run(self.permitted)
        if found.vector is None:
            if not found.proved:
                return AdaptationAnswer((), (), TOO_MANY, waits=True, undecided=True)
            return AdaptationAnswer((), (), "no set of permitted jobs brings it on")
        return found

    def _price(self, choice: Choice) -> int:
        """Thousandths of money, or of minutes (what is used up deciding between equals)."""
        price = self.bench.price(choice.minutes, choice.cost)
        return round(1000.0 * choice.minutes + choice.cost if price is None else 1000.0 * price)

    def _units(self) -> Iterator[FixingChoices]:
        task = self.question.task
        by_fixing = {option.fixing: option for option in task.options}
        spots = {spot.id: spot for spot in task.features}
        free = [spot for spot in task.features if spot.id not in {o.feature for o in task.options}]
        for fixing in task.fixings:
            option = by_fixing.get(fixing.id)
            feature = spots[option.feature] if option is not None else self._of_wrong_thread(fixing, free)
            if option is None and feature is not None:
                free.remove(feature)
            if feature is not None:
                yield self._with_room(unit_of_pair(self.bench, fixing, feature, option))
            elif fixing.must:
                host = self.bench.host_feature[fixing.id]
                unit = FixingChoices(fixing, None, host, None, None, (), bolt_of(self.question, host, host))
                choices = (*new_hole(self.bench, unit), *move_over(self.bench, unit))
                yield self._with_room(unit._replace(choices=choices))

    def _of_wrong_thread(self, fixing: Spot, free: list[Spot]) -> Spot | None:
        """The feature that stands at a fixing and only lacks the right thread."""
        named = blocked_by_thread(self.question.matings, fixing.id)
        candidates = [spot for spot in free if spot.id in named]
        if len(candidates) <= 1:
            return candidates[0] if candidates else None
        placement = solve(self.question.task).placement
        if not placement:
            return candidates[0]
        unit = FixingChoices(fixing, candidates[0], self.bench.host_feature[fixing.id], None, None, ())
        there = [standing(unit._replace(feature=spot), placement, "donor")[1][0] for spot in candidates]
        away_mm2 = [float(((line3(s)[0, :2] - at) ** 2).sum()) for s, at in zip(candidates, there, strict=True)]
        return candidates[away_mm2.index(min(away_mm2))]

    def _with_room(self, unit: FixingChoices) -> FixingChoices:
        """Offer a new hole only where there is room for it beside the old, at the best placement of the rest as it is.

        The check is made again at the placement of the whole adaptation.
        """
        judged = [self._judged(unit, c) if c.do in MADE_THERE and c.refusal is None else c for c in unit.choices]
        return unit._replace(choices=tuple(choice for choice in judged if choice is not None))

    def _judged(self, unit: FixingChoices, choice: Choice) -> Choice | None:
        placement = self._lies_without(unit.fixing.id)
        if placement is None:
            return None
        dressed = dress(self.bench, (unit._replace(choices=(choice,)),), (0,), placement)
        if dressed.refusal is None:
            return choice
        if choice.do == ("new hole",) and unit.feature is not None:
            old = [o for o in self.bench.donor.obstacles if o.what == "hole" and o.name == unit.feature.id]
            new = dressed.actions[0]
            at, alone = np.array([(new.at_mm or (0.0, 0.0))[:2]] * 2), replace(self.bench.donor, obstacles=tuple(old))
            # No new hole is offered where it would run into its own old hole.
            if refuse_cut(alone, at, new.to_mm or 0.0, 0.0, False) is not None:
                return None
        return choice._replace(refusal=dressed.refusal)

    def _lies_without(self, fixing: str) -> Placement | None:
        """Where the donor lies by its other fixings."""
        task = self.question.task
        options = tuple(option for option in task.options if option.fixing != fixing)
        if not options:
            return None
        used = {name for option in options for name in (option.fixing, option.feature)}
        fixings = tuple(replace(s, must=True) for s in task.fixings if s.id in used)
        features = tuple(replace(s, must=False, should=True) for s in task.features if s.id in used)
        return self.geometry.placement(replace(task, fixings=fixings, features=features, options=options, given=True))

    def _finish(self, vector: ChoiceNumbers, placement: Placement) -> Adaptation | None:
        """The jobs of one set, checked by the geometry with the sizes asked for."""
        dressed = dress(self.bench, self.units, vector, placement)
        chosen = [unit.choices[choice] for unit, choice in zip(self.units, vector, strict=True)]
        # A set with a refused job is tried only to say what it would have saved.
        if dressed.refusal is not None and all(choice.refusal is None for choice in chosen):
            return None
        trial = Adaptation(dressed.actions, 0.0, None, 0.0, False, None, dressed.pairs)
        after = self.geometry.answer_of_fit(adapted_task(self.question.task, trial))
        if after is None or after.margin_mm is None:
            return None
        return replace(trial, margin_mm=after.margin_mm)

    def stuck(self) -> AdaptationAnswer | None:
        """Why no set of jobs can do at all, before any is looked at; None: some may.

        Where only sizes that are not known are why, it waits for them.
        """
        paired = {unit.feature.id for unit in self.units if unit.feature is not None}
        for spot in self.question.task.features:
            if spot.must and spot.id not in paired:
                return AdaptationAnswer((), (), f"{spot.id} of the donor has to go somewhere, and no fixing takes it")
        stuck = [unit for unit in self.units if not unit.choices]
        if not stuck:
            return None
        firm = [unit for unit in stuck if unit.feature or unit.bolt_mm or unit.host.kind not in TAKE_A_HOLE]
        first, unsized = (firm or stuck)[0], () if firm else tuple(unit.fixing.id for unit in stuck)
        why = f"nothing can be done at {first.fixing.id}: {_no_choice(first)}"
        return AdaptationAnswer((), (), why, waits=not firm, unsized=unsized)

    def _hopeless(self) -> AdaptationAnswer | None:
        """Say why not, where even everything that may be done together does not bring it on."""
        for unit, choices in zip(self.units, self.permitted, strict=True):
            if not choices:
                return AdaptationAnswer((), (), f"nothing may be done at {unit.fixing.id} ({_reason(unit)})")
        widest: dict[int, Choice] = {}
        for number, (unit, choices) in enumerate(zip(self.units, self.permitted, strict=True)):
            offered = [unit.choices[n] for n in choices]
            whole = next((one for one in offered if all(holds(other, one) for other in offered)), None)
            widest[number] = enclosing(offered) if whole is None else whole
        found = self.geometry.lay(widest, widening=False)
        if not isinstance(found, Refuted) or not found.sets:
            return None
        # Once more with the whole answer, which carries the proof.
        found = Geometry(self.question.task, self.units, quick=False).lay(widest, widening=False)
        conflict = found.conflict if isinstance(found, Refuted) else None
        names = sorted({name.split(RIM_MARK)[0] for name in conflict.fixings}) if conflict else []
        why = f"even with all that may be done, {', '.join(names) or 'its fixings'} do not go on together"
        if conflict is None or any(RIM_MARK in name for name in conflict.fixings):
            return AdaptationAnswer((), (), f"{why}: edges, holes or zones keep their slots short")
        short = f": {conflict.shortfall_mm:.2f} mm short" if conflict.shortfall_mm is not None else ""
        return AdaptationAnswer((), (), why + short, conflict)

    def _same_again(self, vector: ChoiceNumbers) -> Sets:
        """A different set does without at least one of these jobs, and not only by a larger one instead."""
        done = [unit.choices[choice] for unit, choice in zip(self.units, vector, strict=True)]
        return tuple(
            (number, frozenset(n for n, other in enumerate(self.units[number].choices) if _is_as_much(one, other)))
            for number, one in enumerate(done)
            if one.do
        )

    def _worded(self, found: Sequence[Optimum]) -> AdaptationAnswer:
        jobs, notes = fastener_jobs(self.bench, self.units)
        adaptations = [self._adaptation(optimum, jobs, notes) for optimum in found]
        why = None if adaptations[0].actions else GOES_ON_AS_IT_IS
        return AdaptationAnswer(tuple(a for a in adaptations if a.actions), (), why)

    def _adaptation(self, optimum: Optimum, jobs: tuple[Action, ...], notes: tuple[str, ...]) -> Adaptation:
        finished = optimum.finished
        assert finished is not None
        own = [job for job in jobs if job.fixing in dict(finished.pairs)]
        actions = (*finished.actions, *own) if finished.actions else ()
        actions = tuple(replace(action, order=n) for n, action in enumerate(actions, start=1))
        priced = self.question.settings.labour_rate is not None
        more = sum(action.cost or 0.0 for action in own)
        return replace(
            finished,
            actions=actions,
            minutes=round(sum(action.minutes or 0.0 for action in actions), 1),
            cost=round(sum(action.cost or 0.0 for action in actions), 2) if priced else None,
            proved_cheapest=optimum.proved and self.unique,
            bound_cost=round(optimum.bound / 1000.0 + more, 2) if priced and optimum.bound is not None else None,
            proved_as_paired=optimum.proved,
            notes=(*self._unchecked(actions), *notes),
        )

    def _unchecked(self, actions: Sequence[Action]) -> Iterator[str]:
        """What the work rests on that nobody has said."""
        donor = self.question.donor
        if any(action.do in CUTS and action.side == "donor" for action in actions):
            if self.bench.donor.material is None:
                known = f"is {donor.material!r}, which the table does not know" if donor.material else "is not known"
                yield f"The material of {donor.part} {known}: find out before the first cut."
            if not self.bench.donor.outline_known:
                yield f"The outline of {donor.part} is not known: see to the distances from its edges yourself."


def _is_as_much(done: Choice, other: Choice) -> bool:
    same = (other.do, other.side) == (done.do, done.side)
    return same or (other.shape is not None and done.shape is not None and holds(done, other))


def _no_choice(unit: FixingChoices) -> str:
    if unit.feature is not None:
        return f"{unit.feature.id} cannot be moved"
    if unit.host.kind not in TAKE_A_HOLE:
        return f"no feature of the donor goes on it, and a new hole is no counterpart of a {unit.host.kind}"
    if unit.bolt_mm is None:
        return "what goes through it is not known"
    return "no feature of the donor goes on it, and too few others place the part to say where a hole would go"


def _reason(unit: FixingChoices) -> str:
    refused = (f"{job_name(unit, one)}: {one.refusal.says}" for one in unit.choices if one.refusal is not None)
    return next(refused, "no job reaches")
