"""Half the planned lubricant leaves joints dry; twice as much feeds dirt: either is asked about.

What was given in the round that ends with the newest record is held against the plan: the records within one
interval, less the round before where one lubricates a little early. A figure outside is a slip of the pen, a
plan that does not fit, joints that refuse, or the wrong habit: asking tells, so the job is to correct data. A
blank is not nought and proves nothing; without a planned quantity nothing can be said of it, and the clock
runs all the same. Source: 0.5 to 2 times the plan and what one round is proposed for this project, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
from takeup.judgement.facts import LUBED, REGISTER
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
    rounded,
    words,
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import lube_bounds, lube_interval_fact
from takeup.model import Fact, Job
from takeup.wear.lubrication import film_volume, joint_volume

if TYPE_CHECKING:
    import pandas as pd

#: millilitres are held to their thousandth before they meet a threshold
ML = 3
#: cases that the bounds decide
WEIGHED = ("too_little", "too_much", "within", "answered")


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """How what each strand got stands to its plan."""
    strands = situation.strands
    machines, names = words(strands, "machine"), words(strands, "strand")

    def column(name: str) -> np.ndarray:
        return settings.lubrication.column(name, machines, names).astype(np.float64)

    plan, lube_plan = numbers(strands, "lube_quantity_ml"), words(strands, "lube_plan")
    day, given = numbers(strands, "lube_newest_day"), rounded(numbers(strands, "lube_given_ml"), ML)
    least, most = rounded(column("least_part") * plan, ML), rounded(column("most_times") * plan, ML)
    blank = yes(strands, "lube_given_some_blank")
    # A blank may hide what is wanting, never what is too much.
    little, much = (given < least) & ~blank, given > most
    case = choose(
        (np.isin(lube_plan, ("", "none_by_decision")), "not_planned"),
        (~(plan > 0), "no_plan_quantity"),
        (np.isnan(day), "no_record"),
        (little & (day <= _asked(situation, "too_little")), "answered"),
        (little, "too_little"),
        (much & (day <= _asked(situation, "too_much")), "answered"),
        (much, "too_much"),
        (blank, "not_written"),
        otherwise="within",
    )
    threshold = np.where(much, most, least)
    return answers(
        strands,
        case,
        value=given,
        threshold=threshold,
        margin=np.where(blank, np.nan, np.minimum(given - least, most - given)),
        unit="mL",
        joint_ml=_joint(strands),
        film_ml=film_volume(
            numbers(strands, "pitches"), edges=column("drops_per_pitch"), drop_ml=column("drop_ml")
        ),
    )


def _asked(situation: Situation, case: str) -> float:
    """Day on which the question was last closed out; NaN where never."""
    return situation.history.get((Job.CORRECT_DATA, f"lube_records/{case}"), np.nan)


def _joint(strands: pd.DataFrame) -> np.ndarray:
    """What fills one joint, NaN where a size is not known or the bore leaves no gap, in mL."""
    bore, pin, length = (
        numbers(strands, name) for name in ("bushing_bore_mm", "pin_diameter_mm", "bushing_length_mm")
    )
    fits = (bore >= pin) & (pin > 0) & (length > 0)
    return joint_volume(*(np.where(fits, each, np.nan) for each in (bore, pin, length)))


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The plan, what was given and how much is accepted; without a plan, what would help to make one."""
    if row["case"] == "not_planned":
        return ()
    if row["case"] == "no_plan_quantity":
        told = facts_of({"lube_plan": row["lube_plan"], "missing": ("lube_quantity_ml",)}, REGISTER)
        volumes = {"joint_ml": row["joint_ml"], "film_ml": row["film_ml"]}
        told += facts_of({name: round(value, ML) for name, value in volumes.items()})
        return told + facts_of({"joints_ml": round(row["joint_ml"] * row["pitches"], ML)})
    told = facts_of({"quantity_ml": row["lube_quantity_ml"]}, REGISTER)
    told += lube_interval_fact(row, settings)
    told += facts_of(
        {
            "given_ml": row["lube_given_ml"],
            "given_on": row["lube_newest_day"],
            "rows": len(row["lube_given_rows"]) or None,
            "blank_run": row["lube_blank_quantity_run"] or None,
        },
        LUBED,
    )
    return told + lube_bounds(row, settings)


RULE = Rule(
    name="lube_quantity",
    job=Job.CORRECT_DATA,
    outcomes={
        "too_little": PLAN,
        "too_much": PLAN,
        "within": CLEAR,
        "answered": CLEAR,
        "not_planned": CLEAR,
        "no_record": CLEAR,
        "not_written": CANNOT,
        "no_plan_quantity": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("lube_given_rows", "strand_row"),
    reads=(
        reads.of("lubrication", "least_part", "most_times", "round_part", cases=WEIGHED),
        reads.of("lubrication", "drops_per_pitch", "drop_ml", cases=("no_plan_quantity",)),
        reads.lube_interval,
    ),
)
