"""The book of orders, and one night's entries in it.

The whole is a function of what it is given. Told twice on one night it changes nothing; but for numbers,
revisions and the nights of raising and revising, what an order says follows from verdicts, decisions and
the civil day.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from takeup.layered import Layered
from takeup.model import Job, KeptOut, Order, OrderEvent, OrderState, Reason, Urgency, Verdict, row_ids
from takeup.orders import candidates, closeouts, silence, swallowing
from takeup.orders.answers import Answers, Question, answers
from takeup.orders.asked import Key, asked
from takeup.orders.candidates import Candidate
from takeup.orders.closeouts import Decision
from takeup.orders.days import EPOCH
from takeup.orders.events import recorded
from takeup.orders.places import places
from takeup.orders.settings import OrdersSettings
from takeup.orders.stops import stops
from takeup.orders.told import OPEN, Released, said, told

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Updated:
    """The book after a night, what changed in it, and the close-outs that could not be acted on.

    ``orders`` is the whole book by running number. ``problems`` are close-out rows with a reason of
    :data:`takeup.orders.closeouts.REASONS`; their file and raw text are found by ``row_id``.
    """

    orders: list[Order]
    events: list[OrderEvent]
    problems: list[KeptOut]

    @property
    def changed(self) -> list[Order]:
        """The orders that have an event tonight."""
        named = {event.order for event in self.events}
        return [order for order in self.orders if order.number in named]

    @property
    def open(self) -> list[Order]:
        """The orders that are proposed, accepted, deferred or declined."""
        return [order for order in self.orders if order.state in OPEN]


def update(
    due: Sequence[Verdict],
    verdicts: pd.DataFrame,
    book: Sequence[Order],
    close_outs: pd.DataFrame,
    *,
    state: pd.DataFrame,
    shutdowns: pd.DataFrame,
    night: int,
    as_of: date,
    settings: Layered[OrdersSettings],
) -> Updated:
    """Turn a night's verdicts and decisions into orders.

    Parameters
    ----------
    due : sequence of Verdict
        The due verdicts, each with job and urgency.
    verdicts : DataFrame
        All of tonight's, see :func:`takeup.orders.answers.answers`.
    book : sequence of Order
        Every order ever raised, as the last night left it.
    close_outs : DataFrame
        Current rows of the close-outs feed, see :func:`takeup.orders.closeouts.decisions`.
    state : DataFrame
        One row an open life, see :func:`takeup.orders.places.places`.
    shutdowns : DataFrame
        Current rows of the shutdowns feed, see :func:`takeup.orders.stops.stops`.
    night : int
        Tonight's number; it enters orders only as the night of raising and revising.
    as_of : date
    settings : Layered of OrdersSettings

    Returns
    -------
    Updated

    Raises
    ------
    OurFault
        If a due verdict lacks job or urgency.
    """
    where = places(state)
    everything = asked(due, where)
    tonight = answers(verdicts, _questions(due, book))
    told_of = closeouts.decisions(close_outs, book)
    made = told_of.found
    before = {order.number: order for order in sorted(book, key=running_number)}
    after, problems = _decided(before, made, as_of)
    problems.extend(told_of.problems)

    voices = silence.hearing(
        everything, _finished(after.values()), made, as_of=as_of, silence_days=settings.value("silence_days")
    )
    wanted = candidates.candidates(
        (*voices.heard, *voices.unproved),
        tonight,
        places=where,
        stops=stops(shutdowns),
        as_of=as_of,
        settings=settings,
    )
    released = _releases(after, tonight, voices)
    for order in _current(after.values()).values():
        if order.state is not OrderState.DONE:
            candidate = wanted.pop((order.job, order.subject), None)
            after[order.number] = told(order, candidate, released, as_of, settings)
    for order in _raised(wanted.values(), before.values(), as_of, settings):
        after[order.number] = order

    orders: list[Order] = []
    events: list[OrderEvent] = []
    for order in swallowing.swallowed(
        after.values(), lambda machine: int(settings.value("bundling_days", machine)), as_of
    ):
        decision = closeouts.governing(order, made)
        entered, happened = recorded(before.get(order.number), order, decision, night=night, as_of=as_of)
        orders.append(entered)
        events.extend(happened)
    return Updated(orders, events, problems)


def done_days(book: Sequence[Order], close_outs: pd.DataFrame) -> dict[Key, float]:
    """Day number on which each job was last closed out as done for its subject, by tonight's close-outs.

    Parameters
    ----------
    book : sequence of Order
        As the last night left it.
    close_outs : DataFrame
        As for :func:`update`.

    Returns
    -------
    dict
        (job, subject of the order) to day number; the history that the rules judge by.
    """
    made = closeouts.decisions(close_outs, book).found
    days: dict[Key, float] = {}
    for order in sorted(book, key=running_number):
        decision = closeouts.governing(order, made)
        if decision is not None and decision.outcome is OrderState.DONE:
            days[order.job, order.subject] = float((decision.done_on - EPOCH).days)
    return days


def closed_rows(book: Sequence[Order], close_outs: pd.DataFrame) -> dict[tuple[Job, int], float]:
    """Day number on which an order that named a row was last closed out as done, by job and row id.

    Parameters
    ----------
    book : sequence of Order
        As the last night left it.
    close_outs : DataFrame
        As for :func:`update`.
    """
    made = closeouts.decisions(close_outs, book).found
    days: dict[tuple[Job, int], float] = {}
    for order in book:
        decision = closeouts.governing(order, made)
        if decision is not None and decision.outcome is OrderState.DONE:
            day = float((decision.done_on - EPOCH).days)
            for row in (row for reason in order.reasons for row in row_ids(reason.evidence)):
                days[order.job, row] = max(days.get((order.job, row), day), day)
    return days


def machines_at_work(book: Iterable[Order]) -> dict[str, Urgency]:
    """The machines of open orders that need lockout, each with its most urgent job."""
    found: dict[str, Urgency] = {}
    for order in book:
        if order.state in OPEN and order.job is not Job.CORRECT_DATA and order.machine:
            before = found.get(order.machine, order.urgency)
            found[order.machine] = min(before, order.urgency, key=lambda urgency: urgency.rank)
    return found


def running_number(order: Order) -> int:
    """The number of an order without its prefix.

    Raises
    ------
    ValueError
        If it does not end in a number after a hyphen.
    """
    return int(order.number.rpartition("-")[2])


def _questions(due: Iterable[Verdict], book: Iterable[Order]) -> set[Question]:
    reasons = (reason for order in book for reason in order.reasons)
    return {(each.rule, each.subject) for source in (due, reasons) for each in source}


def _current(orders: Iterable[Order]) -> dict[Key, Order]:
    """The newest order of each job and subject; earlier ones are done."""
    return {(order.job, order.subject): order for order in orders}


def _finished(orders: Iterable[Order]) -> dict[Key, Order]:
    """The newest order of each job and subject that is done."""
    return _current(order for order in orders if order.state is OrderState.DONE)


def _decided(
    before: Mapping[str, Order], made: Mapping[str, Decision], as_of: date
) -> tuple[dict[str, Order], list[KeptOut]]:
    """The book after tonight's decisions, and the decisions without effect."""
    current = {order.number for order in _current(before.values()).values()}
    problems = closeouts.unknown(made, before)
    after: dict[str, Order] = {}
    for number, order in before.items():
        decision = closeouts.governing(order, made)
        after[number], reason = closeouts.decided(order, decision, as_of)
        if number not in current and after[number] != order:
            after[number], reason = order, "order_followed"
        if reason and decision:
            last = closeouts.latest_until(order) if reason == "until_past_limit" else None
            problems.append(closeouts.kept_out(decision, reason, last.isoformat() if last else ""))
    return after, problems


