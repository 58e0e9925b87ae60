"""How long a stock takes to be added to and searched, beside a plain loop over its parts.

python tests/benchmarks/bench_stock.py --parts 100000 [--hosts 200] [--in FOLDER] [--workers 0]

Invented parts: 3 to 10 holes on a sheet of 80 to 900 by 40 to 500 mm, read to 0.01 mm. Each host is the pattern of one
part of the stock, so that something is found. The plain loop is timed on 300 of them and multiplied.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from pyarrow import parquet

sys.path.insert(0, str(Path(__file__).parent.parent))

from partkin.commands import stocking
from partkin.stock import answering, joining, storing
from stock_makers import differing, host_build, plain_loop, scheduler, segment_of

if TYPE_CHECKING:
    from distributed import Client

LOOPED = 300
ROUNDS = 5


def write_parts(count: int, file: Path, seed: int) -> None:
    """A table of parts, some with a hand and a number."""
    rng = np.random.default_rng(seed)
    holes = rng.integers(3, 11, count)
    owner = np.repeat(np.arange(count), holes)
    width, height = rng.uniform(80, 900, count), rng.uniform(40, 500, count)
    hand = np.array(["left", "right", None], dtype=object)[rng.integers(0, 3, count)]
    kinds = max(count // 20, 1)
    number = np.array([f"N{k:07d}" for k in range(kinds)], dtype=object)[rng.integers(0, kinds, count)]
    place = np.arange(len(owner)) - np.repeat(np.cumsum(holes) - holes, holes)
    parquet.write_table(pa.table({
        "part": pa.array([f"p{k:07d}" for k in range(count)]).take(owner),
        "feature": pa.array([f"h{k}" for k in range(11)]).take(place),
        "kind": pa.array(["hole"] * len(owner)),
        "x_mm": np.round(rng.uniform(0, 1, len(owner)) * width[owner], 2),
        "y_mm": np.round(rng.uniform(0, 1, len(owner)) * height[owner], 2),
        "across_mm": rng.choice([5.5, 6.6, 7.0, 9.0, 11.0], len(owner)),
        "plus_minus_mm": np.zeros(len(owner)),
        "hand": pa.array(hand[owner]), "part_number": pa.array(number[owner]),
    }), file)  # fmt: skip


def questions_of(stock: Path, count: int, seed: int) -> list[stocking.Question]:
    """Hosts whose studs stand where the holes of parts of the stock are, M5 in any of them."""
    rng = np.random.default_rng(seed)
    partitions = storing.read_manifest(stock).partitions
    found = []
    for place in rng.integers(0, len(partitions), count).tolist():
        segment = segment_of(stock, place)
        part = int(rng.integers(0, len(segment)))
        rows = slice(int(segment.first[part]), int(segment.first[part + 1]))
        found.append(stocking.question_of(host_build(segment.xyz_mm[rows, :2], across_mm=5.0, face=None), "host"))
    return found


def asked(stock: Path, questions: list[stocking.Question]) -> tuple[np.ndarray, int]:
    """(hosts, 2) seconds for each host, by the clock and of the processors, and how many parts were found in all."""
    spent, found = [], 0
    for question in questions:
        began = time.perf_counter(), time.process_time()
        found += len(answering.ask(stock, [question])[0].found)
        spent.append((time.perf_counter() - began[0], time.process_time() - began[1]))
    return np.array(spent), found


def looped(stock: Path, question: stocking.Question, parts: int) -> float:
    """Processor seconds that a plain loop over all parts takes, by the first of them."""
    segment = segment_of(stock)
    began = time.process_time()
    for part in range(LOOPED):
        joining.one_tried(question.host, segment, part)
    return (time.process_time() - began) / LOOPED * parts


def shared_out(stock: Path, questions: list[stocking.Question], workers: int) -> None:
    """The same hosts all at once by one worker process and by several, turn about."""
    from distributed import Client

    with ExitStack() as ends:
        counts = (1, workers)
        places = [scheduler(ends, count)[0] for count in counts]
        clients = [ends.enter_context(Client(place, set_as_default=False)) for place in places]
        spent: list[list[tuple[float, float]]] = [[] for _ in counts]
        for _ in range(ROUNDS):
            for at, client in enumerate(clients):
                before = processor_seconds(client)
                began = time.perf_counter()
                found = sum(len(one.found) for one in answering.ask(stock, questions, places[at]))
                clock, (asking, *each) = time.perf_counter() - began, processor_seconds(client) - before
                print(
                    f"{counts[at]} worker processes: {len(questions)} hosts at once, {found} found, {clock:.2f} s by "
                    f"the clock; of processors {asking:.2f} s for asking, {each[0]:.2f} s for the scheduler, and "
                    f"{', '.join(f'{own:.2f}' for own in each[1:])} s for the workers"
                )
                spent[at].append((clock, asking + max(each[1:])))
    by_clock, alone = np.median(spent[0], axis=0) / np.median(spent[1], axis=0)
    print(
        f"{workers} workers are {by_clock:.2f} times as fast as one by the clock, medians of {ROUNDS}; {alone:.2f} "
        "times by the processor seconds of asking and of the busiest worker, one after the other"
    )


def processor_seconds(client: Client) -> np.ndarray:
    """Processor seconds so far of this process, of the scheduler, and of each worker."""
    own = [time.process_time(), client.run_on_scheduler(time.process_time)]
    return np.array(own + [spent for _, spent in sorted(client.run(time.process_time).items())])


def main() -> None:
    """Print every figure."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--parts", type=int, default=100_000)
    words.add_argument("--hosts", type=int, default=200)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--in", dest="folder", type=Path, default=None, help="keep the stock here")
    words.add_argument("--workers", type=int, default=0)
    given = words.parse_args()
    folder = given.folder or Path(tempfile.mkdtemp())
    folder.mkdir(exist_ok=True)
    stock, file = folder / "stock", folder / "parts.parquet"
    if not stock.exists():
        write_parts(given.parts, file, given.seed)
        began = time.perf_counter(), time.process_time()
        storing.add([file], stock)
        most_gb, spent = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6, time.process_time() - began[1]
        clock = time.perf_counter() - began[0]
        print(f"adding {given.parts} parts: {clock:.1f} s by the clock, {spent:.1f} s of processors, {most_gb:.2f} GB")
    size = sum(path.stat().st_size for path in stock.rglob("*.npy"))
    print(f"arrays of the index: {size / 1e6:.0f} MB")
    questions = questions_of(stock, given.hosts, given.seed)
    asked(stock, questions[:3])
    spent, found = asked(stock, questions)
    for name, each in zip(("by the clock", "of processors"), spent.T, strict=True):
        print(f"{given.hosts} hosts, {name}: median {1000 * np.median(each):.1f} ms, worst {1000 * each.max():.0f} ms")
    plain, median = looped(stock, questions[0], given.parts), float(np.median(spent[:, 1]))
    print(f"{found} found; plain loop: {plain:.0f} s of a processor for a host, {plain / median:.0f} times the median")
    if given.parts <= 5000:
        answer = answering.ask(stock, questions[:1])[0]
        print(f"differing: {differing(answer, plain_loop(questions[0].host, segment_of(stock)))}")
    if given.workers:
        shared_out(stock, questions, given.workers)


if __name__ == "__main__":
    main()
