"""The pages of the queue: the index, the work orders and the lockout reminders.

A page function turns a sheet into what its template reads, and the template does the writing. Nothing here
looks at a clock, a host or a path.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from takeup.audit.answers import ExportLine
from takeup.documents.charts import Picture, chart, drawing, drawn_limits
from takeup.documents.filters import listed, number, setting_value
from takeup.documents.nextchain import evidence_lines, option_lines
from takeup.documents.sentences import sentence
from takeup.documents.sheets import EvidenceLine, OrderSheet, ReminderSheet, StrandSeries
from takeup.documents.words import (
    fact_value,
    order_subject,
    part_names,
    reason_sentence,
    running_sentence,
)
from takeup.judgement.evidence import PARTS, by_part
from takeup.judgement.facts import REGISTER
from takeup.judgement.settings import says
from takeup.model import Fact, Order, Reason, Verdict

if TYPE_CHECKING:
    from jinja2 import Environment


@dataclass(frozen=True)
class SettingLine:
    """A setting that entered the numbers: its own sentence, its name, its value, where it comes from."""

    says: str
    name: str
    value: str
    origin: str


@dataclass(frozen=True)
class FactLine:
    """One fact of several subjects, and where the values come from."""

    name: str
    values: tuple[str, ...]
    origin: str


@dataclass(frozen=True)
class Facts:
    """The facts of one rule, a column for each subject; ``before`` are rules that told the others."""

    rule: str
    subjects: tuple[str, ...]
    lines: tuple[FactLine, ...]
    before: tuple[str, ...] = ()


@dataclass(frozen=True)
class Exposure:
    """A buy-by before the order was raised, and the way of a set ordered on the reckoning day.

    The days are those of the strand whose limit may come first, as in the table of candidate stops.
    """

    raised_on: date
    ordered_on: date
    arrives_on: date
    early_on: date


@dataclass(frozen=True)
class Drawn:
    """A strand's series with its chart, and the limits too high for the chart."""

    series: StrandSeries
    svg: str
    above: str


@dataclass(frozen=True)
class Rows:
    """Lines of one file behind an order; ``lines`` is blank for a file of which nothing could be used."""

    feed: str
    file: str
    sha256: str
    lines: str
    many: bool


@dataclass(frozen=True)
class Part:
    """The rows that play one part behind an order, a code of ``judgement.evidence.PARTS``."""

    name: str
    rows: tuple[Rows, ...]


def order_page(env: Environment, sheet: OrderSheet, draw: Callable[[Picture], str] = drawing) -> str:
    """The work order of one sheet as an HTML page.

    Parameters
    ----------
    env : Environment
    sheet : OrderSheet
    draw : callable
        Where the drawings of its charts come from.

    Raises
    ------
    OurFault
        If a sentence or word is missing.
    """
    order = sheet.order
    facts = [fact for reason in order.reasons for fact in reason.facts]
    template = env.get_template(f"jobs/{order.job.value}.html.j2")
    return template.render(
        sheet=sheet,
        order=order,
        machine=sheet.machine,
        subject=order_subject(env, order),
        urgency_sentence=sentence(env, "urgency", order.urgency),
        runs_on=running_sentence(env, order),
        reasons=[reason_sentence(env, reason) for reason in order.reasons],
        parts=part_names(env, order.parts),
        exposure=exposure(order),
        charts=[drawn(env, series, draw) for series in sheet.series],
        findings=[_finding(env, code) for code in seen(order.reasons)],
        lacking=lacking(env, sheet.reminder) if sheet.reminder else [],
        fact={fact.name: fact for fact in reversed(facts)},
        on_strand=_on_strand(order),
        facts=order_facts(env, order, sheet.evidence),
        defaults=default_lines(sheet),
        evidence=evidence_parts(sheet.evidence),
        options=option_lines(env, sheet.next_chain),
        wanting=evidence_lines(env, sheet.next_chain),
    )


def reminder_page(env: Environment, sheet: ReminderSheet) -> str:
    """The lockout reminder of one order as an HTML page; it never claims to be the procedure."""
    numbers = {source.procedure_number for source in sheet.sources if source.procedure_number}
    return env.get_template("reminder.html.j2").render(
        sheet=sheet,
        machine=sheet.machine,
        procedures=sorted(numbers),
        lacking=lacking(env, sheet),
    )


