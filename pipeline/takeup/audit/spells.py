"""Spells: how long an order stood for one job on one subject, and how two histories of them compare."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import median

from takeup.model import Change, Job, Order, OrderEvent

Key = tuple[Job, str]

_BEGINS = frozenset({Change.RAISED, Change.REOPENED})
_ENDS = frozenset({Change.WITHDRAWN, Change.DONE})


@dataclass(frozen=True)
class Spell:
    """One time that an order stood, from the night that raised or reopened it.

    ``need_by`` and ``buy_by`` are those it began with, ``last_need_by`` the one it bore last; ``ended_on`` is
    the night that withdrew or closed it, None while it stands.
    """

    job: Job
    subject: str
    machine: str
    raised_on: date
    urgency: str
    need_by: date | None
    buy_by: date | None
    last_need_by: date | None
    ended_on: date | None = None
    withdrawn: bool = False

    @property
    def key(self) -> Key:
        """Job and subject."""
        return self.job, self.subject

    def stood_on(self, day: date) -> bool:
        """Whether it had been raised by a day and not ended before it."""
        return self.raised_on <= day and (self.ended_on is None or self.ended_on >= day)


@dataclass(frozen=True)
class Pair:
    """The same work under the present and the proposed settings; one of them None where only one asked."""

    present: Spell | None
    proposed: Spell | None

    @property
    def spell(self) -> Spell:
        """The one that there is, the proposed first."""
        found = self.proposed or self.present
        if found is None:
            raise ValueError("a pair of no spell")
        return found

    @property
    def days_earlier(self) -> int | None:
        """How many days earlier the proposed settings would have asked; negative: later."""
        if self.present is None or self.proposed is None:
            return None
        return (self.present.raised_on - self.proposed.raised_on).days

    @property
    def need_by_earlier(self) -> int | None:
        """How many days earlier the work would have been needed."""
        if self.present is None or self.proposed is None:
            return None
        if self.present.need_by is None or self.proposed.need_by is None:
            return None
        return (self.present.need_by - self.proposed.need_by).days


@dataclass(frozen=True)
class JobChange:
    """How the orders of one job compare; medians in days, None where there are none."""

    job: Job
    present: int
    proposed: int
    same_day: int
    earlier: int
    median_earlier: float | None
    later: int
    median_later: float | None
    never: int
    extra: int


def spells(orders: Iterable[Order], events: Iterable[OrderEvent]) -> list[Spell]:
    """The spells of a book of orders, by the day they began, then job and subject.

    Parameters
    ----------
    orders : iterable of Order
    events : iterable of OrderEvent
        In the order in which they happened.
    """
    book = {order.number: order for order in orders}
    standing: dict[str, Spell] = {}
    told: dict[str, dict[str, str]] = defaultdict(dict)
    found: list[Spell] = []
    for event in events:
        order = book[event.order]
        told[event.order] |= event.after
        said = told[event.order]
        if event.change in _ENDS and event.order in standing:
            spell = standing.pop(event.order)
            found.append(replace(spell, ended_on=event.as_of, withdrawn=event.change is Change.WITHDRAWN))
        elif event.change in _BEGINS and event.order not in standing:
            standing[event.order] = Spell(
                order.job,
                order.subject,
                said.get("machine", ""),
                event.as_of,
                said.get("urgency", ""),
                _day(said.get("need_by", "")),
                _day(said.get("buy_by", "")),
                _day(said.get("need_by", "")),
            )
        elif event.order in standing and "need_by" in event.after:
            standing[event.order] = replace(standing[event.order], last_need_by=_day(event.after["need_by"]))
    found += standing.values()
    return sorted(found, key=lambda each: (each.raised_on, each.job.value, each.subject))


def paired(present: Sequence[Spell], proposed: Sequence[Spell]) -> list[Pair]:
    """Each spell with the one of the other history that stood at the same time for the same work.

    Of several the first that overlaps is taken; spells that never stood together are no pair: the work was
    done, or the need had passed, before the other history asked.
    """
    there: dict[Key, list[Spell]] = defaultdict(list)
    for each in proposed:
        there[each.key].append(each)
    found: list[Pair] = []
    for one in present:
        other = next((each for each in there[one.key] if _together(one, each)), None)
        if other is not None:
            there[one.key].remove(other)
        found.append(Pair(one, other))
    found += [Pair(None, each) for rest in there.values() for each in rest]
    return sorted(found, key=lambda pair: (pair.spell.raised_on, pair.spell.job.value, pair.spell.subject))


def by_job(pairs: Iterable[Pair]) -> list[JobChange]:
    """The comparison of each job that either history asked for, in the order of the jobs."""
    of: dict[Job, list[Pair]] = defaultdict(list)
    for pair in pairs:
        of[pair.spell.job].append(pair)
    return [_change(job, of[job]) for job in Job if job in of]


def _change(job: Job, pairs: Sequence[Pair]) -> JobChange:
    shifts = [pair.days_earlier for pair in pairs if pair.days_earlier is not None]
    earlier = [days for days in shifts if days > 0]
    later = [-days for days in shifts if days < 0]
    never = sum(pair.proposed is None for pair in pairs)
    extra = sum(pair.present is None for pair in pairs)
    return JobChange(
        job,
        present=len(pairs) - extra,
        proposed=len(pairs) - never,
        same_day=sum(days == 0 for days in shifts),
        earlier=len(earlier),
        median_earlier=median(earlier) if earlier else None,
        later=len(later),
        median_later=median(later) if later else None,
        never=never,
        extra=extra,
    )


def _together(one: Spell, other: Spell) -> bool:
    ends = [each.ended_on or date.max for each in (one, other)]
    return max(one.raised_on, other.raised_on) <= min(ends)


def _day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None
