"""Orders stand in the store in the one form of RFC 8785, over which the ledger's digest of a night goes.

Checked against :mod:`rfc8785`, a general-purpose library of that standard.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from datetime import date

import pytest
import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st

from takeup.codec import order_to_json, value_to_json
from takeup.model import Evidence, Fact, Job, Order, OrderState, Reason, Urgency
from takeup.night.telling import orders_digest
from takeup.orders import Updated
from takeup.store import Store
from takeup.store.orderbook import canonical

AS_OF = date(2026, 3, 2)
scalars = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.dates()
    | st.text(st.characters(codec="utf-8"))
)
values = st.recursive(scalars, lambda inner: st.lists(inner, max_size=3).map(tuple), max_leaves=6)


@given(values)
@example(0.00001234)
@example(1e-7)
@example(5e-324)
@example(123456789.123456)
@example("M-1e5\u2028\x7f\x1f\t\u20ac\U0001f517")
def test_a_value_of_an_order_has_its_canonical_text(value: object) -> None:
    stored = {"value": value_to_json(value)}
    assert canonical(stored) == rfc8785.dumps(stored).decode("utf-8")


def order(number: str, *values: object) -> Order:
    facts = tuple(Fact(f"fact_{place}", value) for place, value in enumerate(values))  # type: ignore[arg-type]
    return Order(
        number=number,
        job=Job.REPLACE_SET,
        subject_kind="set",
        subject="EL-1",
        machine="EL-1",
        strands=("EL-1 A", "EL-1 B"),
        urgency=Urgency.PLAN,
        need_by=date(2026, 9, 1),
        buy_by=None,
        shutdown="spring stop",
        governing="sprocket",
        parts=("chain",),
        reasons=(Reason("wear_limit", "EL-1 A", "reached", facts, (Evidence("survey", (3, 5)),), AS_OF),),
    )


def test_the_digest_of_a_night_is_that_of_the_book_as_one_canonical_list() -> None:
    first = order("C-0999", 1.5, 2.0, math.inf, "Kette über 3 m")
    second = order("D-1000", 0.00002, 2**60, AS_OF)
    with Store.open(None) as store:
        with store.night(1, AS_OF):
            store.write_orders([first, second], [], 1)
        done = replace(second, state=OrderState.DONE)
        with store.night(2, AS_OF):
            store.write_orders([done], [], 2)
        for night, book in ((1, [first, second]), (2, [first, done])):
            whole = rfc8785.dumps([order_to_json(each) for each in book])
            told = orders_digest(Updated(book, [], []), store.order_texts(night))
            assert told == hashlib.sha256(whole).hexdigest()


@pytest.mark.parametrize("count", [0, 1, 3])
def test_any_number_of_orders_is_written_in_one_go(count: int) -> None:
    book = [order(f"C-{place:04d}", 0.25 * place) for place in range(1, count + 1)]
    with Store.open(None) as store:
        with store.night(1, AS_OF):
            store.write_orders(book, [], 1)
        assert store.orders() == book