def without_effect(book: Sequence[Order], close_outs: pd.DataFrame, as_of: date) -> list[KeptOut]:
    """The close-outs that a night could not act on, as :func:`update` found them.

    Parameters
    ----------
    book : sequence of Order
        As the night before left it.
    close_outs : DataFrame
        Current rows of the close-outs feed on that night.
    as_of : date
        Of that night.
    """
    told_of = closeouts.decisions(close_outs, book)
    before = {order.number: order for order in sorted(book, key=running_number)}
    return [*_decided(before, told_of.found, as_of)[1], *told_of.problems]


def _releases(orders: Mapping[str, Order], tonight: Answers, voices: silence.Hearing) -> Released:
    """How a reason of an order is released tonight."""
    in_question = {
        reason.subject for order in orders.values() for reason in order.reasons if reason.rule == silence.RULE
    }
    proved: set[Question] = silence.proved((orders[number] for number in in_question), voices, tonight)

    def released(reason: Reason, order: Order) -> bool:
        if reason.rule == silence.RULE:
            return (reason.rule, reason.subject) in proved
        return tonight.released(reason, order)

    return released


def _raised(
    wanted: Iterable[Candidate], book: Iterable[Order], as_of: date, settings: Layered[OrdersSettings]
) -> list[Order]:
    """New orders, numbered on from the book in the order of urgency, machine, job and subject."""
    last, prefix = max((running_number(order) for order in book), default=0), settings.value("prefix")
    ordered = sorted(wanted, key=lambda each: (each.urgency.rank, each.machine, each.job.value, each.subject))
    return [
        said(
            each,
            _blank(each, f"{prefix}-{last + place:04d}"),
            as_of,
            int(settings.value("this_week_days", each.machine)),
        )
        for place, each in enumerate(ordered, start=1)
    ]


def _blank(candidate: Candidate, number: str) -> Order:
    """An order that says nothing yet."""
    return Order(
        number=number,
        job=candidate.job,
        subject_kind=candidate.subject_kind,
        subject=candidate.subject,
        machine=candidate.machine,
        strands=(),
        urgency=Urgency.PLAN,
        need_by=None,
        buy_by=None,
        shutdown="",
        governing="",
        parts=(),
        reasons=(),
    )
