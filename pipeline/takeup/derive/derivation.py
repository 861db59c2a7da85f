"""One night's derivation: from known rows to hours, surveys and findings, only where something changed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Protocol

import numpy as np
import pandas as pd

from takeup.derive import lube, setaside, takeups
from takeup.derive.checks import judged, site_values
from takeup.derive.findings import findings
from takeup.derive.frames import stacked
from takeup.derive.gauged import gauged
from takeup.derive.lives import Register, register, unregistered
from takeup.derive.lubesettings import Lubrication
from takeup.derive.meters import MeterBook, meter_book
from takeup.derive.readings import OCCASIONS, life_hours, readings
from takeup.derive.settings import MeasuringSettings
from takeup.derive.stuck import stuck_meters
from takeup.derive.surveys import COLUMNS, marks, surveys
from takeup.derive.takeups import Travels, travels
from takeup.layered import Layered
from takeup.model import Feed, KeptOut
from takeup.wear.arguments import Array, Flags, Whole

if TYPE_CHECKING:
    from numpy.typing import NDArray

EPOCH = date(1970, 1, 1)

#: tables of the store that hold what was derived before
SURVEY_CACHE, ASIDE_CACHE = "survey", "set_aside"

#: the feeds whose rows decide what a survey says; of run hours every survey is looked up anew
SURVEY_FEEDS = (Feed.STRANDS, Feed.ELONGATION_READINGS, Feed.TAKEUP_READINGS)


#: what is read of the feeds that come by the hundred thousand, whose order this room makes itself
READ = {
    Feed.RUN_HOURS: setaside.SHOWN[Feed.RUN_HOURS],
    Feed.ELONGATION_READINGS: [*setaside.SHOWN[Feed.ELONGATION_READINGS], "instrument_class"],
    Feed.TAKEUP_READINGS: [*setaside.SHOWN[Feed.TAKEUP_READINGS], "lag_mm"],
    Feed.LUBE_RECORDS: setaside.SHOWN[Feed.LUBE_RECORDS],
}


class KnownRows(Protocol):
    """What this room needs of the store."""

    def rows(
        self,
        feed: Feed,
        *,
        as_of: date,
        night: int | None = None,
        subjects: Iterable[str] | None = None,
        columns: Sequence[str] | None = None,
        by_key: bool = True,
        checked_by: int = 0,
    ) -> pd.DataFrame:
        """The rows of a feed that hold, dated up to a day; all or some of the contract's columns."""

    def origins(self, row_ids: Iterable[int]) -> pd.DataFrame:
        """Columns row_id, feed, file, sha256, line."""

    def last_delivery(self, feed: Feed, night: int | None = None) -> tuple[int, date, int | None] | None:
        """Night, day and newest event of a feed's last delivery up to a night; None before the first."""

    def first_delivery(self, feed: Feed) -> int | None:
        """Night of a feed's first delivery; None before it."""

    def effective_changes(
        self, night: int, as_of: date, previous_as_of: date | None, feeds: Iterable[Feed]
    ) -> dict[str, set[str]]:
        """The strands and machines that something changed for."""

    def read_cache(self, table: str, strands: Iterable[str] | None = None) -> pd.DataFrame:
        """What was derived before; empty if nothing was."""


@dataclass(frozen=True)
class Derived:
    """What the rows known say, as of one day.

    Attributes
    ----------
    meters : MeterBook
    lives, surveys, lube, takeup, findings, gauged : DataFrame
        Columns where they are made: :mod:`.lives`, :mod:`.surveys`, :mod:`.lube`, :mod:`.takeups`,
        :mod:`.findings`, :mod:`.gauged`.
    machines, shutdowns, sources, sprockets : DataFrame
        Rows of their feeds.
    set_aside : list of KeptOut
        Sorted by row id and reason.
    set_aside_rows : DataFrame
        The same with strand and day, see :mod:`.setaside`.
    touched_strands : set of str
        Derived afresh this night, strands of one set together.
    caches : dict
        Table to the frame that replaces the rows of the touched strands.
    counters : dict
        surveys_derived, strands_touched, meter_rows.
    """

    meters: MeterBook
    lives: pd.DataFrame
    surveys: pd.DataFrame
    set_aside: list[KeptOut]
    set_aside_rows: pd.DataFrame
    lube: pd.DataFrame
    takeup: pd.DataFrame
    findings: pd.DataFrame
    gauged: pd.DataFrame
    machines: pd.DataFrame
    shutdowns: pd.DataFrame
    sources: pd.DataFrame
    sprockets: pd.DataFrame
    touched_strands: set[str] = field(default_factory=set)
    caches: dict[str, pd.DataFrame] = field(default_factory=dict)
    counters: dict[str, int] = field(default_factory=dict)


