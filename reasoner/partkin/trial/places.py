"""Where everything is: positions of both sides, and every way of taking them that the sheets leave open."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain

from partkin.fit.fixings import HostFixings, donor_features, host_fixings
from partkin.fit.task import Prepared, prepare
from partkin.model.build import Build, Feature, Reading
from partkin.model.known import NOTHING_OF_THE_KIND, Known, OneDrawing, Side
from partkin.model.mating import Size
from partkin.model.positions import Missing, Positions, Suspect
from partkin.model.verdict import Trial
from partkin.model.words import SIDES
from partkin.positions import adjust, dimensions
from partkin.positions.asking_for import once_more, tells_sides
from partkin.positions.lengths import DISTANCES, current, value_mm
from partkin.positions.sides import seen_sides
from partkin.positions.start import POLISHED
from partkin.trial.slips import distances_of, doubted, leaning, odd_sizes

MOST_LAYOUTS = 8
# From this on a reading is doubted on its own account, not only as one of several of which one is wrong.
DOUBTED = 1.75
# What the other part adds to a reading that it speaks against, and takes from one that it confirms.
CONFIRMED = 0.75


@dataclass(frozen=True, eq=False)
class SizesTold:
    """How wide and how long a feature is, by its cells and readings; a width that is `odd` counts as not known.

    `readings`: by part. `odd`: part and feature each.
    """

    readings: Mapping[str, tuple[Reading, ...]]
    odd: frozenset[tuple[str | None, str | None]]

    def __call__(self, feature: Feature) -> tuple[Size, Size]:
        """Return how wide and how long."""
        found = dimensions(feature, self.readings.get(feature.part, ()))
        doubted = (feature.part, feature.feature) in self.odd
        across = Size(None) if doubted else Size(found.across_mm, found.across_half_width_mm)
        return across, Size(found.length_mm, found.length_half_width_mm)


@dataclass(frozen=True, eq=False)
class Places:
    """Where everything is: the part that shows the fixings, and the donor.

    `sizes_of`: how wide and how long a feature is. `one_drawing`: how likely it is, before anything is read, that the
    donor is made to the original's drawing.
    """

    hosted: HostFixings
    host_side: Side
    host: Positions
    donor: Positions
    sizes_of: SizesTold
    one_drawing: OneDrawing = NOTHING_OF_THE_KIND

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """Suspect readings of both parts, the likeliest slip first."""
        return tuple(sorted(self.donor.suspects + self.host.suspects, key=lambda one: -one.likely))


_last: list[tuple[Known, Places]] = []


def places_of(known: Known) -> Places:
    """Adjust the readings of the donor and of the part that shows where the fixings are.

    The last answer is kept: a check asks for it at several places.
    """
    for asked, found in _last:
        if asked is known:
            return found
    places = _adjusted_both(known)
    _last[:] = [(known, places)]
    return places


def _adjusted_both(known: Known) -> Places:
    donor, host, original = adjusted(known.donor), adjusted(known.host), known.original
    placed, there = frozenset(host.features), None
    if original is not None and not placed.issuperset(f.feature for f in known.host.features):
        there = adjusted(original)
    on_original = None if there is None else frozenset(there.features)
    odd = odd_sizes(known)
    sizes_of = _sizes(known, odd)
    hosted, host_side = host_fixings(known.host, original, placed, sizes_of, on_original), known.host
    if hosted.measured_from != "host" and original is not None:
        host_side, host = original, there or adjusted(original)
    return _with_doubts(known, Places(hosted, host_side, host, donor, sizes_of, known.one_drawing), odd)


def _with_doubts(known: Known, places: Places, odd: Sequence[Suspect]) -> Places:
    """Add to the suspects of each part what the other part, or what goes through a hole, speaks against."""
    hosted, host, donor = places.hosted, places.host, places.donor
    # The feature of the part that shows the fixings for each donor feature that is told what it goes on.
    named = {f.feature: hosted.also_called.get(f.goes_on, f.goes_on) for f in known.donor.features if f.goes_on}
    called = {name: hosted.placed_by.get(fixing, fixing) for name, fixing in named.items()}
    theirs = {there: name for name, there in called.items()}
    of_host = distances_of(places.host_side, host) if known.donor.readings else {}
    of_donor = distances_of(known.donor, donor) if places.host_side.readings else {}
    return replace(
        places,
        host=_suspecting(
            host, [one for one in odd if one.part != donor.part], leaning(places.host_side, of_donor, theirs),
            doubted(places.host_side, host, of_donor, theirs, donor.part),
        ),
        donor=_suspecting(
            donor, [one for one in odd if one.part == donor.part], leaning(known.donor, of_host, called),
            doubted(known.donor, donor, of_host, called, host.part),
        ),
    )  # fmt: skip


def _suspecting(
    positions: Positions, odd: list[Suspect], agrees: dict[str, bool], more: tuple[Suspect, ...]
) -> Positions:
    """Positions with further suspects. Of several that may be wrong, one that the other part confirms is the last."""
    found = {suspect.reading: suspect for suspect in odd}
    for suspect in positions.suspects:
        agree = None if suspect.left_out else agrees.get(suspect.reading)
        lean = 0.0 if agree is None else -CONFIRMED if agree else CONFIRMED
        found[suspect.reading] = replace(suspect, likely=suspect.likely + lean)
    for one in more:
        own = found.get(one.reading)
        if own is not None and not own.left_out:
            one = replace(one, likely=own.likely + one.likely, by_other=False)
        found[one.reading] = one if own is None or not own.left_out else own
    return replace(positions, suspects=tuple(sorted(found.values(), key=lambda one: -one.likely)))


def adjusted(side: Side) -> Positions:
    """Positions of one side's features."""
    return adjust(side.part.part, side.features, side.readings)


