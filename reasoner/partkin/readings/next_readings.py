"""Which readings would settle a verdict that could still go either way, best first, and what each value means.

The draws are those that the chance is taken from, so correlations, play and equally good pairings count: each
draw knows whether the donor goes on in it, and what any reading would come out at. A reading is worth the share
of what is open that it is expected to close, for what it costs to get.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from partkin.model.known import Known
from partkin.model.verdict import Trial, Unknown, Verdict
from partkin.model.words import mm
from partkin.positions.by_draws import told_by_each, weight_between
from partkin.positions.next_reading import Ask, Candidate, meaning, named
from partkin.readings.could_read import (
    FEWEST_DRAWS,
    SELLER,
    Field,
    asks_without_draws,
    donor_at_hand,
    field_of,
    only,
    to_read_as_finely,
)
from partkin.tables.instruments import reading_costs
from partkin.trial.findings import Findings
from partkin.trial.places import Places, as_tried

MOST_ASKED = 3
# What is read next where a reading leaves the verdict open is looked for among so many of the best.
MOST_FOLLOWED = 12
# Below this share of what is open a reading is not worth a person's time.
LEAST_TOLD = 0.005
# How finely a reading may have to be taken, in mm; and in what share of cases it then has to settle the verdict.
FINENESS_MM = (2.0, 1.0, 0.5, 0.3, 0.2, 0.1, 0.05)
OFTEN_ENOUGH = 0.5
LATER = "what a seller reads is too coarse to tell more; once it lies before you"
BETTER = (
    "no single reading tells much of it; have every hole read with a finer instrument, or lay a paper template on the "
    "part (partkin template)"
)


@dataclass(frozen=True)
class Wanted:
    """A reading worth taking.

    `ask`: what it is expected to do and what its values mean; `then`: what to read where it leaves the verdict
    open. `minutes`, `price`: what it costs to get. `says`: in one sentence. `later`: nothing that a seller reads is
    fine enough, so this is for when the part lies before you.
    """

    ask: Ask
    minutes: float
    price: float
    says: str
    then: Candidate | None = None
    later: bool = False

    @property
    def reading(self) -> Candidate:
        """What is read."""
        return self.ask.candidate


@dataclass(frozen=True, eq=False)
class Next:
    """What to measure next.

    `needed`: questions without whose answer no chance can be said, or that decide which way round the part is.
    `readings`: worth taking, best first. `at_hand`: whether the donor was taken to lie before you.
    """

    verdict: Verdict
    known: Known
    needed: tuple[Unknown, ...] = ()
    readings: tuple[Wanted, ...] = ()
    at_hand: bool = False
    places: Places | None = None
    findings: Findings | None = None


def open_readings(findings: Findings, places: Places) -> tuple[Unknown, ...]:
    """What the verdict asks for: the readings that would settle it.

    Where few of the ways that the readings may be out let the donor go on, and yet even the same part would often
    look so, read as coarsely, that is said first: such readings decide nothing.
    """
    trial = findings.in_question
    if trial is None or trial.stand != "unsure":
        return ()
    best = tuple(as_unknown(one) for one in wanted(findings, places)) or (_once_more(findings),)
    if trial.work is not None:
        return (replace(best[0], says=f"to be sure of the work that is likely: {best[0].says}"), *best[1:])
    if trial.chance is None or trial.chance.just_goes_on is None:
        return best
    says = (
        f"the readings are coarse for the play there is: a part that just goes on, read like this, would look as far "
        f"off in {round(100 * trial.chance.just_goes_on)} of 100 cases"
    )
    return (replace(best[0], says=f"{says}; {best[0].says}"), *best[1:])


def showing_hidden(findings: Findings, places: Places) -> tuple[Unknown, ...]:
    """The reading that would best show what a donor that bolts on may hide."""
    trial = findings.trial
    found = wanted(findings, places, 1)
    if trial is None or trial.chance is None or trial.chance.hidden_mm is None or not found:
        return ()
    says = (
        f"to find what could still be hidden, up to {mm(trial.chance.hidden_mm)} at {trial.chance.hidden_at}, which is "
        f"more than a file takes off: {found[0].says}"
    )
    return (replace(as_unknown(found[0]), says=says),)


def _once_more(findings: Findings) -> Unknown:
    """Where everything is read as finely as is asked for: what hangs most on its reading, read once more."""
    trial, part = findings.in_question, findings.known.donor.part.part
    conflict = trial.answer.conflict if trial is not None else None
    pairs = (conflict.pairs if conflict is not None else ()) or (trial.answer.pairs if trial is not None else ())
    ends = [pair.feature for pair in sorted(pairs, key=lambda pair: pair.margin_mm)][:2]
    if len(ends) < 2:
        return Unknown("finer readings", BETTER, part)
    says = f"read {ends[0]} to {ends[1]} of {part} once more; {BETTER}"
    return Unknown("finer readings", says, part, "centres", *ends)


def as_unknown(one: Wanted) -> Unknown:
    """A wanted reading as an open question of the verdict."""
    it = one.reading
    ends = f"{it.from_feature} to {it.to_feature}" if it.to_feature else it.from_feature
    what = f"{ends} of {it.part}" if it.quantity == "centres" else f"{it.quantity} of {ends} of {it.part}"
    return Unknown(what, one.says, it.part, it.quantity, it.from_feature, it.to_feature or None)


def wanted(
    findings: Findings, places: Places, most: int = MOST_ASKED, at_hand: bool | None = None,
    labour_rate: float | None = None,
) -> tuple[Wanted, ...]:  # fmt: skip
    """Rank what could be read on either part, best first; empty where nothing that can be read tells anything.

    Parameters
    ----------
    findings, places
    most
        How many to return.
    at_hand
        Whether the donor lies before you; None: told by its readings (`donor_at_hand`).
    labour_rate
        Turns prices into minutes; None: prices do not count.
    """
    trial = findings.in_question
    if trial is None or not trial.answer.pairs:
        return ()
    here = as_tried(findings.known, places, trial)
    on_bench = donor_at_hand(findings.known.donor.readings) if at_hand is None else at_hand
    found = best_of(field_of(findings, here, trial, on_bench, labour_rate), here, trial, most)
    if found or on_bench:
        return found
    later = best_of(field_of(findings, here, trial, True, labour_rate), here, trial, most)
    return tuple(
        replace(one, later=True, says=one.says if number else f"{LATER}, {one.says}")
        for number, one in enumerate(later)
    )


def best_of(field: Field, places: Places, trial: Trial, most: int) -> tuple[Wanted, ...]:
    """The best readings of a field: by its draws, or without them where hardly one goes one of the two ways."""
    if not field.candidates:
        return ()
    if not field.one_way:
        return ranked(field, most)
    return tuple(_wanted(ask, field.donor, None) for ask in asks_without_draws(field, places, trial, most))


def ranked(field: Field, most: int) -> tuple[Wanted, ...]:
    """The best of the field with their thresholds, and what to read where each leaves it open."""
    found: list[Wanted] = []
    order = order_of(field, None)
    near = only(field, order[:MOST_FOLLOWED])
    for at in order[:most]:
        one = field.candidates[at]
        ask = field.ask(at)
        between = weight_between(ask, field.drawn_mm[at])
        after = order_of(near, between) if between.sum() > FEWEST_DRAWS else []
        then = next((near.candidates[other] for other in after if near.candidates[other] != one), None)
        found.append(_wanted(ask, field.donor, then, _how_fine(field, at, ask)))
    return tuple(found)


def _how_fine(field: Field, at: int, ask: Ask) -> str:
    """Say how finely it has to be read to settle the verdict more often than not, and with what."""
    low, high = 0, len(FINENESS_MM)
    while low < high:
        middle = (low + high) // 2
        if field.ask(at, FINENESS_MM[middle]).settles >= OFTEN_ENOUGH:
            high = middle
        else:
            low = middle + 1
    if low == len(FINENESS_MM):
        return ""
    one, fine_mm = field.candidates[at], FINENESS_MM[low]
    tool = None if one.instrument == SELLER else to_read_as_finely(ask.expected_mm, fine_mm, one.quantity)
    return f", to {fine_mm:g} mm or better" + (f" ({tool})" if tool else "")


def order_of(field: Field, weight: np.ndarray | None) -> list[int]:
    """What is worth reading, by itself, best first: places among the candidates."""
    told = told_by_each(field.candidates, field.fits, field.drawn_mm, weight)
    keys = [
        (-round(float(tells) / one.effort, 6), one.part, one.from_feature, one.to_feature)
        for one, tells in zip(field.candidates, told, strict=True)
    ]
    worth = [at for at in range(len(keys)) if told[at] >= LEAST_TOLD]
    return sorted(worth, key=keys.__getitem__)


def _wanted(ask: Ask, donor: str, then: Candidate | None, fineness: str = "") -> Wanted:
    cost = reading_costs()[ask.candidate.instrument or SELLER]
    return Wanted(ask, cost.minutes, cost.price, sentence(ask, donor, then, fineness), then)


def sentence(ask: Ask, donor: str, then: Candidate | None = None, fineness: str = "") -> str:
    """Say what to read, how finely, and which values mean what."""
    one = ask.candidate
    said = meaning(ask.bands, 2 if one.quantity == "across" else 1)
    what = f"{one.from_feature} to {one.to_feature} of {one.part}, centre to centre"
    if one.quantity == "across":
        what = f"how wide {one.from_feature} of {one.part} is across"
    head = f"{'ask the seller for' if one.instrument == SELLER else 'read'} {what}{fineness}"
    if not said:
        told = f"it tells {_share(ask.tells)} of what is open" if ask.tells is not None else "it tells most"
        return f"{head}: no value of it settles the verdict alone, but {told}"
    if then is None or not any(band.answer == "between" for band in ask.bands):
        return f"{head}: {said}"
    ends = f"{then.from_feature} to {then.to_feature}" if then.to_feature else named(then)
    other = "" if then.part == one.part else f" of {then.part}"
    return f"{head}: {said}; between, {'ask for' if then.instrument == SELLER else 'read'} {ends}{other}"


def _share(tells: float) -> str:
    """A share in words that promise no more than the draws know.

    Examples
    --------
    >>> _share(0.024), _share(0.37)
    ('a little (2 %)', '37 %')
    """
    return f"{100 * tells:.0f} %" if tells >= 0.1 else f"a little ({max(1, round(100 * tells))} %)"
