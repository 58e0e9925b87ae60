"""GUM annexes H.1 and H.2 through the budget, against the printed values and the package GTC.

Sources: the rows' own columns. H.2 is worked with R = V cos(phi) / I.
"""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import GTC
import numpy as np
import pytest

from partkin.positions.budget import Budget, combined, slopes
from partkin.positions.lengths import standard_uncertainty_mm

HERE = Path(__file__).parent / "uncertainty"


def answers(item: str) -> dict[str, str]:
    with (HERE / "gum.csv").open(encoding="utf-8", newline="") as sheet:
        return {row["quantity"]: row["answer"] for row in csv.DictReader(sheet) if row["item"] == item}


H1, H2 = answers("GUM H.1"), answers("GUM H.2")

# Inputs of H.1 in nm, degC and 1/degC: value and standard uncertainty.
GAUGE = {
    "ls": (50_000_623.0, 25.0),
    "d0": (215.0, 5.8),
    "d1": (0.0, 3.9),
    "d2": (0.0, 6.7),
    "alpha_s": (11.5e-6, 2e-6 / math.sqrt(3.0)),
    "d_alpha": (0.0, 1e-6 / math.sqrt(3.0)),
    "d_theta": (0.0, 0.05 / math.sqrt(3.0)),
    "theta_bar": (-0.1, 0.2),
    "Delta": (0.0, 0.5 / math.sqrt(2.0)),
}


def gauge_length(ls, d0, d1, d2, alpha_s, d_alpha, d_theta, theta_bar, delta):
    """l = ls + d - ls (d_alpha theta + alpha_s d_theta), GUM H.1.1."""
    return ls + (d0 + d1 + d2) - ls * (d_alpha * (theta_bar + delta) + alpha_s * d_theta)


def budget_of(function, values: list[float], covariance: np.ndarray, names: list[str]) -> Budget:
    at = np.array(values)
    steps = np.sqrt(np.diagonal(covariance))
    return combined(names, slopes(lambda given: function(*given), at, steps), covariance)


def gauge_budget() -> Budget:
    values, spread = zip(*GAUGE.values(), strict=True)
    return budget_of(gauge_length, list(values), np.diag(np.square(spread)), list(GAUGE))


def test_end_gauge() -> None:
    values = [value for value, _ in GAUGE.values()]
    assert gauge_length(*values) == pytest.approx(float(H1["end gauge length l"]), abs=0.5)
    assert gauge_budget().uncertainty == pytest.approx(float(H1["standard uncertainty u(l)"]), abs=0.5)


@pytest.mark.parametrize("name", ["ls", "d0", "d1", "d2", "d_alpha", "d_theta"])
def test_components_of_the_end_gauge(name: str) -> None:
    printed = H1[f"component {name}"]
    digits = len(printed.partition(".")[2])
    row = next(row for row in gauge_budget().shares if row.name == name)
    assert abs(row.contributes) == pytest.approx(float(printed), abs=0.5 * 10.0**-digits)


def test_end_gauge_against_gtc() -> None:
    inputs = {name: GTC.ureal(value, spread, label=name) for name, (value, spread) in GAUGE.items()}
    theirs = gauge_length(*inputs.values())
    ours = gauge_budget()
    assert ours.uncertainty == pytest.approx(GTC.uncertainty(theirs), rel=1e-9)
    for row in ours.shares:
        assert row.contributes == pytest.approx(GTC.component(theirs, inputs[row.name]) *
                                                np.sign(row.sensitivity), abs=1e-6)  # fmt: skip
    assert sum(row.share for row in ours.shares) == pytest.approx(1.0)


def impedance_inputs() -> tuple[list[float], np.ndarray]:
    values, spread = [4.999, 19.661e-3, 1.04446], np.array([3.2e-3, 9.5e-6, 7.5e-4])
    together = np.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
    return values, together * np.outer(spread, spread)


IMPEDANCE = {
    "R": lambda v, i, phi: v * math.cos(phi) / i,
    "X": lambda v, i, phi: v * math.sin(phi) / i,
    "Z": lambda v, i, phi: v / i,
}


@pytest.mark.parametrize(("name", "printed"), [("R", "R"), ("X", "X"), ("Z", "|Z|")])
def test_impedance(name: str, printed: str) -> None:
    """Correlated inputs: leaving the correlations out would be far off."""
    values, covariance = impedance_inputs()
    quantity = IMPEDANCE[name]
    ours = budget_of(quantity, values, covariance, ["V", "I", "phi"])
    value_digits, spread_digits = (len(H2[k].partition(".")[2]) for k in (printed, f"u({name})"))
    assert quantity(*values) == pytest.approx(float(H2[printed]), abs=0.51 * 10.0**-value_digits)
    assert ours.uncertainty == pytest.approx(float(H2[f"u({name})"]), abs=0.51 * 10.0**-spread_digits + 0.001)
    alone = budget_of(quantity, values, np.diag(np.diagonal(covariance)), ["V", "I", "phi"])
    assert abs(alone.uncertainty / ours.uncertainty - 1.0) > 0.1
    assert sum(row.share for row in ours.shares) == pytest.approx(1.0)


def test_impedance_against_gtc() -> None:
    values, covariance = impedance_inputs()
    spread = np.sqrt(np.diagonal(covariance))
    together = covariance / np.outer(spread, spread)
    v, i, phi = (GTC.ureal(x, u, independent=False) for x, u in zip(values, spread, strict=True))
    for (a, b), r in (((v, i), together[0, 1]), ((v, phi), together[0, 2]), ((i, phi), together[1, 2])):
        GTC.set_correlation(r, a, b)
    theirs = {"R": v * GTC.cos(phi) / i, "X": v * GTC.sin(phi) / i, "Z": v / i}
    for name, quantity in IMPEDANCE.items():
        ours = budget_of(quantity, values, covariance, ["V", "I", "phi"])
        assert ours.uncertainty == pytest.approx(GTC.uncertainty(theirs[name]), rel=1e-6)


def test_rectangular() -> None:
    with (HERE / "gum.csv").open(encoding="utf-8", newline="") as sheet:
        lines = [row for row in csv.DictReader(sheet) if row["quantity"] == "standard uncertainty, rectangular"]
    assert len(lines) == 2
    for row in lines:
        half_width = float(re.search(r"a=([\d.]+)", row["inputs"])[1])
        assert standard_uncertainty_mm(half_width) == pytest.approx(float(row["answer"]), abs=5e-7)
