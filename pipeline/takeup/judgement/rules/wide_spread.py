"""One mark far longer than the mean has a local cause: stiff joints, replaced links, a rub at one place.

It is measured again at more marks, and not asked for once it was. Source: more than 0.3 points proposed for
this project, no source; marks by common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
from takeup.judgement.facts import SURVEY, setting_fact
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
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import survey_facts, unjudged, why_unjudged
from takeup.model import Fact, Job

if TYPE_CHECKING:
    import pandas as pd


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """Spread of the marks of the latest survey."""
    strands = situation.strands
    machines, names = words(strands, "machine"), words(strands, "strand")
    spread, marks = rounded(numbers(strands, "spread"), PERCENT), numbers(strands, "n_marks")
    limit = settings.findings.column("spread_points", machines, names)
    wide = spread > limit
    case = choose(
        *unjudged(strands)[:2],
        (~(marks >= 2), "one_mark"),
        (wide & (marks >= settings.findings.column("marks_when_wide", machines, names)), "wide_known"),
        (wide, "wide"),
        otherwise="even",
    )
    margin = np.where((marks >= 2) & (case != "wide_known"), limit - spread, np.nan)
    return answers(
        strands, case, value=spread, threshold=limit, margin=rounded(margin, PERCENT), unit="points"
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The spread, the mark, and how many marks to take."""
    return why_unjudged(row) or survey_facts(row) + facts_of({"longest_mark": row["max_mark"]}, SURVEY) + (
        setting_fact("spread_limit_points", settings.findings, "spread_points", row),
        setting_fact("marks_wanted", settings.findings, "marks_when_wide", row),
    )


RULE = Rule(
    name="wide_spread",
    job=Job.MEASURE,
    outcomes={
        "wide": PLAN,
        "wide_known": CLEAR,
        "even": CLEAR,
        "one_mark": CANNOT,
        "no_survey": CANNOT,
        "no_pitch": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "strand_row"),
    beside=("baseline",),
    reads=(reads.of("findings", "spread_points", "marks_when_wide"),),
)
