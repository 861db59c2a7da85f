"""Small exports as the store hands them over, so that a case reads as what is in it.

:class:`Plant` gathers rows and answers like the store (`takeup.derive.derivation.KnownRows`) with frames of
the contracts' own columns; test_store.py drives the same through the real store.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from takeup.contracts import Cell, contract, frame_columns
from takeup.derive.derivation import EPOCH, Derived, derive
from takeup.derive.lubesettings import Lubrication
from takeup.derive.settings import MeasuringSettings
from takeup.layered import Layered
from takeup.model import Feed

FITTED = date(2025, 3, 3)
#: hours a day of the plant's meters
PACE = 20.0
PITCH = 152.4


def frame(feed: Feed, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Rows as the store's frame: three columns a moment, two a date, NaN and '' for blanks."""
    rules = contract(feed)
    columns: dict[str, Any] = {
        "row_id": np.array([row["row_id"] for row in rows], dtype=np.int64),
        "file_id": np.zeros(len(rows), dtype=np.int64),
        "line": np.array([row["row_id"] for row in rows], dtype=np.int64),
        "known_from": np.ones(len(rows), dtype=np.int64),
    }
    for field in rules.fields:
        given = [row.get(field.name, field.default if not field.is_number else np.nan) for row in rows]
        if field.is_number:
            given = [float(field.default or "nan") if value == "" else value for value in given]
            columns[field.name] = np.array(given, dtype=np.float64)
        elif field.cell in (Cell.MOMENT, Cell.DATE):
            texts = [str(value) if value else "" for value in given]
            columns[field.name] = np.array([text or None for text in texts], dtype=object)
            day = np.array([_day(text) for text in texts])
            exact = field.required and field.cell is Cell.MOMENT
            columns[f"{field.name}_day"] = day.astype(np.int64) if exact else day
            if field.cell is Cell.MOMENT:
                columns[f"{field.name}_pos"] = np.array([_pos(text) for text in texts])
        else:
            columns[field.name] = np.array([str(value) for value in given], dtype=object)
    return pd.DataFrame(
        {name: pd.Series(v, dtype=object if v.dtype.kind == "O" else None) for name, v in columns.items()}
    )


def _day(text: str) -> float:
    return float((date.fromisoformat(text[:10]) - EPOCH).days) if text else np.nan


def _pos(text: str) -> float:
    if not text:
        return np.nan
    clock = text[11:]
    if not clock:
        return _day(text) + 0.5
    hour, minute, *second = (int(part) for part in clock.split(":"))
    return _day(text) + (hour * 3600 + minute * 60 + sum(second)) / 86400.0


