"""What may go on what, and with how much play: a check and the verifier, each written apart, reckon alike."""

from __future__ import annotations

from itertools import product

import pytest

from partkin.graph import known_of
from partkin.model.build import Build, Feature, Part
from partkin.model.words import BOLTS_ON, DOES_NOT_FIT, KINDS
from partkin.trial.places import places_of, prepared_task
from partkin.verify.as_written import Sides, read_sides

# Below, at and above what an M6 passes; clips that do not go in and that do not hold are among the pairs.
ACROSS_MM = {"slot": (None, 6.6), "clip": (None, 6.6, 7.0, 9.0)}
EVERY_MM = (None, 5.4, 6.0, 6.6)
THREADS = {"hole": (None, "M6", "M8"), "slot": (None, "M6"), "stud": (None, "M6")}
INNER = {"tapped hole": (None, "M6", "M6x0.75", "1/4-20"), "captive nut": (None, "M6", "M8")}
FLOATS_MM = {"captive nut": (None, 0.0, 0.5)}
FASTENERS_MM = {"hole": (None, 6.0), "slot": (None, 6.0)}
SLOTS = {"slot": tuple(product((None, 6.6, 14.0), (None, 30.0)))}
MATERIALS = ((None, None), ("ABS", "mild steel"))


def features(part: str) -> tuple[Feature, ...]:
    """A feature of every kind, size, thread, float, length and direction, each at a place of its own."""
    found: list[Feature] = []
    for kind in KINDS:
        for across_mm, thread, float_mm, fastener_mm, (length_mm, angle_deg) in product(
            ACROSS_MM.get(kind, EVERY_MM), (THREADS | INNER).get(kind, (None,)), FLOATS_MM.get(kind, (None,)),
            FASTENERS_MM.get(kind, (None,)), SLOTS.get(kind, ((None, None),)),
        ):  # fmt: skip
            name, at_mm = f"{kind[0]}{len(found)}", 30.0 * len(found)
            found.append(
                Feature(part, name, kind, across_mm, length_mm, angle_deg, float_mm, thread, fastener_mm, at_mm, 0.0)
            )
    return tuple(found)


def build_of(shown: str, materials: tuple[str | None, str | None]) -> Build:
    """A donor with every feature, for a host that lists them, or of whose fixings the original says all."""
    host, donor = materials
    parts = (
        Part("frame", origin="host", duty="body", material=host),
        Part("old", origin="original", takes_place_of="frame", duty="trim"),
        Part("new", origin="donor", takes_place_of="frame", duty="trim", material=donor),
    )
    lists = features("frame") if shown == "host" else features("old")
    return Build(parts=parts, features=(*lists, *features("new")))


def written(shown: str, verdict: str, build: Build) -> Sides:
    """Both sides as the verifier reads them for this verdict."""
    said = {"host": "frame", "donor": "new", "original": "old", "measured_from": shown, "verdict": verdict}
    return read_sides(said, build)


@pytest.mark.parametrize("materials", MATERIALS)
@pytest.mark.parametrize("shown", ["host", "original"])
def test_check_and_verify_allow_the_same_play(shown: str, materials: tuple[str | None, str | None]) -> None:
    build = build_of(shown, materials)
    known = known_of(build, "new", "frame")
    places = places_of(known)
    assert places.hosted.measured_from == shown
    matings = prepared_task(known, places, mirrored=False).matings
    worst, kindest = (written(shown, word, build) for word in (BOLTS_ON, DOES_NOT_FIT))
    assert {pair for pair, mating in matings.items() if mating.option} == worst.options == kindest.options
    apart = []
    for pair in sorted(worst.options):
        mating = matings[pair]
        most_mm = mating.most_mm
        if mating.blocked and not mating.lacks:
            most_mm = mating.allowed_mm
        theirs = [None if mm is None else float(mm) for mm in (worst.allowed(pair), kindest.allowed(pair))]
        if theirs != pytest.approx([mating.allowed_mm, most_mm]):
            apart.append((worst.fixings[pair[0]], worst.features[pair[1]], theirs, mating))
    assert not apart, f"{len(apart)} of {len(worst.options)}; the first: {apart[:2]}"
    assert len(worst.options) > 10_000
