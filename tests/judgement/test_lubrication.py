"""When a joint wants lubricant, and when nobody is asked."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import MONDAY, alone, due, fact, judged, lubed, metered, surveys, verdict, worn

from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.facts import METER
from takeup.judgement.judging import Judged, explain
from takeup.judgement.rules import lube_overdue
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, Urgency, row_ids
from takeup.resources import templates_dir

ENV = environment([templates_dir()])
DRY = {"lube_plan": "none_by_decision"}
WEEK, PLAN = Urgency.THIS_WEEK, Urgency.PLAN


def run(hours: float, **more: Any) -> dict[str, Any]:
    """A conveyor lubricated at 5400 h, now at some hours after."""
    return {"lube_last_hours": 5400, "hours_now": 5400 + hours} | more


def wet(days: int, **more: Any) -> dict[str, Any]:
    """Wet, hardly run since it was lubricated some days ago."""
    return run(5, wet="yes", lube_last_day=MONDAY - days) | more


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
    "72 h, before": (run(71.9, lube_interval_hours=72), "within_interval", None),
    "72 h": (run(72, lube_interval_hours=72), "due", PLAN),
    "72 h, past its grace": (run(79.3, lube_interval_hours=72), "overdue", WEEK),
    "less than 72 h": (run(71.9, lube_interval_hours=71.9), "daily_round", None),
    "less than 72 h, past its grace": (run(143.7, lube_interval_hours=71.9), "daily_round", None),
    "less than 72 h, starved": (run(143.8, lube_interval_hours=71.9), "starved", WEEK),
    "daily round, wet, 29 days": (wet(29, lube_plan="manual_drive"), "daily_round", None),
    "daily round, wet, 30 days": (wet(30, lube_plan="manual_drive"), "calendar_due", PLAN),
    "not wet, 300 days": (wet(300) | {"wet": "no"}, "within_interval", None),
    "wet, never lubricated, fitted 29 days ago": (
        wet(0, lube_last_hours=np.nan, hours_now=5) | {"lube_last_day": np.nan, "fitted_day": MONDAY - 29},
        "within_interval",
        None,
    ),
    "wet, never lubricated, fitted 30 days ago": (
        wet(0, lube_last_hours=np.nan, hours_now=5) | {"lube_last_day": np.nan, "fitted_day": MONDAY - 30},
        "calendar_due",
        PLAN,
    ),
    "wet 34 days, and its hours have run": (wet(34) | run(100, wet="yes"), "calendar_overdue", WEEK),
    "wet 30 days, starved": (wet(30) | run(200, wet="yes"), "starved", WEEK),
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


@pytest.mark.parametrize(
    ("differs", "to", "hours", "days"),
    [
        pytest.param({"wet": "no"}, "due", 5590.0, 5, id="90 h at 16.8 a day"),
        pytest.param({"wet": "yes"}, "calendar_due", None, 1, id="rust comes first, and it has no hours"),
        pytest.param({"wet": "yes", "lube_last_day": MONDAY - 9}, "due", 5590.0, 5, id="hours first"),
    ],
)
def test_the_turning_point_is_one_event_and_says_to_what_the_answer_would_change(
    differs: dict[str, Any], to: str, hours: float | None, days: int
) -> None:
    row = alone("S", **({"lube_last_hours": 5490.0, "lube_last_day": MONDAY - 29} | differs))
    answers = explain("S", judged(row, only=("lube_overdue",)).situation, JudgementSettings())
    (told_so,) = [each for each in answers if each.rule == "lube_overdue"]
    assert (told_so.turning_to, told_so.turning_hours) == (to, hours)
    assert told_so.turning_on == date(2026, 3, 2 + days)


def test_a_starved_joint_is_measured_in_half_the_time() -> None:
    row = told().prognosis.set_index("strand").loc
    assert row["200 h", "survey_interval_hours"] == pytest.approx(
        max(100, row["199.9 h", "survey_interval_hours"] / 2), abs=0.1
    )


#: 0.2 % per 1000 h; 400 h beyond the grace, from 2110 h to 2510 h, cost 0.12 points more
LAPSED = [(500, 0.10), (1000, 0.20), (1500, 0.30), (2000, 0.40), (2600, 0.64), (3100, 0.74), (3600, 0.84)]
DONE = [100.0 * n for n in range(1, 21)] + [2510.0 + 100.0 * n for n in range(12)]


def lapsed(points: list[tuple[float, float]], u: float = 0.01, **more: Any) -> Judged:
    """A strand lubricated on time but for one gap, measured at these hours; now within its interval."""
    now = {"lube_done_hours": DONE, "lube_last_hours": 3610.0, "hours_now": 3650.0, "u_geo": u}
    row = alone("S", survey_hours=3600.0, hours_reckoned=3650.0, **(worn(0.84) | now | more))
    return judged(row, surveys=surveys(("S|2025-03-01", points)), only=("lube_overdue",))


def told_of(found: Judged) -> str:
    """What `why` says of the strand's lubrication."""
    (mine,) = explain("S", found.situation, JudgementSettings(), [lube_overdue.RULE])
    return rule_sentence(ENV, mine.rule, mine.reason, mine.subject, mine.facts)


