"""Ask a site why: an order by its number, or a strand by its name, as of any night that was told.

A past night is told again, read only: its rows as they were known then, its day, its settings and its table
of past forecasts. What is told again is held against the answers that night stored.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any

from takeup.audit.answers import (
    Answered,
    ExportLine,
    OrderAnswer,
    StrandAnswer,
    export_lines,
    pressing,
)
from takeup.audit.gates import gates
from takeup.audit.lineage import lineage
from takeup.derive.derivation import Derived, derive
from takeup.derive.state import state
from takeup.documents import answers as documents
from takeup.documents.whypages import order_page_alone, strand_page_alone
from takeup.errors import UsageError
from takeup.judgement.judging import Judged, explain, judge
from takeup.model import Accounting, Feed, KeptOut, Order, Verdict, row_ids
from takeup.night.answers import Answers
from takeup.night.decided import set_aside_by_people
from takeup.night.evidence import strand_evidence
from takeup.night.fleet import recalled_fleet
from takeup.night.stale import stale_feeds
from takeup.night.telling import placed
from takeup.orders import closed_rows, done_days, machines_at_work, without_effect
from takeup.orders.told import OPEN
from takeup.orders.visits import held
from takeup.site import Site
from takeup.site.folders import recall
from takeup.site.reading import reading_store
from takeup.site.settings import Settings, read_settings
from takeup.store import Store

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Why:
    """An answer, for people, as a page, for programs, and of an order its lineage as PROV-JSON."""

    text: Callable[[], str]
    page: Callable[[], str]
    as_dict: Callable[[], dict[str, Any]]
    lineage: Callable[[], dict[str, Any]]


def why(site: Site, subject: str, *, as_of: date | None = None, wait_seconds: float | None = None) -> Why:
    """Why an order stands, or what every rule says of a strand.

    The store is opened for reading, and briefly.

    Parameters
    ----------
    site : Site
    subject : str
        An order's number or a strand's name.
    as_of : date, optional
        As known by the last night told for this day or one before it; by default by the last night.
    wait_seconds : float, optional
        How long to wait for a writer; by default what the site's settings say. [s]

    Raises
    ------
    UsageError
        If no night was told yet, the day lies before the first or after the last, or neither an order nor a
        strand was called so.
    LockHeld
        If the site is being written all that time.
    """
    site.nights()  # refused in its own words while none was told
    with reading_store(site.folders, f"why {subject}", site.wait(wait_seconds)) as store:
        nights = site.nights()
        known = _Known(site, store, nights, _by(nights, as_of))
        if subject in known.book:
            return _order(known, known.book[subject])
        return _strand(known, subject)


def _by(nights: Sequence[Mapping[str, Any]], as_of: date | None) -> int:
    """The place of the night by which something is asked: the last told for the day or one before it.

    Raises
    ------
    UsageError
        If the day lies before the first night or after the last.
    """
    if as_of is None:
        return len(nights) - 1
    first, last = (date.fromisoformat(night["as_of"]) for night in (nights[0], nights[-1]))
    if not first <= as_of <= last:
        raise UsageError(
            f"as of {as_of} nothing was {'known here yet' if as_of < first else 'told here so far'}",
            why=f"The nights told here go from {first} to {last}.",
            todo="Name a day from the first to the last of them.",
        )
    return max(place for place, night in enumerate(nights) if date.fromisoformat(night["as_of"]) <= as_of)


class _Known:
    """What was known by one night, told again from the store without a write."""

    def __init__(self, site: Site, store: Store, nights: Sequence[Mapping[str, Any]], place: int) -> None:
        self.site, self.store, self.nights = site, store, nights[: place + 1]
        self.record = nights[place]
        self.night: int = self.record["number"]
        self.as_of = date.fromisoformat(self.record["as_of"])
        self.is_last = place == len(nights) - 1
        self.settings: Settings = read_settings(
            recall(site.folders.archive, self.record["settings"]).decode("utf-8")
        )
        self.book = {order.number: order for order in store.orders(night=self.night)}
        self.ever = {order.number: order for order in store.orders()}
        self.derived: Derived = derive(
            store,
            night=self.night,
            as_of=self.as_of,
            previous_as_of=self.as_of,
            settings=self.settings.measuring,
            lubrication=self.settings.judgement.lubrication,
            everything=not self.is_last,
        )

    @cached_property
    def before(self) -> list[Order]:
        """The book that night began with."""
        return self.store.orders(night=self.night - 1)

    @cached_property
    def closed(self) -> pd.DataFrame:
        """The close-outs that night knew."""
        return self.store.rows(Feed.ORDER_CLOSEOUTS, as_of=self.as_of, night=self.night)

    def judged(self) -> Judged:
        """The judgement of that night, told again by the book and the close-outs it began with."""
        before, closed = self.before, self.closed
        return judge(
            state(self.derived, self.as_of),
            self.derived,
            recalled_fleet(self.record["fleet"], self.site.folders.archive),
            self.settings.judgement,
            self.as_of,
            done_days(before, closed),
            closed=closed_rows(before, closed),
            kept_out=self.store.kept_out(self.night),
            at_work=machines_at_work(before),
        )

    def kept_out(self) -> list[KeptOut]:
        """Every row that was kept out by then: refused, waiting, set aside, by people too."""
        taken = [Accounting(**one) for one in self.record["accounting"]]
        archive, sources = self.site.folders.archive, self.settings.sources
        return [
            *self.store.kept_out(self.night),
            *self.derived.set_aside,
            *placed(self.store, without_effect(self.before, self.closed, self.as_of)),
            *set_aside_by_people(self.nights, taken, archive, sources),
        ]

    def answers(self, subjects: Sequence[str]) -> Answers:
        """What the answers about some strands, machines and orders share."""
        return Answers(
            self.store,
            self.derived,
            self.kept_out(),
            self.store.order_events(subjects, self.night),
            night=self.night,
            as_of=self.as_of,
            version=self.record["versions"]["takeup"],
            settings=self.record["settings"],
            subjects=subjects,
        )


def _order(known: _Known, order: Order) -> Why:
    dirs = known.site.template_dirs
    answer = _order_answer(known, order)
    return Why(
        lambda: documents.order_text(answer, dirs),
        lambda: order_page_alone(answer, (known.night, known.as_of), dirs),
        lambda: documents.order_record(answer),
        lambda: lineage(answer, known.nights, known.site.settings.name),
    )


def _order_answer(known: _Known, order: Order) -> OrderAnswer:
    evidence = [each for reason in order.reasons for each in reason.evidence]
    lines = export_lines(known.store.origins(row_ids(evidence)), evidence)
    told = {(line.sha256, line.line) for line in lines}
    beside = [line for line in _rests_on(known, order) if (line.sha256, line.line) not in told]
    answers = known.answers((*order.strands, order.machine, order.number))
    return answers.of(order, (*lines, *beside))


def _rests_on(known: _Known, order: Order) -> Iterable[ExportLine]:
    """The rows that no reason names, as the queue told them that night; none where that queue is gone."""
    path = known.site.folders.queue / known.record["queue"] / "orders.json"
    if not path.is_file():
        return
    published = json.loads(path.read_text(encoding="utf-8"))["orders"]
    rows: list[dict[str, Any]] = next(
        (each["rests_on"] for each in published if each["number"] == order.number), []
    )
    feeds = {one["sha256"]: one["feed"] for night in known.nights for one in night["accounting"]}
    # A row's id is that of line 0 of its file, further by its own line.
    begins = {sha256: max(known.store.row_ids([(sha256, 0)])) for sha256 in {row["sha256"] for row in rows}}
    for row in rows:
        sha256, line = row["sha256"], row["line"]
        yield ExportLine(begins[sha256] + line, feeds[sha256], row["file"], line, sha256, row["part"])


def _strand(known: _Known, strand: str) -> Why:
    names = sorted(known.derived.lives["strand"].unique())
    if strand not in names:
        raise _nobody(known, strand, names)
    dirs = known.site.template_dirs
    judged = known.judged()
    answer = _strand_answer(known, judged, strand)
    evidence = strand_evidence(
        known.store,
        known.derived,
        judged,
        known.settings,
        [strand],
        night=known.night,
        as_of=known.as_of,
    )[strand]
    return Why(
        lambda: documents.strand_text(answer, dirs),
        lambda: strand_page_alone(answer, evidence, dirs),
        lambda: documents.strand_record(answer),
        lambda: _no_lineage(strand),
    )


def _no_lineage(strand: str) -> dict[str, Any]:
    raise UsageError(
        f"{strand} is a strand, and lineage is told of orders",
        why="It says what one order was derived from; a strand's answers are told anew every night.",
        todo="Name an order by its number.",
    )


def _nobody(known: _Known, subject: str, strands: Sequence[str]) -> UsageError:
    """What to say of a subject that was not known by that night."""
    if subject in known.ever:
        raised = known.ever[subject].raised_as_of
        return UsageError(
            f"order {subject} did not stand yet as of {known.as_of}: it was raised as of {raised}",
            todo=f"Ask as of {raised} or later.",
        )
    near = difflib.get_close_matches(subject, [*strands, *known.book], n=3)
    when = "" if known.is_last else f" as of {known.as_of}"
    return UsageError(
        f"neither an order nor a strand is called {subject!r}{when}",
        todo=f"Did you mean {', '.join(near)}?" if near else "Names stand in the queue's orders.csv.",
    )


def _strand_answer(known: _Known, judged: Judged, strand: str) -> StrandAnswer:
    store = known.store
    verdicts = explain(strand, judged.situation, known.settings.judgement)
    machine = next((verdict.machine for verdict in verdicts if verdict.machine), "")
    left_out = known.answers((strand, machine)).left_out.of((strand, machine))
    orders = list(known.book.values())
    silent = {
        one.feed: one.last_as_of
        for one in stale_feeds(store, known.as_of, known.settings.stale_after_days, known.night)
    }
    waits_for = held(order for order in orders if order.state in OPEN)
    evidence = [each for verdict in verdicts for each in verdict.evidence]
    return StrandAnswer(
        strand=strand,
        night=known.night,
        as_of=known.as_of,
        answers=tuple(
            Answered(
                verdict,
                gates(verdict, orders, waits_for=waits_for, kept_out=left_out.kept_out, silent=silent),
            )
            for verdict in pressing(verdicts)
        ),
        orders=tuple(order for order in orders if strand in order.strands and order.state in OPEN),
        lines=export_lines(store.origins(row_ids(evidence)), evidence),
        left_out=left_out,
        version=known.record["versions"]["takeup"],
        settings=known.record["settings"],
        unlike=_unlike(store, verdicts, known.night),
    )


def _unlike(store: Store, verdicts: Iterable[Verdict], night: int) -> tuple[str, ...]:
    """The rules whose answer told again is not the one that stood in the store after that night."""
    stored = store.last_verdicts(night)
    columns = ("rule", "subject_kind", "subject", "answer", "reason")
    said = {
        (rule, kind, subject): (answer, reason)
        for rule, kind, subject, answer, reason in zip(*(stored[name] for name in columns), strict=True)
    }
    found = {
        verdict.rule
        for verdict in verdicts
        if said.get((verdict.rule, verdict.subject_kind, verdict.subject))
        != (verdict.answer.value, verdict.reason)
    }
    return tuple(sorted(found))
