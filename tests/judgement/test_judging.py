"""The frame of verdicts, the due ones with their facts, and the answers to why not."""

from __future__ import annotations

import pkgutil
from collections.abc import Iterator
from dataclasses import replace
from importlib.metadata import EntryPoint
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.judgement.plant import (
    EXAMPLE_SURVEYS,
    MONDAY,
    checks,
    findings,
    judged,
    lubed,
    strand,
    surveys,
    unmeasured,
    verdict,
    worn,
)

from takeup.codec import fact_from_json, fact_to_json
from takeup.errors import OurFault, SettingsError
from takeup.judgement import rules as rules_module
from takeup.judgement.answered import COLUMNS
from takeup.judgement.cases import CASES
from takeup.judgement.facts import FACTS
from takeup.judgement.judging import Judged, explain
from takeup.judgement.rule import CLEAR, PLAN, Rule, Situation, answers
from takeup.judgement.rules import OWN, registered
from takeup.judgement.settings import JudgementSettings
from takeup.model import Answer, Job, KeptOut

if TYPE_CHECKING:
    import pandas as pd


def busy(day: int = MONDAY, **more: Any) -> Judged:
    """A plant with something due of nearly every kind."""
    rows = (
        strand(**worn(1.7, e_wear_max=2.1, spread=0.4), takeup_used_mm=450.0, takeup_rem_mm=30.0),
        strand("BE-1-B", set="BE-1", lube_last_hours=5000, **worn(1.3)),
        strand("DC-1", machine="DC-1", set="", lube_plan="none_by_decision", dry_greased=True, **worn(2.9)),
        unmeasured("AF-1", machine="AF-1", set="", lube_plan=""),
    )
    seen = findings({}, {"finding": "cracked_pin", "stop_class": True}, {"strand": "", "finding": "packing"})
    kept = KeptOut("refused", "not_a_number", "elongation_readings", "march.csv", "ab", 7, "raw")
    usual = {
        "surveys": surveys(EXAMPLE_SURVEYS),
        "findings": seen,
        "sprockets": checks({"gauge_depth_mm": 6.0}),
        "lube": lubed({"strand": "DC-1", "dry_records": [88], "last_day": float(MONDAY - 2)}),
        "kept_out": (kept,),
    }
    return judged(*rows, day=day, **(usual | more))


def test_there_is_one_row_a_rule_and_subject() -> None:
    frame = busy().verdicts
    assert tuple(frame.columns) == COLUMNS
    assert not frame.duplicated(["rule", "subject_kind", "subject"]).any()
    assert frame["evidence_key"].dtype == np.int64
    assert set(frame["answer"]) == {answer.value for answer in Answer}


def test_every_strand_is_answered_by_every_rule_about_strands() -> None:
    frame = busy().verdicts
    of_strands = {"matching", "matching_in_doubt", "sprocket_wear", "data_unjudged", "register_gap"}
    for rule in OWN:
        if rule.name not in of_strands:
            asked = frame[(frame["rule"] == rule.name) & (frame["subject_kind"] == "strand")]
            assert set(asked["subject"]) == {"BE-1-A", "BE-1-B", "DC-1", "AF-1"}, rule.name


def test_only_what_is_due_has_a_job_and_an_urgency() -> None:
    frame = busy().verdicts
    is_due = frame["answer"] == "due"
    assert (frame.loc[is_due, ["job", "urgency"]] != "").all(axis=None)
    assert (frame.loc[~is_due, ["job", "urgency"]] == "").all(axis=None)


def test_margins_are_positive_while_clear_and_past_their_doubt() -> None:
    frame = busy().verdicts
    clear = frame[(frame["answer"] == "clear") & frame["margin"].notna()]
    kept = clear[~clear["reason"].isin(["replace_instead"])]
    assert (kept["margin"] >= 0).all()


def test_due_verdicts_agree_with_the_frame() -> None:
    told = busy()
    frame = told.verdicts[told.verdicts["answer"] == "due"]
    assert {(each.rule, each.subject) for each in told.due} == set(
        zip(frame["rule"], frame["subject"], strict=True)
    )
    for each in told.due:
        assert each.answer is Answer.DUE
        assert each.job is not None
        assert each.urgency is not None


def test_every_fact_is_in_the_table_with_its_unit_and_survives_the_store() -> None:
    told = busy()
    everything = list(told.due)
    for name in ("BE-1-A", "BE-1-B", "DC-1", "AF-1"):
        everything += explain(name, told.situation, JudgementSettings())
    for each in everything:
        names = [fact.name for fact in each.facts]
        assert len(names) == len(set(names)), f"{each.rule} tells a fact twice"
        for fact in each.facts:
            assert FACTS[fact.name][0] == fact.unit
            assert fact_from_json(fact_to_json(fact)) == fact


@pytest.mark.parametrize("rule", OWN, ids=lambda rule: rule.name)
def test_the_cases_of_a_rule_are_described(rule: Rule) -> None:
    assert set(rule.outcomes) == set(CASES[rule.name])
    for case, outcome in rule.outcomes.items():
        said = CASES[rule.name][case]
        assert said.startswith(
            {"due": "due", "clear": "clear", "cannot judge": "cannot judge"}[outcome.answer]
        )


