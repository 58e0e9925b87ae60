"""One trial of a donor on its host: places, play, pairing, placement, chance."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from partkin.fit.making import SEED
from partkin.fit.search import AllSpent, together
from partkin.fit.solve import gives, holds, pulled, undecided, with_flex
from partkin.fit.task import Prepared
from partkin.model.fitting import Chance, FitAnswer
from partkin.model.known import Known, is_airbag_panel
from partkin.model.positions import Suspect
from partkin.model.verdict import Stand, Trial, better_way_round
from partkin.positions.lengths import DISTANCES
from partkin.trial.chances import chance_of, pairings_of, sides_drawn, size_errors, would_just_go_on
from partkin.trial.likely import likely_places
from partkin.trial.open_ends import clear_of_studs, shown_as_open, spared_openings, telling
from partkin.trial.places import (
    MOST_LAYOUTS,
    Places,
    adjusted,
    as_tried,
    faces,
    in_layouts,
    layouts,
    layouts_left_out,
    looks_in_doubt,
    places_of,
    prepared_task,
    side_questions,
    without_each,
    without_each_look,
)
from partkin.trial.seams import choose, compare

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = [
    "SEED", "Places", "adjusted", "as_tried", "chance_of", "in_layouts", "layouts_left_out", "looks_in_doubt",
    "places_of", "prepared_task", "side_questions", "sides_drawn", "size_errors", "trial", "trials",
]  # fmt: skip


OPEN = {"unsure", "missing", "undecided"}
# What the search of pairings and the draws in space may take together for one donor; a node in the plane is a step.
STEPS = 24_000


def trials(known: Known, places: Places, confidence: float) -> tuple[Trial, ...]:
    """Try the donor in every way that the sheets leave open.

    The face that was looked at, the layouts, and which of several readings that contradict each other is wrong.
    """
    with together(STEPS):
        return _each_way(known, places, confidence)


def _each_way(known: Known, places: Places, confidence: float) -> tuple[Trial, ...]:
    found: list[Trial] = []
    for without, there, by_other in _ways(known, places, found):
        says = better_way_round(found)
        # What is open stays so, whatever is left out.
        if without is not None and (len(says) > 1 or not says.isdisjoint(OPEN)):
            break
        # What lies nearer to the other part than it was read goes on all the more.
        if without is not None and by_other and says == {"fits"}:
            continue
        for numbers in layouts(there)[:MOST_LAYOUTS]:
            for mirrored in faces(known, there):
                tried = trial(known, in_layouts(there, numbers), confidence, mirrored=mirrored)
                if tried.seams is None and is_airbag_panel(known):
                    tried = replace(tried, seams=compare(known, there, tried.answer, tried))
                found.append(replace(tried, layouts=numbers, without=without))
        if without is not None and (layouts_left_out(there) or _slips(there)):
            # Nothing is settled by a shape that is open so widely, nor by readings that still contradict each other.
            found.append(replace(found[-1], stand="unsure"))
    return tuple(found)


def _ways(known: Known, places: Places, found: list[Trial]) -> Iterator[tuple[tuple[str, str] | None, Places, bool]]:
    """All readings together, unless distances contradict each other: then one is wrong, and each is left out.

    Last, of a donor that does not go on by all that was `found` up to then, each look by which a layout was left out.
    """
    fewer = without_each(known, places)
    contradict = _contradict(places)
    first = next(fewer, None) if contradict and all(one.quantity in DISTANCES for one in contradict) else None
    yield first or (None, places, False)
    yield from fewer
    if better_way_round(found) == {"does not"}:
        yield from without_each_look(known, places)


def trial(known: Known, places: Places, confidence: float, *, mirrored: bool) -> Trial:
    """Lay the donor on its fixings and say how it stands.

    What is not known is taken at its worst: a donor that fits then fits whatever it is. And at its kindest: a donor
    that does not fit then fits in no way. In between it is what has to be found out.
    """
    prepared = prepared_task(known, places, mirrored=mirrored)
    try:
        return _tried(known, places, prepared, confidence)
    except AllSpent:
        answer = undecided(prepared.task, f"{STEPS} steps for all ways of laying it on")
        return _judged(known, places, prepared, answer, confidence)


def _tried(known: Known, places: Places, prepared: Prepared, confidence: float) -> Trial:
    worst = prepared.at_worst()
    if not prepared.deciding():
        return _judged(known, places, *_laid(known, worst), confidence)
    if gives(worst.task) or holds(worst.task) is not False:
        tried = _judged(known, places, *_laid(known, worst), confidence)
        if tried.answer.fits is not False or tried.stand == "fits":
            return tried
    kindest, answer = _laid(known, spared_openings(known, prepared.at_kindest()))
    missing = telling(prepared, places)
    if answer.fits is False:
        tried = _judged(known, places, kindest, answer, confidence)
        if tried.stand == "does not":
            return replace(tried, chance=None, missing=missing)
    stand: Stand = "undecided" if answer.fits is None else "missing"
    shown = shown_as_open(answer, prepared)
    return Trial(
        prepared.task.mirrored, prepared.task, shown, None, stand, prepared.matings, missing, nowhere=prepared.nowhere
    )


def _laid(known: Known, prepared: Prepared) -> tuple[Prepared, FitAnswer]:
    """The donor laid on as a task has it; the task without studs that stand in an opening, where that helps."""
    answer = with_flex(prepared.task)
    return (clear_of_studs(known, prepared) if answer.fits is False else None) or (prepared, answer)


def _judged(known: Known, places: Places, prepared: Prepared, answer: FitAnswer, confidence: float) -> Trial:
    """How the donor stands as it lies."""
    mirrored = prepared.task.mirrored
    if answer.fits is None:
        return Trial(mirrored, prepared.task, answer, None, "undecided", prepared.matings, nowhere=prepared.nowhere)
    lying = None
    if is_airbag_panel(known):
        answer, lying = choose(known, places, prepared, answer)
    answer, chance, judged = _as_pulled(prepared, answer, places, confidence)
    stand, chance = _stand(judged, answer, chance, places, confidence)
    likely = None
    if stand == "fits":
        likely = likely_places(judged, answer, places, known.donor, pairings_of(judged, answer)[0])
        stand = "fits" if likely is not None or not answer.pairs else "unsure"
    task = (judged if answer.fits else prepared).task
    return Trial(
        mirrored, task, answer, chance, stand, prepared.matings, seams=lying, nowhere=prepared.nowhere,
        likely=likely,
    )  # fmt: skip


def _as_pulled(
    sure: Prepared, answer: FitAnswer, places: Places, confidence: float
) -> tuple[FitAnswer, Chance, Prepared]:
    """The chance of the donor rigid; where that is not enough, of the donor pulled as far as it gives."""
    rigid = chance_of(sure, answer, places, confidence) if not answer.flex_used_mm else None
    if rigid is not None and (not gives(sure.task) or not answer.fits or rigid.fits >= confidence):
        return answer, rigid, sure
    soft = replace(sure, task=pulled(sure.task, sure.task.flex_mm))
    chance = chance_of(soft, answer, places, confidence)
    if rigid is None:
        return answer, chance, soft
    if chance.fits < confidence:
        return answer, rigid, sure
    return replace(answer, flex_used_mm=sure.task.flex_mm, flex_to_be_sure=True), chance, soft


def _stand(
    judged: Prepared, answer: FitAnswer, chance: Chance, places: Places, confidence: float
) -> tuple[Stand, Chance]:
    """A verdict needs both: the likely positions and enough of the ways the donor may really be.

    Against the donor it needs a third thing: that a part which just goes on would seldom be read as far off. Not
    where readings contradict each other: that makes them all look coarse, and `trials` leaves out each in turn.
    """
    if chance.fits >= confidence:
        return "fits", chance
    if answer.fits or chance.fits > 1.0 - confidence:
        return "unsure", chance
    just = would_just_go_on(judged, answer, places, confidence) if chance.draws and not _slips(places) else None
    chance = replace(chance, just_goes_on=just)
    return "unsure" if just is not None and just > 1.0 - confidence else "does not", chance


def _slips(places: Places) -> bool:
    """Whether one of several readings of a part must be wrong, by the others of that part."""
    return bool(_contradict(places))


def _contradict(places: Places) -> list[Suspect]:
    suspects = (*places.host.suspects, *places.donor.suspects)
    return [suspect for suspect in suspects if not suspect.left_out and not suspect.by_other]
