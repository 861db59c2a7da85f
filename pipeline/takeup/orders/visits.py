"""Orders of one machine that share a lockout: one visit, and the order of work in it.

While a fracture is investigated, nothing else is done to those strands: their faces are evidence, dry and
unbrushed. Such an order is held, and makes no visit.

Source: measuring precedes adjusting and the witness is kept, common practice, no source; the window is
proposed for takeup, no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from takeup.layered import Layered
from takeup.model import Job, Order, OrderState
from takeup.orders.days import earliest
from takeup.orders.settings import OrdersSettings
from takeup.orders.swallowing import same_stop, stop_day

#: what comes first: make safe and keep the witness, measure before touching, then mend, then lubricate
WORK = (
    Job.INVESTIGATE_FRACTURE,
    Job.MEASURE,
    Job.INSPECT_ALIGNMENT,
    Job.SPROCKETS,
    Job.REPLACE_SET,
    Job.ADJUST_TAKEUP,
    Job.LUBRICATE,
)

_GOING = frozenset({OrderState.PROPOSED, OrderState.ACCEPTED})


@dataclass(frozen=True)
class Visit:
    """One stop of one machine. ``orders`` are numbers in the order of work.

    ``need_by`` is the earliest of these orders and of those that are part of them.
    """

    label: str
    machine: str
    need_by: date | None
    shutdown: str
    orders: tuple[str, ...]


def visits(orders: Iterable[Order], *, as_of: date, settings: Layered[OrdersSettings]) -> list[Visit]:
    """The visits that open orders make.

    Orders of one machine share a visit when their stop days (:func:`.swallowing.stop_day`) lie within the
    bundling window of the visit's earliest, or in the same shutdown. Correcting data stops no machine;
    what is put off, declined, held, or part of a larger order makes no visit of its own.

    Parameters
    ----------
    orders : iterable of Order
    as_of : date
    settings : Layered of OrdersSettings

    Returns
    -------
    list of Visit
        By machine, then earliest first. The label names machine and need-by (undated: the first order), and
        is the visit's own: no two share it.
    """
    by_machine: dict[str, list[Order]] = defaultdict(list)
    parts: dict[str, list[Order]] = defaultdict(list)
    orders = list(orders)
    waiting = held(orders)
    for order in orders:
        if order.state not in _GOING or order.job is Job.CORRECT_DATA or order.number in waiting:
            continue
        if order.swallowed_by:
            parts[order.swallowed_by].append(order)
        else:
            by_machine[order.machine or order.subject].append(order)
    return [
        _visit(machine, group, [part for order in group for part in parts[order.number]])
        for machine, its_orders in sorted(by_machine.items())
        for group in _groups(its_orders, int(settings.value("bundling_days", machine)), as_of)
    ]


def held(orders: Iterable[Order]) -> dict[str, tuple[str, ...]]:
    """Number of each order that waits, to the open investigations of a fracture it waits for.

    Parameters
    ----------
    orders : iterable of Order
        Open ones; an investigation counts while it is open, whatever was decided about it.
    """
    orders = list(orders)
    witness = [order for order in orders if order.job is Job.INVESTIGATE_FRACTURE]
    found = {
        order.number: tuple(sorted(each.number for each in witness if {*each.strands} & {*order.strands}))
        for order in orders
        if order.job not in (Job.INVESTIGATE_FRACTURE, Job.CORRECT_DATA)
    }
    return {number: numbers for number, numbers in found.items() if numbers}


def _groups(orders: list[Order], days: int, as_of: date) -> list[list[Order]]:
    groups: list[list[Order]] = []
    for order in sorted(orders, key=lambda each: (stop_day(each, as_of), each.number)):
        for group in groups:
            # The window opens with the visit's earliest, so that it cannot creep from one order to the next.
            if same_stop(group[0], order, days, as_of) or (
                order.shutdown and order.shutdown in {each.shutdown for each in group}
            ):
                group.append(order)
                break
        else:
            groups.append([order])
    return groups


def _visit(machine: str, group: list[Order], parts: list[Order]) -> Visit:
    group = sorted(group, key=lambda each: (WORK.index(each.job), each.number))
    need_by = earliest(*(each.need_by for each in (*group, *parts)))
    first = group[0].number
    return Visit(
        label=f"{machine} {need_by or first}",
        machine=machine,
        need_by=need_by,
        shutdown=next((each.shutdown for each in group if each.shutdown and each.need_by == need_by), ""),
        orders=tuple(each.number for each in group),
    )
