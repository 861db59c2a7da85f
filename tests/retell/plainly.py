"""A history told night by night with nothing skipped and nothing remembered, for comparison."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

import pandas as pd

from takeup.derive.derivation import EPOCH, derive
from takeup.derive.state import state
from takeup.judgement.fleet import fleet_record
from takeup.judgement.judging import judge
from takeup.judgement.nights import fit_for_many
from takeup.judgement.rules import registered
from takeup.model import Change, Feed, Job, Order, OrderEvent
from takeup.orders import evidence_known, update
from takeup.retell.closed import Closed, Known
from takeup.site.settings import Settings
from takeup.store import Store


class Rehearsed:
    """The rows of a store as a past day knew them."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def rows(self, feed: Any, **asked: Any) -> Any:
        """Asked of the store's own view of a rehearsed day."""
        return self._store.rows(feed, **asked | {"night": None, "rehearsed": True})

    def __getattr__(self, name: str) -> Any:
        return getattr(self._store, name)


def plainly(
    store: Store,
    settings: Settings,
    nights: Sequence[int],
    known: Mapping[int, Known],
    closed: Sequence[Closed] = (),
) -> list[OrderEvent]:
    """Every event of every order, each night derived whole, judged whole by the night's own functions."""
    rules = fit_for_many(registered())
    book: list[Order] = []
    events: list[OrderEvent] = []
    rows: list[dict[str, Any]] = []
    before = pd.DataFrame()
    fleet, month = None, None
    for number, day in enumerate(nights, start=1):
        as_of = EPOCH + timedelta(days=day)
        derived = derive(
            Rehearsed(store),
            night=None,
            as_of=as_of,
            previous_as_of=None,
            settings=settings.measuring,
            lubrication=settings.judgement.lubrication,
            everything=True,
        )
        if (as_of.year, as_of.month) != month:
            month = (as_of.year, as_of.month)
            fleet = fleet_record(
                1, as_of.isoformat(), derived.lives, derived.surveys, derived.machines, settings.judgement
            )
        judged = judge(
            state(derived, as_of),
            derived,
            fleet,
            settings.judgement,
            as_of,
            known[day].history,
            closed=known[day].closed,
            rules=rules,
        )
        told = judged.verdicts
        since = evidence_known(told, before, number) if len(before) else number
        told = told.assign(evidence_known=since)
        keys = ["rule", "subject_kind", "subject"]
        before = pd.concat([told, before]).drop_duplicates(keys, ignore_index=True)
        for each in closed:
            if (nights[number - 2] if number > 1 else -1) < each.known_day <= day:
                mine = [one for one in book if (one.job, one.subject) == (each.job, each.subject)]
                if mine:
                    rows.append(each.row | {"order": mine[-1].number, "known_from": number})
        columns = ["outcome", "recorded_at_pos", "known_from", "row_id"]
        updated = update(
            [verdict for verdict in judged.due if verdict.job is not Job.CORRECT_DATA],
            told,
            book,
            pd.DataFrame(rows) if rows else pd.DataFrame({name: pd.Series(dtype=object) for name in columns}),
            state=judged.prognosis,
            shutdowns=store.rows(Feed.SHUTDOWNS, as_of=as_of, rehearsed=True),
            night=number,
            as_of=as_of,
            settings=settings.orders,
        )
        book = updated.orders
        events += updated.events
    return events


def said(events: Sequence[OrderEvent]) -> list[tuple[Any, ...]]:
    """What a planner would see of events: everything but that an order was refreshed by newer rows."""
    return [
        (one.night, one.as_of, one.order, one.revision, one.change, one.before, one.after)
        for one in events
        if one.change is not Change.REFRESHED
    ]
