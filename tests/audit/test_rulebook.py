"""What each rule says of itself: in plain words, with its source, and with sums that can be done again."""

from __future__ import annotations

import re
from datetime import date

import pytest
from tests.audit.sums import agrees, reckoned
from tests.documents.test_sentences import BARE_CODE, CASES
from tests.judgement.test_facts_suffice import ENV, answers

from takeup.audit.gates import CODES, READS
from takeup.documents.rulebook import THRESHOLDS, grounds
from takeup.documents.sentences import codes, sentence
from takeup.judgement.facts import FACTS
from takeup.model import Source
from takeup.resources import templates_dir

#: what a rule says of its source: a status of ours, or a publication with its place
STATUS = {status.value for status in Source} | {"common practice, no source", "derived"}
PUBLISHED = re.compile(
    r"MIL-HDBK-1164|TM 10-3930-671-24|29 CFR 1910\.147|Standard Handbook of Chains|UFGS 15502N"
)
#: rules whose answer is words, not numbers
WITHOUT_SUMS = {
    "abnormal_finding", "corrosion_review", "data_unjudged", "grease_on_dry", "job_unproved", "register_gap",
}  # fmt: skip


def test_every_rule_says_what_it_asks() -> None:
    assert codes([templates_dir()], "rulebook") == set(CASES)
    assert set(THRESHOLDS) <= set(CASES)
    assert {name for names in THRESHOLDS.values() for name in names} <= set(FACTS)
    assert set(READS) <= set(CASES)


@pytest.mark.parametrize("rule", CASES)
def test_a_rule_is_told_with_its_source_in_words(rule: str) -> None:
    for part in ("asks", "source"):
        text = sentence(ENV, "rulebook", rule, {"subject": "BE-31-A"}, part=part)
        assert text.endswith(".")
        assert not BARE_CODE.search(text)
    source = sentence(ENV, "rulebook", rule, part="source")
    told = any(status.lower() in source.lower() for status in STATUS) or PUBLISHED.search(source)
    assert told or "site's drawing" in source


def test_every_answer_says_what_an_order_would_take() -> None:
    for each in answers():
        said = grounds(ENV, each.rule, "BE-31-A", each.facts)
        assert said.needs.endswith("."), each.rule
        assert not BARE_CODE.search(said.needs), said.needs
        assert not re.search(r" [.,;:]|None|nan|not known", said.needs), said.needs


def test_every_sum_of_every_case_comes_to_its_result() -> None:
    reached = set()
    for each in answers():
        for step in grounds(ENV, each.rule, each.subject, each.facts).steps:
            assert agrees(step.sum, step.result), (each.rule, each.reason, step)
            reached.add((each.rule, step.says))
    assert {rule for rule, _ in reached} == set(CASES) - WITHOUT_SUMS


def test_whatever_stands_between_an_answer_and_an_order_has_its_sentence() -> None:
    assert codes([templates_dir()], "gate") == {*CODES, "turns"}
    facts = {
        "order": "C-0003",
        "until": date(2026, 5, 4),
        "part_of": "C-0001",
        "waits_for": ("C-0001",),
        "missing": ("pitch_mm",),
        "feed": "lube_records",
        "rows": 1,
        "since": None,
        "on": None,
        "hours": 900.0,
        "to": ENV.filters["word"]("due", "turning_to"),
    }
    for code in (*CODES, "turns"):
        text = sentence(ENV, "gate", code, facts)
        assert text.endswith((".", "run"))
        assert not BARE_CODE.search(text)
        assert not re.search(r" [.,;:]|None", text), text


def test_the_check_of_a_sum_can_fail() -> None:
    assert agrees("2.000 % − 1.370 %", "0.630 %")
    assert not agrees("2.000 % − 1.370 %", "0.632 %")
    assert agrees("(1.575 % − 1.370 %) ÷ 0.0670 % per 1000 h × 1000", "3058 h")
    assert not agrees("(1.575 % − 1.370 %) ÷ 0.0670 % per 1000 h × 1000", "3200 h")
    assert agrees("Mon 12 Oct 2026 − 112 days − 14 days", "Mon 8 Jun 2026")
    assert not agrees("Mon 12 Oct 2026 − 112 days − 14 days", "Tue 9 Jun 2026")
    assert reckoned("−0.001 %").high == pytest.approx(-0.0005)


def test_a_rule_of_the_site_without_such_words_is_told_without_them() -> None:
    said = grounds(ENV, "our_own_rule", "BE-31-A", ())
    assert (said.asks, said.source, said.needs, said.steps, said.thresholds) == ("", "", "", (), ())
