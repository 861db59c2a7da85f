"""A machine that is to be locked out needs its energy sources in the register, and a written procedure.

Asked for every machine on which a job that needs lockout is open or asked for tonight: this week before a job
of that urgency, else planned. It holds nothing up: the job stands, and its reminder says that it is
incomplete. Source: 29 CFR 1910.147 (c)(4) and (d); the urgency proposed for takeup, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from takeup.judgement.facts import REGISTER
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.register import BLANK, lacking
from takeup.judgement.rule import CLEAR, PLAN, Row, Rule, Situation, answers, choose, words
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact, Job, Urgency

#: what is read of the register of energy sources
_READ = ("machine", "source", "row_id", "exported", *BLANK.values())


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """One row for each machine that has a strand or work."""
    machines = sorted({*situation.at_work, *words(situation.strands, "machine")} - {""})
    sources: dict[str, list[dict[str, Any]]] = {machine: [] for machine in machines}
    if len(situation.sources):
        columns = (situation.sources[name].tolist() for name in _READ)
        for row in (dict(zip(_READ, values, strict=True)) for values in zip(*columns, strict=True)):
            if row["machine"] in sources:
                sources[row["machine"]].append(row)
    lacks = [lacking(sources[machine]) for machine in machines]
    work = [situation.at_work.get(machine) for machine in machines]
    soon = [urgency is not None and urgency.rank <= Urgency.THIS_WEEK.rank for urgency in work]
    return answers(
        pd.DataFrame({"machine": machines}),
        choose(
            (np.array([not each for each in lacks], dtype=bool), "complete"),
            (np.array([urgency is None for urgency in work], dtype=bool), "no_work"),
            otherwise="incomplete",
        ),
        subject_kind="machine",
        subject=machines,
        urgency=np.where(soon, Urgency.THIS_WEEK.value, "").astype(object),
        source_rows=[sorted(int(row["row_id"]) for row in sources[machine]) for machine in machines],
        lacks=lacks,
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:  # noqa: ARG001
    """What is lacking, and of which source: two lists that run side by side."""
    return facts_of(
        {
            "lacking": tuple(each.code for each in row["lacks"]),
            "lacking_of": tuple(each.source for each in row["lacks"]),
        },
        REGISTER,
    )


RULE = Rule(
    name="register_gap",
    job=Job.CORRECT_DATA,
    outcomes={"incomplete": PLAN, "complete": CLEAR, "no_work": CLEAR},
    judge=judge,
    facts=facts,
    evidence=("source_rows",),
    after_work=True,
)
