"""The answers to *why* as plain text for a terminal and as JSON-able records."""

from __future__ import annotations

import html
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from takeup.audit.answers import ExportLine, OrderAnswer, StrandAnswer
from takeup.codec import event_to_json, fact_to_json, order_to_json
from takeup.documents.environment import environment, own_templates
from takeup.documents.index import kept_out_sentence
from takeup.documents.sentences import sentence
from takeup.documents.words import fact_value, field_value, order_title, reason_sentence, rule_sentence

if TYPE_CHECKING:
    from jinja2 import Environment

    from takeup.feeds.trial import CheckResult
    from takeup.model import Fact, KeptOut, Verdict

T = TypeVar("T")


def _in_words_of_the_site(text: Callable[[T, Sequence[Path]], str]) -> Callable[[T, Sequence[Path]], str]:
    """Tell a mistake in a template of the site's own as one."""

    @wraps(text)
    def told(answer: T, template_dirs: Sequence[Path]) -> str:
        with own_templates(template_dirs):
            return text(answer, template_dirs)

    return told


@_in_words_of_the_site
def order_text(answer: OrderAnswer, template_dirs: Sequence[Path]) -> str:
    """Why an order stands, for people."""
    env = environment(template_dirs)
    order = answer.order
    return _text(
        env,
        "why_order",
        order=order,
        title=order_title(env, order),
        reasons=[
            {"says": reason_sentence(env, reason), "facts": _facts(env, reason.facts)}
            for reason in order.reasons
        ],
        history=[
            {
                "event": event,
                "fields": [
                    (
                        env.filters["word"](name, "order_field"),
                        field_value(env, name, event.before.get(name, "")),
                        field_value(env, name, event.after.get(name, "")),
                    )
                    for name in sorted(event.before.keys() | event.after.keys())
                ],
            }
            for event in answer.events
        ],
        lines=answer.lines,
    )


@_in_words_of_the_site
def strand_text(answer: StrandAnswer, template_dirs: Sequence[Path]) -> str:
    """What every rule says of a strand, for people."""
    env = environment(template_dirs)
    return _text(
        env,
        "why_strand",
        answer=answer,
        verdicts=[
            {
                "verdict": verdict,
                "name": env.filters["word"](verdict.rule, "rule"),
                "says": rule_sentence(env, verdict.rule, verdict.reason, verdict.subject, verdict.facts),
                "facts": _facts(env, verdict.facts),
            }
            for verdict in answer.verdicts
        ],
        orders=[(order, order_title(env, order)) for order in answer.orders],
        lines=answer.lines,
    )


def order_record(answer: OrderAnswer) -> dict[str, Any]:
    """Why an order stands, for programs."""
    return {
        "order": order_to_json(answer.order),
        "events": [event_to_json(event) for event in answer.events],
        "lines": _records(answer.lines),
    }


def strand_record(answer: StrandAnswer) -> dict[str, Any]:
    """What every rule says of a strand, for programs."""
    return {
        "strand": answer.strand,
        "as_of": answer.as_of.isoformat(),
        "verdicts": [_verdict(verdict) for verdict in answer.verdicts],
        "orders": [order.number for order in answer.orders],
        "lines": _records(answer.lines),
    }


def _verdict(verdict: Verdict) -> dict[str, Any]:
    def iso(day: date | None) -> str | None:
        return day.isoformat() if day else None

    return {
        "rule": verdict.rule,
        "subject_kind": verdict.subject_kind,
        "subject": verdict.subject,
        "answer": verdict.answer.value,
        "case": verdict.reason,
        "job": verdict.job.value if verdict.job else None,
        "urgency": verdict.urgency.value if verdict.urgency else None,
        "value": verdict.value,
        "threshold": verdict.threshold,
        "margin": verdict.margin,
        "unit": verdict.unit,
        "turning_hours": verdict.turning_hours,
        "turning_on": iso(verdict.turning_on),
        "need_by": iso(verdict.need_by),
        "buy_by": iso(verdict.buy_by),
        "facts": [fact_to_json(fact) for fact in verdict.facts],
        "evidence": list(verdict.evidence),
    }


def _facts(env: Environment, facts: Iterable[Fact]) -> list[tuple[str, str, str]]:
    return [(env.filters["word"](fact.name, "fact"), fact_value(env, fact), fact.origin) for fact in facts]


def _records(lines: Iterable[ExportLine]) -> list[dict[str, Any]]:
    return [
        {"row_id": one.row_id, "feed": one.feed, "file": one.file, "line": one.line, "sha256": one.sha256}
        for one in lines
    ]


def _text(env: Environment, name: str, **values: Any) -> str:
    text = env.get_template(f"text/{name}.txt.j2").render(**values)
    return html.unescape(text).strip()


@_in_words_of_the_site
def kept_out_text(rows: Sequence[KeptOut], template_dirs: Sequence[Path]) -> str:
    """Rows kept out with their reasons, for a terminal."""
    env = environment(template_dirs)
    return _text(env, "kept_out", rows=_kept_out(env, rows))


@_in_words_of_the_site
def check_text(results: Sequence[CheckResult], template_dirs: Sequence[Path]) -> str:
    """What checking files found, for a terminal."""
    env = environment(template_dirs)
    return _text(
        env,
        "check",
        files=[
            {"result": one, "rows": one.rows, "kept_out": _kept_out(env, one.kept_out)} for one in results
        ],
    )


def _kept_out(env: Environment, rows: Sequence[KeptOut]) -> list[dict[str, Any]]:
    """Rows with the sentence that says why; a file refused as a whole stands as its line 0."""
    found = []
    for row in rows:
        facts = {"found": row.found, "wanted": row.wanted}
        says = kept_out_sentence(env, row) if row.line else sentence(env, "file_refused", row.reason, facts)
        found.append({"row": row, "says": says})
    return found
