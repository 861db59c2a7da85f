"""The recent rate, the line and the change of phase, by hand and against the slow way."""

from __future__ import annotations

from itertools import combinations
from statistics import median

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from takeup.errors import WearInputError
from takeup.wear.trend import (
    first_after,
    has_own_rate,
    least_squares_rate,
    phase_break,
    ragged,
    recent_rate,
)


def of_life(hours: list[float], e: list[float], window: int = 8):
    h, grown = np.array(hours, dtype=float), np.array(e, dtype=float)
    return recent_rate(h, grown, np.array([0]), np.array([h.size]), window)


#: As meters and surveys give them, to a hundredth of an hour.
hours_read = st.integers(0, 2_000_000).map(lambda hundredths: hundredths / 100)
lives = st.lists(
    st.lists(st.tuples(hours_read, st.floats(-0.1, 4)), min_size=0, max_size=14).map(
        lambda life: sorted(life, key=lambda survey: survey[0])
    ),
    max_size=5,
)


def laid_out(given_lives):
    flat = [survey for life in given_lives for survey in life]
    starts = np.concatenate([[0], np.cumsum([len(life) for life in given_lives])]).astype(int)
    return np.array([h for h, _ in flat]), np.array([e for _, e in flat]), starts


@settings(max_examples=60, deadline=None)
@given(lives, st.integers(2, 9))
def test_the_rate_is_the_median_of_all_pairs_of_the_last_surveys(given_lives, window):
    h, e, starts = laid_out(given_lives)
    found = recent_rate(h, e, starts[:-1], starts[1:], window)
    for number, life in enumerate(given_lives):
        last = life[-window:]
        slopes = [1000 * (b[1] - a[1]) / (b[0] - a[0]) for a, b in combinations(last, 2) if b[0] > a[0]]
        assert found.n_used[number] == len(last)
        if slopes:
            assert found.rate[number] == pytest.approx(median(slopes), rel=1e-12, abs=1e-300)
        else:
            assert np.isnan(found.rate[number])
        if last:
            assert found.growth[number] == last[-1][1] - last[0][1]


@settings(max_examples=30, deadline=None)
@given(lives)
def test_a_life_is_reckoned_to_the_bit_alike_alone_and_among_others(given_lives):
    h, e, starts = laid_out(given_lives)
    u = 0.04
    together = (
        *recent_rate(h, e, starts[:-1], starts[1:]),
        *least_squares_rate(h, e, starts[:-1], starts[1:], u),
        *phase_break(h, e, starts, u)[2:],
    )
    for number, life in enumerate(given_lives):
        h1, e1, s1 = laid_out([life])
        alone = (
            *recent_rate(h1, e1, s1[:-1], s1[1:]),
            *least_squares_rate(h1, e1, s1[:-1], s1[1:], u),
            *phase_break(h1, e1, s1, u)[2:],
        )
        for one, many in zip(alone, together, strict=True):
            np.testing.assert_array_equal(one[0], many[number])


def test_one_blunder_in_five_does_not_move_the_rate_far():
    """True rate 0.3; the fourth survey pulled 0.2 points too long."""
    hours = [500, 1500, 2500, 3500, 4500]
    rate = of_life(hours, [0.15, 0.45, 0.75, 1.25, 1.35]).rate[0]
    assert abs(rate - 0.3) < 0.02
    line = least_squares_rate(
        np.array(hours, float), np.array([0.15, 0.45, 0.75, 1.25, 1.35]), np.array([0]), np.array([5]), 0.04
    )
    assert abs(line.rate[0] - 0.3) > abs(rate - 0.3)


def test_surveys_on_the_same_hours_give_no_slope_between_them():
    assert of_life([500, 500], [0.2, 0.3]).rate.tolist() != [0.0]
    assert np.isnan(of_life([500, 500], [0.2, 0.3]).rate[0])
    assert of_life([500, 500, 1500], [0.2, 0.3, 0.5]).rate[0] == pytest.approx(0.25)


def test_no_survey_one_survey_and_none_at_all():
    assert np.isnan(recent_rate(np.array([]), np.array([]), np.array([0]), np.array([0])).rate).all()
    assert np.isnan(of_life([500], [0.2]).rate[0])
    assert phase_break([], [], [0], 0.04).found.size == 0
    assert least_squares_rate(np.array([]), np.array([]), np.array([0]), np.array([0]), 0.04).n.tolist() == [
        0
    ]


def test_two_surveys_have_the_uncertainty_of_their_difference():
    """1000 sqrt(0.05^2 + 0.05^2) / 1000 h."""
    line = least_squares_rate(
        np.array([500.0, 1500]), np.array([0.2, 0.5]), np.array([0]), np.array([2]), 0.05
    )
    assert line.rate[0] == pytest.approx(0.3)
    assert line.u_rate[0] == pytest.approx(np.sqrt(0.05**2 + 0.05**2))
    assert np.isnan(line.residual_sd[0])


