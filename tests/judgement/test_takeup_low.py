"""Little travel left: shorten, wait, or replace."""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import MONDAY, alone, due, fact, judged, shutdowns, strand, surveys, verdict, worn

from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.explaining import explain
from takeup.judgement.facts import READING, RECKONED
from takeup.judgement.judging import Judged
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, Urgency
from takeup.resources import templates_dir

ENV = environment([templates_dir()])


def left(mm: float, travel: float = 480.0) -> dict[str, Any]:
    return {"takeup_travel_mm": travel, "takeup_used_mm": travel - mm, "takeup_rem_mm": mm}


YOUNG = worn(0.8)

#: read 30 days before the survey, at 16.8 h a day, and surveys on both sides of it
OLD: dict[str, Any] = {
    "takeup_travel_mm": 185.0, "takeup_used_mm": 150.0, "takeup_day": MONDAY - 30, "takeup_hours": 4996,
}  # fmt: skip
SINCE = ("BE-1-A|2025-03-01", [(1000, 0.2), (4000, 0.5), (5500, 0.8)])

#: past the case of 1.969 %, at a rate of 3 x 0.1 %/1000 h; 70 mm are 0.383 %, at the middle 1276 h or 75 days
SLOW = left(70) | worn(1.97) | {"lead_time_days": 0, "h_early": 16.8}
RATE = [(1500, 1.57), (3000, 1.72), (4500, 1.87), (5500, 1.97)]
#: bushing walls with limits of strength at 100 x wall/3/0.5/152.4: 4.5 mm 1.969 %, 5.0 mm 2.187 %
THIN, THIN_LATER = {"bushing_outside_mm": 41.15}, {"bushing_outside_mm": 42.15}

CASES: dict[str, tuple[dict[str, Any], str]] = {
    "at the trigger": (left(72.0) | YOUNG, "enough_left"),
    "below the trigger": (left(71.9) | YOUNG, "shorten"),
    "one kind of link may lose one pitch": (left(50) | YOUNG | {"construction": "welded_mill"}, "shorten"),
    "buckets every fourth pitch": (left(45, 360) | YOUNG | {"attachment_every": 4}, "not_yet"),
    "attachments not known": (left(50) | YOUNG | {"attachment_every": np.nan}, "step_unknown"),
    "travel shorter than a step": (left(10, 160) | YOUNG, "replace_instead"),
    "at another limit, the travel lasts until the set is here": (SLOW, "replace_instead"),
    "at another limit, the travel is out before": (SLOW | {"lead_time_days": 112}, "shorten"),
    "at another limit, spacing not known": (
        SLOW | {"lead_time_days": 112, "attachment_every": np.nan}, "step_unknown",
    ),
    "the bushing wall is gone before the travel": (SLOW | THIN | {"lead_time_days": 112}, "replace_instead"),
    "the bushing wall may be gone before the travel": (
        SLOW | THIN_LATER | {"lead_time_days": 112}, "replace_instead",
    ),
    "the travel may be out before the bushing wall": (
        SLOW | THIN_LATER | left(3) | {"lead_time_days": 112}, "shorten",
    ),
    "fixed centres": ({"fixed_centres": "yes"} | YOUNG, "no_takeup"),
    "no travel in the register": ({"takeup_travel_mm": np.nan} | YOUNG, "no_travel"),
    "not read, not measured": (
        {"takeup_used_mm": np.nan} | worn(np.nan) | {"takeup_estimated": False}, "no_reading",
    ),
    "estimated from the survey": (left(50) | YOUNG | {"takeup_estimated": True}, "shorten"),
}  # fmt: skip


@cache
def told() -> Judged:
    """Every strand of the table, judged in one pass."""
    return judged(
        *(alone(name, **differs) for name, (differs, _) in CASES.items()),
        surveys=surveys(
            *((f"{name}|2025-03-01", RATE) for name in CASES if "another" in name or "wall" in name)
        ),
        shutdowns=shutdowns(("SOON", "all", MONDAY + 10, MONDAY + 12)),
    )


