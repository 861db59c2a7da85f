"""Replacing a set takes in the smaller jobs of one stop (common practice, no source; 21 days proposed)."""

from __future__ import annotations

from datetime import timedelta

import pytest
from tests.orders.plant import MONDAY, STATE, Plant, cannot_judge, changes, clear, due, shutdown_frame

from takeup.layered import Layered, Override
from takeup.model import Change, Job, OrderState, Urgency, Verdict
from takeup.orders import OrdersSettings

U = Urgency
STOP = MONDAY + timedelta(days=60)
RENEW = due(Job.REPLACE_SET, "E1-A", U.NEXT_SHUTDOWN, need_by=STOP)


def small(job: Job, subject: str = "E1-A", urgency: Urgency = U.NEXT_SHUTDOWN, days: int = 0) -> Verdict:
    return due(job, subject, urgency, need_by=STOP + timedelta(days=days))


@pytest.mark.parametrize(
    ("verdict", "taken_in"),
    [
        pytest.param(small(Job.MEASURE), True, id="measure"),
        pytest.param(small(Job.ADJUST_TAKEUP), True, id="adjust"),
        pytest.param(small(Job.SPROCKETS), True, id="sprockets"),
        pytest.param(small(Job.INVESTIGATE_FRACTURE), False, id="never a fracture"),
        pytest.param(small(Job.INSPECT_ALIGNMENT), False, id="not alignment"),
        pytest.param(small(Job.LUBRICATE), False, id="not lubrication"),
        pytest.param(small(Job.MEASURE, days=21), True, id="on the window"),
        pytest.param(small(Job.MEASURE, days=-1), False, id="needed before the renewal can be"),
        pytest.param(small(Job.MEASURE, days=22), False, id="after the window"),
        pytest.param(small(Job.MEASURE, urgency=U.THIS_WEEK), False, id="more urgent than the renewal"),
        pytest.param(small(Job.MEASURE, urgency=U.PLAN), True, id="less urgent"),
        pytest.param(small(Job.MEASURE, "D2-N"), False, id="another machine"),
        pytest.param(due(Job.MEASURE), False, id="undated, the renewal is far"),
    ],
)
def test_which_job_is_part_of_a_renewal(verdict: Verdict, taken_in: bool) -> None:
    plant = Plant()
    plant.tell(RENEW, verdict)
    by_job = {order.job: order for order in plant.book}
    larger = by_job[Job.REPLACE_SET]
    assert by_job[verdict.job or Job.MEASURE].swallowed_by == (larger.number if taken_in else "")
    assert larger.swallowed_by == ""


@pytest.mark.parametrize(
    ("days", "taken_in"),
    [
        pytest.param(111, False, id="needed before the set is here"),
        pytest.param(112, True, id="the set is here on that day"),
        pytest.param(126, True, id="on the renewal's day"),
        pytest.param(147, True, id="on the window"),
        pytest.param(148, False, id="after the window"),
    ],
)
def test_a_smaller_job_does_not_wait_for_a_set_that_is_not_here(days: int, *, taken_in: bool) -> None:
    """Bought on its buy-by, tonight, the set is here after its lead time of 112 days; margin 14 days."""
    plant = Plant()
    plant.tell(
        due(Job.REPLACE_SET, "D2-N", need_by=MONDAY + timedelta(days=126), buy_by=MONDAY),
        due(Job.SPROCKETS, "D2-N", need_by=MONDAY + timedelta(days=days)),
    )
    by_job = {order.job: order for order in plant.book}
    assert bool(by_job[Job.SPROCKETS].swallowed_by) is taken_in


def test_a_survey_due_next_week_is_not_put_off_until_a_late_set_arrives() -> None:
    late = due(
        Job.REPLACE_SET,
        "D2-N",
        U.THIS_WEEK,
        need_by=MONDAY - timedelta(days=60),
        buy_by=MONDAY - timedelta(days=186),
    )
    survey = due(Job.MEASURE, "D2-N", U.THIS_WEEK)
    plant = Plant()
    plant.tell(late, survey)
    for days in (7, 30, 60):
        assert plant.tell(late, survey, days=days, known=1).events == []
        assert all(order.swallowed_by == "" for order in plant.book)
    # 112 days after it was asked for, the set can be here: what is left is one stop.
    plant.tell(late, survey, days=20, known=1)
    assert [order.job for order in plant.book if order.swallowed_by] == [Job.MEASURE]


