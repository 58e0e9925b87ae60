"""One trial of a donor on its host: places, play, pairing, placement, chance."""

from __future__ import annotations

from dataclasses import replace

from partkin.fit import solve
from partkin.fit.flex import gives, pulled, with_flex
from partkin.fit.solve import holds
from partkin.fit.task import Prepared
from partkin.judging.chances import SEED, chance_of, fitting_draws, size_errors
from partkin.judging.coarse import conflict_holds, same_would, tells_nothing
from partkin.judging.open_ends import shown_as_open, spared_openings, telling
from partkin.judging.openings import clear_of_studs
from partkin.judging.places import (
    MOST_LAYOUTS,
    Places,
    adjusted,
    faces,
    in_layouts,
    layouts,
    layouts_left_out,
    places_of,
    prepared_task,
    side_questions,
    without_each,
)
from partkin.judging.seams import choose, compare
from partkin.model.fitting import Chance, FitAnswer
from partkin.model.known import Known
from partkin.model.trial import Stand, Trial
from partkin.verdict import is_airbag_panel

__all__ = [
    "SEED", "Places", "adjusted", "chance_of", "fitting_draws", "in_layouts", "layouts_left_out", "places_of",
    "prepared_task", "side_questions", "size_errors", "trial", "trials",
]  # fmt: skip


def trials(known: Known, places: Places, confidence: float) -> tuple[Trial, ...]:
    """Try the donor in every way that the sheets leave open.

    The face that was looked at, the layouts, and which of several readings that contradict each other is wrong.
    """
    ways: list[tuple[tuple[str, str] | None, Places]] = [(None, places), *without_each(known, places)]
    found = []
    for without, there in ways:
        for numbers in layouts(there)[:MOST_LAYOUTS]:
            for mirrored in faces(known, there):
                tried = trial(known, in_layouts(there, numbers), confidence, mirrored=mirrored)
                if tried.seams is None and is_airbag_panel(known):
                    tried = replace(tried, seams=compare(known, there, tried.answer, tried))
                found.append(replace(tried, layouts=numbers, without=without))
    return tuple(found)


def trial(known: Known, places: Places, confidence: float, *, mirrored: bool) -> Trial:
    """Lay the donor on its fixings and say how it stands.

    What is not known is taken at its worst: a donor that fits then fits whatever it is. And at its kindest: a donor
    that does not fit then fits in no way. In between it is what has to be found out.
    """
    prepared = prepared_task(known, places, mirrored=mirrored)
    worst = prepared.at_worst()
    if not prepared.deciding():
        return _tried(known, places, worst, confidence)
    if gives(worst.task) or holds(worst.task) is not False:
        tried = _tried(known, places, worst, confidence)
        if tried.answer.fits is not False:
            return tried
    kindest = spared_openings(known, prepared.at_kindest())
    tried = _tried(known, places, kindest, confidence)
    missing = telling(prepared, places)
    if tried.stand == "does not":
        return replace(tried, chance=None, missing=missing)
    stand: Stand = "undecided" if tried.answer.fits is None else "missing"
    shown = shown_as_open(tried.answer, prepared)
    return replace(tried, task=prepared.task, answer=shown, chance=None, stand=stand, missing=missing, same_would=None)


def _tried(known: Known, places: Places, prepared: Prepared, confidence: float) -> Trial:
    """Lay the donor as a task has it, and say how it stands there."""
    mirrored = prepared.task.mirrored
    answer = with_flex(prepared.task, solve)
    if answer.fits is False:
        prepared, answer = clear_of_studs(known, prepared) or (prepared, answer)
    if answer.fits is None:
        return Trial(mirrored, prepared.task, answer, None, "undecided", prepared.matings, nowhere=prepared.nowhere)
    lying = None
    if is_airbag_panel(known):
        answer, lying = choose(known, places, prepared, answer)
    answer, chance, judged = _as_pulled(prepared, answer, places, confidence)
    stand, alike = _stand(judged, answer, chance, places, confidence)
    task = (judged if answer.fits else prepared).task
    return Trial(
        mirrored, task, answer, chance, stand, prepared.matings, same_would=alike, seams=lying, nowhere=prepared.nowhere
    )


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
) -> tuple[Stand, float | None]:
    """A verdict needs both: the likely positions and enough of the ways the readings may be out.

    Against the donor it needs a third thing: that the same part, read as coarsely, would seldom look so far off. Not
    where readings contradict each other: that makes them all look coarse, and `trials` leaves out each in turn. Where
    the chance tells nothing, most holes being hardly known, the fixings that conflict have to be sure by themselves.
    """
    if answer.fits and chance.fits >= confidence:
        return "fits", None
    if answer.fits or chance.fits > 1.0 - confidence:
        return "unsure", None
    alike = same_would(judged, answer, places) if chance.draws and not _slips(places) else None
    if alike is not None and alike > 1.0 - confidence:
        return "unsure", alike
    if chance.draws and tells_nothing(judged, answer, places, confidence):
        return "does not" if conflict_holds(judged, answer, places, confidence) else "unsure", None
    return "does not", alike


def _slips(places: Places) -> bool:
    """Whether one of several readings must be wrong."""
    return any(not suspect.left_out for side in (places.host, places.donor) for suspect in side.suspects)
