"""What is not known of a donor on its fixings: what would tell, and how the answer is shown until then."""

from __future__ import annotations

from dataclasses import replace

from partkin.fit.task import UNKNOWN_PLAY_MM, Prepared
from partkin.model.fitting import FitAnswer
from partkin.model.known import Known
from partkin.model.positions import Missing
from partkin.trial.openings import spare_studs
from partkin.trial.places import Places


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


def spared_openings(known: Known, prepared: Prepared) -> Prepared:
    """The task without the studs that the donor need not be held by, where they may stand in an opening of it."""
    spare = spare_studs(known, prepared)
    fixings = tuple(replace(s, must=s.must and s.id not in spare) for s in prepared.task.fixings)
    return replace(prepared, task=replace(prepared.task, fixings=fixings))