def test_no_fact_of_an_order_changes_with_the_day_alone() -> None:
    """Two evenings of one week, same rows: dates are reckoned from the same Monday."""
    first, second = busy(), busy(MONDAY + 3)
    told = {(each.rule, each.subject, each.job): each.facts for each in first.due}
    for each in second.due:
        if (each.rule, each.subject, each.job) in told:
            assert each.facts == told[each.rule, each.subject, each.job], each.rule


def test_the_evidence_key_changes_with_the_rows_and_never_with_the_day() -> None:
    first, later = busy().verdicts, busy(MONDAY + 3).verdicts
    assert first["evidence_key"].tolist() == later["evidence_key"].tolist()
    other = busy(surveys=surveys(EXAMPLE_SURVEYS), findings=findings({"row_id": 900})).verdicts
    assert key(first, "abnormal_finding") != key(other, "abnormal_finding")
    assert key(first, "wear_limit") == key(other, "wear_limit")
    changed = verdict(judged(strand(survey_rows=[10, 11, 12, 14])), "wear_limit")["evidence_key"]
    same = verdict(judged(strand(survey_rows=[13, 12, 11, 10])), "wear_limit")["evidence_key"]
    assert changed != verdict(judged(strand()), "wear_limit")["evidence_key"] == same


def key(frame: pd.DataFrame, rule: str) -> int:
    return int(frame[(frame["rule"] == rule) & (frame["subject"] == "BE-1-A")]["evidence_key"].iloc[0])


def test_the_answer_for_a_strand_does_not_depend_on_which_others_are_judged_with_it() -> None:
    many = busy()
    alone = judged(strand("DC-1", machine="DC-1", set="", lube_plan="none_by_decision", **worn(2.9)))
    for rule in ("wear_limit", "limit_coming", "takeup_low", "survey_overdue", "lube_overdue"):
        assert (
            verdict(many, rule, "DC-1")
            .drop("evidence_key")
            .equals(verdict(alone, rule, "DC-1").drop("evidence_key"))
        )


def test_why_not_tells_every_rule_with_its_margin() -> None:
    told = explain("BE-1-A", busy().situation, JudgementSettings())
    rules = {each.rule for each in told}
    assert rules >= {rule.name for rule in OWN} - {"data_unjudged"}
    assert all(each.machine == "BE-1" for each in told if each.subject_kind != "source")
    assert {each.subject for each in told} <= {
        "BE-1-A",
        "BE-1",
        *(each.subject for each in told if each.subject_kind == "source"),
    }


def test_what_is_missing_of_a_strand_is_among_its_answers() -> None:
    told = explain("AF-1", busy().situation, JudgementSettings())
    assert "strands/lube_plan" in {each.subject for each in told if each.rule == "data_unjudged"}
    assert explain("nobody", busy().situation, JudgementSettings()) == []


def test_a_plant_without_strands_is_judged_too() -> None:
    told = judged()
    assert set(told.verdicts["rule"]) == {"data_unjudged"}
    assert told.due == ()


@pytest.fixture(autouse=True)
def only_our_own() -> Iterator[None]:
    """Plug-ins of one test are not those of the next."""
    yield
    registered.cache_clear()


def test_every_file_among_the_rules_is_a_rule_and_registered() -> None:
    names = {module.name for module in pkgutil.iter_modules(rules_module.__path__)}
    assert names == {rule.name for rule in OWN}


def site_rule(name: str = "hot_day", case: str = "hot") -> Rule:
    """Asks to measure what runs hot: the smallest rule a site could write."""

    def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
        return answers(situation.strands, np.full(len(situation.strands), case, dtype=object))

    return Rule(name, Job.MEASURE, {"hot": PLAN, "cool": CLEAR}, judge, lambda _row, _settings: ())


def test_a_sites_own_rule_answers_beside_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    with_rules(monkeypatch, {"hot": site_rule()})
    told = judged(strand(), rules=registered())
    assert verdict(told, "hot_day")["reason"] == "hot"
    assert [each.rule for each in told.due if each.rule == "hot_day"] == ["hot_day"]


@pytest.mark.parametrize(
    ("loaded", "message"),
    [
        pytest.param({"a": site_rule("wear_limit")}, "two rules are named 'wear_limit'", id="name-taken"),
        pytest.param({"a": object()}, "wanted a takeup.judgement.rule.Rule", id="no-rule"),
    ],
)
def test_a_plug_in_that_cannot_be_used_is_named(
    monkeypatch: pytest.MonkeyPatch, loaded: dict[str, Any], message: str
) -> None:
    with_rules(monkeypatch, loaded)
    with pytest.raises(SettingsError, match=message):
        registered()


def test_a_rule_that_invents_a_case_is_our_fault() -> None:
    with pytest.raises(OurFault, match="'tepid', which is none of its cases"):
        judged(strand(), rules=(replace(site_rule(case="tepid"), name="hot_day"),))


def with_rules(monkeypatch: pytest.MonkeyPatch, loaded: dict[str, Any]) -> None:
    """Put these objects behind entry points of the group."""

    class Point(EntryPoint):
        def load(self) -> Any:
            return loaded[self.name]

    points = [Point(name, f"plant:{name}", "takeup.rules") for name in loaded]
    monkeypatch.setattr(rules_module, "entry_points", lambda group: points if group == "takeup.rules" else [])
    registered.cache_clear()
