"""The state frame grows its limits, rate, dates and next survey: one row an open life, one vector pass.

Dates are reckoned as of each strand's reckoning day, so that an order is not amended by a day every night;
what is still ahead (planned stops, buy-by) is told as of the true day.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.derive.lubesettings import lube_interval
from takeup.judgement import coming, standing
from takeup.judgement.edges import edges
from takeup.judgement.lapses import lapse_columns
from takeup.judgement.limits import Limits, limits
from takeup.judgement.planning import planning
from takeup.judgement.rates import (
    History,
    Rates,
    Since,
    change,
    history,
    rates,
    seen_on,
    since_case,
    wearing_service,
)
from takeup.judgement.rule import RATE, ClosedRows, Days, Situation, numbers, rounded, words, yes
from takeup.judgement.seen import seals_lost
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.takeup import Takeup, takeup
from takeup.wear.calibration import FleetTable
from takeup.wear.lubrication import lube_turns
from takeup.wear.trend import Phase

if TYPE_CHECKING:
    from numpy.typing import NDArray

Columns = dict[str, Any]


def prognosis(
    state: pd.DataFrame,
    surveys: pd.DataFrame,
    shutdowns: pd.DataFrame,
    findings: pd.DataFrame,
    closed: ClosedRows,
    fleet: FleetTable,
    settings: JudgementSettings,
    as_of: Days,
) -> pd.DataFrame:
    """What is to come for every open life.

    Parameters
    ----------
    state : DataFrame
        One row an open life, see ``takeup.derive.state``.
    surveys, shutdowns, findings : DataFrame
        As derived.
    closed : mapping
        (job, row id) to the day number of the last close-out as done of an order that named the row.
    fleet : FleetTable
        The record of past forecasts in force.
    settings : JudgementSettings
    as_of : int or (n,) int
        Day number; one a strand where nights are judged together.

    Returns
    -------
    DataFrame
        The state with, among others, ``limit_<name>`` (on the wear zero), ``governing``, ``level``,
        ``ahead_limit``, ``rate``, ``rate_source``, ``hours_early``/``_middle``/``_late``,
        ``day_early``/``_middle``/``_late``, ``need_by_day``, ``buy_by_day``, ``shutdown``,
        ``next_survey_hours``, ``next_survey_day``.
    """
    strands = state.reset_index(drop=True)
    drawn = takeup(strands, surveys, settings)
    table = limits(strands, drawn, settings)
    stand = standing.standing(strands, table, drawn)
    past = history(strands, surveys)
    own = rates(strands, past, table.bend, fleet, settings)
    ahead = coming.ahead(strands, table, stand, own, fleet, settings)
    more = standing.columns(strands, table, stand, settings, ahead)
    more |= _takeup_columns(strands, drawn, settings) | edges(strands, settings)
    more |= {
        "doubt": standing.in_doubt(table, stand),
        "doubt_before": _doubt_before(strands, surveys, table, drawn),
    }
    machines, names = words(strands, "machine"), words(strands, "strand")
    more["run_in_hours"] = settings.forecast.column("run_in_hours", machines, names)
    more |= (
        _rate_columns(own)
        | _since_columns(since_case(strands, past, table.bend), own)
        | {"wearing_service": wearing_service(strands, settings)}
    )
    more |= _change_columns(change(strands, past, settings), past)
    more |= coming.bounds(strands, more, own, fleet, settings)
    more |= coming.dates(strands, more)
    more |= coming.takeup_out(strands, table, stand, own, fleet, settings)
    more |= planning(strands, more, shutdowns, settings, as_of)
    more |= _lube_columns(strands, settings)
    allowed = more["lube_overdue_hours"] - more["lube_begun_hours"]
    more |= lapse_columns(strands, past, table.bend, allowed, settings)
    more["seals_lost"] = seals_lost(Situation(strands, as_of, closed=closed, findings=findings))
    more |= coming.next_survey(strands, more, own, settings)
    return pd.concat([strands, pd.DataFrame(more, index=strands.index)], axis=1)


def _takeup_columns(strands: pd.DataFrame, drawn: Takeup, settings: JudgementSettings) -> Columns:
    machines, names = words(strands, "machine"), words(strands, "strand")
    part = settings.limits.column("takeup_left_part", machines, names)
    return {
        "takeup_used": drawn.used_mm,
        "takeup_left": drawn.left_mm,
        "takeup_trigger_mm": part * numbers(strands, "takeup_travel_mm"),
        "takeup_is_estimated": drawn.estimated,
        "takeup_is_carried": drawn.carried,
        "takeup_e_then": drawn.e_then,
        "takeup_none": drawn.fixed,
        "takeup_final": drawn.final,
        "shortening": drawn.answer,
        "step_pitches": drawn.step_pitches,
        "returns_mm": drawn.returns_mm,
        "held_by": drawn.held_by,
        "left_after_mm": drawn.left_after_mm,
        "pitches_after": drawn.pitches_after,
        "takeup_limit_after": drawn.limit_after_percent,
    }


def _doubt_before(
    strands: pd.DataFrame, surveys: pd.DataFrame, table: Limits, drawn: Takeup
) -> NDArray[np.bool_]:
    """Whether the survey before the latest left a limit in doubt too."""
    names = ["e_wear_mean", "e_wear_max", "u_wear", "e_geo_mean", "e_geo_max", "u_geo"]
    before = pd.DataFrame(np.nan, index=strands.index, columns=names)
    if len(surveys):
        row = pd.Index(strands["life_id"]).get_indexer(surveys["life_id"])
        newest = numbers(strands, "survey_hours")[row]
        with np.errstate(invalid="ignore"):
            earlier = (row >= 0) & yes(surveys, "usable") & (numbers(surveys, "hours") < newest)
        at = np.flatnonzero(earlier)
        # Surveys stand by life and hours: the last writer is the one before the latest.
        last = pd.Series(at, index=row[at]).groupby(level=0).last()
        before.loc[last.index, names] = surveys.iloc[last.to_numpy()][names].to_numpy(dtype=np.float64)
    return standing.in_doubt(table, standing.standing(before, table, drawn))


def _rate_columns(own: Rates) -> Columns:
    return {
        "rate": own.rate,
        "rate_to_bend": own.before,
        "rate_source": own.source,
        "rate_surveys": own.n_used,
        "u_rate": own.u,
        "own_rate": own.own,
        "rate_from_hours": own.from_hours,
        "rate_to_hours": own.to_hours,
        "rate_phase_hours": own.phase_hours,
    }


def _since_columns(since: Since, own: Rates) -> Columns:
    """What the surveys past the case measured, where the rate in force is that of before times a factor."""
    told = (own.source == "own_times_factor") & np.isfinite(since.rate) & np.isfinite(since.expanded)
    rate, expanded = rounded(since.rate, RATE), rounded(since.expanded, RATE)
    used = rounded(own.rate, RATE)
    agrees = np.select([rate + expanded < used, rate - expanded > used], ["slower", "faster"], "agrees")
    return {
        "since_case_surveys": np.where(told, since.surveys, 0),
        "since_case_rate": np.where(told, rate, np.nan),
        "since_case_expanded": np.where(told, expanded, np.nan),
        "since_case_from_hours": np.where(told, since.from_hours, np.nan),
        "since_case_agrees": np.where(told, agrees, "").astype(object),
    }


def _change_columns(phase: Phase, past: History) -> Columns:
    return {
        "change_found": phase.found,
        "change_hours": phase.break_hours,
        "change_seen_day": seen_on(phase, past),
        "rate_before": phase.rate_before,
        "rate_after": phase.rate_after,
    }


def _lube_columns(strands: pd.DataFrame, settings: JudgementSettings) -> Columns:
    machines, names = words(strands, "machine"), words(strands, "strand")

    def column(name: str) -> NDArray[Any]:
        return settings.lubrication.column(name, machines, names)

    interval, is_default = lube_interval(strands, settings.lubrication)
    begun = np.nan_to_num(numbers(strands, "lube_last_hours"))
    turns = lube_turns(
        begun,
        interval,
        grace_share=column("grace_part"),
        starved_intervals=column("starved_times"),
    )
    return {
        "lube_interval": interval,
        "lube_interval_is_default": is_default,
        "lube_begun_hours": begun,
        "lube_due_hours": turns.due,
        "lube_overdue_hours": turns.overdue,
        "lube_starved_hours": turns.starved,
    }
