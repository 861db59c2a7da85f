"""The interval a textbook gives, for comparison only: straight line by least squares, inverse prediction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]


def fieller(x: Floats, y: Floats, y0: float, level: float = 0.90) -> tuple[float, float, float]:
    """Where a new observation of ``y0`` lies on the line through (x, y), with Fieller's interval.

    Source: F. A. Graybill and H. K. Iyer, *Regression Analysis*, 1994, section 6.3 (inverse prediction, from
    memory). The interval is open where the slope is not distinguished from 0.
    """
    n = x.size
    mean_x, mean_y = x.mean(), y.mean()
    s_xx = ((x - mean_x) ** 2).sum()
    slope = ((x - mean_x) * (y - mean_y)).sum() / s_xx
    left = y - mean_y - slope * (x - mean_x)
    variance = (left**2).sum() / (n - 2)
    t = stats.t.ppf((1 + level) / 2, n - 2)
    estimate = mean_x + (y0 - mean_y) / slope
    g = t**2 * variance / (slope**2 * s_xx)
    if g >= 1:
        return estimate, -np.inf, np.inf
    centre = mean_x + (estimate - mean_x) / (1 - g)
    half = t * np.sqrt(variance) / abs(slope) / (1 - g)
    half *= np.sqrt((estimate - mean_x) ** 2 / s_xx + (1 - g) * (1 + 1 / n))
    return estimate, centre - half, centre + half


def inverse_prediction(
    hours: Floats,
    e: Floats,
    starts: NDArray[np.int64],
    level_at: Floats,
    *,
    after: float,
    level: float = 0.90,
) -> tuple[Floats, Floats, Floats]:
    """Early, middle and late hours from each survey to its level, as :func:`fieller` on the surveys so far.

    NaN with fewer than three surveys past the run-in. Running sums per life instead of a call a survey.
    """
    life = np.repeat(np.arange(starts.size - 1), np.diff(starts))
    used = hours > after

    def so_far(values: Floats) -> Floats:
        total = np.cumsum(np.where(used, values, 0.0))
        return total - np.concatenate([[0.0], total])[starts[:-1]][life]

    # About the middle of the plot, so that squares do not cancel.
    x, y = hours / 1000.0, e
    n, sx, sy = so_far(np.ones_like(x)), so_far(x), so_far(y)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_x, mean_y = sx / n, sy / n
        s_xx = so_far(x * x) - n * mean_x**2
        s_xy = so_far(x * y) - n * mean_x * mean_y
        s_yy = so_far(y * y) - n * mean_y**2
        slope = s_xy / s_xx
        variance = np.maximum(s_yy - slope * s_xy, 0) / (n - 2)
        t = stats.t.ppf((1 + level) / 2, np.maximum(n - 2, 1))
        estimate = mean_x + (level_at - mean_y) / slope
        g = t**2 * variance / (slope**2 * s_xx)
        centre = mean_x + (estimate - mean_x) / (1 - g)
        half = t * np.sqrt(variance) / np.abs(slope) / (1 - g)
        half *= np.sqrt((estimate - mean_x) ** 2 / s_xx + (1 - g) * (1 + 1 / n))
        early, late = centre - half, centre + half
    openly = (g >= 1) | (slope <= 0)
    early, late = np.where(openly, 0.0, 1000 * early - hours), np.where(openly, np.inf, 1000 * late - hours)
    middle = np.where(slope > 0, np.maximum(1000 * estimate - hours, 0), np.inf)
    few = n < 3
    return (
        np.where(few, np.nan, np.maximum(early, 0)),
        np.where(few, np.nan, middle),
        np.where(few, np.nan, late),
    )
