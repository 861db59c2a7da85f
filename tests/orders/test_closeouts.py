"""Decisions of people: which one counts, what it does once, and what is handed back."""

from __future__ import annotations

from datetime import timedelta

import pytest
from tests.orders.plant import MONDAY, Plant, cannot_judge, changes, clear, closeout_frame, day_number, due

from takeup import orders
from takeup.model import Change, Job, OrderState, Urgency
from takeup.orders import closeouts

WORN = due(Job.REPLACE_SET, urgency=Urgency.NEXT_SHUTDOWN)


def plant_with_order(urgency: Urgency = Urgency.NEXT_SHUTDOWN) -> Plant:
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, urgency=urgency))
    return plant


def test_a_decision_is_an_event_with_who_and_why() -> None:
    plant = plant_with_order()
    plant.decide("C-0001", "accepted", by="planner 2")
    (event,) = plant.tell(WORN, known=1).events
    assert (event.change, event.by, event.note) == (Change.ACCEPTED, "planner 2", "as agreed")
    assert event.after == {"state": "accepted"}
    assert plant.order("C-0001").revision == 1


def test_of_two_decisions_the_one_recorded_later_counts() -> None:
    plant = plant_with_order()
    plant.decide("C-0001", "done", recorded_on=MONDAY + timedelta(days=1))
    plant.decide("C-0001", "accepted", recorded_on=MONDAY)
    plant.tell(WORN, known=1)
    assert plant.order("C-0001").state is OrderState.DONE


@pytest.mark.parametrize(
    ("urgency", "outcome", "until_in", "reason"),
    [
        (Urgency.STOP_NOW, "deferred", 9, "stop_now_stands"),
        (Urgency.STOP_NOW, "declined", None, "stop_now_stands"),
        (Urgency.PLAN, "deferred", None, "until_missing"),
        (Urgency.PLAN, "deferred", 0, "until_passed"),
        (Urgency.PLAN, "declined", 1, "until_passed"),
    ],
)
def test_a_decision_that_cannot_hold_is_handed_back_each_night(
    urgency: Urgency, outcome: str, until_in: int | None, reason: str
) -> None:
    plant = plant_with_order(urgency)
    until = None if until_in is None else plant.as_of + timedelta(days=until_in)
    plant.decide("C-0001", outcome, until=until)
    for _ in range(2):
        told = plant.tell(due(Job.REPLACE_SET, urgency=urgency), known=1)
        assert told.events == []
        assert [(p.reason, p.found, p.row_id, p.state) for p in told.problems] == [
            (reason, "C-0001", 100, "set aside")
        ]
    assert plant.order("C-0001").state is OrderState.PROPOSED


def test_a_decision_about_an_unknown_order_is_handed_back_and_does_not_wait_for_its_number() -> None:
    plant = Plant()
    plant.decide("C-0001", "declined")
    told = plant.tell()
    assert [(p.reason, p.found, p.line) for p in told.problems] == [("order_unknown", "C-0001", 100)]
    assert [p.reason for p in plant.tell(WORN).problems] == ["order_unknown"]
    assert plant.tell(WORN).problems == []
    assert plant.order("C-0001").state is OrderState.PROPOSED


def test_a_decision_dated_after_the_night_that_knew_it_still_counts() -> None:
    """Recorded on Tuesday morning, delivered before Monday was told: it counts on Tuesday."""
    plant = plant_with_order()
    plant.decide("C-0001", "accepted", recorded_on=MONDAY + timedelta(days=2))
    waiting, plant.decisions = plant.decisions, []
    plant.tell(due(Job.REPLACE_SET, urgency=Urgency.THIS_WEEK))
    plant.decisions = waiting
    plant.tell(due(Job.REPLACE_SET, urgency=Urgency.THIS_WEEK), known=2)
    assert plant.order("C-0001").state is OrderState.ACCEPTED


def test_declined_without_a_day_holds_until_the_urgency_rises() -> None:
    plant = plant_with_order()
    plant.decide("C-0001", "declined")
    plant.tell(WORN, known=1)
    plant.tell(WORN, days=400)
    assert plant.order("C-0001").state is OrderState.DECLINED
    plant.tell(due(Job.REPLACE_SET, urgency=Urgency.THIS_WEEK))
    assert plant.order("C-0001").state is OrderState.PROPOSED
    plant.tell(due(Job.REPLACE_SET, urgency=Urgency.THIS_WEEK), days=2, known=4)
    assert plant.order("C-0001").state is OrderState.PROPOSED


def test_a_stale_decline_does_not_hold_a_withdrawn_order_that_falls_due_again() -> None:
    plant = plant_with_order()
    plant.tell(clear(WORN))
    plant.decide("C-0001", "declined")
    told = plant.tell(clear(WORN), known=2)
    assert [p.reason for p in told.problems] == ["order_withdrawn"]
    assert changes(plant.tell(WORN)) == [Change.REOPENED]
    assert plant.tell(WORN, known=4).problems == []
    assert plant.order("C-0001").state is OrderState.PROPOSED


