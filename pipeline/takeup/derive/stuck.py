"""Meters that stood still while a chain wore: the hours of such a survey are not for a rate."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.derive import setaside
from takeup.derive.meters import MeterBook
from takeup.derive.reasons import Note, Reason
from takeup.derive.setaside import Aside
from takeup.derive.settings import MeasuringSettings
from takeup.derive.trust import doubt

if TYPE_CHECKING:
    import pandas as pd


def stuck_meters(
    surveys: pd.DataFrame, meters: MeterBook, settings: MeasuringSettings
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Surveys with those on a stuck meter kept from the rate, and the meter rows in question.

    A machine may stand for weeks, and its meter then stands with it. The meter is wrong where, since the
    survey before, it showed far fewer hours than usual while the elongation rose beyond the uncertainty.

    Parameters
    ----------
    surveys : DataFrame
        All surveys, sorted by life and time.
    meters : MeterBook
    settings : MeasuringSettings

    Returns
    -------
    surveys, set_aside : DataFrame
    """
    good = np.flatnonzero(surveys["usable_for_rate"].to_numpy(dtype=bool))
    if good.size < 2:
        return surveys, _no_rows(meters)
    its = surveys.iloc[good]
    life, machine = its["life_id"].to_numpy(dtype=object), its["machine"].to_numpy(dtype=object)
    pos, e, u = (its[name].to_numpy(np.float64) for name in ("pos", "e_geo_mean", "u_geo"))
    pair = np.flatnonzero((life[1:] == life[:-1]) & meters.stuck_at(machine[1:], pos[1:]))
    before, here = pair, pair + 1
    usual = meters.mean_per_day(machine[here], pos[before], settings.utilisation_days, known_to=pos[before])
    gained = its["hours"].to_numpy(np.float64)[here] - its["hours"].to_numpy(np.float64)[before]
    rose = e[here] - e[before] > doubt(u[here], u[before])
    wrong = here[rose & (gained < settings.stuck_gain_part * usual * (pos[here] - pos[before]))]
    if not wrong.size:
        return surveys, _no_rows(meters)

    told = surveys.copy()
    told.loc[told.index[good[wrong]], "usable_for_rate"] = False
    told.loc[told.index[good[wrong]], "note"] = str(Note.METER_STUCK)
    rows = meters.row_at(machine[wrong], pos[wrong])
    place_of = {int(row): place for place, row in enumerate(meters.rows["row_id"])}
    asides = [
        Aside(
            place_of[int(row)],
            Reason.METER_STUCK,
            "meter_hours",
            f"{meters.rows['meter_hours'].iat[place_of[int(row)]]:.10g} h",
            f"more than before: {strand} wore on",
        )
        for row, strand in zip(rows, its["strand"].to_numpy(dtype=object)[wrong], strict=True)
        if int(row) in place_of
    ]
    return told, _frame(asides, meters)


def _no_rows(meters: MeterBook) -> pd.DataFrame:
    return _frame([], meters)


def _frame(asides: list[Aside], meters: MeterBook) -> pd.DataFrame:
    machine = meters.rows["machine"].to_numpy(dtype=object)
    nobody = np.full(machine.shape, "", dtype=object)
    day = np.floor(meters.rows["read_at_pos"].to_numpy(np.float64)).astype(np.int64)
    return setaside.frame(asides, meters.rows, "run_hours", day, nobody, machine)
