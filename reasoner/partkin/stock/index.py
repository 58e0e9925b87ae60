"""What finds the few parts that may go on: for each part, how far apart two of its holes are, sorted.

A part that goes on has, for every two fixings that must hold, two holes as far apart as those, but for the play. So a
host's two farthest fixings leave few parts, three or four such pairs next to none. Distances alike in one part are kept
once; parts that no distance can be told of stand aside and are tried one by one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import parquet

from partkin.fit.mating import captive_float_mm, half_travel_mm
from partkin.model.build import Feature
from partkin.model.mating import DonorFeature, Size
from partkin.model.words import KINDS
from partkin.stock.incoming import Batch, why_not_read
from partkin.tables.work import clip_rules

OPENINGS = ("hole", "slot", "peg hole", "clip hole")
# Distances of one part that differ by no more than this are one, and so are widths of what may stand off.
GRAIN_MM = 0.02
BAND_MM = 0.5
# Distances kept of one part at most in each band; beyond that the grain is coarser.
DISTANCES_AT_MOST = 512
# What a key adds for each band: more than any distance.
_SPAN_MM = 1.0e6
_FIRST_BAND = -1_000
# What a band's number is higher by where not both of the features are openings.
_NOT_OPENINGS = 10_000
# Rounding of places and distances.
SLACK_MM = 1.0e-4
ASIDE, HANDED, OUTSIDE, INSIDE, OPENED, DEMANDS, RESTRAINT = 1, 2, 4, 8, 16, 32, 64
_ARRAYS = ("xyz", "angle", "error", "spec", "wide", "first", "flags", "key", "owner")
# What two features may differ in but for their place; the last three are their part's.
_LIKE = (
    "kind", "across_mm", "length_mm", "angle_deg", "float_mm", "thread", "fastener_mm", "need", "axis_x", "axis_y",
    "axis_z", "across_error_mm", "length_error_mm",
)  # fmt: skip
_OF_PART = ("material", "thickness_mm", "flex_mm", "flex_in_plane")


@contextmanager
def readable(path: Path) -> Iterator[None]:
    """Say of a file or folder of a stock that is damaged how to find out what is; one that is not there may be anew."""
    try:
        yield
    except FileNotFoundError:
        raise
    except (ValueError, EOFError, OSError, pa.ArrowException) as fault:
        raise RuntimeError(f"{path.as_posix()} cannot be read: {why_not_read(fault)}. {_LOOK_THROUGH}") from fault


def not_there(fault: FileNotFoundError) -> RuntimeError:
    """Say of a file of a stock that is not there how to find out what is damaged."""
    return RuntimeError(f"{fault.filename or fault} is not there. {_LOOK_THROUGH}")


_LOOK_THROUGH = "partkin stock check says what is damaged"


def read_rows(file: Path, columns: list[str] | None = None) -> pa.Table:
    """Read a Parquet file of a stock, or some of its columns.

    Raises
    ------
    RuntimeError
        It is damaged.
    FileNotFoundError
    """
    with readable(file):
        return parquet.read_table(file, columns=columns)


@dataclass(frozen=True, eq=False)
class Segment:
    """A partition of a stock as memory-mapped arrays, n parts with m features.

    `xyz_mm`, `angle_deg`, `error_mm`: float64 (m, 3), z NaN where flat and all NaN where not known; float64 (m,), NaN
    where not known; float32 (m,). `spec`: int32 (m,): row of `specs`, where what a feature is but for its place stands
    once. `wide_mm`: float32 (m,): its part of how far it may stand off a fixing; infinite where there is no bound.
    `first`, `flags`: int64 (n + 1): where each part's features begin; uint8 (n,). `key`, `owner`: float64 and int32
    (e,): a distance with its band, ascending, and the part that has it.
    """

    folder: Path
    xyz_mm: np.ndarray
    angle_deg: np.ndarray
    error_mm: np.ndarray
    spec: np.ndarray
    wide_mm: np.ndarray
    first: np.ndarray
    flags: np.ndarray
    key: np.ndarray
    owner: np.ndarray

    @classmethod
    def opened(cls, folder: Path) -> Segment:
        """Map the arrays of a folder."""
        with readable(folder):
            return cls(folder, *(np.load(folder / f"{name}.npy", mmap_mode="r") for name in _ARRAYS))

    @cached_property
    def specs(self) -> pa.Table:
        """A row for each kind of feature that there is."""
        return read_rows(self.folder / "specs.parquet")

    @cached_property
    def bands(self) -> np.ndarray:
        """The bands that there are, ascending."""
        found, at = [], 0
        while at < len(self.key):
            band = int(self.key[at] // _SPAN_MM)
            found.append(band)
            at = int(np.searchsorted(self.key, (band + 1) * _SPAN_MM))
        return np.array(found, dtype=np.int64)

    @cached_property
    def aside(self) -> np.ndarray:
        """Parts that no distance can be told of."""
        return np.flatnonzero(np.asarray(self.flags) & ASIDE)

    def __len__(self) -> int:
        """Return the number of parts."""
        return len(self.flags)

    @classmethod
    def gathered(cls, pieces: Sequence[tuple[Segment, np.ndarray]]) -> Segment:
        """Return these parts of several partitions as one, in their order, without its distances."""
        rows = [segment.rows_of(parts)[0] for segment, parts in pieces]
        counts = [np.diff(segment.first)[parts] for segment, parts in pieces]
        shift = np.cumsum([0, *(segment.specs.num_rows for segment, _ in pieces)])
        whole = (
            *(np.concatenate([np.asarray(getattr(s, name)[at]) for (s, _), at in zip(pieces, rows, strict=True)])
              for name in ("xyz_mm", "angle_deg", "error_mm")),
            np.concatenate([s.spec[at] + more for (s, _), at, more in zip(pieces, rows, shift, strict=False)]),
            np.concatenate([np.asarray(s.wide_mm[at]) for (s, _), at in zip(pieces, rows, strict=True)]),
            np.concatenate([[0], np.cumsum(np.concatenate(counts))]),
            np.concatenate([np.asarray(segment.flags[parts]) for segment, parts in pieces]),
            np.zeros(0), np.zeros(0, dtype=np.int32),
        )  # fmt: skip
        one = cls(Path(), *whole)
        one.__dict__["specs"] = pa.concat_tables([segment.specs for segment, _ in pieces])
        return one

    def rows_of(self, parts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Features of these parts one after the other, and for each of them which of the parts it belongs to."""
        begin, count = self.first[parts], self.first[parts + 1] - self.first[parts]
        owner = np.repeat(np.arange(len(parts)), count)
        return np.repeat(begin - np.cumsum(count) + count, count) + np.arange(len(owner)), owner