def test_what_a_lapse_cost_this_strand_is_said_with_its_uncertainty() -> None:
    """By hand: 0.2 % a 1000 h within; 0.24 - 0.04 points in 400 h beyond, 0.5 %: 0.12 points more."""
    found = lapsed(LAPSED)
    assert "On this strand 400 run hours without lubricant cost about 0.12 ± 0.03 points" in told_of(found)
    row = found.prognosis.iloc[0]
    assert [row["rate_within_plan"], row["rate_beyond_plan"]] == pytest.approx([0.2, 0.5], abs=1e-3)
    late = lapsed(LAPSED, hours_now=3810.0)
    asked = due(late, "lube_overdue", "S")
    assert fact(asked, "lapse_cost_points") == pytest.approx(0.12, abs=1e-3)
    assert {"lubrication.grace_part", "forecast.run_in_hours"} <= {each.name for each in asked.settings}


@pytest.mark.parametrize(
    "found",
    [
        pytest.param(lambda: lapsed(LAPSED, u=0.08), id="twice the uncertainty is more"),
        pytest.param(lambda: lapsed([(h, 0.2e-3 * h) for h, _ in LAPSED]), id="it cost nothing"),
        pytest.param(
            lambda: lapsed([(h, e - 0.18 * (h > 2100)) for h, e in LAPSED]), id="it wore less, of all things"
        ),
        pytest.param(lambda: lapsed(LAPSED[:4]), id="not measured since"),
        pytest.param(lambda: lapsed(LAPSED, lube_done_hours=[]), id="never lubricated, nothing to compare"),
        pytest.param(lambda: lapsed(LAPSED, lube_plan="none_by_decision"), id="dry by decision"),
        pytest.param(lambda: lapsed(LAPSED, lube_plan=""), id="no plan"),
        pytest.param(
            lambda: lapsed(LAPSED, pin_case_mm=0.3, bushing_case_mm=0.3), id="the case was through by then"
        ),
    ],
)
def test_where_the_surveys_cannot_tell_what_a_lapse_cost_nothing_is_said(found: Any) -> None:
    assert "without lubricant cost" not in told_of(found())


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
    said = {
        "last_lubricant": "grease",
        "last_method": "gun",
        "last_by": "relief crew",
        "quantity_sum_ml": 400.0,
    }
    records = lubed({"strand": "S", "dry_records": [88, 89], "last_day": float(MONDAY - 10)} | said)
    history = {} if closed_out is None else {(Job.CORRECT_DATA, "lube_records/greased"): closed_out}
    found = judged(
        alone("S", **differs), lube=records, history=history, only=("grease_on_dry", "lube_overdue")
    )
    assert verdict(found, "grease_on_dry", "S")["reason"] == case
    if case == "greased":
        asked = due(found, "grease_on_dry", "S")
        assert (asked.job, asked.urgency) == (Job.CORRECT_DATA, PLAN)
        assert set(row_ids(asked.evidence)) >= {88, 89}
        names = ("greased_with", "greased_ml", "greased_how", "greased_by")
        assert [fact(asked, name) for name in names] == ["grease", 400, "gun", "relief crew"]
    assert verdict(found, "lube_overdue", "S")["answer"] == "clear"
    (told,) = explain("S", found.situation, JudgementSettings(), [lube_overdue.RULE])
    # On a dry chain no record is a lubrication that counts.
    assert ("lube" in {each.part for each in told.evidence}) == (case == "not_dry")
