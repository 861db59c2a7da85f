"""The record of past forecasts: scores, quantiles, the table, and the bounds that come of it."""

from __future__ import annotations

import json

import numpy as np
import pytest
from tests.benchmarks.coverage import table_of
from tests.benchmarks.shipped import tuned
from tests.simulators import wander

from takeup.errors import WearInputError
from takeup.wear.calibration import (
    COURSE_NONE,
    COURSE_OWN,
    EMPTY_TABLE,
    FEWEST_LIVES,
    LIVES_FOR_MIDDLE,
    SHIPPED_NONE,
    SHIPPED_OWN,
    Cell,
    FleetTable,
    PooledRate,
    _cells,
    _middles,
    _rate_of_others,
    _scores,
    bounds,
    fleet_table,
    likeness,
    new_life_points,
    pooled_rates,
)
from takeup.wear.forecast import Bounds, handbook_bounds
from takeup.wear.record import LEAST_SEEN, Ratios, hours_until_reached, known_rates, past_ratios


def life(rates: list[float], start: float = 0.2):
    """One life surveyed every 1000 h from 500 h on."""
    e = start + np.concatenate([[0.0], np.cumsum(rates)])
    return 500.0 + 1000 * np.arange(e.size), e, np.array([0, e.size])


def scores(hours, e, starts, limit, u, other_rate=np.nan):
    """The scores of lives without a case."""
    return past_ratios(hours, e, starts, limit, u, known_rates(hours, e, starts, u), other_rate=other_rate)


# --- the rate as it was known


def test_nothing_learned_later_enters_the_rate_of_a_survey():
    fleet = wander.lives(np.random.default_rng(3), 20, changed_early=True)
    whole = known_rates(fleet.hours, fleet.e, fleet.starts, fleet.u, fleet.case)
    stop = fleet.starts[1:] - np.minimum(np.diff(fleet.starts), 2)
    kept = np.concatenate([np.arange(a, b) for a, b in zip(fleet.starts[:-1], stop, strict=True)])
    starts = np.concatenate([[0], np.cumsum(stop - fleet.starts[:-1])])
    part = known_rates(fleet.hours[kept], fleet.e[kept], starts, fleet.u, fleet.case)
    for name in ("before", "past_case", "rate", "u_rate", "own", "n_used"):
        np.testing.assert_array_equal(getattr(part, name), getattr(whole, name)[kept])


def test_past_the_case_kappa_times_the_rate_before_until_three_surveys_fit_their_own():
    hours, e, starts = life([0.3, 0.3, 0.3, 0.9, 0.6, 0.6])  # 0.2 0.5 0.8 1.1 | 2.0 2.6 3.2
    known = known_rates(hours, e, starts, 0.03, 1.5, 3.0)
    np.testing.assert_allclose(known.rate, [np.nan, np.nan, 0.3, 0.3, 0.9, 0.9, 0.6])
    np.testing.assert_allclose(known.before[2:], 0.3)
    np.testing.assert_allclose(known.past_case, [np.nan] * 6 + [0.6])
    assert known.n_used.tolist() == [1, 2, 3, 4, 4, 4, 3]
    assert known.u_rate[4] == pytest.approx(3 * known.u_rate[3])


def test_a_phase_found_beyond_doubt_carries_a_forecast_from_its_first_two_surveys():
    known = known_rates(*life([0.3, 0.3, 0.3, 0.9, 0.9]), 0.03)
    np.testing.assert_allclose(known.rate[2:], [0.3, 0.3, 0.9, 0.9])
    assert known.n_used[4] == 2
    assert known.first[4] == 3


def test_a_chain_measured_often_keeps_its_rate_from_as_many_surveys_as_show_it():
    """Every 1000 h, then every 100 h: the last eight grew by 0.21, below 3 x 0.08; a ninth makes 0.24."""
    hours = np.concatenate([np.arange(500.0, 5000, 1000), 4500 + 100 * np.arange(1, 9)])
    e = 0.05 + 0.3 * hours / 1000
    known = known_rates(hours, e, [0, hours.size], 0.08)
    assert known.own[2:].all()
    np.testing.assert_allclose(known.rate[-1], 0.3)
    assert (known.n_used[-1], known.first[-1]) == (9, hours.size - 9)
    # No more than it takes, and none where the window shows enough.
    assert known.n_used[4] == 5
    assert known_rates(hours, e, [0, hours.size], 0.07).n_used[-1] == 8