def glossary_page(env: Environment, terms: Iterable[str]) -> str:
    """The words of the trade and of these pages, as an HTML page."""
    lines = [
        {"code": code, **{part: sentence(env, "glossary", code, part=part) for part in ("name", "what")}}
        for code in terms
    ]
    return env.get_template("glossary.html.j2").render(terms=sorted(lines, key=lambda line: line["name"]))


def lacking(env: Environment, sheet: ReminderSheet) -> list[str]:
    """What the register lacks for this machine's lockout, one sentence each; none when it lacks nothing."""
    return [sentence(env, "lacking", each.code, {"source": each.source}) for each in sheet.lacking]


def exposure(order: Order) -> Exposure | None:
    """The exposure of an order whose buy-by was past when it was raised, None where it was not.

    Every day in it stands still for a week or until the next survey: counted from tonight, it would be
    another on every page of every night.
    """
    if order.buy_by is None or order.raised_as_of is None or order.buy_by >= order.raised_as_of:
        return None
    said: list[dict[str, Any]] = [{fact.name: fact.value for fact in each.facts} for each in order.reasons]
    ahead = [
        (facts["early_on"], facts.get("middle_on", date.max), reason.subject, facts)
        for reason, facts in zip(order.reasons, said, strict=True)
        if facts.keys() >= {"early_on", "reckoned_on", "lead_days"}
    ]
    if not ahead:
        return None
    early_on, _, _, facts = min(ahead, key=lambda one: one[:3])
    ordered_on = facts["reckoned_on"]
    arrives_on = ordered_on + timedelta(days=int(facts["lead_days"]))
    return Exposure(order.raised_as_of, ordered_on, arrives_on, early_on)


def seen(reasons: Iterable[Reason]) -> list[str]:
    """The findings behind an order, each once, in the order of the reasons."""
    codes: dict[str, None] = {}
    for reason in reasons:
        for fact in reason.facts:
            if fact.name in ("finding", "findings"):
                value = fact.value
                codes.update(dict.fromkeys(value if isinstance(value, tuple) else (value,)))
    return list(codes)


def _on_strand(order: Order) -> dict[str, dict[str, Fact]]:
    """The facts of each subject of the reasons, by name."""
    found: dict[str, dict[str, Fact]] = {}
    for reason in order.reasons:
        found.setdefault(reason.subject, {}).update({fact.name: fact for fact in reason.facts})
    return found


def _finding(env: Environment, code: str) -> dict[str, str]:
    parts = {
        part: sentence(env, "finding", code, part=part) for part in ("what", "causes", "checks", "beware")
    }
    return {"name": env.filters["word"](code, "finding"), **parts}


def drawn(env: Environment, series: StrandSeries, draw: Callable[[Picture], str] = drawing) -> Drawn:
    """A strand's chart, where it has a survey to draw."""
    if not series.surveys:
        return Drawn(series, "", "")
    word = env.filters["word"]
    inside = drawn_limits(series)
    above = [
        f"{word(line.name, 'limit')} {number(line.percent, 2)} %"
        for line in series.limits
        if line.percent is not None and line not in inside
    ]
    last = series.surveys[-1]
    description = sentence(
        env,
        "chart",
        "elongation",
        {
            "series": series,
            "last": last,
            "governing": [word(line.name, "limit") for line in series.limits if line.governing],
        },
    )
    title = sentence(env, "chart", "title", {"series": series})
    svg = chart(series, lambda code: word(code, "limit"), title, description, draw)
    return Drawn(series, Markup(svg), listed(above))  # noqa: S704 - drawn by us, every text in it escaped


def order_facts(
    env: Environment, order: Order, evidence: Sequence[EvidenceLine] | Sequence[ExportLine]
) -> list[Facts]:
    """The facts behind an order."""
    return fact_groups(env, order.reasons, evidence, {order.subject: order_subject(env, order)})


