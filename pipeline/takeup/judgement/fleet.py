"""The fleet's lives, closed and running, as the record of past forecasts wants them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.judgement import standing
from takeup.judgement.limits import limits
from takeup.judgement.rates import TWO_ENDS, history, start_rates
from takeup.judgement.rule import numbers, words
from takeup.judgement.takeup import takeup
from takeup.wear import calibration

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from takeup.judgement.settings import JudgementSettings
    from takeup.wear.calibration import FleetTable

    Floats = NDArray[np.float64]


#: columns of a life's latest usable survey that limits and rates ask for
_SURVEY = ("e_wear_mean", "e_wear_max", "e_geo_mean", "e_geo_max", "u_wear", "u_geo", "zero_shift")
#: what a record of past lives does without: a take-up is of the present
_NOT_KNOWN = ("takeup_used_mm", "takeup_day", "takeup_hours", "pitches_removed", "survey_day", "survey_hours")
_MACHINE = ("kind", "service", "wet", "corrosive")


def fleet_record(
    number: int,
    renewed_on: str,
    lives: pd.DataFrame,
    surveys: pd.DataFrame,
    machines: pd.DataFrame,
    settings: JudgementSettings,
) -> FleetTable:
    """Score the whole fleet's past forecasts anew.

    The limit of a life is the least that can ask for a chain, the take-up left out; the start rate that of
    its service.

    Parameters
    ----------
    number : int
        Number of the new table.
    renewed_on : str
        ISO date.
    lives, surveys, machines : DataFrame
        As derived, closed lives too.
    settings : JudgementSettings

    Returns
    -------
    FleetTable
    """
    strands = lives_frame(lives, surveys, machines)
    told = _limits_of(strands, surveys, settings)
    past = history(strands, surveys)
    whose = words(strands, "machine"), words(strands, "strand")
    middle, _ = start_rates(strands, settings)
    u = TWO_ENDS * numbers(strands, "u_geo")
    return calibration.fleet_table(
        number,
        renewed_on,
        past.hours,
        past.e,
        past.starts,
        told["level"],
        np.where(np.isnan(u), np.inf, u),
        words(strands, "service"),
        middle,
        told["bend"],
        settings.forecast.column("past_case_factor", *whose),
        after_hours=settings.forecast.column("run_in_hours", *whose),
        phase_ratio=float(settings.forecast.value("phase_ratio")),
        window=int(settings.forecast.value("slope_surveys")),
    )


def levels(
    lives: pd.DataFrame, surveys: pd.DataFrame, machines: pd.DataFrame, settings: JudgementSettings
) -> Floats:
    """The limit that each life is scored against, on the wear zero; NaN where none is known. (n,) float, %.

    Parameters
    ----------
    lives, surveys, machines : DataFrame
        As derived, closed lives too.
    settings : JudgementSettings
    """
    told: Floats = _limits_of(lives_frame(lives, surveys, machines), surveys, settings)["level"]
    return told


def _limits_of(strands: pd.DataFrame, surveys: pd.DataFrame, settings: JudgementSettings) -> dict[str, Any]:
    drawn = takeup(strands, surveys, settings)
    table = limits(strands, drawn, settings)
    return standing.columns(strands, table, standing.standing(strands, table, drawn), settings)


def lives_frame(lives: pd.DataFrame, surveys: pd.DataFrame, machines: pd.DataFrame) -> pd.DataFrame:
    """One row a life in the shape of the state frame, as far as limits and rates look at it."""
    lives = lives.reset_index(drop=True)
    by_name = machines.drop_duplicates("machine").set_index("machine")
    known = np.asarray(lives["machine"].isin(by_name.index))
    columns: dict[str, Any] = {}
    for name in _MACHINE:
        columns[name] = np.full(len(lives), "", dtype=object)
        columns[name][known] = by_name[name].reindex(lives["machine"][known]).to_numpy(dtype=object)
    teeth = lives[["teeth_drive", "teeth_tail"]].to_numpy(dtype=np.float64)
    columns["teeth_max"] = np.fmax(teeth[:, 0], teeth[:, 1])
    columns["pitches_now"] = lives["pitches"]
    columns["takeup_estimated"] = np.zeros(len(lives), dtype=bool)
    columns |= {name: np.full(len(lives), np.nan) for name in (*_SURVEY, *_NOT_KNOWN)}
    usable = surveys[surveys["usable"].to_numpy(dtype=bool)]
    at = pd.Index(lives["life_id"]).get_indexer(usable["life_id"])
    for name in _SURVEY:
        columns[name][at[at >= 0]] = numbers(usable, name)[at >= 0]  # by hours: the latest is written last
    grown: pd.DataFrame = lives.assign(**columns)
    return grown