def test_run_in_surveys_make_no_rate():
    known = known_rates([8, 50, 100, 1000, 2000], [0.1, 0.15, 0.2, 0.5, 0.8], [0, 5], 0.03)
    assert not known.own.any()


# --- what became of a forecast


def test_levels_are_reached_between_surveys_by_proportion():
    hours, e, starts = [1000, 2000, 3000], [0.2, 0.6, 1.0], [0, 3]
    survey = np.array([0, 0, 0, 0, 2])
    found = hours_until_reached(hours, e, starts, survey, np.array([0.7, 1.0, 1.01, 0.6, 1.1]))
    np.testing.assert_allclose(found, [1250, 2000, np.nan, 1000, np.nan])


def test_a_survey_does_not_vouch_for_its_own_error():
    """Rate 0.4; the second survey read 0.4 for 0.6: by the others' word 0.5 had been there before it."""
    found = hours_until_reached([500, 1500, 2500], [0.2, 0.4, 1.0], [0, 3], np.array([1]), np.array([0.5]))
    np.testing.assert_allclose(found, [500 + 2000 * 0.3 / 0.8 - 1500])


def test_a_dip_does_not_make_a_level_reached_twice():
    found = hours_until_reached(
        [1000, 2000, 3000, 4000, 5000], [0.2, 0.6, 0.5, 0.8, 1.0], [0, 5], np.array([0]), np.array([0.5])
    )
    # 0.6 and the dip to 0.5 count as 0.55 each; without the survey itself the life rose to it from zero.
    np.testing.assert_allclose(found, [2000 * 0.5 / 0.55 - 1000])


def test_other_lives_do_not_reach_a_level_for_this_one():
    hours, e = [1000, 2000, 1000, 2000, 3000], [0.2, 0.6, 0.3, 0.9, 1.5]
    found = hours_until_reached(hours, e, [0, 2, 5], np.array([0, 2]), np.array([1.0, 1.2]))
    np.testing.assert_allclose(found, [np.nan, 1500])


def test_a_life_changed_before_its_limit_is_scored_by_what_it_reached_and_the_rest_as_forecast_there():
    """Rate 0.3, then 0.15, changed at 1.25 of 2.0. From 0.8, 4000 h were forecast. The 3000 h to 1.25 are
    true; the last survey knew a rate of 0.2, the middle of 15 slopes, so 3750 h more.
    """
    hours, e, starts = life([0.3, 0.3, 0.15, 0.15, 0.15])
    assert known_rates(hours, e, starts, 1e-6, phase_ratio=9.0).rate[-1] == pytest.approx(0.2)
    found = scores(hours, e, starts, [2.0], 1e-6)
    at_third = found.log_ratio[(found.survey == 2) & found.own]
    np.testing.assert_allclose(np.exp(at_third), [6750 / 4000], rtol=1e-3)


def test_without_a_rate_at_its_end_the_rest_of_a_life_goes_on_in_proportion():
    """0.2 and 0.5 and changed there: at half of the rate lent, from the first survey to the limit too."""
    hours, e, starts = life([0.3])
    found = scores(hours, e, starts, [1.0], 1e-6, other_rate=[0.6])
    assert found.survey.tolist() == [0]
    np.testing.assert_allclose(np.exp(found.log_ratio), 2.0, rtol=1e-3)


def test_a_level_reached_before_the_survey_is_reached_at_it():
    """A reading 0.2 too low: by the others' word the limit of 0.8 was behind it; no hours over the doubt."""
    hours, e, starts = [500.0, 1000, 1500, 2000, 2500], [0.2, 0.4, 0.85, 0.75, 0.9], [0, 5]
    found = scores(hours, e, starts, [0.8], 0.02)
    at = found.survey == 3
    assert at.sum() == 1
    part = found.forecast_part[at]
    np.testing.assert_allclose(np.exp(found.log_ratio[at]), 1 - part)