def fact_groups(
    env: Environment,
    given: Iterable[Reason] | Iterable[Verdict],
    evidence: Sequence[EvidenceLine] | Sequence[ExportLine],
    names: Mapping[str, str],
) -> list[Facts]:
    """The facts of reasons or verdicts, rule by rule, the subjects side by side.

    A line whose every value was told under an earlier rule is left out, and the table says so; any other line
    is told whole, so that no cell stays blank for having been told elsewhere.

    Parameters
    ----------
    env : Environment
    given : iterable of Reason or Verdict
    evidence : sequence of EvidenceLine or ExportLine
        Where their rows stand.
    names : mapping
        A subject to its name, where it has another one for people.
    """
    rules: dict[str, dict[str, dict[str, Fact]]] = defaultdict(dict)
    register: dict[str, tuple[int, ...]] = {}
    for each in given:
        subject = names.get(each.subject, each.subject)
        rules[each.rule].setdefault(subject, {}).update({fact.name: fact for fact in each.facts})
        register[subject] = by_part(each.evidence).get("register", ())
    places = {line.row_id: f"{line.file} line {line.line}" for line in evidence}
    told: dict[tuple[str, str, str], str] = {}
    groups = []
    for rule, columns in rules.items():
        lines, before = [], dict[str, None]()
        for name, line in _fact_lines(env, columns, register, places):
            keys = [(subject, name, value) for subject, value in zip(columns, line.values, strict=True)]
            known = [key for key in keys if key[2]]
            if all(key in told for key in known):
                before |= dict.fromkeys(told[key] for key in known)
            else:
                lines.append(line)
            told |= {key: rule for key in known if key not in told}
        groups.append(Facts(rule, tuple(columns), tuple(lines), tuple(before)))
    return groups


def _fact_lines(
    env: Environment,
    columns: Mapping[str, Mapping[str, Fact]],
    register: Mapping[str, tuple[int, ...]],
    places: Mapping[int, str],
) -> Iterator[tuple[str, FactLine]]:
    """One line a fact that any of the subjects has, with its name."""
    for name in dict.fromkeys(name for facts in columns.values() for name in facts):
        facts = {subject: found[name] for subject, found in columns.items() if name in found}
        values = tuple(fact_value(env, facts[subject]) if subject in facts else "" for subject in columns)
        origins = dict.fromkeys(fact.origin for fact in facts.values() if fact.origin)
        rows = {
            places[row]: None
            for subject, fact in facts.items()
            if fact.origin.startswith(REGISTER)
            for row in register[subject]
            if row in places
        }
        named = "; ".join(origins) + (f" ({listed(rows)})" if rows else "")
        yield name, FactLine(env.filters["word"](name, "fact"), values, named)


def default_lines(sheet: OrderSheet) -> list[SettingLine]:
    """Every default that entered the numbers of an order, each once, with the status of its source."""
    read = [fact for reason in sheet.order.reasons for fact in reason.settings]
    read += [fact for series in sheet.series for fact in series.settings]
    return [
        replace(line, origin=line.origin.removeprefix("default, "))
        for line in settings_lines(fact for fact in read if fact.is_default)
    ]


def settings_lines(read: Iterable[Fact]) -> list[SettingLine]:
    """Settings that entered the numbers, each once, by name."""
    lines = [
        SettingLine(says(fact.name), fact.name, setting_value(fact), fact.origin)
        for fact in dict.fromkeys(read)
    ]
    return sorted(dict.fromkeys(lines), key=lambda line: line.name)


def evidence_parts(evidence: Sequence[EvidenceLine] | Sequence[ExportLine]) -> list[Part]:
    """The rows behind an order by the part they play."""
    lines: dict[str, list[EvidenceLine | ExportLine]] = {part: [] for part in PARTS}
    for line in evidence:
        lines[line.part].append(line)
    return [Part(part, tuple(evidence_rows(found))) for part, found in lines.items() if found]


def evidence_rows(evidence: Sequence[EvidenceLine | ExportLine]) -> list[Rows]:
    """Rows by file, with runs of lines drawn together.

    Parameters
    ----------
    evidence : sequence of EvidenceLine
    """
    files: dict[tuple[str, str, str], set[int]] = defaultdict(set)
    for line in evidence:
        files[line.feed, line.file, line.sha256].add(line.line)
    return [
        Rows(
            feed,
            file,
            sha256,
            runs(sorted(lines - {0})),
            len(lines) > 1,
        )
        for (feed, file, sha256), lines in sorted(files.items())
    ]


def runs(numbers: Sequence[int]) -> str:
    """Rising numbers with their runs drawn together.

    Examples
    --------
    >>> runs([4, 7, 8, 9, 12])
    '4, 7 to 9 and 12'
    """
    found: list[list[int]] = []
    for each in numbers:
        if found and each == found[-1][-1] + 1:
            found[-1][1:] = [each]
        else:
            found.append([each])
    return listed(" to ".join(str(end) for end in run) for run in found)
