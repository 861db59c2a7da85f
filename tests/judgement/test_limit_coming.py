"""A chain is ordered in time for the date it may be needed."""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import (
    MONDAY,
    alone,
    due,
    fact,
    judged,
    overridden,
    shutdowns,
    strand,
    surveys,
    verdict,
    worn,
)

from takeup.documents.environment import environment
from takeup.documents.filters import day
from takeup.documents.words import rule_sentence
from takeup.judgement.judging import Judged, explain
from takeup.judgement.settings import JudgementSettings
from takeup.model import Urgency
from takeup.resources import templates_dir

FAR = {"lead_time_days": 0}
NO_HOURS = {"h_middle": np.nan, "h_early": np.nan}

#: name → differs, surveys of the life as (hours, e) or none, case
CASES: dict[str, tuple[dict[str, Any], list[tuple[float, float]], str]] = {
    "own rate, early date near": (
        {},
        [(1200, 0.41), (2650, 0.83), (4100, 1.22), (5500, 1.55)],
        "buy_by_reached",
    ),
    "own rate, lead time of none": (
        FAR | worn(0.5),
        [(1500, 0.2), (3500, 0.35), (5500, 0.5)],
        "below_plan_line",
    ),
    "own slow rate, past the plan line": (
        FAR | worn(1.6),
        [(1500, 1.3), (3500, 1.45), (5500, 1.6)],
        "past_plan_line",
    ),
    "own rate, hours per day not known": (
        NO_HOURS | worn(1.6),
        [(1500, 0.4), (3500, 1.0), (5500, 1.6)],
        "plan_line_no_dates",
    ),
    "no rate, below the plan line": (worn(1.475), [], "below_plan_line"),
    "no rate, at the plan line": (worn(1.477), [], "plan_line_no_rate"),
    "two surveys are no rate": (worn(1.6), [(3500, 1.0), (5500, 1.6)], "plan_line_no_rate"),
    "growth within the tape is no rate": (
        worn(1.6),
        [(1500, 1.5), (3500, 1.55), (5500, 1.6)],
        "plan_line_no_rate",
    ),
    "silent below the plan line": ({"hours_now": 8600} | worn(0.9), [], "silence"),
    "silent past the plan line": ({"hours_now": 8600} | worn(1.6), [], "plan_line_no_rate"),
}


@cache
def told() -> Judged:
    """Every strand of the table, judged in one pass."""
    lives = [(f"{name}|2025-03-01", points) for name, (_, points, _) in CASES.items() if points]
    return judged(*(alone(name, **case[0]) for name, case in CASES.items()), surveys=surveys(*lives))


@pytest.mark.parametrize("name", CASES)
def test_when_a_chain_is_ordered(name: str) -> None:
    """The plan line is 0.75 x 1.9685 = 1.476 % of the certified case."""
    row = verdict(told(), "limit_coming", name)
    assert row["reason"] == CASES[name][2]
    if row["reason"].startswith("plan_line"):
        assert row["urgency"] == Urgency.PLAN.value


#: 0.3 %/1000 h up to the case at 1.969 %, then three times that, as long as three surveys do not say
PAST = [(1500, 0.6), (3000, 1.05), (4500, 1.5), (5500, 2.1)]
#: name → differs, planned stops, next limit, hours to it at 0.9 %/1000 h, case
BEYOND: dict[str, tuple[dict[str, Any], list[tuple[float, float]], str, float, str]] = {
    "the bushing wall before the stop": ({}, [(33, 36)], "bushing", 583, "next_limit_before_stop"),
    "the bushing wall after the stop": ({}, [(3, 5)], "bushing", 583, "next_limit_after_stop"),
    "too short a stop": ({}, [(3, 3.5), (33, 36)], "bushing", 583, "next_limit_before_stop"),
    "no stop known, no set before": ({}, [], "bushing", 583, "next_limit_before_stop"),
    "no stop known, the set is here": (
        {"bushing_outside_mm": 52.15, "lead_time_days": 0, "h_middle": 10, "h_early": 10},
        [],
        "conveyor",
        883,
        "next_limit_after_stop",
    ),
    "a travel that can be given back": (
        {"takeup_used_mm": 440, "takeup_rem_mm": 40},
        [(3, 5)],
        "bushing",
        583,
        "next_limit_after_stop",
    ),
    "a travel that cannot": (
        {"takeup_travel_mm": 160, "takeup_used_mm": 120, "takeup_rem_mm": 40},
        [(33, 36)],
        "takeup",
        243,
        "next_limit_before_stop",
    ),
    "within the uncertainty of the case": (worn(1.9), [(33, 36)], "bushing", 919, "next_limit_before_stop"),
}


