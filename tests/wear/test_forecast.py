"""Hours to a level, days, need-by and buy-by: the edges that the worked strands do not touch."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.errors import WearInputError
from takeup.wear.forecast import (
    buy_by,
    doubt_hours,
    handbook_bounds,
    hours_to_level,
    need_by,
    next_survey_hours,
    projected_day,
)

NAN, INF = np.nan, np.inf


@pytest.mark.parametrize(
    ("e", "level", "rate", "case", "past", "hours"),
    [
        pytest.param(1.0, 2.0, 0.25, NAN, NAN, 4000, id="no case"),
        pytest.param(1.0, 2.0, 0.25, 3.0, NAN, 4000, id="case beyond the level"),
        pytest.param(
            1.0, 2.0, 0.25, 1.5, NAN, 2000 + 500 / 0.75, id="case on the way, 3 times faster past it"
        ),
        pytest.param(1.0, 2.0, 0.25, 0.5, NAN, 1000 / 0.75, id="past the case"),
        pytest.param(1.0, 2.0, 0.25, 0.5, 0.4, 2500, id="past the case with a rate fitted there"),
        pytest.param(1.0, 2.0, NAN, 0.5, 0.4, 2500, id="no rate before is needed past the case"),
        pytest.param(2.0, 2.0, 0.25, NAN, NAN, 0, id="at the level"),
        pytest.param(2.5, 2.0, 0.25, NAN, NAN, 0, id="past the level"),
        pytest.param(2.5, 2.0, NAN, NAN, NAN, 0, id="past the level no rate is asked"),
        pytest.param(1.0, 2.0, 0.0, NAN, NAN, INF, id="no growth"),
        pytest.param(1.0, 2.0, -0.1, NAN, NAN, INF, id="no negative rate is used"),
        pytest.param(1.0, 2.0, NAN, NAN, NAN, NAN, id="no rate"),
        pytest.param(NAN, 2.0, 0.25, NAN, NAN, NAN, id="no survey"),
        pytest.param(1.0, NAN, 0.25, NAN, NAN, NAN, id="no limit"),
    ],
)
def test_hours_to_a_level(e, level, rate, case, past, hours):
    found = hours_to_level([e], [level], [rate], [case], 3.0, [past])
    np.testing.assert_allclose(found, [hours])


@given(st.floats(0, 3), st.floats(0.1, 3), st.floats(0.05, 4), st.floats(0.1, 3), st.floats(1, 10))
def test_a_case_never_lengthens_and_kappa_one_changes_nothing(e, level, rate, case, kappa):
    straight = hours_to_level(e, level, rate)
    assert hours_to_level(e, level, rate, case, kappa) <= straight * (1 + 1e-9) + 1e-6
    np.testing.assert_allclose(hours_to_level(e, level, rate, case, 1.0), straight, rtol=1e-9, atol=1e-6)


def test_a_kappa_below_one_is_refused():
    with pytest.raises(WearInputError, match=r"kappa must be 1 or more, found 0\.5"):
        hours_to_level([1.0], [2.0], [0.25], [1.5], [0.5])


def test_the_late_bound_is_open_where_the_rate_might_be_none():
    bounds = handbook_bounds([1.0], [0.1], [2.0], [0.25], [0.13])
    assert bounds.late[0] == INF
    assert bounds.early[0] == pytest.approx(900 / 0.51)


def test_early_is_nothing_where_the_level_is_within_uncertainty():
    assert handbook_bounds([1.95], [0.1], [2.0], [0.25], [0.01]).early[0] == 0


def test_the_doubt_of_a_tape_in_hours():
    """0.08 % at 0.4 % per 1000 h."""
    np.testing.assert_allclose(doubt_hours([0.04, 0.04], [0.4, 0.0]), [200.0, INF])


@pytest.mark.parametrize(
    ("hours", "since", "per_day", "day"),
    [
        pytest.param(100.0, 0.0, 10.0, 20010, id="whole days"),
        pytest.param(109.9, 0.0, 10.0, 20010, id="rounded down"),
        pytest.param(110.0 - 1e-12, 0.0, 10.0, 20011, id="a float's hair below a whole day is that day"),
        pytest.param(100.0, 100.0, 10.0, 20000, id="run since the survey"),
        pytest.param(100.0, 125.0, 10.0, 19997, id="passed since the survey, rounded down"),
        pytest.param(INF, 0.0, 10.0, INF, id="open"),
        pytest.param(100.0, 0.0, 0.0, INF, id="the machine does not run"),
        pytest.param(0.0, 0.0, 0.0, 20000, id="reached, the machine does not run"),
        pytest.param(NAN, 0.0, 10.0, NAN, id="no hours"),
        pytest.param(100.0, 0.0, NAN, NAN, id="no utilisation"),
    ],
)
def test_projected_day(hours, since, per_day, day):
    np.testing.assert_equal(projected_day([20000], [hours], [since], [per_day]), [float(day)])


AS_OF = 20000
LEAD, MARGIN = 112, 14


def last_stop(early, stops, job_hours=24.0):
    begin, end = np.array(stops, dtype=float).reshape(-1, 2).T
    found = need_by([early], AS_OF, job_hours, LEAD, MARGIN, begin, end, [0, begin.size])
    return float(found.day[0]), int(found.shutdown[0])


@pytest.mark.parametrize(
    ("early", "stops", "day", "row"),
    [
        pytest.param(20300, [], 20300, -1, id="no stop: the early date"),
        pytest.param(20300, [(20150, 20153), (20250, 20252), (20299, 20303)], 20250, 1, id="last in time"),
        pytest.param(20300, [(20250, 20252), (20150, 20153)], 20250, 0, id="in any order"),
        pytest.param(20300, [(20298, 20300)], 20298, 0, id="ends as the early day begins"),
        pytest.param(20300, [(20298.5, 20300.5)], 20300, -1, id="ends within the early day"),
        pytest.param(20300, [(20200, 20200.9), (20150, 20153)], 20150, 1, id="too short for the job"),
        pytest.param(20300, [(20200.25, 20201.25)], 20200, 0, id="just long enough, starts within the day"),
        pytest.param(20300, [(19990, 20005)], 20300, -1, id="already begun"),
        pytest.param(20365, [(20030, 20033)], 20365, -1, id="next month, a year left: does not count"),
        pytest.param(20120, [(20030, 20033)], 20030, 0, id="next month, early date near too: counts"),
        pytest.param(20126, [(20030, 20033)], 20126, -1, id="early date not nearer than lead and margin"),
        pytest.param(20300, [(20112, 20115)], 20112, 0, id="as far as the lead time: counts"),
        pytest.param(NAN, [(20150, 20153)], NAN, -1, id="no early date"),
        pytest.param(INF, [(20150, 20153)], 20150, 0, id="open early date"),
    ],
)
def test_need_by(early, stops, day, row):
    np.testing.assert_equal(last_stop(early, stops), (float(day), row))


def test_each_strand_looks_at_its_own_stops():
    found = need_by(
        [20300, 20300, 20300], AS_OF, [24, 24, 96], LEAD, MARGIN,
        [20150, 20250, 20150], [20153, 20253, 20153], [0, 1, 2, 3],
    )  # fmt: skip
    assert found.day.tolist() == [20150, 20250, 20300]
    assert found.shutdown.tolist() == [0, 1, -1]


def test_buy_by_takes_the_earlier_of_shutdown_and_early_date():
    np.testing.assert_equal(
        buy_by([20250, 20300, 20400, NAN, INF], [20300, 20300, 20300, NAN, INF], LEAD, MARGIN),
        [20124, 20174, 20174, NAN, INF],
    )


@pytest.mark.parametrize(
    ("begin", "end", "starts", "says"),
    [
        pytest.param([1.0], [2.0], [0, 1, 1], "one more than strands", id="starts"),
        pytest.param([1.0], [2.0], [0, 0], "rise from 0 to the 1 shutdowns", id="rows left over"),
        pytest.param([3.0], [2.0], [0, 1], "shutdown 0 ends before it starts", id="backwards"),
    ],
)
def test_shutdowns_that_do_not_fit_are_refused(begin, end, starts, says):
    with pytest.raises(WearInputError, match=says):
        need_by([300.0], 0, 12.0, LEAD, MARGIN, begin, end, starts)


@pytest.mark.parametrize(
    ("rate", "early", "hours"),
    [
        pytest.param(NAN, NAN, 1500, id="nothing known: the longest"),
        pytest.param(0.05, NAN, 1500, id="slow: the longest"),
        pytest.param(0.0, INF, 1500, id="no growth"),
        pytest.param(0.4, INF, 1000 * 2 * np.sqrt(2) * 0.05 / 0.4, id="when grown enough to see"),
        pytest.param(0.4, 800.0, 200, id="a quarter of the early hours"),
        pytest.param(0.4, 0.0, 100, id="never sooner than the shortest"),
    ],
)
def test_when_to_measure_next(rate, early, hours):
    np.testing.assert_allclose(next_survey_hours([0.05], [rate], [early]), [hours])
