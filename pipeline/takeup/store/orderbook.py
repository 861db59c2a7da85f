"""Orders and their events, as exact JSON values in canonical form."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import rfc8785

from takeup.model import Order, OrderEvent, OrderState

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

#: a number with an exponent; begun at its letter, which is found several times as quickly as its digits
_EXPONENT = re.compile(r"e(?<=\de)[+-]?\d")

CLOSED = (OrderState.DONE.value, OrderState.WITHDRAWN.value)

#: The newest row of every order by a night, by number.
_NEWEST = (
    "FROM order_book WHERE night <= ? "
    "QUALIFY row_number() OVER (PARTITION BY number ORDER BY night DESC, rowid DESC) = 1 "
    "ORDER BY length(number), number"
)


def orders(connection: DuckDBPyConnection, night: int, *, open_only: bool) -> list[Order]:
    """Every order as it stood after a night, by number."""
    from takeup.codec import order_from_json

    rows = connection.execute(f"SELECT state, record {_NEWEST}", [night]).fetchall()
    return [
        order_from_json(json.loads(record)) for state, record in rows if not (open_only and state in CLOSED)
    ]


def write_orders(
    connection: DuckDBPyConnection, orders: Iterable[Order], events: Iterable[OrderEvent], night: int
) -> None:
    """Add orders as a night left them, and what it did to them."""
    from takeup.codec import event_to_json, order_to_json

    _insert(
        connection,
        f"INSERT INTO order_book SELECT number, {int(night)}, state, record FROM given",
        [(order.number, order.state.value, canonical(order_to_json(order))) for order in orders],
        ("number", "state", "record"),
    )
    (first,) = connection.execute("SELECT count(*) FROM order_event WHERE night = ?", [night]).fetchall()[0]
    _insert(
        connection,
        f"INSERT INTO order_event SELECT {int(night)}, position, number, record FROM given",
        [
            (position, event.order, canonical(event_to_json(event)))
            for position, event in enumerate(events, start=first)
        ],
        ("position", "number", "record"),
    )


def order_texts(connection: DuckDBPyConnection, night: int) -> dict[str, str]:
    """The record of every order as it stood after a night, by number: canonical JSON (RFC 8785)."""
    return dict(connection.execute(f"SELECT number, record {_NEWEST}", [night]).fetchall())


def order_events(
    connection: DuckDBPyConnection, night: int, orders: Sequence[str] | None
) -> list[OrderEvent]:
    """What the nights did to some orders, or to all, in order."""
    from takeup.codec import event_from_json

    where = "" if orders is None else "AND number IN (SELECT unnest($orders::VARCHAR[]))"
    bound: dict[str, object] = {"night": night} | ({} if orders is None else {"orders": list(orders)})
    rows = connection.execute(
        f"SELECT record FROM order_event WHERE night <= $night {where} ORDER BY night, position", bound
    ).fetchall()
    return [event_from_json(json.loads(record)) for (record,) in rows]


def _insert(
    connection: DuckDBPyConnection, insert: str, rows: list[tuple[Any, ...]], columns: tuple[str, ...]
) -> None:
    """Insert rows in their order, all at once; the statement reads them as ``given``."""
    import pandas as pd

    if not rows:
        return
    connection.register("given", pd.DataFrame(rows, columns=list(columns)))
    connection.execute(insert)
    connection.unregister("given")


def canonical(value: dict[str, Any]) -> str:
    """In the one form that RFC 8785 gives a value, so that equal orders have equal texts.

    Python writes what the codec leaves in an order in that form too, thirty times as quickly, but for numbers
    with an exponent; whatever looks like one is left to the library.
    """
    text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return rfc8785.dumps(value).decode("utf-8") if _EXPONENT.search(text) else text
