"""Rates within and beyond the plan of lubrication against statsmodels and scipy.

Tolerance: both solve the same least squares in double precision; 1e-7 of the value leaves room for the other
order of sums, 1e-5 for scipy, which walks to the minimum.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import curve_fit

from takeup.wear.lapses import lapse_rates

RNG = np.random.default_rng(3)
HOURS = np.sort(RNG.uniform(0, 8000, 9))
BEYOND = np.clip(HOURS - 3000, 0, 700) + np.clip(HOURS - 6000, 0, 400)
U = RNG.uniform(0.01, 0.05, 9)


@pytest.mark.parametrize("scatter", [0.2, 4.0], ids=["less than the tape", "more than the tape"])
def test_rates_and_uncertainties_are_those_of_weighted_least_squares(scatter: float) -> None:
    e = 0.05 + 0.2e-3 * (HOURS - BEYOND) + 0.6e-3 * BEYOND + scatter * U * RNG.standard_normal(9)
    told = lapse_rates(HOURS, e, BEYOND, U, [0, 9])
    design = np.column_stack((np.ones(9), HOURS - BEYOND, BEYOND))
    fit = sm.WLS(e, design, weights=1 / U**2).fit(cov_type="fixed scale", cov_kwds={"scale": 1.0})
    wide = max(1.0, float(np.sum(((e - fit.fittedvalues) / U) ** 2) / 6))
    assert (wide > 1.0) == (scatter > 1)
    cov = wide * fit.cov_params()
    assert told.within[0] == pytest.approx(1000 * fit.params[1], rel=1e-7)
    assert told.beyond[0] == pytest.approx(1000 * fit.params[2], rel=1e-7)
    assert told.u_within[0] == pytest.approx(1000 * np.sqrt(cov[1, 1]), rel=1e-7)
    assert told.u_beyond[0] == pytest.approx(1000 * np.sqrt(cov[2, 2]), rel=1e-7)
    ran = BEYOND[-1] - BEYOND[0]
    u_difference = np.sqrt(cov[1, 1] + cov[2, 2] - 2 * cov[1, 2])
    assert told.cost[0] == pytest.approx(ran * (fit.params[2] - fit.params[1]), rel=1e-7)
    assert told.u_cost[0] == pytest.approx(ran * u_difference, rel=1e-7)


def test_the_same_by_scipys_fit_of_a_curve() -> None:
    e = 0.05 + 0.2e-3 * (HOURS - BEYOND) + 0.6e-3 * BEYOND + 4 * U * RNG.standard_normal(9)
    told = lapse_rates(HOURS, e, BEYOND, U, [0, 9])

    def wear(x, start, within, beyond):
        return start + within * (x[0] - x[1]) / 1000 + beyond * x[1] / 1000

    # Not absolute: scipy widens by chi squared over the degrees of freedom, as is done here above 1.
    best, cov = curve_fit(wear, np.stack((HOURS, BEYOND)), e, sigma=U, absolute_sigma=False)
    assert [told.within[0], told.beyond[0]] == pytest.approx(best[1:], rel=1e-5)
    assert [told.u_within[0], told.u_beyond[0]] == pytest.approx(np.sqrt(np.diag(cov))[1:], rel=1e-5)