def test_a_score_knows_what_rate_and_tape_leave_open():
    """d is twice sqrt(2) of one reading, so a reading is d/sqrt(8), and one between two others d/sqrt(12)."""
    hours, e, starts = life([0.3] * 4)
    known = known_rates(hours, e, starts, 0.04)
    found = past_ratios(hours, e, starts, [2.0], 0.04, known)
    doubt, forecast = 1000 * 2 * 0.04 / 0.3, np.array([4000.0, 3000.0])
    np.testing.assert_allclose(found.forecast_part, forecast / (forecast + doubt))
    rate = found.forecast_part * known.u_rate[[2, 3]] / 0.3
    tape = doubt / (forecast + doubt)
    np.testing.assert_allclose(found.u_log**2, rate**2 + tape**2 * (1 / 8 + 1 / 12))


def test_a_forecast_is_scored_once_at_the_limit_or_the_highest_level_reached():
    hours, e, starts = life([0.3] * 4)  # 0.2 to 1.4
    found = scores(hours, e, starts, [2.0], 0.03)
    # From 0.8 a half of the way to the limit of 2.0 was seen, from 1.1 a third.
    assert found.survey.tolist() == [2, 3]
    np.testing.assert_allclose(found.seen, [0.6 / 1.2, 0.3 / 0.9])
    whole = scores(hours, e, starts, [1.25], 0.03)
    np.testing.assert_allclose(whole.seen, 1.0)


def test_what_is_seen_of_too_short_a_way_or_asked_past_the_limit_is_not_scored():
    hours, e, starts = life([0.3] * 4)
    # From 1.1 the way seen is 0.3 of 1.1, below the least part of it.
    assert LEAST_SEEN > 0.3 / 1.1
    assert scores(hours, e, starts, [2.2], 0.03).survey.tolist() == [2]
    assert scores(hours, e, starts, [0.7], 0.03).life.size == 0


def test_before_a_rate_of_its_own_a_life_is_scored_on_the_rate_of_others():
    hours, e, starts = life([0.3] * 4)
    alone = scores(hours, e, starts, [2.0], 0.03)
    assert alone.own.all()
    lent = scores(hours, e, starts, [2.0], 1e-6, other_rate=[0.6])
    # Not the first survey: its own word does not count, and the bedding before it was no steady rate.
    second = ~lent.own & (lent.survey == 1)
    assert second.sum() == 1
    np.testing.assert_allclose(np.exp(lent.log_ratio[second]), 2.0, rtol=1e-3)


def test_a_life_without_limit_or_tape_gives_no_score():
    hours, e, starts = life([0.3] * 4)
    assert scores(hours, e, starts, [np.nan], 0.03).life.size == 0
    assert scores(hours, e, starts, [2.0], np.inf, other_rate=[0.3]).life.size == 0
    assert scores([], [], [0, 0], [2.0], 0.03).life.size == 0


# --- quantiles


def points(values, life=None, weight=None):
    """Points of one value a life, each weighing 1, unless told otherwise."""
    return new_life_points(
        np.arange(values.size) if life is None else life,
        values,
        np.ones(values.size) if weight is None else weight,
    )


def test_of_k_lives_and_a_new_one_each_is_as_likely_the_lowest():
    """One value a life: 5 % of new values fall below the low point, by counting, for every K from 19 on."""
    rng = np.random.default_rng(5)
    for count in (19, 30, 59):
        drawn = rng.random((4000, count + 1))
        below = [new < points(np.array(known))[0] for *known, new in drawn]
        # Binomial: 4000 draws, three standard deviations.
        assert abs(np.mean(below) - 0.05) < 3 * np.sqrt(0.05 * 0.95 / 4000)


def test_fewer_than_nineteen_equal_lives_have_no_such_point():
    low, high, worth = points(np.arange(18.0))
    assert np.isnan(low)
    assert np.isnan(high)
    assert worth == pytest.approx(18)
    assert points(np.arange(19.0)) == pytest.approx((0.0, 18.0, 19.0), abs=1e-9)


