"""Two tape surveys cannot settle the plan line of a set: the lag itself is measured, head to tail.

A difference of two tape surveys is uncertain by 0.11 points, the plan line 0.15. Below the limit, with plan
line or limit inside the uncertainty, the lag is asked for; no set is ordered. A lag measured with the surveys
or later settles it until the next survey. Source: derived; thresholds proposed for this project, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement.rule import CANNOT, CLEAR, PERCENT, PLAN, THIS_WEEK, Rule, Situation, choose, rounded
from takeup.judgement.rules.matching import RULE as MATCHING
from takeup.judgement.rules.matching import as_answers, facts
from takeup.judgement.sets import pairs
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job

if TYPE_CHECKING:
    import pandas as pd

_DUE = ("limit_within", "alert_within")


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """Every set of two or more strands against the plan line, with its doubt."""
    sets = pairs(situation, settings)
    difference, known = sets["difference"].to_numpy(), sets["lag_known"].to_numpy()
    at_most = rounded(difference + sets["expanded"], PERCENT)
    limit, plan = sets["limit"].to_numpy(), sets["plan"].to_numpy()
    past = difference >= limit  # the rule of the limit has it
    case = choose(
        (~sets["whole"], "strand_not_measured"),
        (~sets["together"], "not_same_day"),
        (past, "settled"),
        (known & (difference >= plan), "lag_known"),
        (known, "settled"),
        (at_most >= limit, "limit_within"),
        (at_most >= plan, "alert_within"),
        otherwise="settled",
    )
    frame = as_answers(sets, case, "plan")
    # Past the plan line and known to be: no number says how far the answer is from changing.
    return frame.assign(margin=frame["margin"].where((frame["margin"] > 0) | np.isin(case, _DUE)))


RULE = Rule(
    name="matching_in_doubt",
    job=Job.MEASURE,
    outcomes={
        "limit_within": THIS_WEEK,
        "alert_within": PLAN,
        "lag_known": CLEAR,
        "settled": CLEAR,
        "strand_not_measured": CANNOT,
        "not_same_day": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "lag_row"),
    beside=("strand_rows",),
    reads=MATCHING.reads,
)
