"""When a joint wants lubricant, and when nobody is asked."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import MONDAY, alone, due, fact, judged, lubed, metered, verdict

from takeup.judgement.facts import METER
from takeup.judgement.judging import Judged
from takeup.model import Job, Urgency, row_ids

DRY = {"lube_plan": "none_by_decision"}
WEEK, PLAN = Urgency.THIS_WEEK, Urgency.PLAN


def run(hours: float, **more: Any) -> dict[str, Any]:
    """A conveyor lubricated at 5400 h, now at some hours after."""
    return {"lube_last_hours": 5400, "hours_now": 5400 + hours} | more


def wet(days: int, **more: Any) -> dict[str, Any]:
    """Wet, hardly run since it was lubricated some days ago."""
    return run(5, wet="yes", lube_last_day=MONDAY - days, **more)


#: by hand, open conveyor: 100 h, grace 10 %, starved at 200 h
CASES: dict[str, tuple[dict[str, Any], str, Urgency | None]] = {
    "99.9 h": (run(99.9), "within_interval", None),
    "100 h": (run(100), "due", PLAN),
    "110 h": (run(110), "due", PLAN),
    "110.1 h": (run(110.1), "overdue", WEEK),
    "199.9 h": (run(199.9), "overdue", WEEK),
    "200 h": (run(200), "starved", WEEK),
    "never since fitting": (
        {"lube_last_hours": np.nan, "lube_last_day": np.nan, "hours_now": 99},
        "within_interval",
        None,
    ),
    "never, and run": ({"lube_last_hours": np.nan, "hours_now": 150}, "overdue", WEEK),
    "the register's interval": (run(100, lube_interval_hours=150), "within_interval", None),
    "sealed joints": (run(499, lube_plan="sealed_greaseable"), "within_interval", None),
    "daily round": (run(15.9, lube_plan="manual_drive"), "daily_round", None),
    "daily round, starved": (run(16, lube_plan="manual_drive"), "starved", WEEK),
    "dry by decision": (run(9000, **DRY), "dry_by_decision", None),
    "dry, with an interval left in the register": (
        run(9000, lube_interval_hours=50, **DRY),
        "dry_by_decision",
        None,
    ),
    "no plan": (run(9000, lube_plan=""), "no_plan", None),
    "no hours": (run(np.nan), "no_hours", None),
    "wet 29 days": (wet(29), "within_interval", None),
    "wet 30 days": (wet(30), "calendar_due", PLAN),
    "wet 33 days": (wet(33), "calendar_due", PLAN),
    "wet 34 days": (wet(34), "calendar_overdue", WEEK),
    "wet, no hours": (wet(40, lube_last_hours=5400) | {"hours_now": np.nan}, "calendar_overdue", WEEK),
    "wet and dry by decision": (wet(300, **DRY), "dry_by_decision", None),
}


@cache
def told() -> Judged:
    """Every strand of the table, judged in one pass."""
    return judged(*(alone(name, **case[0]) for name, case in CASES.items()))


@pytest.mark.parametrize("name", CASES)
def test_the_clock_of_a_joint(name: str) -> None:
    _, case, urgency = CASES[name]
    row = verdict(told(), "lube_overdue", name)
    assert row["reason"] == case
    assert row["urgency"] == ("" if urgency is None else urgency.value)
    assert row["job"] == ("" if urgency is None else Job.LUBRICATE.value)


def test_the_facts_name_the_hours_and_the_day_and_nothing_of_tonight() -> None:
    asked = due(told(), "lube_overdue", "200 h")
    assert [fact(asked, f"{name}_hours") for name in ("due", "overdue", "starved")] == [5500, 5510, 5600]
    assert fact(asked, "due_about_on") == date(2026, 3, 2)  # the reckoning day stood at 5500 h
    assert "hours_now" not in {each.name for each in asked.facts}


READ = ((MONDAY - 20, 5300.0), (MONDAY - 10, 5480.0), (MONDAY, 5680.0))


def test_the_day_the_work_fell_due_is_read_from_the_meter_once_it_is_passed() -> None:
    """By hand: 5480 h on 20 February and 200 h in the ten days after: 5500 h one day later."""
    asked = due(judged(alone("S", **run(200)), meters=metered(*READ)), "lube_overdue", "S")
    (read,) = [each for each in asked.facts if each.name.startswith("due_") and each.unit == "day"]
    assert (read.name, read.value, read.origin) == ("due_on", date(2026, 2, 21), METER)
    # The mean pace, another week or a later reading moves a day no more that the meter has passed.
    slower = run(200, h_middle=8.0, reckon_day=MONDAY + 7, hours_reckoned=5700)
    more = metered(*READ, (MONDAY + 7, 5700.0))
    asked = due(judged(alone("S", **slower), meters=more, day=MONDAY + 7), "lube_overdue", "S")
    assert fact(asked, "due_on") == date(2026, 2, 21)


def test_a_due_day_that_the_meter_has_not_passed_is_a_forecast() -> None:
    """Known to be due only by the usual pace since the last reading: 5480 h, then 16.8 h a day."""
    days = {"reckon_day": MONDAY, "hours_reckoned": 5480 + 168.0}
    asked = due(judged(alone("S", **run(168, **days)), meters=metered(*READ[:2])), "lube_overdue", "S")
    (about,) = [each for each in asked.facts if each.name.startswith("due_") and each.unit == "day"]
    assert about.name == "due_about_on"
    # (5500 - 5648) / 16.8 = -8.8 days, rounded down
    assert about.value == date(2026, 2, 21)


def test_turning_points() -> None:
    assert verdict(told(), "lube_overdue", "99.9 h")["turning_hours"] == 5500
    assert verdict(told(), "lube_overdue", "wet 29 days")["turning_day"] == MONDAY + 1


def test_a_starved_joint_is_measured_in_half_the_time() -> None:
    row = told().prognosis.set_index("strand").loc
    assert row["200 h", "survey_interval_hours"] == pytest.approx(
        max(100, row["199.9 h", "survey_interval_hours"] / 2), abs=0.1
    )


GREASED = {"dry_greased": True} | DRY


@pytest.mark.parametrize(
    ("differs", "closed_out", "case"),
    [
        pytest.param({}, None, "not_dry", id="planned"),
        pytest.param(DRY | {"dry_greased": False}, None, "not_greased", id="dry"),
        pytest.param(GREASED, None, "greased", id="greased"),
        pytest.param(GREASED, MONDAY - 10, "answered", id="asked-that-day"),
        pytest.param(GREASED, MONDAY - 11, "greased", id="greased-again-since"),
    ],
)
def test_lubricating_a_dry_chain_is_asked_about_once(
    differs: dict[str, Any], closed_out: float | None, case: str
) -> None:
    records = lubed({"strand": "S", "dry_records": [88, 89], "last_day": float(MONDAY - 10)})
    history = {} if closed_out is None else {(Job.CORRECT_DATA, "lube_records/greased"): closed_out}
    found = judged(
        alone("S", **differs), lube=records, history=history, only=("grease_on_dry", "lube_overdue")
    )
    assert verdict(found, "grease_on_dry", "S")["reason"] == case
    if case == "greased":
        asked = due(found, "grease_on_dry", "S")
        assert (asked.job, asked.urgency) == (Job.CORRECT_DATA, PLAN)
        assert set(row_ids(asked.evidence)) >= {88, 89}
    assert verdict(found, "lube_overdue", "S")["answer"] == "clear"
