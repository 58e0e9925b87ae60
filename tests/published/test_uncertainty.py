"""GUM annexes H.1 to H.3 through the budget, against the printed values and the package GTC; tapes by their directive.

Sources: the rows' own columns. H.2 is worked with R = V cos(phi) / I.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable
from pathlib import Path

import GTC
import numpy as np
import pytest

from partkin.positions.budget import Budget, combined, slopes
from partkin.positions.lengths import standard_uncertainty_mm
from partkin.tables.instruments import greatest_error_mm, instruments

HERE = Path(__file__).parent / "uncertainty"


with (HERE / "uncertainty.csv").open(encoding="utf-8", newline="") as _sheet:
    ROWS = list(csv.DictReader(_sheet))


def answers(item: str) -> dict[str, str]:
    return {row["quantity"]: row["answer"] for row in ROWS if row["item"] == item}


def half_a_digit(printed: str) -> float:
    """Half of the last digit printed."""
    return 0.5 * 10.0 ** -len(printed.partition(".")[2])


H1, H2, H3, TAPE = (answers(item) for item in ("GUM H.1", "GUM H.2", "GUM H.3", "MID tape"))

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


@pytest.mark.parametrize("name", [name.removeprefix("component ") for name in H1 if name.startswith("component ")])
def test_components_of_the_end_gauge(name: str) -> None:
    printed = H1[f"component {name}"]
    row = next(row for row in gauge_budget().shares if row.name == name)
    assert abs(row.contributes) == pytest.approx(float(printed), abs=half_a_digit(printed))


def test_end_gauge_with_second_order_terms() -> None:
    """H.1.7: each product of two that are nought by estimate is one more input, ls times the product's own spread."""
    spread = {name: pair[1] for name, pair in GAUGE.items()}
    theta = math.hypot(spread["theta_bar"], spread["Delta"])
    products = np.array([spread["d_alpha"] * theta, spread["alpha_s"] * spread["d_theta"]])
    first = gauge_budget().uncertainty
    whole = combined(["first", "product", "product"], np.array([1.0, GAUGE["ls"][0], GAUGE["ls"][0]]),
                     np.diag(np.square([first, *products])))  # fmt: skip
    assert whole.uncertainty == pytest.approx(float(H1["u(l) with second-order terms"]), abs=0.5)


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


def impedance_budget(quantity) -> Budget:
    values, covariance = impedance_inputs()
    return budget_of(quantity, values, covariance, ["V", "I", "phi"])


@pytest.mark.parametrize(("name", "printed"), [("R", "R"), ("X", "X"), ("Z", "|Z|")])
def test_impedance(name: str, printed: str) -> None:
    """Correlated inputs: leaving the correlations out would be far off."""
    values, covariance = impedance_inputs()
    quantity = IMPEDANCE[name]
    ours = impedance_budget(quantity)
    assert quantity(*values) == pytest.approx(float(H2[printed]), abs=half_a_digit(H2[printed]))
    assert ours.uncertainty == pytest.approx(float(H2[f"u({name})"]), abs=half_a_digit(H2[f"u({name})"]))
    alone = budget_of(quantity, values, np.diag(np.diagonal(covariance)), ["V", "I", "phi"])
    assert abs(alone.uncertainty / ours.uncertainty - 1.0) > 0.1
    assert sum(row.share for row in ours.shares) == pytest.approx(1.0)


@pytest.mark.parametrize(("one", "other"), ["RX", "RZ", "XZ"])
def test_impedance_correlations(one: str, other: str) -> None:
    """By the uncertainty of the sum: u(a + b)^2 = u(a)^2 + u(b)^2 + 2 r u(a) u(b)."""
    first, second = IMPEDANCE[one], IMPEDANCE[other]
    together = impedance_budget(lambda *at: first(*at) + second(*at)).uncertainty
    a, b = impedance_budget(first).uncertainty, impedance_budget(second).uncertainty
    printed = H2[f"r({one},{other})"]
    assert (together**2 - a**2 - b**2) / (2 * a * b) == pytest.approx(float(printed), abs=half_a_digit(printed))


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


