"""Facts, subjects and changes in words: no code of the program reaches a reader bare."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from takeup.documents.filters import bare, capital, day, listed, quantity
from takeup.documents.sentences import sentence
from takeup.model import Fact, Order, OrderEvent, Reason
from takeup.orders.running import run_since

if TYPE_CHECKING:
    from jinja2 import Environment

#: facts whose value is a code, and the table of words.toml that names it
FACT_WORDS = {
    "zero": "zero",
    "from_mark": "from_mark",
    "baseline": "baseline",
    "limit": "limit",
    "limit_kind": "limit_kind",
    "next_limit": "limit",
    "at_limit": "limit",
    "next_limit_kind": "limit_kind",
    "not_judged": "limit",
    "at_most": "limit",
    "missing": "column",
    "value": "column",
    "rate_source": "rate_source",
    "since_case_agrees": "since_case",
    "default_case": "default_case",
    "case_part": "case_part",
    "bounds_basis": "bounds_basis",
    "lube_plan": "lube_plan",
    "finding": "finding",
    "findings": "finding",
    "severity": "severity",
    "hastened_by": "hastened_by",
    "meshes_on": "mesh",
    "why_not": "why_not",
    "takeup_basis": "takeup_basis",
    "feed": "feed",
    "reason": "reason",
    "job": "job",
    "lacking": "lacking",
}

#: fields of an order whose text in a change is a code, and the table that names it
FIELD_WORDS = {"governing": "limit", "job": "job", "urgency": "urgency", "state": "state"}

#: parts of ours are codes, and every code needs its name
PART_CODE = re.compile(r"[a-z]+(_[a-z]+)*")


def fact_value(env: Environment, fact: Fact) -> str:
    """The value of a fact in words, with its unit."""
    kind = FACT_WORDS.get(fact.name)
    if kind is None:
        return quantity(fact)
    word = env.filters["word"]
    value = bare(fact)
    if isinstance(value, tuple | list):
        return listed(word(item, kind) for item in value)
    return str(word(value, kind))


def subject_name(env: Environment, kind: str, subject: str) -> str:
    """A subject as people call it; a subject of records, ``feed/case``, becomes words.

    The case is a reason, a case of a rule, or the column that is missing.

    Raises
    ------
    OurFault
        If feed or case has no name.
    """
    if kind != "source":
        return subject
    feed, _, case = subject.partition("/")
    word = env.filters["word"]
    name = str(word(feed, "feed"))
    if not case:
        return name
    kind = next((kind for kind in ("reason", "source_case") if case in word.kinds[kind]), "column")
    return f"{name}, {word(case, kind)}"


def order_title(env: Environment, order: Order) -> str:
    """What an order asks for, and of what."""
    return f"{capital(env.filters['word'](order.job, 'job'))}: {order_subject(env, order)}"


def order_subject(env: Environment, order: Order) -> str:
    """The subject of an order as people call it."""
    return subject_name(env, order.subject_kind, order.subject)


def reason_sentence(env: Environment, reason: Reason) -> str:
    """Why an order stands, as one rule says it.

    Raises
    ------
    OurFault
        If the rule and case have no sentence, or it needs a fact that is not there.
    """
    return rule_sentence(env, reason.rule, reason.case, reason.subject, reason.facts)


def running_sentence(env: Environment, order: Order) -> str:
    """What the meter shows since the machine must not run, by the reason that knows most; else blank."""
    run = run_since(order)
    return "" if run is None else sentence(env, "order", "runs_on", run._asdict())


def rule_sentence(env: Environment, rule: str, case: str, subject: str, facts: tuple[Fact, ...] = ()) -> str:
    """What a rule answered, for any answer."""
    values: dict[str, Any] = {fact.name: fact for fact in facts}
    return sentence(env, "rule", f"{rule}__{case}", {**values, "subject": subject})


def field_value(env: Environment, field: str, text: str) -> str:
    """A changed field of an order in words; its text may be a code, a day or a list of parts."""
    if not text:
        return ""
    if field in FIELD_WORDS:
        return str(env.filters["word"](text, FIELD_WORDS[field]))
    if field in ("need_by", "buy_by", "until", "done_on", "last_evidence_on"):
        return day(date.fromisoformat(text))
    if field == "parts":
        return "; ".join(part_names(env, text.split("; ")))
    if field == "facts":
        return "; ".join(env.filters["word"](name, "fact") for name in text.split("; "))
    return text


@dataclass(frozen=True)
class ChangedField:
    """A changed field of an order in words."""

    name: str
    before: str
    after: str


def changed_fields(env: Environment, event: OrderEvent) -> dict[str, ChangedField]:
    """What a change of an order changed, in words, by field."""
    return {
        name: ChangedField(
            env.filters["word"](name, "order_field"),
            field_value(env, name, event.before.get(name, "")),
            field_value(env, name, event.after.get(name, "")),
        )
        for name in sorted(event.before.keys() | event.after.keys())
    }


def part_names(env: Environment, parts: Iterable[str]) -> list[str]:
    """Parts in words; a rule of the site may name one in words already."""
    word = env.filters["word"]
    return [word(part, "part") if PART_CODE.fullmatch(part) else part for part in parts]
