"""When the limit ahead comes: hours from the survey, dates from the reckoning day, the next survey."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from takeup.judgement import standing
from takeup.judgement.limits import ROW, Limits
from takeup.judgement.rates import TWO_ENDS, Rates
from takeup.judgement.rule import HOURS, numbers, rounded, words
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.standing import Standing
from takeup.wear import calibration, forecast
from takeup.wear.calibration import FleetTable

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Columns = dict[str, Any]


def ahead(
    strands: pd.DataFrame,
    table: Limits,
    stand: Standing,
    own: Rates,
    fleet: FleetTable,
    settings: JudgementSettings,
) -> Ints:
    """The limit each strand's forecast runs to, -1 for none: a place in ``limits.NAMES``.

    The limit that governs; but where that is an acceleration point reached, or reached within the
    uncertainty, the one beyond it that may be reached first, function or strength.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    table : Limits
    stand : Standing
    own : Rates
    fleet : FleetTable
    settings : JudgementSettings
    """
    least = standing.governs(strands, table, stand)
    limit, at = np.nonzero(table.ends & standing.behind(table, stand, least) & np.isfinite(stand.distance))
    level = standing.on_wear_zero(strands, table)[limit, at]
    distance, expanded = stand.distance[limit, at], stand.expanded[limit, at]
    hours = _hours(strands, at, distance, expanded, level, table.bend, own, fleet, settings)
    soonest = np.lexsort((limit, distance, np.nan_to_num(hours.early, nan=np.inf), at))
    which, first = np.unique(at[soonest], return_index=True)
    found = least.copy()
    found[which] = limit[soonest][first]
    return found


def bounds(
    strands: pd.DataFrame,
    stands: Columns,
    own: Rates,
    fleet: FleetTable,
    settings: JudgementSettings,
) -> Columns:
    """Run hours from the latest survey to the limit ahead, and what made their bounds.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    stands : dict
        From :func:`takeup.judgement.standing.columns`.
    own : Rates
    fleet : FleetTable
    settings : JudgementSettings
    """
    every = np.arange(len(strands))
    distance, expanded, level = (stands[f"ahead_{name}"] for name in ("distance", "expanded", "level"))
    kept = _hours(strands, every, distance, expanded, level, stands["bend"], own, fleet, settings)
    with np.errstate(invalid="ignore", divide="ignore"):
        early, late = kept.early / kept.middle, kept.late / kept.middle
        turns = (stands["bend"] < stands["ahead_level"]) | (own.rate > own.before)
        turns &= np.isnan(own.past_case) & ~np.isnan(own.before)

    def where_scored(values: NDArray[Any] | float) -> Floats:
        return np.where(kept.calibrated, values, np.nan)

    return {
        "hours_early": rounded(kept.early, HOURS),
        "hours_middle": rounded(kept.middle, HOURS),
        "hours_late": rounded(kept.late, HOURS),
        "bounds_basis": np.select(
            [kept.calibrated, own.own], np.array(["fleet", "shipped"], dtype=object), "default"
        ),
        "fleet_number": where_scored(float(fleet.number)),
        "fleet_forecasts": where_scored(kept.forecasts),
        "fleet_lives": where_scored(kept.lives),
        "fleet_lent": where_scored(kept.lent),
        "factor_low": where_scored(kept.low),
        "factor_high": where_scored(kept.high),
        "factor_early": where_scored(early),
        "factor_late": where_scored(late),
        "past_case_factor": np.where(
            turns, settings.forecast.column("past_case_factor", *_whose(strands)), np.nan
        ),
    }


def takeup_out(
    strands: pd.DataFrame,
    table: Limits,
    stand: Standing,
    own: Rates,
    fleet: FleetTable,
    settings: JudgementSettings,
) -> Columns:
    """Run hours from the latest survey to the end of the take-up's travel, shortened or not, and the days.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    table : Limits
    stand : Standing
    own : Rates
    fleet : FleetTable
    settings : JudgementSettings
    """
    row = ROW["takeup"]
    level = np.where(np.isfinite(table.percent[row]), table.percent[row], np.nan)
    every = np.arange(len(strands))
    distance, expanded = level - stand.e[row], stand.expanded[row]
    kept = _hours(strands, every, distance, expanded, level, table.bend, own, fleet, settings)
    hours = {
        "hours_early": rounded(kept.early, HOURS),
        "hours_middle": rounded(kept.middle, HOURS),
        "hours_late": rounded(kept.late, HOURS),
    }
    return {f"takeup_{name}": values for name, values in (hours | dates(strands, hours)).items()}


def dates(strands: pd.DataFrame, hours: Columns) -> Columns:
    """Day numbers of the bounds, as of each strand's reckoning day; never before the survey they start from.

    What lies ahead goes at the early pace for the early date; what lies behind went at the pace that was.
    """
    reckon, since = numbers(strands, "reckon_day"), _since_survey(strands)
    middle, survey = numbers(strands, "h_middle"), numbers(strands, "survey_day")
    found = {}
    for name, pace in (("early", numbers(strands, "h_early")), ("middle", middle), ("late", middle)):
        ahead = hours[f"hours_{name}"]
        with np.errstate(invalid="ignore"):
            per_day = np.where(ahead < since, middle, pace)
        day = forecast.projected_day(reckon, ahead, since, per_day)
        found[f"day_{name}"] = np.maximum(day, survey)
    return found


def next_survey(strands: pd.DataFrame, more: Columns, own: Rates, settings: JudgementSettings) -> Columns:
    """Life hours and day of the next survey, and the life hours from which a strand counts as silent.

    Without a survey the first one is due at the end of the run-in. Where joints are starved or seals are
    lost, half the interval.
    """
    machines, names = words(strands, "machine"), words(strands, "strand")

    def column(name: str) -> NDArray[Any]:
        return settings.surveying.column(name, machines, names)

    surveyed = numbers(strands, "survey_hours")
    interval = forecast.next_survey_hours(
        TWO_ENDS * numbers(strands, "u_geo"),
        own.rate,
        more["hours_early"],
        column("longest_hours"),
        column("shortest_hours"),
        column("early_part"),
    )
    with np.errstate(invalid="ignore"):
        starved = numbers(strands, "hours_now") >= more["lube_starved_hours"]
    sooner = np.maximum(column("hastened_part") * interval, column("shortest_hours"))
    hastened = (starved | more["seals_lost"]) & (sooner < interval)
    interval = np.where(hastened, sooner, interval)
    first = settings.forecast.column("run_in_hours", machines, names)
    # The rate starts at the end of the run-in, so a life measured only before is measured there.
    bedding = np.maximum(first - surveyed, column("shortest_hours"))
    interval = np.where(surveyed < first, np.minimum(interval, bedding), interval)
    no_survey = np.isnan(numbers(strands, "survey_day"))
    interval = rounded(np.where(no_survey, first, interval), HOURS)
    begun = np.where(no_survey, 0.0, surveyed)
    since, reckon = numbers(strands, "hours_reckoned") - begun, numbers(strands, "reckon_day")
    silence = column("silence_times") * interval
    return {
        "survey_interval_hours": interval,
        "starved": starved,
        "survey_hastened": hastened & ~no_survey,
        "next_survey_hours": begun + interval,
        "next_survey_day": forecast.projected_day(reckon, interval, since, numbers(strands, "h_middle")),
        "silence_hours": np.where(no_survey, np.nan, begun + silence),
        "silence_day": np.where(
            no_survey, np.nan, forecast.projected_day(reckon, silence, since, numbers(strands, "h_middle"))
        ),
    }


def _hours(
    strands: pd.DataFrame,
    at: Ints,
    distance: Floats,
    expanded: Floats,
    level: Floats,
    bend: Floats,
    own: Rates,
    fleet: FleetTable,
    settings: JudgementSettings,
) -> calibration.FleetBounds:
    """Early, middle and late hours to a level for each strand of ``at``, a strand as often as it has levels.

    Distance and level are on the wear zero: so that the limit, its distance and the bend of the case stand on
    one scale.
    """
    own, bend = Rates._make(values[at] for values in own), bend[at]
    factor = settings.forecast.column("past_case_factor", *_whose(strands))[at]
    e, u_level = level - distance, expanded / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        # The uncertainty is that of the rate in force; the forecast wants it for the rate before the case.
        u = np.where(np.isnan(own.past_case), own.u * own.before / own.rate, own.u)
    told = forecast.handbook_bounds(e, expanded, level, own.before, u, bend, factor, own.past_case)
    lent = forecast.hours_to_level(e + expanded, level, own.upper, bend, factor)
    told = told._replace(early=np.where(own.own, told.early, lent))
    u_tape = numbers(strands, "u_geo")[at]
    u_zero = np.sqrt(np.maximum(u_level**2 - u_tape**2, 0.0))
    return calibration.bounds(fleet, own.own, e, level, own.rate, TWO_ENDS * u_tape, u_zero, told)


def _whose(strands: pd.DataFrame) -> tuple[NDArray[Any], NDArray[Any]]:
    return words(strands, "machine"), words(strands, "strand")


def _since_survey(strands: pd.DataFrame) -> Floats:
    return numbers(strands, "hours_reckoned") - numbers(strands, "survey_hours")