def thermometer() -> tuple[np.ndarray, np.ndarray, Callable[..., np.ndarray]]:
    """H.3: eleven corrections read, and the straight line through them by least squares about 20 C."""
    given = next(row["inputs"] for row in ROWS if row["item"] == "GUM H.3")
    at, read = (np.array([float(x) for x in re.search(rf"{of}=([-\d.,]+)", given)[1].split(",")]) for of in "tb")
    design = np.column_stack([np.ones(len(at)), at - 20.0])
    return read, design, lambda *values: np.linalg.lstsq(design, np.array(values), rcond=None)[0]


def test_thermometer() -> None:
    """The line's figures are functions of the eleven readings, whose spread the residuals tell."""
    read, design, line = thermometer()
    squares = float(np.sum(np.square(read - design @ line(*read))))
    assert squares == pytest.approx(float(H3["sum of squared residuals"]), rel=1e-6)
    covariance = squares / (len(read) - 2) * np.eye(len(read))
    names = [f"b{n}" for n in range(len(read))]
    figures = {
        "intercept": lambda *at: line(*at)[0],
        "slope": lambda *at: line(*at)[1],
        "correction at 30 C": lambda *at: line(*at) @ [1.0, 10.0],
    }
    spread = {}
    for name, figure in figures.items():
        spread[name] = budget_of(figure, list(read), covariance, names).uncertainty
        assert figure(*read) == pytest.approx(float(H3[name]), abs=half_a_digit(H3[name]))
        assert spread[name] == pytest.approx(float(H3[f"u({name})"]), abs=half_a_digit(H3[f"u({name})"]))
    mixed = spread["correction at 30 C"] ** 2 - spread["intercept"] ** 2 - (10.0 * spread["slope"]) ** 2
    correlation = mixed / (20.0 * spread["intercept"] * spread["slope"])
    assert correlation == pytest.approx(float(H3["correlation"]), abs=half_a_digit(H3["correlation"]))


def test_rectangular() -> None:
    lines = [row for row in ROWS if row["quantity"] == "standard uncertainty, rectangular"]
    assert len(lines) == 2
    for row in lines:
        half_width = float(re.search(r"a=([\d.]+)", row["inputs"])[1])
        assert standard_uncertainty_mm(half_width) == pytest.approx(float(row["answer"]), abs=5e-7)


def test_root_sum_of_squares() -> None:
    row = next(row for row in ROWS if row["item"] == "combination")
    parts = [float(x) for x in re.findall(r"[\d.]+", row["quantity"])]
    ours = combined(["a", "b"], np.ones(2), np.diag(np.square(parts)))
    assert ours.uncertainty == pytest.approx(float(row["answer"]))


# The instruments of data/tables/instruments.csv that are tapes or are taken as such, by their class.
CLASSES = {"I": "steel rule", "II": "tape", "III": "seller"}


@pytest.mark.parametrize("accuracy", CLASSES)
def test_tapes_stay_within_their_class_once_the_eye_is_taken_off(accuracy: str) -> None:
    """Constants, limits by length rounded up to whole metres, the end hook, and the standard uncertainty."""
    row = instruments()[CLASSES[accuracy]]
    a, b, hook_mm = (float(x) for x in re.findall(r"=([\d.]+)", TAPE[f"class {accuracy} constants"]))
    assert (row.a_mm, row.b_mm_per_m, row.whole_metres) == (a, b, True)
    mine = {name: answer for name, answer in TAPE.items() if re.search(rf"class {accuracy} at", name)}
    assert len(mine) == 13
    for name, answer in mine.items():
        length_mm = 1000.0 * float(re.search(r"at ([\d.]+) m", name)[1])
        limit_mm = greatest_error_mm(row.instrument, length_mm, "near edges") - row.by_eye_mm
        if name.startswith("standard uncertainty"):
            assert standard_uncertainty_mm(limit_mm) == pytest.approx(float(answer), abs=5e-7)
        else:
            assert limit_mm + hook_mm * ("hook" in name) == pytest.approx(float(answer), abs=1e-9)
