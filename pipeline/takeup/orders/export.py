"""Open orders as one plain document: what ``orders.json`` in the planning queue holds.

Its shape is published as JSON Schema in ``schemas/orders.json``. Days are ISO texts, a number that is not
known is null, and codes are those the schema lists.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import TYPE_CHECKING, Any

from takeup.errors import OurFault
from takeup.judgement.nextchain import BreakEven, HourlyCost, NextChain
from takeup.judgement.register import Lacking
from takeup.judgement.stops import StopTable
from takeup.model import Change, Evidence, Fact, Order, OrderEvent, Reason, row_ids
from takeup.orders.running import run_since
from takeup.orders.told import OPEN
from takeup.orders.visits import Visit, held

if TYPE_CHECKING:
    import pandas as pd

#: what of an order's history is told: newer evidence behind an order that asks for the same is not
_TOLD = frozenset(Change) - {Change.REFRESHED}


def document(
    orders: Iterable[Order],
    *,
    site: str,
    as_of: date,
    night: int,
    version: str,
    origins: pd.DataFrame,
    visits: Iterable[Visit] = (),
    stop_costs: Mapping[str, StopTable] | None = None,
    lacking: Mapping[str, Sequence[Lacking]] | None = None,
    beside: Mapping[str, Sequence[Evidence]] | None = None,
    next_chains: Mapping[str, NextChain] | None = None,
    events: Iterable[OrderEvent] = (),
) -> dict[str, Any]:
    """The document of a night.

    Parameters
    ----------
    orders : iterable of Order
        Those that are not open are left out.
    site : str
        The site's name.
    as_of : date
    night : int
    version : str
        Of takeup.
    origins : DataFrame
        ``row_id``, ``file``, ``line``, ``sha256`` of every row id in the orders' reasons.
    visits : iterable of Visit, optional
        Of these orders.
    stop_costs : mapping, optional
        Number of an order to the candidate stops of its set.
    lacking : mapping, optional
        Number of an order that locks a machine out to what the register of energy sources lacks for it.
    beside : mapping, optional
        Number of an order to the rows it rests on that no reason names.
    next_chains : mapping, optional
        Number of an order to what may be said of the next chain of its set.
    events : iterable of OrderEvent, optional
        Of these orders, oldest first.

    Returns
    -------
    dict
        Keys in the schema's order, orders by urgency, need-by (undated last) and number.

    Raises
    ------
    OurFault
        If the origin of a row behind an order is missing.
    """
    open_orders = sorted(
        (order for order in orders if order.state in OPEN),
        key=lambda each: (each.urgency.rank, each.need_by or date.max, each.number),
    )
    columns = (origins[name] for name in ("row_id", "file", "line", "sha256"))
    where = {
        int(row_id): {"file": str(file), "line": int(line), "sha256": str(sha256)}
        for row_id, file, line, sha256 in zip(*columns, strict=True)
    }
    visit_of = {number: visit.label for visit in visits for number in visit.orders}
    parts_of: dict[str, list[str]] = defaultdict(list)
    for order in open_orders:
        if order.swallowed_by:
            parts_of[order.swallowed_by].append(order.number)
    waits_for = held(open_orders)
    happened: dict[str, list[OrderEvent]] = defaultdict(list)
    for event in events:
        happened[event.order].append(event)
    return {
        "site": site,
        "as_of": as_of.isoformat(),
        "night": night,
        "takeup": version,
        "orders": [
            _order(order, visit_of.get(order.swallowed_by or order.number, ""), parts_of[order.number], where)
            | {
                "stop_costs": _stop_costs((stop_costs or {}).get(order.number)),
                "rests_on": _rows((beside or {}).get(order.number, ()), where),
                "lockout_register": _register((lacking or {}).get(order.number)),
                "next_chain": _next_chain((next_chains or {}).get(order.number)),
                "waits_for": list(waits_for.get(order.number, ())),
                "history": [_event(event) for event in happened[order.number] if event.change in _TOLD],
            }
            for order in open_orders
        ],
    }


def _order(
    order: Order, visit: str, includes: list[str], where: Mapping[int, dict[str, Any]]
) -> dict[str, Any]:
    return {
        "number": order.number,
        "revision": order.revision,
        "state": order.state.value,
        "until": _plain(order.until),
        "job": order.job.value,
        "urgency": order.urgency.value,
        "subject_kind": order.subject_kind,
        "subject": order.subject,
        "machine": order.machine,
        "strands": list(order.strands),
        "need_by": _plain(order.need_by),
        "buy_by": _plain(order.buy_by),
        "shutdown": order.shutdown,
        "governing_limit": order.governing,
        "parts": list(order.parts),
        "visit": visit,
        "part_of": order.swallowed_by,
        "includes": sorted(includes),
        "raised_on": _plain(order.raised_as_of),
        "revised_on": _plain(order.revised_as_of),
        "last_evidence_on": _plain(order.last_evidence_on),
        "runs_on": _runs_on(order),
        "reasons": [_reason(reason, order.number, where) for reason in order.reasons],
    }


def _runs_on(order: Order) -> dict[str, Any] | None:
    run = run_since(order)
    return None if run is None else {name: _plain(value) for name, value in run._asdict().items()}


def _register(lacking: Sequence[Lacking] | None) -> dict[str, Any] | None:
    if lacking is None:
        return None
    return {
        "complete": not lacking,
        "lacking": [{"what": each.code, "source": each.source} for each in lacking],
    }


def _next_chain(told: NextChain | None) -> dict[str, Any] | None:
    if told is None:
        return None
    return {
        "governing_limit": told.governing,
        "mechanisms": list(told.mechanisms),
        "sectioned": list(told.sectioned),
        "open_faults": list(told.faults),
        "fitted": list(told.fitted),
        "lives": told.lives,
        "sprockets_counted": told.sprockets,
        "evidence_missing": list(told.missing),
        "cost_now": _numbers(told.now),
        "step_hours": _plain(told.step_hours),
        "break_even": _numbers(told.break_even),
        "options": [
            {
                "option": each.name,
                "recommended": each.recommended,
                "evidence_missing": list(each.missing),
                "hydrogen": each.hydrogen,
                "cost_trial": _numbers(each.trial),
                "saving": _plain(each.saving),
                "saving_expanded": _plain(each.saving_expanded),
                "cost_in_steps_now": _plain(each.in_steps_now),
                "cost_in_steps_trial": _plain(each.in_steps_trial),
                "break_even": [_numbers(one) for one in each.break_even],
            }
            for each in told.answers
        ],
    }


def _numbers(record: HourlyCost | BreakEven | None) -> dict[str, Any] | None:
    return None if record is None else {name: _plain(value) for name, value in asdict(record).items()}


def _event(event: OrderEvent) -> dict[str, Any]:
    return {
        "on": event.as_of.isoformat(),
        "change": event.change.value,
        "revision": event.revision,
        "before": event.before,
        "after": event.after,
        "by": event.by,
        "note": event.note,
    }


def _stop_costs(table: StopTable | None) -> dict[str, Any] | None:
    if table is None:
        return None
    return {
        "strand": table.strand,
        "limit": table.limit,
        "limit_passed": table.passed,
        "missing": list(table.missing),
        "chains_cost": _plain(table.chains_cost),
        "sprockets_cost": _plain(table.sprockets_cost),
        "labour_cost": _plain(table.labour_cost),
        "stop_hours": _plain(table.stop_hours),
        "stop_cost_per_hour": _plain(table.stop_cost_per_hour),
        "life_hours": _plain(table.life_hours),
        "stops": [{name: _plain(value) for name, value in asdict(line).items()} for line in table.lines],
    }


def _reason(reason: Reason, number: str, where: Mapping[int, dict[str, Any]]) -> dict[str, Any]:
    missing = [row_id for row_id in row_ids(reason.evidence) if row_id not in where]
    if missing:
        raise OurFault(
            f"the origin of row {missing[0]} is not given",
            where=f"order {number}, {reason.rule} for {reason.subject}",
            why="Every order must answer why, to the file and line.",
        )
    return {
        "rule": reason.rule,
        "subject": reason.subject,
        "case": reason.case,
        "last_evidence_on": _plain(reason.last_evidence_on),
        "facts": [_fact(fact) for fact in reason.facts],
        "settings": [_fact(fact) for fact in reason.settings],
        "evidence": _rows(reason.evidence, where),
    }


def _rows(evidence: Iterable[Evidence], where: Mapping[int, dict[str, Any]]) -> list[dict[str, Any]]:
    return [{"part": each.part} | where[row_id] for each in evidence for row_id in each.rows]


def _fact(fact: Fact) -> dict[str, Any]:
    return {
        "name": fact.name,
        "value": _plain(fact.value),
        "unit": fact.unit,
        "origin": fact.origin,
        "is_default": fact.is_default,
    }


def _plain(value: Any) -> Any:
    """A value any reader of JSON understands; what is not known or not finite is null."""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
