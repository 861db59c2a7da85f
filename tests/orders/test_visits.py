"""Which orders share a lockout, and in which order the work is done (common practice, no source)."""

from __future__ import annotations

from datetime import date, timedelta

from tests.orders.plant import MONDAY, SETTINGS, Plant, clear, due, shutdown_frame

from takeup.model import Job, Order, OrderState, Urgency
from takeup.orders.visits import WORK, Visit, held, visits


def on(days: int) -> date:
    return MONDAY + timedelta(days=days)


def of(orders: list[Order]) -> list[Visit]:
    return visits(orders, as_of=MONDAY, settings=SETTINGS)


def test_every_job_that_stops_a_machine_has_its_place_in_the_work() -> None:
    assert set(WORK) == set(Job) - {Job.CORRECT_DATA}


def test_orders_of_a_machine_within_the_window_share_a_visit_in_the_order_of_work() -> None:
    plant = Plant()
    plant.tell(
        due(Job.LUBRICATE, "E1-A", need_by=on(30)),
        due(Job.MEASURE, "E1-A", need_by=on(40)),
        due(Job.ADJUST_TAKEUP, "E1-A", need_by=on(51)),
        due(Job.INSPECT_ALIGNMENT, "E1-A", need_by=on(52)),
        due(Job.MEASURE, "D2-N", need_by=on(30)),
        due(Job.CORRECT_DATA, "E1-A", need_by=on(30)),
    )
    numbers = {(order.job, order.machine): order.number for order in plant.book}
    drag, first, second = of(plant.book)
    assert drag.orders == (numbers[Job.MEASURE, "drag 2"],)
    assert first.orders == tuple(
        numbers[job, "elevator 1"] for job in (Job.MEASURE, Job.ADJUST_TAKEUP, Job.LUBRICATE)
    )
    assert (first.label, first.need_by) == ("elevator 1 2026-04-01", on(30))
    assert second.orders == (numbers[Job.INSPECT_ALIGNMENT, "elevator 1"],)


def test_nothing_else_is_done_to_a_strand_while_its_fracture_is_investigated() -> None:
    """The faces are evidence, dry and unbrushed (common practice, no source)."""
    plant = Plant()
    oiled, broken = due(Job.LUBRICATE, "D2-N"), due(Job.INVESTIGATE_FRACTURE, "D2-N", Urgency.STOP_NOW)
    plant.tell(oiled, broken, due(Job.ADJUST_TAKEUP, "D2-S"), due(Job.CORRECT_DATA, "D2-N"))
    number = {order.job: order.number for order in plant.book}
    first = number[Job.INVESTIGATE_FRACTURE]
    assert held(plant.book) == {number[Job.LUBRICATE]: (first,)}
    assert {one for visit in of(plant.book) for one in visit.orders} == {first, number[Job.ADJUST_TAKEUP]}
    plant.decide(first, "done")
    plant.tell(oiled, clear(broken), due(Job.ADJUST_TAKEUP, "D2-S"), known=1)
    still_open = [order for order in plant.book if order.state is not OrderState.DONE]
    assert held(still_open) == {}
    assert number[Job.LUBRICATE] in {one for visit in of(still_open) for one in visit.orders}


def test_one_shutdown_is_one_visit() -> None:
    plant = Plant(shutdowns=shutdown_frame(("overhaul", "all", on(30), on(90))))
    plant.tell(due(Job.MEASURE, need_by=on(31)), due(Job.LUBRICATE, need_by=on(80)))
    (visit,) = of(plant.book)
    assert (visit.shutdown, len(visit.orders)) == ("overhaul", 2)


def test_an_undated_order_goes_with_the_stop_that_is_near() -> None:
    plant = Plant()
    plant.tell(due(Job.MEASURE), due(Job.LUBRICATE, need_by=on(20)), due(Job.ADJUST_TAKEUP, need_by=on(60)))
    near, far = of(plant.book)
    assert len(near.orders) == 2
    assert near.label == "elevator 1 2026-03-22"
    assert len(far.orders) == 1


def test_an_undated_visit_is_named_after_its_first_order() -> None:
    plant = Plant()
    plant.tell(due(Job.MEASURE))
    (visit,) = of(plant.book)
    assert (visit.label, visit.need_by) == ("elevator 1 C-0001", None)


def test_a_day_that_is_past_does_not_drift_out_of_its_visit() -> None:
    """The next stop of both is the next there is, however long ago each was needed."""
    plant = Plant()
    plant.tell(due(Job.MEASURE, need_by=on(-90)), due(Job.LUBRICATE, need_by=on(2)))
    (visit,) = of(plant.book)
    assert (len(visit.orders), visit.need_by) == (2, on(-90))
    for days in (30, 300):
        (visit,) = visits(plant.book, as_of=on(days), settings=SETTINGS)
        assert len(visit.orders) == 2


def test_no_visit_waits_for_a_chain_that_is_still_to_come() -> None:
    """A set bought on the day it was asked for is here after its lead time, 112 days."""
    plant = Plant()
    plant.tell(
        due(Job.REPLACE_SET, "D2-N", need_by=on(3), buy_by=on(-120)), due(Job.MEASURE, "D2-N", need_by=on(6))
    )
    survey, renewal = of(plant.book)
    assert (survey.need_by, renewal.need_by) == (on(6), on(3))
    (visit,) = visits(plant.book, as_of=on(112), settings=SETTINGS)
    assert len(visit.orders) == 2  # the set can be here by now: one stop does for both


def test_a_visit_takes_the_day_of_a_part_that_is_needed_sooner() -> None:
    plant = Plant()
    plant.tell(
        due(Job.REPLACE_SET, "D2-N", need_by=on(126), buy_by=on(0)),
        due(Job.SPROCKETS, "D2-N", need_by=on(115)),
    )
    assert plant.order("C-0002").swallowed_by == "C-0001"
    (visit,) = of(plant.book)
    assert (visit.orders, visit.need_by) == (("C-0001",), on(115))


def test_what_is_put_off_or_part_of_a_larger_order_makes_no_visit_of_its_own() -> None:
    plant = Plant()
    verdicts = due(Job.REPLACE_SET, need_by=on(9)), due(Job.MEASURE, need_by=on(9)), due(Job.LUBRICATE)
    plant.tell(*verdicts)
    plant.decide("C-0001", "deferred", until=on(30))
    plant.tell(*verdicts, known=1)
    assert plant.order("C-0001").state is OrderState.DEFERRED
    (visit,) = of(plant.book)
    assert visit.orders == ("C-0003",)
    assert plant.order("C-0002").swallowed_by == "C-0003"
