"""The facts frame: everything known of every open life as of one day, one row a strand.

Dates are reckoned from the *reckoning day*: the latest survey, or the Monday on or before the day told of
where that is later. Readings of the meter after it are left out, so that an order does not change with every
night.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from takeup.contracts import contract
from takeup.derive.derivation import EPOCH, Derived
from takeup.derive.gauged import GAUGED
from takeup.derive.meters import WINDOWS, MeterBook
from takeup.model import Feed
from takeup.wear import slack
from takeup.wear.arguments import Array

_MIDDAY = 0.5
_DUTY = ("corrosive", "hot", "wet", "dusty", "combustible_dust", "confined_space")
_SURVEY = (
    "e_wear_mean", "e_wear_max", "e_geo_mean", "e_geo_max", "spread", "u_wear", "u_geo", "n_marks",
)  # fmt: skip
_OF_THE_SOURCE = {"changed_at", "withdrawn"}

#: columns with the ids of the meter readings that hours and usual hours per day are reckoned between
METER_ROWS = (
    *(f"meter_{moment}_{side}" for moment in ("fitting", "survey", *WINDOWS) for side in ("before", "after")),
    "meter_reckoned_before",
)

Columns = dict[str, Any]


def reckoning_day(latest_survey_day: Array, as_of_day: int) -> Array:
    """The later of the latest survey and the Monday on or before the day told of; never after that day.

    Examples
    --------
    2026-03-05 was a Thursday; without a survey since, dates are reckoned from Monday the 2nd:

    >>> thursday = 20517
    >>> (reckoning_day(np.array([np.nan, 20000.0, thursday - 1.0]), thursday) - thursday).tolist()
    [-3.0, -3.0, -1.0]
    """
    monday = as_of_day - (as_of_day + 3) % 7  # 1970-01-01 was a Thursday
    return np.fmin(np.fmax(latest_survey_day, float(monday)), float(as_of_day))


def state(derived: Derived, as_of: date) -> pd.DataFrame:
    """The facts frame, one row an open life, sorted by strand.

    Parameters
    ----------
    derived : Derived
    as_of : date

    Returns
    -------
    DataFrame
        All columns of the register (``schemas/strands.json``) and those of the parts below.
    """
    day = (as_of - EPOCH).days
    lives = derived.lives.loc[derived.lives["is_open"].to_numpy(dtype=bool)].reset_index(drop=True)
    columns = _register(lives) | _machines(lives, derived.machines)
    columns |= _surveys(lives, derived.surveys)
    columns |= _set_aside(lives, derived)
    columns |= _hours(lives, columns, derived.meters, day)
    columns |= _takeup(lives, columns, derived.takeup, derived.meters)
    columns |= _lube(derived.lube)
    columns |= {name: derived.gauged[name] for name in derived.gauged.columns}
    columns |= _gauged_hours(lives, columns, derived.gauged, derived.meters)
    return pd.DataFrame(columns, index=lives.index)


def _register(lives: pd.DataFrame) -> Columns:
    names = [field.name for field in contract(Feed.STRANDS).fields if field.name not in _OF_THE_SOURCE]
    teeth = lives[["teeth_drive", "teeth_tail"]].to_numpy(np.float64)
    return {name: lives[name] for name in names} | {
        "life_id": lives["life_id"],
        "registered": lives["registered"],
        "strand_row": lives["row_id"],
        "fitted_day": lives["fitted_day"],
        "hours_at_fitting": lives["hours_at_fitting"].round(3),
        "hours_bridged": lives["hours_bridged"],
        "tolerance_percent": lives["tolerance_percent"],
        "teeth_max": np.fmax(teeth[:, 0], teeth[:, 1]),
        "teeth_min": np.fmin(teeth[:, 0], teeth[:, 1]),
    }


def _machines(lives: pd.DataFrame, machines: pd.DataFrame) -> Columns:
    row = pd.Index(machines["machine"]).get_indexer(lives["machine"])
    known = row >= 0

    def text(name: str) -> Any:
        found = np.full(len(lives), "", dtype=object)
        found[known] = machines[name].to_numpy(dtype=object)[row[known]]
        return found

    def number(name: str) -> Array:
        found = np.full(len(lives), np.nan)
        found[known] = machines[name].to_numpy(np.float64)[row[known]]
        return found

    machine_row = np.where(known, number("row_id"), -1).astype(np.int64)
    return (
        {"machine_name": text("name"), "machine_row": machine_row}
        | {name: text(name) for name in ("kind", "area", "service", *_DUTY)}
        | {name: number(name) for name in ("stop_cost_per_hour", "planned_hours_per_day")}
    )


def _surveys(lives: pd.DataFrame, surveys: pd.DataFrame) -> Columns:
    """The latest survey that may be used against limits, and what came after it."""
    life = pd.Index(lives["life_id"]).get_indexer(surveys["life_id"])
    usable = surveys["usable"].to_numpy(dtype=bool) & (life >= 0)
    last = np.full(len(lives), -1, dtype=np.int64)
    last[life[usable]] = np.flatnonzero(usable)  # sorted by time, so the last of a life is written last
    has = last >= 0
    any_last = np.full(len(lives), -1, dtype=np.int64)
    any_last[life[life >= 0]] = np.flatnonzero(life >= 0)

    def take(name: str, blank: Any, dtype: Any = object) -> Any:
        found = np.full(len(lives), blank, dtype=dtype)
        found[has] = surveys[name].to_numpy(dtype=dtype)[last[has]]
        return found

    any_day = np.full(len(lives), np.nan)
    any_day[any_last >= 0] = surveys["day"].to_numpy(np.float64)[any_last[any_last >= 0]]
    # Why the latest readings gave no new comparison with the limits; blank where they did.
    reason = np.full(len(lives), "never_measured", dtype=object)
    newest = any_last >= 0
    reason[newest] = surveys["note"].to_numpy(dtype=object)[any_last[newest]]
    reason[has & (last == any_last)] = ""
    half_tolerance = lives["tolerance_percent"].to_numpy(np.float64) / 2.0
    rows: list[list[int]] = [[] for _ in range(len(lives))]
    row_ids = surveys["row_ids"].tolist()
    for place in np.flatnonzero(has).tolist():
        rows[place] = [int(row) for row in row_ids[last[place]]]
    return {name: take(name, np.nan, np.float64) for name in _SURVEY} | {
        "survey_id": take("survey_id", ""),
        "survey_day": take("day", np.nan, np.float64),
        "survey_pos": take("pos", np.nan, np.float64),
        "survey_hours": take("hours", np.nan, np.float64),
        "max_mark": take("max_mark", ""),
        "baseline": take("baseline", ""),
        "survey_settings": take("reckoned_with", ""),
        "survey_note": take("note", ""),
        "zero_shift": np.where(has, take("zero_shift", np.nan, np.float64), half_tolerance),
        "n_surveys": np.bincount(life[usable], minlength=len(lives)),
        "last_any_day": any_day,
        "new_limits_reason": reason,
        "survey_rows": rows,
    }


def _set_aside(lives: pd.DataFrame, derived: Derived) -> Columns:
    """Tape readings of the present life that were set aside."""
    aside = derived.set_aside_rows
    aside = aside.loc[(aside["feed"] == "elongation_readings").to_numpy(dtype=bool)]
    life = pd.Index(lives["strand"]).get_indexer(aside["strand"])
    day = aside["day"].to_numpy(np.float64)
    its = (life >= 0) & (day >= lives["fitted_day"].to_numpy(np.float64)[life] if len(lives) else False)
    latest = np.full(len(lives), -np.inf)
    np.maximum.at(latest, life[its], day[its])
    return {
        "set_aside_count": np.bincount(life[its], minlength=len(lives)),
        "set_aside_latest_day": np.where(np.isinf(latest), np.nan, latest),
    }


def _hours(lives: pd.DataFrame, columns: Columns, meters: MeterBook, day: int) -> Columns:
    machine = lives["machine"].to_numpy(dtype=object)
    at_fitting = lives["hours_at_fitting"].to_numpy(np.float64)
    planned = np.asarray(columns["planned_hours_per_day"])
    reckon = reckoning_day(np.asarray(columns["survey_day"]), day)
    until = reckon + 1.0
    now, _ = meters.hours_at(machine, np.full(len(lives), day + _MIDDAY))
    then, _ = meters.hours_at(machine, reckon + _MIDDAY, known_to=until)
    means = {
        window: meters.mean_per_day(
            machine, reckon + _MIDDAY, meters.window_days(machine, window), known_to=until
        ).round(3)
        for window in WINDOWS
    }
    row = meters.row_at(machine, np.full(len(lives), day + 1.0))
    early = planned
    for mean in means.values():
        early = np.fmax(early, mean)
    return {
        "hours_now": np.round(np.maximum(now - at_fitting, 0.0), 3),
        "meter_day": meters.last_reading_day(machine),
        "meter_row": row,
        "reckon_day": reckon.astype(np.int64),
        "hours_reckoned": np.round(np.maximum(then - at_fitting, 0.0), 3),
        "h_middle": np.where(np.isnan(means["usual"]), planned, means["usual"]),
        "h_early": early,
        **_meter_rows(lives, columns, meters, reckon),
    } | {f"hours_per_day_{window}": mean for window, mean in means.items()}


def _meter_rows(lives: pd.DataFrame, columns: Columns, meters: MeterBook, reckon: Array) -> Columns:
    """The readings around the fitting, the survey and the beginning of each window, and the last of all."""
    machine = lives["machine"].to_numpy(dtype=object)
    moments: dict[str, Array] = {
        "fitting": lives["fitted_day"].to_numpy(np.float64) + _MIDDAY,
        "survey": np.asarray(columns["survey_pos"], dtype=np.float64),
        **{window: reckon + _MIDDAY - meters.window_days(machine, window) for window in WINDOWS},
    }
    found: Columns = {}
    for name, pos in moments.items():
        around = meters.rows_around(machine, pos, known_to=reckon + 1.0)
        found |= {f"meter_{name}_before": around[0], f"meter_{name}_after": around[1]}
    return found | {"meter_reckoned_before": meters.row_at(machine, reckon + _MIDDAY)}


def _takeup(lives: pd.DataFrame, columns: Columns, takeup: pd.DataFrame, meters: MeterBook) -> Columns:
    """The take-up reading, or what the survey says it should be, and the elongation that a reading tells."""
    fitted, pitch = lives["pitches"].to_numpy(np.float64), lives["pitch_mm"].to_numpy(np.float64)
    removed = takeup["pitches_removed"].to_numpy(np.float64)
    now = np.where(fitted - removed >= 4, fitted - removed, np.nan)
    read, start = takeup["used_mm"].to_numpy(np.float64), takeup["start_mm"].to_numpy(np.float64)
    guess = slack.estimated_travel(
        start, np.where(fitted >= 4, fitted, np.nan), pitch, np.asarray(columns["e_wear_mean"])
    )
    estimated = np.isnan(read) & (removed == 0) & ~np.isnan(guess)
    used = np.where(estimated, np.maximum(guess, 0.0), read)
    hours, _ = meters.hours_at(
        lives["machine"].to_numpy(dtype=object),
        takeup["day"].to_numpy(np.float64) + _MIDDAY,
        known_to=np.asarray(columns["reckon_day"]) + 1.0,
    )
    return {
        "pitches_now": now,
        "pitches_removed": removed,
        "takeup_used_mm": np.round(used, 3),
        "takeup_estimated": estimated,
        "takeup_day": takeup["day"],
        "takeup_hours": np.round(np.maximum(hours - lives["hours_at_fitting"].to_numpy(np.float64), 0.0), 3),
        "takeup_rem_mm": np.round(lives["takeup_travel_mm"].to_numpy(np.float64) - used, 3),
        "e_takeup": np.round(slack.takeup_elongation(read, start, removed, now, pitch), 6),
        "takeup_row": takeup["row_id"],
    }


def _gauged_hours(lives: pd.DataFrame, columns: Columns, gauged: pd.DataFrame, meters: MeterBook) -> Columns:
    """Hours of the life at which each thing was gauged last."""
    machine = lives["machine"].to_numpy(dtype=object)
    at_fitting = lives["hours_at_fitting"].to_numpy(np.float64)
    until = np.asarray(columns["reckon_day"]) + 1.0
    found: Columns = {}
    for name in GAUGED:
        pos = gauged[f"{name}_day"].to_numpy(np.float64) + _MIDDAY
        hours, _ = meters.hours_at(machine, pos, known_to=until)
        found[f"{name}_hours"] = np.round(np.maximum(hours - at_fitting, 0.0), 3)
    return found


def _lube(lube: pd.DataFrame) -> Columns:
    return {
        "lube_last_day": lube["last_day"],
        "lube_last_hours": lube["last_hours"],
        "lube_quantity_ml_last": lube["quantity_sum_ml"],
        "dry_greased": np.array([len(rows) > 0 for rows in lube["dry_records"]], dtype=bool),
        "lube_row": lube["last_row_id"],
        "lube_blank_quantity_run": lube["blank_quantity_run"],
        "lube_done_hours": lube["done_hours"],
        "lube_newest_day": lube["newest_day"],
        "lube_given_ml": lube["given_ml"],
        "lube_given_some_blank": lube["given_some_blank"],
        "lube_given_rows": lube["given_rows"],
    }
