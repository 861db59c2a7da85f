"""What one night makes of an order, state by state. The rules are takeup's own, proposed, no source."""

from __future__ import annotations

from datetime import timedelta

import pytest
from tests.orders.plant import (
    MONDAY,
    STATE,
    Plant,
    cannot_judge,
    changes,
    clear,
    closeout_frame,
    due,
    frame,
    shutdown_frame,
)

from takeup import orders
from takeup.layered import Layered, Override
from takeup.model import Change, Job, OrderState, Urgency, Verdict
from takeup.orders import OrdersSettings

S, U = OrderState, Urgency
LATER = MONDAY + timedelta(days=60)


def worn(urgency: Urgency) -> Verdict:
    return due(Job.REPLACE_SET, "E1-A", urgency)


def plant_with(state: OrderState, urgency: Urgency) -> Plant:
    """A plant whose order C-0001 stands in this state on its second or third night."""
    plant = Plant()
    plant.tell(worn(urgency))
    match state:
        case S.PROPOSED:
            pass
        case S.WITHDRAWN:
            plant.tell(clear(worn(urgency)))
        case S.DEFERRED | S.DECLINED:
            plant.decide("C-0001", state.value, until=LATER)
            plant.tell(worn(urgency), known=1)
        case _:
            plant.decide("C-0001", state.value)
            plant.tell(worn(urgency), known=1)
    assert plant.order("C-0001").state is state
    return plant


FIRST = U.NEXT_SHUTDOWN
CASES = [
    # state before, urgency before, answer tonight, evidence is new, state after, urgency after, changes
    ("same again", S.PROPOSED, FIRST, worn(FIRST), False, S.PROPOSED, FIRST, []),
    ("new evidence", S.PROPOSED, FIRST, worn(FIRST), True, S.PROPOSED, FIRST, [Change.REFRESHED]),
    ("rises", S.PROPOSED, FIRST, worn(U.THIS_WEEK), True, S.PROPOSED, U.THIS_WEEK, [Change.REVISED]),
    ("falls", S.PROPOSED, FIRST, worn(U.PLAN), True, S.PROPOSED, U.PLAN, [Change.REVISED]),
    ("clear, new", S.PROPOSED, FIRST, clear(worn(FIRST)), True, S.WITHDRAWN, FIRST, [Change.WITHDRAWN]),
    ("clear, old", S.PROPOSED, FIRST, clear(worn(FIRST)), False, S.PROPOSED, FIRST, []),
    ("cannot judge", S.PROPOSED, FIRST, cannot_judge(worn(FIRST)), True, S.PROPOSED, FIRST, []),
    ("not asked", S.PROPOSED, FIRST, None, True, S.PROPOSED, FIRST, []),
    ("stop now, clear", S.PROPOSED, U.STOP_NOW, clear(worn(FIRST)), True, S.PROPOSED, U.STOP_NOW, []),
    ("stop now, falls", S.PROPOSED, U.STOP_NOW, worn(U.PLAN), False, S.PROPOSED, U.STOP_NOW, []),
    ("accepted, clear", S.ACCEPTED, FIRST, clear(worn(FIRST)), True, S.ACCEPTED, FIRST, []),
    ("accepted, rises", S.ACCEPTED, FIRST, worn(U.STOP_NOW), True, S.ACCEPTED, U.STOP_NOW, [Change.REVISED]),
    ("put off, same", S.DEFERRED, FIRST, worn(FIRST), True, S.DEFERRED, FIRST, [Change.REFRESHED]),
    ("put off, falls", S.DEFERRED, FIRST, worn(U.PLAN), False, S.DEFERRED, FIRST, []),
    (
        "put off, rises",
        S.DEFERRED,
        FIRST,
        worn(U.THIS_WEEK),
        True,
        S.PROPOSED,
        U.THIS_WEEK,
        [Change.REOPENED],
    ),
    ("put off, clear", S.DEFERRED, FIRST, clear(worn(FIRST)), True, S.WITHDRAWN, FIRST, [Change.WITHDRAWN]),
    ("put off, stops", S.DEFERRED, FIRST, worn(U.STOP_NOW), False, S.PROPOSED, U.STOP_NOW, [Change.REOPENED]),
    ("declined, same", S.DECLINED, FIRST, worn(FIRST), False, S.DECLINED, FIRST, []),
    ("declined, rises", S.DECLINED, FIRST, worn(U.STOP_NOW), True, S.PROPOSED, U.STOP_NOW, [Change.REOPENED]),
    ("declined, mute", S.DECLINED, FIRST, cannot_judge(worn(FIRST)), True, S.DECLINED, FIRST, []),
    ("done, old evidence", S.DONE, FIRST, worn(FIRST), False, S.DONE, FIRST, []),
    ("done, clear", S.DONE, FIRST, clear(worn(FIRST)), True, S.DONE, FIRST, []),
    ("withdrawn, due", S.WITHDRAWN, FIRST, worn(U.PLAN), True, S.PROPOSED, U.PLAN, [Change.REOPENED]),
    ("withdrawn, clear", S.WITHDRAWN, FIRST, clear(worn(FIRST)), True, S.WITHDRAWN, FIRST, []),
    ("withdrawn, mute", S.WITHDRAWN, FIRST, cannot_judge(worn(FIRST)), True, S.WITHDRAWN, FIRST, []),
]


