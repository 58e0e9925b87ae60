"""Published hole patterns as a stock: each finds itself and what the cases say it goes with. Sources: the rows say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet
from test_interchange import CASES, KINDS, PATTERNS, TOLERANCE_MM, features, number

from partkin.commands import stocking
from partkin.model.build import Build, Part
from partkin.stock import answering, storing

# Holes alone: what a bolt goes through on either side. Cases that change a size or a thread are of single pairs.
HOLES = {name: rows for name, rows in PATTERNS.items() if all(KINDS[row["kind"]] in ("hole", "slot") for row in rows)}
ASKED = [
    case for case in CASES
    if case["donor_pattern"] in HOLES and case["host_pattern"] in HOLES and case["expected"] != "marginal"
    and len(HOLES[case["donor_pattern"]]) >= len(HOLES[case["host_pattern"]])
    and "position tolerance" not in case["title"] and case["flip_allowed"] != "1" and case["rule"] == "floating"
]  # fmt: skip


def host_of(pattern: str, fastener_mm: float | None) -> Build:
    own = features("host", pattern, fastener_mm, None, "must")
    return Build(parts=(Part("host", origin="host", seen_from="outside", duty="trim"),), features=tuple(own))


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("published")
    rows = [(name.replace(" ", "-"), row) for name, listed in HOLES.items() for row in listed]
    columns = {
        "part": [name for name, _ in rows], "feature": [f"h{row['feature_index']}" for _, row in rows],
        "kind": [KINDS[row["kind"]] for _, row in rows], "x_mm": [float(row["x_mm"]) for _, row in rows],
        "y_mm": [float(row["y_mm"]) for _, row in rows], "across_mm": [number(row["hole_mm"]) for _, row in rows],
        "length_mm": pa.array([number(row["length_mm"]) for _, row in rows], pa.float64()),
        "angle_deg": pa.array([number(row["angle_deg"]) for _, row in rows], pa.float64()),
        "fastener_mm": pa.array([number(row["fastener_mm"]) for _, row in rows], pa.float64()),
        "plus_minus_mm": np.zeros(len(rows)), "seen_from": ["outside"] * len(rows),
    }  # fmt: skip
    parquet.write_table(pa.table(columns), folder / "patterns.parquet")
    added = storing.add([folder / "patterns.parquet"], folder / "stock")
    assert added.problems == () and added.new == len(HOLES)
    return folder / "stock"


def asked(stock: Path, hosts: list[Build]) -> list[answering.Answer]:
    return answering.ask(stock, [stocking.question_of(host, "host") for host in hosts])


def test_every_pattern_finds_itself(stock):
    names = [name for name in HOLES if number(HOLES[name][0]["fastener_mm"]) is not None]
    assert len(names) > 100
    for name, answer in zip(names, asked(stock, [host_of(name, None) for name in names]), strict=True):
        found = {one.part: one.hit for one in answer.found}
        assert found[name].state == "goes on", name
        play = min(float(row["hole_mm"]) - float(row["fastener_mm"]) for row in HOLES[name])
        assert found[name].margin_mm >= play - 0.002, name


def test_every_pattern_finds_those_that_the_cases_say_and_no_other(stock):
    assert len(ASKED) > 25
    hosts = [host_of(case["host_pattern"], number(case["fastener_mm"])) for case in ASKED]
    said = {"fits": 0, "does_not_fit": 0}
    for case, answer in zip(ASKED, asked(stock, hosts), strict=True):
        found = {one.part: one.hit for one in answer.found}
        hit = found.get(case["donor_pattern"])
        assert (hit is not None) == (case["expected"] == "fits"), case["case_id"]
        said[case["expected"]] += 1
        if hit is not None:
            assert hit.state == "goes on"
            assert abs(hit.margin_mm + float(case["expected_margin_mm"])) < TOLERANCE_MM, case["case_id"]
    assert min(said.values()) >= 5
