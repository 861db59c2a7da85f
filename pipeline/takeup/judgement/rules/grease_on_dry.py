"""Lubricating a chain that is dry by decision is itself something to look into: ask who, and why.

Either the record is filed to the wrong strand, or the decision is not known to the people who lubricate: both
are settled by asking, so the job is to correct data, and no chain is stopped for it. Source: common practice,
no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.judgement.facts import LUBED, REGISTER
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
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
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact, Job

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: subject of the order
SUBJECT = "lube_records/greased"
#: fact → column of the records: what the last of them says
_SAYS = {
    "greased_with": "last_lubricant",
    "greased_ml": "quantity_sum_ml",
    "greased_how": "last_method",
    "greased_by": "last_by",
}


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """Whether a dry chain was lubricated since the question was last closed out."""
    strands = situation.strands
    greased = yes(strands, "dry_greased")
    day, rows, said = _records(situation)
    asked = situation.history.get((Job.CORRECT_DATA, SUBJECT), np.nan)
    case = choose(
        (words(strands, "lube_plan") != "none_by_decision", "not_dry"),
        (greased & (day <= asked), "answered"),
        (greased, "greased"),
        otherwise="not_greased",
    )
    return answers(strands, case, greased_day=day, evidence_rows=rows, **said)


def _records(
    situation: Situation,
) -> tuple[NDArray[np.float64], list[list[int]], dict[str, Any]]:
    """The records that speak of lubricant on each dry strand: last day, all rows, what the last says."""
    strands, lube = situation.strands, situation.lube
    day = np.full(len(strands), np.nan)
    rows: list[list[int]] = [[] for _ in range(len(strands))]
    said: dict[str, Any] = {
        name: np.full(len(strands), "", dtype=object)
        for name in ("greased_with", "greased_how", "greased_by")
    }
    said["greased_ml"] = np.full(len(strands), np.nan)
    if not len(lube):
        return day, rows, said
    at = pd.Index(words(strands, "life_id")).get_indexer(words(lube, "life_id"))
    # On a dry strand the last record shown is the last that speaks of lubricant.
    day[at[at >= 0]] = numbers(lube, "last_day")[at >= 0]
    for place, its in zip(at.tolist(), lube["dry_records"].tolist(), strict=True):
        if place >= 0:
            rows[place] = list(its)
    for name, column in _SAYS.items():
        said[name][at[at >= 0]] = lube[column].to_numpy()[at >= 0]
    return day, rows, said


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:  # noqa: ARG001
    """The decision, the day, and what the record says."""
    return facts_of({"lube_plan": row["lube_plan"]}, REGISTER) + facts_of(
        {"greased_on": row["greased_day"], "rows": len(row["evidence_rows"]) or None}
        | {name: row[name] for name in _SAYS},
        LUBED,
    )


RULE = Rule(
    name="grease_on_dry",
    job=Job.CORRECT_DATA,
    outcomes={"greased": PLAN, "answered": CLEAR, "not_greased": CLEAR, "not_dry": CLEAR},
    judge=judge,
    facts=facts,
    evidence=("evidence_rows", "strand_row"),
)
