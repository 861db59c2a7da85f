"""The answers to *why* as plain text for a terminal and as JSON-able records."""

from __future__ import annotations

import html
import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from datetime import date
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from takeup.audit.answers import Answered, ExportLine, OrderAnswer, StrandAnswer
from takeup.audit.left_out import LeftOut
from takeup.codec import event_to_json, fact_to_json, order_to_json
from takeup.documents.environment import environment, own_templates
from takeup.documents.index import kept_out_sentence
from takeup.documents.sentences import sentence
from takeup.documents.why import order_words, strand_words
from takeup.documents.words import fact_value

if TYPE_CHECKING:
    from jinja2 import Environment

    from takeup.feeds.trial import CheckResult
    from takeup.model import Fact, KeptOut

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
    shared, own = told_once([(reason.subject, reason.facts) for reason in answer.order.reasons])
    return _text(
        env,
        "why_order",
        **order_words(env, answer),
        shared=[(subject, _facts(env, facts)) for subject, facts in shared.items()],
        own=[_facts(env, facts) for facts in own],
    )


@_in_words_of_the_site
def strand_text(answer: StrandAnswer, template_dirs: Sequence[Path]) -> str:
    """What every rule says of a strand, for people."""
    env = environment(template_dirs)
    shared, own = told_once([(one.verdict.subject, one.verdict.facts) for one in answer.answers])
    return _text(
        env,
        "why_strand",
        **strand_words(env, answer),
        shared=[(subject, _facts(env, facts)) for subject, facts in shared.items()],
        own=[_facts(env, facts) for facts in own],
    )


def order_record(answer: OrderAnswer) -> dict[str, Any]:
    """Why an order stands, for programs."""
    return {
        "order": order_to_json(answer.order),
        "events": [event_to_json(event) for event in answer.events],
        "closeouts": [asdict(one) for one in answer.closeouts],
        "lines": _records(answer.lines),
        "left_out": _left_out(answer.left_out),
        "takeup": answer.version,
        "settings": answer.settings,
    }


def strand_record(answer: StrandAnswer) -> dict[str, Any]:
    """What every rule says of a strand, for programs."""
    return {
        "strand": answer.strand,
        "night": answer.night,
        "as_of": answer.as_of.isoformat(),
        "verdicts": [_verdict(one) for one in answer.answers],
        "told_otherwise_then": list(answer.unlike),
        "orders": [order.number for order in answer.orders],
        "lines": _records(answer.lines),
        "left_out": _left_out(answer.left_out),
        "takeup": answer.version,
        "settings": answer.settings,
    }


def _left_out(left_out: LeftOut) -> dict[str, Any]:
    record: dict[str, Any] = json.loads(json.dumps(asdict(left_out), default=date.isoformat))
    return record


def _verdict(answered: Answered) -> dict[str, Any]:
    verdict = answered.verdict

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
        "turning_to": verdict.turning_to or None,
        "need_by": iso(verdict.need_by),
        "buy_by": iso(verdict.buy_by),
        "facts": [fact_to_json(fact) for fact in verdict.facts],
        "settings": [fact_to_json(fact) for fact in verdict.settings],
        "evidence": [{"part": each.part, "rows": list(each.rows)} for each in verdict.evidence],
        "gates": json.loads(
            json.dumps([{"code": gate.code, **gate.facts} for gate in answered.gates], default=date.isoformat)
        ),
    }


def told_once(
    told: Sequence[tuple[str, tuple[Fact, ...]]],
) -> tuple[dict[str, list[Fact]], list[list[Fact]]]:
    """Facts that several rules give alike for one subject, and what is left to each rule.

    Parameters
    ----------
    told : sequence of (subject, facts)
        One a rule.

    Returns
    -------
    shared : dict
        Subject to its shared facts, in the order in which they were first given.
    own : list
        The other facts of each rule.
    """
    times = Counter((subject, fact) for subject, facts in told for fact in facts)
    shared: defaultdict[str, list[Fact]] = defaultdict(list)
    for (subject, fact), count in times.items():
        if count > 1:
            shared[subject].append(fact)
    own = [[fact for fact in facts if times[subject, fact] == 1] for subject, facts in told]
    return dict(shared), own


def _facts(env: Environment, facts: Iterable[Fact]) -> list[tuple[str, str, str]]:
    return [(env.filters["word"](fact.name, "fact"), fact_value(env, fact), fact.origin) for fact in facts]


def _records(lines: Iterable[ExportLine]) -> list[dict[str, Any]]:
    return [
        {
            "part": one.part,
            "row_id": one.row_id,
            "feed": one.feed,
            "file": one.file,
            "line": one.line,
            "sha256": one.sha256,
        }
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
        whole = row.state == "refused" and not row.line
        says = sentence(env, "file_refused", row.reason, facts) if whole else kept_out_sentence(env, row)
        found.append({"row": row, "says": says})
    return found