def test_a_life_often_surveyed_weighs_no_more_than_another():
    values = np.arange(40.0)
    often = points(
        np.concatenate([values, np.full(500, 20.0)]),
        life=np.concatenate([np.arange(40), np.full(500, 20)]),
        weight=np.where(np.concatenate([values, np.full(500, 20.0)]) == 20, 1 / 501, 1.0),
    )
    assert often == pytest.approx(points(values), rel=1e-12)


def test_lives_of_unequal_weight_are_worth_fewer():
    """Kish 1965: the square of the sum over the sum of squares; 10 of weight 1 and 30 of 1/3: 400/13.33."""
    weight = np.concatenate([np.ones(10), np.full(30, 1 / 3)])
    assert points(np.arange(40.0), weight=weight)[2] == pytest.approx(30.0)


def test_values_of_one_life_count_for_more_as_far_as_they_differ():
    """40 lives with five values each: all alike they are worth 40, drawn at random 200, about."""
    rng = np.random.default_rng(6)
    whose, drawn = np.repeat(np.arange(40), 5), rng.standard_normal(200)
    same = np.repeat(rng.standard_normal(40), 5)
    assert points(same, life=whose, weight=np.full(200, 0.2))[2] == pytest.approx(40)
    assert points(drawn, life=whose, weight=np.full(200, 0.2))[2] > 150
    # Equal parts of common and own scatter: an intraclass correlation of a half, standard error 0.07.
    both = np.repeat(rng.standard_normal(400), 5) + rng.standard_normal(2000)
    assert likeness(np.repeat(np.arange(400), 5), both) == pytest.approx(0.5, abs=0.09)


# --- the table


def past_fleet(count: int, seed: int = 11):
    return wander.lives(np.random.default_rng(seed), count, changed_early=True)


def test_a_table_goes_through_json_and_back_to_the_bit():
    table = table_of(past_fleet(60))
    assert 50 < table.lives <= 60  # some were changed before their first survey
    assert len(table.cells) > 5
    assert FleetTable.from_dict(json.loads(json.dumps(table.to_dict()))) == table
    assert FleetTable.from_dict(EMPTY_TABLE.to_dict()) == EMPTY_TABLE


CELL = {"own": True, "stage": 2, "forecasts": 9, "lent": 0, "lives": 9, "low": 0.5, "high": 2.0}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        pytest.param({"lives": None}, "not a fleet table", id="no number"),
        pytest.param({"cells": [{"own": True}]}, "not a fleet table", id="half a cell"),
        pytest.param({"form": 1}, "fleet table 0 is of form 1; this version reads form 2", id="another form"),
        pytest.param({"cells": [CELL | {"stage": 7}]}, "has a stage 7, which is not in use", id="a stage"),
    ],
)
def test_what_is_no_table_is_refused(change, says):
    with pytest.raises(WearInputError, match=says):
        FleetTable.from_dict(EMPTY_TABLE.to_dict() | change)


def test_every_stage_of_a_grown_fleet_has_one_cell_from_enough_lives():
    table = table_of(past_fleet(60))
    assert all(cell.lives >= 19 for cell in table.cells)
    assert all(cell.low < 1 < cell.high for cell in table.cells)
    assert len({(cell.own, cell.stage) for cell in table.cells}) == len(table.cells) == 10


def steady_lives(slower: list[float]):
    """A life each: at 0.3 a step till 0.8 of a limit of 2, then so many times slower, seen to its end."""
    e = np.concatenate([[0.2, 0.5, 0.8, *(0.8 + 0.4 / times * np.arange(1, 13))] for times in slower])
    count = len(slower)
    hours = np.tile(500.0 + 1000 * np.arange(15), count)
    return hours, e, 15 * np.arange(count + 1)


def table_at(hours, e, starts, limit=2.0, u=1e-6):
    count = starts.size - 1
    return fleet_table(
        1, "2026-03-01", hours, e, starts, np.full(count, limit), u, ["a"] * count, 0.3, phase_ratio=1e9
    )


def test_a_fleet_of_fewer_lives_has_no_cells():
    lives = steady_lives(list(np.linspace(0.8, 2.0, FEWEST_LIVES)))
    some = table_at(*lives)
    assert some.cells
    fewer = table_at(lives[0][:-15], lives[1][:-15], lives[2][:-1])
    assert fewer.lives == FEWEST_LIVES - 1
    assert fewer.cells == ()
    assert fewer.rates


