"""A wear rate that rose beyond doubt has a cause, and somebody looks for it.

The last two or three surveys against the phase before: more than 1.5 times the rate, and the difference above
twice its uncertainty. The likely cause is named by order of evidence: the hardened case nearly through, a
seal found gone, lubrication overdue, rust; else the duty is asked about. The strand is measured sooner; where
rust is the likely cause, its joints are looked into instead, as corrosion asks for anyway: one order, not
two. Source: common practice, no source; thresholds proposed for this project, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.derive.vocabulary import CORROSION
from takeup.judgement import reads
from takeup.judgement.evidence import BEHIND_WEAR
from takeup.judgement.facts import METER, SURVEY
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    PLAN,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    numbers,
    words,
    yes,
)
from takeup.judgement.seen import SEALS, found_in_life
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import survey_facts
from takeup.model import Fact, Job, Urgency

if TYPE_CHECKING:
    import pandas as pd


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """Whether the rate of every strand rose, and the likely cause."""
    strands, as_of = situation.strands, situation.as_of
    machines, names = words(strands, "machine"), words(strands, "strand")
    found, seen = yes(strands, "change_found"), numbers(strands, "change_seen_day")
    looked = np.fmax(
        situation.done_on(Job.MEASURE, machines), situation.done_on(Job.INSPECT_ALIGNMENT, machines)
    )
    part = settings.forecast.column("near_case_part", machines, names)
    starved = numbers(strands, "hours_reckoned") > numbers(strands, "lube_overdue_hours")
    case = choose(
        (~found & (numbers(strands, "rate_surveys") < 3), "no_rate"),
        (~found, "steady"),
        (looked > seen, "looked_into"),
        (numbers(strands, "e_wear_mean") >= part * numbers(strands, "bend"), "near_case"),
        (found_in_life(situation, SEALS), "seal_finding"),
        (starved, "lube_overdue"),
        (found_in_life(situation, CORROSION), "rust"),
        otherwise="duty",
    )
    near = numbers(strands, "day_early") < as_of + settings.surveying.column("near_days", machines, names)
    return answers(
        strands,
        case,
        value=np.round(numbers(strands, "rate_after"), 4),
        threshold=np.round(settings.forecast.value("phase_ratio") * numbers(strands, "rate_before"), 4),
        unit="%/1000 h",
        urgency=np.where(near & found, Urgency.THIS_WEEK.value, "").astype(object),
        job=np.where(case == "rust", Job.INSPECT_ALIGNMENT.value, "").astype(object),
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:  # noqa: ARG001
    """Both rates and where the rise began."""
    told = survey_facts(row) + facts_of({"rate_surveys": row["rate_surveys"]})
    if not row["change_found"]:
        return told
    return (
        told
        + facts_of(
            {
                "rate_before": round(row["rate_before"], 4),
                "rate_after": round(row["rate_after"], 4),
                "case_percent": round(row["bend"], 3),
                "early_on": row["day_early"],
            }
        )
        + facts_of({"change_hours": row["change_hours"]}, METER)
        + facts_of({"e_percent": round(row["e_wear_mean"], 3)}, SURVEY)
    )


RULE = Rule(
    name="rate_change",
    job=Job.MEASURE,
    outcomes={
        "near_case": PLAN,
        "seal_finding": PLAN,
        "lube_overdue": PLAN,
        "rust": PLAN,
        "duty": PLAN,
        "looked_into": CLEAR,
        "steady": CLEAR,
        "no_rate": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "strand_row"),
    beside=BEHIND_WEAR,
    reads=(
        reads.survey,
        reads.limits,
        reads.rate,
        reads.usual_hours,
        reads.lube_overdue,
        reads.of("forecast", "near_case_part", cases=("near_case",)),
    ),
)