def _sizes(known: Known, odd: Sequence[Suspect]) -> SizesTold:
    sides = [side for side in (known.host, known.original, known.donor) if side is not None]
    readings = {side.part.part: side.readings for side in sides}
    return SizesTold(readings, frozenset((one.part, one.from_feature) for one in odd))


def without_each(known: Known, places: Places) -> Iterator[tuple[tuple[str, str], Places, bool]]:
    """The places without each reading that may be the wrong one of several, and without all that the other part doubts.

    Last: whether nothing but the other part speaks against what is left out.
    """
    sides = ((places.host_side, places.host, "host"), (known.donor, places.donor, "donor"))
    for side, positions, whose in sides:
        rivals = [s for s in positions.suspects if not s.left_out and s.quantity in (*DISTANCES, *SIDES)]
        if not positions.flat:
            rivals = [s for s in rivals if s.by_other]
        doubted = [s.reading for s in rivals if s.likely >= DOUBTED]
        for names in [[s.reading] for s in rivals] + ([doubted] if len(doubted) > 1 else []):
            other = _adjusted_without(side, names)
            changed = replace(places, host=other) if whose == "host" else replace(places, donor=other)
            by_other = all(s.by_other for s in rivals if s.reading in names)
            yield (positions.part, " and ".join(names)), changed, by_other


def without_each_look(known: Known, places: Places) -> Iterator[tuple[tuple[str, str], Places, bool]]:
    """The places without each answer of left or right on which a layout hangs, if it was looked at once only.

    None where readings are suspect already: those come first.
    """
    if not all(one.left_out for one in places.suspects):
        return
    for side, whose in ((places.host_side, "host"), (known.donor, "donor")):
        for look in seen_sides(side.readings):
            other = _adjusted_without(side, [look.reading]) if not look.again else None
            if other is not None and other.handed and len(other.layouts) > 1:
                changed = replace(places, host=other) if whose == "host" else replace(places, donor=other)
                yield (side.part.part, look.reading), changed, True


def _adjusted_without(side: Side, names: Sequence[str]) -> Positions:
    return adjusted(replace(side, readings=tuple(row for row in side.readings if row.reading not in names)))


