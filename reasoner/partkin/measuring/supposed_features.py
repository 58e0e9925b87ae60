"""A donor of which nothing is listed yet: what it most likely has, so that a seller can be asked about it.

Nothing of this goes into the sheets or into a verdict.
"""

from __future__ import annotations

from dataclasses import replace

from partkin.model.build import Build, Feature
from partkin.model.words import Kind

# What goes onto a host's feature, where no part that came off shows it.
GOES_ONTO: dict[Kind, Kind] = {
    "stud": "hole", "tapped hole": "hole", "captive nut": "hole", "hole": "hole", "slot": "hole", "peg": "peg hole",
    "peg hole": "peg", "clip": "clip hole", "clip hole": "clip",
}  # fmt: skip


def supposed_features(build: Build, donor: str, host: str) -> tuple[Feature, ...]:
    """What an unlisted donor is asked about: what the original has, else one feature for each fixing of the host.

    Without places, and with the original's sizes; empty where features of the donor are listed.
    """
    if build.features_of(donor):
        return ()
    original = next((
        part.part for part in build.parts
        if part.origin == "original" and part.takes_place_of == host and build.features_of(part.part)
    ), None)  # fmt: skip
    if original is not None:
        return tuple(
            replace(row, part=donor, x_mm=None, y_mm=None, z_mm=None, plus_minus_mm=None, zone=None, axis=None)
            for row in build.features_of(original)
        )
    return tuple(
        Feature(donor, row.feature, GOES_ONTO[row.kind]) for row in build.features_of(host) if row.need != "spare"
    )
