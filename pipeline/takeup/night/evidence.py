"""The evidence of strands, gathered from what a night knew."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.derive.derivation import Derived, strand_marks
from takeup.documents.evidence import Event, LifeLine, MarkLine, StrandEvidence, SurveyLine
from takeup.documents.sheets import known
from takeup.judgement.judging import Judged
from takeup.model import Change, Feed, OrderEvent
from takeup.night.series import EPOCH, Strands
from takeup.site.settings import Settings

if TYPE_CHECKING:
    from takeup.store import Store

Rows = Sequence[Mapping[Any, Any]]

#: what ends an order, for the span it is drawn with
_ENDS = (Change.DONE, Change.WITHDRAWN)


def strand_evidence(
    store: Store,
    derived: Derived,
    judged: Judged,
    settings: Settings,
    strands: Collection[str],
    *,
    night: int,
    as_of: date,
) -> dict[str, StrandEvidence]:
    """The evidence of some strands as a night knew it, by name.

    Parameters
    ----------
    store : Store
    derived : Derived
    judged : Judged
    settings : Settings
    strands : collection of str
    night : int
    as_of : date
    """
    wanted = set(strands)
    series = Strands.of(derived, judged, wanted, settings.judgement)
    surveys = _surveys(store, derived, settings, wanted, night, as_of)
    lives = _lives(derived, wanted, as_of)
    events = _events(store, derived, wanted, night, as_of)
    return {
        strand: StrandEvidence(
            strand,
            as_of,
            series.series(strand),
            tuple(lives[strand]),
            tuple(surveys[strand]),
            tuple(sorted(events[strand], key=lambda event: (event.on, event.kind))),
        )
        for strand in sorted(wanted)
    }


def _lives(derived: Derived, wanted: set[str], as_of: date) -> Mapping[str, list[LifeLine]]:
    rows = derived.lives[derived.lives["strand"].isin(wanted)]
    ends = np.fmin(rows["removed_day"].to_numpy(np.float64) + 0.5, (as_of - EPOCH).days + 1.0)
    hours, _ = derived.meters.hours_at(rows["machine"].to_numpy(), ends)
    used = hours - rows["hours_at_fitting"].to_numpy(np.float64)
    counted = derived.surveys["life_id"].value_counts()
    found: defaultdict[str, list[LifeLine]] = defaultdict(list)
    for row, hours_used in zip(rows.to_dict("records"), used.tolist(), strict=True):
        found[row["strand"]].append(
            LifeLine(
                _day(row["fitted_day"]),
                None if row["is_open"] else _day(row["removed_day"]),
                known(hours_used),
                int(counted.get(row["life_id"], 0)),
            )
        )
    return found


def _surveys(
    store: Store, derived: Derived, settings: Settings, wanted: set[str], night: int, as_of: date
) -> Mapping[str, list[SurveyLine]]:
    marks = strand_marks(store, derived, wanted, night=night, as_of=as_of, settings=settings.measuring)
    origins = {int(row["row_id"]): row for row in store.origins(marks["row_id"]).to_dict("records")}
    of_survey: defaultdict[tuple[str, int, str], list[MarkLine]] = defaultdict(list)
    for row in marks.to_dict("records"):
        where = origins[int(row["row_id"])]
        of_survey[row["life_id"], row["day"], row["occasion"]].append(
            MarkLine(
                row["mark"],
                known(row["pitches"]),
                known(row["length_mm"]),
                known(row["e_wear"]),
                bool(row["stands"]),
                where["file"],
                int(where["line"]),
            )
        )
    fitted = dict(zip(derived.lives["life_id"], derived.lives["fitted_day"], strict=True))
    found: defaultdict[str, list[SurveyLine]] = defaultdict(list)
    for row in derived.surveys[derived.surveys["strand"].isin(wanted)].to_dict("records"):
        found[row["strand"]].append(
            SurveyLine(
                _day(fitted[row["life_id"]]),
                _day(row["day"]),
                row["occasion"],
                known(row["hours"]),
                known(row["e_wear_mean"]),
                known(2 * row["u_wear"]),
                bool(row["usable"]),
                bool(row["usable_for_rate"]),
                row["note"],
                tuple(of_survey[row["life_id"], row["day"], row["occasion"]]),
            )
        )
    return found


def _events(
    store: Store, derived: Derived, wanted: set[str], night: int, as_of: date
) -> Mapping[str, list[Event]]:
    found: defaultdict[str, list[Event]] = defaultdict(list)

    def rows(feed: Feed) -> Rows:
        return store.rows(feed, night=night, as_of=as_of, subjects=wanted).to_dict("records")

    for row in rows(Feed.LUBE_RECORDS):
        facts = {name: row[name] or "" for name in ("lubricant", "method")}
        facts["quantity_ml"] = known(row["quantity_ml"])
        found[row["strand"]].append(Event(_day(row["done_at_day"]), "lubrication", facts))
    for row in rows(Feed.TAKEUP_READINGS):
        if known(row["pitches_removed"]):
            facts = {"pitches": known(row["pitches_removed"])}
            found[row["strand"]].append(Event(_day(row["measured_at_day"]), "shortening", facts))
    machines = derived.lives.loc[derived.lives["strand"].isin(wanted), ["strand", "machine"]]
    on_machine = dict(zip(machines["strand"], machines["machine"], strict=True))
    for row in derived.findings.to_dict("records"):
        facts = {"finding": row["finding"], "place": row["place"], "severity": row["severity"]}
        facts |= {"remark": row["remark"], "raw": row["raw_finding"]}
        for strand in wanted:
            if row["strand"] == strand or (not row["strand"] and row["machine"] == on_machine.get(strand)):
                found[strand].append(Event(_day(row["day"]), "finding", facts))
    for strand, event in _orders(store, wanted, night):
        found[strand].append(event)
    return found


def _orders(store: Store, wanted: set[str], night: int) -> Iterable[tuple[str, Event]]:
    ended: dict[str, OrderEvent] = {}
    for event in store.order_events(night=night):
        if event.change in _ENDS:
            ended[event.order] = event
        else:
            ended.pop(event.order, None)
    for order in store.orders(night=night):
        if order.raised_as_of is None:
            continue
        for strand in wanted & set(order.strands):
            until = ended[order.number].as_of if order.number in ended else None
            facts = {"order": order.number, "job": order.job.value, "state": order.state.value}
            yield strand, Event(order.raised_as_of, "order", facts, until)


def _day(number: float) -> date:
    return EPOCH + timedelta(days=int(number))
