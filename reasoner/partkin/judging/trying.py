"""One trial of a donor on its host: places, play, pairing, placement, chance."""

from __future__ import annotations

from dataclasses import replace

from partkin.fit import solve
from partkin.fit.flex import gives, pulled, with_flex
from partkin.fit.solve import holds
from partkin.fit.task import Prepared
from partkin.judging.chances import SEED, chance_of, fitting_draws, size_errors
from partkin.judging.coarse import conflict_holds, same_would, tells_nothing
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
from partkin.model.fitting import Chance, FitAnswer, FitTask, NoPlacement
from partkin.model.known import Known
from partkin.model.positions import Missing
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

    What is missing counts only where it is needed: a donor that already fits by what is measured fits, and
    fixings that conflict whatever the missing values are decide against it.
    """
    prepared = prepared_task(known, places, mirrored=mirrored)
    sure = _without_unknown(prepared)
    open_ends = bool(prepared.unknown or _placeless(prepared, places))
    if open_ends and not gives(sure.task) and holds(sure.task) is False:
        # Why it does not is asked of the kindest case below.
        answer = FitAnswer(False, NoPlacement("something that is needed is not known"), (), None)
    else:
        answer = with_flex(sure.task, solve)
    if answer.fits is False:
        sure, answer = clear_of_studs(known, sure) or (sure, answer)
    if answer.fits is None:
        return Trial(mirrored, prepared.task, answer, None, "undecided", prepared.matings)
    lying = None
    if answer.fits or not open_ends:
        if is_airbag_panel(known):
            answer, lying = choose(known, places, sure, answer)
        answer, chance, judged = _as_pulled(sure, answer, places, confidence)
        stand, alike = _stand(judged, answer, chance, places, confidence)
        task = (judged if answer.fits else prepared).task
        return Trial(mirrored, task, answer, chance, stand, prepared.matings, same_would=alike, seams=lying)
    kindest = replace(prepared, task=_optimistic(prepared, places))
    least = with_flex(kindest.task, solve)
    stand = "missing"
    if least.fits is False:
        chance = chance_of(prepared, least, places)
        if _stand(kindest, least, chance, places, confidence)[0] == "does not":
            stand = "does not"
    return Trial(mirrored, prepared.task, least, None, stand, prepared.matings, _needed(prepared, places))


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


def _without_unknown(prepared: Prepared) -> Prepared:
    options = tuple(o for o in prepared.task.options if (o.fixing, o.feature) not in prepared.unknown)
    return replace(prepared, task=replace(prepared.task, options=options))


def _placeless(prepared: Prepared, places: Places) -> set[str]:
    """Fixings of which no place is known."""
    placed_by = places.hosted.placed_by
    return {s.id for s in prepared.task.fixings if placed_by.get(s.id) not in places.host.features}


def _optimistic(prepared: Prepared, places: Places) -> FitTask:
    """The task as it would be if everything that is not known were as kind as it can be."""
    placeless = _placeless(prepared, places)
    open_ended = {o.feature for o in prepared.task.options if o.fixing in placeless}
    fixings = tuple(replace(s, must=False, should=False) if s.id in placeless else s for s in prepared.task.fixings)
    features = tuple(replace(s, must=s.must and s.id not in open_ended) for s in prepared.task.features)
    options = tuple(o for o in prepared.task.options if o.fixing not in placeless)
    return replace(prepared.task, fixings=fixings, features=features, options=options)


def _needed(prepared: Prepared, places: Places) -> tuple[Missing, ...]:
    """What the verdict waits for: places and sizes of what has to be paired, not of spare holes."""
    task = prepared.task
    spare = {s.id for s in task.features if not s.must and not s.should}
    must = {s.id for s in task.features if s.must}
    wanted = {s.id for s in task.fixings if s.must} | {o.fixing for o in task.options if o.feature in must}
    needed_host = {places.hosted.placed_by.get(name, name) for name in wanted}
    found = [m for m in places.donor.missing if m.from_feature not in spare or m.from_feature is None]
    found += [m for m in places.host.missing if m.from_feature in needed_host or m.from_feature is None]
    found += [m for m in prepared.missing if m.from_feature not in spare]
    return tuple(dict.fromkeys(found))
