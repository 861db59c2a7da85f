"""Take-up readings: travel used, pitches taken out, and whether a take-up is back at its start."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from takeup.derive.lives import AFTER, Register
from takeup.derive.setaside import Aside, outside_lives
from takeup.wear.arguments import Array, Whole


@dataclass(frozen=True)
class Travels:
    """Take-up readings in their lives, sorted by (life, moment, row id). All arrays are (n,).

    ``used_mm`` is the screw further out [mm]; ``removed`` counts the pitches taken out at this occasion,
    those of the fitting day left out because the register's count is as fitted.
    """

    place: Whole
    row_id: Whole
    life: Whole
    day: Whole
    used_mm: Array
    left_mm: Array
    right_mm: Array
    lag_mm: Array
    removed: Array
    starts: Whole
    start_mm: Array
    travel_mm: Array

    def of_life(self, life: int) -> slice:
        """The readings of one life."""
        return slice(int(self.starts[life]), int(self.starts[life + 1]))

    def back_at_start(self, life: int, after_day: int, until_day: int, part: float) -> bool | None:
        """Whether the last reading between two days stands within a part of the travel from its start.

        Returns
        -------
        bool or None
            None where there is no such reading or the travel is not known.
        """
        its = self.of_life(life)
        near = np.flatnonzero((self.day[its] > after_day) & (self.day[its] <= until_day))
        if not near.size or np.isnan(self.travel_mm[life]):
            return None
        start = 0.0 if np.isnan(self.start_mm[life]) else self.start_mm[life]
        return bool(self.used_mm[its][near[-1]] <= start + part * self.travel_mm[life])


def travels(rows: pd.DataFrame, register: Register) -> tuple[Travels, list[Aside]]:
    """Take-up readings in their lives, and those that belong to none.

    A reading of a fitting day belongs to the new chain; it is the travel at fitting where the register states
    none.

    Parameters
    ----------
    rows : DataFrame
        Rows of the feed.
    """
    day = rows["measured_at_day"].to_numpy(np.int64)
    strand = rows["strand"].to_numpy(dtype=object)
    life, early, late = register.life_of(strand, day, AFTER)
    asides = outside_lives(rows, "measured_at", early, late)
    row_id = rows["row_id"].to_numpy(np.int64)
    inside = np.flatnonzero(life >= 0)
    inside = inside[np.lexsort((row_id[inside], rows["measured_at_pos"].to_numpy()[inside], life[inside]))]
    left, right = (rows[name].to_numpy(np.float64)[inside] for name in ("used_left_mm", "used_right_mm"))
    lives = register.lives
    fitted = lives["fitted_day"].to_numpy(np.int64)
    on_fitting = day[inside] == fitted[life[inside]]
    used = np.fmax(left, right)
    start = lives["takeup_start_mm"].to_numpy(np.float64).copy()
    first = on_fitting & np.isnan(start[life[inside]])
    start[life[inside][first]] = used[first]
    return Travels(
        place=inside,
        row_id=row_id[inside],
        life=life[inside],
        day=day[inside],
        used_mm=used,
        left_mm=left,
        right_mm=right,
        lag_mm=rows["lag_mm"].to_numpy(np.float64)[inside],
        removed=np.where(
            on_fitting, 0.0, np.nan_to_num(rows["pitches_removed"].to_numpy(np.float64)[inside])
        ),
        starts=np.searchsorted(life[inside], np.arange(len(lives) + 1)).astype(np.int64),
        start_mm=start,
        travel_mm=lives["takeup_travel_mm"].to_numpy(np.float64),
    ), asides


def latest(its: Travels, register: Register) -> pd.DataFrame:
    """The last take-up reading of every open life.

    Returns
    -------
    DataFrame
        life_id, strand, day (NaN without a reading), used_mm, used_left_mm, used_right_mm, lag_mm (of that
        reading), start_mm, pitches_removed (all of this life), row_id (-1 without one); last_lag_mm,
        last_lag_day, last_lag_row_id: the last lag that was measured; shortened_day. Sorted as the lives.
    """
    lives = register.lives
    open_lives = np.flatnonzero(lives["is_open"].to_numpy(dtype=bool))
    removed = np.bincount(its.life, weights=its.removed, minlength=len(lives))
    last = its.starts[1:] - 1
    has = its.starts[1:] > its.starts[:-1]

    def at_last(values: Array | Whole) -> Array:
        found = np.full(len(lives), np.nan)
        found[has] = values[last[has]]
        return found[open_lives]

    row = np.full(len(lives), -1, dtype=np.int64)
    row[has] = its.row_id[last[has]]
    lag, lag_day, lag_row = _last_known(its, its.lag_mm, len(lives))
    _, shortened, _ = _last_known(its, np.where(its.removed > 0, its.removed, np.nan), len(lives))
    return pd.DataFrame(
        {
            "life_id": lives["life_id"].to_numpy(dtype=object)[open_lives],
            "strand": lives["strand"].to_numpy(dtype=object)[open_lives],
            "day": at_last(its.day),
            "used_mm": at_last(its.used_mm),
            "used_left_mm": at_last(its.left_mm),
            "used_right_mm": at_last(its.right_mm),
            "lag_mm": at_last(its.lag_mm),
            "start_mm": its.start_mm[open_lives],
            "pitches_removed": removed[open_lives],
            "row_id": row[open_lives],
            "last_lag_mm": lag[open_lives],
            "last_lag_day": lag_day[open_lives],
            "last_lag_row_id": lag_row[open_lives],
            "shortened_day": shortened[open_lives],
        }
    )


def _last_known(its: Travels, values: Array, lives: int) -> tuple[Array, Array, Whole]:
    """The last known value of each life, its day and its row."""
    known = np.flatnonzero(~np.isnan(values))
    found, day, row = np.full(lives, np.nan), np.full(lives, np.nan), np.full(lives, -1, dtype=np.int64)
    life = its.life[known]  # sorted by time, so the last of a life is written last
    found[life], day[life], row[life] = values[known], its.day[known], its.row_id[known]
    return found, day, row
