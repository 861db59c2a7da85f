"""What a rehearsal found: two histories of orders beside each other and beside what really happened."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median
from typing import Any

from takeup.audit.forecasts import StageRecord
from takeup.audit.happened import GivenUp, Judged, Outcome
from takeup.audit.spells import JobChange, Pair, Spell, by_job, paired
from takeup.model import Job


@dataclass(frozen=True)
class SettingChange:
    """One value that differs: ``section.field``, for whom (blank: the site), before and after."""

    name: str
    whom: str
    before: Any
    after: Any
    unit: str


@dataclass(frozen=True)
class Reached:
    """The first night on which a chain was known to be at a limit, or within the doubt of one."""

    strand: str
    fitted_on: date
    on: date


@dataclass(frozen=True)
class LimitsPassed:
    """How many chains passed a limit under either settings, and how much sooner under the proposed ones."""

    present: int
    proposed: int
    earlier: int
    median_earlier: float | None
    later: int
    median_later: float | None


@dataclass(frozen=True)
class Side:
    """One history: its orders, how they came for what happened, and how its forecasts came out.

    ``reached`` has each chain that passed a limit once, by strand and fitting day.
    """

    spells: tuple[Spell, ...]
    reached: tuple[Reached, ...]
    chains: tuple[Judged, ...]
    fractures: tuple[Judged, ...]
    false: tuple[Judged, ...]
    given_up: GivenUp
    forecasts: tuple[StageRecord, ...]

    def count(self, outcome: Outcome, *, fractures: bool = False) -> int:
        """How many chains that came off, or fractures, came out so."""
        return sum(one.outcome is outcome for one in (self.fractures if fractures else self.chains))

    def standing(self, days: Iterable[date], job: Job) -> list[int]:
        """How many orders for a job stood on each day."""
        its = [spell for spell in self.spells if spell.job is job]
        return [sum(spell.stood_on(day) for spell in its) for day in days]


@dataclass(frozen=True)
class Rehearsal:
    """The present settings beside the proposed ones over the nights of a history.

    ``first_loads`` are the feeds of which a first load brought more than a month at once; ``known_all_along``
    the registers whose rows nobody knows any more since when they were known. ``judged`` of ``strand_nights``
    had to be judged, since all else could not have changed.
    """

    site: str
    begins: date
    ends: date
    every: int
    nights: int
    changes: tuple[SettingChange, ...]
    new_rules: tuple[str, ...]
    first_loads: tuple[str, ...]
    known_all_along: tuple[str, ...]
    strands: int
    strand_nights: int
    judged: int
    present: Side
    proposed: Side

    @property
    def pairs(self) -> list[Pair]:
        """Each order with its counterpart."""
        return paired(self.present.spells, self.proposed.spells)

    @property
    def jobs(self) -> list[JobChange]:
        """The comparison job by job."""
        return by_job(self.pairs)

    @property
    def passed(self) -> LimitsPassed:
        """The chains that passed a limit under either settings."""
        present, proposed = (
            {(one.strand, one.fitted_on): one.on for one in side.reached}
            for side in (self.present, self.proposed)
        )
        shifts = [(present[key] - proposed[key]).days for key in present.keys() & proposed.keys()]
        earlier = [days for days in shifts if days > 0]
        later = [-days for days in shifts if days < 0]
        return LimitsPassed(
            len(present),
            len(proposed),
            len(earlier),
            median(earlier) if earlier else None,
            len(later),
            median(later) if later else None,
        )

    @property
    def moved(self) -> list[Pair]:
        """The orders that one side raised on another day, or alone; those to replace a set first."""
        moved = [pair for pair in self.pairs if pair.days_earlier != 0 or pair.need_by_earlier]
        return sorted(
            moved,
            key=lambda pair: (
                pair.spell.job is not Job.REPLACE_SET,
                pair.spell.raised_on,
                pair.spell.subject,
            ),
        )

    def weeks(self) -> list[date]:
        """Days a week apart from the first night to the last."""
        return [
            self.begins + timedelta(days=days) for days in range(0, (self.ends - self.begins).days + 1, 7)
        ]


def record(told: Rehearsal) -> dict[str, Any]:
    """A rehearsal as JSON holds it."""
    return {
        "site": told.site,
        "from": told.begins.isoformat(),
        "to": told.ends.isoformat(),
        "every_days": told.every,
        "nights": told.nights,
        "strands": told.strands,
        "strand_nights": told.strand_nights,
        "strand_nights_judged": told.judged,
        "changes": [
            vars(change) | {"before": _plain(change.before), "after": _plain(change.after)}
            for change in told.changes
        ],
        "new_rules": list(told.new_rules),
        "first_loads": list(told.first_loads),
        "known_all_along": list(told.known_all_along),
        "jobs": [vars(change) | {"job": change.job.value} for change in told.jobs],
        "orders": [
            {
                "job": pair.spell.job.value,
                "subject": pair.spell.subject,
                "machine": pair.spell.machine,
                "present": _spell(pair.present),
                "proposed": _spell(pair.proposed),
                "days_earlier": pair.days_earlier,
            }
            for pair in told.pairs
        ],
        "present": _side(told.present),
        "proposed": _side(told.proposed),
    }


def _side(side: Side) -> dict[str, Any]:
    return {
        "outcomes": dict(Counter(one.outcome.value for one in (*side.chains, *side.fractures, *side.false))),
        "limits_reached": [
            {"strand": one.strand, "fitted_on": one.fitted_on.isoformat(), "on": one.on.isoformat()}
            for one in side.reached
        ],
        "chains": [_judged(one) for one in side.chains],
        "fractures": [_judged(one) for one in side.fractures],
        "false": [_judged(one) for one in side.false],
        "given_up": side.given_up._asdict(),
        "forecasts": [one._asdict() for one in side.forecasts],
    }


def _judged(one: Judged) -> dict[str, Any]:
    return {
        "outcome": one.outcome.value,
        "on": one.on.isoformat(),
        "set": one.set,
        "machine": one.machine,
        "notice_days": one.notice_days,
        "order": _spell(one.order),
        "as_found_percent": one.chain.as_found if one.chain else None,
        "limit_percent": one.chain.limit if one.chain else None,
        "finding": one.fracture.finding if one.fracture else None,
    }


def _spell(spell: Spell | None) -> dict[str, Any] | None:
    if spell is None:
        return None
    return {
        "raised_on": spell.raised_on.isoformat(),
        "urgency": spell.urgency,
        "need_by": _iso(spell.need_by),
        "buy_by": _iso(spell.buy_by),
        "ended_on": _iso(spell.ended_on),
    }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
