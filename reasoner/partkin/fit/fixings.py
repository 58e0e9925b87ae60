"""What the donor has to be held by: the host's own features, or what the original shows of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from partkin.fit.mating import (
    allowed_play,
    bolt_between_mm,
    captive_float_mm,
    clip_between,
    fastener_mm,
    half_travel_mm,
    play_rule,
    solid_mm,
)
from partkin.model.build import Feature
from partkin.model.known import Side
from partkin.model.mating import DonorFeature, Fixing, Size
from partkin.model.words import Kind

SizesOf = Callable[[Feature], tuple[Size, Size]]

# What must have stood on the host under (or around) a feature of the part that came off.
STOOD_THERE: dict[Kind, Kind] = {
    "hole": "stud", "slot": "stud", "peg hole": "peg", "clip hole": "clip",
    "stud": "hole", "tapped hole": "hole", "captive nut": "hole", "peg": "peg hole", "clip": "clip hole",
}  # fmt: skip


@dataclass(frozen=True)
class HostFixings:
    """The fixings, which part their places come from, and donor-side names for them.

    `measured_from`: host or original. `placed_by` maps a fixing to the feature (of the part that the places
    come from) whose position it takes. `also_called` maps other names that a donor's goes_on may use.
    `shown_on`: the original that shows them; None: measured on the host.
    """

    fixings: tuple[Fixing, ...]
    measured_from: str
    placed_by: dict[str, str]
    also_called: dict[str, str]
    shown_on: str | None = None


def host_fixings(
    host: Side, original: Side | None, placed: frozenset[str], sizes_of: SizesOf,
    placed_there: frozenset[str] | None = None,
) -> HostFixings:  # fmt: skip
    """Collect the fixings of a host.

    Parameters
    ----------
    host, original
    placed
        Ids of the host's features that have a position.
    sizes_of
        (across, length) of a feature with their uncertainty.
    placed_there
        Ids of the original's features that have a position; None: all of them.
    """
    if original is not None and host.part.part == original.part.part:
        return _shown_by_original(host, original, sizes_of)
    if host.features and (
        original is None or not original.features or not _shows_more(original, host, placed, placed_there)
    ):
        return _measured_on_host(host, sizes_of)
    if original is None:
        return HostFixings((), "host", {}, {})
    if host.features:
        return _placed_by_original(host, original, sizes_of)
    return _shown_by_original(host, original, sizes_of)


def _shows_more(original: Side, host: Side, placed: frozenset[str], placed_there: frozenset[str] | None) -> bool:
    """Whether the original places more of the fixings that have to be held than the host itself: the two frames differ.

    One spare hole that was measured on the host says nothing of where the fixings are.
    """
    held = {f.feature for f in host.features if (f.need or "must") == "must" or f.kind == "stud"}
    held = held or {f.feature for f in host.features}
    there = [f for f in original.features if placed_there is None or f.feature in placed_there]
    shown = {f.goes_on for f in there if f.goes_on in held}
    return len(shown) > len(held & placed) or not placed


def _measured_on_host(host: Side, sizes_of: SizesOf) -> HostFixings:
    fixings = tuple(_as_fixing(host, feature, sizes_of) for feature in host.features)
    return HostFixings(fixings, "host", {f.feature: f.feature for f in host.features}, {})


def _as_fixing(host: Side, feature: Feature, sizes_of: SizesOf) -> Fixing:
    across, length = sizes_of(feature)
    return Fixing(feature, solid_size(feature, across), length, material=host.part.material)


def _placed_by_original(host: Side, original: Side, sizes_of: SizesOf) -> HostFixings:
    """Host fixings listed without a place: the original's feature that goes on each one places it."""
    shows = {f.goes_on: f for f in reversed(original.features) if f.goes_on}
    fixings, placed_by = [], {}
    for feature in host.features:
        fixing, shown = _as_fixing(host, feature, sizes_of), shows.get(feature.feature)
        if shown is None:
            fixings.append(fixing)
            continue
        if fixing.across.mm is None:
            fixing = replace(fixing, across=_stood_there(host, shown, sizes_of).across)
        fixings.append(_with_play(fixing, original, shown, sizes_of))
        placed_by[feature.feature] = shown.feature
    also_called = {shown.feature: str(fixing) for fixing, shown in shows.items()}
    return HostFixings(tuple(fixings), "original", placed_by, also_called, original.part.part)


