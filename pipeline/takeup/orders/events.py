"""What a night changed, read off the order before and after.

A revision is made only when job, scope, urgency, dates, governing limit or parts change; other facts and
newer evidence refresh the order. An order that did not change makes no event, so a night told twice adds
nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from takeup import codec
from takeup.model import Change, Order, OrderEvent, OrderState, Reason, row_ids
from takeup.orders.answers import Question
from takeup.orders.closeouts import Decision, void

_ENDED = frozenset({OrderState.DONE, OrderState.WITHDRAWN})


def recorded(
    before: Order | None, after: Order, decision: Decision | None, *, night: int, as_of: date
) -> tuple[Order, list[OrderEvent]]:
    """The order with its revision and nights, and the events of the night.

    Parameters
    ----------
    before : Order, optional
        None for an order raised tonight.
    after : Order
        As told tonight, revision and nights still those of ``before``.
    decision : Decision, optional
        The decision that holds for it; named in the event when the state follows it.
    night : int
    as_of : date
    """
    if before is None:
        raised = replace(
            after, raised_night=night, raised_as_of=as_of, revised_night=night, revised_as_of=as_of
        )
        said = {name: text for name, text in _texts(raised).items() if text}
        return raised, [_event(raised, Change.RAISED, {}, said, night, as_of)]
    old, new = _texts(before), _texts(after)
    changed = {name for name in new if new[name] != old[name]}
    events: list[OrderEvent] = []
    revised = replace(after, revised_night=night, revised_as_of=as_of)
    held = _held_for_nothing(before, after, decision, as_of)
    if held is not None:
        events.append(_decided(before, replace(held, revision=before.revision), decision, night, as_of))
        before = held
    if (before.state, before.until) != (after.state, after.until):
        if after.state is OrderState.PROPOSED:
            revised = replace(revised, revision=before.revision + 1)
            was, now = _pick(old, changed), _pick(new, changed)
            was["state"], now["state"] = before.state.value, after.state.value
            return revised, [*events, _event(revised, Change.REOPENED, was, now, night, as_of)]
        events.append(_decided(before, revised, decision, night, as_of))
    if changed and after.state not in _ENDED:
        revised = replace(revised, revision=before.revision + 1)
        events.append(_event(revised, Change.REVISED, _pick(old, changed), _pick(new, changed), night, as_of))
    if events:
        return revised, events
    if _same_evidence(before, after):
        return after, []
    was, now = _refreshed(before, after)
    return after, [_event(after, Change.REFRESHED, was, now, night, as_of)]


def _held_for_nothing(before: Order, after: Order, decision: Decision | None, as_of: date) -> Order | None:
    """The order as a decision of tonight put it off or declined it, where tonight's evidence undid that."""
    if decision is None or decision.outcome not in {OrderState.DEFERRED, OrderState.DECLINED}:
        return None
    if (before.state, after.state) != (OrderState.PROPOSED, OrderState.PROPOSED):
        return None
    if decision.seen_by(before) or void(before, decision, as_of):
        return None
    return replace(before, state=decision.outcome, until=decision.until)


def _refreshed(before: Order, after: Order) -> tuple[dict[str, str], dict[str, str]]:
    """What is new behind an order that asks for the same: newer evidence, else facts, else rows."""
    if before.last_evidence_on != after.last_evidence_on:
        return (
            {"last_evidence_on": _text(before.last_evidence_on)},
            {"last_evidence_on": _text(after.last_evidence_on)},
        )
    names = _other_facts(before, after)
    if names:
        return {}, {"facts": "; ".join(sorted(names))}
    return {"rows": _rows(before)}, {"rows": _rows(after)}


def _other_facts(before: Order, after: Order) -> set[str]:
    """Names of the facts that differ, each with all that is said of it, in the reasons about one question."""
    old, new = _by_question(before), _by_question(after)
    return {
        name
        for question in old.keys() | new.keys()
        if old[question] != new[question]
        for name, _ in _facts(old[question]) ^ _facts(new[question])
    }


def _by_question(order: Order) -> defaultdict[Question, list[Reason]]:
    found: defaultdict[Question, list[Reason]] = defaultdict(list)
    for reason in order.reasons:
        found[reason.rule, reason.subject].append(reason)
    return found


def _facts(reasons: Iterable[Reason]) -> set[tuple[str, str]]:
    """Names of the facts, each with all that is said of it."""
    return {(fact.name, str(codec.fact_to_json(fact))) for reason in reasons for fact in reason.facts}


def _rows(order: Order) -> str:
    return str(len({row_id for reason in order.reasons for row_id in row_ids(reason.evidence)}))


def _decided(before: Order, after: Order, decision: Decision | None, night: int, as_of: date) -> OrderEvent:
    change = Change(after.state.value)
    was, now = {"state": before.state.value}, {"state": after.state.value}
    if before.until != after.until:
        was["until"], now["until"] = _text(before.until), _text(after.until)
    event = _event(after, change, was, now, night, as_of)
    if decision is None or change is Change.WITHDRAWN:
        return event
    if change is Change.DONE:
        event = replace(event, after=event.after | _closed_with(decision))
    return replace(event, by=decision.by, note=decision.note)


def _closed_with(decision: Decision) -> dict[str, str]:
    """What a close-out says of the work."""
    said = {
        "done_on": _text(decision.done_on),
        "as_found": decision.as_found,
        "as_left": decision.as_left,
        "hours_used": "" if decision.hours_used is None else f"{decision.hours_used:g}",
    }
    return {name: text for name, text in said.items() if text}


def _texts(order: Order) -> dict[str, str]:
    """The fields whose change makes a revision, as text."""
    return {
        "machine": order.machine,
        "strands": "; ".join(order.strands),
        "urgency": order.urgency.value,
        "need_by": _text(order.need_by),
        "buy_by": _text(order.buy_by),
        "shutdown": order.shutdown,
        "governing": order.governing,
        "parts": "; ".join(order.parts),
        "swallowed_by": order.swallowed_by,
    }


def _same_evidence(before: Order, after: Order) -> bool:
    if (before.last_evidence_on, before.newest_known) != (after.last_evidence_on, after.newest_known):
        return False
    return len(before.reasons) == len(after.reasons) and all(map(_same, before.reasons, after.reasons))


def _same(one: Reason, other: Reason) -> bool:
    # Two equal facts that are NaN are not equal as Python values, but are as JSON.
    return one == other or codec.reason_to_json(one) == codec.reason_to_json(other)


def _pick(texts: dict[str, str], names: set[str]) -> dict[str, str]:
    return {name: texts[name] for name in sorted(names)}


def _text(day: date | None) -> str:
    return "" if day is None else day.isoformat()


def _event(
    order: Order, change: Change, before: dict[str, str], after: dict[str, str], night: int, as_of: date
) -> OrderEvent:
    return OrderEvent(
        night=night,
        as_of=as_of,
        order=order.number,
        revision=order.revision,
        change=change,
        before=before,
        after=after,
    )
