"""The pages of the queue: the index, the work orders and the lockout reminders.

A page function turns a sheet into what its template reads, and the template does the writing. Nothing here
looks at a clock, a host or a path.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from markupsafe import Markup

from takeup.documents.charts import Picture, chart, drawing, drawn_limits
from takeup.documents.filters import listed, number, quantity
from takeup.documents.nextchain import evidence_lines, option_lines
from takeup.documents.sentences import sentence
from takeup.documents.sheets import EvidenceLine, OrderSheet, ReminderSheet, StrandSeries
from takeup.documents.words import fact_value, order_subject, order_title, part_names, reason_sentence
from takeup.model import Fact, Order, Reason

if TYPE_CHECKING:
    from jinja2 import Environment


@dataclass(frozen=True)
class Line:
    """One named value on a page, and where it comes from."""

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
    """The facts of one rule, a column for each subject."""

    rule: str
    subjects: tuple[str, ...]
    lines: tuple[FactLine, ...]


@dataclass(frozen=True)
class Exposure:
    """A buy-by before the order was raised: a set ordered on that day, and the day the limit may come."""

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
    """Lines of one file behind an order; ``lines`` is blank for a file of which nothing could be used.

    ``bytes`` tells apart two files of one name, as exports that bear the same name every night do.
    """

    feed: str
    file: str
    bytes: str
    lines: str
    many: bool


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
        reasons=[reason_sentence(env, reason) for reason in order.reasons],
        visit=[{"order": other, "title": order_title(env, other)} for other in sheet.visit],
        takes_in=[{"order": other, "title": order_title(env, other)} for other in sheet.takes_in],
        parts=part_names(env, order.parts),
        exposure=exposure(order),
        charts=[drawn(env, series, draw) for series in sheet.series],
        findings=[_finding(env, code) for code in seen(order.reasons)],
        lacking=lacking(env, sheet.reminder) if sheet.reminder else [],
        fact={fact.name: fact for fact in reversed(facts)},
        facts=fact_groups(env, order),
        defaults=default_lines(env, sheet),
        evidence=evidence_rows(sheet.evidence),
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

    Every day in it stands still: counted from tonight, it would be another on every page of every night.
    """
    early = [fact.value for reason in order.reasons for fact in reason.facts if fact.name == "early_on"]
    if order.buy_by is None or order.raised_as_of is None or order.set_here_on is None or not early:
        return None
    if order.buy_by >= order.raised_as_of:
        return None
    return Exposure(order.raised_as_of, order.set_here_on, min(early))


def seen(reasons: Iterable[Reason]) -> list[str]:
    """The findings behind an order, each once, in the order of the reasons."""
    codes: dict[str, None] = {}
    for reason in reasons:
        for fact in reason.facts:
            if fact.name in ("finding", "findings"):
                value = fact.value
                codes.update(dict.fromkeys(value if isinstance(value, tuple) else (value,)))
    return list(codes)


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


def fact_groups(env: Environment, order: Order) -> list[Facts]:
    """The facts behind an order, rule by rule, its subjects side by side; none is told twice."""
    rules: dict[str, dict[str, dict[str, Fact]]] = defaultdict(dict)
    told: set[tuple[str, str, str]] = set()
    for reason in order.reasons:
        subject = order_subject(env, order) if reason.subject == order.subject else reason.subject
        for fact in reason.facts:
            key = (subject, fact.name, fact_value(env, fact))
            if key not in told:
                told.add(key)
                rules[reason.rule].setdefault(subject, {})[fact.name] = fact
    return [
        Facts(rule, tuple(subjects), tuple(_fact_lines(env, list(subjects.values()))))
        for rule, subjects in rules.items()
    ]


def _fact_lines(env: Environment, columns: Sequence[Mapping[str, Fact]]) -> Iterator[FactLine]:
    """One line a fact that any of the subjects has."""
    for name in dict.fromkeys(name for column in columns for name in column):
        facts = [column.get(name) for column in columns]
        values = tuple("" if fact is None else fact_value(env, fact) for fact in facts)
        origins = dict.fromkeys(fact.origin for fact in facts if fact is not None and fact.origin)
        yield FactLine(env.filters["word"](name, "fact"), values, "; ".join(origins))


def default_lines(env: Environment, sheet: OrderSheet) -> list[Line]:
    """Every default an order rests on, each once, named with the status of its source."""
    lines = [_line(env, fact) for reason in sheet.order.reasons for fact in reason.facts if fact.is_default]
    lines += [
        Line(env.filters["word"](limit.name, "limit"), quantity(limit.percent, "%"), limit.origin)
        for series in sheet.series
        for limit in series.limits
        if limit.is_default and limit.percent is not None
    ]
    return list(dict.fromkeys(lines))


def _line(env: Environment, fact: Fact) -> Line:
    return Line(env.filters["word"](fact.name, "fact"), fact_value(env, fact), fact.origin)


def evidence_rows(evidence: Sequence[EvidenceLine]) -> list[Rows]:
    """The rows behind an order by file, with runs of lines drawn together."""
    files: dict[tuple[str, str, str], set[int]] = defaultdict(set)
    for line in evidence:
        files[line.feed, line.file, line.sha256].add(line.line)
    bearers = Counter(file for _, file, _ in files)
    return [
        Rows(
            feed,
            file,
            sha256[:12] if bearers[file] > 1 else "",
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