@pytest.mark.parametrize("name", CASES)
def test_what_is_done_about_little_travel(name: str) -> None:
    row = verdict(told(), "takeup_low", name)
    assert row["reason"] == CASES[name][1]
    if row["answer"] == "due":
        assert (row["job"], row["urgency"]) == (Job.ADJUST_TAKEUP.value, Urgency.THIS_WEEK.value)


@pytest.mark.parametrize(
    ("name", "k"), [("below the trigger", 2), ("one kind of link may lose one pitch", 1)]
)
def test_k_follows_the_construction(name: str, k: int) -> None:
    assert fact(due(told(), "takeup_low", name), "remove_pitches") == k


def test_both_strands_are_shortened_by_the_same_or_not_at_all() -> None:
    pair = strand(**left(20, 300), **YOUNG), strand("BE-1-B", set="BE-1", **left(150, 300), **YOUNG)
    found = judged(*pair)
    asked = due(found, "takeup_low")
    assert asked.reason == "not_yet"
    assert fact(asked, "held_by") == "BE-1-B"
    assert found.prognosis["step_pitches"].tolist() == [2, 2]


def test_a_set_takes_out_the_larger_step_of_its_strands() -> None:
    pair = (
        strand(**left(50), **YOUNG),
        strand("BE-1-B", set="BE-1", attachment_every=4, **left(200), **YOUNG),
    )
    assert judged(*pair).prognosis["step_pitches"].tolist() == [4, 4]


def test_why_a_chain_is_not_shortened_is_said() -> None:
    reasons = {}
    for name, (_, case) in CASES.items():
        if case == "replace_instead":
            answers = explain(name, told().situation, JudgementSettings())
            reasons[name] = fact(next(each for each in answers if each.rule == "takeup_low"), "why_not")
    assert reasons == {
        "travel shorter than a step": "never",
        "at another limit, the travel lasts until the set is here": "in_time",
        "the bushing wall is gone before the travel": "strength",
        "the bushing wall may be gone before the travel": "strength",
    }


def test_a_chain_that_is_shortened_until_its_set_is_here_says_both_dates() -> None:
    asked = due(told(), "takeup_low", "at another limit, the travel is out before")
    assert fact(asked, "at_limit") == "case"
    assert fact(asked, "set_here_on") == date(2026, 3, 2) + timedelta(days=112)
    assert fact(asked, "replaced_from_on") == date(2026, 3, 2) + timedelta(days=112 + 14)
    assert fact(asked, "takeup_out_hours_middle") == pytest.approx(1000 * 200 * 70 / 36576 / 0.3, rel=0.001)
    assert fact(asked, "takeup_out_early_on") < fact(asked, "replaced_from_on")
    said = rule_sentence(ENV, "takeup_low", asked.reason, asked.subject, asked.facts)
    assert "reached another limit (hardened case)" in said
    assert "here on Mon 22 Jun 2026 at the earliest, and the travel may be out as early as" in said
    # The work has the day on which the travel may be out, and says what it does not put off.
    assert asked.need_by == fact(asked, "takeup_out_early_on")
    assert "It does not put" in said


def test_without_a_rate_of_its_own_the_work_has_no_day() -> None:
    asked = due(told(), "takeup_low", "one kind of link may lose one pitch")
    assert asked.need_by is None


@pytest.mark.parametrize("name", ["wall is gone", "wall may be gone"])
def test_where_shortening_saves_nothing_the_chain_is_replaced_this_week(name: str) -> None:
    (strand,) = [each for each in CASES if name in each]
    found = {each.urgency for each in told().due if each.subject == strand and each.job is Job.REPLACE_SET}
    assert min(found, key=lambda urgency: urgency.rank).rank <= Urgency.THIS_WEEK.rank


