"""Joining and looking up hours against general-purpose reference routines."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from takeup.wear.elongation import over_marks
from takeup.wear.hours import continuous_hours, day_reached, hour_curve, hours_at, mean_per_day


def tell(meter: np.ndarray, pos: np.ndarray, starts: np.ndarray, moduli: tuple[float, ...]) -> np.ndarray:
    return continuous_hours(
        meter,
        pos,
        starts,
        restarted=False,
        by_date=False,
        moduli=moduli,
        near_top=0.2,
        slack_hours=1,
        stuck_days=21,
        window_days=90,
        fallback_per_day=np.nan,
    )


@pytest.fixture
def fleet() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Forty machines, each read some 150 times at irregular days; hours by day. Seeded."""
    rng = np.random.default_rng(2)
    pos = np.cumsum(rng.uniform(0.5, 12, (40, 150)), axis=1) + 20_000
    gained = np.diff(pos, axis=1, prepend=pos[:, :1] - 5) * rng.uniform(0, 24, (40, 150))
    return pos, rng.uniform(0, 9000, (40, 1)) + np.cumsum(gained, axis=1), np.arange(41) * 150


def test_roll_over_is_phase_unwrapping(fleet: tuple[np.ndarray, ...]) -> None:
    """numpy.unwrap with the meter's modulus as period does the same where each rise is under half of it.

    Tolerance: reducing by 10 000 and adding it again leaves the last bits of hours up to 30 000.
    """
    pos, hours, starts = fleet
    shown = hours % 10_000
    assert (shown[:, 1:] < shown[:, :-1]).sum() > 40
    told = tell(shown.ravel(), pos.ravel(), starts, (1e4,))
    unwrapped = np.unwrap(shown, period=10_000, axis=1)
    assert told.hours.reshape(shown.shape) == pytest.approx(unwrapped, abs=1e-7)


def test_hours_between_readings_are_linear_interpolation(fleet: tuple[np.ndarray, ...]) -> None:
    """numpy.interp, one machine at a time, and its inverse; float rounding of hours up to 30 000."""
    pos, hours, starts = fleet
    curve = hour_curve(tell(hours.ravel(), pos.ravel(), starts, (1e6,)), pos.ravel(), starts)
    rng = np.random.default_rng(3)
    machine = rng.integers(0, 40, 3000)
    when = rng.uniform(pos[machine, 0], pos[machine, -1])
    ours = hours_at(curve, machine, when, per_day_before=np.nan, per_day_after=np.nan)
    theirs = [np.interp(moment, pos[one], hours[one]) for one, moment in zip(machine, when, strict=True)]
    assert ours.hours == pytest.approx(np.array(theirs), abs=1e-7)
    back = [np.interp(told, hours[one], pos[one]) for one, told in zip(machine, theirs, strict=True)]
    assert day_reached(curve, machine, theirs) == pytest.approx(np.array(back), abs=1e-7)


def test_mean_per_day_is_the_slope_of_the_chord(fleet: tuple[np.ndarray, ...]) -> None:
    """Of the curve that numpy.interp draws, over 90 days that end between readings; float rounding."""
    pos, hours, starts = fleet
    curve = hour_curve(tell(hours.ravel(), pos.ravel(), starts, (1e6,)), pos.ravel(), starts)
    end = pos[:, -1] - 3
    ours = mean_per_day(curve, np.arange(40), end, window_days=90, least_days=7)
    for one in range(40):
        chord = np.diff(np.interp([end[one] - 90, end[one]], pos[one], hours[one]))
        assert ours[one] == pytest.approx(chord[0] / 90, rel=1e-9)


def test_means_over_marks_are_grouped_means() -> None:
    """pandas groupby mean, max and count over the same groups, NaN left out; float rounding."""
    rng = np.random.default_rng(4)
    values = rng.normal(1.5, 0.3, 5000)
    values[rng.random(5000) < 0.1] = np.nan
    starts = np.concatenate(([0], np.sort(rng.integers(0, 5001, 1200)), [5000]))
    group = np.repeat(np.arange(starts.size - 1), np.diff(starts))
    grouped = pd.Series(values).groupby(group).agg(["mean", "max", "count"]).reindex(range(starts.size - 1))
    mean, greatest, _, count = over_marks(values, starts)
    np.testing.assert_allclose(mean, grouped["mean"], rtol=1e-13)
    np.testing.assert_array_equal(greatest, grouped["max"])
    np.testing.assert_array_equal(count, grouped["count"].fillna(0))