def test_accepting_a_withdrawn_order_brings_it_back_until_it_is_closed_out() -> None:
    plant = plant_with_order()
    plant.tell(clear(WORN))
    plant.decide("C-0001", "accepted")
    plant.tell(clear(WORN), known=2)
    plant.tell(clear(WORN))
    assert plant.order("C-0001").state is OrderState.ACCEPTED


@pytest.mark.parametrize("outcome", ["accepted", "declined", "done"])
def test_a_decision_its_source_takes_back_no_longer_holds(outcome: str) -> None:
    plant = plant_with_order()
    plant.decide("C-0001", outcome)
    plant.tell(WORN, known=1)
    plant.decisions.clear()
    told = plant.tell(WORN, known=1)
    assert changes(told) == [Change.REOPENED]
    assert plant.order("C-0001").state is OrderState.PROPOSED


def test_an_order_that_was_followed_by_a_newer_one_stays_done() -> None:
    plant = plant_with_order()
    plant.decide("C-0001", "done")
    plant.tell(WORN, known=1)
    plant.tell(due(Job.REPLACE_SET, seen_on=MONDAY + timedelta(days=2)))
    assert [order.number for order in plant.book] == ["C-0001", "C-0002"]
    plant.decide("C-0001", "accepted")
    told = plant.tell(cannot_judge(WORN))
    assert [p.reason for p in told.problems] == ["order_followed"]
    assert [order.state for order in plant.book] == [OrderState.DONE, OrderState.PROPOSED]


def test_every_reason_of_a_void_decision_is_explained() -> None:
    assert all(closeouts.REASONS.values())
    assert len(closeouts.REASONS) == 8


def test_the_history_of_done_work_names_job_subject_and_day() -> None:
    plant = plant_with_order()
    plant.decide("C-0001", "done", done_on=MONDAY)
    history = orders.done_days(plant.book, closeout_frame(plant.decisions))
    assert history == {(Job.REPLACE_SET, "E1"): float(day_number(MONDAY))}


@pytest.mark.parametrize(
    ("urgency", "blank", "wanting"),
    [
        (Urgency.NEXT_SHUTDOWN, {"done_on_day": float("nan")}, "done_on"),
        (Urgency.STOP_NOW, {"as_found": "", "as_left": ""}, "as_found, as_left"),
        (Urgency.STOP_NOW, {"recorded_by": ""}, "recorded_by"),
    ],
)
def test_a_close_out_that_does_not_say_all_ends_nothing_until_it_does(
    urgency: Urgency, blank: dict[str, object], wanting: str
) -> None:
    asked = due(Job.REPLACE_SET, urgency=urgency)
    plant = plant_with_order(urgency)
    plant.decide("C-0001", "done", **blank)
    for _ in range(9):
        told = plant.tell(asked, known=1)
        assert [(p.reason, p.wanted) for p in told.problems] == [("done_incomplete", wanting)]
        assert plant.order("C-0001").state is OrderState.PROPOSED
        assert orders.done_days(plant.book, closeout_frame(plant.decisions)) == {}
    plant.decide("C-0001", "done")
    told = plant.tell(clear(asked))
    assert told.problems == []
    assert plant.order("C-0001").state is OrderState.DONE


def test_the_decision_before_an_incomplete_close_out_holds() -> None:
    plant = plant_with_order()
    plant.decide("C-0001", "accepted")
    plant.tell(WORN, known=1)
    plant.decide("C-0001", "done", done_on_day=float("nan"))
    plant.tell(WORN, known=1)
    assert plant.order("C-0001").state is OrderState.ACCEPTED


def test_what_was_found_and_left_is_kept_with_the_event() -> None:
    plant = plant_with_order()
    plant.decide("C-0001", "done", as_found="a pin had turned", as_left="renewed", hours_used=6.5)
    (event,) = plant.tell(WORN, known=1).events
    said = {"as_found": "a pin had turned", "as_left": "renewed", "hours_used": "6.5"}
    assert event.after == said | {"state": "done", "done_on": "2026-03-03"}


EARLY = MONDAY + timedelta(days=30)


