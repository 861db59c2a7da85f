"""Strands of one set that no longer match are renewed together, never one alone.

Two strands driven from one shaft carry one bucket, flight or pan. Where their pitches differ the short strand
takes the load and flights run crooked. The set is due when they differ by the limit, in points or by the skew
it makes, whichever comes first. Source: thresholds proposed for this project, no source; renewing pairs
together: US Army TM 10-3930-671-24.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.judgement import reads
from takeup.judgement.facts import READING, SURVEY, fact, setting_fact
from takeup.judgement.facts import day as day_of
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    PERCENT,
    THIS_WEEK,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    rounded,
)
from takeup.judgement.sets import pairs
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact, Job

if TYPE_CHECKING:
    import pandas as pd


#: the two thresholds of a set, each in points or by the skew it makes, whichever comes first
_LINES = ("limit", "plan")

#: columns of the sets that the facts tell or that are evidence
_SHOWN = (
    "strand",
    "strand_long",
    "strand_short",
    "e_long",
    "e_short",
    "survey_day",
    "difference",
    "expanded",
    "lag_by_tape_mm",
    "lag_mm",
    "lag_day",
    "skew",
    "day_long",
    "day_short",
    "carried_long",
    "carried_short",
    "survey_settings",
    *_LINES,
    *(f"{each}_by_skew" for each in _LINES),
    "survey_rows",
    "strand_rows",
    "lag_row",
)


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """Every set of two or more strands against the limit."""
    sets = pairs(situation, settings)
    past = (sets["difference"] >= sets["limit"]).to_numpy()
    by_skew = sets["limit_by_skew"].to_numpy()
    case = choose(
        (~sets["whole"], "strand_not_measured"),
        (~sets["together"], "not_same_day"),
        (past & by_skew, "skew_at_limit"),
        (past, "difference_at_limit"),
        otherwise="within",
    )
    return as_answers(sets, case, "limit")


def as_answers(sets: pd.DataFrame, case: np.ndarray, threshold: str) -> pd.DataFrame:
    """Answers about sets against one of their two thresholds."""
    told = ~np.isin(case, ["strand_not_measured", "not_same_day"])
    shown: dict[str, Any] = {name: sets[name].to_numpy() for name in _SHOWN}
    margin = rounded(sets[threshold] - sets["difference"], PERCENT)
    return answers(
        sets,
        case,
        subject_kind="set",
        subject=sets["set"],
        value=np.where(told, sets["difference"], np.nan),
        threshold=sets[threshold],
        margin=np.where(told, margin, np.nan),
        margin_u=sets["expanded"],
        unit="points",
        **shown,
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """Both strands, their difference, the lag and the skew."""
    if row["case"] == "strand_not_measured":
        return ()
    told = facts_of({"survey_on": row["survey_day"]}, SURVEY) + facts_of(
        {
            "strand_long": row["strand_long"],
            "strand_short": row["strand_short"],
            "difference_points": row["difference"],
            "uncertainty_points": row["expanded"],
            "lag_by_tape_mm": row["lag_by_tape_mm"],
        }
    )
    told += facts_of({"lag_mm": row["lag_mm"], "lag_on": row["lag_day"]}, READING)
    told += facts_of({"skew_degrees": row["skew"]})
    told += facts_of({f"skew_{name}_points": row[name] for name in _LINES if row[f"{name}_by_skew"]})
    told += tuple(_elongation(row, which) for which in ("long", "short"))
    return told + tuple(
        setting_fact(name, settings.limits, name, row)
        for name in ("match_limit_points", "match_plan_points", "skew_limit_degrees", "skew_plan_degrees")
    )


def _elongation(row: Row, which: str) -> Fact:
    """One strand's elongation over nominal, and from which survey it was brought forward."""
    e, carried, day = (row[f"{name}_{which}"] for name in ("e", "carried", "day"))
    if not carried > 0:
        return fact(f"e_{which}_percent", round(e, 3), SURVEY)
    said = f"the survey of {day_of(day)}, brought forward by {carried:.3f} points at the strand's rate"
    return fact(f"e_{which}_percent", round(e, 3), said)


def carried(row: Row) -> Iterator[tuple[str, str]]:
    """From how many days apart on surveys are brought to one time."""
    if row["carried_long"] > 0 or row["carried_short"] > 0:
        yield "surveying", "same_survey_days"


RULE = Rule(
    name="matching",
    job=Job.REPLACE_SET,
    outcomes={
        "difference_at_limit": THIS_WEEK,
        "skew_at_limit": THIS_WEEK,
        "within": CLEAR,
        "strand_not_measured": CANNOT,
        "not_same_day": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "lag_row"),
    beside=("strand_rows",),
    reads=(
        reads.survey,
        reads.of(
            "limits", "match_limit_points", "match_plan_points", "skew_limit_degrees", "skew_plan_degrees"
        ),
        carried,
    ),
)
