"""Pitting and rust: one note raises no order; joints, a second sighting or a risen rate do."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from tests.judgement.plant import (
    MONDAY,
    alone,
    due,
    fact,
    findings,
    judged,
    shutdowns,
    strand,
    surveys,
    verdict,
    worn,
)

from takeup.derive.vocabulary import NOTHING_FOUND
from takeup.judgement.judging import Judged
from takeup.model import Job, Urgency

RULE = "corrosion_review"
SOON, NEXT = Urgency.THIS_WEEK, Urgency.NEXT_SHUTDOWN
DONE = Job.INSPECT_ALIGNMENT
#: the rate rises at 3500 h; the survey that shows it is that of the as-of day
ROSE = [(500, 0.2), (1500, 0.5), (2500, 0.8), (3500, 1.1), (4500, 2.0)]

#: name → findings, strand differs, day of an inspection closed out, case, urgency
SEEN: dict[str, tuple[list[dict[str, Any]], dict[str, Any], float | None, str, Urgency | None]] = {
    "once": ([{}], {}, None, "noted", None),
    "once, pits": ([{"finding": "pitting"}], {}, None, "noted", None),
    "in a joint": ([{"in_joint": True}], {}, None, "in_joints", NEXT),
    "asked for": ([{"severity": "shutdown"}], {}, None, "asked_for", NEXT),
    "asked for soon": ([{"severity": "soon"}], {}, None, "asked_for", SOON),
    "in a joint, soon": ([{"severity": "soon", "in_joint": True}], {}, None, "in_joints", SOON),
    "twice on one inspection": ([{}, {"place": "mark 3"}], {}, None, "noted", None),
    "on two inspections": ([{"day": MONDAY - 90}, {"finding": "pitting"}], {}, None, "seen_again", NEXT),
    "on the chain before": (
        [{"day": MONDAY - 400}, {"day": MONDAY - 380}], {}, None, "none", None,
    ),
    "once on each of two chains": ([{"day": MONDAY - 400}, {}], {}, None, "noted", None),
    "looked at since": (
        [{"in_joint": True, "day": MONDAY - 9}, {"finding": NOTHING_FOUND}], {}, None, "looked_into", None,
    ),
    "back after a look": (
        [{"day": MONDAY - 40}, {"finding": NOTHING_FOUND, "day": MONDAY - 20}, {}], {}, None,
        "seen_again", NEXT,
    ),
    "inspected that day": ([{"in_joint": True, "day": MONDAY - 9}], {}, MONDAY - 9.0, "looked_into", None),
    "inspected before": ([{"in_joint": True}], {}, MONDAY - 9.0, "in_joints", NEXT),
    "noted again after an inspection": (
        [{"in_joint": True, "day": MONDAY - 60}, {}], {}, MONDAY - 30.0, "noted", None,
    ),
    "a crack beside it is a fracture": (
        [{"stop_class": True, "remark": "pin cracked too", "severity": "stop"}], {}, None, "none", None,
    ),
    "nothing": ([], {}, None, "none", None),
    "the rate rose since": ([{"day": MONDAY - 40}], {"rises": True}, None, "rate_rose", NEXT),
    "the rate had risen before": ([{"day": MONDAY}], {"rises": True}, None, "noted", None),
    "the rate rose, inspected since": (
        [{"day": MONDAY - 40}], {"rises": True}, float(MONDAY), "looked_into", None,
    ),
    "the rate rose after an inspection": (
        [{"day": MONDAY - 40}], {"rises": True}, MONDAY - 30.0, "rate_rose", NEXT,
    ),
}  # fmt: skip


@cache
def told() -> Judged:
    """Every case of the table, each on a strand of its own."""
    rows, seen, measured, history, closed = [], [], [], {}, {}
    for name, (its, differs, done, *_) in SEEN.items():
        machine = f"machine of {name}"
        rises = {"pin_case_mm": 0, "bushing_case_mm": 0, "survey_hours": 4500} | worn(2.0)
        rows.append(alone(name, **(rises if "rises" in differs else {})))
        seen += [{"finding": "rust", "strand": name, "machine": machine} | one for one in its]
        if "rises" in differs:
            measured.append((f"{name}|2025-03-01", ROSE))
        if done is not None:
            history[DONE, machine] = done
            closed |= {(DONE, 500 + number): done for number in range(len(seen) - len(its), len(seen))}
    return judged(
        *rows,
        findings=findings(*seen),
        surveys=surveys(*measured),
        history=history,
        closed=closed,
        shutdowns=shutdowns(),
    )


@pytest.mark.parametrize("name", SEEN)
def test_when_corrosion_is_looked_into(name: str) -> None:
    *_, case, urgency = SEEN[name]
    row = verdict(told(), RULE, name)
    assert (row["reason"], row["answer"]) == (case, "due" if urgency else "clear")
    if urgency is not None:
        asked = due(told(), RULE, name)
        assert (asked.job, asked.urgency) == (Job.INSPECT_ALIGNMENT, urgency)


def test_no_other_rule_asks_for_corrosion_by_itself() -> None:
    for name in SEEN:
        asks = {each.rule for each in told().due if each.subject == name} & {RULE, "abnormal_finding"}
        assert len(asks) <= 1, name


def test_the_rise_is_told_with_both_rates() -> None:
    asked = due(told(), RULE, "the rate rose since")
    assert fact(asked, "rate_after") > 1.5 * fact(asked, "rate_before")
    assert fact(asked, "finding") == "rust"


def test_rust_and_the_rate_that_rose_with_it_ask_for_one_job_on_the_machine() -> None:
    asked = [due(told(), rule, "the rate rose since") for rule in (RULE, "rate_change")]
    assert [(each.job, each.machine, each.reason) for each in asked] == [
        (Job.INSPECT_ALIGNMENT, "machine of the rate rose since", "rate_rose"),
        (Job.INSPECT_ALIGNMENT, "machine of the rate rose since", "rust"),
    ]


def test_all_findings_stand_behind_the_order_the_newest_first() -> None:
    asked = due(told(), RULE, "on two inspections")
    assert fact(asked, "findings") == ("pitting", "rust")
    assert fact(asked, "inspections") == 2
    assert [len(each.rows) for each in asked.evidence] == [2]


def test_corrosion_of_a_whole_machine_is_the_machines_and_not_of_chains_long_gone() -> None:
    old = {"finding": "rust", "strand": "", "in_joint": True, "day": MONDAY - 400}
    new = {"finding": "rust", "strand": "", "in_joint": True}
    assert verdict(judged(strand(), findings=findings(old)), RULE, "BE-1")["reason"] == "none"
    found = judged(strand(), findings=findings(new))
    assert due(found, RULE, "BE-1").subject_kind == "machine"
    assert verdict(found, RULE)["reason"] == "none"


def test_a_strand_the_register_has_closed_is_not_asked_about() -> None:
    gone = {"finding": "rust", "strand": "BE-1-C", "in_joint": True}
    assert verdict(judged(strand(), findings=findings(gone)), RULE, "BE-1-C")["reason"] == "none"


def test_a_later_survey_is_new_evidence() -> None:
    seen = findings({"finding": "rust"})
    keys = {
        verdict(judged(strand(survey_rows=rows), findings=seen), RULE)["evidence_key"]
        for rows in ([10, 11], [14, 15])
    }
    assert len(keys) == 2
