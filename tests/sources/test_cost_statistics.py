"""Student's factors, the doubt of few lives and the chance of a limit against tables and a library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from takeup.wear.lifecost import (
    STUDENT_95,
    OnLives,
    chance_before,
    cost_difference,
    cost_on_lives,
    student_95,
)


def test_students_factors_are_those_of_the_reference_library() -> None:
    """scipy.stats.t.ppf(0.975, n); tolerance half the last digit of the printed table."""
    degrees = np.arange(1, len(STUDENT_95) + 1)
    assert student_95(degrees) == pytest.approx(stats.t.ppf(0.975, degrees), abs=5e-4)


@pytest.mark.parametrize(
    ("degrees", "printed"), [(1, 12.71), (2, 4.30), (3, 3.18), (5, 2.57), (10, 2.23), (20, 2.09), (30, 2.04)]
)
def test_students_factors_of_the_guide_to_uncertainty(degrees: int, printed: float) -> None:
    """JCGM 100:2008, table G.2, column 95 % (from memory); tolerance half the last printed digit."""
    assert float(student_95(degrees)) == pytest.approx(printed, abs=5e-3)


COSTS = np.array([91000.0, 97000, 95500, 93100, 104000])
OTHERS = np.array([71000.0, 66000, 80500])


def of_equal_hours(costs: np.ndarray) -> OnLives:
    """Lives of 1 h each: the cost by the hour is then a plain mean."""
    return cost_on_lives(costs, np.ones_like(costs), [0, costs.size])


def test_on_lives_of_equal_hours_the_doubt_is_that_of_a_mean() -> None:
    """The ratio estimate with equal denominators is the mean, its u the standard error (scipy.stats.sem)."""
    found = of_equal_hours(COSTS)
    assert found.cost[0] == pytest.approx(COSTS.mean(), rel=1e-12)
    assert found.u[0] == pytest.approx(stats.sem(COSTS), rel=1e-12)


def test_a_difference_never_claims_more_than_the_reference_interval() -> None:
    """Welch's interval of scipy.stats.ttest_ind; ours cuts part degrees of freedom and so is a little wider.

    With the degrees cut by hand the half width is the same to the digits of Student's table.
    """
    whole = stats.ttest_ind(COSTS, OTHERS, equal_var=False)
    interval = whole.confidence_interval(0.95)
    found = cost_difference(of_equal_hours(COSTS), of_equal_hours(OTHERS))
    assert found.value[0] == pytest.approx(COSTS.mean() - OTHERS.mean(), rel=1e-12)
    assert found.expanded[0] >= (interval.high - interval.low) / 2
    cut = stats.t.ppf(0.975, np.floor(whole.df)) * np.hypot(stats.sem(COSTS), stats.sem(OTHERS))
    assert found.expanded[0] == pytest.approx(cut, rel=5e-4)


def test_the_ratio_estimate_covers_the_long_run_cost() -> None:
    """Renewal reward: the long-run cost by the hour of lives in a row is mean cost over mean life.

    Eight lives a plant, lognormal with a tenth of scatter; Student's interval should hold the true cost 95 %
    of the time. 4000 plants, seeded; the band is four binomial standard deviations, 0.0138.
    """
    draw = np.random.default_rng(20260302)
    plants, n, price = 4000, 8, 95100.0
    lives = 11000 * np.exp(draw.normal(0, 0.1, (plants, n)))
    found = cost_on_lives(np.full(plants * n, price), lives.ravel(), np.arange(0, plants * n + 1, n))
    true = price / (11000 * np.exp(0.1**2 / 2))
    held = np.abs(found.cost - true) <= student_95(found.freedom) * found.u
    assert held.mean() == pytest.approx(0.95, abs=0.0138)


def test_with_even_bounds_the_chance_is_a_lognormal() -> None:
    """scipy.stats.lognorm with the middle as median and sigma from the 95 % point, to float precision."""
    middle, ratio = 1600.0, 2.0
    hours = np.geomspace(50, 50000, 101)
    sigma = np.log(ratio) / stats.norm.ppf(0.95)
    ours = chance_before(hours, middle / ratio, middle, middle * ratio, 0.0)
    assert ours == pytest.approx(stats.lognorm.cdf(hours, sigma, scale=middle), abs=1e-12)
