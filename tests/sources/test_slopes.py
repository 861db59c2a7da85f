"""The median of pairwise slopes against published examples and a reference routine."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from takeup.wear.trend import recent_rate


def slope(x: list[float], y: list[float], window: int) -> float:
    """Our rate of one life is per 1000 of x."""
    hours, e = np.array(x, dtype=float), np.array(y, dtype=float)
    found = recent_rate(hours, e, np.array([0]), np.array([hours.size]), window)
    return float(found.rate[0]) / 1000


def test_sulfate_in_a_well() -> None:
    """US EPA, Unified Guidance, EPA 530/R-09-007, 2009, Example 17-6, p. 17-33: 26.67 ppm a year.

    Dates are coded year and month; tolerance half the last printed digit of the computer answer 26.6667.
    """
    year = [
        89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1, 94.6,
        95.1, 95.6, 95.8, 96.1, 96.3, 96.6, 96.8,
    ]  # fmt: skip
    sulfate = [
        480, 450, 490, 520, 485, 510, 510, 530, 510, 560, 560, 540, 590, 550, 600, 700, 570, 610, 650, 620,
        830, 720, 590,
    ]  # fmt: skip
    assert slope(year, sulfate, 23) == pytest.approx(26.6667, abs=5e-5)


def test_five_points_by_ten_pairs() -> None:
    """M. Hollander, D. A. Wolfe, E. Chicken, Nonparametric Statistical Methods, 3rd ed., Example 9.1.

    The ten slopes, sorted, are -0.15, -0.13, -0.08, -0.07, -0.0575, -0.055, -0.045, -0.0333, 0.01 and 0.04
    (worked from its data); their middle is -0.05625.
    """
    assert slope([1, 2, 3, 4, 5], [1.26, 1.27, 1.12, 1.16, 1.03], 5) == pytest.approx(-0.05625, abs=1e-12)


@pytest.mark.parametrize("count", [2, 3, 7, 8])
def test_as_scipy_reckons_it(count: int) -> None:
    """scipy.stats.theilslopes on fifty seeded lives of each length; both are exact up to rounding."""
    rng = np.random.default_rng(count)
    for _ in range(50):
        hours = np.sort(rng.uniform(0, 20_000, count))
        e = rng.normal(1.0, 0.5, count)
        assert slope(hours, e, 8) == pytest.approx(stats.theilslopes(e, hours).slope, rel=1e-12)


def test_a_longer_life_is_scipys_answer_on_its_last_eight_surveys() -> None:
    """scipy.stats.theilslopes on the last eight of thirty."""
    rng = np.random.default_rng(8)
    hours, e = np.sort(rng.uniform(0, 20_000, 30)), rng.normal(1.0, 0.5, 30)
    assert slope(hours, e, 8) == pytest.approx(stats.theilslopes(e[-8:], hours[-8:]).slope, rel=1e-12)
