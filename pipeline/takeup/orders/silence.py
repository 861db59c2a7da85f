"""After a job was done: whose voice still counts, and what is asked when no proof of the work arrives.

Until the evidence of the work arrives, the old evidence still says *due*. For some days that is not held
against the people who did the work; after that nobody can judge, and the missing record is asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from takeup.model import Answer, Fact, Job, Order, OrderState, Urgency, Verdict
from takeup.orders.answers import Answers, Question
from takeup.orders.asked import Asked, Key
from takeup.orders.closeouts import Decision, governing

RULE = "job_unproved"
CASES = {
    RULE: {"nothing_since": "due, this week: a job was closed out as done and no evidence arrived since"}
}
SUBJECT = "order_closeouts/nothing_since"

#: their record of the day itself is the proof; other evidence of that day may be as found
RECORDED_BY_DOING = frozenset({Job.MEASURE, Job.LUBRICATE})

#: not asked for again by this room: a renewal without a register row is judgement's own question, and data
#: that are still wrong are simply wrong
ASKED_ELSEWHERE = frozenset({Job.REPLACE_SET})
ASKED_AGAIN = frozenset({Job.CORRECT_DATA})

#: rules that leave out by themselves what a finished order named: what they still ask for, it did not know
LEFT_OUT_BY_RULE = frozenset({"abnormal_finding", "corrosion_review"})


@dataclass(frozen=True)
class Hearing:
    """Verdicts that still count, and orders closed out as done whose proof is missing."""

    heard: list[Asked]
    unproved: list[Asked]


def hearing(
    all_asked: Iterable[Asked],
    finished: Mapping[Key, Order],
    decisions: Mapping[str, Decision],
    *,
    as_of: date,
    silence_days: int,
) -> Hearing:
    """Sort tonight's due verdicts by whether a finished job silences them.

    Nothing silences *stop now*, a strand the finished job did not cover, evidence dated after the work, or a
    finding or mistake in data that its order did not name.

    Parameters
    ----------
    all_asked : iterable of Asked
    finished : mapping
        The newest order done for each job and subject.
    decisions : mapping
        Order number to the decision that counts.
    as_of : date
    silence_days : int
    """
    days = timedelta(days=silence_days)
    heard, unproved = _sorted(all_asked, finished, decisions, as_of, days)
    # The question for a record may have been closed out itself.
    still_unproved, _ = _sorted(unproved, finished, decisions, as_of, days)
    return Hearing(heard, still_unproved)


def proved(orders: Iterable[Order], hearing: Hearing, answers: Answers) -> set[Question]:
    """Questions of :data:`RULE` that are answered: each reason of the finished order is clear or asked anew.

    Parameters
    ----------
    orders : iterable of Order
        Orders that were closed out as done when the question was raised.
    """
    asked_anew = {each.question for each in hearing.heard}
    return {
        (RULE, order.number)
        for order in orders
        if order.state is not OrderState.DONE
        or all(
            (reason.rule, reason.subject) in asked_anew or answers.released(reason, order)
            for reason in order.reasons
        )
    }


def _sorted(
    all_asked: Iterable[Asked],
    finished: Mapping[Key, Order],
    decisions: Mapping[str, Decision],
    as_of: date,
    days: timedelta,
) -> tuple[list[Asked], list[Asked]]:
    """The verdicts that count, and one question for each finished order whose record is missing."""
    heard: list[Asked] = []
    unproved: dict[str, Asked] = {}
    for each in all_asked:
        order = finished.get(each.key)
        decision = governing(order, decisions) if order else None
        if order is None or decision is None or _speaks(each, order, decision.done_on):
            heard.append(each)
        elif as_of >= decision.done_on + days:
            if each.job in ASKED_AGAIN or _proved_on_the_day(each, order, decision.done_on):
                heard.append(each)
            elif each.job not in ASKED_ELSEWHERE:
                unproved.setdefault(order.number, _missing_record(each, order, decision.done_on))
    return heard, list(unproved.values())


def _speaks(each: Asked, order: Order, done_on: date) -> bool:
    if each.verdict.rule in LEFT_OUT_BY_RULE or each.urgency is Urgency.STOP_NOW:
        return True
    if not set(each.strands) <= set(order.strands):
        return True
    if each.job is Job.CORRECT_DATA and not any(
        (reason.rule, reason.subject) == each.question for reason in order.reasons
    ):
        return True
    if each.evidence_on is not None and each.evidence_on > done_on:
        return True
    return each.job in RECORDED_BY_DOING and _proved_on_the_day(each, order, done_on)


def _proved_on_the_day(each: Asked, order: Order, done_on: date) -> bool:
    """Whether there is evidence of the day of the work that the order did not rest on."""
    return each.evidence_on is not None and each.evidence_on >= done_on and not _rests_on(order, each)


def _rests_on(order: Order, each: Asked) -> bool:
    return any(
        (reason.rule, reason.subject) == each.question and reason.last_evidence_on == each.evidence_on
        for reason in order.reasons
    )


def _missing_record(each: Asked, order: Order, done_on: date) -> Asked:
    facts = (
        Fact("order", order.number, "word", "order close-outs"),
        Fact("job", order.job.value, "word", "order close-outs"),
        Fact("done_on", done_on, "day", "order close-outs"),
    )
    verdict = Verdict(
        rule=RULE,
        subject_kind="source",
        subject=order.number,
        answer=Answer.DUE,
        machine=order.machine,
        job=Job.CORRECT_DATA,
        urgency=Urgency.THIS_WEEK,
        reason="nothing_since",
        facts=facts,
    )
    return replace(
        each,
        verdict=verdict,
        job=Job.CORRECT_DATA,
        urgency=Urgency.THIS_WEEK,
        subject_kind="source",
        subject=SUBJECT,
        machine=order.machine,
        strands=order.strands,
        evidence_on=None,
    )
