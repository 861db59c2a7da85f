"""A strand is measured again before its wear can surprise: the interval follows the rate and the hours left.

Due when e should have grown by 2 sqrt 2 u(e), at a quarter of the early hours, at the longest interval, not
before the shortest; at half the interval while joints are starved or seals are lost; and after a
shortening. This week when the early date is near, when the latest readings
were set aside, or when twice the interval has gone by: silence is not health, and the strand then *cannot be
judged*. Source: common practice, no source; the fraction and the shortest interval proposed for this project,
no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from takeup.judgement import reads
from takeup.judgement.evidence import BEHIND_WEAR
from takeup.judgement.facts import KEPT_OUT, METER, READING, REGISTER, known
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    HOURS,
    PLAN,
    THIS_WEEK,
    Row,
    Rule,
    Situation,
    Turns,
    answers,
    choose,
    first_turn,
    numbers,
    rounded,
    words,
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import survey_facts
from takeup.model import Fact, Job, Urgency

#: cases that ask for the survey this week, on the day it falls due or the limit may come, the earlier
_SOON = ("interval_near_limit", "last_not_usable", "silence")


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """Whether every strand wants measuring."""
    strands, as_of = situation.strands, situation.as_of
    machines, names = words(strands, "machine"), words(strands, "strand")
    survey_day, now = numbers(strands, "survey_day"), rounded(numbers(strands, "hours_now"), HOURS)
    never = np.isnan(survey_day)
    set_aside = numbers(strands, "set_aside_latest_day")
    hidden = (set_aside > survey_day) | (never & ~np.isnan(set_aside))
    due = rounded(numbers(strands, "next_survey_hours"), HOURS)
    late = now >= due
    near = numbers(strands, "day_early") < as_of + settings.surveying.column("near_days", machines, names)
    shortened = _shortened(situation)
    case = choose(
        (hidden, "last_not_usable"),
        (now >= rounded(numbers(strands, "silence_hours"), HOURS), "silence"),
        (never & late, "never_measured"),
        (late & near, "interval_near_limit"),
        (late, "interval"),
        (shortened > survey_day, "after_shortening"),
        (np.isnan(now), "no_hours"),
        (never, "running_in"),
        otherwise="within_interval",
    )
    overlong = (case == "never_measured") & (
        now >= settings.surveying.column("longest_hours", machines, names)
    )
    waits = np.isin(case, ["within_interval", "running_in"])
    soon = np.isin(case, _SOON)
    due_day = np.fmin(numbers(strands, "next_survey_day"), numbers(strands, "day_early"))
    return answers(
        strands,
        case,
        value=now,
        threshold=due,
        margin=due - now,
        unit="h",
        turns=first_turn(
            waits,
            as_of,
            Turns(
                choose((never, "never_measured"), (near, "interval_near_limit"), otherwise="interval"),
                due,
                numbers(strands, "next_survey_day"),
            ),
        ),
        urgency=np.where(overlong, Urgency.THIS_WEEK.value, "").astype(object),
        shortened_day=shortened,
        need_by_day=np.where(soon & np.isfinite(due_day), due_day, np.nan),
    )


def _shortened(situation: Situation) -> np.ndarray:
    """Day each strand was last shortened in its present life; NaN where it was not."""
    strands, read = situation.strands, situation.takeup
    day = np.full(len(strands), np.nan)
    if len(read):
        at = pd.Index(words(strands, "life_id")).get_indexer(words(read, "life_id"))
        day[at[at >= 0]] = numbers(read, "shortened_day")[at >= 0]
    return day


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:  # noqa: ARG001
    """The last survey and when the next one falls due."""
    told = survey_facts(row) + facts_of({"last_survey_hours": row["survey_hours"]}, METER)
    told += facts_of({"fitted_on": row["fitted_day"]}, REGISTER)
    if row["case"] == "last_not_usable":
        told += facts_of({"set_aside_on": row["set_aside_latest_day"]}, KEPT_OUT)
    if row["case"] == "after_shortening":
        told += facts_of({"shortened_on": row["shortened_day"]}, READING)
    if row["survey_hastened"]:
        told += facts_of({"hastened_by": tuple(name for name in ("starved", "seals_lost") if row[name])})
    return told + facts_of(
        {
            "interval_hours": row["survey_interval_hours"],
            "next_survey_hours": row["next_survey_hours"],
            "next_survey_on": row["next_survey_day"],
            "early_on": row["day_early"],
            "limit": row["ahead_limit"],
        }
    )


def interval(row: Row) -> Iterator[tuple[str, str]]:
    """What the interval was reckoned with: the run-in before a first survey, the forecast after it."""
    measured = (reads.survey, reads.limits, reads.rate, reads.usual_hours)
    groups = measured if known(row["survey_day"]) else (reads.least,)
    for group in (*groups, reads.next_survey):
        yield from group(row)


RULE = Rule(
    name="survey_overdue",
    job=Job.MEASURE,
    outcomes={
        "never_measured": PLAN,
        "interval": PLAN,
        "interval_near_limit": THIS_WEEK,
        "last_not_usable": THIS_WEEK,
        "after_shortening": PLAN,
        "silence": THIS_WEEK,
        "within_interval": CLEAR,
        "running_in": CLEAR,
        "no_hours": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "strand_row"),
    beside=BEHIND_WEAR,
    reads=(
        interval,
        reads.of(
            "surveying", "silence_times", "near_days", cases=("interval", "interval_near_limit", "silence")
        ),
    ),
)
