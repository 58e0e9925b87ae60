"""Published distance networks and closed-form redundancies. Sources: the rows' own columns."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from partkin.positions.network import AdjustedNetwork, Network, solve

HERE = Path(__file__).parent / "networks"


def rows(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as sheet:
        return list(csv.DictReader(sheet))


SUMMARY = {row["network"]: row for row in rows("summary.csv")}


def column(table: list[dict[str, str]], *names: str) -> np.ndarray:
    return np.array([[float(row[name]) for name in names] for row in table])


def adjusted(name: str) -> tuple[AdjustedNetwork, list[dict[str, str]], list[dict[str, str]]]:
    """Metres in the files, millimetres here. Only points marked fixed are held fast."""
    points, seen = rows(f"{name}_points.csv"), rows(f"{name}_obs.csv")
    number = {row["point"]: at for at, row in enumerate(points)}
    start_mm = 1000.0 * column(points, "x_m", "y_m")
    fixed = np.array([row["status"] == "fixed" for row in points])
    network = Network(
        np.array([[number[row["from"]], number[row["to"]]] for row in seen]),
        1000.0 * column(seen, "distance_m")[:, 0],
        column(seen, "sd_mm")[:, 0],
        np.where(fixed[:, None], start_mm, np.nan),
        np.zeros_like(start_mm),
    )
    return solve(network, start_mm), points, seen


@pytest.mark.parametrize("name", SUMMARY)
def test_network(name: str) -> None:
    found, points, seen = adjusted(name)
    summary = SUMMARY[name]
    assert found.converged
    # The files give six decimals of a metre.
    assert found.xyz_mm == pytest.approx(1000.0 * column(points, "adjusted_x_m", "adjusted_y_m"), abs=0.0010)
    assert found.degrees_of_freedom == int(summary["degrees_of_freedom"])
    sigma0 = np.sqrt(found.chi_square / found.degrees_of_freedom)
    assert sigma0 == pytest.approx(float(summary["own_unit_weight"]), rel=1e-5)
    sd_mm = sigma0 * np.sqrt(np.diagonal(found.covariance_mm2)).reshape(-1, 2)
    assert sd_mm == pytest.approx(column(points, "sd_x_mm", "sd_y_mm"), rel=0.01)
    assert found.redundancy == pytest.approx(column(seen, "redundancy")[:, 0], abs=1e-6)
    assert found.residual_mm == pytest.approx(column(seen, "residual_mm")[:, 0], abs=1e-3)


CORNERS = {
    "square_1x1": np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]),
    "rectangle_300x200": np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]]),
}


@pytest.mark.parametrize("name", CORNERS)
def test_redundancy_of_a_rectangle_with_both_diagonals(name: str) -> None:
    """r_i = L_i^2 / sum L^2."""
    lines = [row for row in rows("closed_form_redundancy.csv") if row["network"] == name]
    corners = CORNERS[name]
    edges = np.array([["ABCD".index(row["from"]), "ABCD".index(row["to"])] for row in lines])
    length_mm = np.linalg.norm(corners[edges[:, 0]] - corners[edges[:, 1]], axis=1)
    free = np.full((4, 2), np.nan)
    found = solve(Network(edges, length_mm, np.ones(6), free, np.zeros((4, 2))), corners)
    assert length_mm == pytest.approx(column(lines, "length")[:, 0], abs=1e-6)
    assert found.redundancy == pytest.approx(column(lines, "redundancy")[:, 0], abs=1e-6)
    assert found.redundancy == pytest.approx(length_mm**2 / (length_mm**2).sum(), abs=1e-12)
    assert found.degrees_of_freedom == 1