def derive(
    store: KnownRows,
    *,
    night: int | None,
    as_of: date,
    previous_as_of: date | None,
    settings: Layered[MeasuringSettings],
    lubrication: Layered[Lubrication],
    everything: bool = False,
) -> Derived:
    """What the rows known at a night say as of a day.

    Only strands that something changed for are derived afresh, together with the others of their sets; the
    surveys of all others come from the store's cache. Nothing is written: the night writes ``caches``.

    Parameters
    ----------
    store
        Anything that answers like :class:`KnownRows`.
    night : int, optional
        None for the newest.
    as_of, previous_as_of : date
        The day told of, and that of the night before; None before the first.
    settings : Layered[MeasuringSettings]
    lubrication : Layered[Lubrication]
    everything : bool
        Derive every strand: after a change of settings, for a past night, without caches.
    """
    day = (as_of - EPOCH).days
    cached = store.read_cache(SURVEY_CACHE)
    everything = everything or night is None or cached.empty
    # What was derived before was held against its contract then.
    checked_by = 0 if everything or night is None else night - 1

    def rows(feed: Feed, subjects: Collection[str] | None = None) -> pd.DataFrame:
        read = READ.get(feed)
        return store.rows(
            feed,
            night=night,
            as_of=as_of,
            subjects=subjects,
            columns=read,
            by_key=read is None,
            checked_by=checked_by,
        )

    machines = rows(Feed.MACHINES)
    meters = meter_book(rows(Feed.RUN_HOURS), machines, settings)
    strands = rows(Feed.STRANDS)
    if store.last_delivery(Feed.STRANDS, night) is not None:
        known = register(strands, meters, settings, day)
    else:
        everything = True  # any new reading may be the first of its strand
        first = rows(Feed.ELONGATION_READINGS).groupby("strand")["measured_at_day"].min()
        known = unregistered(first, strands, meters, settings, day)

    touched = set(known.lives["strand"]) | (set() if cached.empty else set(cached["strand"]))
    if not everything:
        changed = store.effective_changes(night, as_of, previous_as_of, SURVEY_FEEDS)["strand"]  # type: ignore[arg-type]
        touched = _with_their_sets(known, set(changed) | _moved(cached, known, meters))

    travelled, travel_asides = travels(takeup_rows := rows(Feed.TAKEUP_READINGS), known)
    fresh, fresh_asides = _fresh(
        rows(Feed.ELONGATION_READINGS, None if everything else touched), known, meters, travelled, settings
    )
    if everything:
        all_surveys, all_asides = fresh, fresh_asides
    else:
        old_asides = store.read_cache(ASIDE_CACHE)
        all_surveys = _joined(_without(cached, touched), fresh, known)
        all_asides = stacked([_without(old_asides, touched), fresh_asides], setaside.COLUMNS)
    told, stuck = stuck_meters(all_surveys, meters, site_values(settings))
    lubed, lube_asides = lube.lubrications(lube_rows := rows(Feed.LUBE_RECORDS), known, meters, lubrication)
    aside_rows = _sorted_asides(
        [
            all_asides,
            meters.set_aside,
            stuck,
            setaside.frame(
                travel_asides, takeup_rows, "takeup_readings", *_who_when(takeup_rows, "measured_at")
            ),
            setaside.frame(lube_asides, lube_rows, "lube_records", *_who_when(lube_rows, "done_at")),
        ]
    )
    seen_rows = rows(Feed.INSPECTION_FINDINGS)
    return Derived(
        meters=meters,
        lives=known.lives,
        surveys=told,
        set_aside=setaside.kept_out(aside_rows, store),
        set_aside_rows=aside_rows,
        lube=lubed,
        takeup=takeups.latest(travelled, known),
        findings=findings(seen_rows, known, settings, store.first_delivery(Feed.INSPECTION_FINDINGS)),
        gauged=gauged(seen_rows, known),
        machines=machines,
        shutdowns=rows(Feed.SHUTDOWNS),
        sources=rows(Feed.ENERGY_SOURCES),
        sprockets=_with_hours(rows(Feed.SPROCKET_CHECKS), meters),
        touched_strands=touched,
        caches={SURVEY_CACHE: fresh, ASIDE_CACHE: fresh_asides},
        counters={
            "surveys_derived": len(fresh),
            "strands_touched": len(touched),
            "meter_rows": len(meters.rows),
        },
    )


