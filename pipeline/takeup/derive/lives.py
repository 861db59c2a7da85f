"""Lives: one chain on one strand from fitting to removal, and which life a dated row belongs to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from takeup.derive.frames import texts
from takeup.derive.meters import MeterBook
from takeup.derive.settings import MeasuringSettings
from takeup.layered import Layered
from takeup.wear.arguments import Array, Flags, Whole

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: constructions whose inner and outer links alternate, so that an odd span reads wrong
ALTERNATE = ("bushed_rollerless", "roller_conveyor", "roller_drive")
OFFSET = ("offset_sidebar_roller", "welded_mill", "welded_drag", "cast_h_mill")

#: when a row was taken, on a day on which a chain was fitted
BEFORE, EITHER, AFTER = range(3)

_MIDDAY = 0.5
#: more than any day number, so that strand and day make one rising key
_DAYS = 2**22


@dataclass(frozen=True)
class Register:
    """Lives sorted by strand and fitting day; a place in the frame is what *life* means in the arrays.

    Attributes
    ----------
    lives : DataFrame
        Register columns and life_id, is_open, registered, hours_at_fitting, hours_bridged, bridged_hours,
        fitted_day, removed_day, tolerance_percent.
    """

    lives: pd.DataFrame

    def life_of(
        self, strands: NDArray[np.object_], days: Whole, when: Whole | int
    ) -> tuple[Whole, Flags, Flags]:
        """The life that each dated row belongs to.

        On a fitting day a row from after the work (as left) belongs to the new chain and one from before it
        (as found) to the old; one that may be either belongs to the old chain if one ended on that day, else
        to the new.

        Parameters
        ----------
        strands, days : (n,)
        when : int or (n,) int
            :data:`BEFORE`, :data:`EITHER` or :data:`AFTER` the work of a fitting day.

        Returns
        -------
        life : (n,) int
            -1 where there is none.
        early, late : (n,) bool
            Dated before the first fitting; dated after a removal and before another fitting.
        """
        codes, names = pd.factorize(strands)
        strand_code = {name: code for code, name in enumerate(pd.unique(self.lives["strand"]))}
        code = np.array([strand_code.get(name, -1) for name in names] + [-1], dtype=np.int64)[codes]
        life_code = self.lives["strand"].map(strand_code).to_numpy(np.int64, na_value=-1)
        fitted, removed = self.lives["fitted_day"].to_numpy(np.int64), self._ends()
        keys = life_code * _DAYS + fitted
        life = np.searchsorted(keys, code * _DAYS + days, side="right") - 1
        own = (life >= 0) & (code >= 0)
        own[own] = life_code[life[own]] == code[own]

        # Before the work on a fitting day the old chain is still on, if there was one until that day.
        old = np.where(own, life - 1, -1)
        had_old = own & (old >= 0)
        had_old[had_old] = (life_code[old[had_old]] == code[had_old]) & (
            removed[old[had_old]] >= days[had_old]
        )
        on_day = own.copy()
        on_day[on_day] = fitted[life[on_day]] == days[on_day]
        taken = np.broadcast_to(np.asarray(when), days.shape)
        life = np.where(on_day & (taken != AFTER) & had_old, old, life)
        own &= ~(on_day & (taken == BEFORE) & ~had_old)

        early = (code >= 0) & ~own
        late = own.copy()
        late[late] = removed[life[late]] < days[late]
        return np.where(own & ~late, life, -1), early, late

    def _ends(self) -> Array:
        removed = self.lives["removed_day"].to_numpy(np.float64)
        return np.where(np.isnan(removed), np.inf, removed)


def register(
    strands: pd.DataFrame, meters: MeterBook, settings: Layered[MeasuringSettings], as_of_day: int
) -> Register:
    """Lives from the rows of the register.

    A life without a removal ends where the next one of its strand begins; a removal planned for later than
    ``as_of_day`` has not happened; a fitting planned for later is no life yet.

    Parameters
    ----------
    strands : DataFrame
        Rows of the strands feed.
    """
    lives = strands.loc[strands["fitted_on_day"].to_numpy(np.float64) <= as_of_day]
    return _finished(lives.assign(registered=True), meters, settings, as_of_day)


def unregistered(
    first_days: pd.Series,
    columns: pd.DataFrame,
    meters: MeterBook,
    settings: Layered[MeasuringSettings],
    as_of_day: int,
) -> Register:
    """Lives from the readings alone, while no register was ever delivered.

    Parameters
    ----------
    first_days : Series
        Strand to the day of its first reading, which stands in for the fitting day.
    columns : DataFrame
        An empty frame of the strands feed: which columns a register has.
    """
    names = sorted(first_days.index)
    lives = columns.iloc[:0].reindex(range(len(names)))
    for column in lives.columns:
        lives[column] = (
            lives[column].astype(columns[column].dtype) if columns[column].dtype.kind == "f" else ""
        )
    days = first_days.reindex(names).to_numpy(np.float64)
    lives["strand"] = texts(names)
    lives["machine"] = texts(_machine_of(name, meters, settings) for name in names)
    lives["pitch_mm"] = [float(settings.value("pitch_mm", strand=name)) for name in names]
    lives["fitted_on"] = texts(str(day) for day in days.astype("datetime64[D]"))
    lives["fitted_on_day"], lives["removed_on_day"] = days, np.nan
    lives["row_id"] = np.full(len(names), -1, dtype=np.int64)
    lives["steel"] = texts(["carbon"] * len(names))
    return _finished(lives.assign(registered=False), meters, settings, as_of_day)


def _machine_of(strand: str, meters: MeterBook, settings: Layered[MeasuringSettings]) -> str:
    stated = str(settings.value("machine", strand=strand))
    return stated or (strand if strand in meters.place else "")


def _finished(
    lives: pd.DataFrame, meters: MeterBook, settings: Layered[MeasuringSettings], as_of_day: int
) -> Register:
    order = np.lexsort((lives["fitted_on_day"].to_numpy(np.float64), lives["strand"].to_numpy(dtype="U")))
    lives = lives.iloc[order].reset_index(drop=True)
    strand, machine = lives["strand"].to_numpy(dtype=object), lives["machine"].to_numpy(dtype=object)
    fitted = lives["fitted_on_day"].to_numpy(np.float64).astype(np.int64)
    removed = lives["removed_on_day"].to_numpy(np.float64).copy()
    removed[removed > as_of_day] = np.nan
    followed = (
        np.append(strand[1:] == strand[:-1], False).astype(bool) if len(lives) else np.zeros(0, dtype=bool)
    )
    next_fitted = np.append(fitted[1:], 0).astype(np.float64)[: len(lives)]
    removed = np.where(followed, np.fmin(removed, next_fitted), removed)
    known = lives["set"].to_numpy(dtype=object)
    at_fitting, bridged = meters.hours_at(machine, fitted + _MIDDAY)
    last_read = meters.last_reading_day(machine)
    until = np.fmax(np.fmin(np.where(np.isnan(removed), as_of_day, removed), last_read), fitted)
    _, bridged_since = meters.hours_at(machine, until + _MIDDAY)
    extra = {
        "set": np.where(known == "", strand, known),
        "fitted_day": fitted,
        "removed_day": removed,
        "is_open": np.isnan(removed),
        "life_id": texts(f"{name}|{day}" for name, day in zip(strand, lives["fitted_on"], strict=True)),
        "hours_at_fitting": at_fitting,
        "bridged_at_fitting": bridged,
        "hours_bridged": (np.abs(bridged_since - bridged) > 0.0005) | (last_read < fitted),
        "tolerance_percent": _tolerance(lives, machine, strand, settings),
    }
    return Register(lives.assign(**extra))


def _tolerance(
    lives: pd.DataFrame,
    machine: NDArray[np.object_],
    strand: NDArray[np.object_],
    settings: Layered[MeasuringSettings],
) -> Array:
    """Width of the new-length tolerance: the register's, else the default of the construction."""
    construction = lives["construction"].to_numpy(dtype=object)
    default = np.select(
        [construction == "roller_drive", construction == "cast_h_mill"],
        [
            settings.column("tolerance_roller_percent", machine, strand),
            settings.column("tolerance_cast_percent", machine, strand),
        ],
        settings.column("tolerance_other_percent", machine, strand),
    )
    stated = lives["new_length_tolerance_percent"].to_numpy(np.float64)
    return np.where(np.isnan(stated), default, stated).astype(np.float64)