def write(batch: Batch, folder: Path) -> None:
    """Write the arrays of a partition."""
    features = batch.features
    first = batch.first.astype(np.int64)
    owner = np.repeat(np.arange(len(batch)), np.diff(first))
    xyz = np.stack([_floats(features, name) for name in ("x_mm", "y_mm", "z_mm")], axis=1)
    spec, specs = _specs(batch, owner)
    parquet.write_table(specs, folder / "specs.parquet")
    widths, demanding = (
        np.array([_wide_mm(donor_of(row)) for row in specs.to_pylist()] or [0.0]),
        pc.equal(specs.column("need"), "must"),
    )
    error = _floats(features, "error_mm").astype(np.float32)
    flex = np.where(_true(batch.parts, "flex_in_plane"), np.nan_to_num(_floats(batch.parts, "flex_mm")), 0.0)
    wide = (widths[spec] if len(spec) else np.zeros(0)) + error + flex[owner]
    space = _any(owner, _in_space(features, xyz, owner, len(batch)), len(batch))
    aside = space | _any(owner, ~np.isfinite(wide) | np.isnan(xyz[:, :2]).any(axis=1), len(batch))
    flags = _flags(batch, aside, _any(owner, np.asarray(demanding.fill_null(False))[spec], len(batch)))
    kinds = pc.is_in(specs.column("kind"), pa.array(OPENINGS)).combine_chunks()
    solid = ~np.asarray(kinds)[spec]
    key, owners = _distances(xyz, wide, solid, first, np.flatnonzero(~aside))
    angle = _floats(features, "angle_deg")
    arrays = (xyz, angle, error, spec.astype(np.int32), wide.astype(np.float32), first, flags, key, owners)
    for name, array in zip(_ARRAYS, arrays, strict=True):
        np.save(folder / f"{name}.npy", array)


