"""Smaller jobs that are part of a larger one.

Replacing a set takes in measuring, adjusting and sprockets of that set when they fall in the same stop;
investigating a fracture is never taken in. The smaller order keeps its number and its own evidence, says
whose part it is in ``swallowed_by``, and is printed as a line of the larger one. It stands on its own again
when the larger order ends otherwise than done. What people accepted, put off or declined, *stop now*, and
whatever is more urgent than the larger job, stays by itself.

Source: common practice, no source; the window is proposed for takeup, no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date

from takeup.model import Job, Order, OrderState, Urgency

TAKEN_IN = frozenset({Job.MEASURE, Job.ADJUST_TAKEUP, Job.SPROCKETS})
TAKES_IN = frozenset({OrderState.PROPOSED, OrderState.ACCEPTED})


def swallowed(orders: Iterable[Order], bundling_days: Callable[[str], int], as_of: date) -> list[Order]:
    """The same orders; each open one says whose part it is, larger ones list the parts of their smaller too.

    Parameters
    ----------
    orders : iterable of Order
    bundling_days : callable
        Machine name to days between two need-by that still make one stop.
    as_of : date
    """
    orders = list(orders)
    larger: dict[str, list[Order]] = defaultdict(list)
    for order in orders:
        if order.job is Job.REPLACE_SET and order.state in TAKES_IN:
            larger[order.machine].append(order)
    result: dict[str, Order] = {}
    parts: dict[str, set[str]] = defaultdict(set)
    for order in orders:
        if order.state in {OrderState.DONE, OrderState.WITHDRAWN}:
            result[order.number] = order
            continue
        found = (
            each.number
            for each in larger.get(order.machine, ())
            if _takes_in(each, order, bundling_days(order.machine), as_of)
        )
        whose = min(found, default="")
        result[order.number] = replace(order, swallowed_by=whose) if whose != order.swallowed_by else order
        if whose:
            parts[whose].update(order.parts)
    for number, more in parts.items():
        order = result[number]
        result[number] = replace(order, parts=tuple(sorted({*order.parts, *more})))
    return list(result.values())


def same_stop(one: Order, other: Order, days: int, as_of: date) -> bool:
    """Whether two jobs on a machine fall in one stop: the same shutdown, or need-by within so many days."""
    if one.shutdown and one.shutdown == other.shutdown:
        return True
    return abs((stop_day(one, as_of) - stop_day(other, as_of)).days) <= days


def stop_day(order: Order, as_of: date) -> date:
    """The need-by; an undated job can be done in any stop from now on."""
    return order.need_by or as_of


def _takes_in(larger: Order, order: Order, days: int, as_of: date) -> bool:
    return (
        order.job in TAKEN_IN
        and order.state is OrderState.PROPOSED
        and order.urgency is not Urgency.STOP_NOW
        and order.urgency.rank >= larger.urgency.rank
        and bool(order.strands)
        and set(order.strands) <= set(larger.strands)
        and same_stop(larger, order, days, as_of)
    )
