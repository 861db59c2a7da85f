"""Lube records: the last one that counts on each open life, and lubricant on chain dry by decision."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from takeup.derive.frames import NUMBER, ROWS, TEXT, WHOLE, typed
from takeup.derive.lives import AFTER, Register
from takeup.derive.meters import MeterBook
from takeup.derive.readings import life_hours
from takeup.derive.setaside import Aside, outside_lives
from takeup.derive.settings import MeasuringSettings
from takeup.layered import Layered
from takeup.wear.arguments import Array, Flags, Whole

if TYPE_CHECKING:
    import pandas as pd

#: columns and types of the frame of lubrication
COLUMNS = {
    "life_id": TEXT, "strand": TEXT, "last_day": NUMBER, "last_pos": NUMBER, "last_hours": NUMBER,
    "last_row_id": WHOLE, "quantity_sum_ml": NUMBER, "n_records": WHOLE, "dry_records": ROWS,
    "blank_quantity_run": WHOLE,
}  # fmt: skip

DRY = "none_by_decision"


def lubrications(
    rows: pd.DataFrame, register: Register, meters: MeterBook, settings: Layered[MeasuringSettings]
) -> tuple[pd.DataFrame, list[Aside]]:
    """One row an open life, and the records that belong to no life.

    A record counts when its quantity is blank (done, with little confidence), when the register plans no
    quantity and the record's is not nought, or when it makes half the plan together with the records after
    the last one that counted and within one interval before it. On a strand that is dry by decision nothing
    counts: all records are listed, and the last is shown. A record of the fitting day is the new chain's.

    Parameters
    ----------
    rows : DataFrame
        Rows of the feed.

    Returns
    -------
    DataFrame
        life_id, strand, last_day, last_pos, last_hours (life hours), last_row_id (-1 without one),
        quantity_sum_ml (NaN where blank), n_records, dry_records (list of row ids), blank_quantity_run.
        Sorted as the lives.
    asides : list of Aside
        Places count in ``rows``.
    """
    lives = register.lives
    day = rows["done_at_day"].to_numpy(np.int64)
    strand = rows["strand"].to_numpy(dtype=object)
    life, early, late = register.life_of(strand, day, AFTER)
    row_id, pos = rows["row_id"].to_numpy(np.int64), rows["done_at_pos"].to_numpy(np.float64)
    is_open = lives["is_open"].to_numpy(dtype=bool)
    inside = np.flatnonzero((life >= 0) & is_open[life]) if len(lives) else np.zeros(0, dtype=np.int64)
    inside = inside[np.lexsort((row_id[inside], pos[inside], life[inside]))]
    quantity = rows["quantity_ml"].to_numpy(np.float64)[inside]
    hours, _ = life_hours(register, meters, life[inside], pos[inside])

    dry = lives["lube_plan"].to_numpy(dtype=object) == DRY
    last, total = _last_that_counts(life[inside], hours, quantity, dry, register, settings)
    on_dry = np.flatnonzero(dry[life[inside]])
    last[life[inside][on_dry]], total[life[inside][on_dry]] = on_dry, quantity[on_dry]
    has = last >= 0
    where = inside[last[has]]
    found = {name: np.full(len(lives), np.nan) for name in ("day", "pos", "hours")}
    found["day"][has], found["pos"][has], found["hours"][has] = day[where], pos[where], hours[last[has]]
    row = np.full(len(lives), -1, dtype=np.int64)
    row[has] = row_id[where]
    dry_rows: list[list[int]] = [[] for _ in range(len(lives))]
    for place in inside[dry[life[inside]]].tolist():
        dry_rows[life[place]].append(int(row_id[place]))
    chosen = np.flatnonzero(is_open)
    told = typed(
        {
            "life_id": lives["life_id"].to_numpy(dtype=object)[chosen],
            "strand": lives["strand"].to_numpy(dtype=object)[chosen],
            "last_day": found["day"][chosen],
            "last_pos": found["pos"][chosen],
            "last_hours": found["hours"][chosen],
            "last_row_id": row[chosen],
            "quantity_sum_ml": total[chosen],
            "n_records": np.bincount(life[inside], minlength=len(lives))[chosen],
            "dry_records": [dry_rows[place] for place in chosen.tolist()],
            "blank_quantity_run": _blank_run(life[inside], quantity, len(lives))[chosen],
        },
        COLUMNS,
    )
    return told, outside_lives(rows, "done_at", early, late)


def _last_that_counts(
    life: Whole,
    hours: Array,
    quantity: Array,
    dry: Flags,
    register: Register,
    settings: Layered[MeasuringSettings],
) -> tuple[Whole, Array]:
    """Of each life: place of the last record that counts, -1 without one, and the quantity it counts with."""
    lives = register.lives
    names = (lives["machine"].to_numpy(dtype=object), lives["strand"].to_numpy(dtype=object))
    plan = lives["lube_quantity_ml"].to_numpy(np.float64)
    part = settings.column("lube_accept_part", *names).astype(np.float64)
    stated = lives["lube_interval_hours"].to_numpy(np.float64)
    interval = np.where(np.isnan(stated), settings.column("lube_together_hours", *names), stated)
    least = np.where(np.isnan(plan) | (plan == 0), np.nextafter(0.0, 1.0), plan * part)

    last = np.full(len(lives), -1, dtype=np.int64)
    total = np.full(len(lives), np.nan)
    # A record that counts by itself counts whatever came before it, so only records after the last of them
    # are summed one by one.
    alone = np.flatnonzero(~dry[life] & (np.isnan(quantity) | (quantity >= least[life])))
    last[life[alone]], total[life[alone]] = alone, quantity[alone]
    small = np.flatnonzero(~dry[life] & ~np.isnan(quantity) & (np.arange(life.size) > last[life]))
    for its in _by_life(life, small):
        of = int(life[its[0]])
        since = its[0]
        for place in its:
            near = [
                other
                for other in its
                if since <= other <= place and not hours[place] - hours[other] > interval[of]
            ]
            amount = float(sum(quantity[other] for other in near))
            if amount >= least[of]:
                last[of], total[of], since = place, amount, place + 1
    return last, total


def _by_life(life: Whole, places: Whole) -> Iterator[list[int]]:
    cuts = np.flatnonzero(np.diff(life[places])) + 1
    for its in np.split(places, cuts):
        if its.size:
            yield its.tolist()


def _blank_run(life: Whole, quantity: Array, lives: int) -> Whole:
    """How many of the newest records of each life are blank in a row."""
    filled = np.full(lives, -1, dtype=np.int64)
    places = np.flatnonzero(~np.isnan(quantity))
    filled[life[places]] = places
    after = np.flatnonzero(np.arange(life.size) > filled[life])
    return np.bincount(life[after], minlength=lives).astype(np.int64)
