"""One order told again by tonight's verdicts: amended, held, ended, or left as it stands.

======================  =====================================  ==========================================
state before            due tonight, or a reason still stands  every reason released
======================  =====================================  ==========================================
proposed                amended                                withdrawn, unless *stop now*
accepted                amended                                unchanged: only a close-out ends it
deferred, declined      held until the day is reached, the     withdrawn, unless *stop now*
                        urgency rises, or a limit of function
                        or strength may come before the day;
                        then proposed again
withdrawn               due: reopened under its number         withdrawn
done                    done; a new condition, a new order     done
======================  =====================================  ==========================================

*Stop now* never falls and is never held: the order keeps that urgency, and its reasons, until it is closed
out.

*Stop now* and *this week* give an order a day of their own, counted from the day on which it came to that
urgency: said once, it stands still while the nights go on. A day that the condition itself gives holds where
it is the earlier. No chain is bought in a week: a replacement keeps the day that its limit gives.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

from takeup.layered import Layered
from takeup.model import Job, Order, OrderState, Reason, Urgency
from takeup.orders.candidates import Candidate
from takeup.orders.closeouts import outlived
from takeup.orders.days import earliest, latest
from takeup.orders.settings import OrdersSettings

HELD = frozenset({OrderState.DEFERRED, OrderState.DECLINED})
Released = Callable[[Reason, Order], bool]

OPEN = frozenset({OrderState.PROPOSED, OrderState.ACCEPTED, *HELD})


def told(
    order: Order,
    candidate: Candidate | None,
    released: Released,
    as_of: date,
    settings: Layered[OrdersSettings],
) -> Order:
    """The order after tonight's verdicts; revision and nights are left to :mod:`takeup.orders.events`.

    Parameters
    ----------
    order : Order
        After tonight's decisions.
    candidate : Candidate, optional
        What is due tonight for its job and subject.
    released : callable
        Whether a reason of an order no longer holds.
    as_of : date
    settings : Layered of OrdersSettings
    """
    week = int(settings.value("this_week_days", order.machine))
    if order.state is OrderState.DONE or (order.state is OrderState.WITHDRAWN and candidate is None):
        return order
    if order.state is OrderState.WITHDRAWN and candidate is not None:
        return replace(said(candidate, _afresh(order), as_of, week), state=OrderState.PROPOSED)
    standing = _standing(order, candidate, released)
    if candidate is None and not standing:
        if order.state is OrderState.ACCEPTED:
            return order
        return replace(order, state=OrderState.WITHDRAWN, until=None, swallowed_by="")
    if order.state in HELD:
        held = _with_reasons(order, candidate, standing)
        if _holds(held, candidate, as_of):
            return held
        order = replace(_afresh(order), state=OrderState.PROPOSED, until=None)
    return _amended(order, candidate, standing, as_of, week)


def said(candidate: Candidate, order: Order, as_of: date, week: int) -> Order:
    """The order saying what the candidate says; number, state and history stay.

    Parameters
    ----------
    candidate : Candidate
    order : Order
    as_of : date
    week : int
        Days that a job for this week has.
    """
    since = _urgent_since(order, candidate.urgency, as_of)
    need_by = earliest(candidate.need_by, _last_day(candidate, since, week))
    return replace(
        order,
        subject_kind=candidate.subject_kind,
        machine=candidate.machine,
        strands=candidate.strands,
        urgency=candidate.urgency,
        need_by=need_by,
        buy_by=candidate.buy_by,
        shutdown=candidate.shutdown if need_by == candidate.need_by else "",
        governing=candidate.governing,
        parts=candidate.parts,
        reasons=candidate.reasons,
        last_evidence_on=candidate.last_evidence_on,
        newest_known=candidate.newest_known,
        urgent_since=since,
        set_here_on=_set_here_on(candidate, order, as_of),
    )


def _standing(order: Order, candidate: Candidate | None, released: Released) -> tuple[Reason, ...]:
    """Reasons of the order that were not asked again tonight and still hold."""
    again = {(reason.rule, reason.subject) for reason in candidate.reasons} if candidate else set()
    return tuple(
        reason
        for reason in order.reasons
        if (reason.rule, reason.subject) not in again
        and (order.urgency is Urgency.STOP_NOW or not released(reason, order))
    )


def _holds(order: Order, candidate: Candidate | None, as_of: date) -> bool:
    if order.until is not None and as_of >= order.until:
        return False
    if outlived(order, order.until, as_of):
        return False
    return candidate is None or candidate.urgency.rank >= order.urgency.rank


def _with_reasons(order: Order, candidate: Candidate | None, standing: tuple[Reason, ...]) -> Order:
    """The order with tonight's reasons before those that stand; what it asks for is untouched."""
    reasons = (*candidate.reasons, *standing) if candidate else standing
    return replace(
        order,
        reasons=reasons,
        last_evidence_on=_newest(reasons),
        newest_known=max(order.newest_known, candidate.newest_known if candidate else 0),
    )


def _amended(
    order: Order, candidate: Candidate | None, standing: tuple[Reason, ...], as_of: date, week: int
) -> Order:
    """The order by tonight's candidate; beside what still stands, the more urgent and the earlier hold."""
    if candidate is None:
        return _with_reasons(order, None, standing)
    if not standing and order.urgency is not Urgency.STOP_NOW:
        return said(candidate, order, as_of, week)
    leads = candidate.urgency.rank <= order.urgency.rank
    urgency = candidate.urgency if leads else order.urgency
    since = _urgent_since(order, urgency, as_of)
    need_by = earliest(candidate.need_by, order.need_by, _last_day(candidate, since, week) if leads else None)
    return replace(
        _with_reasons(order, candidate, standing),
        strands=tuple(sorted({*candidate.strands, *order.strands})),
        urgency=urgency,
        need_by=need_by,
        buy_by=earliest(candidate.buy_by, order.buy_by),
        shutdown=candidate.shutdown if need_by == candidate.need_by else order.shutdown,
        governing=(candidate.governing or order.governing)
        if leads
        else (order.governing or candidate.governing),
        parts=tuple(sorted({*candidate.parts, *order.parts})),
        urgent_since=since,
        set_here_on=_set_here_on(candidate, order, as_of),
    )


def _afresh(order: Order) -> Order:
    """An order that is asked anew: its days count from tonight."""
    return replace(order, urgent_since=None)


def _urgent_since(order: Order, urgency: Urgency, as_of: date) -> date:
    """The day on which the order came to this urgency."""
    if order.urgent_since is None or order.urgency is not urgency:
        return as_of
    return order.urgent_since


def _last_day(candidate: Candidate, since: date, week: int) -> date | None:
    """The day by which an urgency alone wants the job done; None for what has its own or waits for a stop."""
    if candidate.urgency is Urgency.STOP_NOW:
        return since
    planned = candidate.dated and candidate.job is Job.REPLACE_SET
    if candidate.urgency is Urgency.THIS_WEEK and not planned:
        return since + timedelta(days=week)
    return None


def _set_here_on(candidate: Candidate, order: Order, as_of: date) -> date | None:
    """The day on which a set bought by the buy-by, or else when the order was raised, can be here."""
    if candidate.lead_days is None:
        return order.set_here_on
    bought = latest(candidate.buy_by, order.raised_as_of or as_of)
    return None if bought is None else bought + timedelta(days=int(candidate.lead_days))


def _newest(reasons: tuple[Reason, ...]) -> date | None:
    return latest(*(reason.last_evidence_on for reason in reasons))