class Plant:
    """Exports to be told of; every method adds rows and gives their row ids."""

    def __init__(self, *, registered: bool = True) -> None:
        self.given: dict[Feed, list[dict[str, Any]]] = {feed: [] for feed in Feed}
        self.cache: dict[str, pd.DataFrame] = {}
        self.changed: set[str] = set()
        self.registered = registered
        self.last_row = 0

    def add(self, feed: Feed, **row: Any) -> int:
        self.last_row += 1
        self.given[feed].append({"row_id": self.last_row} | row)
        if "strand" in row:
            self.changed.add(row["strand"])
        return self.last_row

    # ------------------------------------------------------------------------------ rows of a plant
    def machine(self, machine: str = "BE-1", **more: Any) -> int:
        row = {"machine": machine, "name": "elevator", "kind": "bucket_elevator", "service": "abrasive_bulk"}
        return self.add(Feed.MACHINES, **(row | {"planned_hours_per_day": 20.0} | more))

    def strand(
        self, strand: str = "BE-1-A", *, fitted: date = FITTED, machine: str = "BE-1", **more: Any
    ) -> int:
        row = {
            "strand": strand, "machine": machine, "fitted_on": fitted, "construction": "bushed_rollerless",
            "pitch_mm": PITCH, "pitches": 240, "teeth_drive": 12, "teeth_tail": 12, "takeup_travel_mm": 480,
            "takeup_start_mm": 16,
        }  # fmt: skip
        return self.add(Feed.STRANDS, **(row | more))

    def meter(
        self, machine: str = "BE-1", *, first: date = FITTED, days: int = 560, start: float = 5000.0
    ) -> list[int]:
        """Weekly readings at the plant's pace."""
        return [
            self.add(
                Feed.RUN_HOURS,
                machine=machine,
                read_at=first + timedelta(days=gone),
                meter_hours=start + PACE * gone,
            )
            for gone in range(0, days + 1, 7)
        ]

    def survey(
        self, day: date, e: float | Iterable[float], strand: str = "BE-1-A", *, n: int = 20, **more: Any
    ) -> list[int]:
        """One survey of as many marks as elongations over nominal [%]; lengths to a tenth of a millimetre."""
        marks = [e] if isinstance(e, int | float) else list(e)
        return [
            self.add(
                Feed.ELONGATION_READINGS,
                **(
                    {
                        "strand": strand, "measured_at": day, "mark": str(mark), "pitches": n,
                        "length_mm": round(n * PITCH * (1 + value / 100), 1), "chain_temperature_c": 20,
                        "tape_temperature_c": 20,
                    } | more
                ),
            )
            for mark, value in enumerate(marks, 1)
        ]  # fmt: skip

    def takeup(self, day: date, used: float, strand: str = "BE-1-A", **more: Any) -> int:
        return self.add(Feed.TAKEUP_READINGS, strand=strand, measured_at=day, used_left_mm=used, **more)

    def lube(self, day: date | str, quantity: float = np.nan, strand: str = "BE-1-A", **more: Any) -> int:
        return self.add(Feed.LUBE_RECORDS, strand=strand, done_at=day, quantity_ml=quantity, **more)

    def finding(self, finding: str, day: date = FITTED, **more: Any) -> int:
        return self.add(Feed.INSPECTION_FINDINGS, finding=finding, seen_at=day, **more)

    # ----------------------------------------------------------------------- answers like the store
    def rows(
        self,
        feed: Feed,
        *,
        as_of: date,
        night: int | None = None,  # noqa: ARG002 - every row is known from the first night
        subjects: Iterable[str] | None = None,
        columns: Iterable[str] | None = None,
        by_key: bool = True,
        checked_by: int = 0,  # noqa: ARG002 - they keep their contracts by their making
    ) -> pd.DataFrame:
        rules = contract(feed)
        found = frame(feed, self.given[feed])
        if rules.event:
            found = found.loc[found[rules.event_day] <= (as_of - EPOCH).days]
        if subjects is not None:
            found = found.loc[found[rules.subject].isin(set(subjects))]
        if columns is not None:
            kept = [field for field in rules.fields if field.name in set(columns)]
            found = found[["row_id", "file_id", "line", "known_from", *frame_columns(kept)]]
        order = list(rules.key) if by_key else "row_id"
        return found.sort_values(order, kind="stable", ignore_index=True)

    def origins(self, row_ids: Iterable[int]) -> pd.DataFrame:
        rows = sorted(set(row_ids))
        return pd.DataFrame(
            {"row_id": rows, "feed": "", "file": "made.csv", "sha256": "0" * 64, "line": rows}
        )

    def last_delivery(self, feed: Feed, night: int | None = None) -> tuple[int, date, int | None] | None:
        return (night or 1, FITTED, None) if self.registered or feed is not Feed.STRANDS else None

    def first_delivery(self, feed: Feed) -> int:  # noqa: ARG002 - every row is known from the first night
        return 1

    def effective_changes(self, *_: Any) -> dict[str, set[str]]:
        return {"strand": set(self.changed), "machine": set()}

    def read_cache(self, table: str) -> pd.DataFrame:
        return self.cache.get(table, pd.DataFrame())

    def keep(self, derived: Derived) -> None:
        """Write the caches as a night does: replace the rows of the touched strands."""
        self.changed = set()
        for table, fresh in derived.caches.items():
            old = self.read_cache(table)
            kept = old.loc[~old["strand"].isin(derived.touched_strands)] if len(old) else old
            self.cache[table] = pd.concat(
                [part for part in (kept, fresh) if len(part)] or [fresh], ignore_index=True
            )

    # ----------------------------------------------------------------------------------------------
    def derived(
        self,
        as_of: date = date(2026, 9, 1),
        *,
        night: int | None = None,
        everything: bool = False,
        **settings: Any,
    ) -> Derived:
        return derive(
            self,
            night=night,
            as_of=as_of,
            previous_as_of=None,
            settings=Layered(MeasuringSettings(**settings)),
            lubrication=Layered(Lubrication()),
            everything=everything,
        )


def after(hours: float, fitted: date = FITTED) -> date:
    """The day on which a chain has run so many hours at the plant's pace."""
    return fitted + timedelta(days=round(hours / PACE))


def simple_plant(**strand: Any) -> Plant:
    """One machine with one strand and its meter."""
    plant = Plant()
    plant.machine()
    plant.strand(**strand)
    plant.meter()
    return plant


def reasons(derived: Derived) -> dict[int, str]:
    """Row id to the reason it was set aside for."""
    return {kept.row_id: kept.reason for kept in derived.set_aside if kept.row_id is not None}
