"""One trial of a donor on its host: places, play, pairing, placement, chance, and what is still open of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from partkin.fit.making import SEED
from partkin.fit.search import AllSpent, together
from partkin.fit.solve import gives, holds, pulled, undecided, with_flex
from partkin.fit.task import UNKNOWN_PLAY_MM, Prepared
from partkin.model.fitting import Chance, FitAnswer
from partkin.model.known import Known, is_airbag_panel
from partkin.model.positions import Missing, Suspect
from partkin.model.verdict import Stand, Trial, better_way_round
from partkin.positions.lengths import DISTANCES
from partkin.trial.believed import likely_places
from partkin.trial.chances import chance_of, pairings_of, sides_drawn, size_errors, would_just_go_on
from partkin.trial.cut_outs import clear_of_studs, without_studs
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
        if without is not None and (layouts_left_out(there) or _contradict(there)):
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
    kindest, answer = _laid(known, without_studs(known, prepared.at_kindest()))
    missing = telling(prepared, places)
    if answer.fits is False:
        tried = _judged(known, places, kindest, answer, confidence)
        if tried.stand == "does not":
            return replace(tried, chance=None, missing=missing)
    stand: Stand = "undecided" if answer.fits is None else "missing"
    shown = shown_as_open(answer, prepared)
    return replace(_open_trial(prepared, shown), stand=stand, missing=missing)


def _open_trial(prepared: Prepared, answer: FitAnswer) -> Trial:
    task = prepared.task
    return Trial(task.mirrored, task, answer, None, "undecided", prepared.matings, nowhere=prepared.nowhere)


def _laid(known: Known, prepared: Prepared) -> tuple[Prepared, FitAnswer]:
    """The donor laid on as a task has it; the task without studs that stand in an opening, where that helps."""
    answer = with_flex(prepared.task)
    return (clear_of_studs(known, prepared) if answer.fits is False else None) or (prepared, answer)


def _judged(known: Known, places: Places, prepared: Prepared, answer: FitAnswer, confidence: float) -> Trial:
    """How the donor stands as it lies."""
    if answer.fits is None:
        return _open_trial(prepared, answer)
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
    found = _open_trial(prepared, answer)
    return replace(found, task=task, chance=chance, stand=stand, seams=lying, likely=likely)


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
    just = would_just_go_on(judged, answer, places, confidence) if chance.draws and not _contradict(places) else None
    chance = replace(chance, just_goes_on=just)
    return "unsure" if just is not None and just > 1.0 - confidence else "does not", chance


def _contradict(places: Places) -> list[Suspect]:
    """Readings of which one must be wrong, by the others of its part."""
    suspects = (*places.host.suspects, *places.donor.suspects)
    return [suspect for suspect in suspects if not suspect.left_out and not suspect.by_other]


def telling(prepared: Prepared, places: Places) -> tuple[Missing, ...]:
    """What the verdict waits for: places and sizes of what has to be paired, before those of spare holes."""
    task = prepared.task
    spare = {s.id for s in task.features if not s.must and not s.should}
    must = {s.id for s in task.features if s.must}
    wanted = {s.id for s in task.fixings if s.must} | {o.fixing for o in task.options if o.feature in must}
    on_host = {places.hosted.placed_by.get(name, name) for name in wanted} | wanted

    def needed(missing: Missing) -> bool:
        name = missing.from_feature
        return name is None or (name not in spare if missing.part == places.donor.part else name in on_host)

    sides = (places.donor.missing, places.host.missing)
    if not places.host.features:
        # Without a single fixing nothing read on the donor tells anything.
        sides = (places.host.missing, places.donor.missing)
    found = _each_distance_once([*sides[0], *sides[1], *prepared.missing])
    return tuple(m for m in found if needed(m)) or found


def _each_distance_once(missing: list[Missing]) -> tuple[Missing, ...]:
    """The first of those that ask for one distance, from whichever end."""
    kept: dict[object, Missing] = {}
    for one in missing:
        ends = frozenset((one.from_feature, one.to_feature))
        kept.setdefault((one.part, ends) if one.quantity == "centres" and len(ends) > 1 else one, one)
    return tuple(kept.values())


def shown_as_open(answer: FitAnswer, prepared: Prepared) -> FitAnswer:
    """The answer with every pair open of which something is not known, however much play it may have at most."""
    pairs = tuple(
        replace(p, allowed_mm=UNKNOWN_PLAY_MM, margin_mm=UNKNOWN_PLAY_MM - p.offset_mm)
        if (p.fixing, p.feature) in prepared.most_mm else p
        for p in answer.pairs
    )  # fmt: skip
    return replace(answer, pairs=pairs)