def _with_hours(checks: pd.DataFrame, meters: MeterBook) -> pd.DataFrame:
    """The sprocket checks with ``machine_hours``, continuous hours of the machine at each."""
    pos = checks["checked_at_day"].to_numpy(np.float64) + 0.5
    hours, _ = meters.hours_at(checks["machine"].to_numpy(dtype=object), pos)
    return checks.assign(machine_hours=np.round(hours, 3))


def strand_marks(
    store: KnownRows,
    derived: Derived,
    strands: Collection[str],
    *,
    night: int | None,
    as_of: date,
    settings: Layered[MeasuringSettings],
) -> pd.DataFrame:
    """Every mark of some strands, with the elongation that its survey is the mean of.

    Their sets are read with them, because strands of one set are held against each other.

    Parameters
    ----------
    store
        Anything that answers like :class:`KnownRows`.
    derived : Derived
        Of the same night and day.
    strands : collection of str
    night : int, optional
        None for the newest.
    as_of : date
    settings : Layered[MeasuringSettings]

    Returns
    -------
    DataFrame
        :data:`takeup.derive.surveys.MARK_COLUMNS`.
    """
    known = Register(derived.lives)
    read = _with_their_sets(known, set(strands))

    def rows(feed: Feed) -> pd.DataFrame:
        return store.rows(feed, night=night, as_of=as_of, subjects=read, columns=READ.get(feed), by_key=False)

    travelled, _ = travels(rows(Feed.TAKEUP_READINGS), known)
    its, _ = readings(rows(Feed.ELONGATION_READINGS), known, derived.meters, settings)
    found = marks(its, judged(its, known, travelled, settings), known, settings)
    return found[found["strand"].isin(set(strands))].reset_index(drop=True)


def _fresh(
    rows: pd.DataFrame,
    known: Register,
    meters: MeterBook,
    travelled: Travels,
    settings: Layered[MeasuringSettings],
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Surveys of whole strands and their rows set aside."""
    its, outside = readings(rows, known, meters, settings)
    verdict = judged(its, known, travelled, settings)
    placed = [
        aside._replace(place=place)
        for aside in verdict.asides
        for place in (int(its.place[aside.place]), *(earlier for earlier, _ in its.also.get(aside.place, ())))
    ]
    asides = setaside.frame(outside + placed, rows, "elongation_readings", *_who_when(rows, "measured_at"))
    return surveys(its, verdict, known, settings), asides


def _who_when(rows: pd.DataFrame, event: str) -> tuple[Whole, NDArray[np.object_]]:
    return rows[f"{event}_day"].to_numpy(np.int64), rows["strand"].to_numpy(dtype=object)


def _moved(cached: pd.DataFrame, known: Register, meters: MeterBook) -> set[str]:
    """Strands with a cached survey whose hours are no longer what they were, or whose life is gone."""
    life = pd.Index(known.lives["life_id"]).get_indexer(cached["life_id"])
    strand = cached["strand"].to_numpy(dtype=object)
    here = life >= 0
    hours, bridged = life_hours(known, meters, life[here], cached["pos"].to_numpy(np.float64)[here])
    same = np.ones(life.shape, dtype=bool)
    same[here] = _equal(hours, cached["hours"].to_numpy(np.float64)[here]) & _equal(
        bridged, cached["bridged_hours"].to_numpy(np.float64)[here]
    )
    return set(strand[~here | ~same])


def _equal(one: Array, two: Array) -> Flags:
    same: Flags = (one == two) | (np.isnan(one) & np.isnan(two))
    return same


def _with_their_sets(known: Register, strands: set[str]) -> set[str]:
    """The strands and all that share a set with one of them."""
    lives = known.lives
    sets = set(lives.loc[lives["strand"].isin(strands), "set"])
    return strands | set(lives.loc[lives["set"].isin(sets), "strand"])


def _without(frame: pd.DataFrame, strands: set[str]) -> pd.DataFrame:
    return frame.loc[~frame["strand"].isin(strands)] if len(frame) else frame


def _joined(kept: pd.DataFrame, fresh: pd.DataFrame, known: Register) -> pd.DataFrame:
    """Cached and fresh surveys in the order of the lives."""
    both = stacked([kept, fresh], COLUMNS)
    life = pd.Index(known.lives["life_id"]).get_indexer(both["life_id"])
    occasion = pd.Index(OCCASIONS, dtype=object).get_indexer(pd.Index(both["occasion"]))
    return both.iloc[np.lexsort((occasion, both["day"].to_numpy(np.int64), life))].reset_index(drop=True)


def _sorted_asides(parts: list[pd.DataFrame]) -> pd.DataFrame:
    both = stacked(parts, setaside.COLUMNS).drop_duplicates(["row_id", "reason"])
    return both.sort_values(["row_id", "reason"], ignore_index=True)
