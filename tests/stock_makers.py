"""Invented stocks and hosts for the tests of the stock, and the plain loop that the search is held against."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import parquet

from partkin.model.build import Build, Feature, Part, Settings
from partkin.stock import storing
from partkin.stock.answering import Answer
from partkin.stock.finding import Host
from partkin.stock.index import Segment
from partkin.stock.joining import Hit, one_tried

MARGINS_MM = (0.01, 0.02, 0.05, 0.1, 0.3)


@dataclass(frozen=True)
class Table:
    """Rows of features, column by column."""

    columns: dict[str, list]

    def write(self, file: Path) -> Path:
        """Write it as Parquet."""
        parquet.write_table(pa.table(self.columns), file)
        return file


def host_build(points: np.ndarray, *, across_mm: float = 6.0, kind: str = "stud", face: str | None = "outside",
               plus_minus_mm: float = 0.0, **more: object) -> Build:  # fmt: skip
    """A build with one host, measured exactly."""
    features = tuple(
        Feature("host", f"F{n}", kind, across_mm=across_mm, x_mm=float(x), y_mm=float(y), need="must",  # type: ignore[arg-type]
                plus_minus_mm=plus_minus_mm, **more)  # type: ignore[arg-type]
        for n, (x, y) in enumerate(points, 1)
    )  # fmt: skip
    part = Part("host", origin="host", name="host", seen_from=face, duty="trim", airbag=False)  # type: ignore[arg-type]
    return Build(Settings(name="b"), parts=(part,), features=features)


def turned(points: np.ndarray, rng: np.random.Generator, mirrored: bool = False) -> np.ndarray:
    """Points laid anywhere, on the other face up where asked."""
    p = points * [-1.0, 1.0] if mirrored else points
    t = rng.uniform(0, 2 * np.pi)
    c, s = np.cos(t), np.sin(t)
    return p @ np.array([[c, s], [-s, c]]) + rng.uniform(-200, 200, 2)


def pattern(rng: np.random.Generator, n: int) -> np.ndarray:
    """Holes of one part, anywhere on a sheet."""
    return rng.uniform(0, [rng.uniform(80, 900), rng.uniform(40, 500)], (n, 2))


def table_of(parts: list[tuple[str, np.ndarray, np.ndarray, str | None]], rng: np.random.Generator) -> Table:
    """(id, points, diameters, face) of each part as a table; features in any order."""
    found: dict[str, list] = {name: [] for name in ("part", "feature", "kind", "x_mm", "y_mm", "across_mm", "seen_from",
                                                     "plus_minus_mm")}  # fmt: skip
    for name, points, across, face in parts:
        for place in rng.permutation(len(points)).tolist():
            row = (name, f"h{place}", "hole", *points[place].tolist(), float(across[place]), face, 0.0)
            for column, value in zip(found, row, strict=True):
                found[column].append(value)
    return Table(found)


def planted(rng: np.random.Generator, host: np.ndarray, k: int, play_mm: float) -> np.ndarray:
    """The host's pattern with one hole off so that the margin is one of `MARGINS_MM`, on either side of none."""
    margin = MARGINS_MM[k % len(MARGINS_MM)] * (1 if k // len(MARGINS_MM) % 2 else -1)
    points = host.copy()
    two = rng.permutation(len(host))[:2]
    along = host[two[1]] - host[two[0]]
    points[two[1]] += along / np.linalg.norm(along) * 2 * (play_mm - margin)
    extra = rng.uniform(-300, 300, (int(rng.integers(0, 4)), 2))
    return np.concatenate([points, extra])


def stock_of(rng: np.random.Generator, host: np.ndarray, count: int, play_mm: float = 0.5) -> Table:
    """Parts of which some go on the host, some just do not, and some share most of its holes."""
    parts = []
    for k in range(count):
        face = [None, "outside", "inside"][k % 3]
        mirrored = face == "inside" or (face is None and k % 2 == 0)
        if k < 20:
            points = planted(rng, host, k, play_mm)
        elif k < 30:
            points = np.concatenate([np.delete(host, rng.integers(len(host)), 0), pattern(rng, 2)])
        else:
            points = pattern(rng, int(rng.integers(2, 11)))
        across = np.full(len(points), 6.0 + 2 * play_mm)
        if k >= 30:
            across = rng.choice([5.0, 6.6, 7.0, 8.5, 11.0], len(points))
        parts.append((f"p{k:06d}", turned(points, rng, mirrored), across, face))
    return table_of(parts, rng)


def plain_loop(host: Host, segment: Segment) -> list[Hit]:
    """Lay on every part, one after the other."""
    return [hit for part in range(len(segment)) if (hit := one_tried(host, segment, part)) is not None]


def segment_of(stock: Path, place: int = 0) -> Segment:
    """One partition of a stock."""
    return Segment.opened(stock / storing.read_manifest(stock).partitions[place].name)


def differing(answer: Answer, hits: list[Hit]) -> dict[int, tuple[Hit | None, Hit | None]]:
    """Parts of which search and plain loop do not say the same; margins to 0.002 mm, where both know one."""
    ours, theirs = {one.hit.part: one.hit for one in answer.found}, {hit.part: hit for hit in hits}
    found = {}
    for part in sorted(ours.keys() | theirs.keys()):
        one, other = ours.get(part), theirs.get(part)
        if one is None or other is None or not _alike(one, other):
            found[part] = (one, other)
    return found


def _alike(one: Hit, other: Hit) -> bool:
    near = None in (one.margin_mm, other.margin_mm) or abs(one.margin_mm - other.margin_mm) <= 0.002
    return (one.state, one.holds) == (other.state, other.holds) and near


def started(*words: str) -> subprocess.Popen:
    """A process of this Python."""
    return subprocess.Popen([sys.executable, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def scheduler(ends: ExitStack, workers: int) -> tuple[str, list[subprocess.Popen]]:
    """Start a Dask scheduler and workers as processes, and say where; the last processes are the workers."""
    file = Path(tempfile.mkdtemp()) / "scheduler.json"
    words = [["-m", "distributed.cli.dask_scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(file)]]
    words += [["-m", "distributed.cli.dask_worker", "--scheduler-file", str(file), "--nthreads", "1", "--no-dashboard",
               "--no-nanny"]] * workers  # fmt: skip
    own, runs = Path(__file__).parent, []
    paths = os.pathsep.join([str(own), str(own / "stock"), os.environ.get("PYTHONPATH", "")])
    for one in words:
        runs.append(
            subprocess.Popen([sys.executable, *one], stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": paths})
        )
        ends.callback(runs[-1].wait)
        ends.callback(runs[-1].kill)
    from distributed import Client

    for _ in range(600):
        if file.exists() and file.read_text().strip().endswith("}"):
            break
        time.sleep(0.2)
    with Client(scheduler_file=str(file), timeout=120, set_as_default=False) as client:
        client.wait_for_workers(workers, timeout=120)
        return str(client.scheduler.address), runs[1:]


KIND_PAIRS = {
    "stud": ("hole", "slot", "peg hole"), "hole": ("hole", "slot", "stud", "tapped hole", "captive nut", "peg", "clip"),
    "tapped hole": ("hole", "slot"), "captive nut": ("hole", "slot"), "peg": ("peg hole", "hole", "slot"),
    "clip": ("clip hole", "hole"), "slot": ("hole", "stud", "captive nut"),
}  # fmt: skip


def any_host(rng: np.random.Generator, points: np.ndarray) -> Build:
    """A host of mixed fixings, of which something may not be known, read with errors."""
    features = []
    for n, (x, y) in enumerate(points, 1):
        kind = str(rng.choice(list(KIND_PAIRS)))
        opening = kind in ("hole", "slot")
        across = float(rng.choice([6.0, 8.0])) + (1.0 if opening else 0.0)
        features.append(Feature(
            "host", f"F{n}", kind, across_mm=None if rng.random() < 0.05 else across,  # type: ignore[arg-type]
            length_mm=across + 4.0 if kind == "slot" else None,
            angle_deg=None if kind != "slot" or rng.random() < 0.2 else float(rng.uniform(0, 180)),
            float_mm=1.0 if kind == "captive nut" else None, thread="M6x1" if kind == "tapped hole" else None,
            fastener_mm=6.0 if opening and rng.random() < 0.7 else None, x_mm=float(x), y_mm=float(y),
            plus_minus_mm=float(rng.choice([0.0, 0.1, 0.5])),
            need=str(rng.choice(["must", "must", "must", "should"])),  # type: ignore[arg-type]
        ))  # fmt: skip
    face = rng.choice(["outside", "inside", ""]) or None
    part = Part("host", origin="host", name="host", seen_from=face, duty="trim", airbag=False)
    return Build(Settings(name="b"), parts=(part,), features=tuple(features))


def any_parts(rng: np.random.Generator, host: Build, count: int) -> Table:
    """Parts near the pattern of a host, of kinds that mostly go with its fixings; some cells are left empty."""
    names = (
        "part", "feature", "kind", "x_mm", "y_mm", "across_mm", "length_mm", "angle_deg", "float_mm", "thread",
        "fastener_mm", "plus_minus_mm", "need", "seen_from", "flex_mm", "flex_in_plane", "material",
    )  # fmt: skip
    found: dict[str, list] = {name: [] for name in names}
    for k in range(count):
        face, flex = rng.choice(["outside", "inside", ""]) or None, rng.random() < 0.1
        about = (face, 1.0 if flex else None, True if flex else None, rng.choice(["ABS", "sheet steel", ""]) or None)
        at = np.array([(f.x_mm, f.y_mm) for f in host.features])
        laid = turned(at, rng, bool(rng.random() < 0.5)) + rng.normal(0, rng.choice([0.0, 0.2, 1.0]), at.shape)
        for place, fixing in enumerate(host.features):
            if rng.random() < 0.03:
                continue
            kind = str(rng.choice(KIND_PAIRS[fixing.kind])) if rng.random() < 0.97 else "hole"
            across = float(rng.choice([7.0, 7.0, 8.5, 9.0, 6.2, 5.5, 6.0]))
            if kind in ("stud", "peg", "tapped hole", "captive nut", "clip"):
                across = float(rng.choice([5.0, 6.0, 6.5]))
            row = (
                f"p{k:05d}", f"h{place}", kind, *laid[place].tolist(), None if rng.random() < 0.03 else across,
                across + float(rng.choice([2.0, 6.0])) if kind == "slot" and rng.random() < 0.95 else None,
                float(rng.uniform(0, 180)) if kind == "slot" and rng.random() < 0.8 else None,
                0.5 if kind == "captive nut" and rng.random() < 0.9 else None,
                str(rng.choice(["M6x1", "M8"])) if kind == "tapped hole" and rng.random() < 0.5 else None,
                6.0 if kind in ("hole", "slot") and rng.random() < 0.5 else None,
                float(rng.choice([0.0, 0.1, 0.5])), "must" if rng.random() < 0.02 else None, *about,
            )  # fmt: skip
            for column, value in zip(names, row, strict=True):
                found[column].append(value)
    return Table(found)