def test_a_reading_brought_forward_is_told_as_read_and_as_brought_forward() -> None:
    """Read 30 days and 504 h before: 150 mm. Between 0.5 % at 4000 h and 0.8 % at 5500 h it was 0.6992 %
    then, and 36 576 x 0.1008/200 = 18.4 mm came on top.
    """
    asked = due(judged(strand(**OLD, **YOUNG), surveys=surveys(SINCE)), "takeup_low")
    told = {each.name: (each.value, each.origin) for each in asked.facts}
    assert told["takeup_basis"][0] == "brought_forward"
    assert told["read_used_mm"] == (150.0, READING)
    assert told["used_mm"] == (168.4, RECKONED)
    assert told["left_mm"] == (16.6, RECKONED)
    said = rule_sentence(ENV, "takeup_low", asked.reason, asked.subject, asked.facts)
    assert "read on Sat 31 Jan 2026: 150.0 mm used" in said
    assert (
        "brought forward to the survey of Mon 2 Mar 2026 by the wear since, half of 36576.0 mm grown from "
        "0.699 to 0.800 %: 168.4 mm used" in said
    )


@pytest.mark.parametrize(
    ("points", "hours", "used"),
    [
        pytest.param([(4000, 0.8), (5500, 0.8)], 4996, 150.0, id="no wear since: as read"),
        pytest.param([(4996, 0.9), (5500, 0.8)], 4996, 150.0, id="never less than was read"),
        pytest.param([(4996, 0.6), (5500, 0.8)], 4996, 186.6, id="a survey on that day: 36.6 mm"),
        pytest.param([(5500, 0.8)], 2750, 223.2, id="no survey before: from the fitting on, 73.2 mm"),
        pytest.param([(np.nan, 0.8)], np.nan, 162.0, id="no hours: 30 of 366 days, 12.0 mm"),
    ],
)
def test_a_reading_grows_by_the_wear_between_its_day_and_the_survey(
    points: list[tuple[float, float]], hours: float, used: float
) -> None:
    """36 576 mm x (e of the survey less e of the reading's day)/200."""
    survey = {"survey_hours": points[-1][0]}
    row = strand(**(OLD | YOUNG | {"takeup_hours": hours} | survey))
    frame = surveys(("BE-1-A|2025-03-01", points)) if np.isfinite(hours) else surveys(SINCE).head(0)
    told = judged(row, surveys=frame).prognosis.iloc[0]
    assert told["takeup_used"] == pytest.approx(used, abs=0.05)


def test_the_uncertainty_of_a_reading_brought_forward_holds_both_surveys() -> None:
    """Screws 1 mm: 200/36 576 = 0.0055 points; two ends of the tape 2 x 1.414 x 0.0397 = 0.1123 points."""
    short = OLD | YOUNG | {"takeup_travel_mm": 160.0, "takeup_used_mm": 130.0}
    told = judged(strand(**short), surveys=surveys(SINCE)).prognosis.iloc[0]
    assert told["decides_limit"] == "takeup"
    screws = 200 * JudgementSettings().limits.value("takeup_u_mm") / 36576
    assert told["decides_expanded"] == pytest.approx(np.hypot(screws, 0.11229), abs=0.0001)


def test_a_reading_of_the_survey_s_day_is_told_as_read_and_one_never_taken_as_estimated() -> None:
    basis = {
        name: fact(due(told(), "takeup_low", name), "takeup_basis")
        for name in ("below the trigger", "estimated from the survey")
    }
    assert basis == {"below the trigger": "read", "estimated from the survey": "estimated"}
    names = {each.name for each in due(told(), "takeup_low", "estimated from the survey").facts}
    assert not names & {"takeup_on", "read_used_mm"}


def test_the_turning_point_is_when_the_chain_has_grown_to_the_trigger() -> None:
    """From 180 to 72 mm are 108 mm: 200 x 108/36 576 = 0.5906 points, at 0.375 %/1000 h in 1574.8 h."""
    row = verdict(judged(strand()), "takeup_low")
    assert row["turning_hours"] == pytest.approx(5500 + 1574.8, abs=0.1)
    assert row["turning_day"] == MONDAY + int(1574.8 / 16.8)