@pytest.mark.parametrize(
    ("before", "urgency", "answer", "is_new", "after", "then", "expected"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_a_night_makes_of_an_order_what_the_table_says(
    before: OrderState,
    urgency: Urgency,
    answer: Verdict | None,
    is_new: bool,
    after: OrderState,
    then: Urgency,
    expected: list[Change],
) -> None:
    plant = plant_with(before, urgency)
    told = plant.tell(*([answer] if answer else []), known=None if is_new else 1)
    order = plant.order("C-0001")
    assert (order.state, order.urgency) == (after, then)
    assert changes(told) == expected
    assert len(plant.book) == 1


def test_a_revision_names_what_changed_and_counts_up() -> None:
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, need_by=MONDAY + timedelta(days=90), limit="case"))
    told = plant.tell(due(Job.REPLACE_SET, need_by=MONDAY + timedelta(days=80), limit="takeup"))
    (event,) = told.events
    assert event.change is Change.REVISED
    assert event.before == {"need_by": "2026-05-31", "governing": "case"}
    assert event.after == {"need_by": "2026-05-21", "governing": "takeup"}
    order = plant.order("C-0001")
    assert (order.revision, event.revision) == (2, 2)
    assert (order.raised_night, order.revised_night) == (1, 2)


@pytest.mark.parametrize(("urgency", "days"), [(U.STOP_NOW, 0), (U.THIS_WEEK, 7)])
def test_an_urgent_order_has_a_day_that_stands_still_while_nights_go_on(urgency: Urgency, days: int) -> None:
    """*This week* is at most seven days (common practice, no source); *stop now* is the day it is raised."""
    plant = Plant()
    plant.tell(due(Job.MEASURE, urgency=urgency, seen_on=MONDAY - timedelta(days=40)))
    assert plant.order("C-0001").need_by == MONDAY + timedelta(days=days)
    for nights in range(2, 12):
        told = plant.tell(due(Job.MEASURE, urgency=urgency, seen_on=MONDAY - timedelta(days=40)), known=1)
        assert told.events == [], nights
    # Newer evidence of the same does not move the day either.
    assert changes(plant.tell(due(Job.MEASURE, urgency=urgency))) == [Change.REFRESHED]
    assert plant.order("C-0001").need_by == MONDAY + timedelta(days=days)


def test_the_day_counts_from_the_night_on_which_an_order_came_to_its_urgency() -> None:
    plant = Plant()
    plant.tell(due(Job.MEASURE, urgency=U.PLAN))
    assert plant.order("C-0001").need_by is None
    (event,) = plant.tell(due(Job.MEASURE, urgency=U.THIS_WEEK), days=10).events
    assert event.after == {"need_by": "2026-03-19", "urgency": "this week"}  # the 12th and seven days
    (event,) = plant.tell(due(Job.MEASURE, urgency=U.STOP_NOW), days=2).events
    assert event.after == {"need_by": "2026-03-14", "urgency": "stop now"}


def test_an_order_asked_again_has_its_days_again() -> None:
    asked = due(Job.MEASURE, urgency=U.THIS_WEEK)
    plant = Plant()
    plant.tell(asked)
    plant.tell(clear(asked))
    plant.tell(asked, days=29)
    assert plant.order("C-0001").need_by == MONDAY + timedelta(days=30 + 7)
    plant.decide("C-0001", "deferred", until=plant.as_of + timedelta(days=20))
    plant.tell(asked, known=3)
    assert plant.order("C-0001").need_by == MONDAY + timedelta(days=30 + 7)
    plant.tell(asked, days=19, known=3)
    assert plant.order("C-0001").need_by == MONDAY + timedelta(days=50 + 7)


