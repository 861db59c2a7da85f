"""Answers in words: what the pages and the texts of *why* tell, each thing said in one place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from takeup.audit.answers import Answered, OrderAnswer, StrandAnswer
from takeup.audit.left_out import EndedRow, LeftOut
from takeup.documents.index import kept_out_sentence
from takeup.documents.pages import Facts, evidence_parts, fact_groups, order_facts, runs, settings_lines
from takeup.documents.rulebook import Grounds, grounds
from takeup.documents.sentences import sentence
from takeup.documents.words import (
    ChangedField,
    changed_fields,
    order_subject,
    order_title,
    reason_sentence,
    rule_sentence,
    running_sentence,
    subject_name,
)
from takeup.judgement.rules import OWN
from takeup.model import Answer, Change, KeptOut, Order, OrderEvent, Reason, Verdict

if TYPE_CHECKING:
    from jinja2 import Environment

#: rows kept out that are listed one by one; the night's kept_out.csv holds all
LONGEST_LIST = 50


@dataclass(frozen=True)
class Told:
    """One rule about one subject: its sentence, what the rule says of itself, and whose rule it is."""

    rule: str
    subject: str
    says: str
    grounds: Grounds
    own: bool


@dataclass(frozen=True)
class Happened:
    """One change of an order, in words."""

    event: OrderEvent
    change: str
    fields: tuple[ChangedField, ...]


@dataclass(frozen=True)
class Kept:
    """A row kept out, and why in words."""

    row: KeptOut
    says: str


@dataclass(frozen=True)
class Replaced:
    """Rows of one file that ended in one way on one day; ``by`` names the file that took their place."""

    feed: str
    file: str
    sha256: str
    how: str
    on: date
    lines: str
    by: str


@dataclass(frozen=True)
class Left:
    """What was left out, in words; ``more`` rows kept out are not listed."""

    kept_out: tuple[Kept, ...]
    more: int
    unfit: tuple[Any, ...]
    ended: tuple[Replaced, ...]

    @property
    def nothing(self) -> bool:
        """Whether nothing was left out."""
        return not (self.kept_out or self.unfit or self.ended)


@dataclass(frozen=True)
class Line:
    """One rule's answer about a strand, in words. ``whole`` says where it stands on one line."""

    verdict: Verdict
    told: Told
    gates: tuple[str, ...]
    value: str
    threshold: str
    margin: str
    turns: str


def order_words(env: Environment, answer: OrderAnswer) -> dict[str, Any]:
    """What a page or text about an order reads."""
    order = answer.order
    stated = [event for event in answer.events if event.change in _STATING]
    return {
        "answer": answer,
        "order": order,
        "title": order_title(env, order),
        "subject": order_subject(env, order),
        "runs_on": running_sentence(env, order),
        "reasons": [
            Told(
                reason.rule,
                _subject(env, reason, order),
                reason_sentence(env, reason),
                grounds(env, reason.rule, reason.subject, reason.facts),
                reason.rule in _OURS,
            )
            for reason in order.reasons
        ],
        "groups": order_facts(env, order, answer.lines),
        "settings": settings_lines(fact for reason in order.reasons for fact in reason.settings),
        "parts": evidence_parts(answer.lines),
        "left": left(env, answer.left_out),
        "stated": stated[-1] if stated else None,
        "history": [_happened(env, event) for event in answer.events],
    }


def _subject(env: Environment, reason: Reason, order: Order) -> str:
    """The subject of a reason as people call it."""
    return order_subject(env, order) if reason.subject == order.subject else reason.subject


#: the changes with which an order says why it stands
_STATING = (Change.RAISED, Change.REVISED, Change.REFRESHED, Change.REOPENED)
_OURS = frozenset(rule.name for rule in OWN) | {"job_unproved"}


def strand_words(env: Environment, answer: StrandAnswer) -> dict[str, Any]:
    """What a page or text about a strand reads."""
    return {
        "answer": answer,
        "orders": [(order, order_title(env, order)) for order in answer.orders],
        "lines": [_line(env, one) for one in answer.answers],
        "groups": [group for group in _strand_facts(env, answer) if group.lines],
        "unlike": [env.filters["word"](rule, "rule") for rule in answer.unlike],
        "settings": settings_lines(fact for one in answer.answers for fact in one.verdict.settings),
        "parts": evidence_parts(answer.lines),
        "left": left(env, answer.left_out),
    }


def _strand_facts(env: Environment, answer: StrandAnswer) -> list[Facts]:
    verdicts = [one.verdict for one in answer.answers]
    names = {one.subject: subject_name(env, one.subject_kind, one.subject) for one in verdicts}
    return fact_groups(env, verdicts, answer.lines, names)


def _line(env: Environment, one: Answered) -> Line:
    verdict = one.verdict
    quantity = env.filters["q"]
    days = verdict.unit == "d"
    margin = "" if verdict.margin is None else quantity(verdict.margin, verdict.unit)
    return Line(
        verdict,
        Told(
            verdict.rule,
            subject_name(env, verdict.subject_kind, verdict.subject),
            rule_sentence(env, verdict.rule, verdict.reason, verdict.subject, verdict.facts),
            grounds(env, verdict.rule, verdict.subject, verdict.facts),
            verdict.rule in _OURS,
        ),
        tuple(sentence(env, "gate", gate.code, gate.facts) for gate in one.gates),
        "" if days or verdict.value is None else quantity(verdict.value, verdict.unit),
        "" if days or verdict.threshold is None else quantity(verdict.threshold, verdict.unit),
        margin,
        _turns(env, verdict),
    )


def _turns(env: Environment, verdict: Verdict) -> str:
    """When the answer would change without new evidence, and to what; blank where nothing is known of it."""
    if not verdict.turning_to:
        return ""
    return sentence(
        env,
        "gate",
        "turns",
        {
            "on": verdict.turning_on,
            "hours": verdict.turning_hours,
            "to": env.filters["word"](verdict.turning_to, "turning_to"),
            "is_due": verdict.answer is Answer.DUE,
        },
    )


def _happened(env: Environment, event: OrderEvent) -> Happened:
    fields = changed_fields(env, event)
    return Happened(event, env.filters["word"](event.change, "change"), tuple(fields.values()))


def left(env: Environment, left_out: LeftOut) -> Left:
    """What was left out, in words."""
    shown = left_out.kept_out[:LONGEST_LIST]
    return Left(
        tuple(Kept(row, kept_out_sentence(env, row)) for row in shown),
        len(left_out.kept_out) - len(shown),
        left_out.unfit,
        tuple(_replaced(left_out.ended)),
    )


def _replaced(rows: Sequence[EndedRow]) -> Iterable[Replaced]:
    """Rows that ended together, with runs of lines drawn together."""
    groups: dict[tuple[Any, ...], set[int]] = {}
    for row in rows:
        groups.setdefault((row.feed, row.file, row.sha256, row.how, row.on, row.by_file), set()).add(row.line)
    for (feed, file, sha256, how, on, by), lines in sorted(groups.items()):
        yield Replaced(feed, file, sha256, how, on, runs(sorted(lines)), by)
