"""Lube records: those that count on each open life, what its last round got, and oil on dry chain."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.derive.frames import FLAG, NUMBER, ROWS, TEXT, WHOLE, typed
from takeup.derive.lives import AFTER, Register
from takeup.derive.lubesettings import DRY, Lubrication, lube_interval
from takeup.derive.meters import MeterBook
from takeup.derive.readings import life_hours
from takeup.derive.setaside import Aside, outside_lives
from takeup.layered import Layered
from takeup.wear import lubrication
from takeup.wear.arguments import Array, Whole

if TYPE_CHECKING:
    import pandas as pd

#: columns and types of the frame of lubrication
COLUMNS = {
    "life_id": TEXT, "strand": TEXT, "last_day": NUMBER, "last_pos": NUMBER, "last_hours": NUMBER,
    "last_row_id": WHOLE, "quantity_sum_ml": NUMBER, "n_records": WHOLE, "dry_records": ROWS,
    "blank_quantity_run": WHOLE, "done_hours": ROWS, "newest_day": NUMBER, "given_ml": NUMBER,
    "given_some_blank": FLAG, "given_rows": ROWS, "last_lubricant": TEXT, "last_method": TEXT,
    "last_by": TEXT,
}  # fmt: skip


def lubrications(
    rows: pd.DataFrame, register: Register, meters: MeterBook, settings: Layered[Lubrication]
) -> tuple[pd.DataFrame, list[Aside]]:
    """One row an open life, and the records that belong to no life.

    Which records count, :func:`takeup.wear.lubrication.resets_clock` says. On a strand that is dry by
    decision none does: all are listed, and the last is shown. A record of the fitting day is the new chain's.

    Parameters
    ----------
    rows : DataFrame
        Rows of the feed.

    Returns
    -------
    DataFrame
        life_id, strand; of the last record that counts last_day, last_pos, last_hours (life hours),
        last_row_id (-1 without one), last_lubricant, last_method, last_by, quantity_sum_ml (NaN where
        blank); n_records, dry_records (list of row ids), blank_quantity_run; done_hours (list:
        life hours of all that count, those not known left out);
        and of the round that ends with the newest record newest_day, given_ml, given_some_blank,
        given_rows (list of row ids). Sorted as the lives.
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
    its, row_id, day, pos = life[inside], row_id[inside], day[inside], pos[inside]
    quantity = rows["quantity_ml"].to_numpy(np.float64)[inside]
    hours, _ = life_hours(register, meters, its, pos)
    starts = np.concatenate(([0], np.cumsum(np.bincount(its, minlength=len(lives)))))

    dry = lives["lube_plan"].to_numpy(dtype=object) == DRY
    interval = lube_interval(lives, settings).hours
    names = tuple(lives[name].to_numpy(dtype=object) for name in ("machine", "strand"))

    def setting(name: str) -> Array:
        return settings.column(name, *names).astype(np.float64)

    counts, sums = lubrication.resets_clock(
        hours,
        quantity,
        starts,
        plan_ml=lives["lube_quantity_ml"].to_numpy(np.float64),
        interval_hours=interval,
        least_share=setting("least_part"),
    )
    given = lubrication.given_in_round(
        hours,
        quantity,
        starts,
        counts=counts,
        interval_hours=interval,
        round_share=setting("round_part"),
    )

    last = _last(its, counts | dry[its], len(lives))
    newest = _last(its, np.ones(its.shape, dtype=bool), len(lives))
    done = counts & ~dry[its] & ~np.isnan(hours)
    chosen = np.flatnonzero(is_open)
    told = typed(
        {
            "life_id": lives["life_id"].to_numpy(dtype=object)[chosen],
            "strand": lives["strand"].to_numpy(dtype=object)[chosen],
            "last_day": _at(last, day)[chosen],
            "last_pos": _at(last, pos)[chosen],
            "last_hours": _at(last, hours)[chosen],
            "last_row_id": np.where(last >= 0, row_id[last] if row_id.size else -1, -1)[chosen],
            **{
                f"last_{name}": [said[place] if place >= 0 else "" for place in last[chosen].tolist()]
                for name, said in (
                    (name, rows[column].fillna("").to_numpy(dtype=object)[inside])
                    for name, column in (("lubricant", "lubricant"), ("method", "method"), ("by", "done_by"))
                )
            },
            "quantity_sum_ml": _at(last, np.where(dry[its], quantity, sums))[chosen],
            "n_records": np.diff(starts)[chosen],
            "dry_records": [
                row_id[starts[place] : starts[place + 1]].tolist() if dry[place] else []
                for place in chosen.tolist()
            ],
            "blank_quantity_run": _blank_run(its, quantity, len(lives))[chosen],
            "done_hours": [
                hours[starts[place] : starts[place + 1]][done[starts[place] : starts[place + 1]]].tolist()
                for place in chosen.tolist()
            ],
            "newest_day": _at(newest, day)[chosen],
            "given_ml": _at(newest, given.ml)[chosen],
            "given_some_blank": (_at(newest, given.some_blank) == 1.0)[chosen],
            "given_rows": [
                row_id[given.first[place] : place + 1].tolist() if place >= 0 else []
                for place in newest[chosen].tolist()
            ],
        },
        COLUMNS,
    )
    return told, outside_lives(rows, "done_at", early, late)


def _last(life: Whole, which: np.ndarray, lives: int) -> Whole:
    """Place of the last such record of each life, -1 without one."""
    last = np.full(lives, -1, dtype=np.int64)
    last[life[which]] = np.flatnonzero(which)
    return last


def _at(places: Whole, values: np.ndarray) -> Array:
    """The value at each place, NaN where there is none."""
    found = np.full(places.shape, np.nan)
    found[places >= 0] = values[places[places >= 0]]
    return found


def _blank_run(life: Whole, quantity: Array, lives: int) -> Whole:
    """How many of the newest records of each life are blank in a row."""
    filled = _last(life, ~np.isnan(quantity), lives)
    after = np.flatnonzero(np.arange(life.size) > filled[life])
    return np.bincount(life[after], minlength=lives).astype(np.int64)
