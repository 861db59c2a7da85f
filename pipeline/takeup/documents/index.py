"""The index page: orders by urgency, changes, what cannot be judged, what was kept out, and the accounts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from takeup.documents.filters import capital
from takeup.documents.head import MARK
from takeup.documents.pages import lacking
from takeup.documents.sentences import sentence
from takeup.documents.sheets import ChangeLine, NightSheet, OrderSheet, RefusedFile
from takeup.documents.words import (
    ChangedField,
    changed_fields,
    order_title,
    reason_sentence,
    rule_sentence,
    running_sentence,
    subject_name,
)
from takeup.model import Change, Fact, KeptOut, Urgency, Verdict

if TYPE_CHECKING:
    from jinja2 import Environment

#: longest list on the page; the CSV files beside it hold all
LONGEST_LIST = 100
#: most names told of those that want the same
MOST_NAMES = 20


@dataclass(frozen=True)
class OrderLine:
    """One order on the index. ``lacking``: what the register lacks for its lockout, in sentences.

    ``runs_on`` is blank unless the machine must not run and its meter shows that it does.
    """

    sheet: OrderSheet
    title: str
    why: str
    runs_on: str
    more: int
    lacking: tuple[str, ...]


@dataclass(frozen=True)
class Group:
    """The orders of one urgency."""

    urgency: Urgency
    says: str
    lines: tuple[OrderLine, ...]


@dataclass(frozen=True)
class Said:
    """Questions that cannot be judged for want of one thing, and that thing in words.

    ``subjects`` are the strands, sets or machines (``kind``) that want it; ``machine`` is that of a lone one.
    """

    kind: str
    subjects: tuple[str, ...]
    machine: str
    rules: tuple[str, ...]
    says: str


@dataclass(frozen=True)
class KeptOutGroup:
    """Rows kept out for one reason in one wording, the first of them, and how many more there are."""

    state: str
    says: str
    rows: tuple[KeptOut, ...]
    more: int


@dataclass(frozen=True)
class FileLine:
    """A file of which nothing was used, and why in words."""

    file: RefusedFile
    says: str


@dataclass(frozen=True)
class Changed:
    """One change of one order in words. ``beyond``: what the name of the change does not say."""

    number: str
    open: bool
    title: str
    change: str
    fields: tuple[ChangedField, ...]
    beyond: tuple[ChangedField, ...]
    by: str
    note: str


def index_page(env: Environment, sheet: NightSheet) -> str:
    """The index of one night as an HTML page, with a mark in place of the ledger's head.

    Raises
    ------
    OurFault
        If a sentence or word is missing.
    """
    groups = grouped(env, sheet.orders)
    return env.get_template("index.html.j2").render(
        sheet=sheet,
        gap=gap_sentence(env, sheet),
        counts=", ".join(
            f"{len(group.lines)} {env.filters['word'](group.urgency, 'urgency')}" for group in groups
        ),
        groups=groups,
        changes=changed(env, sheet),
        unjudged=unjudged(env, sheet.unjudged),
        kept_out=kept_out_groups(env, sheet.kept_out),
        refused_files=[
            FileLine(
                file, sentence(env, "file_refused", file.reason, {"found": file.found, "wanted": file.wanted})
            )
            for file in sheet.refused_files
        ],
        limit=LONGEST_LIST,
        most_names=MOST_NAMES,
        head=MARK,
    )


def gap_sentence(env: Environment, sheet: NightSheet) -> str:
    """How this night follows the one before, with the days that were not told."""
    before = sheet.previous_as_of
    if before is None:
        return sentence(env, "night", "first")
    days = (sheet.as_of - before).days - 1
    if days <= 0:
        return sentence(env, "night", "next_day" if days == 0 else "same_day")
    facts = {
        "previous_as_of": before,
        "days": days,
        "first_missed": before + timedelta(days=1),
        "last_missed": sheet.as_of - timedelta(days=1),
    }
    return sentence(env, "night", "gap", facts)


def grouped(env: Environment, sheets: Sequence[OrderSheet]) -> list[Group]:
    """The open orders by urgency; the page shows no heading without orders."""
    groups = []
    for urgency in Urgency:
        lines = tuple(_order_line(env, sheet) for sheet in sheets if sheet.order.urgency is urgency)
        if lines:
            groups.append(Group(urgency, sentence(env, "urgency", urgency), lines))
    return groups


def _order_line(env: Environment, sheet: OrderSheet) -> OrderLine:
    reasons = sheet.order.reasons
    why = first_sentence(reason_sentence(env, reasons[0])) if reasons else ""
    lacks = tuple(lacking(env, sheet.reminder)) if sheet.reminder else ()
    runs_on = running_sentence(env, sheet.order)
    return OrderLine(sheet, order_title(env, sheet.order), why, runs_on, max(len(reasons) - 1, 0), lacks)


def first_sentence(text: str) -> str:
    """The first sentence of a text, never cut inside a quotation.

    Examples
    --------
    >>> first_sentence("It says “No. 2 broke. Stop.” here. And more.")
    'It says “No. 2 broke. Stop.” here.'
    """
    quoted = 0
    for at, sign in enumerate(text):
        quoted += (sign == "“") - (sign == "”")
        if sign == "." and quoted <= 0 and text[at + 1 : at + 2] == " " and text[at + 2 : at + 3].isupper():
            return text[: at + 1]
    return text


def unjudged(env: Environment, verdicts: Iterable[Verdict]) -> list[Said]:
    """What is missing, first what most want, with the questions that each leaves without an answer."""
    word = env.filters["word"]
    each_says: dict[tuple[str, str, str, tuple[Fact, ...]], str] = {}
    rules: dict[tuple[str, str, str, str], set[str]] = defaultdict(set)
    example: dict[tuple[str, str, str], Verdict] = {}
    for verdict in verdicts:
        kind = verdict.subject_kind
        question = (kind, verdict.rule, verdict.reason, verdict.facts)
        if question not in each_says:
            every = word(kind, "each_of")
            each_says[question] = capital(
                rule_sentence(env, verdict.rule, verdict.reason, every, verdict.facts)
            )
        says = each_says[question]
        rules[kind, says, verdict.subject, verdict.machine].add(verdict.rule)
        example[kind, says, verdict.subject] = verdict
    groups: dict[tuple[str, str, tuple[str, ...]], list[tuple[str, str]]] = defaultdict(list)
    for (kind, says, subject, machine), asked in rules.items():
        groups[kind, says, tuple(sorted(asked))].append((subject, machine))
    found = []
    for (kind, says, names), members in groups.items():
        subjects = tuple(sorted(subject for subject, _ in members))
        if len(members) > 1:
            found.append(Said(kind, subjects, "", names, says))
        else:
            lone = unjudged_sentence(env, example[kind, says, subjects[0]])
            found.append(Said(kind, subjects, members[0][1], names, lone))
    return sorted(found, key=lambda one: (-len(one.subjects), one.machine, one.subjects, one.says))


def unjudged_sentence(env: Environment, verdict: Verdict) -> str:
    """What is missing for one verdict, in words."""
    subject = subject_name(env, verdict.subject_kind, verdict.subject)
    return rule_sentence(env, verdict.rule, verdict.reason, subject, verdict.facts)


def kept_out_groups(env: Environment, rows: Iterable[KeptOut]) -> list[KeptOutGroup]:
    """The rows kept out by reason and wording; beyond the longest list only their number."""
    groups: dict[tuple[str, str], list[KeptOut]] = defaultdict(list)
    for row in in_order(rows):
        groups[row.state, kept_out_sentence(env, row)].append(row)
    left = LONGEST_LIST
    found = []
    for (state, says), members in groups.items():
        found.append(KeptOutGroup(state, says, tuple(members[:left]), max(len(members) - left, 0)))
        left = max(left - len(members), 0)
    return found


def in_order(rows: Iterable[KeptOut]) -> list[KeptOut]:
    """Rows kept out by feed, file and line."""
    return sorted(rows, key=lambda row: (row.feed, row.file, row.line, row.reason))


def kept_out_sentence(env: Environment, row: KeptOut) -> str:
    """Why one row is kept out, in words."""
    facts = {
        "column": row.column,
        "found": row.found,
        "wanted": row.wanted,
        "subject": row.subject,
        "feed": row.feed,
        "by": row.by,
        "remark": row.remark,
        "since": row.since,
    }
    return sentence(env, row.state.replace(" ", "_"), row.reason, facts)


def changed(env: Environment, sheet: NightSheet) -> list[Changed]:
    """What this night did to orders, in words."""
    open_numbers = {one.order.number for one in sheet.orders}
    return [_changed(env, line, line.event.order in open_numbers) for line in sheet.changes]


def _changed(env: Environment, line: ChangeLine, is_open: bool) -> Changed:
    word = env.filters["word"]
    event = line.event
    fields = changed_fields(env, event)
    # A decision names the new state already; a reopened order says which it was.
    said = {"state"} if event.change is not Change.REOPENED else set()
    return Changed(
        number=event.order,
        open=is_open,
        title=f"{capital(word(line.job, 'job'))}: {subject_name(env, line.subject_kind, line.subject)}",
        change=word(event.change, "change"),
        fields=tuple(fields.values()),
        beyond=tuple(field for name, field in fields.items() if name not in said),
        by=event.by,
        note=event.note,
    )