def looks_in_doubt(known: Known, places: Places, trials: Sequence[Trial]) -> tuple[Suspect, ...]:
    """The answers of left or right without which the donor would, or might, go on."""
    without = {trial.without for trial in trials if trial.without is not None and trial.says != "does not"}
    return tuple(
        once_more(side.part.part, look)
        for side in (places.host_side, known.donor)
        for look in seen_sides(side.readings)
        if (side.part.part, look.reading) in without
    )


def faces(known: Known, places: Places) -> tuple[bool, ...]:
    """Whether the donor is laid on as it was read, mirrored, or both: where a face or a side is not known."""
    host, donor = places.host_side.part.seen_from, known.donor.part.seen_from
    if not (places.donor.handed and places.host.handed) or host is None or donor is None:
        return (False, True)
    return (host != donor,)


def layouts(places: Places) -> list[tuple[int, int]]:
    """Every combination of layouts that the readings of either side cannot tell apart, the likeliest first."""
    host, donor = (max(1, len(side.layouts)) for side in (places.host, places.donor))
    return sorted(((one, other) for one in range(host) for other in range(donor)), key=lambda two: (sum(two), two))


def layouts_left_out(places: Places) -> bool:
    """Whether there are more layouts than are tried: then what the others say is not known."""
    cut = any(len(side.layouts) >= POLISHED for side in (places.host, places.donor))
    return cut or len(layouts(places)) > MOST_LAYOUTS


def side_questions(places: Places) -> tuple[Missing, ...]:
    """What would tell the layouts of either side, or a layout from its mirror image, apart."""
    return tuple(m for m in (*places.donor.missing, *places.host.missing) if tells_sides(m))


def in_layouts(places: Places, layouts: tuple[int, int]) -> Places:
    """The places with one layout of either side in front, as a trial was made with."""
    from partkin.positions.sampling import of_layout

    host, donor = (
        of_layout(side, number) if number < len(side.layouts) else side
        for side, number in zip((places.host, places.donor), layouts, strict=True)
    )
    return replace(places, host=host, donor=donor)


def as_tried(known: Known, places: Places, trial: Trial) -> Places:
    """The places that a trial was made with: its layouts, without the reading that it left out."""
    if trial.without is not None:
        ways = chain(without_each(known, places), without_each_look(known, places))
        places = next(there for left_out, there, _ in ways if left_out == trial.without)
    return in_layouts(places, trial.layouts)


def prepared_task(known: Known, places: Places, *, mirrored: bool) -> Prepared:
    """The numbers of one trial."""
    part = known.donor.part
    return prepare(
        places.hosted, donor_features(known.donor, places.sizes_of), places.host, places.donor,
        host_part=known.host.part.part, mirrored=mirrored, flex_mm=part.flex_mm or 0.0,
        flex_in_plane=bool(part.flex_in_plane), host_thickness_mm=_thickness_mm(places.host_side),
        donor_thickness_mm=_thickness_mm(known.donor),
    )  # fmt: skip


def _thickness_mm(side: Side) -> float | None:
    """Thickness of a part: its newest reading, else its cell."""
    read = [row for row in current(side.readings) if row.quantity == "thickness" and row.part == side.part.part]
    return value_mm(read[-1]) if read else side.part.thickness_mm


def other_originals(build: Build, known: Known) -> tuple[str, ...]:
    """Say which other parts came off the same place: only one of them is looked at."""
    if known.original is None:
        return ()
    looked_at, there = known.original.part.part, [part.part for part in build.came_off(known.host.part.part)]
    others = [part for part in there if part != looked_at and build.features_of(part)]
    return tuple(f"{other} came off the same place too and is not looked at: {looked_at} is" for other in others)


def measured_from(known: Known) -> str:
    """Which part shows where the fixings are, of one that is not laid on: host or original."""
    own = known.host.features and (known.original is None or known.host.part.part != known.original.part.part)
    return "host" if own or known.original is None else "original"
