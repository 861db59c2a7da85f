"""The textbook's interval for when a line reaches a level, which the coverage report stands ours beside."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, stats
from tests.simulators.textbook import fieller, inverse_prediction

# F. A. Graybill and H. K. Iyer, Regression Analysis, 1994, p. 431: true temperatures and thermostat readings.
TRUE = np.arange(96.0, 111.0, 2.0)
READ = np.array([95.71, 98.16, 99.52, 102.09, 103.79, 106.18, 108.14, 110.21])


def test_thermostat_at_104_degrees() -> None:
    """Graybill and Iyer 1994, p. 431: 103.995, 95 % interval 103.4 to 104.6; half the last printed digit."""
    estimate, low, high = fieller(TRUE, READ, 104.0, 0.95)
    assert estimate == pytest.approx(103.995, abs=5e-4)
    assert (low, high) == pytest.approx((103.4, 104.6), abs=0.05)


def test_thermostat_at_100_degrees() -> None:
    """The same source: 100.1, 90 % interval 99.63 to 100.59; half the last printed digit."""
    estimate, low, high = fieller(TRUE, READ, 100.0, 0.90)
    assert estimate == pytest.approx(100.1, abs=0.05)
    assert (low, high) == pytest.approx((99.63, 100.59), abs=5e-3)


@pytest.mark.parametrize("count", [3, 5, 12])
def test_it_is_where_the_prediction_band_of_statsmodels_crosses_the_level(count: int) -> None:
    """statsmodels OLS, prediction interval of a new observation, solved for the level by scipy's brentq."""
    rng = np.random.default_rng(count)
    hours = np.sort(rng.uniform(500, 9000, count))
    e = 0.1 + 0.3 * hours / 1000 + rng.normal(0, 0.02, count)
    level = e[-1] + 0.2
    fitted = sm.OLS(e, sm.add_constant(hours / 1000)).fit()

    def band(x: float, side: int) -> float:
        frame = fitted.get_prediction(np.array([[1.0, x]])).conf_int(obs=True, alpha=0.10)
        return float(frame[0, side]) - level

    _, low, high = fieller(hours / 1000, e, level, 0.90)
    # The upper edge of the band is reached first.
    assert optimize.brentq(band, low - 0.5, low + 0.5, args=(1,)) == pytest.approx(low, rel=1e-8)
    assert optimize.brentq(band, high - 0.5, high + 0.5, args=(0,)) == pytest.approx(high, rel=1e-8)


def test_many_lives_at_once_are_the_single_life_again() -> None:
    """The running sums of the report against :func:`fieller`, itself checked above, survey by survey."""
    rng = np.random.default_rng(4)
    size = rng.integers(1, 12, 5)
    starts = np.concatenate([[0], np.cumsum(size)])
    hours = np.concatenate([np.sort(rng.uniform(0, 9000, n)) for n in size])
    e = 0.1 + 0.3 * hours / 1000 + rng.normal(0, 0.05, hours.size)
    early, middle, late = inverse_prediction(hours, e, starts, np.full(hours.size, 3.0), after=100.0)
    for begin, end in pairwise(starts):
        for survey in range(begin, end):
            rows = np.arange(begin, survey + 1)
            rows = rows[hours[rows] > 100.0]
            if rows.size < 3:
                assert np.isnan(early[survey])
                continue
            at, low, high = fieller(hours[rows], e[rows], 3.0)
            assert middle[survey] == pytest.approx(max(at - hours[survey], 0), rel=1e-6, abs=1e-6)
            if np.isinf(high):
                assert (early[survey], late[survey]) == (0.0, np.inf)
            else:
                wanted = np.maximum(low - hours[survey], 0), high - hours[survey]
                np.testing.assert_allclose((early[survey], late[survey]), wanted, rtol=1e-6, atol=1e-6)


def test_normal_point_used_for_the_zero() -> None:
    """scipy.stats.norm.ppf(0.95)."""
    from takeup.wear.calibration import NORMAL_95

    assert stats.norm.ppf(0.95) == pytest.approx(NORMAL_95, rel=1e-15)
