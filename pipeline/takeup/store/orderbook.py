"""Orders and their events, as exact JSON values."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING

from takeup.model import Order, OrderEvent, OrderState

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

CLOSED = (OrderState.DONE.value, OrderState.WITHDRAWN.value)


def orders(connection: DuckDBPyConnection, night: int, *, open_only: bool) -> list[Order]:
    """Every order as it stood after a night, by number."""
    from takeup.codec import order_from_json

    rows = connection.execute(
        "SELECT state, record FROM order_book WHERE night <= ? "
        "QUALIFY row_number() OVER (PARTITION BY number ORDER BY night DESC, rowid DESC) = 1 "
        "ORDER BY length(number), number",
        [night],
    ).fetchall()
    return [
        order_from_json(json.loads(record)) for state, record in rows if not (open_only and state in CLOSED)
    ]


def write_orders(
    connection: DuckDBPyConnection, orders: Iterable[Order], events: Iterable[OrderEvent], night: int
) -> None:
    """Add orders as a night left them, and what it did to them."""
    from takeup.codec import event_to_json, order_to_json

    for order in orders:
        connection.execute(
            "INSERT INTO order_book VALUES (?, ?, ?, ?)",
            [order.number, night, order.state.value, _text(order_to_json(order))],
        )
    (first,) = connection.execute("SELECT count(*) FROM order_event WHERE night = ?", [night]).fetchall()[0]
    for position, event in enumerate(events, start=first):
        connection.execute(
            "INSERT INTO order_event VALUES (?, ?, ?, ?)",
            [night, position, event.order, _text(event_to_json(event))],
        )


def order_events(connection: DuckDBPyConnection, night: int, order: str | None) -> list[OrderEvent]:
    """What the nights did to one order, or to all, in order."""
    from takeup.codec import event_from_json

    where = "" if order is None else "AND number = $order"
    bound: dict[str, object] = {"night": night} if order is None else {"night": night, "order": order}
    rows = connection.execute(
        f"SELECT record FROM order_event WHERE night <= $night {where} ORDER BY night, position", bound
    ).fetchall()
    return [event_from_json(json.loads(record)) for (record,) in rows]


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
