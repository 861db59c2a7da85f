"""What people decided about orders, and which of it can hold.

Of several decisions about one order the one recorded last counts. A decision is acted on once: an order that
was raised, revised or reopened while the decision was known has seen it already. A decision that cannot hold
is handed back as a row to be shown, never dropped.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from takeup.model import Feed, KeptOut, Order, OrderState, Urgency
from takeup.orders.days import EPOCH, to_date

if TYPE_CHECKING:
    import pandas as pd

DECIDED = frozenset({OrderState.ACCEPTED, OrderState.DEFERRED, OrderState.DECLINED, OrderState.DONE})

#: why a decision has no effect → what it means; the reader's sentence is ``sentences/set_aside/<reason>``
REASONS: dict[str, str] = {
    "order_unknown": "no order of this number was ever raised",
    "order_followed": "the order was done, and a newer one is out for the same job",
    "order_withdrawn": "the order is withdrawn; there is nothing to put off or decline",
    "stop_now_stands": "stop now can be accepted or done, not put off or declined",
    "until_missing": "put off without a day",
    "until_passed": "put off or declined until a day that is already past",
}


@dataclass(frozen=True)
class Decision:
    """One row of the close-outs feed."""

    row_id: int
    line: int
    order: str
    outcome: OrderState
    recorded_on: date
    known: int
    until: date | None
    done_on: date
    by: str
    note: str

    def seen_by(self, order: Order) -> bool:
        """Whether the order was last changed on a night that knew of this decision."""
        return (
            order.revised_as_of is not None
            and self.known <= order.revised_night
            and self.recorded_on <= order.revised_as_of
        )


def decisions(closeouts: pd.DataFrame) -> dict[str, Decision]:
    """The decision that counts for each order number: recorded last, of equals the one known last.

    A line whose outcome is blank says nothing: people put the whole form back with some of its lines filled.

    Parameters
    ----------
    closeouts : DataFrame
        Current rows of the feed ``order_closeouts``: its columns, ``row_id``, ``line`` and ``known_from``.
    """
    if closeouts.empty:
        return {}
    said = closeouts.loc[closeouts["outcome"] != ""]
    ordered = said.sort_values(["recorded_at_pos", "known_from", "row_id"], kind="stable")
    return {row["order"]: _decision(row) for row in ordered.to_dict("records")}


def governing(order: Order, found: Mapping[str, Decision]) -> Decision | None:
    """The decision that holds: the later of the order's own and of *done* for the larger one it is in."""
    own, larger = found.get(order.number), found.get(order.swallowed_by)
    if larger is None or larger.outcome is not OrderState.DONE:
        return own
    return larger if own is None or own.recorded_on <= larger.recorded_on else own


def decided(order: Order, decision: Decision | None, as_of: date) -> tuple[Order, str]:
    """The order after the decision that holds for it, and why the decision had no effect, if so.

    A decision that its source took back puts the order back among the proposed.
    """
    if decision is None:
        taken_back = order.state in DECIDED
        return (replace(order, state=OrderState.PROPOSED, until=None) if taken_back else order), ""
    if decision.seen_by(order):
        return order, ""
    if decision.outcome in {OrderState.DONE, OrderState.ACCEPTED}:
        return replace(order, state=decision.outcome, until=None), ""
    reason = _void(order, decision, as_of)
    return (order if reason else replace(order, state=decision.outcome, until=decision.until)), reason


def kept_out(decision: Decision, reason: str) -> KeptOut:
    """The row to show for a decision without effect; file and raw text are looked up by ``row_id``."""
    return KeptOut(
        state="set aside",
        reason=reason,
        feed=Feed.ORDER_CLOSEOUTS.value,
        file="",
        sha256="",
        line=decision.line,
        raw="",
        column="order",
        found=decision.order,
        subject=decision.order,
        row_id=decision.row_id,
    )


def unknown(found: Mapping[str, Decision], numbers: Iterable[str]) -> list[KeptOut]:
    """The decisions about orders that were never raised."""
    known = set(numbers)
    return [kept_out(each, "order_unknown") for number, each in sorted(found.items()) if number not in known]


def _void(order: Order, decision: Decision, as_of: date) -> str:
    if order.urgency is Urgency.STOP_NOW and order.state is not OrderState.WITHDRAWN:
        return "stop_now_stands"
    if order.state is OrderState.WITHDRAWN:
        return "order_withdrawn"
    if decision.until is None:
        return "until_missing" if decision.outcome is OrderState.DEFERRED else ""
    return "until_passed" if decision.until <= as_of else ""


def _decision(row: dict[Hashable, Any]) -> Decision:
    recorded_on = EPOCH + timedelta(days=int(row["recorded_at_day"]))
    done_on = to_date(row["done_on_day"])
    return Decision(
        row_id=int(row["row_id"]),
        line=int(row["line"]),
        order=row["order"],
        outcome=OrderState(row["outcome"]),
        recorded_on=recorded_on,
        known=int(row["known_from"]),
        until=to_date(row["until_day"]),
        # Nobody records today what will be done tomorrow; without a day, the work was done by then.
        done_on=recorded_on if done_on is None else min(done_on, recorded_on),
        by=row["recorded_by"],
        note=row["reason"],
    )
