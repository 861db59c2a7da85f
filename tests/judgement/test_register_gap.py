"""A machine that a job wants locked out, and what its register of energy sources lacks.

What a register must hold: 29 CFR 1910.147 (c)(4)(ii) and (d), steps for shutting down, isolating, blocking,
releasing stored energy and verifying, in a written procedure for each machine.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from tests.judgement import plant
from tests.judgement.plant import alone, due, fact, judged, sources, verdict

from takeup.judgement.judging import Judged
from takeup.judgement.register import BLANK, Lacking, lacking
from takeup.model import Evidence, Job, Urgency

if TYPE_CHECKING:
    import pandas as pd

#: 150 h since lubrication: a job for this week on the machine of S
OVERDUE = {"lube_last_hours": 5350, "hours_now": 5500}
RULES = ("lube_overdue", "register_gap")
MACHINE = "machine of S"


def told(register: pd.DataFrame, at_work: dict[str, Urgency] | None = None, **differs: Any) -> Judged:
    return judged(alone("S", **differs), sources=register, at_work=at_work, only=RULES)


@pytest.mark.parametrize("code", BLANK)
def test_every_blank_of_a_source_is_named_with_the_source(code: str) -> None:
    register = sources(MACHINE, **{BLANK[code]: "  "})
    wanted = [Lacking(code, "main drive motor")]
    if code == "no_procedure_for_source":
        wanted.insert(0, Lacking("no_procedure"))
    assert list(lacking(register.to_dict("records"))) == wanted


def test_a_source_that_is_exported_no_longer_may_still_be_there() -> None:
    assert lacking(sources(MACHINE, exported=False).to_dict("records")) == (
        Lacking("no_longer_exported", "main drive motor"),
    )


@pytest.mark.parametrize(
    ("register", "at_work", "differs", "case", "urgency"),
    [
        pytest.param(sources(), None, OVERDUE, "incomplete", Urgency.THIS_WEEK, id="asked for tonight"),
        pytest.param(sources(), {MACHINE: Urgency.PLAN}, {}, "incomplete", Urgency.PLAN, id="open, planned"),
        pytest.param(
            sources(),
            {MACHINE: Urgency.NEXT_SHUTDOWN},
            {},
            "incomplete",
            Urgency.PLAN,
            id="next shutdown",
        ),
        pytest.param(
            sources(), {MACHINE: Urgency.STOP_NOW}, {}, "incomplete", Urgency.THIS_WEEK, id="open, stop now"
        ),
        pytest.param(
            sources(), {MACHINE: Urgency.PLAN}, OVERDUE, "incomplete", Urgency.THIS_WEEK, id="the more urgent"
        ),
        pytest.param(sources(), None, {}, "no_work", None, id="no work"),
        pytest.param(sources(), {"another": Urgency.STOP_NOW}, {}, "no_work", None, id="work elsewhere"),
        pytest.param(sources(MACHINE), None, OVERDUE, "complete", None, id="complete"),
    ],
)
def test_the_register_is_asked_for_where_a_job_locks_the_machine_out(
    register: pd.DataFrame,
    at_work: dict[str, Urgency] | None,
    differs: dict[str, Any],
    case: str,
    urgency: Urgency | None,
) -> None:
    row = verdict(told(register, at_work, **differs), "register_gap", MACHINE)
    assert row["reason"] == case
    assert row["urgency"] == (urgency.value if urgency else "")
    assert row["job"] == (Job.CORRECT_DATA.value if urgency else "")


def test_the_facts_say_line_by_line_what_is_lacking_of_what() -> None:
    asked = due(told(sources(MACHINE, magnitude="", verified_how=""), **OVERDUE), "register_gap", MACHINE)
    assert fact(asked, "lacking") == ("no_magnitude", "no_verified_how")
    assert fact(asked, "lacking_of") == ("main drive motor", "main drive motor")
    assert asked.evidence == (Evidence("register", (900,)),)


def test_a_register_put_right_rests_on_other_rows_than_the_question() -> None:
    """So that the order about it can end: an order ends only by evidence that it did not know."""
    asked, answered = (
        verdict(told(register, **OVERDUE), "register_gap", MACHINE)
        for register in (sources(), sources(MACHINE))
    )
    assert asked["evidence_key"] != answered["evidence_key"]


def gaps() -> Judged:
    """Every case, for the sentences."""
    return judged(
        alone("complete", **OVERDUE),
        alone("incomplete", **OVERDUE),
        alone("no work"),
        sources=plant.sources("machine of complete"),
        only=RULES,
    )
