"""All that is asked for one job on one subject, as one candidate for an order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from takeup.layered import Layered
from takeup.model import Job, Reason, Urgency
from takeup.orders.answers import Answers
from takeup.orders.asked import Asked, Key, facts_named
from takeup.orders.days import earliest, latest
from takeup.orders.durations import job_hours
from takeup.orders.places import Names, Places
from takeup.orders.settings import OrdersSettings
from takeup.orders.stops import Stops

#: what a job takes beside tools; common practice, no source.
#: A rule adds more in a fact ``parts``.
PARTS: dict[Job, Names] = {
    Job.REPLACE_SET: (
        "attachments",
        "bolts",
        "connecting_links",
        "matched_set",
        "spare_section",
        "sprockets_as_gauged",
    ),
    Job.ADJUST_TAKEUP: ("connecting_links", "retainers"),
    Job.SPROCKETS: ("bolts", "sprockets"),
}


@dataclass(frozen=True)
class Candidate:
    """What an order would say by tonight's due verdicts alone.

    ``need_by`` is None where neither a verdict nor a planned stop gives a day; ``dated`` says whether every
    verdict of the leading urgency gives one. ``lead_days`` is None where the job buys no set or nobody knows.
    """

    job: Job
    subject_kind: str
    subject: str
    machine: str
    strands: Names
    urgency: Urgency
    need_by: date | None
    buy_by: date | None
    shutdown: str
    governing: str
    parts: Names
    reasons: tuple[Reason, ...]
    last_evidence_on: date | None
    newest_known: int
    dated: bool
    lead_days: float | None


def candidates(
    heard: Iterable[Asked],
    answers: Answers,
    *,
    places: Places,
    stops: Stops,
    as_of: date,
    settings: Layered[OrdersSettings],
) -> dict[Key, Candidate]:
    """One candidate a job and subject.

    The most urgent verdict gives the urgency and the earliest dates hold. The governing limit is that of
    the most urgent verdict that names one, the earlier need-by deciding between equals.
    """
    groups: dict[Key, list[Asked]] = defaultdict(list)
    for each in heard:
        groups[each.key].append(each)
    found: dict[Key, Candidate] = {}
    for key, group in groups.items():
        group.sort(key=_by_urgency)
        machine = group[0].machine if len({each.machine for each in group}) == 1 else ""
        hours = job_hours(group, machine, places, settings)
        need_by, shutdown = _need_by(group, machine, stops, as_of, hours)
        lead_days = places.lead_days.get(key[1]) if key[0] is Job.REPLACE_SET else None
        found[key] = _candidate(group, answers, machine, need_by, shutdown, lead_days)
    return found


def _candidate(
    group: list[Asked],
    answers: Answers,
    machine: str,
    need_by: date | None,
    shutdown: str,
    lead_days: float | None,
) -> Candidate:
    first = group[0]
    parts = {*PARTS.get(first.job, ())}
    for each in group:
        for named in facts_named(each.verdict, "parts"):
            parts.update(named if isinstance(named, tuple) else (str(named),))
    limits = (
        str(limit) for each in sorted(group, key=_by_date) for limit in facts_named(each.verdict, "limit")
    )
    return Candidate(
        job=first.job,
        subject_kind=first.subject_kind,
        subject=first.subject,
        machine=machine,
        strands=tuple(sorted({strand for each in group for strand in each.strands})),
        urgency=first.urgency,
        need_by=need_by,
        buy_by=earliest(*(each.verdict.buy_by for each in group)),
        shutdown=shutdown,
        governing=next(limits, ""),
        parts=tuple(sorted(parts)),
        reasons=tuple(_reason(each) for each in group),
        last_evidence_on=latest(*(each.evidence_on for each in group)),
        newest_known=max(answers.known(each.question) for each in group),
        dated=all(each.verdict.need_by is not None for each in group if each.urgency is first.urgency),
        lead_days=lead_days,
    )


def _reason(each: Asked) -> Reason:
    verdict = each.verdict
    return Reason(
        rule=verdict.rule,
        subject=verdict.subject,
        case=verdict.reason,
        facts=verdict.facts,
        evidence=verdict.evidence,
        last_evidence_on=each.evidence_on,
        settings=verdict.settings,
    )


def _need_by(
    group: list[Asked], machine: str, stops: Stops, as_of: date, hours: float
) -> tuple[date | None, str]:
    """The earliest need-by and its stop, none that is shorter than the job.

    A job for the next shutdown that is undated, or whose day is past, takes that shutdown's start: the limit
    behind it stops no machine before then.
    """
    stop = stops.following(machine, as_of, hours) if group[0].urgency is Urgency.NEXT_SHUTDOWN else None
    dated = [each for each in group if each.verdict.need_by is not None]
    if dated:
        need_by = earliest(*(each.verdict.need_by for each in dated))
        named = [
            str(name)
            for each in dated
            if each.verdict.need_by == need_by
            for name in facts_named(each.verdict, "shutdown")
        ]
        if named:
            return need_by, named[0]
        if need_by is not None and (stop is None or need_by > as_of):
            held = stops.holding(machine, need_by, hours)
            return need_by, held.name if held else ""
    return (stop.first, stop.name) if stop else (None, "")


def _by_urgency(each: Asked) -> tuple[int, str, str, str]:
    return each.urgency.rank, each.verdict.rule, each.verdict.subject, each.verdict.reason


def _by_date(each: Asked) -> tuple[int, date, str, str]:
    return each.urgency.rank, each.verdict.need_by or date.max, each.verdict.rule, each.verdict.subject
