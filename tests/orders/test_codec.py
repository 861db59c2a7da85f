"""Orders, reasons, facts and events come back from JSON exactly as they went in."""

from __future__ import annotations

import json
import math
from dataclasses import fields, replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from takeup import codec
from takeup.errors import OurFault, StoreError
from takeup.model import Change, Evidence, Fact, Job, Order, OrderEvent, OrderState, Reason, Urgency

scalars = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.dates()
    | st.text(st.characters(codec="utf-8"))
)
values = st.recursive(scalars, lambda inner: st.lists(inner, max_size=3).map(tuple), max_leaves=6)

ORDER = Order(
    number="C-0007",
    job=Job.REPLACE_SET,
    subject_kind="set",
    subject="E1",
    machine="elevator 1",
    strands=("E1-A", "E1-B"),
    urgency=Urgency.NEXT_SHUTDOWN,
    need_by=date(2026, 4, 20),
    buy_by=date(2026, 1, 26),
    shutdown="spring",
    governing="case",
    parts=("matched_set",),
    reasons=(
        Reason(
            "wear_limit",
            "E1-A",
            "reached",
            (Fact("e", 2.0, "percent", "readings.csv line 4"),),
            (Evidence("survey", (3, 5)), Evidence("register", (1,))),
            date(2026, 3, 2),
        ),
    ),
    state=OrderState.DEFERRED,
    revision=3,
    raised_night=4,
    raised_as_of=date(2026, 3, 2),
    revised_night=6,
    revised_as_of=date(2026, 3, 4),
    until=date(2026, 3, 30),
    last_evidence_on=date(2026, 3, 2),
    newest_known=4,
    swallowed_by="C-0002",
    urgent_since=date(2026, 3, 1),
    set_here_on=date(2026, 6, 22),
)
EVENT = OrderEvent(
    6,
    date(2026, 3, 4),
    "C-0007",
    3,
    Change.DEFERRED,
    {"urgency": "plan"},
    {"urgency": "this week"},
    "planner 1",
    "no crew",
)


def same(left: object, right: object) -> bool:
    """Equal and of one kind all the way down, NaN included."""
    if type(left) is not type(right):
        return False
    if isinstance(left, tuple) and isinstance(right, tuple):
        return len(left) == len(right) and all(map(same, left, right))
    if isinstance(left, float) and isinstance(right, float):
        return (math.isnan(left) and math.isnan(right)) or repr(left) == repr(right)
    return left == right


@given(values)
def test_any_value_survives_two_kinds_of_json_text(value: object) -> None:
    stored = codec.value_to_json(value)
    for text in (json.dumps(stored, allow_nan=False), rfc8785.dumps(stored).decode()):
        assert same(codec.value_from_json(json.loads(text)), value)


@pytest.mark.parametrize(
    ("given_value", "kept"),
    [(np.float64(1.5), 1.5), (np.int64(3), 3), (np.bool_(True), True), (Urgency.PLAN, "plan")],
)
def test_a_numpy_scalar_or_a_word_of_ours_is_kept_as_the_plain_value(
    given_value: object, kept: object
) -> None:
    assert same(codec.value_from_json(codec.value_to_json(given_value)), kept)


@pytest.mark.parametrize("value", [datetime(2026, 3, 2, 6, tzinfo=UTC), [1], {"a": 1}, 1j])
def test_other_kinds_are_refused_by_name(value: object) -> None:
    with pytest.raises(OurFault, match=type(value).__name__):
        codec.value_to_json(value)


def test_an_order_and_an_event_survive_with_every_field() -> None:
    assert set(codec.order_to_json(ORDER)) == {item.name for item in fields(Order)}
    assert set(codec.event_to_json(EVENT)) == {item.name for item in fields(OrderEvent)}
    assert set(codec.reason_to_json(ORDER.reasons[0])) == {item.name for item in fields(Reason)}
    assert set(codec.fact_to_json(ORDER.reasons[0].facts[0])) == {item.name for item in fields(Fact)}
    bare = replace(
        ORDER, need_by=None, buy_by=None, until=None, reasons=(), strands=(), last_evidence_on=None
    )
    for order in (ORDER, bare):
        assert codec.order_from_json(json.loads(json.dumps(codec.order_to_json(order)))) == order
    assert codec.event_from_json(json.loads(json.dumps(codec.event_to_json(EVENT)))) == EVENT


@pytest.mark.parametrize(
    "harm", [{"job": "paint"}, {"need_by": "2026-02-30"}, {"reasons": [{}]}, {"urgency": None}], ids=str
)
def test_a_damaged_order_is_named_and_never_served(harm: dict[str, object]) -> None:
    with pytest.raises(StoreError, match=r"does not read as it was written.*Rebuild"):
        codec.order_from_json(codec.order_to_json(ORDER) | harm)
    with pytest.raises(StoreError, match="an order event"):
        codec.event_from_json({})
    with pytest.raises(StoreError, match="a value"):
        codec.value_from_json({"moment": "x"})