@cache
def beyond() -> Judged:
    """Strands past their case, judged in one pass."""
    rows, stops, lives = [], [], []
    for name, (differs, planned, *_) in BEYOND.items():
        rows.append(alone(name, **(worn(2.1) | differs)))
        stops += [
            (f"{name}, {at[0]}", f"machine of {name}", MONDAY + at[0], MONDAY + at[1]) for at in planned
        ]
        e = rows[-1]["e_wear_mean"]
        lives.append((f"{name}|2025-03-01", [*PAST[:-1], (5500, e)]))
    return judged(*rows, surveys=surveys(*lives), shutdowns=shutdowns(*stops))


@pytest.mark.parametrize("name", BEYOND)
def test_past_the_case_the_forecast_is_to_the_next_limit(name: str) -> None:
    """By hand, as elongation from the as-fitted length.

    Bushing 2.0/0.5/152.4 = 2.6247; fit 3 - 0.105 = 2.895; a travel of 40 mm ends 200 x 40/36 576 = 0.2187
    further. From 2.1 at 0.9 %/1000 h: 583, 883 and 243 h. From 1.9, at 0.3125 (the median of 0.3, 0.3, 0.3,
    0.325, 0.34 and 0.4) to the case and three times that beyond: 0.0685/0.3125 + 0.6562/0.9375 = 919 h.
    """
    _, _, limit, hours, case = BEYOND[name]
    asked = due(beyond(), "limit_coming", name)
    assert (asked.reason, fact(asked, "limit")) == (case, limit)
    assert fact(asked, "hours_middle") == pytest.approx(hours, abs=1)
    assert fact(asked, "case_percent") == pytest.approx(1.969, abs=0.0005)
    assert fact(asked, "factor_past_case") == 3


def test_what_comes_before_the_next_stop_is_for_this_week_and_says_why() -> None:
    asked = due(beyond(), "limit_coming", "the bushing wall before the stop")
    assert asked.urgency is Urgency.THIS_WEEK
    early, out = fact(asked, "early_on"), fact(asked, "takeup_out_early_on")
    assert asked.need_by == early < fact(asked, "next_stop_on")
    assert fact(asked, "next_stop_on") == date(2026, 3, 2) + timedelta(days=33)
    assert fact(asked, "set_here_on") == date(2026, 3, 2) + timedelta(days=70)
    told = rule_sentence(environment([templates_dir()]), asked.rule, asked.reason, asked.subject, asked.facts)
    for said in (
        "1.969 %",
        "2.625 %, set by the wall left in the bushings",
        f"the limit may come as early as {day(early)}",
        "may come too late",
        f"The take-up may be out of travel as early as {day(out)}",
    ):
        assert said in told
    assert "exposed" not in told  # the order says that once, beside its buy-by
    due_at_limit = due(beyond(), "wear_limit", "the bushing wall before the stop")
    assert (due_at_limit.urgency, fact(due_at_limit, "limit")) == (Urgency.NEXT_SHUTDOWN, "case")
    assert (fact(due_at_limit, "next_limit"), fact(due_at_limit, "next_limit_percent")) == ("bushing", 2.625)


