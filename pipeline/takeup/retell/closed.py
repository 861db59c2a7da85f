"""Real close-outs as done, by the work they were about."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from takeup.model import Feed, Job, Order, OrderState, row_ids

if TYPE_CHECKING:
    from takeup.judgement.rule import ClosedRows, History
    from takeup.retell.pastrows import PastRows


class Closed(NamedTuple):
    """One close-out as done: the day it was known, the day of the work, job and subject, and its row.

    ``named`` are the findings that the order rested on.
    """

    known_day: int
    done_day: int
    job: Job
    subject: str
    row: dict[str, Any]
    named: tuple[int, ...]


class Known(NamedTuple):
    """The close-outs known on a night as the rules ask for them: by subject, and by the row they named."""

    history: History
    closed: ClosedRows


def closed_orders(past: PastRows, book: Iterable[Order], last_day: int) -> list[Closed]:
    """The close-outs as done of orders in the real book, by the day they became known.

    Parameters
    ----------
    past : PastRows
    book : iterable of Order
        Of the site itself.
    last_day : int
        Day number; what is known later is left out.
    """
    orders = {order.number: order for order in book}
    seen = set(past.frame(Feed.INSPECTION_FINDINGS, last_day)["row_id"].tolist())
    found = []
    for row in past.frame(Feed.ORDER_CLOSEOUTS, last_day).to_dict("records"):
        order = orders.get(str(row["order"]))
        if order is not None and row["outcome"] == OrderState.DONE.value and row["done_on"]:
            cells = {str(name): value for name, value in row.items()}
            known, done = int(row["known_since"]), int(min(row["done_on_day"], row["recorded_at_day"]))
            named = {row_id for reason in order.reasons for row_id in row_ids(reason.evidence)}
            found.append(Closed(known, done, order.job, order.subject, cells, tuple(sorted(named & seen))))
    return sorted(found, key=lambda one: (one.known_day, one.row["recorded_at_pos"], one.row["row_id"]))


def known_on(closed: Sequence[Closed], nights: Iterable[int]) -> dict[int, Known]:
    """For each night what was closed out as done by then; the same object where it is the same."""
    found: dict[int, Known] = {}
    known = Known({}, {})
    coming = list(closed)
    for day in nights:
        while coming and coming[0].known_day <= day:
            one = coming.pop(0)
            rows = known.closed
            if one.named:
                rows = {**rows, **{(one.job, row): float(one.done_day) for row in one.named}}
            known = Known({**known.history, (one.job, one.subject): float(one.done_day)}, rows)
        found[day] = known
    return found
