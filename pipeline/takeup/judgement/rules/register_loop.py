"""Pitches and shaft centres of one strand measure the same loop; where they disagree, one of them is wrong.

Pitches times the pitch as fitted against the length that two sprockets on their centres need, the take-up at
its start. More than two pitches apart is a mistake of the register: the count decides take-up and shortening,
the centres the skew of a pair. Nothing is said where one of the values is not registered. Source: derived,
:func:`takeup.wear.slack.register_disagrees`; the formula for the loop from memory of the American Chain
Association's Standard Handbook of Chains, unverified.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
from takeup.judgement.facts import REGISTER, known, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CLEAR,
    MM,
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
from takeup.model import Fact, Job, Urgency
from takeup.wear.slack import loop_length, register_disagrees

if TYPE_CHECKING:
    import pandas as pd

_REGISTER = ("pitches", "centres_mm", "pitch_mm", "teeth_drive", "teeth_tail")


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """The chain of every strand against the loop it lies in, both as fitted."""
    strands = situation.strands
    fitted = numbers(strands, "pitch_mm") * (1 + numbers(strands, "zero_shift") / 100)
    centres, drive, tail = (numbers(strands, name) for name in ("centres_mm", "teeth_drive", "teeth_tail"))
    allowed = settings.findings.column("loop_pitches", words(strands, "machine"), words(strands, "strand"))
    pitches = numbers(strands, "pitches")
    _, over = register_disagrees(pitches, centres, fitted, drive, tail, tolerance_pitches=0)
    apart, limit = rounded(over * fitted, MM), rounded(allowed * fitted, MM)
    with np.errstate(invalid="ignore"):
        case = choose((np.isnan(over), "not_known"), (np.abs(apart) > limit, "loop_apart"), otherwise="agree")
    # The count of pitches decides what the take-up has left, and may hide a limit that is close.
    hides = yes(strands, "over_plan_line") | (numbers(strands, "stands") < 0)
    return answers(
        strands,
        case,
        value=apart,
        threshold=np.where(np.isnan(over), np.nan, limit),
        margin=rounded(limit - np.abs(apart), MM),
        unit="mm",
        urgency=np.where((case == "loop_apart") & hides, Urgency.THIS_WEEK.value, "").astype(object),
        chain_mm=rounded(pitches * fitted, MM),
        loop_mm=rounded(loop_length(centres, fitted, drive, tail), MM),
        hides=hides,
    )


def _born(row: Row) -> Iterator[reads.Name]:
    """What the length of the new chain was reckoned with: its survey, or its construction's tolerance."""
    if known(row["survey_day"]):
        yield from reads.survey(row)
    elif not known(row["new_length_tolerance_percent"]):
        width = {"roller_drive": "roller", "cast_h_mill": "cast"}.get(row["construction"], "other")
        yield "measuring", f"tolerance_{width}_percent"


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """Both lengths, and the register values they come from."""
    told = facts_of({name: row[name] for name in _REGISTER}, REGISTER)
    if row["case"] == "not_known":
        return told + facts_of(
            {"missing": tuple(name for name in _REGISTER if np.isnan(row[name]))}, REGISTER
        )
    of = "pitches as fitted"
    return (
        *told,
        *facts_of({"chain_mm": row["chain_mm"], "loop_mm": row["loop_mm"]}),
        *facts_of({"loop_apart_mm": row["value"]}),
        setting_fact("loop_limit_mm", settings.findings, "loop_pitches", row, row["threshold"], of),
        *facts_of({"hides_alert": bool(row["hides"])}),
    )


RULE = Rule(
    name="register_loop",
    job=Job.CORRECT_DATA,
    outcomes={"loop_apart": PLAN, "agree": CLEAR, "not_known": CLEAR},
    judge=judge,
    facts=facts,
    evidence=("strand_row",),
    reads=(
        _born,
        reads.of("findings", "loop_pitches", cases=("loop_apart", "agree")),
        reads.least,
        reads.plan_line,
    ),
)
