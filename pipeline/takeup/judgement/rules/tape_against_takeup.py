"""Tape and take-up are two gauges of one wear; where they differ, one of the records is wrong.

A miscount, a shortening nobody wrote down, the wrong strand, or slack left in the run. Source: derived; the
0.3 points proposed for this project, no source. A zero from nominal pitch is allowed its larger uncertainty.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
from takeup.judgement.facts import READING, REGISTER, SURVEY, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    PERCENT,
    PLAN,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    numbers,
    rounded,
    words,
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import read_takeup_facts, survey_facts, unjudged, why_unjudged
from takeup.model import Fact, Job, Urgency

if TYPE_CHECKING:
    import pandas as pd


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """Tape mean less take-up, where both were read together."""
    strands = situation.strands
    machines, names = words(strands, "machine"), words(strands, "strand")
    e, screw = numbers(strands, "e_wear_mean"), numbers(strands, "e_takeup")
    screw = np.where(yes(strands, "takeup_is_estimated"), np.nan, screw)
    days = np.abs(numbers(strands, "survey_day") - numbers(strands, "takeup_day"))
    limit = np.fmax(
        settings.findings.column("takeup_apart_points", machines, names), 2 * numbers(strands, "u_wear")
    )
    apart, limit = rounded(np.abs(e - screw), PERCENT), rounded(limit, PERCENT)
    together = days <= settings.surveying.column("same_survey_days", machines, names)
    case = choose(
        (yes(strands, "takeup_none"), "no_takeup"),
        *unjudged(strands)[:2],
        (np.isnan(screw), "no_reading"),
        (~together, "not_same_day"),
        (apart > limit, "apart"),
        otherwise="agree",
    )
    told = np.isin(case, ["apart", "agree"])
    # The longer of the two would be past the plan line: the wrong record may hide it.
    hides = rounded(np.fmax(e, screw), PERCENT) >= rounded(
        settings.limits.column("plan_part", machines, names) * numbers(strands, "level"), PERCENT
    )
    return answers(
        strands,
        case,
        value=np.where(told, apart, np.nan),
        threshold=limit,
        margin=np.where(told, rounded(limit - apart, PERCENT), np.nan),
        unit="points",
        urgency=np.where((case == "apart") & hides, Urgency.THIS_WEEK.value, "").astype(object),
        hides=hides,
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """Both gauges and their difference."""
    if row["case"] == "no_takeup":
        return ()
    if row["case"] in ("no_survey", "no_pitch"):
        return why_unjudged(row)
    told = survey_facts(row) + facts_of(
        {"e_percent": round(row["e_wear_mean"], 3), "uncertainty_percent": round(2 * row["u_wear"], 3)},
        SURVEY,
    )
    told += read_takeup_facts(row) + facts_of({"travel_mm": row["takeup_travel_mm"]}, REGISTER)
    if row["case"] == "no_reading":
        wanted = [name for name in ("takeup_start_mm", "pitches") if np.isnan(row[name])]
        return told + facts_of({"missing": tuple(wanted or ["used_left_mm"])}, REGISTER)
    return (
        told
        + facts_of({"e_takeup_percent": round(row["e_takeup"], 3)}, READING)
        + facts_of({"apart_points": row["value"]})
        + _allowed(row, settings)
        + facts_of({"hides_alert": bool(row["hides"])})
    )


def _allowed(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The difference that is allowed: the setting, or the uncertainty of the survey where that is larger."""
    allowed = setting_fact("apart_limit_points", settings.findings, "takeup_apart_points", row)
    if row["threshold"] == allowed.value:
        return (allowed,)
    return facts_of({"apart_limit_points": row["threshold"]}, SURVEY)


RULE = Rule(
    name="tape_against_takeup",
    job=Job.CORRECT_DATA,
    outcomes={
        "apart": PLAN,
        "agree": CLEAR,
        "no_takeup": CLEAR,
        "not_same_day": CANNOT,
        "no_reading": CANNOT,
        "no_survey": CANNOT,
        "no_pitch": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "takeup_row", "strand_row"),
    beside=("baseline",),
    reads=(reads.survey, reads.of("findings", "takeup_apart_points"), reads.least, reads.plan_line),
)
