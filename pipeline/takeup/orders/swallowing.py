"""Smaller jobs that are part of a larger one.

Replacing a set takes in measuring, adjusting and sprockets of that set when they fall in the same stop;
investigating a fracture is never taken in. The smaller order keeps its number and its own evidence, says
whose part it is in ``swallowed_by``, and is printed as a line of the larger one. It stands on its own again
when the larger order ends otherwise than done. What people accepted, put off or declined, *stop now*, and
whatever is more urgent than the larger job, stays by itself.

Nothing waits for a set that is not here: a smaller job is taken in only if the larger can be done by the day
the smaller is needed, which is then the day of both; without a day of its own it can wait for the window. In
one planned shutdown both have that stop's day. A survey that is needed before the chain is bought stays by
itself, because it says whether to buy.

Source: common practice, no source; the window is proposed for takeup, no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date, timedelta

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
    """Whether two jobs on a machine fall in one stop: the same shutdown, or days that lie so near."""
    if one.shutdown and one.shutdown == other.shutdown:
        return True
    return abs((stop_day(one, as_of) - stop_day(other, as_of)).days) <= days


def stop_day(order: Order, as_of: date) -> date:
    """The day of the stop that an order asks for: its need-by, as soon as the work is possible.

    An undated job can be done in any stop from now on, and one whose day is past in the next; a set that must
    come first is waited for, unless a planned shutdown holds the job.
    """
    return max(order.need_by or as_of, _possible_on(order, as_of))


def _possible_on(order: Order, as_of: date) -> date:
    """The first day on which the work of an order can be done."""
    if order.shutdown or order.set_here_on is None:
        return as_of
    return max(order.set_here_on, as_of)


def _takes_in(larger: Order, order: Order, days: int, as_of: date) -> bool:
    return (
        order.job in TAKEN_IN
        and order.state is OrderState.PROPOSED
        and order.urgency is not Urgency.STOP_NOW
        and order.urgency.rank >= larger.urgency.rank
        and bool(order.strands)
        and set(order.strands) <= set(larger.strands)
        and not _says_whether_to_buy(order, larger, as_of)
        and same_stop(larger, order, days, as_of)
        and _in_time(larger, order, days, as_of)
    )


def _says_whether_to_buy(order: Order, larger: Order, as_of: date) -> bool:
    return order.job is Job.MEASURE and larger.buy_by is not None and stop_day(order, as_of) <= larger.buy_by


def _in_time(larger: Order, order: Order, days: int, as_of: date) -> bool:
    """Whether the larger job can be done by the day the smaller is needed."""
    if larger.shutdown and larger.shutdown == order.shutdown:
        return True
    # A planned shutdown is not moved; and nobody knows that a set of unknown lead time could be sooner.
    fixed = bool(larger.shutdown) or larger.set_here_on is None
    possible = stop_day(larger, as_of) if fixed else _possible_on(larger, as_of)
    latest = as_of + timedelta(days=days) if order.need_by is None else max(order.need_by, as_of)
    return possible <= latest
