"""A side of which nothing is listed yet: what it most likely has, so that a seller can be asked about the donor.

Nothing of this goes into the sheets or into a verdict.
"""

from __future__ import annotations

from dataclasses import replace

from partkin.model.build import Feature
from partkin.model.known import Known
from partkin.model.words import Kind

# What goes onto a host's feature, where no part that came off shows it.
GOES_ONTO: dict[Kind, Kind] = {
    "stud": "hole", "tapped hole": "hole", "captive nut": "hole", "hole": "hole", "slot": "hole", "peg": "peg hole",
    "peg hole": "peg", "clip": "clip hole", "clip hole": "clip",
}  # fmt: skip
# What a donor's feature most likely goes onto, where nothing of the host is listed.
GONE_ONTO: dict[Kind, Kind] = {
    "hole": "stud", "slot": "stud", "tapped hole": "hole", "captive nut": "hole", "stud": "hole", "peg": "peg hole",
    "peg hole": "peg", "clip": "clip hole", "clip hole": "clip",
}  # fmt: skip


def supposed_features(known: Known) -> tuple[Feature, ...]:
    """What an unlisted donor is asked about: what the original has, else one feature for each fixing of the host.

    Without places, and with the original's sizes. Where the donor alone is listed, one fixing of the host for each of
    its features; empty where features of both are listed, or of neither.
    """
    if known.donor.features:
        if known.host.features or (known.original is not None and known.original.features):
            return ()
        host = known.host.part.part
        return tuple(Feature(host, row.feature, GONE_ONTO[row.kind]) for row in known.donor.features)
    donor = known.donor.part.part
    if known.original is not None and known.original.features:
        return tuple(
            replace(row, part=donor, x_mm=None, y_mm=None, z_mm=None, plus_minus_mm=None, zone=None, axis=None)
            for row in known.original.features
        )
    return tuple(Feature(donor, row.feature, GOES_ONTO[row.kind]) for row in known.host.features if row.need != "spare")
