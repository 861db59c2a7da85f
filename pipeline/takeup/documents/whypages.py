"""The pages that answer why: one of an order, in the queue and for whoever asks, and one of a strand."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from takeup.audit.answers import OrderAnswer, StrandAnswer
from takeup.documents.environment import environment, own_templates
from takeup.documents.evidence import StrandEvidence, SurveyLine
from takeup.documents.files import table
from takeup.documents.history import history
from takeup.documents.pages import drawn, runs
from takeup.documents.sentences import sentence
from takeup.documents.why import order_words, strand_words

if TYPE_CHECKING:
    from jinja2 import Environment


def why_page(
    env: Environment,
    answer: OrderAnswer,
    *,
    in_queue: bool = True,
    known_by: tuple[int, date] | None = None,
) -> str:
    """Why an order stands, as an HTML page.

    Parameters
    ----------
    env : Environment
    answer : OrderAnswer
    in_queue : bool
        Whether the order's page and the index stand beside it, to be linked.
    known_by : (int, date), optional
        The night by which it was known so, and the day it told; a page in the queue leaves it out, so that it
        need not be drawn again every night.
    """
    words = order_words(env, answer)
    return env.get_template("why.html.j2").render(**words, in_queue=in_queue, known_by=known_by)


def order_page_alone(answer: OrderAnswer, known_by: tuple[int, date], template_dirs: Sequence[Path]) -> str:
    """Why an order stands, as a page that stands by itself.

    Raises
    ------
    SettingsError
        If a template of the site's own cannot be drawn.
    """
    with own_templates(template_dirs):
        return why_page(environment(template_dirs), answer, in_queue=False, known_by=known_by)


def strand_page_alone(answer: StrandAnswer, evidence: StrandEvidence, template_dirs: Sequence[Path]) -> str:
    """What every rule says of a strand, with its evidence, as a page that stands by itself.

    Raises
    ------
    SettingsError
        If a template of the site's own cannot be drawn.
    """
    with own_templates(template_dirs):
        env = environment(template_dirs)
        words = strand_words(env, answer) | evidence_words(env, evidence)
        return env.get_template("strand.html.j2").render(**words)


def evidence_words(env: Environment, evidence: StrandEvidence) -> dict[str, Any]:
    """What the charts and tables of a strand read."""
    word = env.filters["word"]
    newest = next((one for one in reversed(evidence.surveys) if one.percent is not None), None)
    told = {"evidence": evidence, "newest": newest}
    return {
        "evidence": evidence,
        "chart": None if evidence.series is None else drawn(env, evidence.series),
        "history": Markup(  # noqa: S704 - drawn by us, every text in it escaped
            history(
                evidence,
                sentence(env, "chart", "history_title", told),
                sentence(env, "chart", "history", told),
                lambda code: word(code, "limit"),
            )
        )
        if evidence.surveys
        else "",
        "events": [(event, sentence(env, "event", event.kind, event.facts)) for event in evidence.events],
        "places": {survey: _places(survey) for survey in evidence.surveys},
        "surveys_csv": _csv(surveys_csv(env, evidence)),
        "events_csv": _csv(events_csv(env, evidence)),
    }


def _places(survey: SurveyLine) -> list[tuple[str, str]]:
    """The files of a survey's marks, each with its lines."""
    files: dict[str, set[int]] = {}
    for mark in survey.marks:
        files.setdefault(mark.file, set()).add(mark.line)
    return [(file, runs(sorted(lines))) for file, lines in sorted(files.items())]


def surveys_csv(env: Environment, evidence: StrandEvidence) -> bytes:
    """Every mark of every survey, one line each, and a line for the survey that they make."""
    columns = (
        "strand", "fitted_on", "day", "occasion", "run_hours", "mark", "pitches", "length_mm",
        "elongation_percent", "uncertainty_percent", "used", "note", "file", "line",
    )  # fmt: skip
    rows: list[tuple[Any, ...]] = []
    for survey in evidence.surveys:
        note = env.filters["word"](survey.note, "survey_note") if survey.note else ""
        head = (evidence.strand, survey.fitted_on, survey.on, survey.occasion, survey.hours)
        whole = ("mean of the marks", None, None, survey.percent, survey.uncertainty_percent)
        rows.append((*head, *whole, "yes" if survey.usable else "no", note, "", None))
        for mark in survey.marks:
            read = (mark.mark, mark.pitches, mark.length_mm, mark.percent, None)
            rows.append((*head, *read, "yes" if mark.stands else "no", "", mark.file, mark.line))
    return table(columns, rows)


def events_csv(env: Environment, evidence: StrandEvidence) -> bytes:
    """What happened to the strand, one line each."""
    rows = [
        (
            evidence.strand,
            event.on,
            event.until,
            event.kind,
            sentence(env, "event", event.kind, event.facts),
        )
        for event in evidence.events
    ]
    return table(("strand", "day", "until", "kind", "what"), rows)


def _csv(content: bytes) -> str:
    """A file as an address that holds it whole, so that it can be saved without a network."""
    return f"data:text/csv;charset=utf-8;base64,{base64.b64encode(content).decode('ascii')}"