def _specs(batch: Batch, owner: np.ndarray) -> tuple[np.ndarray, pa.Table]:
    """Which kind each feature is of, and a row for each."""
    columns = {name: batch.features.column(name).combine_chunks() for name in _LIKE}
    # Which way a slot points is part of where it is; that it is known at all is part of what it is.
    columns["angle_deg"] = pc.multiply(columns["angle_deg"], 0.0)
    codes = np.zeros(len(owner), dtype=np.int64)
    for name in _OF_PART:
        columns[name] = batch.parts.column(name).combine_chunks().take(owner)
    for values in columns.values():
        coded = values.dictionary_encode()
        codes = codes * (len(coded.dictionary) + 1) + np.asarray(coded.indices.fill_null(-1)).astype(np.int64) + 1
        codes = np.unique(codes, return_inverse=True)[1] if len(codes) else codes
    at = np.unique(codes, return_index=True)[1]
    return codes, pa.table({name: values.take(at) for name, values in columns.items()})


def donor_of(row: Mapping[str, Any]) -> DonorFeature:
    """Return a feature but for its place, out of a row of `specs`."""
    from partkin.fit.fixings import solid_size

    axis = tuple(row[f"axis_{way}"] for way in "xyz")
    names = ("kind", "across_mm", "length_mm", "angle_deg", "float_mm", "thread", "fastener_mm", "need")
    feature = Feature("", "", **{name: row[name] for name in names}, axis=None if None in axis else axis)
    across = solid_size(feature, Size(row["across_mm"], row["across_error_mm"] or 0.0))
    return DonorFeature(feature, across, Size(row["length_mm"], row["length_error_mm"] or 0.0), row["material"])


def _wide_mm(donor: DonorFeature) -> float:
    """How much a feature adds at most to how far it may stand off a fixing; see `finding.Host.room_mm`."""
    feature, across = donor.feature, donor.across
    if across.mm is None or (feature.kind == "slot" and donor.length.mm is None):
        return np.inf
    errors_mm = (across.half_width_mm + donor.length.half_width_mm) / 2
    if feature.kind in OPENINGS:
        return across.mm / 2 + errors_mm + half_travel_mm(feature, across, donor.length)
    if feature.kind == "captive nut" and feature.float_mm is None:
        return np.inf
    float_mm = captive_float_mm("fixed by the donor", feature, feature)
    return float_mm + errors_mm - across.mm / 2 + (clip_more_mm() if feature.kind == "clip" else 0.0)


def clip_more_mm() -> float:
    """By how much a push fit at most takes more than half of what its hole is wider."""
    return max(rule.takes_mm + rule.larger_mm / 2 for rule in clip_rules().values())


def _floats(table: pa.Table, name: str) -> np.ndarray:
    return np.asarray(table.column(name).combine_chunks().fill_null(np.nan))


def _true(table: pa.Table, name: str) -> np.ndarray:
    return np.asarray(table.column(name).combine_chunks().fill_null(False))


def _any(owner: np.ndarray, which: np.ndarray, parts: int) -> np.ndarray:
    return np.bincount(owner[which], minlength=parts) > 0


def _in_space(features: pa.Table, xyz: np.ndarray, owner: np.ndarray, parts: int) -> np.ndarray:
    """(m,) bool: features of parts that are not flat: heights that differ, or an axis that is not upright."""
    z = np.nan_to_num(xyz[:, 2])
    low, high = np.full(parts, np.inf), np.full(parts, -np.inf)
    np.minimum.at(low, owner, z)
    np.maximum.at(high, owner, z)
    upright = np.nan_to_num(_floats(features, "axis_z"), nan=1.0) > 1.0 - 1e-9
    return (high > low)[owner] | ~upright if len(owner) else np.zeros(0, dtype=bool)