def ratios_of(stage, log_ratio, *, own=True, u_log=0.0, forecast_part=1.0) -> Ratios:
    """Scores of one life each, fully seen."""
    count = log_ratio.size
    return Ratios(
        np.arange(count), np.arange(count), np.broadcast_to(stage, count), np.full(count, own),
        np.ones(count), log_ratio, np.broadcast_to(forecast_part, count), np.broadcast_to(u_log, count),
    )  # fmt: skip


def test_other_stages_lend_scatter_and_not_their_middle():
    """Stage 1 scatters about 1, stage 2 about half of it: what is lent to stage 2 lies about its own half."""
    rng = np.random.default_rng(8)
    count, few = 60, 30
    ratio = np.concatenate([0.3 * rng.standard_normal(count), np.log(0.5) + 0.3 * rng.standard_normal(few)])
    cells = _cells(ratios_of(np.repeat([0.4, 0.6], [count, few]), ratio))
    _, first, second, *later = cells
    assert (first.stage, second.stage, second.forecasts, second.lent) == (1, 2, few, count)
    for cell, middle in ((first, 1.0), (second, 0.5)):
        assert 0.5 * middle < cell.low < 0.8 * middle
        assert 1.3 * middle < cell.high < 2.1 * middle
    # Stages of no life yet use what the others have.
    assert [(cell.stage, cell.forecasts, cell.lent) for cell in later] == [(3, 0, 90), (4, 0, 90)]


def test_the_middle_of_a_stage_goes_with_the_shipped_course_as_far_as_its_lives_do_not_vouch_for_another():
    """24 lives a tenth above the course, 8 half above it: the level is a fifth above. Of what they differ by
    24/32 and 8/16 are kept, and a stage of no life has the level.
    """
    course = np.array([0.0, -0.1, -0.2])
    ratio = [np.full(24, 0.1), np.full(8, 0.4)]
    ratios = ratios_of(np.repeat([0.2, 0.4], [24, 8]), np.concatenate(ratio))
    found = {
        stage: _scores(ratios, np.flatnonzero(ratios.stage == at)) for stage, at in enumerate([0.2, 0.4])
    }
    assert LIVES_FOR_MIDDLE == 8
    level = (24 * 0.1 + 8 * 0.5) / 32
    assert level == pytest.approx(0.2)
    wanted = [0.2 + 24 / 32 * (0.1 - 0.2), -0.1 + 0.2 + 8 / 16 * (0.5 - 0.2), -0.2 + 0.2]
    np.testing.assert_allclose(_middles(found, course), wanted, atol=1e-12)


def test_a_stage_whose_rates_are_less_sure_is_lent_wider_scatter():
    """Scatter 0.3, rates unsure by 0.1 at stage 1 and by 0.4 at stage 0: sqrt(0.09 - 0.01 + 0.16) is 0.49."""
    rng = np.random.default_rng(9)
    stage = np.repeat([0.4, 0.2], [400, 1])
    ratio = np.append(0.3 * rng.standard_normal(400), np.log(COURSE_OWN[0] / COURSE_OWN[1]))
    young, first = _cells(ratios_of(stage, ratio, u_log=np.repeat([0.1, 0.4], [400, 1])))[:2]
    unsure = 1 + np.pi / (2 * 9)
    width = np.log(young.high / young.low) / np.log(first.high / first.low)
    scatter = np.mean((ratio[:400] - np.median(ratio[:400])) ** 2)
    # The one life in the middle, a 21st of the weight, moves the ends inwards by about as much.
    assert width == pytest.approx(np.sqrt(unsure * (scatter - 0.01 + 0.16) / scatter), rel=0.06)


