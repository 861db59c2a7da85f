"""Points of a fleet's record, and the doubt of a middle, against order statistics and reference routines."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats
from scipy.stats.mstats import mquantiles
from tests.benchmarks.detection import Share

from takeup.wear.calibration import new_life_points, pooled_rates, weighted_points

TAIL = 0.05


@pytest.mark.parametrize("lives", [19, 20, 30, 39, 100, 601])
def test_points_for_a_new_life_are_weibulls(lives: int) -> None:
    """scipy mquantiles with alphap = betap = 0 (W. Weibull 1939: i/(n + 1)) and numpy's method "weibull".

    Exact up to rounding: one value a life, all of one weight.
    """
    value = np.random.default_rng(lives).normal(size=lives)
    low, high, worth = new_life_points(np.arange(lives), value, np.ones(lives), TAIL)
    assert worth == pytest.approx(lives)
    wanted = mquantiles(value, [TAIL, 1 - TAIL], alphap=0, betap=0)
    assert (low, high) == pytest.approx(tuple(wanted), rel=1e-9)
    assert (low, high) == pytest.approx(
        tuple(np.quantile(value, [TAIL, 1 - TAIL], method="weibull")), rel=1e-9
    )


@pytest.mark.parametrize(("lives", "place"), [(19, 1), (39, 2), (59, 3), (99, 5)])
def test_a_new_life_falls_below_the_low_point_one_time_in_twenty(lives: int, place: int) -> None:
    """The k-th lowest of K is a Beta(k, K + 1 - k) part of its distribution (H. A. David, Order Statistics).

    scipy.stats.beta has it at 0.05 in the mean, whatever the distribution.
    """
    low, _, _ = new_life_points(np.arange(lives), np.arange(lives) + 1.0, np.ones(lives), TAIL)
    assert low == pytest.approx(place, abs=1e-9)
    assert stats.beta(place, lives + 1 - place).mean() == pytest.approx(TAIL, abs=1e-12)


def test_one_life_too_few_has_no_such_point() -> None:
    """With 18 lives even the lowest is passed below by a new one more often than one time in twenty."""
    assert stats.beta(1, 18).mean() > TAIL
    assert math.isnan(new_life_points(np.arange(18), np.arange(18.0), np.ones(18), TAIL)[0])


@pytest.mark.parametrize("count", [4, 9, 30])
def test_weighted_points_of_equal_weights_are_hazens(count: int) -> None:
    """numpy.quantile, method "hazen" (i - 1/2)/n, inside the outermost values."""
    rng = np.random.default_rng(count)
    value = rng.normal(size=count)
    parts = rng.uniform(0.5 / count, 1 - 0.5 / count, 20)
    assert weighted_points(value, np.full(count, 0.3), parts) == pytest.approx(
        np.quantile(value, parts, method="hazen"), rel=1e-9
    )


def test_weights_in_whole_numbers_are_repeated_values() -> None:
    """A value of weight 3 counts as three values of one: the middle is numpy's median of all of them."""
    rng = np.random.default_rng(2)
    value, weight = np.sort(rng.normal(size=7)), np.array([1, 3, 1, 5, 1, 3, 1])
    middle = float(weighted_points(value, weight.astype(float), [0.5])[0])
    assert middle == pytest.approx(np.median(np.repeat(value, weight)), rel=1e-12)


def test_variance_of_a_middle() -> None:
    """A middle of n normal values has about pi/(2n) of their variance; the exact one by scipy's integral.

    The middle of n = 2m + 1 has the density n!/(m! m!) F^m (1 - F)^m f (David, Order Statistics). Tolerance:
    the next term of the series is of the order 1/n of it.
    """
    for half in (10, 50, 200):
        n = 2 * half + 1

        def density(x: float, half: int = half) -> float:
            return float(stats.beta(half + 1, half + 1).pdf(stats.norm.cdf(x)) * stats.norm.pdf(x))

        variance, _ = integrate.quad(lambda x, f=density: x * x * f(x), -8, 8, points=[0.0], limit=200)
        assert variance == pytest.approx(math.pi / (2 * n), rel=1.5 / n)


def test_pooled_rates_are_medians() -> None:
    """numpy.nanmedian of the rates known in each service."""
    rng = np.random.default_rng(4)
    service, rate = rng.choice(["a", "b"], 41), rng.uniform(0.1, 0.6, 41)
    rate[rng.random(41) < 0.2] = np.nan
    for pooled in pooled_rates(service, rate):
        assert pooled.middle == pytest.approx(np.nanmedian(rate[service == pooled.service]), rel=1e-12)


@pytest.mark.parametrize(("hits", "trials"), [(3, 40), (95, 100), (1, 1800)])
def test_error_of_a_share_is_the_binomial_one(hits: int, trials: int) -> None:
    """scipy.stats.binom: the standard deviation of hits over trials; printed to a tenth of a per cent."""
    error = 100 * stats.binom(trials, hits / trials).std() / trials
    assert Share(hits, trials).said() == f"{100 * hits / trials:.1f}+-{error:.1f} ({trials})"