def _flags(batch: Batch, aside: np.ndarray, demands: np.ndarray) -> np.ndarray:
    face, duty = (batch.parts.column(name).combine_chunks() for name in ("seen_from", "duty"))
    handed, opened = (_true(batch.parts, name) for name in ("handed", "opened"))
    flags = np.zeros(len(batch), dtype=np.uint8)
    for bit, which in ((ASIDE, aside), (HANDED, handed), (OPENED, opened), (DEMANDS, demands)):
        flags[which] |= bit
    for bit, cells, word in ((OUTSIDE, face, "outside"), (INSIDE, face, "inside"), (RESTRAINT, duty, "restraint")):
        flags[np.asarray(pc.equal(cells, word).fill_null(False))] |= bit
    return flags


def _distances(
    xyz: np.ndarray, wide: np.ndarray, solid: np.ndarray, first: np.ndarray, parts: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Keys and owners of these parts; parts with equally many holes are worked on together."""
    counts = np.diff(first)[parts]
    keys, owners = [np.zeros(0)], [np.zeros(0, dtype=np.int32)]
    for n in np.unique(counts[counts >= 2]).tolist():
        a, b = np.triu_indices(n, 1)
        at_once = max(1, 2_000_000 // len(a))
        alike = parts[counts == n]
        for start in range(0, len(alike), at_once):
            own = alike[start : start + at_once]
            rows = first[own][:, None] + np.arange(n)
            x, y, w = xyz[rows, 0], xyz[rows, 1], wide[rows]
            apart = np.hypot(x[:, a] - x[:, b], y[:, a] - y[:, b])
            grain = np.full((len(own), 1), GRAIN_MM)
            if len(a) > DISTANCES_AT_MOST:
                grain = np.maximum(grain, apart.max(axis=1, keepdims=True) / DISTANCES_AT_MOST)
            width = w[:, a] + w[:, b] + np.where(grain > GRAIN_MM, grain, 0.0)
            rounded = np.floor(apart / grain) * grain + grain / 2
            band = np.floor(width / BAND_MM) - _FIRST_BAND + _NOT_OPENINGS * (solid[rows][:, a] | solid[rows][:, b])
            key = band * _SPAN_MM + rounded
            whose = np.repeat(own, len(a)).astype(np.int32)
            order = np.lexsort((key.ravel(), whose))
            key, whose = key.ravel()[order], whose[order]
            new = np.append(True, (np.diff(key) != 0) | (np.diff(whose) != 0))
            keys.append(key[new])
            owners.append(whose[new])
    key, owner = np.concatenate(keys), np.concatenate(owners)
    order = np.argsort(key, kind="stable")
    return key[order], owner[order]


def windows(segment: Segment, apart_mm: np.ndarray, room_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where in `key` the distances stand that two fixings allow.

    `apart_mm`, `room_mm`: (k,) and (k, 2) mm: how far two fixings are apart, and what both add to the play of two
    openings, and of others. Returns int64 (k, bands) each: from, to.
    """
    bands = segment.bands
    room = room_mm[:, bands // _NOT_OPENINGS]
    reach = room + (bands % _NOT_OPENINGS + _FIRST_BAND + 1)[None, :] * BAND_MM
    half = reach + GRAIN_MM / 2 + SLACK_MM
    base = bands[None, :] * _SPAN_MM
    low = np.searchsorted(segment.key, base + np.maximum(apart_mm[:, None] - half, 0.0))
    high = np.searchsorted(segment.key, base + np.minimum(apart_mm[:, None] + half, _SPAN_MM / 2), side="right")
    return low, np.where(reach < 0, low, np.maximum(high, low))


assert set(OPENINGS) <= set(KINDS)


def gone_in(file: str) -> np.ndarray:
    """Rows of a partition that are not there any more, by the file that lists them; empty: none."""
    return np.load(file) if file else np.zeros(0, dtype=np.int32)
