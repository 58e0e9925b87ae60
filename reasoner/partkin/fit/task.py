"""From fixings, features and their places to the numbers that the geometry works on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from partkin.fit.fixings import HostFixings
from partkin.fit.mating import OPENINGS, fastener_mm, half_travel_mm, mate, open_travel_mm, solid_mm
from partkin.model.build import Feature
from partkin.model.fitting import FitTask, Option, Spot
from partkin.model.mating import DonorFeature, Fixing, Mating, direction_deg
from partkin.model.positions import Missing, Positions

# Play given to a pair of which something needed is not known: it can never be the one that conflicts.
UNKNOWN_PLAY_MM = 1.0e5
Pairing = tuple[str, str]


@dataclass(frozen=True)
class Prepared:
    """A fit task with what it was made from.

    `unknown`: pairs that stand in the task with unlimited play, because a size or a place is missing. `most_mm`: the
    play at its kindest of every pair of which anything is not known. `missing`: what all of these lack. `nowhere`:
    fixings and features of which no place is known; the task has them at its origin.
    """

    task: FitTask
    matings: dict[Pairing, Mating]
    fixings: dict[str, Fixing]
    features: dict[str, DonorFeature]
    unknown: frozenset[Pairing]
    missing: tuple[Missing, ...]
    most_mm: dict[Pairing, float]
    nowhere: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())

    def deciding(self) -> frozenset[Pairing]:
        """The pairs of which anything is not known that something which has to be held could hang on."""
        spots = (*self.task.fixings, *self.task.features)
        must = {spot.id for spot in spots if spot.must} or {spot.id for spot in spots}
        return frozenset(pair for pair in self.most_mm if not must.isdisjoint(pair))

    def at_worst(self) -> Prepared:
        """The task with every unknown as unkind as it can be: what fits so fits whatever it is."""
        options = tuple(o for o in self.task.options if (o.fixing, o.feature) not in self.unknown)
        return replace(self, task=replace(self.task, options=options), most_mm={})

    def at_kindest(self) -> Prepared:
        """The task with every unknown as kind as it can be: what does not fit so fits in no way."""
        options = tuple(
            replace(o, allowed_mm=self.most_mm.get((o.fixing, o.feature), o.allowed_mm)) for o in self.task.options
        )
        return replace(self, task=replace(self.task, options=options))


def prepare(
    hosted: HostFixings,
    donors: tuple[DonorFeature, ...],
    host_places: Positions,
    donor_places: Positions,
    *,
    host_part: str,
    mirrored: bool,
    flex_mm: float = 0.0,
    flex_in_plane: bool = False,
    host_thickness_mm: float | None = None,
    donor_thickness_mm: float | None = None,
) -> Prepared:
    """Make the task of laying a donor on its fixings.

    Parameters
    ----------
    hosted, donors
    host_places
        Positions of the part that the fixings' places come from (`hosted.placed_by`).
    donor_places
    host_part
        Id of the host, for the readings that are asked for.
    mirrored
    flex_mm, flex_in_plane
    host_thickness_mm, donor_thickness_mm
        Depth of the holes of either part; None: not known.

    Notes
    -----
    Two patterns are laid together in space unless both are flat with every axis along z. Where only one
    side has a third coordinate, and is not flat, nothing can be said before the other side has one too.
    """
    hosted, donors = _directed(hosted, donors, host_places, donor_places)
    dims, depthless = _dims(hosted, donors, host_places, donor_places)
    matings = _matings(hosted, donors)
    nowhere = (
        frozenset(f for f, shown in _shown(hosted) if shown not in host_places.features),
        frozenset(d.feature.feature for d in donors if d.feature.feature not in donor_places.features),
    )
    unknown, most_mm = _not_known(matings, nowhere, depthless is not None)
    options = tuple(
        Option(*pair, UNKNOWN_PLAY_MM if pair in unknown else mating.allowed_mm or 0.0)
        for pair, mating in matings.items() if mating.option
    )  # fmt: skip
    task = FitTask(
        fixings=tuple(_host_spot(f, hosted.placed_by, host_places, dims, host_thickness_mm) for f in hosted.fixings),
        features=tuple(_donor_spot(d, donor_places, dims, donor_thickness_mm) for d in donors),
        options=options, given=_is_given(options), mirrored=mirrored, flex_mm=flex_mm, flex_in_plane=flex_in_plane,
    )  # fmt: skip
    return Prepared(
        task, matings, {f.feature.feature: f for f in hosted.fixings}, {d.feature.feature: d for d in donors},
        unknown,
        _lacks_z(depthless, host_places, donor_places) if depthless
        else _missing(matings, most_mm, hosted, host_part, donor_places),
        most_mm, nowhere,
    )  # fmt: skip


def _not_known(
    matings: Mapping[Pairing, Mating], nowhere: tuple[frozenset[str], frozenset[str]], depthless: bool
) -> tuple[frozenset[Pairing], dict[Pairing, float]]:
    """Pairs of which a size or a place is missing, and the play at its kindest of all that lack anything."""
    placed = {pair: not depthless and pair[0] not in nowhere[0] and pair[1] not in nowhere[1] for pair in matings}
    unknown = frozenset(
        pair for pair, mating in matings.items() if mating.option and (mating.allowed_mm is None or not placed[pair])
    )
    most_mm = {
        pair: UNKNOWN_PLAY_MM if mating.most_mm is None or not placed[pair] else mating.most_mm
        for pair, mating in matings.items() if mating.option and (mating.lacks or pair in unknown)
    }  # fmt: skip
    return unknown, most_mm


def _directed(
    hosted: HostFixings, donors: tuple[DonorFeature, ...], host_places: Positions, donor_places: Positions
) -> tuple[HostFixings, tuple[DonorFeature, ...]]:
    """Every slot's direction in degrees of its side's frame, as these places have it.

    Measured by distances alone a side has no frame that degrees could be told in.
    """
    shown_mm, own_mm = (dict(zip(p.features, p.xyz_mm, strict=True)) for p in (host_places, donor_places))
    at_mm = {fixing: shown_mm[shown] for fixing, shown in hosted.placed_by.items() if shown in shown_mm}

    def of_fixing(fixing: Fixing) -> Fixing:
        play_deg = fixing.play_angle_deg if host_places.framed else None
        feature = _in_degrees(fixing.feature, at_mm, host_places.framed)
        if fixing.play_angle_to is not None and fixing.shown_by is not None:
            shown = Feature("", fixing.shown_by, "slot", angle_to=fixing.play_angle_to, axis=fixing.feature.axis)
            play_deg = direction_deg(shown, shown_mm)
        if play_deg is None and fixing.play_half_travel_mm > 0:
            lacks, open_mm = (*fixing.play_lacks, "angle"), fixing.play_half_travel_mm
            open_ended = replace(fixing, play_angle_deg=0.0, play_half_travel_mm=0.0, play_open_mm=open_mm)
            return replace(open_ended, feature=feature, play_lacks=lacks)
        return replace(fixing, feature=feature, play_angle_deg=play_deg or 0.0)

    fixings = tuple(of_fixing(fixing) for fixing in hosted.fixings)
    return replace(hosted, fixings=fixings), tuple(
        replace(donor, feature=_in_degrees(donor.feature, own_mm, donor_places.framed)) for donor in donors
    )


def _in_degrees(feature: Feature, at_mm: Mapping[str, Sequence[float]], framed: bool) -> Feature:
    if feature.angle_to is None:
        return feature if framed else replace(feature, angle_deg=None)
    return replace(feature, angle_deg=direction_deg(feature, at_mm), angle_to=None)


def _dims(
    hosted: HostFixings, donors: tuple[DonorFeature, ...], host_places: Positions, donor_places: Positions
) -> tuple[int, str | None]:
    """2 or 3, and the side (host, donor) whose third coordinate is wanting."""
    if not (host_places.flat and donor_places.flat):
        return 2, "host" if donor_places.flat else "donor"
    flat = (
        _is_flat(host_places, [f.feature.axis for f in hosted.fixings]),
        _is_flat(donor_places, [d.feature.axis for d in donors]),
    )
    if host_places.dims == donor_places.dims:
        return (2, None) if host_places.dims == 2 or all(flat) else (3, None)
    solid, other = (0, "donor") if host_places.dims == 3 else (1, "host")
    return 2, None if flat[solid] else other


def _is_flat(places: Positions, axes: list[tuple[float, float, float] | None]) -> bool:
    """All in one plane square to z, and every axis along z."""
    upright = all(axis is None or axis[2] > 1.0 - 1e-9 for axis in axes)
    return upright and (places.dims == 2 or len(set(places.xyz_mm[:, 2].tolist())) <= 1)


def _lacks_z(side: str, host_places: Positions, donor_places: Positions) -> tuple[Missing, ...]:
    """The heights of one side, because the other is not flat; of one that is not flat itself they are asked already."""
    ours, other = (host_places, donor_places) if side == "host" else (donor_places, host_places)
    if not ours.flat:
        return ()
    part = ours.part
    says = f"{other.part} is not flat: the height (z_mm) of every feature of {part}, 0 for all of them if it is flat"
    return (Missing(f"z of {part}", part, "z", None, None, says),)


def _shown(hosted: HostFixings) -> list[tuple[str, str | None]]:
    return [(f.feature.feature, hosted.placed_by.get(f.feature.feature)) for f in hosted.fixings]


def _matings(hosted: HostFixings, donors: tuple[DonorFeature, ...]) -> dict[Pairing, Mating]:
    """Every pair that is to be considered: as given by goes_on, else all that have no given partner.

    What goes_on says of another host's fixings says nothing here.
    """
    names = {f.feature.feature for f in hosted.fixings}
    goes_on = {}
    for donor in donors:
        named = donor.feature.goes_on
        if named and (named in names or named in hosted.also_called):
            goes_on[donor.feature.feature] = named if named in names else hosted.also_called[named]
    taken = set(goes_on.values())
    found = {}
    for fixing in hosted.fixings:
        for donor in donors:
            pair = (fixing.feature.feature, donor.feature.feature)
            if goes_on.get(pair[1], pair[0]) == pair[0] and (pair[1] in goes_on or pair[0] not in taken):
                found[pair] = mate(fixing, donor)
    return found


def _is_given(options: tuple[Option, ...]) -> bool:
    return len({o.fixing for o in options}) == len(options) == len({o.feature for o in options})


def _host_spot(
    fixing: Fixing, placed_by: dict[str, str], places: Positions, dims: int, thickness_mm: float | None
) -> Spot:
    feature = fixing.feature
    need = feature.need or "must"
    # A stud of the host stands out of it: the donor has to have an opening there, needed or not.
    must = need == "must" or (feature.kind == "stud" and not fixing.supposed)
    return Spot(
        feature.feature, _at(placed_by.get(feature.feature), places, dims), _half_travel(fixing),
        feature.angle_deg or 0.0, must=must, should=need == "should" and not must, axis=feature.axis or (0.0, 0.0, 1.0),
        grip_mm=_grip_mm(fixing), depth_mm=_depth_mm(fixing, thickness_mm),
    )  # fmt: skip


def _donor_spot(donor: DonorFeature, places: Positions, dims: int, thickness_mm: float | None) -> Spot:
    feature = donor.feature
    need = feature.need or "should"
    return Spot(
        feature.feature, _at(feature.feature, places, dims), _half_travel(donor), feature.angle_deg or 0.0,
        must=need == "must", should=need == "should", axis=feature.axis or (0.0, 0.0, 1.0),
        grip_mm=_grip_mm(donor), depth_mm=_depth_mm(donor, thickness_mm),
    )  # fmt: skip


def _grip_mm(end: Fixing | DonorFeature) -> float | None:
    """How far along its axis a fastener still engages: its own diameter either way; None: no fastener is known.

    About one diameter of thread is engaged (common practice, no source), so further off nothing would be.
    """
    if end.feature.kind in (*OPENINGS, "peg hole", "clip hole"):
        return fastener_mm(end.feature)
    return end.across.mm if end.across.mm is not None else solid_mm(end.feature)


def _depth_mm(end: Fixing | DonorFeature, thickness_mm: float | None) -> float | None:
    return thickness_mm if end.feature.kind in (*OPENINGS, "peg hole", "clip hole") else None


def _at(feature: str | None, places: Positions, dims: int) -> tuple[float, ...]:
    if feature is None or feature not in places.features:
        return (0.0,) * dims
    return tuple(float(v) for v in places.xyz_mm[places.features.index(feature)][:dims])


def _half_travel(end: Fixing | DonorFeature) -> float:
    """Of a slot that points nobody knows where only the round part counts here."""
    of = (end.feature, end.across, end.length)
    return half_travel_mm(*of) - open_travel_mm(*of)


def _missing(
    matings: dict[Pairing, Mating], open_pairs: Iterable[Pairing], hosted: HostFixings, host_part: str,
    donor_places: Positions,
) -> tuple[Missing, ...]:  # fmt: skip
    """What the pairs lack of which something is not known, each once."""
    fixings = {f.feature.feature: f for f in hosted.fixings}
    found: dict[tuple[str, str, str], Missing] = {}
    for pair in sorted(open_pairs):
        fixing = fixings[pair[0]]
        for side, quantity in matings[pair].lacks:
            if side == "donor":
                one = _lack(donor_places.part, pair[1], quantity)
            elif side == "host":
                one = _lacks_of(fixing, quantity, host_part)
            else:
                one = _lack(hosted.shown_on or host_part, fixing.shown_by or pair[0], quantity)
            found.setdefault((one.part, one.from_feature or one.what, one.quantity), one)
    return tuple(found.values())


def _lacks_of(fixing: Fixing, quantity: str, host_part: str) -> Missing:
    """What is not known of a fixing; of one that the original shows, what would tell."""
    feature = fixing.feature
    if not fixing.supposed or quantity == "fastener":
        return _lack(feature.part, feature.feature, quantity)
    if feature.kind in ("stud", "peg", "clip"):
        return _lack(feature.part, feature.feature, "fastener")
    what = f"the hole of {host_part} that {feature.feature} of {feature.part} goes into"
    says = f"how wide is {what}? List the fixings of {host_part} in features.csv, with their sizes"
    return Missing(f"across of {what}", host_part, quantity, None, None, says)


_ASKED = {
    "across": "how wide is {0} of {1}?",
    "length": "how long, end to end, is {0} of {1}?",
    "angle": "which way does {0} of {1} point (angle_deg, in degrees or `to` a feature)?",
    "thread": "which thread has {0} of {1}?",
    "float": "how far can {0} of {1} move from its middle (float_mm)?",
}


def _lack(part: str, feature: str, quantity: str) -> Missing:
    if quantity == "fastener":
        says = f"what goes through {feature} of {part}: its thread, or the diameter of its bolt (fastener_mm)"
        return Missing(f"fastener of {feature}", part, quantity, feature, None, says)
    return Missing(f"{quantity} of {feature}", part, quantity, feature, None, _ASKED[quantity].format(feature, part))
