"""Orders, their reasons and their events as plain JSON values and back, exactly.

What JSON carries without loss stands as itself; what it does not is tagged, so that nothing changes its kind
on the way: ``{"date": "2026-03-02"}``, ``{"float": "1.0"}`` (JSON has one kind of number),
``{"float": "nan"}``, ``{"int": "9007199254740993"}`` (beyond 2**53 a reader may round). A tuple is a JSON
list. Two records are equal exactly when their JSON values are, which also holds for NaN.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date, datetime
from typing import Any, TypeVar

import numpy as np

from takeup.errors import OurFault, StoreDamaged
from takeup.model import Change, Evidence, Fact, Job, Order, OrderEvent, OrderState, Reason, Urgency

R = TypeVar("R")

#: the largest whole number that every reader of JSON keeps (RFC 8259, section 6)
EXACT_INT = 2**53 - 1

_TAGS: dict[str, Callable[[str], Any]] = {"date": date.fromisoformat, "float": float, "int": int}


def value_to_json(value: Any) -> Any:
    """A fact's value as a JSON value that reads back as the same value of the same kind.

    Parameters
    ----------
    value : None, bool, int, float, str, date or tuple of these
        A numpy scalar counts as the Python value it holds.

    Returns
    -------
    None, bool, int, float, str, list or dict

    Raises
    ------
    OurFault
        If the value is of another kind; a moment is never taken for a date.

    Examples
    --------
    >>> value_to_json((1, 1.0, 1.5, date(2026, 3, 2)))
    [1, {'float': '1.0'}, 1.5, {'date': '2026-03-02'}]
    """
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return str(value)
    if isinstance(value, int):
        return value if abs(value) <= EXACT_INT else {"int": str(value)}
    if isinstance(value, float):
        return value if math.isfinite(value) and not value.is_integer() else {"float": repr(value)}
    if isinstance(value, date) and not isinstance(value, datetime):
        return {"date": value.isoformat()}
    if isinstance(value, tuple):
        return [value_to_json(item) for item in value]
    raise OurFault(
        f"a fact holds {value!r}, a {type(value).__name__}",
        why="Facts are kept exactly: texts, numbers, yes or no, dates and tuples of these, nothing else.",
    )


def value_from_json(value: Any) -> Any:
    """The value :func:`value_to_json` was given.

    Raises
    ------
    StoreDamaged
        If a tag is not one of ours.

    Examples
    --------
    >>> value_from_json([1, {"float": "1.0"}, {"date": "2026-03-02"}])
    (1, 1.0, datetime.date(2026, 3, 2))
    """
    return _read("a value", value, _value)


def fact_to_json(fact: Fact) -> dict[str, Any]:
    """A fact by field name."""
    return {
        "name": fact.name,
        "value": value_to_json(fact.value),
        "unit": fact.unit,
        "origin": fact.origin,
        "is_default": fact.is_default,
    }


def fact_from_json(stored: dict[str, Any]) -> Fact:
    """The fact :func:`fact_to_json` was given; raises StoreDamaged where it does not read."""
    return _read("a fact", stored, _fact)


def reason_to_json(reason: Reason) -> dict[str, Any]:
    """A reason by field name."""
    return {
        "rule": reason.rule,
        "subject": reason.subject,
        "case": reason.case,
        "facts": [fact_to_json(fact) for fact in reason.facts],
        "evidence": [
            {"part": each.part, "rows": [int(row_id) for row_id in each.rows]} for each in reason.evidence
        ],
        "last_evidence_on": _day_to_json(reason.last_evidence_on),
        "settings": [fact_to_json(fact) for fact in reason.settings],
    }


def order_to_json(order: Order) -> dict[str, Any]:
    """An order by field name; numbers of nights stay whole numbers, days are ISO texts."""
    return {
        "number": order.number,
        "job": order.job.value,
        "subject_kind": order.subject_kind,
        "subject": order.subject,
        "machine": order.machine,
        "strands": list(order.strands),
        "urgency": order.urgency.value,
        "need_by": _day_to_json(order.need_by),
        "buy_by": _day_to_json(order.buy_by),
        "shutdown": order.shutdown,
        "governing": order.governing,
        "parts": list(order.parts),
        "reasons": [reason_to_json(reason) for reason in order.reasons],
        "state": order.state.value,
        "revision": order.revision,
        "raised_night": order.raised_night,
        "raised_as_of": _day_to_json(order.raised_as_of),
        "revised_night": order.revised_night,
        "revised_as_of": _day_to_json(order.revised_as_of),
        "until": _day_to_json(order.until),
        "last_evidence_on": _day_to_json(order.last_evidence_on),
        "newest_known": order.newest_known,
        "swallowed_by": order.swallowed_by,
        "urgent_since": _day_to_json(order.urgent_since),
        "set_here_on": _day_to_json(order.set_here_on),
    }


def order_from_json(stored: dict[str, Any]) -> Order:
    """The order :func:`order_to_json` was given; raises StoreDamaged where it does not read."""
    return _read("an order", stored, _order)


def event_to_json(event: OrderEvent) -> dict[str, Any]:
    """An event by field name."""
    return {
        "night": event.night,
        "as_of": event.as_of.isoformat(),
        "order": event.order,
        "revision": event.revision,
        "change": event.change.value,
        "before": dict(sorted(event.before.items())),
        "after": dict(sorted(event.after.items())),
        "by": event.by,
        "note": event.note,
    }


def event_from_json(stored: dict[str, Any]) -> OrderEvent:
    """The event :func:`event_to_json` was given; raises StoreDamaged where it does not read."""
    return _read(
        "an order event",
        stored,
        lambda s: OrderEvent(
            night=s["night"],
            as_of=date.fromisoformat(s["as_of"]),
            order=s["order"],
            revision=s["revision"],
            change=Change(s["change"]),
            before=dict(s["before"]),
            after=dict(s["after"]),
            by=s["by"],
            note=s["note"],
        ),
    )


def _order(stored: dict[str, Any]) -> Order:
    return Order(
        number=stored["number"],
        job=Job(stored["job"]),
        subject_kind=stored["subject_kind"],
        subject=stored["subject"],
        machine=stored["machine"],
        strands=tuple(stored["strands"]),
        urgency=Urgency(stored["urgency"]),
        need_by=_day_from_json(stored["need_by"]),
        buy_by=_day_from_json(stored["buy_by"]),
        shutdown=stored["shutdown"],
        governing=stored["governing"],
        parts=tuple(stored["parts"]),
        reasons=tuple(map(_reason, stored["reasons"])),
        state=OrderState(stored["state"]),
        revision=stored["revision"],
        raised_night=stored["raised_night"],
        raised_as_of=_day_from_json(stored["raised_as_of"]),
        revised_night=stored["revised_night"],
        revised_as_of=_day_from_json(stored["revised_as_of"]),
        until=_day_from_json(stored["until"]),
        last_evidence_on=_day_from_json(stored["last_evidence_on"]),
        newest_known=stored["newest_known"],
        swallowed_by=stored["swallowed_by"],
        urgent_since=_day_from_json(stored["urgent_since"]),
        set_here_on=_day_from_json(stored["set_here_on"]),
    )


def _reason(stored: dict[str, Any]) -> Reason:
    return Reason(
        rule=stored["rule"],
        subject=stored["subject"],
        case=stored["case"],
        facts=tuple(map(_fact, stored["facts"])),
        evidence=tuple(Evidence(each["part"], tuple(each["rows"])) for each in stored["evidence"]),
        last_evidence_on=_day_from_json(stored["last_evidence_on"]),
        settings=tuple(map(_fact, stored["settings"])),
    )


def _fact(stored: dict[str, Any]) -> Fact:
    return Fact(
        stored["name"], _value(stored["value"]), stored["unit"], stored["origin"], stored["is_default"]
    )


def _value(stored: Any) -> Any:
    if isinstance(stored, dict):
        ((tag, text),) = stored.items()
        return _TAGS[tag](text)
    return tuple(map(_value, stored)) if isinstance(stored, list) else stored


def _day_to_json(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _day_from_json(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _read(what: str, stored: dict[str, Any], reader: Callable[[dict[str, Any]], R]) -> R:
    try:
        return reader(stored)
    except (KeyError, TypeError, ValueError) as problem:
        raise StoreDamaged(
            f"{what} does not read as it was written ({type(problem).__name__}: {problem}): "
            f"{str(stored)[:200]}",
            why="An order that is read wrongly would be served wrongly.",
            todo="Rebuild the store from archive and ledger.",
        ) from problem
