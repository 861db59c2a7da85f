"""Rows kept out and values missing are put right by people, one order a feed and reason."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import MONDAY, alone, due, fact, judged, strand, unmeasured, verdict, worn

from takeup.judgement.judging import Judged
from takeup.model import Job, KeptOut, Urgency, row_ids


def asked_of(*rows: dict[str, Any], **known: Any) -> Judged:
    return judged(*rows, only=("data_unjudged",), **known)


def kept(reason: str, line: int, subject: str = "", state: str = "refused", **more: Any) -> KeptOut:
    usual = {"feed": "elongation_readings", "file": "elongation_march.csv", "sha256": "ab", "raw": "x"}
    return KeptOut(state, reason, line=line, subject=subject, **(usual | more))


def test_rows_of_one_feed_and_reason_are_one_order() -> None:
    rows = tuple(kept("ambiguous_number", line) for line in (31, 4, 17))
    told = asked_of(strand(**worn(0.5)), kept_out=rows)
    asked = due(told, "data_unjudged", "elongation_readings/ambiguous_number")
    assert (asked.subject_kind, asked.job, asked.urgency) == ("source", Job.CORRECT_DATA, Urgency.PLAN)
    assert asked.reason == "rows_refused"
    assert (fact(asked, "rows"), fact(asked, "feed")) == (3, "elongation_readings")
    assert fact(asked, "lines") == tuple(f"elongation_march.csv line {line}" for line in (4, 17, 31))


def test_two_lines_of_one_file_are_two_pieces_of_evidence() -> None:
    rows = tuple(kept("not_a_number", line, sha256="c0ffee" * 11) for line in (3, 4))
    subject = "elongation_readings/not_a_number"
    both, one, other = (
        verdict(asked_of(strand(), kept_out=kept_out), "data_unjudged", subject)
        for kept_out in (rows, rows[:1], rows[1:])
    )
    assert len({both["evidence_key"], one["evidence_key"], other["evidence_key"]}) == 3


@pytest.mark.parametrize(
    ("state", "reason", "case"),
    [
        ("refused", "not_a_number", "rows_refused"),
        ("waiting", "strand_unknown", "rows_waiting"),
        ("set aside", "whole_pitch_miscount", "rows_set_aside"),
    ],
)
def test_the_case_says_how_far_the_row_came(state: str, reason: str, case: str) -> None:
    told = asked_of(strand(), kept_out=(kept(reason, 3, state=state),))
    assert verdict(told, "data_unjudged", f"elongation_readings/{reason}")["reason"] == case


def test_a_file_refused_as_a_whole_is_named_without_a_line() -> None:
    told = asked_of(strand(), kept_out=(kept("too_many_missing", 0, feed="strands", file="strands.csv"),))
    asked = due(told, "data_unjudged", "strands/too_many_missing")
    assert asked.reason == "file_refused"
    assert fact(asked, "lines") == ("strands.csv",)


def test_a_file_that_was_refused_and_came_well_is_told_clear() -> None:
    told = asked_of(strand())
    assert verdict(told, "data_unjudged", "strands/too_many_missing")["answer"] == "clear"


def test_a_row_dated_later_than_the_day_told_is_no_mistake() -> None:
    told = asked_of(strand(), kept_out=(kept("dated_later", 3, state="waiting"),))
    assert not [each for each in told.due if each.rule == "data_unjudged"]


@pytest.mark.parametrize(
    ("row", "urgency"),
    [
        pytest.param(strand(**worn(0.5)), Urgency.PLAN, id="strand-in-good-order"),
        pytest.param(strand(**worn(1.6)), Urgency.THIS_WEEK, id="past-its-plan-line"),
        pytest.param(unmeasured(), Urgency.THIS_WEEK, id="cannot-be-judged"),
    ],
)
def test_rows_that_may_hide_an_alert_are_wanted_this_week(row: dict[str, Any], urgency: Urgency) -> None:
    told = asked_of(row, kept_out=(kept("whole_pitch_miscount", 3, "BE-1-A", "set aside", row_id=77),))
    asked = due(told, "data_unjudged", "elongation_readings/whole_pitch_miscount")
    assert asked.urgency is urgency
    assert fact(asked, "hides_alert") is (urgency is Urgency.THIS_WEEK)
    assert row_ids(asked.evidence) == (77,)


def test_meter_rows_concern_the_strands_of_their_machine() -> None:
    row = kept("meter_dropped", 3, "BE-1", "set aside", feed="run_hours")
    told = asked_of(strand(**worn(1.6)), kept_out=(row,))
    asked = due(told, "data_unjudged", "run_hours/meter_dropped")
    assert (fact(asked, "strands"), asked.urgency) == (("BE-1-A",), Urgency.THIS_WEEK)


def test_what_was_put_right_is_told_clear_on_other_evidence() -> None:
    subject = "elongation_readings/not_a_number"
    before = verdict(asked_of(strand(), kept_out=(kept("not_a_number", 3),)), "data_unjudged", subject)
    after = verdict(asked_of(strand()), "data_unjudged", subject)
    assert (before["answer"], after["answer"], after["reason"]) == ("due", "clear", "nothing_open")
    assert before["evidence_key"] != after["evidence_key"]


NO_LIMIT = {
    "pin_case_mm": np.nan, "bushing_case_mm": np.nan, "takeup_travel_mm": np.nan, "bushing_bore_mm": np.nan,
    "teeth_max": np.nan, "teeth_drive": np.nan, "teeth_tail": np.nan, "pin_diameter_mm": np.nan,
}  # fmt: skip


@pytest.mark.parametrize(
    ("row", "subject"),
    [
        pytest.param(
            strand(**NO_LIMIT), "strands/teeth_drive", id="teeth-of-a-strand-whose-limit-may-be-lower"
        ),
        pytest.param(
            strand(**NO_LIMIT), "strands/pin_diameter_mm", id="pin-of-a-strand-whose-limit-may-be-lower"
        ),
        pytest.param(unmeasured(pitch_mm=np.nan), "strands/pitch_mm", id="pitch"),
        pytest.param(strand(takeup_travel_mm=np.nan), "strands/takeup_travel_mm", id="travel"),
        pytest.param(strand(lube_plan=""), "strands/lube_plan", id="lube-plan"),
        pytest.param(strand(hours_now=np.nan), "run_hours/hours_missing", id="meter"),
        pytest.param(strand(registered=False), "strands/not_registered", id="register"),
    ],
)
def test_a_value_missing_where_a_verdict_wants_it_is_asked_for(row: dict[str, Any], subject: str) -> None:
    told = asked_of(row, alone("sound", **worn(0.5)))
    assert fact(due(told, "data_unjudged", subject), "strands") == ("BE-1-A",)


@pytest.mark.parametrize(
    "row",
    [
        pytest.param(strand(pin_diameter_mm=np.nan), id="one-limit-of-several"),
        pytest.param(strand(fixed_centres="yes", takeup_travel_mm=np.nan), id="travel-on-fixed-centres"),
        pytest.param(strand(lube_plan="none_by_decision"), id="dry-by-decision"),
    ],
)
def test_a_value_that_leaves_the_strand_judged_is_not_asked_for(row: dict[str, Any]) -> None:
    told = asked_of(row)
    assert not [each for each in told.due if each.rule == "data_unjudged"]


@pytest.mark.parametrize(
    ("fitted", "done", "due_now"),
    [
        pytest.param(MONDAY - 300, MONDAY - 7, True, id="old-life-still-open"),
        pytest.param(MONDAY - 300, MONDAY - 6, False, id="the-register-has-a-week"),
        pytest.param(MONDAY - 12, MONDAY - 7, False, id="fitted-some-days-before-the-close-out"),
        pytest.param(MONDAY - 3, MONDAY - 300, False, id="renewed-again"),
    ],
)
def test_a_set_closed_out_as_replaced_wants_a_new_life(fitted: int, done: int, due_now: bool) -> None:
    told = asked_of(strand(fitted_day=fitted), history={(Job.REPLACE_SET, "BE-1"): done})
    row = verdict(told, "data_unjudged", "strands/renewal_not_recorded")
    assert (row["answer"] == "due") is due_now
    if due_now:
        asked = due(told, "data_unjudged", "strands/renewal_not_recorded")
        assert (asked.urgency, fact(asked, "replaced_on")) == (Urgency.THIS_WEEK, date(2026, 2, 23))
