"""What a chain costs by the run hour, by hand, and what may be said on few lives.

The worked pair: chains at 28 000 and 46 000, labour 9500, 24 stop hours at 2400 each, life of the first
11 000 h. All digits beside the formulas.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.errors import WearInputError
from takeup.wear.lifecost import (
    STUDENT_95,
    OnLives,
    break_even_factor,
    break_even_in_steps,
    chance_before,
    change_cost,
    cost_difference,
    cost_on_lives,
    cost_per_hour,
    hours_in_steps,
    life_hours,
    mean_rate,
    stop_costs,
    student_95,
    wears_slower,
)

NOW, OTHER, LIFE = 28000.0, 46000.0, 11000.0
K = float(change_cost(9500, 24, 2400))
STEP = 8000.0


def test_a_change_costs_labour_and_stop():
    assert K == 9500 + 24 * 2400 == 67100


def test_cost_by_the_hour_of_the_worked_pair():
    assert round(float(cost_per_hour(NOW, K, LIFE)), 3) == 8.645  # 95 100 / 11 000
    assert round(float(cost_per_hour(OTHER, K, 1.5 * LIFE)), 3) == 6.855
    assert round(float(cost_per_hour(OTHER, K, 2 * LIFE)), 3) == 5.141


def test_a_chain_64_percent_dearer_pays_from_a_life_19_percent_longer():
    factor = float(break_even_factor(NOW, OTHER, K))
    assert round(OTHER / NOW - 1, 2) == 0.64
    assert round(factor, 3) == 1.189  # 113 100 / 95 100
    assert round(factor * LIFE) == 13082
    assert float(cost_per_hour(OTHER, K, factor * LIFE)) == pytest.approx(
        float(cost_per_hour(NOW, K, LIFE)), rel=1e-12
    )


@pytest.mark.parametrize(
    ("price", "times", "used", "cost"),
    [(NOW, 1.0, 8000, 11.89), (OTHER, 1.4, 8000, 14.14), (OTHER, 1.5, 16000, 7.07)],
    ids=["present chain", "lasts 15 400 h, a loss", "lasts 16 500 h"],
)
def test_a_life_counts_in_whole_steps_from_shutdown_to_shutdown(price, times, used, cost):
    hours = float(hours_in_steps(times * LIFE, STEP))
    assert hours == used
    assert round(float(cost_per_hour(price, K, hours)), 2) == cost


def test_in_steps_the_dearer_chain_pays_later_than_the_formula_says():
    assert round(float(break_even_in_steps(NOW, OTHER, K, LIFE, STEP)), 3) == 1.455  # 16 000 / 11 000


def test_with_the_stop_free_inside_a_shutdown_dear_chain_pays_less():
    free = float(change_cost(9500, 0, 2400))
    assert round(float(break_even_factor(NOW, OTHER, free)), 3) == 1.48  # 55 500 / 37 500
    assert float(break_even_factor(NOW, OTHER, free)) > float(break_even_factor(NOW, OTHER, K))


@given(
    now=st.floats(1000, 1e5),
    dearer=st.floats(1.0, 6.0),
    change=st.floats(0, 1e6),
    life=st.floats(1000, 50000),
    step=st.floats(500, 20000),
)
def test_the_break_even_in_steps_is_where_the_costs_in_steps_meet(now, dearer, change, life, step):
    """Just above it the other chain is no dearer by the hour used; a hair below it is dearer, or equal."""
    factor = float(break_even_in_steps(now, dearer * now, change, life, step))
    present = float(cost_per_hour(now, change, hours_in_steps(life, step)))
    above = float(cost_per_hour(dearer * now, change, hours_in_steps(factor * life * (1 + 1e-6), step)))
    below = float(cost_per_hour(dearer * now, change, hours_in_steps(factor * life * (1 - 1e-6), step)))
    assert above <= present * (1 + 1e-6)
    assert below >= present * (1 - 1e-6)


def test_a_life_by_its_rate_in_two_phases():
    # 1.75 % at 0.25 to the case, then 1 % at 0.75: 7000 h + 1333.3 h
    assert float(life_hours(3.0, 0.25, 0.25, 2.0, 3.0)) == pytest.approx(7000 + 1000 / 0.75, rel=1e-12)
    assert float(life_hours(1.969, 0.109, 0.2656, np.nan, 3.0)) == pytest.approx(1860 / 0.2656, rel=1e-12)
    assert float(life_hours(3.0, 0.15, 0.0, np.nan, 3.0)) == np.inf


def test_cost_on_two_lives_by_hand():
    """95 100 over 10 000 h and over 12 000 h: the misfits are 8645.45 each, so u = 8645.45 / 11 000."""
    found = cost_on_lives([95100, 95100], [10000, 12000], [0, 2])
    assert found.cost[0] == pytest.approx(190200 / 22000, rel=1e-12)
    assert found.u[0] == pytest.approx(95100 / 11 / 11000, rel=1e-12)
    assert found.freedom[0] == 1


def test_one_life_has_a_cost_and_no_uncertainty_and_none_has_neither():
    found = cost_on_lives([95100], [11000], [0, 1, 1])
    assert found.cost[0] == pytest.approx(8.645454545, rel=1e-9)
    assert np.isnan(found.cost[1])
    assert np.isnan(found.u).all()


def test_lives_that_reached_no_shutdown_cost_without_bound():
    found = cost_on_lives([95100, 95100], hours_in_steps([7000, 7900], STEP), [0, 2])
    assert found.cost[0] == np.inf
    assert np.isnan(found.u[0])


def test_a_difference_is_not_told_where_one_side_has_one_life():
    two = OnLives(np.array([8.0]), np.array([0.5]), np.array([1.0]))
    one = OnLives(np.array([6.0]), np.array([np.nan]), np.array([0.0]))
    found = cost_difference(two, one)
    assert found.value[0] == 2.0
    assert np.isnan(found.expanded[0])


def test_equal_lives_leave_no_doubt_in_the_difference():
    same = OnLives(np.array([8.0]), np.array([0.0]), np.array([1.0]))
    assert cost_difference(same, same).expanded[0] == 0.0


def test_two_lives_tell_far_less_than_six():
    few = OnLives(np.array([8.0]), np.array([0.5]), np.array([1.0]))
    many = few._replace(freedom=np.array([5.0]))
    assert cost_difference(few, few).expanded[0] > 1.5 * cost_difference(many, many).expanded[0]


def test_beyond_thirty_degrees_the_factor_stays_on_the_careful_side():
    assert student_95([30, 31, 1e6]).tolist() == [STUDENT_95[-1]] * 3


@pytest.mark.parametrize(
    ("now", "u_now", "other", "u_other", "claimed"),
    [
        (0.27, 0.03, 0.20, 0.02, False),  # 0.070 < 2 sqrt(0.0013) = 0.0721
        (0.273, 0.03, 0.20, 0.02, True),  # 0.073
        (0.20, 0.0, 0.20, 0.0, False),
        (0.19, 0.0, 0.20, 0.0, False),
        (0.27, np.nan, 0.10, 0.01, False),
        (0.27, 0.01, np.nan, 0.01, False),
    ],
    ids=["within doubt", "beyond doubt", "equal", "worse", "u unknown", "rate unknown"],
)
def test_a_better_chain_is_claimed_only_beyond_doubt(now, u_now, other, u_other, claimed):
    assert bool(wears_slower(now, u_now, other, u_other)) is claimed


def test_the_doubt_of_a_mean_rate_is_the_tapes_or_the_lives_whichever_is_more():
    assert mean_rate([0.26, 0.26], [0.03, 0.04]) == pytest.approx((0.26, 0.025))  # sqrt(0.0025)/2
    assert mean_rate([0.20, 0.32], [0.01, 0.01]) == pytest.approx((0.26, 0.06))  # 0.0849/sqrt(2)
    assert mean_rate([0.26, np.nan], [0.03, 0.04]) == pytest.approx((0.26, 0.03))
    assert np.isnan(mean_rate([], [])).all()


EARLY, MIDDLE, LATE, DOUBT = 700.0, 1600.0, 3100.0, 150.0


def test_the_bounds_are_the_5_50_and_95_percent_points():
    found = chance_before([EARLY, MIDDLE, LATE], EARLY, MIDDLE, LATE, DOUBT)
    assert found == pytest.approx([0.05, 0.5, 0.95], abs=1e-12)


def test_the_chance_runs_from_nothing_to_certainty_and_never_falls():
    hours = np.concatenate(([0.0], np.geomspace(1, 1e9, 4000)))
    found = chance_before(hours, EARLY, MIDDLE, LATE, DOUBT)
    assert found[0] < 0.001
    assert found[-1] == 1.0
    assert (np.diff(found) >= 0).all()


@given(
    early=st.floats(0, 5000),
    more=st.floats(0, 5000),
    past=st.one_of(st.floats(0, 5000), st.just(np.inf)),
    doubt=st.floats(0, 1000),
    hours=st.lists(st.floats(-100, 1e5), min_size=2, max_size=8),
)
def test_any_bounds_give_a_chance_that_rises_with_the_hours(early, more, past, doubt, hours):
    middle = early + more
    found = chance_before(sorted(hours), early, middle, middle + past, doubt)
    assert ((found >= 0) & (found <= 1)).all()
    assert (np.diff(found) >= 0).all()


def test_a_limit_passed_is_certain_at_every_stop():
    assert chance_before([0.0, 10.0, 1e6], 0.0, 0.0, 0.0, DOUBT).tolist() == [1.0, 1.0, 1.0]


def test_an_open_late_bound_lies_as_far_out_as_the_early_one():
    assert float(chance_before(4000, 1000, 2000, np.inf, 0)) == pytest.approx(0.95, abs=1e-12)


def test_an_early_bound_at_the_survey_itself_gives_5_percent_there():
    assert float(chance_before(0, 0, 1000, 2000, 100)) == pytest.approx(0.05, abs=1e-12)


def test_bounds_without_width_are_a_step_at_the_middle():
    assert chance_before([999, 1000, 1001], 1000, 1000, 1000, 0).tolist() == [0.0, 0.5, 1.0]


@pytest.mark.parametrize(
    ("early", "middle", "late"),
    [(np.nan, 1000, 2000), (500, np.nan, 2000), (500, 1000, np.nan), (500, np.inf, np.inf)],
    ids=["no early", "no middle", "no late", "open middle"],
)
def test_no_chance_is_told_without_the_bounds(early, middle, late):
    assert np.isnan(chance_before(700, early, middle, late, 0))


def test_bounds_in_the_wrong_order_are_refused():
    with pytest.raises(WearInputError, match="wrong side of the middle"):
        chance_before(700, 1100, 1000, 2000, 0)


def test_stop_costs_by_hand():
    """A life of 11 000 h, 56 000 with its labour; the limit's middle 2200 h ahead; a stop costs 43 200.

    At 1100 h: a tenth of the life is thrown away, 5600, and 3 % of an unplanned stop is 1296. At 2200 h
    nothing is thrown away and half the stops are unplanned, 21 600. A stop of its own costs 43 200 either
    way.
    """
    found = stop_costs(
        [0.03, 0.5, 0.05], [1100, 2200, 1200], 2200, 11000, 56000, [0, 0, 43200], [43200, 43200, 43200]
    )
    assert found.unplanned == pytest.approx([1296, 21600, 2160], rel=1e-12)
    assert found.thrown_away == pytest.approx([5600, 0, 56000 / 11], rel=1e-12)
    assert found.expected == pytest.approx([6896, 21600, 43200 + 56000 / 11], rel=1e-12)


def test_a_chance_of_nothing_costs_only_the_hours_and_certainty_only_the_stop():
    sure = stop_costs([0.0, 1.0], [0, 9000], 8000, 10000, 50000, 0, 60000)
    assert sure.expected.tolist() == [0.8 * 50000, 60000.0]


def test_later_stops_risk_more_and_waste_less():
    hours = np.linspace(0, 20000, 200)
    chance = chance_before(hours, EARLY, MIDDLE, LATE, DOUBT)
    found = stop_costs(chance, hours, MIDDLE, 11000, 56000, 0, 43200)
    assert (np.diff(found.unplanned) >= 0).all()
    assert (np.diff(found.thrown_away) <= 0).all()
    assert found.expected[-1] == pytest.approx(43200, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: change_cost(-1, 24, 2400), "labour"),
        (lambda: cost_per_hour(NOW, K, -1), "life"),
        (lambda: break_even_factor(0, OTHER, 0), "set_cost_now"),
        (lambda: hours_in_steps(LIFE, 0), "step_hours"),
        (lambda: break_even_in_steps(NOW, OTHER, K, 0, STEP), "life_now"),
        (lambda: cost_on_lives([1.0], [1.0], [0, 2]), "starts"),
        (lambda: stop_costs(1.1, 0, 1, 1, 1, 1, 1), "chance"),
        (lambda: chance_before(0, 0, 1, 2, -1), "doubt"),
    ],
)
def test_what_no_formula_is_defined_for_is_refused_by_name(call, word):
    with pytest.raises(WearInputError, match=word):
        call()
