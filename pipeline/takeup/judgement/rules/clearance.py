"""A chain that has come as near to casing, boot or pan as the drawing allows no longer does its work.

The least clearance of the latest day gauged against the one the site's drawing states. It is a limit of
function: reached, the set is due this week, unless tightening or straightening gives the clearance back.
Where the drawing's value is not in the register, nothing is judged; a clearance that was enough is gauged
again when the gauging is old. Source: the site's drawing; that it is a limit of function is common practice,
no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
from takeup.judgement.edges import EDGES
from takeup.judgement.facts import REGISTER, SEEN, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.gauging import age, age_facts, aged
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    PLAN,
    THIS_WEEK,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    numbers,
)
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact, Job

if TYPE_CHECKING:
    import pandas as pd


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """The least clearance of every strand against the drawing's."""
    strands = situation.strands
    now, least = numbers(strands, "clearance_now_mm"), numbers(strands, "clearance_min_mm")
    over = numbers(strands, "clearance_over")
    since = age(strands, numbers(strands, "clearance_hours"), settings)
    with np.errstate(invalid="ignore"):
        case = choose(
            (np.isnan(least), "not_stated"),
            (np.isnan(now), "not_gauged"),
            (over <= 0, "used_up"),
            (since.old, "enough_old"),
            otherwise="enough",
        )
    return answers(
        strands,
        case,
        value=now,
        threshold=least,
        margin=over,
        margin_u=numbers(strands, "clearance_u"),
        unit="mm",
        job=np.where(case == "enough_old", Job.MEASURE.value, "").astype(object),
        hours_since=since.hours,
        points_since=since.points,
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The clearance gauged and the drawing's."""
    if row["case"] == "not_stated":
        return ()
    told = facts_of({"clearance_min_mm": row["clearance_min_mm"]}, REGISTER)
    if row["case"] == "not_gauged":
        return told
    return (
        *told,
        *facts_of(
            {
                "clearance_mm": row["clearance_now_mm"],
                "gauged_on": row["clearance_day"],
                "place": row["clearance_place"],
            },
            SEEN,
        ),
        setting_fact("gauge_u_mm", settings.limits, "gauge_u_mm", row),
        *facts_of({"limit": "clearance", "limit_kind": EDGES["clearance"][0]}),
        *(age_facts(row, settings) if row["case"] == "enough_old" else ()),
    )


RULE = Rule(
    name="clearance",
    job=Job.REPLACE_SET,
    outcomes={
        "used_up": THIS_WEEK,
        "enough_old": PLAN,
        "enough": CLEAR,
        "not_stated": CLEAR,
        "not_gauged": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("clearance_rows",),
    beside=("strand_row",),
    reads=(aged, reads.of("limits", "gauge_u_mm", cases=("used_up", "enough", "enough_old"))),
)