def test_near_the_limit_less_of_a_score_is_forecast_and_scatters():
    """Half of each score at stage 4 is the tape's doubt: what is lent scatters half as much there."""
    rng = np.random.default_rng(9)
    stage, part = np.repeat([0.4, 0.9], [400, 1]), np.repeat([1.0, 0.5], [400, 1])
    ratio = np.append(0.3 * rng.standard_normal(400), np.log(COURSE_OWN[4] / COURSE_OWN[1]))
    cells = _cells(ratios_of(stage, ratio, forecast_part=part))
    width = np.log(cells[4].high / cells[4].low) / np.log(cells[1].high / cells[1].low)
    assert width == pytest.approx(0.5 * np.sqrt(1 + np.pi / 18), rel=0.06)


def test_the_order_of_lives_does_not_change_a_table():
    fleet = past_fleet(40)
    turned = table_of(fleet.take(np.arange(40)[::-1]))
    table = table_of(fleet)
    assert turned.rates == table.rates
    for one, other in zip(turned.cells, table.cells, strict=True):
        assert (one.stage, one.forecasts, one.lives) == (other.stage, other.forecasts, other.lives)
        np.testing.assert_allclose([one.low, one.high], [other.low, other.high], rtol=1e-12)


def test_pooled_rates_are_the_middle_of_three_lives_or_more():
    rates = pooled_rates(["a", "b", "a", "a", "b", "a"], np.array([0.2, 0.1, 0.6, np.nan, 0.3, 0.4]))
    assert rates == (PooledRate("a", 3, 0.4),)
    table = FleetTable(1, "2026-03-01", 6, (), rates)
    np.testing.assert_array_equal(table.pooled(["b", "a", "", "a"]), [np.nan, 0.4, np.nan, 0.4])
    assert table.pooled([]).size == 0


def test_a_life_is_not_scored_on_a_middle_it_helped_to_make():
    """Four lives with rates of 1, 2, 3 and 4 tenths: each is lent the middle of the other three."""
    hours = np.tile([500.0, 1500, 2500], 4)
    e = np.concatenate([0.1 + rate * np.arange(3) for rate in (0.1, 0.2, 0.3, 0.4)])
    starts = np.arange(0, 13, 3)
    limit, u, service = np.full(4, 2.0), 1e-6, ["a"] * 4
    table = fleet_table(1, "2026-03-01", hours, e, starts, limit, u, service, 0.9)
    assert table.rates[0].middle == pytest.approx(0.25)
    others = _rate_of_others(np.array(service), np.array([0.1, 0.2, 0.3, 0.4]), np.full(4, 0.9))
    np.testing.assert_allclose(others, [0.3, 0.3, 0.2, 0.2])


# --- bounds


def told(middle: float = 1000.0, early: float = 700.0, late: float = 1500.0) -> Bounds:
    return Bounds(np.array([middle]), np.array([middle]), np.array([middle]))._replace(
        early=np.array([early]), late=np.array([late])
    )


RECORD = FleetTable(3, "2026-03-01", 40, (Cell(True, 2, 200, 12, 38, 0.7, 1.6),), ())
#: Stage 0.5 to 0.7; 0.8 % at 0.8 % per 1000 h are 1000 h; twice 0.04 % are 100 h.
STRAND = {"own": [True], "e_percent": [1.2], "limit_percent": [2.0], "rate": [0.8], "u_rate_percent": [0.04]}


#: A zero as unsure as what the record read too much: two thirds of the square of one reading, 0.04/sqrt(2).
AS_READ = 0.04 / np.sqrt(3)


def test_the_record_multiplies_hours_and_doubt_and_takes_the_doubt_off_again():
    """(1000 + 100) x 0.7 - 100 = 670; (1000 + 100) x 1.6 - 100 = 1660."""
    found = bounds(RECORD, **STRAND, u_zero_percent=AS_READ, formula=told())
    np.testing.assert_allclose([found.early[0], found.middle[0], found.late[0]], [670, 1000, 1660])
    assert (found.calibrated[0], found.forecasts[0], found.lent[0], found.lives[0]) == (True, 200, 12, 38)
    # The record's own factors beside what the doubt made of them: 0.67 and 1.66 of the forecast.
    assert (found.low[0], found.high[0]) == (0.7, 1.6)