def _shown_by_original(host: Side, original: Side, sizes_of: SizesOf) -> HostFixings:
    fixings = tuple(
        replace(_with_play(_stood_there(host, f, sizes_of), original, f, sizes_of), supposed=True)
        for f in original.features
    )
    also_called = {f.goes_on: f.feature for f in original.features if f.goes_on}
    placed_by = {f.feature: f.feature for f in original.features}
    return HostFixings(fixings, "original", placed_by, also_called, original.part.part)


def _stood_there(host: Side, shown: Feature, sizes_of: SizesOf) -> Fixing:
    """What the host must have had where the original has `shown`.

    Under a hole stands a fastener of the hole's own thread or fastener_mm. Around a peg or stud there is a
    hole at least as large as it: taken at that size, so that no play is invented.
    """
    across, _ = sizes_of(shown)
    kind = STOOD_THERE[shown.kind]
    if kind in ("stud", "peg", "clip"):
        known = fastener_mm(shown)
        size = Size(known)
    else:
        size = solid_size(shown, across)
    feature = replace(shown, kind=kind, across_mm=size.mm, length_mm=None, angle_deg=None, angle_to=None, float_mm=None)
    return Fixing(feature, size, Size(None), material=host.part.material)


def _with_play(fixing: Fixing, original: Side, shown: Feature, sizes_of: SizesOf) -> Fixing:
    """The fixing stood anywhere within the play of the original's own feature."""
    across, length = sizes_of(shown)
    rule = play_rule(fixing.feature.kind, shown.kind)
    play_mm, solid = 0.0, solid_size(shown, across).mm
    lacks: tuple[str, ...] = ()
    if solid is None:
        lacks = ("across",)
    if shown.kind == "slot" and length.mm is None:
        lacks = (*lacks, "length")
    bolt = bolt_between_mm(fixing.feature, shown) if rule == "floating" else 0.0
    if bolt is None:
        lacks = ("fastener", *lacks)
    if shown.kind == "captive nut" and shown.float_mm is None:
        lacks = (*lacks, "float")
    if rule is not None and fixing.across.mm is not None and solid is not None:
        float_mm = captive_float_mm(rule, fixing.feature, shown)
        clip = clip_between(rule, fixing, DonorFeature(shown, across, length, original.part.material))
        play_mm = max(0.0, float(allowed_play(rule, fixing.across.mm, solid, bolt or 0.0, float_mm, clip)))
    # Its place is the original's, so its axis is told in the original's frame too.
    feature = replace(fixing.feature, axis=shown.axis)
    return replace(
        fixing, feature=feature, shown_by=shown.feature, play_mm=play_mm,
        play_half_travel_mm=half_travel_mm(shown, across, length), play_angle_deg=shown.angle_deg,
        play_angle_to=shown.angle_to, play_lacks=lacks,
    )  # fmt: skip


def solid_size(feature: Feature, across: Size) -> Size:
    """The diameter of a stud, peg, clip or thread, read or taken from its thread; of an opening, its own."""
    if across.mm is not None or feature.kind in ("hole", "slot", "peg hole", "clip hole"):
        return across
    return Size(solid_mm(feature))


def donor_features(donor: Side, sizes_of: SizesOf) -> tuple[DonorFeature, ...]:
    """The donor's features with their sizes."""
    found = []
    for feature in donor.features:
        across, length = sizes_of(feature)
        found.append(DonorFeature(feature, solid_size(feature, across), length, donor.part.material))
    return tuple(found)