def test_a_stop_before_the_early_date_of_the_next_limit_takes_the_work() -> None:
    asked = due(beyond(), "limit_coming", "the bushing wall after the stop")
    assert asked.urgency is Urgency.NEXT_SHUTDOWN
    assert asked.need_by == date(2026, 3, 5)
    assert fact(asked, "shutdown") == "the bushing wall after the stop, 3"
    assert asked.buy_by == date(2026, 3, 5) - timedelta(days=70 + 14)


def test_the_take_up_of_another_strand_of_the_set_that_is_not_ready_counts_as_its_end() -> None:
    """A's 40 mm are out 243 h on; B, with 100 of 480 mm used, gives nothing back before 169.8 mm are."""
    used = {"takeup_used_mm": 440, "takeup_rem_mm": 40}
    pair = strand(**worn(2.1), **used), strand("BE-1-B", set="BE-1", **worn(2.1), takeup_used_mm=100)
    lives = surveys(*((f"{name}|2025-03-01", PAST) for name in ("BE-1-A", "BE-1-B")))
    found = judged(*pair, surveys=lives)
    assert fact(due(found, "limit_coming"), "limit") == "takeup"
    assert fact(due(found, "limit_coming", "BE-1-B"), "limit") == "bushing"
    assert due(found, "takeup_low").reason == "not_yet"


def test_dates_on_a_borrowed_rate_are_shown_but_no_work_is_tied_to_them() -> None:
    asked = due(told(), "limit_coming", "no rate, at the plan line")
    assert (asked.need_by, asked.buy_by) == (None, None)
    assert fact(asked, "rate_source") == "start"
    assert fact(asked, "bounds_basis") == "default"
    assert fact(asked, "early_on") > date(2026, 3, 2)


@pytest.mark.parametrize(
    ("lead", "to"),
    [pytest.param(5, "silence", id="silence-first"), pytest.param(40, "buy_by_reached", id="buy-by-first")],
)
def test_the_turning_point_of_a_strand_that_waits_is_its_day_to_order_or_silence(lead: int, to: str) -> None:
    """The one that comes first, with its own hours and day; a day to order has no hours."""
    row = FAR | worn(1.6) | {"lead_time_days": lead}
    points = [(1500, 1.3), (3500, 1.45), (5500, 1.6)]
    found = judged(alone("S", **row), surveys=surveys(("S|2025-03-01", points)))
    strand, told = found.prognosis.iloc[0], verdict(found, "limit_coming", "S")
    days = {"silence": strand["silence_day"], "buy_by_reached": strand["order_by_day"]}
    assert (told["margin"], told["unit"]) == (told["threshold"] - MONDAY, "d")
    assert min(days, key=lambda event: days[event]) == to
    assert told["turning_day"] == days[to] > MONDAY
    (answer,) = [
        each for each in explain("S", found.situation, JudgementSettings()) if each.rule == "limit_coming"
    ]
    assert answer.turning_to == to
    assert answer.turning_hours == (strand["silence_hours"] if to == "silence" else None)


def at(days: float, hours: float = 48.0) -> tuple[float, float]:
    return MONDAY + days, MONDAY + days + hours / 24


#: name → (days to the stop, name) list, stop chosen, urgency; early date of the strand below
STOPS: dict[str, tuple[list[tuple[float, float]], str, str]] = {
    "none known": ([], "", "next shutdown"),
    "one before the early date": ([at(20)], "S0", "next shutdown"),
    "the last of two": ([at(5), at(20)], "S1", "plan"),
    "not after the early date": ([at(5), at(400)], "S0", "next shutdown"),
    "too short for the job": ([at(5), at(20, 6.0)], "S0", "next shutdown"),
    "already begun": ([at(-1), at(20)], "S1", "next shutdown"),
}