@pytest.mark.parametrize("zero", [0.16, 0.0])
def test_the_zero_is_joined_as_a_square_less_what_the_record_read(zero):
    """1.645 x 0.16 % at 0.8 are 329 h, 1.645 x 0.0231 % are 47 h: early 1000 - sqrt(330^2 + 329^2 - 47^2).
    A limit counted from nominal pitch has no zero, and the record stays as wide as it is.
    """
    found = bounds(RECORD, **STRAND, u_zero_percent=zero, formula=told())
    more = (1000 * 1.6448536 / 0.8) ** 2 * (zero**2 - AS_READ**2) if zero else 0.0
    assert found.early[0] == pytest.approx(1000 - np.sqrt(330**2 + more), abs=0.01)
    assert found.late[0] == pytest.approx(1000 + np.sqrt(660**2 + more), abs=0.01)


@pytest.mark.parametrize(
    ("table", "change"),
    [
        pytest.param(EMPTY_TABLE, {}, id="no record"),
        pytest.param(RECORD, {"e_percent": [1.5]}, id="a stage without a cell"),
        pytest.param(RECORD, {"own": [False]}, id="no rate of its own"),
    ],
)
def test_without_a_record_the_wider_of_formula_and_shipped_table(table, change):
    wide, narrow = told(early=100.0, late=np.inf), told(early=990.0, late=1010.0)
    strand = STRAND | change
    by_formula = bounds(table, **strand, u_zero_percent=0.0, formula=wide)
    by_shipped = bounds(table, **strand, u_zero_percent=0.0, formula=narrow)
    assert not by_formula.calibrated[0]
    assert by_formula.forecasts[0] == by_formula.lives[0] == 0
    assert (by_formula.early[0], by_formula.late[0]) == (100.0, np.inf)
    stage = 3 if strand["e_percent"] == [1.5] else 2
    low, high = (SHIPPED_OWN if strand["own"][0] else SHIPPED_NONE)[stage]
    assert by_shipped.early[0] == pytest.approx(1100 * low - 100)
    assert by_shipped.late[0] == pytest.approx(1100 * high - 100)


def test_nothing_is_below_zero_and_the_middle_lies_between():
    near = STRAND | {"e_percent": [1.999], "u_rate_percent": [0.2]}
    table = FleetTable(1, "2026-03-01", 40, (Cell(True, 4, 90, 0, 30, 0.2, 0.9),), ())
    found = bounds(table, **near, u_zero_percent=0.1, formula=told(1.25, 0.0, 300.0))
    assert found.early[0] == 0
    assert found.late[0] >= found.middle[0] == 1.25


def test_what_is_not_known_stays_not_known():
    unknown = STRAND | {"e_percent": [np.nan]}
    found = bounds(RECORD, **unknown, u_zero_percent=0.1, formula=told(np.nan, np.nan, np.nan))
    assert np.isnan([found.early[0], found.middle[0], found.late[0]]).all()
    no_rate = STRAND | {"rate": [0.0]}
    open_ = bounds(RECORD, **no_rate, u_zero_percent=0.1, formula=told(np.inf, 2000.0, np.inf))
    assert (open_.early[0], open_.late[0], open_.calibrated[0]) == (2000.0, np.inf, False)


def test_a_strand_of_the_worked_example_gets_wider_bounds_than_the_formula_gives():
    formula = handbook_bounds([1.552], [0.112], [1.969], [0.2656], [0.0175])
    found = bounds(EMPTY_TABLE, [True], [1.552], [1.969], [0.2656], [0.056], [0.04], formula)
    assert found.early[0] < formula.early[0]
    assert found.late[0] >= formula.late[0]


def test_the_shipped_table_is_what_two_worlds_give_rounded_outwards():
    """Recorded: where the numbers come from. That they serve is shown on others, by the coverage test."""
    found = tuned()
    for own, shipped, course in ((True, SHIPPED_OWN, COURSE_OWN), (False, SHIPPED_NONE, COURSE_NONE)):
        points, middles = found[own]
        outwards = [(np.floor(low * 20) / 20, np.ceil(high * 20) / 20) for low, high in points]
        np.testing.assert_allclose(shipped, outwards, atol=1e-9)
        np.testing.assert_allclose(course, np.round(middles, 2), atol=1e-9)
