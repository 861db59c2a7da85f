"""A chain is ordered in time for the date it may be needed."""

from __future__ import annotations

from datetime import date
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

from takeup.judgement.judging import Judged
from takeup.model import Urgency

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


def test_dates_on_a_borrowed_rate_are_shown_but_no_work_is_tied_to_them() -> None:
    asked = due(told(), "limit_coming", "no rate, at the plan line")
    assert (asked.need_by, asked.buy_by) == (None, None)
    assert fact(asked, "rate_source") == "start"
    assert fact(asked, "bounds_basis") == "default"
    assert fact(asked, "early_on") > date(2026, 3, 2)


def test_the_turning_point_of_a_strand_that_waits_is_its_day_to_order() -> None:
    row = verdict(told(), "limit_coming", "own slow rate, past the plan line")
    assert row["turning_day"] == row["threshold"] > MONDAY
    assert (row["margin"], row["unit"]) == (row["threshold"] - MONDAY, "d")


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