def test_a_survey_that_is_due_before_the_chain_is_bought_stays_by_itself() -> None:
    """It says whether to buy; a set of short lead time may be bought within the window of its renewal."""
    quick = STATE.assign(lead_days=3.0)
    buy = MONDAY + timedelta(days=10)
    for days, alone in ((10, True), (11, True), (13, False)):
        plant = Plant(state=quick)
        plant.tell(
            due(Job.REPLACE_SET, "D2-N", need_by=buy + timedelta(days=8), buy_by=buy),
            due(Job.MEASURE, "D2-N", need_by=MONDAY + timedelta(days=days)),
        )
        measure = next(order for order in plant.book if order.job is Job.MEASURE)
        assert (measure.swallowed_by == "") is alone, days


def test_stop_now_stays_by_itself_even_beside_a_renewal_that_stops_too() -> None:
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, urgency=U.STOP_NOW), due(Job.ADJUST_TAKEUP, urgency=U.STOP_NOW))
    assert all(order.swallowed_by == "" for order in plant.book)


def test_one_shutdown_is_one_stop_however_long() -> None:
    long = shutdown_frame(("overhaul", "all", STOP, STOP + timedelta(days=50)))
    plant = Plant(shutdowns=long)
    plant.tell(RENEW, small(Job.MEASURE, days=45))
    assert plant.order("C-0001").swallowed_by == "C-0002"


def test_a_measurement_of_another_set_too_stays_by_itself() -> None:
    plant = Plant()
    renew = due(Job.REPLACE_SET, "D2-N", U.NEXT_SHUTDOWN, need_by=STOP)
    plant.tell(renew, small(Job.MEASURE, "D2-N"), small(Job.MEASURE, "D2-S"))
    assert all(order.swallowed_by == "" for order in plant.book)


def test_the_larger_order_lists_the_parts_of_the_smaller() -> None:
    plant = Plant()
    plant.tell(RENEW)
    assert "retainers" not in plant.order("C-0001").parts
    told = plant.tell(RENEW, small(Job.ADJUST_TAKEUP), known=1)
    assert "retainers" in plant.order("C-0001").parts
    assert changes(told) == [Change.REVISED, Change.RAISED]
    assert told.events[1].after["swallowed_by"] == "C-0001"


def test_an_open_order_becomes_part_of_a_renewal_and_stands_alone_again_when_that_is_withdrawn() -> None:
    plant = Plant()
    plant.tell(small(Job.MEASURE))
    told = plant.tell(small(Job.MEASURE), RENEW, known=1)
    assert changes(told) == [Change.REVISED, Change.RAISED]
    assert plant.order("C-0001").swallowed_by == "C-0002"
    plant.tell(cannot_judge(small(Job.MEASURE)), clear(RENEW))
    measure = plant.order("C-0001")
    assert (measure.state, measure.swallowed_by) == (OrderState.PROPOSED, "")


@pytest.mark.parametrize("outcome", ["accepted", "declined"])
def test_what_people_decided_on_stays_by_itself(outcome: str) -> None:
    plant = Plant()
    plant.tell(small(Job.MEASURE))
    plant.decide("C-0001", outcome)
    plant.tell(small(Job.MEASURE), RENEW, known=1)
    assert plant.order("C-0001").swallowed_by == ""


def test_a_renewal_that_is_put_off_takes_nothing_in() -> None:
    plant = Plant()
    plant.tell(RENEW, small(Job.MEASURE))
    plant.decide("C-0002", "deferred", until=STOP)
    plant.tell(RENEW, small(Job.MEASURE), known=1)
    assert plant.order("C-0002").job is Job.REPLACE_SET
    assert plant.order("C-0001").swallowed_by == ""


def test_a_renewal_done_is_done_with_all_its_parts() -> None:
    plant = Plant()
    plant.tell(RENEW, small(Job.MEASURE))
    plant.decide("C-0002", "done")
    told = plant.tell(RENEW, small(Job.MEASURE), known=1)
    assert changes(told) == [Change.DONE, Change.DONE]
    assert told.events[0].by == "planner 1"
    plant.tell(RENEW, small(Job.MEASURE), known=1)
    assert [order.state for order in plant.book] == [OrderState.DONE, OrderState.DONE]
    plant.decisions.clear()
    plant.tell(RENEW, small(Job.MEASURE), known=1)
    assert [order.state for order in plant.book] == [OrderState.PROPOSED, OrderState.PROPOSED]


def test_a_machine_may_have_a_window_of_its_own() -> None:
    own = Override(7, "short stops", "lead 1", MONDAY, STOP, "settings, machine elevator 1")
    settings = Layered(OrdersSettings(), machine={"elevator 1": {"bundling_days": own}})
    plant = Plant(settings=settings)
    plant.tell(RENEW, small(Job.MEASURE, days=8))
    assert all(order.swallowed_by == "" for order in plant.book)
