"""Normal and chi-square against scipy."""

from __future__ import annotations

import pytest
from scipy import stats

from partkin.model.distributions import chi_square_quantile, chi_square_tail, normal_cdf, normal_quantile


@pytest.mark.parametrize("dof", [1, 2, 3, 10, 57, 300])
@pytest.mark.parametrize("p", [1e-6, 0.01, 0.5, 0.95, 0.999, 1 - 1e-9])
def test_chi_square(dof: int, p: float) -> None:
    value = stats.chi2.ppf(p, dof)
    assert chi_square_tail(value, dof) == pytest.approx(1.0 - p, rel=1e-7, abs=1e-15)
    assert chi_square_quantile(p, dof) == pytest.approx(value, rel=1e-6)


def test_far_tail_keeps_its_relative_accuracy() -> None:
    assert chi_square_tail(400.0, 4) == pytest.approx(stats.chi2.sf(400.0, 4), rel=1e-10)


def test_nothing_to_test() -> None:
    assert chi_square_tail(12.0, 0) == 1.0
    assert chi_square_quantile(0.95, 0) == 0.0


@pytest.mark.parametrize("z", [-8.0, -1.0, 0.0, 0.3, 5.0])
def test_normal(z: float) -> None:
    assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-12)
    if abs(z) < 6:
        assert normal_quantile(normal_cdf(z)) == pytest.approx(z, abs=1e-8)
