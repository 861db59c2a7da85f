"""One night inside one transaction: rows, derivations, verdicts and orders.

Telling depends on the store, the intent and the archive alone, so that the same night can be told again:
after a stop, for a rebuild, or for an audit.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from takeup import feeds
from takeup.derive.derivation import Derived, derive
from takeup.derive.state import state
from takeup.feeds import Archived
from takeup.judgement.judging import Judged, judge
from takeup.model import Accounting, Answer, Feed, KeptOut
from takeup.night.accounts import recorded
from takeup.night.fleet import fleet_in_force
from takeup.night.intent import Intent
from takeup.night.progress import Progress, unwatched
from takeup.night.stale import Stale, stale_feeds
from takeup.night.steps import Steps
from takeup.night.unread import unread_stops
from takeup.night.unused import unused_overrides, unused_templates
from takeup.orders import Updated, closed_rows, done_days, evidence_known, machines_at_work, update
from takeup.site.folders import recall
from takeup.site.settings import Settings
from takeup.store import Store
from takeup.store.store import Closed
from takeup.wear.calibration import FleetTable


@dataclass(frozen=True)
class Told:
    """What a night found and decided, before it is published."""

    accounting: list[Accounting]
    kept_out: list[KeptOut]
    refused_files: list[KeptOut]
    closed: list[Closed]
    unread_stops: list[KeptOut]
    open_ended: tuple[str, ...]
    unused: tuple[str, ...]
    derived: Derived
    judged: Judged
    updated: Updated
    fleet: FleetTable
    fleet_record: bytes
    stale: list[Stale]
    orders_sha256: str
    stored: dict[str, dict[str, Any]]
    counts: dict[str, int]
    counters: dict[str, int]

    @property
    def fleet_sha256(self) -> str:
        """Of the table of past forecasts in force, by which the archive knows it."""
        return hashlib.sha256(self.fleet_record).hexdigest()

    @property
    def cannot_judge(self) -> int:
        """How many questions could not be judged."""
        return int((self.judged.verdicts["answer"] == Answer.CANNOT_JUDGE.value).sum())


def tell(
    store: Store,
    intent: Intent,
    settings: Settings,
    files: Sequence[Archived],
    archive: Path,
    progress: Progress = unwatched,
    *,
    fleet: bytes | None,
) -> Told:
    """Tell an intended night into the store, in one transaction.

    Parameters
    ----------
    store : Store
        Without rows of this night or a later one.
    intent : Intent
    settings : Settings
        As archived with the intent.
    files : sequence of Archived
        The exports the intent names.
    archive : Path
        Where the exports are kept; it is only read.
    progress : callable
    fleet : bytes or None
        The table of past forecasts of the night before, as archived.
    """
    steps = iter(range(5))
    clock = Steps(f"night {intent.number}")
    with store.night(intent.number, intent.as_of) as night:
        progress("night", next(steps), 5)
        accounting = feeds.take(night, files, settings.sources, site_zone=settings.time_zone)
        night.set_aside(store.row_ids([(row.sha256, row.line) for row in intent.set_aside]))
        clock.done("rows taken", files=len(files), rows=sum(one.read for one in accounting))
        progress("night", next(steps), 5)
        derived = derive(
            store,
            night=intent.number,
            as_of=intent.as_of,
            previous_as_of=intent.previous_as_of,
            settings=settings.measuring,
            lubrication=settings.judgement.lubrication,
            everything=intent.afresh,
        )
        for table, frame in derived.caches.items():
            store.write_cache(table, frame, derived.touched_strands, intent.number)
        clock.done("derived", **derived.counters)
        progress("night", next(steps), 5)
        in_force, fleet_record = fleet_in_force(intent, fleet, derived, settings.judgement)
        open_rows = store.kept_out(intent.number)
        close_outs = store.rows(Feed.ORDER_CLOSEOUTS, as_of=intent.as_of)
        book = store.orders()
        facts = state(derived, intent.as_of)
        judged = judge(
            facts,
            derived,
            in_force,
            settings.judgement,
            intent.as_of,
            done_days(book, close_outs),
            closed=closed_rows(book, close_outs),
            kept_out=open_rows,
            at_work=machines_at_work(book),
        )
        clock.done("judged", verdicts=len(judged.verdicts))
        progress("night", next(steps), 5)
        before = store.last_verdicts()
        verdicts = judged.verdicts.assign(
            evidence_known=_evidence_known(judged.verdicts, before, intent.number)
        )
        updated = update(
            judged.due,
            verdicts,
            book,
            close_outs,
            state=judged.prognosis,
            shutdowns=derived.shutdowns,
            night=intent.number,
            as_of=intent.as_of,
            settings=settings.orders,
        )
        store.write_verdicts(changed_verdicts(verdicts, before), intent.number)
        store.write_orders(updated.changed, updated.events, intent.number)
        clock.done("orders written", changed=len(updated.changed))
        progress("night", next(steps), 5)
    clock.done("written to the store")
    progress("night", 5, 5)
    own_templates = {
        name: recall(archive, sha256).decode(errors="replace") for name, sha256 in intent.templates
    }
    return Told(
        accounting=accounting,
        kept_out=[
            *(row for row in open_rows if row.line),
            *derived.set_aside,
            *placed(store, updated.problems),
        ],
        refused_files=[row for row in open_rows if not row.line],
        closed=store.closed(intent.number),
        unused=(
            *unused_overrides(settings, derived),
            *(f"templates/{name}" for name in unused_templates(own_templates)),
        ),
        open_ended=store.noted(intent.number, "last_line_open"),
        unread_stops=list(unread_stops(open_rows, settings.sources, archive)),
        derived=derived,
        judged=judged,
        updated=updated,
        fleet=in_force,
        fleet_record=fleet_record,
        stale=stale_feeds(store, intent.as_of, settings.stale_after_days),
        orders_sha256=orders_digest(updated, store.order_texts(intent.number)),
        stored=recorded(store.contents(intent.number).get(intent.number, {})),
        counts=store.counts(),
        counters=derived.counters | {"rows_parsed": sum(one.read for one in accounting)},
    )


#: what a verdict is known by, and what makes it another
_QUESTION = ["rule", "subject_kind", "subject", "job"]
_ANSWER = ["answer", "reason", "urgency", "threshold", "evidence_key"]


def changed_verdicts(verdicts: pd.DataFrame, before: pd.DataFrame) -> pd.DataFrame:
    """The verdicts whose answer, threshold or evidence is not what was stored last."""
    if before.empty:
        return verdicts
    known = before[[*_QUESTION, *_ANSWER]].assign(known=True)
    same = verdicts.merge(known, how="left", on=[*_QUESTION, *_ANSWER])["known"].notna().to_numpy()
    return verdicts.loc[~same]


def _evidence_known(verdicts: pd.DataFrame, before: pd.DataFrame, night: int) -> pd.Series:
    """The night from which each verdict's evidence has been what it is; tonight on the first night."""
    if before.empty:
        return pd.Series(night, index=verdicts.index, dtype="int64")
    return evidence_known(verdicts, before, night)


def orders_digest(updated: Updated, texts: Mapping[str, str]) -> str:
    """SHA-256 over the whole book of orders, by which a night told again is compared.

    It is that of the book as one canonical JSON list. The store holds every order in canonical form since the
    night that last changed it, so that a book of years costs no more than joining its texts.
    """
    book = ",".join(texts[order.number] for order in updated.orders)
    return hashlib.sha256(f"[{book}]".encode()).hexdigest()


def placed(store: Store, problems: Sequence[KeptOut]) -> list[KeptOut]:
    """Close-outs that could not be acted on, with the file and line they stand in."""
    if not problems:
        return []
    rows = store.origins([row.row_id for row in problems if row.row_id is not None])
    where: dict[int, pd.Series] = {int(row["row_id"]): row for _, row in rows.iterrows()}
    return [
        _at(problem, where[problem.row_id]) if problem.row_id in where else problem for problem in problems
    ]


def _at(problem: KeptOut, row: pd.Series) -> KeptOut:
    from dataclasses import replace

    return replace(problem, file=str(row["file"]), sha256=str(row["sha256"]), line=int(row["line"]))
