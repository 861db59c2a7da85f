"""Whether what a chain got is what is planned, and what is said to whoever writes the plan."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import MONDAY, alone, due, fact, findings, judged, overridden, verdict

from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.judging import Judged, explain
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, Urgency, row_ids
from takeup.resources import templates_dir

ENV = environment([templates_dir()])
PLANNED = {"lube_quantity_ml": 48.0}


def got(ml: float, *, some_blank: bool = False, **more: Any) -> dict[str, Any]:
    """A plan of 48 mL, and what one interval got."""
    return PLANNED | {"lube_given_ml": ml, "lube_given_some_blank": some_blank} | more


#: accepted: 0.5 to 2 times the plan, 24 to 96 mL
CASES: dict[str, tuple[dict[str, Any], str]] = {
    "nought": (got(0.0), "too_little"),
    "a little under half": (got(23.9), "too_little"),
    "half": (got(24.0), "within"),
    "twice": (got(96.0), "within"),
    "a little over twice": (got(96.1), "too_much"),
    "half in three parts": (got(8.1 + 7.9 + 8.0), "within"),
    "a blank may hide what is wanting": (got(10.0, some_blank=True), "not_written"),
    "and never what is too much": (got(100.0, some_blank=True), "too_much"),
    "only a blank": (got(np.nan, some_blank=True, lube_blank_quantity_run=1), "not_written"),
    "two blanks": (got(np.nan, some_blank=True, lube_blank_quantity_run=2), "not_written"),
    "nothing yet": (
        got(np.nan, lube_newest_day=np.nan, lube_given_rows=[], lube_row=-1), "no_record",
    ),
    "no quantity planned": ({"lube_quantity_ml": np.nan}, "no_plan_quantity"),
    "nought planned": ({"lube_quantity_ml": 0.0}, "no_plan_quantity"),
    "dry by decision": (got(500.0, lube_plan="none_by_decision"), "not_planned"),
    "no plan at all": (got(500.0, lube_plan=""), "not_planned"),
    "bore not known": ({"bushing_bore_mm": np.nan}, "no_plan_quantity"),
    "bore less than the pin": ({"bushing_bore_mm": 31.0}, "no_plan_quantity"),
}  # fmt: skip


@cache
def told() -> Judged:
    """Every strand of the table, judged in one pass; and one about whose quantity was asked that day."""
    asked = {(Job.CORRECT_DATA, "lube_records/too_much"): MONDAY - 5.0}
    answered = alone("asked already", **got(200.0, lube_newest_day=MONDAY - 5.0))
    return judged(*(alone(name, **case[0]) for name, case in CASES.items()), answered, history=asked)


@pytest.mark.parametrize("name", CASES)
def test_what_one_interval_got_is_held_against_the_plan(name: str) -> None:
    _, case = CASES[name]
    row = verdict(told(), "lube_quantity", name)
    assert row["reason"] == case
    if case in ("too_little", "too_much"):
        assert (row["job"], row["urgency"]) == (Job.CORRECT_DATA.value, Urgency.PLAN.value)
    else:
        assert row["answer"] == ("cannot judge" if case in ("not_written", "no_plan_quantity") else "clear")


def test_a_question_closed_out_is_asked_again_by_a_newer_record_alone() -> None:
    assert verdict(told(), "lube_quantity", "asked already")["reason"] == "answered"
    assert verdict(told(), "lube_quantity", "a little over twice")["reason"] == "too_much"  # the day after


def test_the_question_names_bounds_plan_and_records() -> None:
    asked = due(told(), "lube_quantity", "a little under half")
    assert [fact(asked, name) for name in ("quantity_ml", "given_ml", "least_ml", "most_ml", "rows")] == [
        48.0, 23.9, 24.0, 96.0, 1,
    ]  # fmt: skip
    assert 90 in row_ids(asked.evidence)


def test_a_site_s_own_bounds_go_before() -> None:
    found = judged(alone("S", **got(20.0)), settings=overridden("lubrication", least_part=0.4))
    assert verdict(found, "lube_quantity", "S")["reason"] == "within"


def says(name: str, rule: str = "lube_quantity") -> str:
    """What `why` says of a strand."""
    mine = next(each for each in explain(name, told().situation, JudgementSettings()) if each.rule == rule)
    return rule_sentence(ENV, mine.rule, mine.reason, mine.subject, mine.facts)


def test_whoever_fills_in_the_register_is_told_the_volumes_and_that_they_are_no_plan() -> None:
    """By hand: bore 32.15, pin 31.75, length 80, 240 pitches: 1.606 mL a joint, 385 mL; film 48 mL."""
    said = says("no quantity planned")
    assert "not a plan: one joint holds 1.606 mL, all joints of the strand 385.4 mL" in said
    assert "a film by brush or drip takes about 48.0 mL." in said
    for name in ("bore not known", "bore less than the pin"):
        assert "joint" not in says(name)
        assert "48" in says(name)
    other = judged(alone("S"), only=("lube_overdue", "lube_quantity"))
    facts = {each.name for verdict in other.due for each in verdict.facts}
    assert not facts & {"joint_ml", "joints_ml", "film_ml"}


def test_without_a_planned_quantity_the_clock_still_runs() -> None:
    found = judged(alone("S", lube_last_hours=5350.0), only=("lube_overdue", "lube_quantity"))
    assert verdict(found, "lube_overdue", "S")["reason"] == "overdue"
    assert verdict(found, "lube_quantity", "S")["reason"] == "no_plan_quantity"


@pytest.mark.parametrize(("run", "noted"), [(1, False), (2, True), (3, True)])
def test_two_blanks_in_a_row_are_noted_on_the_order_to_lubricate(run: int, noted: bool) -> None:
    late = alone("S", lube_last_hours=5350.0, lube_blank_quantity_run=run)
    asked = due(judged(late, only=("lube_overdue",)), "lube_overdue", "S")
    said = rule_sentence(ENV, asked.rule, asked.reason, asked.subject, asked.facts)
    assert ("low confidence" in said) == noted
    assert f"the last {run} lubrications" in said or not noted


def test_a_finding_that_asks_for_lubricant_says_which_and_how_much() -> None:
    seen = findings({"finding": "hot_joint", "strand": "S", "machine": "machine of S"})
    row = alone("S", lubricant="oil", **PLANNED)
    asked = due(judged(row, findings=seen, only=("abnormal_finding",)), "abnormal_finding", "S")
    assert [fact(asked, name) for name in ("lubricant", "quantity_ml", "least_ml", "most_ml")] == [
        "oil", 48.0, 24.0, 96.0,
    ]  # fmt: skip
    assert {each.name for each in asked.settings} == {"lubrication.least_part", "lubrication.most_times"}
