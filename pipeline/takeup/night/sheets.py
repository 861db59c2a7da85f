"""The records that the pages print, filled from what a night found and decided."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from takeup.audit.answers import ExportLine
from takeup.documents.sheets import (
    CalibrationCell,
    CalibrationRecord,
    ChangeLine,
    ClosedKey,
    Duration,
    EnergySource,
    EvidenceLine,
    MachineSheet,
    NightSheet,
    OrderSheet,
    OtherOrder,
    OverrideLine,
    RefusedFile,
    ReminderSheet,
    StaleFeed,
    StrandSeries,
)
from takeup.judgement.evidence import by_part
from takeup.judgement.nextchain import NextChain, next_chain
from takeup.judgement.pastlives import PastLives, past_lives
from takeup.judgement.reads import always_told
from takeup.judgement.sprockets import SprocketLine, SprocketRecord
from takeup.judgement.stops import StopTable, stop_table
from takeup.model import Answer, Evidence, Fact, Job, KeptOut, Order, Verdict, row_ids
from takeup.night.answers import Answers
from takeup.night.intent import Intent
from takeup.night.series import EPOCH, Strands
from takeup.night.telling import Told
from takeup.night.versions import versions
from takeup.orders.closeouts import early_date_past
from takeup.orders.durations import basis
from takeup.orders.export import document
from takeup.orders.visits import Visit, held, visits
from takeup.site.settings import Settings
from takeup.store import Store

if TYPE_CHECKING:
    import pandas as pd

_DUTY = ("corrosive", "hot", "wet", "dusty", "combustible_dust", "confined_space")

#: Jobs whose order tells the record of the sprockets under its strands.
_ON_SPROCKETS = frozenset({Job.REPLACE_SET, Job.SPROCKETS})
#: Jobs whose order shows the strands' elongation.
_CHARTED = frozenset(set(Job) - {Job.LUBRICATE, Job.CORRECT_DATA})


def night_sheet(
    store: Store,
    told: Told,
    intent: Intent,
    settings: Settings,
    *,
    decided: Sequence[KeptOut],
) -> NightSheet:
    """Everything a night publishes.

    Parameters
    ----------
    store : Store
    told : Told
    intent : Intent
    settings : Settings
    decided : sequence of KeptOut
        The rows that people set aside.
    """
    open_orders = sorted(
        told.updated.open, key=lambda order: (order.urgency.rank, order.need_by or date.max, order.number)
    )
    by_number = {order.number: order for order in told.updated.orders}
    stops = visits(open_orders, as_of=intent.as_of, settings=settings.orders)
    filling = _Filling(told, intent, settings, open_orders, stops)
    behind = {row for order in open_orders for row in row_ids(filling.behind(order))}
    origins = store.origins(sorted(behind))
    places = zip(*(origins[name].tolist() for name in ("feed", "file", "line", "sha256")), strict=True)
    filling.origins = dict(zip(origins["row_id"].tolist(), places, strict=True))
    sheets = tuple(filling.order_sheet(order) for order in open_orders)
    packages = versions()
    kept_out = (*told.kept_out, *decided)
    events = store.order_events([order.number for order in open_orders], intent.number)
    answers = Answers(
        store,
        told.derived,
        kept_out,
        events,
        night=intent.number,
        as_of=intent.as_of,
        version=dict(packages)["takeup"],
        settings=intent.settings,
        subjects={name for order in open_orders for name in (*order.strands, order.machine, order.number)},
    )
    return NightSheet(
        site=settings.name,
        number=intent.number,
        as_of=intent.as_of,
        previous_as_of=intent.previous_as_of,
        orders=sheets,
        changes=tuple(
            ChangeLine(
                event,
                by_number[event.order].job,
                by_number[event.order].subject_kind,
                by_number[event.order].subject,
                by_number[event.order].machine,
                by_number[event.order].urgency,
            )
            for event in told.updated.events
        ),
        unread_stops=tuple(told.unread_stops),
        unjudged=tuple(_unjudged(told)),
        kept_out=kept_out,
        accounting=tuple(told.accounting),
        open_ended=told.open_ended,
        refused_files=tuple(
            RefusedFile(row.file, row.feed, row.reason, row.found, row.wanted) for row in told.refused_files
        ),
        closed_keys=tuple(ClosedKey(one.feed, one.key, one.file) for one in told.closed),
        stale_feeds=tuple(
            StaleFeed(one.feed, one.last_night, one.last_as_of, one.newest_row_on, one.usual_days)
            for one in told.stale
        ),
        calibration=_calibration(told),
        document=document(
            told.updated.orders,
            site=settings.name,
            as_of=intent.as_of,
            night=intent.number,
            version=dict(packages)["takeup"],
            origins=origins,
            visits=stops,
            stop_costs={one.order.number: one.stop_costs for one in sheets if one.stop_costs},
            lacking={one.order.number: one.reminder.lacking for one in sheets if one.reminder},
            beside={order.number: filling.beside(order) for order in open_orders},
            next_chains={one.order.number: one.next_chain for one in sheets if one.next_chain},
            events=events,
        ),
        answers=tuple(answers.of(one.order, map(_export_line, one.evidence)) for one in sheets),
        versions=packages,
    )


def _export_line(line: EvidenceLine) -> ExportLine:
    return ExportLine(line.row_id, line.feed, line.file, line.line, line.sha256, line.part)


class _Filling:
    """Look-ups shared by the orders of one night."""

    def __init__(
        self,
        told: Told,
        intent: Intent,
        settings: Settings,
        orders: Sequence[Order],
        stops: Iterable[Visit],
    ) -> None:
        self.settings = settings
        self.as_of = (intent.as_of - EPOCH).days
        self.stops = told.derived.shutdowns
        geared = {strand for order in orders if order.job in _ON_SPROCKETS for strand in order.strands}
        self.sprocket_record = SprocketRecord.of(
            told.derived.sprockets, told.derived.lives, geared, settings.judgement
        )
        replaced = {strand for order in orders if order.job is Job.REPLACE_SET for strand in order.strands}
        self.past = _past_lives(told, replaced, settings)
        named = {strand for order in orders for strand in order.strands}
        self.strands = Strands.of(told.derived, told.judged, named, settings.judgement)
        about = {order.machine for order in orders}
        machines = told.derived.machines[told.derived.machines["machine"].isin(about)]
        self.machines = {row["machine"]: row for row in machines.to_dict("records")}
        self.sources = _sources(told.derived.sources[told.derived.sources["machine"].isin(about)])
        self.shutdowns = {row["shutdown"]: row for row in told.derived.shutdowns.to_dict("records")}
        self.by_number = {order.number: order for order in orders}
        self.place = {number: place for place, number in enumerate(self.by_number)}
        self.visit_of = {number: visit.orders for visit in stops for number in visit.orders}
        self.waits_for = held(orders)
        self.takes_in: dict[str, list[Order]] = defaultdict(list)
        self.measuring: dict[str, list[str]] = defaultdict(list)
        self.on_strand: dict[str, list[str]] = defaultdict(list)
        for order in orders:
            if order.swallowed_by:
                self.takes_in[order.swallowed_by].append(order)
            for strand in order.strands if order.job is Job.MEASURE else ():
                self.measuring[strand].append(order.number)
            for strand in order.strands if order.job is not Job.CORRECT_DATA else ():
                self.on_strand[strand].append(order.number)
        self.origins: Mapping[int, tuple[str, str, int, str]] = {}
        self.surveyed: dict[str, list[int]] = defaultdict(list)
        lives = {row["life_id"] for rows in self.past.by_strand.values() for row in rows}
        surveys = told.derived.surveys[told.derived.surveys["life_id"].isin(lives)]
        for life, rows in zip(surveys["life_id"], surveys["row_ids"], strict=True):
            self.surveyed[life] += rows
        self.tables = {order.number: self.stop_costs(order) for order in orders}

    def order_sheet(self, order: Order) -> OrderSheet:
        """Everything one order prints."""
        machine = self.machine(order.machine)
        shutdown = self.shutdowns.get(order.shutdown)
        series = (
            tuple(found for strand in order.strands if (found := self.strands.series(strand)) is not None)
            if order.job in _CHARTED
            else ()
        )
        visit = self.visit_of.get(order.number, ())
        return OrderSheet(
            order=order,
            machine=machine,
            answered=True,
            series=series,
            visit=tuple(OtherOrder.of(self.by_number[number]) for number in visit if number != order.number),
            takes_in=tuple(OtherOrder.of(other) for other in self.takes_in[order.number]),
            overrides=tuple(self.overrides(order, series)),
            evidence=tuple(self.evidence(order)),
            reminder=ReminderSheet(order.number, machine, self.sources.get(order.machine, ()))
            if order.job is not Job.CORRECT_DATA
            else None,
            duration=self.duration(order),
            shutdown_from=shutdown["starts_at"] if shutdown else "",
            shutdown_to=shutdown["ends_at"] if shutdown else "",
            stop_costs=self.tables[order.number],
            next_chain=self.next_chain(order),
            sprockets=self.sprockets(order),
            waits_for=self.waits_for.get(order.number, ()),
            holds=self.holds(order),
            same_chain=self.same_chain(order),
            early_past=early_date_past(order, EPOCH + timedelta(days=self.as_of)),
            past=order.need_by is not None and (order.need_by - EPOCH).days < self.as_of,
            measured_by=tuple(sorted({one for strand in order.strands for one in self.measuring[strand]}))
            if order.job is Job.REPLACE_SET
            else (),
        )

    def holds(self, order: Order) -> tuple[OtherOrder, ...]:
        """The orders that wait until this one is closed."""
        return tuple(
            OtherOrder.of(self.by_number[number])
            for number, numbers in self.waits_for.items()
            if order.number in numbers
        )

    def same_chain(self, order: Order) -> tuple[OtherOrder, ...]:
        """The other open orders for its strands, but for those that its visit, parts and holds name."""
        if order.job is Job.CORRECT_DATA:
            return ()
        named = {order.number, order.swallowed_by, *self.visit_of.get(order.number, ())}
        named |= {one.number for one in self.takes_in[order.number]}
        named |= {one.number for one in self.holds(order)} | {*self.waits_for.get(order.number, ())}
        found = {number for strand in order.strands for number in self.on_strand[strand]} - named
        return tuple(
            OtherOrder.of(self.by_number[number]) for number in sorted(found, key=self.place.__getitem__)
        )

    def evidence(self, order: Order) -> Iterable[EvidenceLine]:
        """Where the rows behind an order stand, by the part they play; a row stands under its first part."""
        told: set[int] = set()
        for part, rows in by_part(self.behind(order)).items():
            for row in rows:
                if row in self.origins and row not in told:
                    told.add(row)
                    yield EvidenceLine(row, *self.origins[row], part)

    def behind(self, order: Order) -> tuple[Evidence, ...]:
        """The rows of an order's reasons, and those beside them."""
        return (*(each for reason in order.reasons for each in reason.evidence), *self.beside(order))

    def beside(self, order: Order) -> tuple[Evidence, ...]:
        """The rows that need-by, table of stops and costs by the run hour rest on, and no reason names."""
        table = self.tables[order.number]
        names = {order.shutdown, *(line.shutdown for line in (table.lines if table else ()))}
        stops = {int(self.shutdowns[name]["row_id"]) for name in names if name in self.shutdowns}
        lives = [life for row in self.replaced(order) for life in self.past.by_strand.get(row["strand"], ())]
        rows = {int(life["row_id"]) for life in lives if life["row_id"] >= 0}
        rows |= {row for life in lives for row in self.surveyed[life["life_id"]]}
        found = (("stop", stops), ("life", rows))
        return tuple(Evidence(part, tuple(sorted(its))) for part, its in found if its)

    def machine(self, name: str) -> MachineSheet:
        """The machine as its feed gives it; only the name where the feed is silent."""
        row = self.machines.get(name)
        if row is None:
            return MachineSheet(name)
        return MachineSheet(
            machine=name,
            name=row["name"],
            kind=row["kind"],
            area=row["area"],
            duty=tuple(word for word in _DUTY if row[word] == "yes"),
            stops_with=tuple(part.strip() for part in row["stops_with"].split(";") if part.strip()),
        )

    def duration(self, order: Order) -> Duration | None:
        """The hours of the job, with the sum they come from; None where nobody can say."""
        if order.job is Job.REPLACE_SET:
            return self.replacement(order)
        questions = len({(reason.rule, reason.subject) for reason in order.reasons})
        found = basis(order.job, order.machine, len(order.strands), questions, self.settings.orders)
        if found is None:
            return None
        return Duration(
            found.hours, False, found.base, found.each, found.count, found.origins, found.is_default
        )

    def replacement(self, order: Order) -> Duration | None:
        """Hours of a replacement: the register's, else by the metres of the set."""
        rows = self.replaced(order)
        hours = [row["job_hours"] for row in rows if row["job_hours"] == row["job_hours"]]
        if not hours:
            return None
        if any(row["job_hours_stated"] for row in rows):
            return Duration(max(hours), stated=True)
        planning = self.settings.judgement.planning
        names = ("replacement_base_hours", "replacement_hours_per_m")
        base, each = (float(planning.value(name, order.machine, rows[0]["strand"])) for name in names)
        said = [planning.sourced(name, order.machine, rows[0]["strand"]) for name in names]
        metres = tuple((row["strand"], row["pitches"] * row["pitch_mm"] / 1000) for row in rows)
        return Duration(
            max(hours),
            base=base,
            each=each,
            count=sum(length for _, length in metres),
            origins=tuple(dict.fromkeys(one.origin for one in said)),
            is_default=all(one.is_default for one in said),
            metres=metres,
        )

    def stop_costs(self, order: Order) -> StopTable | None:
        """What the candidate stops of a replacement may cost."""
        rows = self.replaced(order)
        return stop_table(rows, self.stops, self.as_of) if rows else None

    def next_chain(self, order: Order) -> NextChain | None:
        """What may be said of the chain that is to be bought."""
        rows = self.replaced(order)
        return next_chain(self.past.evidence(rows)) if rows else None

    def sprockets(self, order: Order) -> tuple[SprocketLine, ...]:
        """What the record knows of the sprockets under a set to be replaced, or under strands they wear."""
        if order.job not in _ON_SPROCKETS:
            return ()
        return self.sprocket_record.lines(self.rows(order))

    def replaced(self, order: Order) -> list[dict[str, Any]]:
        """The strands of a set to be replaced, none for any other job."""
        return self.rows(order) if order.job is Job.REPLACE_SET else []

    def rows(self, order: Order) -> list[dict[str, Any]]:
        """The strands of an order that have an open life."""
        return [self.strands.rows[strand] for strand in order.strands if strand in self.strands.rows]

    def overrides(self, order: Order, series: Sequence[StrandSeries]) -> Iterable[OverrideLine]:
        """The site's values that hold for this machine or one of its strands and entered the order's numbers.

        One that is none of the rules' own, as of what is set aside or how orders are bundled, is always told.
        """
        facts = [fact for reason in order.reasons for fact in reason.settings]
        read = {fact.name for fact in (*facts, *(fact for each in series for fact in each.settings))}
        for section, layered in self.settings.layers.items():
            about = {item.name: item.metadata for item in fields(layered.record)}
            groups = [("the site", layered.site), (order.machine, layered.machine.get(order.machine, {}))]
            groups += [(strand, layered.strand.get(strand, {})) for strand in order.strands]
            for name in dict.fromkeys(name for _, found in groups for name in found):
                if always_told(section, name) or f"{section}.{name}" in read:
                    holds = [
                        layered.override(name, order.machine, strand) for strand in order.strands or ("",)
                    ]
                    yield from (
                        OverrideLine(
                            name=f"{section}.{name}",
                            says=about[name]["says"],
                            value=found[name].value,
                            unit=about[name]["unit"],
                            applies_to=applies_to,
                            reason=found[name].reason,
                            by=found[name].by,
                            on=found[name].on,
                            review_by=found[name].review_by,
                            origin=found[name].origin,
                        )
                        for applies_to, found in groups
                        if name in found and any(found[name] is each for each in holds)
                    )