@pytest.mark.parametrize("name", STOPS)
def test_the_work_goes_into_the_last_stop_that_takes_it(name: str) -> None:
    """One strand of 36.6 m takes 6 + 0.25 x 36.6 = 15.1 h; its early date is some 40 days away."""
    stops, chosen, urgency = STOPS[name]
    planned = shutdowns(*((f"S{number}", "BE-1", *stop) for number, stop in enumerate(stops)))
    row = strand(**worn(1.5), lead_time_days=60)
    history = surveys(("BE-1-A|2025-03-01", [(1500, 0.9), (3500, 1.2), (5500, 1.5)]))
    found = judged(row, surveys=history, shutdowns=planned, only=("limit_coming",))
    asked = due(found, "limit_coming")
    assert 25 < found.prognosis.loc[0, "day_early"] - MONDAY < 60
    assert [each.value for each in asked.facts if each.name == "shutdown"] == ([chosen] if chosen else [])
    assert asked.urgency == urgency


def test_a_stop_nearer_than_the_lead_time_does_not_press_a_chain_with_a_year_left() -> None:
    planned = shutdowns(("SOON", "BE-1", *at(40)))
    row = alone("slow", lead_time_days=112, **worn(1.4))
    history = surveys(("slow|2025-03-01", [(1500, 1.2), (3500, 1.3), (5500, 1.4)]))
    found = judged(row, surveys=history, shutdowns=planned, only=("limit_coming",))
    assert found.prognosis.loc[0, "shutdown"] == ""
    assert verdict(found, "limit_coming", "slow")["answer"] == "clear"


def test_the_last_stop_known_does_not_order_a_chain_years_too_soon() -> None:
    """Below the plan line, and no stop known beyond the early date: the early date itself counts."""
    planned = shutdowns(("FAR", "all", *at(120)))
    row = alone("young", lead_time_days=112, **worn(0.4))
    history = surveys(("young|2025-03-01", [(1500, 0.15), (3500, 0.27), (5500, 0.4)]))
    found = judged(row, surveys=history, shutdowns=planned, only=("limit_coming",))
    strand_row = found.prognosis.loc[0]
    assert strand_row["shutdown"] == "FAR"
    assert strand_row["buy_by_day"] < MONDAY
    assert verdict(found, "limit_coming", "young")["reason"] == "below_plan_line"


def test_a_site_may_draw_its_plan_line_lower() -> None:
    found = judged(strand(**worn(1.3)), settings=overridden("limits", plan_part=0.65))
    assert verdict(found, "limit_coming")["reason"] == "plan_line_no_rate"
    assert fact(due(found, "limit_coming"), "plan_percent") == pytest.approx(0.65 * 1.9685, abs=0.001)


@pytest.mark.parametrize(
    ("hours", "stop", "urgency"),
    [
        pytest.param(5510, None, Urgency.NEXT_SHUTDOWN, id="in 8 days"),
        pytest.param(5550, None, Urgency.THIS_WEEK, id="in 7 days"),
        pytest.param(5550, at(9), Urgency.THIS_WEEK, id="in 7 days, a stop after it"),
        pytest.param(5550, at(2), Urgency.NEXT_SHUTDOWN, id="in 7 days, a stop before it"),
        pytest.param(5900, None, Urgency.THIS_WEEK, id="past"),
    ],
)
def test_a_limit_of_strength_that_may_come_within_a_week_waits_for_no_later_stop(
    hours: float, stop: tuple[float, float] | None, urgency: Urgency
) -> None:
    """From 5500 h on the bushing wall may be gone 185.5 h later, at up to 20.4 h a day. *This week* is at
    most seven days: common practice, no source. The depth of the case is a default, which asks for nothing.
    """
    run = {"bushing_case_mm": np.nan, "hours_reckoned": hours, "hours_now": hours}
    lives = surveys(("worn|2025-03-01", [(1500, 0.6), (3000, 1.05), (4500, 1.5), (5500, 1.9)]))
    planned = shutdowns(*((("S", "all", *stop),) if stop else ()))
    found = judged(alone("worn", **(run | worn(1.9))), surveys=lives, shutdowns=planned)
    row = verdict(found, "limit_coming", "worn")
    assert found.prognosis.loc[0, "ahead_limit"] == "bushing"
    assert (row["reason"], row["urgency"]) == ("buy_by_reached", urgency.value)
