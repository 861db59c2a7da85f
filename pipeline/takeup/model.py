"""The record types that rooms hand to each other.

Small records are frozen dataclasses. Records by the thousand are :class:`pandas.DataFrame` objects whose
columns are listed where they are made (``derive`` and ``judgement``).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any


class Feed(StrEnum):
    """The eleven kinds of export."""

    MACHINES = "machines"
    ENERGY_SOURCES = "energy_sources"
    STRANDS = "strands"
    RUN_HOURS = "run_hours"
    ELONGATION_READINGS = "elongation_readings"
    TAKEUP_READINGS = "takeup_readings"
    LUBE_RECORDS = "lube_records"
    INSPECTION_FINDINGS = "inspection_findings"
    SPROCKET_CHECKS = "sprocket_checks"
    SHUTDOWNS = "shutdowns"
    ORDER_CLOSEOUTS = "order_closeouts"


class RowState(StrEnum):
    """Where a delivered row ended; every row of every file ends in exactly one."""

    NEW = "new"
    DUPLICATE = "duplicate"
    SUPERSEDING = "superseding"
    REFUSED = "refused"
    WAITING = "waiting"


@dataclass(frozen=True)
class Accounting:
    """How the rows of one file ended. ``read`` is always the sum of the other five."""

    file: str
    sha256: str
    feed: str
    read: int
    new: int = 0
    duplicate: int = 0
    superseding: int = 0
    refused: int = 0
    waiting: int = 0

    def balances(self) -> bool:
        """Whether every row read is accounted for."""
        return self.read == self.new + self.duplicate + self.superseding + self.refused + self.waiting


@dataclass(frozen=True)
class KeptOut:
    """A row that is not used, and why. Codes and values only: the sentence comes from the templates.

    ``state`` is ``refused``, ``waiting`` or ``set aside``. Of a row that a person set aside, ``by``,
    ``remark`` and ``since`` say who did, why, and as of which day.
    """

    state: str
    reason: str
    feed: str
    file: str
    sha256: str
    line: int
    raw: str
    column: str = ""
    found: str = ""
    wanted: str = ""
    subject: str = ""
    row_id: int | None = None
    by: str = ""
    remark: str = ""
    since: date | None = None


class Source(StrEnum):
    """Where a number of the trade comes from; printed in words beside every default."""

    VERIFIED = "verified"
    QUOTED = "quoted by a third party"
    MEMORY = "from memory, unverified"
    PRACTICE = "common practice, no source"
    DERIVED = "derived"
    PROPOSED = "proposed for takeup, no source"
    SITE = "the site's setting"
    MAKER = "the register or maker"


@dataclass(frozen=True)
class Sourced:
    """A value the judgement used, with its unit and where it came from.

    ``origin`` is a sentence part: "default, common practice, no source", "takeup.toml, thresholds,
    conveyor_percent", "strands_2026.csv line 14".
    """

    value: float | int | str | bool | date | None
    unit: str
    origin: str
    is_default: bool = False


@dataclass(frozen=True)
class Fact:
    """One sourced value under a name that the templates can put into words."""

    name: str
    value: Any
    unit: str = ""
    origin: str = ""
    is_default: bool = False


class Answer(StrEnum):
    """What a rule answers for one subject."""

    DUE = "due"
    CLEAR = "clear"
    CANNOT_JUDGE = "cannot judge"


class Urgency(StrEnum):
    """How soon, in the words of the planning page, most urgent first."""

    STOP_NOW = "stop now"
    THIS_WEEK = "this week"
    NEXT_SHUTDOWN = "next shutdown"
    PLAN = "plan"

    @property
    def rank(self) -> int:
        """0 for the most urgent."""
        return list(Urgency).index(self)


class Job(StrEnum):
    """The eight kinds of work."""

    MEASURE = "measure"
    LUBRICATE = "lubricate"
    ADJUST_TAKEUP = "adjust_takeup"
    INSPECT_ALIGNMENT = "inspect_alignment"
    INVESTIGATE_FRACTURE = "investigate_fracture"
    REPLACE_SET = "replace_set"
    SPROCKETS = "sprockets"
    CORRECT_DATA = "correct_data"


class OrderState(StrEnum):
    """Where an order stands."""

    PROPOSED = "proposed"
    ACCEPTED = "accepted"
    DEFERRED = "deferred"
    DECLINED = "declined"
    DONE = "done"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True)
class Evidence:
    """The delivered rows that play one part in a verdict.

    Attributes
    ----------
    part : str
        A code of :data:`takeup.judgement.evidence.PARTS`: the register, the latest survey, the meter...
    rows : tuple of int
        Row ids, sorted.
    """

    part: str
    rows: tuple[int, ...]


def row_ids(evidence: Iterable[Evidence]) -> tuple[int, ...]:
    """The row ids of all parts, each once, sorted."""
    return tuple(sorted({row for each in evidence for row in each.rows}))


@dataclass(frozen=True)
class Verdict:
    """One rule's answer for one subject, with its facts.

    Attributes
    ----------
    rule : str
        Name of the rule, for example ``wear_limit``.
    subject_kind : str
        ``strand``, ``machine``, ``set`` or ``source``.
    subject : str
        Name of the subject.
    answer : Answer
    job, urgency : optional
        What the rule asks for when due.
    value, threshold, margin : float, optional
        In the rule's own ``unit``; the margin is positive while clear.
    turning_hours : float, optional
        Run hours of the present life at which the answer would change. [h]
    turning_on : date, optional
        Civil day on which it would change, by the same event.
    turning_to : str
        Case of the rule to which it would change.
    reason : str
        Code of what is missing when the rule cannot judge, or of the case that applied.
    evidence : tuple of Evidence
        The rows used, by the part they play.
    facts : tuple of Fact
    settings : tuple of Fact
        The settings that entered its numbers, each named ``section.field``.
    """

    rule: str
    subject_kind: str
    subject: str
    answer: Answer
    machine: str = ""
    job: Job | None = None
    urgency: Urgency | None = None
    value: float | None = None
    threshold: float | None = None
    margin: float | None = None
    unit: str = ""
    turning_hours: float | None = None
    turning_on: date | None = None
    turning_to: str = ""
    need_by: date | None = None
    buy_by: date | None = None
    reason: str = ""
    evidence: tuple[Evidence, ...] = ()
    facts: tuple[Fact, ...] = ()
    settings: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class Reason:
    """Why an order stands: one due verdict as it was when the order was last revised or refreshed."""

    rule: str
    subject: str
    case: str
    facts: tuple[Fact, ...]
    evidence: tuple[Evidence, ...] = ()
    last_evidence_on: date | None = None
    settings: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class Order:
    """A job asked of the planner.

    ``reasons`` is ordered by urgency then rule then subject. ``urgent_since`` is the day on which it came to
    its present urgency: the days that an urgency allows count from there, so that its need-by stands still.
    ``set_here_on`` is the day on which a set bought when the order asked for it can be here, for a
    replacement whose lead time is known. These two, ``number``, ``revision``, ``state`` and the
    ``raised``/``revised``/``until`` fields are the order's history; all else depends on the evidence and the
    civil day.
    """

    number: str
    job: Job
    subject_kind: str
    subject: str
    machine: str
    strands: tuple[str, ...]
    urgency: Urgency
    need_by: date | None
    buy_by: date | None
    shutdown: str
    governing: str
    parts: tuple[str, ...]
    reasons: tuple[Reason, ...]
    state: OrderState = OrderState.PROPOSED
    revision: int = 1
    raised_night: int = 0
    raised_as_of: date | None = None
    revised_night: int = 0
    revised_as_of: date | None = None
    until: date | None = None
    last_evidence_on: date | None = None
    newest_known: int = 0
    swallowed_by: str = ""
    urgent_since: date | None = None
    set_here_on: date | None = None


class Change(StrEnum):
    """What a night did to an order."""

    RAISED = "raised"
    REVISED = "revised"
    REFRESHED = "refreshed"
    WITHDRAWN = "withdrawn"
    REOPENED = "reopened"
    ACCEPTED = "accepted"
    DEFERRED = "deferred"
    DECLINED = "declined"
    DONE = "done"


@dataclass(frozen=True)
class OrderEvent:
    """One change of one order on one night; ``before`` and ``after`` hold the revised fields as text."""

    night: int
    as_of: date
    order: str
    revision: int
    change: Change
    before: dict[str, str] = field(default_factory=dict)
    after: dict[str, str] = field(default_factory=dict)
    by: str = ""
    note: str = ""