def test_the_scatter_of_the_surveys_counts_where_it_is_more_than_the_tape():
    """Residuals -0.05, 0.1, -0.05 about 0.25 per 1000 h: s_res = sqrt(0.015), sum of squares 2 (1000 h)^2."""
    line = least_squares_rate(
        np.array([1000.0, 2000, 3000]), np.array([0.2, 0.6, 0.7]), np.array([0]), np.array([3]), 0.01
    )
    assert line.rate[0] == pytest.approx(0.25)
    assert line.residual_sd[0] == pytest.approx(np.sqrt(0.015))
    assert line.u_rate[0] == pytest.approx(np.sqrt(0.015 / 2))


def test_run_in_is_no_part_of_the_rate():
    hours, starts = np.array([24.0, 100, 101, 900]), np.array([0, 4])
    assert first_after(hours, starts, 100.0).tolist() == [2]
    assert first_after(hours, starts, [1000.0]).tolist() == [4]


@pytest.mark.parametrize(
    ("hours", "e", "u", "own"),
    [
        pytest.param([500, 1500], [0.2, 0.5], 0.04, False, id="two surveys"),
        pytest.param([500, 1500, 2500], [0.2, 0.25, 0.31], 0.04, False, id="grown by less than three u"),
        pytest.param([500, 1500, 2500], [0.2, 0.25, 0.32], 0.04, True, id="grown by three u"),
        pytest.param([500, 1500, 2500], [0.5, 0.4, 0.3], 0.04, False, id="falls"),
        pytest.param([500, 1500, 2500], [0.2, 0.5, 0.8], np.nan, False, id="tape not known"),
    ],
)
def test_when_a_life_has_a_rate_of_its_own(hours, e, u, own):
    assert has_own_rate(of_life(hours, e), u).tolist() == [own]


def steady(rates: list[float], start: float = 0.2) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Surveys every 1000 h from 500 h on, grown by these rates in between."""
    e = start + np.concatenate([[0.0], np.cumsum(rates)])
    return 500.0 + 1000 * np.arange(e.size), e, np.array([0, e.size])


def test_a_steady_life_keeps_its_phase():
    found = phase_break(*steady([0.3, 0.3, 0.31, 0.29, 0.3]), 0.04)
    assert not found.found[0]
    assert found.first[0] == 0


def test_a_new_phase_begins_with_the_two_surveys_that_show_it():
    """0.3 before, 0.9 after; u of a pair 0.04 sqrt(2) = 0.057, of four surveys 0.018: 0.6 > 2 x 0.059."""
    found = phase_break(*steady([0.3, 0.3, 0.3, 0.9]), 0.04)
    assert (found.found[0], found.first[0], found.break_hours[0]) == (True, 3, 3500.0)
    assert found.rate_before[0] == pytest.approx(0.3)
    assert found.rate_after[0] == pytest.approx(0.9)
    assert found.u_before[0] == pytest.approx(0.04 / np.sqrt(5.0))
    assert found.u_after[0] == pytest.approx(0.04 * np.sqrt(2))


def test_three_surveys_show_what_two_leave_in_doubt():
    """Twice the rate, u 0.12: two surveys differ by 0.3 < 2 x 0.17, three by 0.3 > 2 x 0.09."""
    before, u = [0.3] * 6, 0.12
    assert not phase_break(*steady([*before, 0.6]), u).found[0]
    found = phase_break(*steady([*before, 0.6, 0.6]), u)
    assert found.found[0]
    assert found.first[0] == 6


def test_a_rise_below_the_ratio_or_within_the_doubt_is_no_new_phase():
    assert not phase_break(*steady([0.3, 0.3, 0.3, 0.44]), 0.001).found[0]
    assert not phase_break(*steady([0.3, 0.3, 0.3, 0.9]), 0.3).found[0]


def test_a_break_found_once_stays_found_and_a_later_one_follows_it():
    hours, e, starts = steady([0.2, 0.2, 0.2, 0.6, 0.6, 0.6, 0.6, 1.8])
    at_first = phase_break(hours[:8], e[:8], [0, 8], 0.03)
    assert at_first.first[0] == 3
    later = phase_break(hours, e, starts, 0.03)
    assert later.first[0] == 7
    assert later.rate_before[0] == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("hours", "e", "starts", "says"),
    [
        pytest.param([1.0, 2], [0.1], [0, 2], "two arrays of one length", id="lengths"),
        pytest.param([1.0, 2], [0.1, 0.2], [0, 1], "rise from 0 to the 2 surveys", id="starts end"),
        pytest.param([1.0, 2], [0.1, 0.2], [0, 2, 1, 2], "rise from 0", id="starts fall"),
        pytest.param([1.0, np.nan], [0.1, 0.2], [0, 2], "must be finite", id="nan"),
        pytest.param([2.0, 1], [0.1, 0.2], [0, 2], "run backwards within a life at survey 1", id="backwards"),
    ],
)
def test_arrays_that_are_no_lives_are_refused(hours, e, starts, says):
    with pytest.raises(WearInputError, match=says):
        ragged(hours, e, starts)


def test_hours_may_start_anew_with_a_new_life():
    ragged([5.0, 9, 1, 2], [0.1, 0.2, 0.1, 0.2], [0, 2, 2, 4])