def _past_lives(told: Told, strands: set[str], settings: Settings) -> PastLives:
    """The lives on these strands, closed ones with the run hours they had."""
    derived = told.derived
    lives = derived.lives[derived.lives["strand"].isin(strands)]
    end, _ = derived.meters.hours_at(lives["machine"].to_numpy(), lives["removed_day"].to_numpy() + 0.5)
    return past_lives(
        strands,
        lives.assign(hours_used=end - lives["hours_at_fitting"].to_numpy()),
        derived.surveys,
        derived.machines,
        derived.findings,
        told.judged.verdicts,
        derived.shutdowns,
        settings.judgement,
    )


def _sources(rows: pd.DataFrame) -> Mapping[str, tuple[EnergySource, ...]]:
    """Energy sources by machine."""
    found: dict[str, list[EnergySource]] = defaultdict(list)
    names = [item.name for item in fields(EnergySource) if item.name in rows.columns]
    for row in rows.to_dict("records"):
        still = bool(row.get("exported", True))
        found[row["machine"]].append(
            EnergySource(**{name: row[name] for name in names if name != "line"}, still_exported=still)
        )
    return {machine: tuple(sources) for machine, sources in found.items()}


def _unjudged(told: Told) -> Iterable[Verdict]:
    """The verdicts that answer *cannot judge*, with no facts but the register values that a limit wants."""
    verdicts = told.judged.verdicts
    columns: list[str] = ["rule", "subject_kind", "subject", "machine", "reason"]
    rows: list[dict[str, Any]] = verdicts.loc[
        verdicts["answer"] == Answer.CANNOT_JUDGE.value, columns
    ].to_dict("records")  # type: ignore[assignment]
    strands = told.judged.prognosis
    missing = dict(zip(strands["strand"], strands["missing"], strict=True))
    for row in rows:
        wanted = tuple(missing[row["subject"]].split()) if row["reason"] == "limit_unsure" else ()
        facts = (Fact("missing", wanted, "words"),) if wanted else ()
        yield Verdict(answer=Answer.CANNOT_JUDGE, facts=facts, **row)


def _calibration(told: Told) -> CalibrationRecord:
    """The table of past forecasts in force."""
    table = told.fleet
    return CalibrationRecord(
        number=table.number,
        renewed_on=date.fromisoformat(table.renewed_on) if table.renewed_on else None,
        lives=table.lives,
        shipped=not table.cells,
        cells=tuple(
            CalibrationCell(cell.own, cell.stage, cell.forecasts, cell.lent, cell.lives, cell.low, cell.high)
            for cell in table.cells
        ),
    )
