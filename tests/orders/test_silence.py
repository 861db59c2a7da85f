"""What a finished job silences, for how long, and what is asked when its record does not come."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from tests.orders.plant import MONDAY, Plant, clear, closeout_frame, day_number, due

from takeup import orders
from takeup.model import Job, OrderState, Urgency, Verdict
from takeup.orders import silence


def on(days: int) -> date:
    return MONDAY + timedelta(days=days)


def plant_with_done(asked: Verdict, done: int = 1) -> Plant:
    """C-0001 was asked on Monday and done some days later; told up to Tuesday."""
    plant = Plant()
    plant.tell(asked)
    plant.decide("C-0001", "done", done_on=on(done), recorded_on=on(1))
    plant.tell(asked, known=1)
    assert plant.order("C-0001").state is OrderState.DONE
    return plant


OLD = MONDAY - timedelta(days=5)


@pytest.mark.parametrize(
    ("job", "seen", "days", "numbers"),
    [
        pytest.param(Job.INSPECT_ALIGNMENT, OLD, 1, 1, id="old evidence is silent"),
        pytest.param(Job.INSPECT_ALIGNMENT, on(2), 1, 2, id="evidence dated after the work speaks"),
        pytest.param(Job.INSPECT_ALIGNMENT, on(1), 1, 1, id="evidence of the day may be as found"),
        pytest.param(Job.INSPECT_ALIGNMENT, on(1), 7, 2, id="but speaks when the days are over"),
        pytest.param(Job.LUBRICATE, on(1), 1, 2, id="a lube record of the day is the work itself"),
        pytest.param(Job.MEASURE, on(1), 1, 2, id="a survey of the day is the work itself"),
        pytest.param(
            Job.REPLACE_SET, OLD, 90, 1, id="a renewal without a register row is asked by judgement"
        ),
        pytest.param(Job.CORRECT_DATA, OLD, 5, 1, id="wrong data are left alone for some days"),
        pytest.param(Job.CORRECT_DATA, OLD, 7, 2, id="then asked again"),
    ],
)
def test_after_a_job_was_done(job: Job, seen: date, days: int, numbers: int) -> None:
    plant = plant_with_done(due(job, seen_on=OLD))
    plant.tell(due(job, seen_on=seen), days=days)
    assert len(plant.book) == numbers


def test_a_mistake_that_the_finished_order_did_not_name_is_asked_for_at_once() -> None:
    known = due(Job.CORRECT_DATA, "run_hours/not_a_number", rule="data_unjudged", kind="source", seen_on=None)
    plant = plant_with_done(known)
    plant.tell(known, due(Job.CORRECT_DATA, "run_hours/meter_dropped", rule="data_unjudged", kind="source"))
    assert [[reason.subject for reason in order.reasons] for order in plant.book] == [
        ["run_hours/not_a_number"],
        ["run_hours/meter_dropped"],
    ]


def test_nothing_silences_stop_now() -> None:
    plant = plant_with_done(due(Job.INVESTIGATE_FRACTURE, urgency=Urgency.STOP_NOW, seen_on=OLD))
    assert [order.state for order in plant.book] == [OrderState.DONE, OrderState.PROPOSED]


def test_a_finding_that_the_finished_order_did_not_name_is_asked_for_at_once() -> None:
    """Rust seen on the same days was told after the side rub had been set right: nobody looked at it."""
    rub = due(Job.INSPECT_ALIGNMENT, "E1-A", rule="abnormal_finding", evidence=(7,), seen_on=OLD)
    rust = due(Job.INSPECT_ALIGNMENT, "E1-A", rule="corrosion_review", evidence=(8,), seen_on=OLD)
    plant = Plant()
    plant.tell(rub)
    plant.decide("C-0001", "done", done_on=on(1), recorded_on=on(1))
    closed = orders.closed_rows(plant.book, closeout_frame(plant.decisions))
    assert closed == {(Job.INSPECT_ALIGNMENT, 7): day_number(on(1))}
    plant.tell(clear(rub), rust)
    assert [(order.state, order.strands) for order in plant.book] == [
        (OrderState.DONE, ("E1-A",)),
        (OrderState.PROPOSED, ("E1-A",)),
    ]


def test_a_strand_that_the_work_did_not_cover_is_not_silenced() -> None:
    plant = plant_with_done(due(Job.LUBRICATE, "D2-N", seen_on=OLD))
    plant.tell(due(Job.LUBRICATE, "D2-N", seen_on=OLD), due(Job.LUBRICATE, "D2-S", seen_on=OLD))
    assert plant.book[-1].number == "C-0002"
    assert plant.book[-1].strands == ("D2-S",)


def test_a_second_strand_newly_due_does_not_wake_the_one_just_done() -> None:
    both = due(Job.LUBRICATE, "D2-N", seen_on=OLD), due(Job.LUBRICATE, "D2-S", seen_on=OLD)
    plant = Plant()
    plant.tell(*both)
    plant.decide("C-0001", "done", done_on=on(1), recorded_on=on(1))
    plant.tell(*both, known=1)
    plant.tell(due(Job.LUBRICATE, "D2-N", seen_on=on(2)), both[1])
    plant.tell(due(Job.LUBRICATE, "D2-N", seen_on=on(2)), both[1], known=3)
    assert plant.order("C-0002").strands == ("D2-N",)


def test_work_without_a_record_is_asked_for_as_data_and_rests_when_the_record_comes() -> None:
    asked = due(Job.LUBRICATE, "D2-N", seen_on=OLD)
    plant = plant_with_done(asked)
    plant.tell(asked, days=6, known=1)
    assert plant.as_of == on(7)
    assert len(plant.book) == 1
    plant.tell(asked, known=1)
    order = plant.order("C-0002")
    assert (order.job, order.subject, order.urgency) == (Job.CORRECT_DATA, silence.SUBJECT, Urgency.THIS_WEEK)
    (reason,) = order.reasons
    assert (reason.rule, reason.subject, reason.case) == (silence.RULE, "C-0001", "nothing_since")
    assert {fact.name: fact.value for fact in reason.facts} == {
        "order": "C-0001",
        "job": "lubricate",
        "done_on": on(1),
    }
    plant.tell(days=30)
    assert plant.order("C-0002").state is OrderState.PROPOSED
    plant.tell(clear(asked))
    assert plant.order("C-0002").state is OrderState.WITHDRAWN


def test_the_record_question_also_rests_when_newer_evidence_asks_for_the_job_anew() -> None:
    asked = due(Job.LUBRICATE, "D2-N", seen_on=OLD)
    plant = plant_with_done(asked)
    plant.tell(asked, days=20, known=1)
    plant.tell(due(Job.LUBRICATE, "D2-N", seen_on=on(10)))
    states = {order.number: (order.job, order.state) for order in plant.book}
    assert states["C-0002"] == (Job.CORRECT_DATA, OrderState.WITHDRAWN)
    assert states["C-0003"] == (Job.LUBRICATE, OrderState.PROPOSED)


def test_the_record_question_closed_out_without_a_record_comes_back_after_the_days() -> None:
    asked = due(Job.LUBRICATE, "D2-N", seen_on=OLD)
    plant = plant_with_done(asked)
    plant.tell(asked, days=20, known=1)
    plant.decide("C-0002", "done")
    plant.tell(asked, known=1)
    plant.tell(asked, days=6, known=1)
    assert [order.state for order in plant.book] == [OrderState.DONE, OrderState.DONE]
    plant.tell(asked, known=1)
    assert plant.book[-1].number == "C-0003"
    assert plant.book[-1].job is Job.CORRECT_DATA


def test_two_jobs_without_record_are_one_order() -> None:
    plant = Plant()
    asked = due(Job.LUBRICATE, "D2-N", seen_on=OLD), due(Job.MEASURE, "E1-A", seen_on=OLD)
    plant.tell(*asked)
    plant.decide("C-0001", "done")
    plant.decide("C-0002", "done")
    plant.tell(*asked, known=1)
    plant.tell(*asked, days=9, known=1)
    order = plant.order("C-0003")
    assert [reason.subject for reason in order.reasons] == ["C-0001", "C-0002"]
    assert order.strands == ("D2-N", "E1-A")
