"""What the stages before found out, as the verdict takes it in."""

from __future__ import annotations

import math
from dataclasses import dataclass

from partkin.fit.arrays import FITS_MM
from partkin.model.adapting import AdaptationAnswer
from partkin.model.fitting import Chance, OddHoles
from partkin.model.known import Known, strictest_duty
from partkin.model.positions import Missing, Suspect
from partkin.model.verdict import BEST_FIRST, SeamCheck, Trial, Unknown, better_way_round
from partkin.model.words import Duty, Hand
from partkin.positions.asking_for import tells_mirror_image
from partkin.tables.instruments import making


@dataclass(frozen=True)
class Findings:
    """Everything that the stages before found out.

    `confidence`: at or above this chance the donor fits; at or below one minus it, it does not. `measured_from`: host
    or original. `trials`: empty for a restraint part and where a part has no features at all. `odd`: of the trial
    shown, where it does not go on: laid where the most fixings hold. `seams`: None: no airbag bursts through, or no
    placement. `adapting`: what makes the donor fit (None: not asked), `adapted_chance`: after the first of it.
    `likely`: the donor after work that would do as everything was read, but not surely enough for anything to be cut.
    `suspects`: readings that the others contradict. `asks`: readings that would settle an unsure verdict, best first.
    `sides`: what would tell layouts, or a layout from its mirror image, apart: asked where the answers differ.
    `layouts_left_out`: there are more layouts than were tried, so nothing is settled.
    """

    known: Known
    confidence: float
    measured_from: str
    trials: tuple[Trial, ...] = ()
    odd: OddHoles | None = None
    seams: SeamCheck | None = None
    adapting: AdaptationAnswer | None = None
    adapted_chance: Chance | None = None
    likely: Trial | None = None
    suspects: tuple[Suspect, ...] = ()
    asks: tuple[Unknown, ...] = ()
    sides: tuple[Missing, ...] = ()
    layouts_left_out: bool = False
    notes: tuple[str, ...] = ()

    @property
    def trial(self) -> Trial | None:
        """The trial that the verdict speaks of: of two that agree, the better one."""
        if not self.trials:
            return None
        return min(self.trials, key=_worst_last)

    @property
    def in_question(self) -> Trial | None:
        """The trial that further readings are to settle: after likely work where it does not go on as it is."""
        return self.likely or self.trial

    @property
    def chance(self) -> Chance | None:
        """The chance that the verdict states; None where it is not known which way the donor lies: each has its own."""
        return self.trial.chance if self.trial is not None and not self.face_open else None

    @property
    def face_open(self) -> bool:
        """Whether the ways that the sheets leave open give different answers, or some were not tried."""
        return self.layouts_left_out or len(self.answers) > 1

    @property
    def answers(self) -> frozenset[str]:
        """What the ways that the sheets leave open come to; of a part and its mirror image what is not the other hand.

        A part of one hand is no mirror image of its like, so where nobody saw what is left and right the way round
        that goes on is its own.
        """
        if self.hand is None:
            return frozenset(trial.says for trial in self.trials)
        return better_way_round(self.trials)

    @property
    def hand(self) -> Hand | None:
        """The hand that both sides are for, where left and right were not seen on one; None: it decides nothing."""
        host, original = self.known.host.part.hand, self.known.original
        shown = host or (original.part.hand if original is not None else None)
        alike = shown is not None and shown == self.known.donor.part.hand
        return shown if alike and any(map(tells_mirror_image, self.sides)) else None

    @property
    def work_waits(self) -> bool:
        """It does not go on as it is, and whether work would mend that hangs on what is not known yet."""
        trial = self.trial
        return trial is not None and trial.stand == "does not" and self.adapting is not None and self.adapting.waits

    @property
    def may_go_on(self) -> bool:
        """Whether the donor may well go on as it is: then no work is listed."""
        chance = self.trial.chance if self.trial is not None else None
        return chance is not None and chance.fits > 1.0 - self.confidence

    @property
    def hides_much(self) -> bool:
        """Whether more could still be hidden of a donor that goes on as read than a file takes off."""
        return self.chance is not None and (self.chance.hidden_mm or 0.0) > making().file_mm

    @property
    def duty(self) -> Duty | None:
        """The strictest duty of the donor and the original; None: not known on either."""
        return strictest_duty(self.known)


def _worst_last(trial: Trial) -> tuple[int, float, int, int, bool]:
    """What a trial comes to, its margin to a micrometre (none: the worst), and how many pairs hold or can be made."""
    margin_mm, pairs = trial.answer.margin_mm, trial.answer.pairs
    holding = sum(pair.margin_mm >= -FITS_MM for pair in pairs)
    worst = math.inf if margin_mm is None else -round(margin_mm, 3)
    return BEST_FIRST[trial.says], worst, -holding, -len(pairs), trial.mirrored
