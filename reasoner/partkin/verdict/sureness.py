"""How sure a verdict is, in the words of a fitter: what agrees, what could be hidden, and what it rests on."""

from __future__ import annotations

import math

from partkin.model.fitting import Chance, WithinErrors
from partkin.model.known import OneDrawing
from partkin.model.verdict import Reason, Trial
from partkin.model.words import in_hundred, mm

SPREAD_SOURCE = "JCGM 100:2008, 4.3.7"
HALF_OR_TWICE = 0.01


def chance_says(chance: Chance) -> str:
    """The chance with what it would be for somebody who thinks more or less of sister parts.

    Examples
    --------
    >>> chance_says(Chance(0.96, 0.94, 0.98, 640, 0.8, 0.5, 0.93, 0.98))
    'chance that it bolts on: about 96 in 100 (93 if you think sister parts seldom share a drawing, 98 if often)'
    """
    says = f"chance that it bolts on: {chance.says}"
    if chance.at_half is None or chance.at_twice is None or chance.at_twice - chance.at_half < HALF_OR_TWICE:
        return says
    half, twice = (in_hundred(one).removesuffix(" in 100") for one in (chance.at_half, chance.at_twice))
    return f"{says} ({half} if you think sister parts seldom share a drawing, {twice} if often)"


def hidden_says(chance: Chance) -> str | None:
    """What a part of another drawing could hide; None: it was not asked."""
    if chance.hidden_mm is None:
        return None
    if chance.hidden_mm <= 0.0:
        return "a part of another drawing would have shown, unless it is off by no more than its play"
    return (
        f"a part of another drawing would have shown, unless a hole is out of reach by less than "
        f"{mm(chance.hidden_mm)}, likeliest at {chance.hidden_at}"
    )


def out_by_says(errors: WithinErrors) -> str:
    """By how much more than was stated the readings would have to be out for it to go on.

    Examples
    --------
    >>> out_by_says(WithinErrors(0.7))
    'it would go on if readings were out by 0.7 times what you said, each in its favour: they seldom are'
    >>> from partkin.model.fitting import Nogood
    >>> out_by_says(WithinErrors(1.86, nogoods=(Nogood((), ()),)))
    'for it to go on, readings would have to be out by at least 1.8 times what you said (proved)'
    """
    if errors.share < 1.0:
        share = math.ceil(10.0 * errors.share) / 10.0
        return (
            f"it would go on if readings were out by {share:g} times what you said, each in its favour: they seldom are"
        )
    proved = "proved" if errors.nogoods else "found, not proved"
    share = math.floor(10.0 * errors.share) / 10.0
    return f"for it to go on, readings would have to be out by at least {share:g} times what you said ({proved})"


def hangs_on_it(chance: Chance, confidence: float) -> bool:
    """Whether half the odds of one drawing, or twice, would give another verdict."""
    if chance.at_half is None or chance.at_twice is None:
        return False
    least, most = min(chance.at_half, chance.fits), max(chance.at_twice, chance.fits)
    return any(least < bar <= most for bar in (confidence, 1.0 - confidence))


def sureness(trial: Trial, one_drawing: OneDrawing, confidence: float) -> list[Reason]:
    """Say how sure it is, and what that rests on."""
    chance = trial.chance
    if chance is None:
        conflict = trial.answer.conflict
        if trial.stand != "unsure" or conflict is None or conflict.errors is None:
            return []
        share = math.ceil(10.0 * conflict.errors.share) / 10.0
        return [Reason("", f"it looks far off, and readings out by {share:g} times what you said would let it go on")]
    if chance.draws == 0:
        says = "however the readings are out, within what you said, that stays so"
        return [Reason("", says, (), SPREAD_SOURCE)]
    found = []
    margin_mm = trial.answer.margin_mm
    if trial.stand == "fits" and margin_mm is not None and margin_mm < 0.0:
        found.append(Reason("", "the readings may be out by more: places within all their errors let it go on"))
    if trial.stand == "fits" and (hidden := hidden_says(chance)) is not None:
        found.append(Reason("", hidden))
    if chance.just_goes_on is not None:
        often = in_hundred(chance.just_goes_on).removesuffix(" in 100") if chance.just_goes_on else "none"
        found.append(Reason("", f"of 100 parts that just go on, {often} would be read as far off as this one"))
    rests = [
        f"before any reading, {in_hundred(chance.assumed)} that both were made to one drawing: {one_drawing.says}"
        if chance.assumed is not None else "",
        f"holes of one drawing scatter by {one_drawing.scatter_mm:g} mm: build.toml says so (scatter_mm)"
        if one_drawing.scatter_mm is not None else "",
        f"with the readings, {in_hundred(chance.one_drawing)} that they were" if chance.one_drawing is not None else "",
        f"{chance.draws} parts were made up as this one may really be: {round(chance.fits * chance.draws)} of them "
        f"went on, so {chance.says}; {in_hundred(confidence)} are asked for",
        "the verdict hangs on the drawing: taken for half as likely, or twice, it would be another"
        if hangs_on_it(chance, confidence) else "",
    ]  # fmt: skip
    return [*found, Reason("", chance_says(chance), tuple(one for one in rests if one), one_drawing.source)]
