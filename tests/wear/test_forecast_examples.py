"""Two worked strands, by hand: a rate from four surveys, and the dates of one strand at three limits.

The strand: pitch 152.4 mm, 240 pitches, born 0.105 % long, 4730 mm of growth over a span of 3048 mm, take-up
480 mm with 300 used, case 1.5 mm at a pin share of 0.5. All inputs unrounded.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from takeup.wear.forecast import (
    buy_by,
    handbook_bounds,
    hours_to_level,
    need_by,
    next_survey_hours,
    projected_day,
)
from takeup.wear.trend import least_squares_rate, recent_rate

HOURS = np.array([1200.0, 2650, 4100, 5500])
E = np.array([0.41, 0.83, 1.22, 1.55])
FIRST, STOP = np.array([0]), np.array([4])

# u_L of one mark: tape class II over 3.0512 m is 0.3 + 0.2 * 4 = 1.1 mm, two ends of a 1 mm step, repeat 0.8
# mm, pull 0.5 mm, temperature 2 K over the span as fitted; as fitted and today alike.
U_L = np.sqrt(1.1**2 / 3 + 2 / 12 + 0.8**2 + 0.5**2 + (3051.2 * 11.5e-6 * 2) ** 2)
U_WEAR = 100 * np.sqrt(2) * U_L / 3048.0
E_NOW = 100 * (3098.5 - 3051.2) / 3048.0
CASE = 100 * (1.5 / 0.5) / 152.4
TAKEUP = E_NOW + 200 * 180 / (240 * 152.4)
U_EXPANDED = 2 * U_WEAR
AS_OF = (date(2026, 3, 2) - date(1970, 1, 1)).days
MIDDLE_PER_DAY, EARLY_PER_DAY = 16.8, 20.4
LEAD, MARGIN = 70, 14


def day(number: float) -> str:
    return (date(1970, 1, 1) + timedelta(days=int(number))).isoformat()


def line():
    return least_squares_rate(HOURS, E, FIRST, STOP, U_WEAR)


def test_the_strand_is_the_one_described():
    assert round(E_NOW, 3) == 1.552
    assert round(U_WEAR, 3) == 0.056
    assert round(U_EXPANDED, 3) == 0.112
    assert round(CASE, 3) == 1.969
    assert round(TAKEUP, 3) == 2.536


def test_rate_by_least_squares_with_its_uncertainty():
    found = line()
    assert round(found.rate[0], 4) == 0.2656
    assert round(found.residual_sd[0], 3) == 0.027
    assert found.residual_sd[0] < U_WEAR
    assert round(found.u_rate[0], 4) == 0.0175
    assert round(found.intercept[0], 3) == 0.109


def test_median_of_pairwise_slopes():
    assert round(recent_rate(HOURS, E, FIRST, STOP).rate[0], 4) == 0.2670


def test_last_pair_alone_gives_no_evidence_of_a_change():
    pair = least_squares_rate(HOURS, E, FIRST + 2, STOP, U_WEAR)
    assert round(pair.rate[0], 3) == 0.236
    assert round(2 * pair.u_rate[0], 3) == 0.113
    assert abs(pair.rate[0] - line().rate[0]) < 2 * pair.u_rate[0]


@pytest.mark.parametrize(
    ("level", "case", "middle_hours", "middle_day", "early_hours", "early_day", "order_by"),
    [
        pytest.param(CASE, np.nan, 1569, "2026-06-03", 1012, "2026-04-20", "2026-01-26", id="case"),
        pytest.param(
            TAKEUP, CASE, 2281, "2026-07-15", 1642, "2026-05-21", "2026-02-26", id="take-up past case"
        ),
        pytest.param(
            TAKEUP, np.nan, 3706, "2026-10-08", 2901, "2026-07-22", "2026-04-29", id="straight line"
        ),
    ],
)
def test_hours_and_days_to_each_limit(
    level, case, middle_hours, middle_day, early_hours, early_day, order_by
):
    found = line()
    bounds = handbook_bounds(E_NOW, U_EXPANDED, level, found.rate, found.u_rate, case, 3.0)
    assert round(bounds.middle[0]) == middle_hours
    assert round(bounds.early[0]) == early_hours
    early = projected_day(AS_OF, bounds.early, 0.0, EARLY_PER_DAY)
    assert day(projected_day(AS_OF, bounds.middle, 0.0, MIDDLE_PER_DAY)[0]) == middle_day
    assert day(early[0]) == early_day
    due = need_by(early, AS_OF, 24.0, LEAD, MARGIN, [], [], [0, 0])
    assert day(due.day[0]) == early_day
    assert day(buy_by(due.day, early, LEAD, MARGIN)[0]) == order_by


def test_the_early_rate_and_distance_of_the_case_limit():
    found = line()
    assert round(CASE - E_NOW, 6) == 0.416667
    assert round(U_EXPANDED, 6) == 0.112315
    assert round(found.rate[0] + 2 * found.u_rate[0], 6) == 0.300604


def test_past_the_case_the_two_terms_add():
    found = line()
    middle = handbook_bounds(E_NOW, U_EXPANDED, TAKEUP, found.rate, found.u_rate, CASE, 3.0)
    to_case = handbook_bounds(E_NOW, U_EXPANDED, CASE, found.rate, found.u_rate)
    assert round(middle.middle[0] - to_case.middle[0]) == 712
    assert round(middle.early[0] - to_case.early[0]) == 629


def test_a_tool_that_knew_only_three_percent():
    rate = line().rate
    naive = hours_to_level(E_NOW, 3.0, rate)
    assert round(naive[0]) == 5452
    assert day(projected_day(AS_OF, naive, 0.0, MIDDLE_PER_DAY)[0]) == "2027-01-20"
    bent = hours_to_level(E_NOW, 3.0, rate, CASE, 3.0)
    assert round(bent[0]) == 2863
    assert round(naive[0] / bent[0], 1) == 1.9


def test_when_to_measure_next():
    found = line()
    early = handbook_bounds(E_NOW, U_EXPANDED, CASE, found.rate, found.u_rate).early
    assert round(2 * np.sqrt(2) * U_WEAR, 2) == 0.16
    assert round(next_survey_hours(U_WEAR, found.rate, np.nan)[0]) == 598
    assert round(next_survey_hours(U_WEAR, found.rate, early)[0]) == 253
