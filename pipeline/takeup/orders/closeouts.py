"""What people decided about orders, and which of it can hold.

Of several decisions about one order the one recorded last counts. A decision is acted on once: an order that
was raised, revised or reopened while the decision was known has seen it already. A decision that cannot hold
is handed back as a row to be shown, never dropped.

*Done* says on which day; of *stop now* also what was found, what was decided and who says so, because that is
the restart authority. A row that does not say it ends nothing: the order stays, the decision before it holds,
and the row is handed back until a whole one comes. Source: what an investigation is closed with, common
practice, no source.

Nothing is put off past the day on which a limit of function or strength may come, and what is declined
without a day, no longer than to that day. Where the day moves nearer later, the order comes back
(:func:`outlived`).
Source: proposed for takeup, no source.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from takeup.judgement.limits import LIMITS
from takeup.model import Feed, Job, KeptOut, Order, OrderState, Reason, Urgency
from takeup.orders.days import EPOCH, earliest, to_date

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
    "until_past_limit": "put off or declined past the day on which a limit of function or strength may come",
    "done_incomplete": "done without a column that ends such an order",
}

#: the columns without which *done* ends no order, and those without which it does not end *stop now*
DONE_WANTS = ("done_on",)
STOP_NOW_WANTS = ("done_on", "as_found", "as_left", "recorded_by")


@dataclass(frozen=True)
class Decision:
    """One row of the close-outs feed; ``blank`` names what it leaves open of :data:`STOP_NOW_WANTS`.

    Without a day of the work, ``done_on`` is that of the recording; such a row ends nothing.
    """

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
    as_found: str
    as_left: str
    hours_used: float | None
    blank: tuple[str, ...]

    def wanting(self, order: Order) -> tuple[str, ...]:
        """The columns without which this decision cannot end the order."""
        if self.outcome is not OrderState.DONE:
            return ()
        wanted = STOP_NOW_WANTS if order.urgency is Urgency.STOP_NOW else DONE_WANTS
        return tuple(column for column in wanted if column in self.blank)

    def seen_by(self, order: Order) -> bool:
        """Whether the order was last changed on a night that knew of this decision."""
        return (
            order.revised_as_of is not None
            and self.known <= order.revised_night
            and self.recorded_on <= order.revised_as_of
        )


@dataclass(frozen=True)
class Decisions:
    """The decision that counts for each order number, and the later rows that cannot end their order."""

    found: dict[str, Decision]
    problems: list[KeptOut]


def decisions(closeouts: pd.DataFrame, book: Iterable[Order]) -> Decisions:
    """The decision that counts for each order number: recorded last, of equals the one known last.

    A line whose outcome is blank says nothing: people put the whole form back with some of its lines filled.

    Parameters
    ----------
    closeouts : DataFrame
        Current rows of the feed ``order_closeouts``: its columns, ``row_id``, ``line`` and ``known_from``.
    book : iterable of Order
        As the last night left it; what *done* has to say goes by the order.
    """
    orders = {order.number: order for order in book}
    found: dict[str, Decision] = {}
    incomplete: dict[str, list[KeptOut]] = {}
    said = closeouts.loc[closeouts["outcome"] != ""]
    for row in said.sort_values(["recorded_at_pos", "known_from", "row_id"], kind="stable").to_dict(
        "records"
    ):
        decision = _decision(row)
        order = orders.get(decision.order)
        wanting = decision.wanting(order) if order else ()
        if wanting:
            incomplete.setdefault(decision.order, []).append(
                kept_out(decision, "done_incomplete", ", ".join(wanting))
            )
        else:
            found[decision.order] = decision
            incomplete.pop(decision.order, None)
    return Decisions(found, [row for rows in incomplete.values() for row in rows])


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
    reason = void(order, decision, as_of)
    return (order if reason else replace(order, state=decision.outcome, until=decision.until)), reason


def latest_until(order: Order) -> date | None:
    """The last day to which an order may be put off: the limit behind it may come then. None: it has none.

    An order for the take-up rests on the end of its travel, any other on the limit its reasons name.
    """
    days = [
        (_fact(reason, "takeup_out_early_on")) if order.job is Job.ADJUST_TAKEUP else _limit_comes_on(reason)
        for reason in order.reasons
    ]
    return earliest(*days)


def early_date_past(order: Order, as_of: date) -> date | None:
    """The early date of a limit of function or strength that is reached, with no survey since; else None.

    A newer survey makes a newer forecast, so that an early date is always told from the latest one. A limit
    that the latest survey shows reached has no forecast left, and is not meant.
    """
    if order.job is not Job.REPLACE_SET:
        return None
    days = [_limit_comes_on(reason) for reason in order.reasons if not _shown_reached(reason, _limit(reason))]
    return earliest(*(day for day in days if day is not None and day <= as_of))


def kept_out(decision: Decision, reason: str, wanted: str = "") -> KeptOut:
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
        wanted=wanted,
        subject=decision.order,
        row_id=decision.row_id,
    )


def unknown(found: Mapping[str, Decision], numbers: Iterable[str]) -> list[KeptOut]:
    """The decisions about orders that were never raised."""
    known = set(numbers)
    return [kept_out(each, "order_unknown") for number, each in sorted(found.items()) if number not in known]


def void(order: Order, decision: Decision, as_of: date) -> str:
    """Why putting an order off or declining it has no effect, '' where it has."""
    if order.urgency is Urgency.STOP_NOW and order.state is not OrderState.WITHDRAWN:
        return "stop_now_stands"
    if order.state is OrderState.WITHDRAWN:
        return "order_withdrawn"
    if decision.until is None and decision.outcome is OrderState.DEFERRED:
        return "until_missing"
    if decision.until is not None and decision.until <= as_of:
        return "until_passed"
    return "until_past_limit" if outlived(order, decision.until, as_of) else ""


def outlived(order: Order, until: date | None, as_of: date) -> bool:
    """Whether a limit of function or strength may come before an order is asked for again.

    Parameters
    ----------
    order : Order
        With tonight's reasons.
    until : date, optional
        To which it is put off; None: declined without a day, which holds up to the day of the limit.
    as_of : date
    """
    last = latest_until(order)
    return last is not None and (last <= as_of if until is None else until > last)


def _limit(reason: Reason) -> str:
    """The limit that a reason forecasts, blank for none."""
    return _fact(reason, "next_limit") or _fact(reason, "limit") or ""


def _limit_comes_on(reason: Reason) -> date | None:
    """The day on which the limit of function or strength behind a reason may come, None where none is."""
    limit = _limit(reason)
    if limit not in LIMITS or LIMITS[limit][0] == "acceleration":
        return None
    return _day(reason, "survey_on" if _shown_reached(reason, limit) else "early_on")


def _shown_reached(reason: Reason, limit: str) -> bool:
    """Whether the survey behind a reason shows its limit reached, so that nothing is left to forecast."""
    middle = _fact(reason, "hours_middle")
    if middle is not None and middle <= 0:
        return True
    reached, level = _fact(reason, "e_percent"), _fact(reason, "limit_percent")
    told = limit == _fact(reason, "limit") and reached is not None and level is not None
    return bool(told and reached >= level)


def _day(reason: Reason, name: str) -> date | None:
    found = _fact(reason, name)
    return found if isinstance(found, date) else None


def _fact(reason: Reason, name: str) -> Any:
    return next((fact.value for fact in reason.facts if fact.name == name), None)


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
        # Nobody records today what will be done tomorrow.
        done_on=recorded_on if done_on is None else min(done_on, recorded_on),
        by=row["recorded_by"],
        note=row["reason"],
        as_found=row["as_found"],
        as_left=row["as_left"],
        hours_used=None if math.isnan(row["hours_used"]) else float(row["hours_used"]),
        blank=tuple(
            column
            for column in STOP_NOW_WANTS
            if (done_on is None if column == "done_on" else not row[column])
        ),
    )
