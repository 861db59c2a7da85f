"""A fact that several rules give alike is told once; no cell stays blank for having been told elsewhere."""

from __future__ import annotations

from dataclasses import replace

from tests.documents.plant import AS_OF, orders

from takeup.documents.answers import told_once
from takeup.documents.environment import environment
from takeup.documents.pages import order_facts
from takeup.model import Fact, Job, Reason
from takeup.resources import templates_dir

ENV = environment([templates_dir()])

LIMIT, RATE = Fact("limit_percent", 2.0, "%", "the register"), Fact("rate", 0.3, "%/1000 h", "the survey")
DAY = Fact("survey_on", AS_OF, "day", "the survey")


def test_facts_that_two_rules_give_alike_of_one_subject_are_shared() -> None:
    shared, own = told_once([("A", (LIMIT, DAY)), ("A", (LIMIT, RATE)), ("B", (LIMIT,))])
    assert shared == {"A": [LIMIT]}
    assert own == [[DAY], [RATE], [LIMIT]]


def test_a_line_of_the_table_is_whole_or_left_out_and_named() -> None:
    sheet = next(sheet for sheet in orders() if sheet.order.job is Job.REPLACE_SET)
    other = replace(LIMIT, value=1.5)
    reasons = (
        Reason("limit_coming", "A", "buy_by_reached", (LIMIT, DAY)),
        Reason("limit_coming", "B", "buy_by_reached", (LIMIT, DAY)),
        Reason("wear_limit", "A", "below", (LIMIT, DAY)),
        Reason("wear_limit", "B", "below", (other, DAY)),
    )
    first, second = order_facts(ENV, replace(sheet.order, reasons=reasons), sheet.evidence)
    assert first.before == ()
    assert [line.values for line in second.lines] == [("2.000 %", "1.500 %")]
    assert second.before == ("limit_coming",)
