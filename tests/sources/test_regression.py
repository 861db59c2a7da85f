"""The straight line by least squares against certified and published results."""

from __future__ import annotations

from importlib.resources import files

import numpy as np
import pytest
from scipy import stats

from takeup.wear.calibration import EMPTY_TABLE, bounds
from takeup.wear.forecast import handbook_bounds, hours_to_level
from takeup.wear.record import known_rates
from takeup.wear.trend import Line, least_squares_rate

# M. H. Kutner, C. J. Nachtsheim, J. Neter and W. Li, Applied Linear Statistical Models, the Toluca data: lot
# size and work hours.
LOT = [
    80, 30, 50, 90, 70, 60, 120, 80, 100, 50, 40, 70, 90, 20, 110, 100, 30, 50, 90, 110, 30, 90, 40, 80, 70,
]  # fmt: skip
WORK = [
    399, 121, 221, 376, 361, 224, 546, 352, 353, 157, 160, 252, 389, 113, 435, 420, 212, 268, 377, 421, 273,
    468, 244, 342, 323,
]  # fmt: skip

# W. Q. Meeker and L. A. Escobar, Statistical Methods for Reliability Data, Wiley 1998, GaAs lasers: increase
# of operating current in per cent every 250 h from 0 to 4000 h, units 101, 106 and 110. Failure is 10 per
# cent.
LASER = {
    101: [
        0.0, 0.4741, 0.9255, 2.1147, 2.7168, 3.5110, 4.3415, 4.9076, 5.4782, 5.9925, 6.7224, 7.1303, 8.0006,
        8.9193, 9.4940, 9.8675, 10.9446,
    ],
    106: [
        0.0, 0.3584, 1.3922, 1.9541, 2.8617, 3.4552, 3.8117, 4.5330, 5.3541, 5.9217, 6.7078, 7.7027, 8.6053,
        9.1477, 9.9510, 10.4857, 11.0096,
    ],
    110: [
        0.0, 0.4136, 1.4880, 2.3810, 2.9950, 3.8350, 4.5010, 5.2510, 6.2560, 7.0510, 7.8030, 8.3210, 8.9300,
        9.5540, 10.4500, 11.2800, 12.2100,
    ],
}  # fmt: skip
HOURS = 250.0 * np.arange(17)


def line(x: list[float], y: list[float], u: float = 0.0) -> Line:
    """One life; x as hours, so that our rate is a thousand slopes."""
    hours, e = np.array(x, dtype=float), np.array(y, dtype=float)
    return least_squares_rate(hours, e, np.array([0]), np.array([hours.size]), u)


def test_norris() -> None:
    """NIST Statistical Reference Datasets, linear regression, Norris (36 points), as scipy ships it.

    The certified figures have 15 digits; a straight line in double precision, centred, keeps 11 of them.
    """
    text = (files("scipy.stats") / "tests/data/nist_linregress/Norris.dat").read_text()
    rows = np.array(
        [row.split() for row in text.rpartition("Data:")[2].splitlines()[1:] if row.split()], dtype=float
    )
    assert rows.shape == (36, 2)
    found = line(rows[:, 1], rows[:, 0])
    assert found.rate[0] / 1000 == pytest.approx(1.00211681802045, rel=1e-11)
    assert found.intercept[0] == pytest.approx(-0.262323073774029, rel=1e-10)
    assert found.u_rate[0] / 1000 == pytest.approx(0.429796848199937e-3, rel=1e-10)
    assert found.residual_sd[0] == pytest.approx(0.884796396144373, rel=1e-10)


def test_toluca() -> None:
    """Kutner and others: b1 3.5702, b0 62.37, s(b1) 0.347, s 48.82; half the last printed digit."""
    found = line(LOT, WORK)
    assert found.rate[0] / 1000 == pytest.approx(3.5702, abs=5e-5)
    assert found.intercept[0] == pytest.approx(62.37, abs=5e-3)
    assert found.u_rate[0] / 1000 == pytest.approx(0.347, abs=5e-4)
    assert found.residual_sd[0] == pytest.approx(48.82, abs=5e-3)


def test_prediction_interval_of_toluca() -> None:
    """90 % interval of one new lot of 65: 209.04 to 379.81 about 294.43, printed in a university example.

    Our slope, intercept, scatter and standard error of the slope make it up; half the last printed digit.
    """
    found = line(LOT, WORK)
    slope, scatter, u_slope = found.rate[0] / 1000, found.residual_sd[0], found.u_rate[0] / 1000
    fit = found.intercept[0] + 65 * slope
    standard = np.sqrt(scatter**2 * (1 + 1 / 25) + (65 - np.mean(LOT)) ** 2 * u_slope**2)
    t = stats.t.ppf(0.95, 23)
    assert [fit, fit - t * standard, fit + t * standard] == pytest.approx([294.43, 209.04, 379.81], abs=5e-3)


@pytest.mark.parametrize(("unit", "hours"), [(101, 3702), (106, 3592), (110, 3306)])
def test_lasers_reach_their_limit_by_the_line(unit: int, hours: int) -> None:
    """Meeker and Escobar 1998: pseudo failure hours by least squares; the printed hours from memory.

    Unit 110 comes to 3306.5 and is printed 3306: half an hour and a little.
    """
    found = line(HOURS, LASER[unit])
    assert hours_to_level(found.intercept, 10.0, found.rate)[0] == pytest.approx(hours, abs=0.51)


@pytest.mark.parametrize("unit", list(LASER))
@pytest.mark.parametrize("read_until", [1500.0, 2000.0, 2500.0, 3000.0])
def test_lasers_reach_their_limit_within_a_young_fleets_bounds(unit: int, read_until: float) -> None:
    """Meeker and Escobar 1998: the crossing of 10 % lies between the bounds told from earlier readings."""
    seen = read_until >= HOURS
    e = np.array(LASER[unit])
    known = known_rates(HOURS[seen], e[seen], [0, seen.sum()], 0.1, after_hours=0.0)
    now, rate, u_rate = e[seen][-1], known.rate[-1], known.u_rate[-1]
    formula = handbook_bounds([now], 0.2, 10.0, [rate], [u_rate])
    told = bounds(EMPTY_TABLE, [True], [now], [10.0], [rate], [0.1], [0.0], formula)
    crossed = np.interp(10.0, e, HOURS) - read_until
    assert told.early[0] <= crossed <= told.late[0]
    assert told.early[0] > 0.25 * crossed