def test_a_day_of_the_limits_own_goes_before_the_week() -> None:
    past, ahead = MONDAY - timedelta(days=50), MONDAY + timedelta(days=5)
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, urgency=U.THIS_WEEK, need_by=past))
    assert plant.order("C-0001").need_by == past
    plant.tell(due(Job.REPLACE_SET, urgency=U.THIS_WEEK, need_by=ahead))
    assert plant.order("C-0001").need_by == ahead
    plant.tell(due(Job.REPLACE_SET, urgency=U.THIS_WEEK, need_by=LATER))
    assert plant.order("C-0001").need_by == LATER
    # Beside it a reason as urgent that gives no day: then the week holds.
    plant.tell(
        due(Job.REPLACE_SET, urgency=U.THIS_WEEK, need_by=LATER),
        due(Job.REPLACE_SET, urgency=U.THIS_WEEK, rule="undated"),
    )
    assert plant.order("C-0001").need_by == MONDAY + timedelta(days=7)


@pytest.mark.parametrize("own", [-20, 3, 20])
def test_work_for_this_week_has_the_earlier_of_the_week_and_its_own_day(own: int) -> None:
    plant = Plant()
    plant.tell(due(Job.ADJUST_TAKEUP, urgency=U.THIS_WEEK, need_by=MONDAY + timedelta(days=own)))
    assert plant.order("C-0001").need_by == MONDAY + timedelta(days=min(own, 7))


def test_a_site_may_give_this_week_fewer_days() -> None:
    own = Override(3, "two crews", "lead 1", MONDAY, LATER, "settings, machine elevator 1")
    machine = {"elevator 1": {"this_week_days": own}}
    plant = Plant(settings=Layered(OrdersSettings(), machine=machine))
    plant.tell(due(Job.MEASURE, urgency=U.THIS_WEEK), due(Job.MEASURE, "D2-N", U.THIS_WEEK))
    days = {order.machine: order.need_by for order in plant.book}
    assert days == {"elevator 1": MONDAY + timedelta(days=3), "drag 2": MONDAY + timedelta(days=7)}


def test_a_change_names_no_field_that_is_blank_before_and_after() -> None:
    plant = Plant()
    asked = due(Job.MEASURE, urgency=U.THIS_WEEK, e_percent=1.0)
    events = plant.tell(asked).events
    events += plant.tell(due(Job.MEASURE, urgency=U.THIS_WEEK, e_percent=2.0)).events
    events += plant.tell(due(Job.MEASURE, urgency=U.THIS_WEEK, e_percent=2.0, evidence=(1, 2))).events
    later = due(Job.MEASURE, urgency=U.THIS_WEEK, seen_on=MONDAY + timedelta(days=2))
    events += plant.tell(later).events
    plant.decide("C-0001", "accepted")
    events += plant.tell(later, known=4).events
    plant.decide("C-0001", "done")
    events += plant.tell(later, known=4).events
    assert len(events) == 6
    for event in events:
        names = event.before.keys() | event.after.keys()
        assert names, event
        assert all(event.before.get(name) or event.after.get(name) for name in names), event
    assert [event.after for event in events[1:]] == [
        {"facts": "e_percent"},
        {"rows": "2"},
        {"last_evidence_on": "2026-03-04"},
        {"state": "accepted"},
        {"state": "done", "done_on": "2026-03-07", "as_found": "as expected", "as_left": "in order"},
    ]


def test_new_facts_alone_refresh_without_a_revision() -> None:
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, e_percent=1.2))
    told = plant.tell(due(Job.REPLACE_SET, e_percent=1.3, evidence=(1, 2)))
    assert changes(told) == [Change.REFRESHED]
    order = plant.order("C-0001")
    assert (order.revision, order.revised_night) == (1, 1)
    assert order.reasons[0].facts[0].value == 1.3


def test_a_fact_that_is_not_a_number_does_not_refresh_every_night() -> None:
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, e_percent=float("nan")))
    assert plant.tell(due(Job.REPLACE_SET, e_percent=float("nan")), known=1).events == []


