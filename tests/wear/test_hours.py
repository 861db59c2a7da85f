"""Meters that reset, roll over, stick and are misread, one machine and many."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.errors import WearInputError
from takeup.wear.hours import (
    Continuous,
    HourCurve,
    Step,
    continuous_hours,
    day_reached,
    hour_curve,
    hours_at,
    mean_per_day,
    reading_span,
)

WEEK = 7.0


def tell(meter: Any, pos: Any = None, starts: Any = None, **changed: Any) -> Continuous:
    """One machine read weekly, unless said otherwise."""
    pos = np.arange(len(meter)) * WEEK if pos is None else pos
    starts = [0, len(meter)] if starts is None else starts
    usual = {
        "restarted": False,
        "by_date": False,
        "moduli": (1e4, 1e5, 1e6),
        "near_top": 0.1,
        "slack_hours": 1,
        "stuck_days": 21,
        "window_days": 90,
        "fallback_per_day": np.nan,
    }
    return continuous_hours(meter, pos, starts, **(usual | changed))


def steps(told: Continuous) -> list[str]:
    return [Step(step).name for step in told.step]


def test_a_meter_that_never_restarts_is_its_own_hours() -> None:
    told = tell([5000.0, 5100.5, 5100.5, 5268.0])
    assert told.hours.tolist() == [5000.0, 5100.5, 5100.5, 5268.0]
    assert not told.bridged_hours.any()
    assert steps(told) == ["FIRST", "RUN", "RUN", "RUN"]


@pytest.mark.parametrize(
    ("before", "after", "gain"),
    [(9961.0, 37.0, 76.0), (99_950.0, 12.0, 62.0), (999_990.0, 1.0, 11.0), (9999.9, 0.0, 0.1)],
)
def test_a_fall_from_the_top_is_a_roll_over(before: float, after: float, gain: float) -> None:
    """Worked by hand: 9961 to 37 with a modulus of 10 000 is 76 h."""
    told = tell([before - 50, before, after, after + 50])
    assert told.hours - before == pytest.approx([-50.0, 0.0, gain, gain + 50])
    assert steps(told) == ["FIRST", "RUN", "ROLLED_OVER", "RUN"]
    assert not told.bridged_hours.any()


@pytest.mark.parametrize(
    ("before", "after"),
    [
        pytest.param(8990.0, 8.0, id="not near the top"),
        pytest.param(9500.0, 37.0, id="more than a week holds"),
    ],
)
def test_a_fall_that_cannot_be_a_roll_over_is_bridged_until_somebody_explains_it(
    before: float, after: float
) -> None:
    told = tell([before - 70, before, after, after + 35])
    assert steps(told) == ["FIRST", "RUN", "DROPPED", "RUN"]
    assert told.hours - before == pytest.approx([-70, 0, 70, 105])  # the week is bridged at 10 h a day
    assert told.bridged_hours == pytest.approx([0, 0, 70, 70])


def test_a_fall_from_the_middle_of_the_range_is_no_roll_over_however_long_ago() -> None:
    """8500 to 8 in 100 days could be 1508 h, but meters roll over at their top."""
    assert steps(tell([8400.0, 8500.0, 8.0], [0.0, 10.0, 110.0])) == ["FIRST", "RUN", "DROPPED"]
    assert steps(tell([9000.0, 9100.0, 8.0], [0.0, 10.0, 110.0])) == ["FIRST", "RUN", "ROLLED_OVER"]


@pytest.mark.parametrize("after", [0.0, 40.0, 7000.0])
def test_a_recorded_restart_bridges_only_the_time_since_the_last_reading(after: float) -> None:
    told = tell([4930.0, 5000.0, after, after + 35], pos=[0, 7, 8, 15], restarted=[False, False, True, False])
    assert steps(told)[2] == "RESTARTED"
    assert told.hours == pytest.approx([4930, 5000, 5010, 5045])


def test_a_bridge_takes_the_pace_of_the_window_before_it() -> None:
    """2 h a day long ago, 20 h a day in the last weeks, 5 h a day since: 20 holds."""
    days = np.arange(0, 400, 10.0)
    meter = np.where(days < 250, 2 * days, 500 + 20 * (days - 250))
    meter[35:] = 5 * (days[35:] - days[35])
    told = tell(meter, days)
    assert steps(told)[35] == "DROPPED"
    assert told.bridged_hours[35] == pytest.approx(200.0)


def test_a_bridge_with_nothing_before_it_takes_the_whole_record_then_the_plan_then_nothing() -> None:
    assert tell([5000.0, 10.0, 80.0]).hours == pytest.approx([5000, 5070, 5140])
    assert tell([5000.0, 10.0], fallback_per_day=[16.0]).hours == pytest.approx([5000, 5112])
    lost = tell([5000.0, 10.0])
    assert np.isnan(lost.hours[1])
    assert steps(lost) == ["FIRST", "DROPPED"]


@pytest.mark.parametrize(
    ("wrong", "step"),
    [
        pytest.param(51_500.0, "TOO_FAST", id="a digit too many"),
        pytest.param(515.0, "FELL_ALONE", id="a digit too few"),
        pytest.param(6050.0, "TOO_FAST", id="more than a week holds"),
    ],
)
def test_one_wrong_reading_is_set_aside_and_changes_no_other(wrong: float, step: str) -> None:
    told = tell([5000.0, 5050.0, wrong, 5150.0, 5200.0])
    assert steps(told) == ["FIRST", "RUN", step, "RUN", "RUN"]
    assert np.isnan(told.hours[2])
    assert np.delete(told.hours, 2).tolist() == [5000.0, 5050.0, 5150.0, 5200.0]


def test_a_low_reading_before_a_high_one_is_still_one_wrong_reading_each() -> None:
    told = tell([5000.0, 505.0, 51_000.0, 5150.0])
    assert steps(told) == ["FIRST", "FELL_ALONE", "TOO_FAST", "RUN"]


@pytest.mark.parametrize(
    ("gain", "by_date", "step"),
    [
        pytest.param(169.0, False, "RUN", id="a full week and the hour"),
        pytest.param(169.1, False, "TOO_FAST", id="more"),
        pytest.param(193.0, True, "RUN", id="dates may be half a day off at either end"),
        pytest.param(193.1, True, "TOO_FAST", id="more than even that"),
    ],
)
def test_no_machine_runs_more_than_the_day_holds(gain: float, by_date: bool, step: str) -> None:
    assert steps(tell([5000.0, 5000.0 + gain], by_date=by_date)) == ["FIRST", step]


def test_dates_are_half_a_day_vague_beside_a_wrong_reading_too() -> None:
    """355 h in two weeks by date: more than 336 and the hour, less than with a day of doubt."""
    meter = [5000.0, 505.0, 5355.0]
    assert steps(tell(meter, by_date=True)) == ["FIRST", "FELL_ALONE", "RUN"]
    assert steps(tell(meter)) == ["FIRST", "DROPPED", "TOO_FAST"]


def test_what_follows_a_recorded_restart_explains_no_fall_before_it() -> None:
    told = tell([5000.0, 500.0, 5050.0], restarted=[False, False, True])
    assert steps(told) == ["FIRST", "DROPPED", "RESTARTED"]


def test_a_fall_within_the_slack_is_rounding() -> None:
    told = tell([5000.4, 5000.0, 5000.0, 5010.0])
    assert steps(told) == ["FIRST", "RUN", "RUN", "RUN"]
    assert told.hours.tolist() == [5000.4, 5000.4, 5000.4, 5010.0]


@pytest.mark.parametrize(("weeks", "stuck"), [(3, False), (4, True)])
def test_a_meter_that_shows_the_same_for_more_than_three_weeks_is_stuck(weeks: int, stuck: bool) -> None:
    told = tell([4900.0] + [5000.0] * (weeks + 1) + [5100.0])
    assert told.stuck.tolist() == [False, False] + [stuck] * weeks + [False]


def random_meters(rng: np.random.Generator, machines: int = 30) -> tuple[Any, Any, Any, Any]:
    """Meters with roll-over, restarts with and without a record, and wrong readings."""
    meter, pos, record, lengths = [], [], [], []
    for _ in range(machines):
        n = int(rng.integers(0, 60))
        days = np.cumsum(rng.uniform(0.5, 14, n)) + 20_000
        shown = rng.uniform(0, 12_000) + np.cumsum(np.diff(days, prepend=20_000) * rng.uniform(0, 22, n))
        told = rng.random(n) < 0.03
        for restart in np.flatnonzero(told | (rng.random(n) < 0.03)):
            shown[restart:] -= shown[restart] - rng.uniform(0, 50)
        shown = np.abs(shown) % 10_000
        shown = np.where(rng.random(n) < 0.03, shown * rng.choice([0.1, 10.0], n), shown)
        meter.append(np.round(shown, 1))
        pos.append(days)
        record.append(told)
        lengths.append(n)
    starts = np.concatenate(([0], np.cumsum(lengths)))
    return np.concatenate(meter), np.concatenate(pos), starts, np.concatenate(record)


def test_a_machine_reads_the_same_to_the_last_bit_alone_and_among_others() -> None:
    meter, pos, starts, record = random_meters(np.random.default_rng(3))
    together = tell(meter, pos, starts, restarted=record, fallback_per_day=np.full(30, 15.0))
    assert set(together.step) == {int(step) for step in Step}  # every kind of step occurs
    for begin, end in pairwise(starts):
        alone = tell(
            meter[begin:end],
            pos[begin:end],
            [0, end - begin],
            restarted=record[begin:end],
            fallback_per_day=[15.0],
        )
        for whole, part in zip(together, alone, strict=True):
            np.testing.assert_array_equal(whole[begin:end], part)


def test_hours_never_fall_and_never_outrun_the_calendar() -> None:
    meter, pos, starts, record = random_meters(np.random.default_rng(4), 60)
    told = tell(meter, pos, starts, restarted=record, fallback_per_day=np.full(60, 15.0))
    for begin, end in pairwise(starts):
        used = ~np.isnan(told.hours[begin:end])
        gain, days = np.diff(told.hours[begin:end][used]), np.diff(pos[begin:end][used])
        assert (gain >= 0).all()
        assert (gain <= 24 * days + 1 + 1e-6).all()


@given(
    gains=st.lists(st.floats(0, 168), min_size=2, max_size=40),
    first=st.floats(0, 9000),
    more=st.integers(1, 500_000),
)
def test_a_constant_on_the_meter_is_a_constant_on_the_hours(
    gains: list[float], first: float, more: int
) -> None:
    meter = first + np.cumsum([0.0, *gains])
    plain, raised = tell(meter), tell(meter + more)
    assert raised.hours - more == pytest.approx(plain.hours, abs=1e-6)
    assert raised.step.tolist() == plain.step.tolist()


@given(gains=st.lists(st.floats(0, 160), min_size=2, max_size=200), first=st.floats(0, 9999))
def test_a_four_figure_meter_loses_nothing_by_rolling_over(gains: list[float], first: float) -> None:
    true = first + np.cumsum([0.0, *gains])
    told = tell(true % 10_000, moduli=(1e4,))
    assert told.hours == pytest.approx(true, abs=1e-6)


def curve_of(meter: Any, pos: Any, starts: Any, **changed: Any) -> HourCurve:
    return hour_curve(tell(meter, pos, starts, **changed), pos, starts)


TWO = curve_of([1000.0, 1100.0, 1500.0, 0.0, 240.0], [0.0, 10.0, 30.0, 5.0, 15.0], [0, 3, 5])


@pytest.mark.parametrize(
    ("machine", "pos", "hours", "outside"),
    [
        (0, 0.0, 1000.0, False),
        (0, 20.0, 1300.0, False),
        (0, 30.0, 1500.0, False),
        (0, 31.0, 1520.0, True),
        (0, -1.0, 990.0, True),
        (1, 10.0, 120.0, False),
        (1, 4.0, -10.0, True),
        (-1, 10.0, np.nan, False),
        (0, np.nan, np.nan, False),
    ],
)
def test_hours_at_a_moment(machine: int, pos: float, hours: float, outside: bool) -> None:
    at = hours_at(TWO, [machine], [pos], per_day_before=10, per_day_after=20)
    np.testing.assert_array_equal(at.hours, [hours])
    assert at.outside.tolist() == [outside]


def test_hours_outside_the_readings_are_not_known_without_a_pace() -> None:
    at = hours_at(TWO, [0, 0, 0], [-1.0, 30.0, 31.0], per_day_before=np.nan, per_day_after=np.nan)
    np.testing.assert_array_equal(at.hours, [np.nan, 1500.0, np.nan])


def test_the_bridged_part_between_two_moments_is_a_difference() -> None:
    """A drop on day 14, bridged at 10 h a day over the week before it."""
    curve = curve_of([4930.0, 5000.0, 10.0, 80.0], [0.0, 7.0, 14.0, 21.0], [0, 4])
    at = hours_at(curve, 0, [0.0, 7.0, 10.0, 14.0, 21.0, 22.0], per_day_before=10, per_day_after=10)
    assert at.bridged_hours == pytest.approx([0, 0, 30, 70, 70, 80])


def test_moments_in_a_stuck_stretch_say_so() -> None:
    curve = curve_of([4900.0, 5000.0, 5000.0, 5000.0, 5100.0], np.arange(5) * 14.0, [0, 5])
    at = hours_at(curve, 0, [7.0, 14.0, 20.0, 42.0, 49.0], per_day_before=1, per_day_after=1)
    assert at.stuck.tolist() == [False, False, True, True, False]


def test_mean_per_day_takes_what_the_readings_cover() -> None:
    days = [0.0, 10.0, 30.0]
    assert mean_per_day(TWO, 0, [30.0], window_days=30, least_days=7).tolist() == [500 / 30]
    assert mean_per_day(TWO, 0, [30.0], window_days=300, least_days=7).tolist() == [500 / 30]
    assert mean_per_day(TWO, 0, [35.0], window_days=15, least_days=7) == pytest.approx([20.0])
    told = mean_per_day(TWO, [0, 0, -1], [35.0, 100.0, 30.0], window_days=10, least_days=7)
    assert np.isnan(told).all()  # five days covered, none covered, no machine
    assert reading_span(TWO, [0, 1, -1])[1].tolist()[:2] == [days[-1], 15.0]


def test_the_moment_hours_were_reached_is_the_inverse() -> None:
    rng = np.random.default_rng(5)
    n, machines = 50, 20
    pos = np.cumsum(rng.uniform(1, 9, (machines, n)), axis=1)
    meter = np.cumsum(rng.uniform(1, 20, (machines, n)), axis=1)
    curve = curve_of(meter.ravel(), pos.ravel(), np.arange(machines + 1) * n)
    machine = rng.integers(0, machines, 500)
    when = rng.uniform(pos[machine, 0], pos[machine, -1])
    hours = hours_at(curve, machine, when, per_day_before=0, per_day_after=0).hours
    assert day_reached(curve, machine, hours) == pytest.approx(when, abs=1e-9)


def test_the_earliest_moment_counts_on_a_machine_that_stood_still() -> None:
    curve = curve_of([0.0, 50.0, 50.0, 100.0], [0.0, 5.0, 9.0, 14.0], [0, 4])
    told = day_reached(curve, 0, [0.0, 50.0, 51.0, 100.0, 101.0, -1.0, np.nan])
    np.testing.assert_allclose(told, [0.0, 5.0, 9.1, 14.0, np.nan, np.nan, np.nan])


def test_no_readings_at_all() -> None:
    curve = curve_of([], [], [0, 0])
    assert np.isnan(hours_at(curve, [0, -1], 5.0, per_day_before=1, per_day_after=1).hours).all()
    assert np.isnan(mean_per_day(curve, [0], 5.0, window_days=90, least_days=1)).all()
    assert np.isnan(day_reached(curve, [0], 5.0)).all()


@pytest.mark.parametrize(
    ("meter", "pos", "match"),
    [
        pytest.param([1.0, 2.0], [7.0, 0.0], "reading 1 .* earlier than the last", id="order"),
        pytest.param([1.0, np.nan], [0.0, 7.0], "reading 1 .* is not known", id="unknown"),
        pytest.param([-1.0], [0.0], "meter_hours: -1.0 at place 0 of 1, wanted at least 0", id="negative"),
    ],
)
def test_readings_that_cannot_be_joined_are_refused(meter: list[float], pos: list[float], match: str) -> None:
    with pytest.raises(WearInputError, match=match):
        tell(meter, pos)


def test_a_machine_that_does_not_exist_is_refused() -> None:
    with pytest.raises(WearInputError, match="machine 2 of 2"):
        hours_at(TWO, [2], [0.0], per_day_before=1, per_day_after=1)
