"""The cheapest set of jobs under one pairing, different ones, and what was ruled out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from partkin.adaptation.applied import adapted_task
from partkin.adaptation.choices import (
    TAKE_A_HOLE,
    Bench,
    Choice,
    Unit,
    enclosing,
    holds,
    move_over,
    new_hole,
    unit_of_pair,
)
from partkin.adaptation.dressing import dress
from partkin.adaptation.fasteners import fastener_jobs
from partkin.adaptation.limits import refuse_cut
from partkin.adaptation.optimise import Optimiser, Optimum, Permitted, Vector
from partkin.adaptation.pairs import blocked_by_thread, bolt_of
from partkin.adaptation.placing import RIM_MARK, Geometry, Quick, Refuted, Sets, Solve
from partkin.adaptation.refusals import job_name, ruled_out
from partkin.adaptation.standing import line3, standing
from partkin.model.adapting import Action, Adaptation, AdaptationAnswer, AdaptationQuestion, RuledOut
from partkin.model.fitting import FitAnswer, Option, Placement, Spot

CUTS = ("open out", "slot", "new hole", "thread insert")
# Jobs done where the fixing stands once the part is laid on by the rest.
MADE_THERE = (("new hole",), ("move over",))
GOES_ON_AS_IT_IS = "it goes on as it is"
TOO_MANY = "no set of permitted jobs was found within the limit"


@dataclass(frozen=True)
class Finished:
    """Jobs of one set, checked by the geometry with the sizes asked for."""

    actions: tuple[Action, ...]
    pairs: tuple[tuple[str, str], ...]
    margin_mm: float


class OnePairing:
    """The search under one pairing, which is given in the question's task.

    `unique`: no other pairing can be made to go on, so what is cheapest here is cheapest of all.
    """

    def __init__(
        self, question: AdaptationQuestion, solve: Solve, limit: int, quick: Quick, unique: bool = True
    ) -> None:  # fmt: skip
        self.question, self.solve, self.unique = question, solve, unique
        self.lay = quick.lay or solve
        self.lies = quick.lies or (lambda task: solve(task).placement or None)
        self.bench = Bench(question)
        self.units = tuple(self._units())
        self.costs = [[self._price(choice) for choice in unit.choices] for unit in self.units]
        geometry = Geometry(question.task, self.units, solve, quick)
        self.optimiser = Optimiser(self.units, geometry, self.costs, self._finish, limit)

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """The pairing."""
        return tuple((option.fixing, option.feature) for option in self.question.task.options)

    @cached_property
    def before(self) -> FitAnswer:
        """How the donor lies as it is."""
        return self.solve(self.question.task)

    def _price(self, choice: Choice) -> int:
        """Thousandths of money, or of minutes (what is used up deciding between equals)."""
        rate = self.question.settings.labour_rate
        if rate is None:
            return round(1000.0 * choice.minutes + choice.cost)
        return round(1000.0 * (choice.minutes * rate / 60.0 + choice.cost))

    def _units(self) -> list[Unit]:
        task = self.question.task
        by_fixing = {option.fixing: option for option in task.options}
        spots = {spot.id: spot for spot in task.features}
        free = [spot for spot in task.features if spot.id not in {o.feature for o in task.options}]
        units = []
        for fixing in task.fixings:
            option = by_fixing.get(fixing.id)
            if option is not None:
                feature: Spot | None = spots[option.feature]
            else:
                feature = self._wrong_thread(fixing, free)
                if feature is None and not fixing.must:
                    continue
                free = [spot for spot in free if spot is not feature]
            units.append(self._unit(fixing, feature, option))
        return units

    def _unit(self, fixing: Spot, feature: Spot | None, option: Option | None) -> Unit:
        if feature is not None:
            return self._without_hopeless_holes(unit_of_pair(self.bench, fixing, feature, option))
        host = self.bench.host_feature[fixing.id]
        unit = Unit(fixing, None, host, None, None, (), bolt_of(self.question, host, host))
        choices = (*new_hole(self.bench, unit), *move_over(self.bench, unit))
        return self._without_hopeless_holes(replace(unit, choices=choices))

    def _wrong_thread(self, fixing: Spot, free: list[Spot]) -> Spot | None:
        """The feature that stands at a fixing and only lacks the right thread."""
        named = blocked_by_thread(self.question.matings, fixing.id)
        candidates = [spot for spot in free if spot.id in named]
        if len(candidates) <= 1 or not self.before.placement:
            return candidates[0] if candidates else None
        unit = Unit(fixing, candidates[0], self.bench.host_feature[fixing.id], None, None, ())
        placement = self.before.placement

        def away_mm(spot: Spot) -> float:
            stands = standing(replace(unit, feature=spot), placement, "donor")
            return float(((line3(spot)[0, :2] - stands.other[0]) ** 2).sum())

        return min(candidates, key=away_mm)

    def _without_hopeless_holes(self, unit: Unit) -> Unit:
        """Offer a new hole only where there is room for one at the best placement of the rest.

        The donor's own hole counts as an obstacle: a hole half in another is no hole. The rest is laid down
        as it is; the check is made again at the placement of the whole adaptation.
        """
        judged = [
            self._judged_hole(unit, choice) if choice.do in MADE_THERE and choice.refusal is None else choice
            for choice in unit.choices
        ]
        return replace(unit, choices=tuple(choice for choice in judged if choice is not None))

    def _judged_hole(self, unit: Unit, choice: Choice) -> Choice | None:
        placement = self._without(unit.fixing.id)
        if placement is None:
            return None
        dressed = dress(self.bench, (replace(unit, choices=(choice,)),), (0,), placement)
        if dressed.refusal is None:
            return choice
        if choice.do == ("move over",):
            return replace(choice, refusal=dressed.refusal)
        # That its own old hole is in the way rules nothing out that anyone would want.
        in_the_way = unit.feature is not None and self._is_in_the_way(unit.feature, dressed.actions[0])
        return None if in_the_way else replace(choice, refusal=dressed.refusal)

    def _is_in_the_way(self, old: Spot, new: Action) -> bool:
        alone = [o for o in self.bench.donor.obstacles if o.what == "hole" and o.name == old.id]
        at = np.array([(new.at_mm or (0.0, 0.0))[:2]] * 2)
        limits = replace(self.bench.donor, obstacles=tuple(alone))
        return refuse_cut(limits, at, new.to_mm or 0.0, 0.0, False) is not None

    def _without(self, fixing: str) -> Placement | None:
        """Where the donor lies by its other fixings."""
        task = self.question.task
        options = tuple(option for option in task.options if option.fixing != fixing)
        if not options:
            return None
        used = {option.fixing for option in options}, {option.feature for option in options}
        fixings = tuple(replace(s, must=True) for s in task.fixings if s.id in used[0])
        features = tuple(replace(s, must=False, should=True) for s in task.features if s.id in used[1])
        return self.lies(replace(task, fixings=fixings, features=features, options=options, given=True))

    def _finish(self, vector: Vector, placement: Placement) -> Finished | None:
        dressed = dress(self.bench, self.units, vector, placement)
        chosen = [unit.choices[choice] for unit, choice in zip(self.units, vector, strict=True)]
        # A set with a refused job is asked about only to say what it would have saved.
        if dressed.refusal is not None and all(choice.refusal is None for choice in chosen):
            return None
        trial = Adaptation(dressed.actions, 0.0, None, 0.0, False, None, dressed.pairs)
        after = self.lay(adapted_task(self.question.task, trial))
        if not after.fits or after.margin_mm is None:
            return None
        return Finished(dressed.actions, dressed.pairs, after.margin_mm)

    def _permitted(self) -> Permitted:
        return tuple(
            tuple(n for n, choice in enumerate(unit.choices) if choice.refusal is None) for unit in self.units
        )

    @cached_property
    def _found(self) -> Optimum | AdaptationAnswer:
        """The cheapest permitted set, or why there is none."""
        stuck = self._stuck()
        if stuck is not None:
            return AdaptationAnswer((), (), stuck)
        hopeless = self._hopeless(self._permitted())
        if hopeless is not None:
            return hopeless
        found = self.optimiser.run(self._permitted())
        if found.vector is None:
            why = "no set of permitted jobs brings it on" if found.proved else TOO_MANY
            return AdaptationAnswer((), (), why)
        return found

    def first(self) -> AdaptationAnswer:
        """The cheapest set alone."""
        return self._found if isinstance(self._found, AdaptationAnswer) else self._worded([self._found])

    def whole(self, different: int) -> AdaptationAnswer:
        """The cheapest set, different ones, and what was ruled out."""
        if isinstance(self._found, AdaptationAnswer):
            return replace(self._found, ruled_out=self._ruled_out(None))
        return replace(self.several(different), ruled_out=self._ruled_out(self._found.cost))

    def several(self, different: int) -> AdaptationAnswer:
        """The cheapest set and different ones."""
        if isinstance(self._found, AdaptationAnswer):
            return self._found
        found, cuts = [self._found], []
        while len(found) <= different:
            cuts.append(self._same_again(found[-1].vector or ()))
            following = self.optimiser.run(self._permitted(), cuts)
            if following.vector is None:
                break
            found.append(following)
        return self._worded(found)

    def _worded(self, found: Sequence[Optimum]) -> AdaptationAnswer:
        jobs, notes = fastener_jobs(self.bench, self.units)
        adaptations = tuple(self._adaptation(optimum, jobs, notes) for optimum in found)
        return AdaptationAnswer(
            tuple(a for a in adaptations if a.actions), (),
            None if adaptations[0].actions else GOES_ON_AS_IT_IS,
        )  # fmt: skip

    def _unchecked(self, actions: Sequence[Action]) -> tuple[str, ...]:
        """What the work rests on that nobody has said."""
        cut = any(action.do in CUTS and action.side == "donor" for action in actions)
        notes = []
        if cut and self.bench.donor.material is None:
            said = self.question.donor.material
            known = f"is {said!r}, which the table does not know" if said else "is not known"
            notes.append(f"The material of {self.question.donor.part} {known}: find out before the first cut.")
        if cut and not self.bench.donor.outline_known:
            part = self.question.donor.part
            notes.append(f"The outline of {part} is not known: see to the distances from its edges yourself.")
        return tuple(notes)

    def _stuck(self) -> str | None:
        paired = {unit.feature.id for unit in self.units if unit.feature is not None}
        for spot in self.question.task.features:
            if spot.must and spot.id not in paired:
                return f"{spot.id} of the donor has to go somewhere, and no fixing takes it"
        for unit in self.units:
            if not unit.choices:
                return f"nothing can be done at {unit.fixing.id}: {self._no_choice(unit)}"
        return None

    def _no_choice(self, unit: Unit) -> str:
        if unit.feature is not None:
            return f"{unit.feature.id} cannot be moved"
        if unit.bolt_mm is None:
            return "what goes through it is not known"
        if unit.host.kind not in TAKE_A_HOLE:
            return f"no feature of the donor goes on it, and a new hole is no counterpart of a {unit.host.kind}"
        return "no feature of the donor goes on it, and too few others place the part to say where a hole would go"

    def _hopeless(self, permitted: Permitted) -> AdaptationAnswer | None:
        """Say why not, where even everything that may be done together does not bring it on."""
        for unit, choices in zip(self.units, permitted, strict=True):
            if not choices:
                why = f"nothing may be done at {unit.fixing.id} ({_reason(unit)})"
                return AdaptationAnswer((), (), why)
        found: Placement | Refuted = self.optimiser.geometry.lay(self._widest(permitted), lifting=False)
        if not isinstance(found, Refuted) or not found.sets:
            return None
        # Once more with the whole answer, which carries the proof.
        found = Geometry(self.question.task, self.units, self.solve).lay(self._widest(permitted), lifting=False)
        conflict = found.conflict if isinstance(found, Refuted) else None
        names = sorted({name.split(RIM_MARK)[0] for name in conflict.fixings}) if conflict else []
        why = f"even with all that may be done, {', '.join(names) or 'its fixings'} do not go on together"
        if conflict is not None and not any(RIM_MARK in name for name in conflict.fixings):
            if conflict.shortfall_mm is not None:
                why += f": {conflict.shortfall_mm:.2f} mm short"
            return AdaptationAnswer((), (), why, conflict)
        return AdaptationAnswer((), (), f"{why}: edges, holes or zones keep their slots short")

    def _widest(self, permitted: Permitted) -> dict[int, Choice]:
        """For each unit a choice that holds all that is permitted, real or not."""
        widest: dict[int, Choice] = {}
        for number, (unit, choices) in enumerate(zip(self.units, permitted, strict=True)):
            offered = [unit.choices[n] for n in choices]
            whole = next((one for one in offered if all(holds(other, one) for other in offered)), None)
            if whole is None:
                whole = enclosing(offered)
            widest[number] = whole
        return widest

    def _same_again(self, vector: Vector) -> Sets:
        """A different set does without at least one of these jobs, and not only by a larger one instead."""
        sets = []
        for number, choice in enumerate(vector):
            unit = self.units[number]
            done = unit.choices[choice]
            if not done.do:
                continue
            same = frozenset(
                n
                for n, other in enumerate(unit.choices)
                if (other.do, other.side) == (done.do, done.side)
                or (other.shape is not None and done.shape is not None and holds(done, other))
            )
            sets.append((number, same))
        return tuple(sets)

    def _adaptation(self, optimum: Optimum, jobs: tuple[Action, ...], notes: tuple[str, ...]) -> Adaptation:
        finished = optimum.finished
        assert isinstance(finished, Finished)
        own = [job for job in jobs if job.fixing in dict(finished.pairs)]
        actions = (*finished.actions, *own) if finished.actions else ()
        actions = tuple(replace(action, order=n) for n, action in enumerate(actions, start=1))
        rate = self.question.settings.labour_rate
        minutes = round(sum(action.minutes or 0.0 for action in actions), 1)
        cost = None if rate is None else round(sum(action.cost or 0.0 for action in actions), 2)
        more = 0.0 if rate is None else sum(action.cost or 0.0 for action in own)
        bound = None if rate is None or optimum.bound is None else round(optimum.bound / 1000.0 + more, 2)
        return Adaptation(
            actions, minutes, cost, finished.margin_mm, optimum.proved and self.unique, bound, finished.pairs,
            optimum.proved, (*self._unchecked(actions), *notes),
        )  # fmt: skip

    def _ruled_out(self, below: int | None) -> tuple[RuledOut, ...]:
        return ruled_out(self.units, self.optimiser, self.costs, below, self.question)


def _reason(unit: Unit) -> str:
    refused = next((choice for choice in unit.choices if choice.refusal is not None), None)
    if refused is None or refused.refusal is None:
        return "no job reaches"
    return f"{job_name(unit, refused)}: {refused.refusal.says}"
