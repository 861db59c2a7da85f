"""Tape readings as arrays: the life and survey each belongs to, one reading a survey and mark."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from takeup.derive.lengths import lengths
from takeup.derive.lives import AFTER, BEFORE, EITHER, Register
from takeup.derive.meters import MeterBook
from takeup.derive.setaside import Aside, outside_lives
from takeup.derive.settings import MeasuringSettings
from takeup.layered import Layered
from takeup.wear.arguments import Array, Flags, Whole

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: occasions in the order of a day; a repeat takes the place of the reading it repeats
OCCASIONS = ("as_found", "routine", "as_left")
AS_FOUND, ROUTINE, AS_LEFT = range(3)
_REPEAT = "repeat"
#: place of each occasion when a repeat could belong to several: routine, then as found, then as left
_PRECEDENCE = (1, 0, 2)
_ENOUGH_DAYS = 2**22  # so that strand and day make one number


@dataclass(frozen=True)
class Occasions:
    """The surveys: one strand on one occasion, sorted by (life, day, occasion). All arrays are (m,).

    ``hours`` are life hours, NaN where not known, and ``bridged`` the bridged part of them [h]; readings of
    survey i are those from ``starts[i]`` to ``starts[i + 1]``.
    """

    life: Whole
    day: Whole
    occasion: Whole
    pos: Array
    hours: Array
    bridged: Array
    starts: Whole

    def __len__(self) -> int:
        return self.life.size


@dataclass(frozen=True)
class Readings:
    """Readings sorted by (life, day, occasion, mark), one a survey and mark. All arrays are (n,).

    Attributes
    ----------
    place : int
        Place in the rows they come from.
    row_id, life, survey, mark, day : int
        ``survey`` is a place in ``surveys``, ``mark`` a place in ``marks``.
    hours : float
        Life hours; of a life whose meter is silent, 24 h a day since fitting, the most there can be. [h]
    pitches, pitch_mm, raw_mm, length_mm : float
        Count, pitch, length as written and at 20 degC. NaN for a reading in per cent only. [-, mm, mm, mm]
    e_geo : float
        Over nominal. [%]
    u_length_mm, u_geo : float
        Uncertainty of the length alone [mm], and of e_geo with the doubt of an odd span [%].
    odd, outer, side_known : bool
        An odd span on alternate links; it starts on an outer link; the starting link is known.
    percent_only, confirmed : bool
        ``confirmed``: a repeat on the same day says the same.
    read : int
        Settings the reading was reckoned with, as bits of ``lengths.READ``.
    also : dict
        Place in these arrays to the readings that this one replaced, each as (place in the rows, row id).
    """

    place: Whole
    row_id: Whole
    life: Whole
    survey: Whole
    mark: Whole
    day: Whole
    hours: Array
    pitches: Array
    pitch_mm: Array
    raw_mm: Array
    length_mm: Array
    e_geo: Array
    u_length_mm: Array
    u_geo: Array
    odd: Flags
    outer: Flags
    side_known: Flags
    percent_only: Flags
    read: Whole
    confirmed: Flags
    also: dict[int, list[tuple[int, int]]]
    marks: NDArray[np.object_]
    surveys: Occasions

    def __len__(self) -> int:
        return self.row_id.size


def readings(
    rows: pd.DataFrame, register: Register, meters: MeterBook, settings: Layered[MeasuringSettings]
) -> tuple[Readings, list[Aside]]:
    """Readings in their lives and surveys, and those that belong to none.

    Parameters
    ----------
    rows : DataFrame
        Rows of the feed.

    Returns
    -------
    Readings
    asides : list of Aside
        Dated before a fitting or after a removal; places count in ``rows``.
    """
    day = rows["measured_at_day"].to_numpy(np.int64)
    mark, marks = pd.factorize(rows["mark"].to_numpy(dtype=object), sort=True)
    strand = rows["strand"].to_numpy(dtype=object)
    on_day = pd.factorize(strand)[0] * _ENOUGH_DAYS + day
    occasion, repeat = _occasions(rows, on_day, mark)
    life, early, late = register.life_of(strand, day, _when(occasion, on_day))
    asides = outside_lives(rows, "measured_at", early, late)

    pos, row_id = rows["measured_at_pos"].to_numpy(np.float64), rows["row_id"].to_numpy(np.int64)
    inside = np.flatnonzero(life >= 0)
    key = _rising(life, day, occasion) * max(len(marks), 1) + mark
    order = inside[np.lexsort((row_id[inside], pos[inside], repeat[inside], key[inside]))]
    chosen, also, confirmed = _last_of_each(rows, key, order, settings)

    survey_key = key[chosen] // max(len(marks), 1)
    first = np.flatnonzero(np.diff(survey_key, prepend=-1) != 0)
    starts = np.append(first, chosen.size).astype(np.int64)
    head = chosen[first]
    survey_pos = np.minimum.reduceat(pos[chosen], first) if first.size else pos[head]
    hours, bridged = life_hours(register, meters, life[head], survey_pos)
    surveys = Occasions(life[head], day[head], occasion[head], survey_pos, hours, bridged, starts)
    survey = np.repeat(np.arange(first.size), np.diff(starts))
    return Readings(
        place=chosen,
        row_id=row_id[chosen],
        life=life[chosen],
        survey=survey,
        mark=mark[chosen].astype(np.int64),
        day=day[chosen],
        hours=_clock_hours(register, surveys)[survey],
        confirmed=confirmed,
        also=also,
        marks=np.asarray(marks, dtype=object),
        surveys=surveys,
        **lengths(rows.iloc[chosen], life[chosen], register, settings),
    ), asides


def _rising(life: Whole, day: Whole, occasion: Whole) -> Whole:
    """One whole number that rises with life, day and occasion."""
    first = int(day.min(initial=0))
    return (life * (int(day.max(initial=0)) - first + 1) + day - first) * len(OCCASIONS) + occasion


def _when(occasion: Whole, on_day: Whole) -> Whole:
    """Before or after the work of a fitting day; a routine reading is from before it if as left follows."""
    left = np.isin(on_day, on_day[occasion == AS_LEFT])
    when = np.select([occasion == AS_LEFT, (occasion == AS_FOUND) | left], [AFTER, BEFORE], EITHER)
    return when.astype(np.int64)


def _occasions(rows: pd.DataFrame, on_day: Whole, mark: Whole) -> tuple[Whole, Flags]:
    """The occasion of each row, and whether it is a repeat.

    A repeat belongs to the occasion of the reading it repeats: at its own mark, else on its day; to the first
    of the day where there are several, so that it never becomes a new chain's zero by guess.
    """
    word = rows["occasion"].to_numpy(dtype=object)
    repeat = word == _REPEAT
    occasion = np.full(word.shape, ROUTINE, dtype=np.int64)
    occasion[word == "as_found"] = AS_FOUND
    occasion[word == "as_left"] = AS_LEFT
    if repeat.any():
        near = np.flatnonzero(np.isin(on_day, on_day[repeat]) & ~repeat)
        at_mark: dict[tuple[int, int], int] = {}
        for place in near.tolist():
            for key in ((int(on_day[place]), int(mark[place])), (int(on_day[place]), -1)):
                at_mark[key] = min(at_mark.get(key, AS_LEFT), _PRECEDENCE[int(occasion[place])])
        for place in np.flatnonzero(repeat).tolist():
            key = (int(on_day[place]), int(mark[place]))
            rank = at_mark.get(key, at_mark.get((key[0], -1), 0))
            occasion[place] = _PRECEDENCE.index(rank)
    return occasion, repeat


def _last_of_each(
    rows: pd.DataFrame, key: Whole, order: Whole, settings: Layered[MeasuringSettings]
) -> tuple[Whole, dict[int, list[tuple[int, int]]], Flags]:
    """One row a survey and mark, the last; what it replaced; and whether it says the same as that."""
    sorted_key = key[order]
    last = np.append(sorted_key[1:] != sorted_key[:-1], True) if order.size else np.zeros(0, dtype=bool)
    chosen = order[last]
    confirmed = np.zeros(chosen.size, dtype=bool)
    also: dict[int, list[tuple[int, int]]] = {}
    place_of = np.searchsorted(sorted_key[last], sorted_key)
    row_id = rows["row_id"].to_numpy()
    length, pitches = rows["length_mm"].to_numpy(np.float64), rows["pitches"].to_numpy(np.float64)
    within = float(settings.value("repeat_within_mm"))
    for spot in np.flatnonzero(~last).tolist():
        earlier, place = order[spot], int(place_of[spot])
        also.setdefault(place, []).append((int(earlier), int(row_id[earlier])))
        if (
            pitches[earlier] == pitches[chosen[place]]
            and abs(length[earlier] - length[chosen[place]]) <= within
        ):
            confirmed[place] = True
    return chosen, also, confirmed


def life_hours(register: Register, meters: MeterBook, life: Whole, pos: Array) -> tuple[Array, Array]:
    """Hours of a life at a moment, and the bridged part of them, to a thousandth.

    Parameters
    ----------
    life : (n,) int
    pos : (n,) float
        [d]

    Returns
    -------
    hours, bridged : (n,) float
        NaN where the meter is silent. [h]
    """
    lives = register.lives
    machine = lives["machine"].to_numpy(dtype=object)[life]
    hours, bridged = meters.hours_at(machine, pos)
    # A reading taken before midday of the fitting day lies before the hours at fitting: it is at nought.
    since = np.maximum(hours - lives["hours_at_fitting"].to_numpy(np.float64)[life], 0.0)
    return np.round(since, 3), np.round(
        np.abs(bridged - lives["bridged_at_fitting"].to_numpy(np.float64)[life]), 3
    )


def _clock_hours(register: Register, surveys: Occasions) -> Array:
    """Life hours of each survey; where one of a life is not known, 24 h a calendar day for all of it."""
    fitted = register.lives["fitted_day"].to_numpy(np.float64)
    silent = np.zeros(fitted.size, dtype=bool)
    silent[surveys.life[np.isnan(surveys.hours)]] = True
    days = np.maximum(surveys.pos - fitted[surveys.life] - 0.5, 0.0)
    return np.where(silent[surveys.life], 24.0 * days, surveys.hours)