@pytest.mark.parametrize(("margin", "state"), [(0.05, S.PROPOSED), (0.11, S.PROPOSED), (0.12, S.WITHDRAWN)])
def test_clear_within_the_uncertainty_does_not_withdraw(margin: float, state: OrderState) -> None:
    plant = Plant()
    plant.tell(worn(FIRST))
    verdicts = frame([clear(worn(FIRST))], 2, margin).assign(margin_u=0.11)
    told = orders.update(
        [],
        verdicts,
        plant.book,
        closeout_frame([]),
        state=STATE,
        shutdowns=shutdown_frame(),
        night=2,
        as_of=MONDAY + timedelta(days=1),
        settings=plant.settings,
    )
    assert told.orders[0].state is state


def test_a_margin_of_nothing_is_not_past_the_threshold() -> None:
    plant = Plant()
    plant.tell(worn(FIRST))
    plant.tell(clear(worn(FIRST)), margin=0.0)
    assert plant.order("C-0001").state is S.PROPOSED


def test_every_reason_must_be_clear_before_an_order_is_withdrawn() -> None:
    one, other = due(Job.REPLACE_SET, "E1-A"), due(Job.REPLACE_SET, "E1-B", U.THIS_WEEK, need_by=LATER)
    plant = Plant()
    plant.tell(one, other)
    plant.tell(clear(one), cannot_judge(other))
    order = plant.order("C-0001")
    assert order.state is S.PROPOSED
    assert [reason.subject for reason in order.reasons] == ["E1-B"]
    assert (order.urgency, order.need_by) == (U.THIS_WEEK, LATER)
    plant.tell(clear(one), clear(other))
    assert plant.order("C-0001").state is S.WITHDRAWN


def test_a_reason_that_cannot_be_judged_keeps_its_urgency_beside_a_milder_one() -> None:
    one = due(Job.REPLACE_SET, "E1-A", U.THIS_WEEK, need_by=MONDAY, limit="takeup")
    mild = due(Job.REPLACE_SET, "E1-B", U.PLAN, need_by=LATER, limit="case")
    plant = Plant()
    plant.tell(one)
    plant.tell(cannot_judge(one), mild)
    order = plant.order("C-0001")
    assert (order.urgency, order.need_by, order.governing) == (U.THIS_WEEK, MONDAY, "takeup")
    assert [reason.subject for reason in order.reasons] == ["E1-B", "E1-A"]
    plant.tell(clear(one), mild)
    order = plant.order("C-0001")
    assert (order.urgency, order.need_by, order.governing) == (U.PLAN, LATER, "case")


def test_a_hold_ends_on_its_day_and_the_order_then_says_what_is_asked_now() -> None:
    plant = Plant()
    plant.tell(due(Job.REPLACE_SET, need_by=LATER))
    plant.decide("C-0001", "deferred", until=plant.as_of + timedelta(days=10))
    nearer = due(Job.REPLACE_SET, need_by=LATER - timedelta(days=9))
    plant.tell(nearer)
    assert (plant.order("C-0001").state, plant.order("C-0001").need_by) == (S.DEFERRED, LATER)
    plant.tell(nearer, days=8)
    assert plant.order("C-0001").state is S.DEFERRED
    told = plant.tell(nearer)
    order = plant.order("C-0001")
    assert changes(told) == [Change.REOPENED]
    assert (order.state, order.until, order.need_by) == (S.PROPOSED, None, nearer.need_by)
    assert plant.tell(nearer, days=30, known=4).events == []


def test_new_orders_are_numbered_by_urgency_then_machine_job_and_subject() -> None:
    plant = Plant()
    plant.tell(
        due(Job.REPLACE_SET, "D2-S"),
        due(Job.REPLACE_SET, "D2-N"),
        due(Job.LUBRICATE, "D2-N"),
        due(Job.MEASURE, "E1-A", U.STOP_NOW),
    )
    assert [(o.number, o.job, o.subject) for o in plant.book] == [
        ("C-0001", Job.MEASURE, "elevator 1"),
        ("C-0002", Job.LUBRICATE, "drag 2"),
        ("C-0003", Job.REPLACE_SET, "D2-N"),
        ("C-0004", Job.REPLACE_SET, "D2-S"),
    ]
    plant.tell(due(Job.INSPECT_ALIGNMENT, "E1-B"))
    assert plant.book[-1].number == "C-0005"
