"""A limit between e and e + U is settled by another survey, this week.

Not over again: where two surveys running left the same doubt a third would too, and the next one comes at its
interval. Source: proposed for this project, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
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
    numbers,
    rounded,
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.standing import BELOW
from takeup.judgement.told import limit_facts, unjudged, unsure, why_unjudged
from takeup.model import Fact, Job

if TYPE_CHECKING:
    import pandas as pd


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """Whether a survey is wanted to settle a limit."""
    strands = situation.strands
    doubt = yes(strands, "doubt")
    case = choose(
        *unjudged(strands),
        (doubt & yes(strands, "doubt_before"), "asked_already"),
        (doubt, "within"),
        (unsure(strands) & (numbers(strands, "stands") == BELOW), "limit_unsure"),
        otherwise="settled",
    )
    e, limit = numbers(strands, "decides_e"), numbers(strands, "decides_limit_percent")
    return answers(
        strands,
        case,
        value=rounded(e, PERCENT),
        threshold=rounded(limit, PERCENT),
        # Where the doubt stays whatever is measured, no number says how far the answer is from changing.
        margin=np.where(case == "asked_already", np.nan, rounded(np.abs(limit - e), PERCENT)),
        margin_u=np.where(e < limit, rounded(numbers(strands, "decides_expanded"), PERCENT), np.nan),
        unit="%",
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The elongation and the limit in doubt."""
    return why_unjudged(row) or limit_facts(row, settings, "decides")


RULE = Rule(
    name="limit_in_doubt",
    job=Job.MEASURE,
    outcomes={
        "within": THIS_WEEK,
        "asked_already": CLEAR,
        "settled": CLEAR,
        "no_survey": CANNOT,
        "no_pitch": CANNOT,
        "limit_unsure": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "strand_row", "takeup_row"),
    beside=("baseline",),
    reads=(reads.survey, reads.limits, reads.plan_line),
)
