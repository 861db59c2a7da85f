"""What lapses of lubrication cost each strand so far, where its own surveys can tell."""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.judgement.rates import History
from takeup.judgement.rule import numbers, words
from takeup.judgement.settings import JudgementSettings
from takeup.wear.lapses import hours_beyond, lapse_rates

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

Columns = dict[str, Any]


def lapse_columns(
    strands: pd.DataFrame,
    past: History,
    bend: NDArray[np.float64],
    overdue_after: NDArray[np.float64],
    settings: JudgementSettings,
) -> Columns:
    """Rates within and beyond the plan, and the cost of the hours beyond.

    Surveys of the run-in and past the hardened case are left out: there the rate is another for a reason of
    its own.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    past : History
        The surveys that may make a rate.
    bend : (n,) float
        Where the hardened case is through; NaN without one. [%]
    overdue_after : (n,) float
        Run hours allowed after a lubrication, grace included; NaN where nothing is planned. [h]
    settings : JudgementSettings

    Returns
    -------
    dict
        ``lapse_hours``, ``lapse_cost``, ``lapse_cost_u`` (expanded), ``rate_within_plan``,
        ``rate_beyond_plan``; NaN where the cost is not more than twice its standard uncertainty.
    """
    machines, names = words(strands, "machine"), words(strands, "strand")
    run_in = settings.forecast.column("run_in_hours", machines, names).astype(np.float64)
    row = np.repeat(np.arange(len(strands)), np.diff(past.starts))
    before_case = np.isnan(bend[row]) | (past.e <= bend[row])
    its = np.flatnonzero((past.hours >= run_in[row]) & before_case)
    starts = _offsets(np.bincount(row[its], minlength=len(strands)))
    done = strands["lube_done_hours"].tolist()
    beyond = hours_beyond(
        past.hours[its],
        starts,
        np.fromiter(chain.from_iterable(done), dtype=np.float64),
        _offsets(np.array([len(each) for each in done], dtype=np.int64)),
        overdue_after,
    )
    u = numbers(strands, "u_geo")[row[its]]
    found = lapse_rates(past.hours[its], past.e[its], beyond, np.where(u > 0, u, np.nan), starts)
    with np.errstate(invalid="ignore"):
        told = found.cost > 2.0 * found.u_cost

    def where_told(values: NDArray[np.float64], decimals: int) -> NDArray[np.float64]:
        return np.where(told, np.round(values, decimals), np.nan)

    return {
        "lapse_hours": where_told(found.beyond_hours, 1),
        "lapse_cost": where_told(found.cost, 4),
        "lapse_cost_u": where_told(2.0 * found.u_cost, 4),
        "rate_within_plan": where_told(found.within, 4),
        "rate_beyond_plan": where_told(found.beyond, 4),
    }


def _offsets(lengths: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