@pytest.mark.parametrize(
    ("job", "facts", "past_it"),
    [
        (Job.REPLACE_SET, {"limit": "conveyor", "early_on": EARLY}, "until_past_limit"),
        (Job.REPLACE_SET, {"limit": "pin", "early_on": EARLY}, "until_past_limit"),
        (Job.REPLACE_SET, {"limit": "case", "early_on": EARLY}, ""),
        (Job.REPLACE_SET, {"limit": "case", "next_limit": "pin", "early_on": EARLY}, "until_past_limit"),
        (
            Job.REPLACE_SET,
            {"limit": "fixed", "e_percent": 1.6, "limit_percent": 1.5, "survey_on": EARLY},
            "until_past_limit",
        ),
        (Job.ADJUST_TAKEUP, {"takeup_out_early_on": EARLY}, "until_past_limit"),
        (Job.MEASURE, {"limit": "conveyor", "early_on": EARLY}, "until_past_limit"),
        (Job.LUBRICATE, {}, ""),
    ],
)
@pytest.mark.parametrize("outcome", ["deferred", "declined"])
def test_nothing_is_put_off_past_the_day_a_limit_of_function_or_strength_may_come(
    job: Job, facts: dict[str, object], past_it: str, outcome: str
) -> None:
    asked = due(job, urgency=Urgency.THIS_WEEK, **facts)
    for days, reason in ((0, ""), (1, past_it)):
        plant = Plant()
        plant.tell(asked)
        before = plant.order("C-0001")
        plant.decide("C-0001", outcome, until=EARLY + timedelta(days=days))
        told = plant.tell(asked, known=1)
        assert [p.reason for p in told.problems] == ([reason] if reason else [])
        if reason:
            assert plant.order("C-0001") == before
            assert told.problems[0].wanted == EARLY.isoformat()
        else:
            assert plant.order("C-0001").state.value == outcome


@pytest.mark.parametrize(
    ("outcome", "days", "moved_to", "stands"),
    [
        pytest.param("deferred", 20, 25, OrderState.DEFERRED, id="the limit still comes after the day"),
        pytest.param("deferred", 20, 20, OrderState.DEFERRED, id="on the day itself"),
        pytest.param("deferred", 20, 19, OrderState.PROPOSED, id="the limit may come before the day"),
        pytest.param("declined", 20, 19, OrderState.PROPOSED, id="declined until a day after the limit"),
        pytest.param("declined", None, 3, OrderState.DECLINED, id="declined without a day, limit ahead"),
        pytest.param("declined", None, 2, OrderState.PROPOSED, id="declined without a day, limit come"),
    ],
)
def test_an_order_put_off_comes_back_where_a_limit_may_come_before_its_day(
    outcome: str, days: int | None, moved_to: int, stands: OrderState
) -> None:
    """Nothing may fail while it is put off: the day of a refusal holds after the decision too."""
    asked = due(Job.REPLACE_SET, limit="conveyor", early_on=EARLY)
    plant = Plant()
    plant.tell(asked)
    plant.decide("C-0001", outcome, until=None if days is None else MONDAY + timedelta(days=days))
    plant.tell(asked, known=1)
    assert plant.order("C-0001").state.value == outcome
    told = plant.tell(
        due(Job.REPLACE_SET, limit="conveyor", early_on=MONDAY + timedelta(days=moved_to)), days=1
    )
    assert plant.order("C-0001").state is stands
    assert (changes(told)[-1] is Change.REOPENED) == (stands is OrderState.PROPOSED)
    assert told.problems == []


def test_a_limit_that_has_come_is_not_declined() -> None:
    asked = due(Job.REPLACE_SET, limit="pin", early_on=MONDAY)
    plant = Plant()
    plant.tell(asked)
    plant.decide("C-0001", "declined")
    for _ in range(2):
        assert [p.reason for p in plant.tell(asked, known=1).problems] == ["until_past_limit"]
        assert plant.order("C-0001").state is OrderState.PROPOSED


def test_a_decision_that_the_evidence_of_its_night_undoes_is_told_with_who_and_why() -> None:
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, limit="conveyor", early_on=EARLY))
    plant.decide("C-0001", "deferred", until=EARLY - timedelta(days=1), by="planner 2")
    told = plant.tell(due(Job.REPLACE_SET, limit="conveyor", early_on=EARLY - timedelta(days=9)))
    assert [(event.change, event.by) for event in told.events] == [
        (Change.DEFERRED, "planner 2"),
        (Change.REOPENED, ""),
    ]
    assert plant.order("C-0001").state is OrderState.PROPOSED


def test_work_is_never_done_after_it_was_recorded() -> None:
    plant = plant_with_order()
    plant.decide("C-0001", "done", done_on=MONDAY + timedelta(days=99), recorded_on=MONDAY)
    history = orders.done_days(plant.book, closeout_frame(plant.decisions))
    assert history[Job.REPLACE_SET, "E1"] == day_number(MONDAY)


@pytest.mark.parametrize(
    ("facts", "past"),
    [
        ({"limit": "conveyor", "early_on": MONDAY}, True),
        ({"limit": "case", "next_limit": "pin", "early_on": MONDAY}, True),
        ({"limit": "case", "early_on": MONDAY}, False),
        ({"limit": "pin", "early_on": MONDAY + timedelta(days=2)}, False),
        ({"limit": "pin"}, False),
        # The survey itself shows it: that is told as reached, and another survey would tell nothing more.
        ({"limit": "conveyor", "early_on": MONDAY, "hours_middle": 0.0}, False),
        ({"limit": "conveyor", "early_on": MONDAY, "e_percent": 3.0, "limit_percent": 3.0}, False),
    ],
)
def test_an_early_date_is_past_for_a_limit_of_function_or_strength(
    facts: dict[str, object], past: bool
) -> None:
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, **facts))
    assert closeouts.early_date_past(plant.order("C-0001"), MONDAY) == (MONDAY if past else None)
