"""The search finds exactly what a plain loop over all parts finds, whatever the pattern."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from partkin.commands import stocking
from partkin.model.build import Build
from partkin.model.problem import FaultyInput
from partkin.stock import answering, storing
from stock_makers import (
    Table,
    any_host,
    any_parts,
    differing,
    host_build,
    pattern,
    plain_loop,
    segment_of,
    stock_of,
    table_of,
    turned,
)


def asked(stock: Path, build: Build, partly: int | None = None) -> tuple[answering.Answer, stocking.Question]:
    question = stocking.question_of(build, "host", partly)
    return answering.ask(stock, [question])[0], question


def made(folder: Path, table: Table) -> Path:
    storing.add([table.write(folder / "parts.parquet")], folder / "stock")
    return folder / "stock"


def held_against_the_loop(folder: Path, seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    host = pattern(rng, int(rng.integers(3, 9)))
    stock = made(folder, stock_of(rng, host, count))
    answer, question = asked(stock, host_build(host, face=("outside", None)[seed % 2]))
    assert differing(answer, plain_loop(question.host, segment_of(stock))) == {}
    # Half of the planted parts go on, by 0.01 to 0.3 mm; the others are short by as much.
    assert {one.part for one in answer.found} >= {f"p{k:06d}" for k in range(20) if k // 5 % 2}
    assert not {one.part for one in answer.found} & {f"p{k:06d}" for k in range(20) if not k // 5 % 2}


@pytest.mark.parametrize("seed", range(2))
def test_the_search_finds_what_a_plain_loop_finds(tmp_path, seed):
    held_against_the_loop(tmp_path, seed, 250)


@pytest.mark.slow
@pytest.mark.timeout(7200)
@pytest.mark.parametrize("seed", range(50))
def test_the_search_finds_what_a_plain_loop_finds_of_10000(tmp_path, seed):
    held_against_the_loop(tmp_path, 1000 + seed, 10_000)


@pytest.mark.parametrize("partly", [None, 2])
@pytest.mark.parametrize("seed", range(3))
def test_whatever_the_kinds_errors_and_empty_cells(tmp_path, seed, partly):
    rng = np.random.default_rng(seed)
    build = any_host(rng, pattern(rng, int(rng.integers(1, 7))))
    stock = made(tmp_path, any_parts(rng, build, 40))
    answer, question = asked(stock, build, partly)
    assert differing(answer, plain_loop(question.host, segment_of(stock))) == {}


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 150))
def test_whatever_the_kinds_errors_and_empty_cells_of_many(tmp_path, seed):
    for partly in (None, 2, 3):
        (tmp_path / str(partly)).mkdir()
        test_whatever_the_kinds_errors_and_empty_cells(tmp_path / str(partly), seed, partly)


def grid(side: int, apart_mm: float = 40.0) -> np.ndarray:
    return np.array([(x * apart_mm, y * apart_mm) for x in range(side) for y in range(side)], dtype=float)


def ring(count: int, across_mm: float = 300.0) -> np.ndarray:
    turn = 2 * np.pi * np.arange(count) / count
    return across_mm / 2 * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def line(count: int, apart_mm: float = 50.0) -> np.ndarray:
    return np.stack([np.arange(count) * apart_mm, np.zeros(count)], axis=1)


@pytest.mark.parametrize(
    "points", [grid(4), ring(8), ring(24), line(6), np.zeros((3, 2)), np.array([[0.0, 0.0], [0.0, 0.0], [90.0, 0.0]])],
    ids=["grid", "ring of 8", "ring of 24", "line", "one place", "two in one place"],
)  # fmt: skip
def test_degenerate_patterns(tmp_path, points):
    rng = np.random.default_rng(5)
    play = np.full(len(points), 7.0)
    parts = [(f"same{k}", turned(points, rng), play, "outside") for k in range(6)]
    parts += [(f"off{k}", turned(points + rng.normal(0, 0.4, points.shape), rng), play, "outside") for k in range(6)]
    parts += [("less", turned(points[:-1], rng), play[:-1], "outside")]
    parts += [(f"grid{k}", turned(grid(k), rng), np.full(k * k, 7.0), "outside") for k in (2, 5)]
    stock = made(tmp_path, table_of(parts, rng))
    answer, question = asked(stock, host_build(points))
    assert differing(answer, plain_loop(question.host, segment_of(stock))) == {}
    assert {one.part for one in answer.found} >= {f"same{k}" for k in range(6)}


def test_thousands_alike_are_all_found_and_soon(tmp_path):
    rng = np.random.default_rng(6)
    points = ring(12)
    parts = [(f"p{k}", points, np.full(12, 7.0), "outside") for k in range(3000)]
    parts += [(f"q{k}", turned(points, rng), np.full(12, 7.0), "outside") for k in range(200)]
    stock = made(tmp_path, table_of(parts, rng))
    began = time.perf_counter()
    answer, _ = asked(stock, host_build(points))
    assert {one.part for one in answer.found} == {name for name, *_ in parts}
    assert {one.hit.state for one in answer.found} == {"goes on"}
    assert time.perf_counter() - began < 60


def test_a_part_of_hundreds_of_holes_does_not_blow_up(tmp_path):
    rng = np.random.default_rng(7)
    host = pattern(rng, 6)
    parts = [("sheet", turned(np.concatenate([grid(18, 25.0), host]), rng), np.full(330, 7.0), "outside")]
    parts += [(f"grid{k}", turned(grid(18, 25.0), rng), np.full(324, 7.0), "outside") for k in range(20)]
    stock = made(tmp_path, table_of(parts, rng))
    began = time.perf_counter()
    answer, _ = asked(stock, host_build(host))
    assert [one.part for one in answer.found] == ["sheet"]
    assert time.perf_counter() - began < 60


def test_what_the_readings_leave_open_may_go_on(tmp_path):
    rng = np.random.default_rng(8)
    host = pattern(rng, 5)
    short = host.copy()
    short[0] += 1.2 * (host[0] - host[1]) / np.linalg.norm(host[0] - host[1])
    table = table_of([("exact", host, np.full(5, 7.0), None), ("short", short, np.full(5, 7.0), None)], rng)
    stock = made(tmp_path, table)
    answer, _ = asked(stock, host_build(host))
    assert [(one.part, one.hit.state) for one in answer.found] == [("exact", "goes on")]
    answer, _ = asked(stock, host_build(host, plus_minus_mm=0.3))
    states = [(one.part, one.hit.state) for one in answer.found]
    assert states == [("exact", "goes on"), ("short", "may go on")]
    assert answer.found[1].hit.margin_mm < 0


def test_parts_that_only_just_do_not_go_on_are_no_answer(tmp_path):
    # Three holes 0.95 mm further apart than their studs: any two of them would do, and all three are 0.05 mm short.
    rng, host = np.random.default_rng(11), ring(3)
    parts = [(f"p{k}", turned(host * (1 + 0.95 / 259.8), rng), np.full(3, 7.0), None) for k in range(2)]
    stock = made(tmp_path, table_of(parts, rng))
    answer, question = asked(stock, host_build(host))
    assert answer.found == () and answer.laid_on == 2
    assert plain_loop(question.host, segment_of(stock)) == []


def test_two_partitions_and_a_later_version(tmp_path):
    rng = np.random.default_rng(9)
    host, other = pattern(rng, 5), pattern(rng, 5)
    play = np.full(5, 7.0)
    stock = made(tmp_path, table_of([("a", host, play, None), ("b", host, play, None)], rng))
    many = [(f"x{k}", pattern(rng, 4), play[:4], None) for k in range(20)]
    made(tmp_path, table_of([("b", other, play, None), ("c", host, play, None), *many], rng))
    answer, _ = asked(stock, host_build(host))
    assert [(one.part, one.version) for one in answer.found] == [("a", 1), ("c", 1)]
    answer, _ = asked(stock, host_build(other))
    assert [(one.part, one.version) for one in answer.found] == [("b", 2)]


def test_a_restraint_host_is_refused(tmp_path):
    rng = np.random.default_rng(10)
    host = pattern(rng, 4)
    build = host_build(host)
    build = replace(build, parts=(replace(build.parts[0], duty="restraint"),))
    with pytest.raises(FaultyInput, match="restraint"):
        stocking.question_of(build, "host")


@pytest.mark.parametrize("partly", [None, 3, 4])
@pytest.mark.parametrize("seed", range(2))
def test_holes_so_near_to_each_other_that_one_does_for_two_fixings(tmp_path, seed, partly):
    rng = np.random.default_rng(seed)
    host = rng.uniform(0, 22, (5, 2))
    parts = []
    for k in range(12):
        points = np.delete(host, rng.integers(0, 5, rng.integers(0, 3)), axis=0)
        points = np.concatenate([points + rng.normal(0, 1.0, points.shape), rng.uniform(0, 22, (2, 2))])
        parts.append((f"p{k}", turned(points, rng), rng.choice([6.0, 9.0], len(points)), None))
    stock = made(tmp_path, table_of(parts, rng))
    answer, question = asked(stock, host_build(host, across_mm=4.0), partly)
    assert differing(answer, plain_loop(question.host, segment_of(stock))) == {}
