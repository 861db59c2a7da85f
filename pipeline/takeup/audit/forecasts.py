"""How the forecasts of a rehearsal came out: each made by what was known on its night, scored by what came.

A forecast is scored at its limit, or at the highest elongation that its chain was seen to reach where that is
three tenths of the way or more (as the plant's own record does): its hours and bounds are then those to that
level, in the proportion of the way.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.wear.calibration import STAGES, stage_of
from takeup.wear.forecast import hours_to_level
from takeup.wear.record import LEAST_SEEN

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray


class Made(NamedTuple):
    """One forecast as a night told it: hours from its survey, elongations on the wear zero."""

    life: str
    survey_hours: float
    e: float
    level: float
    early: float
    middle: float
    late: float
    rate: float
    bend: float
    kappa: float
    own: bool


class StageRecord(NamedTuple):
    """Forecasts at one stage of life; shares and the error are parts of one, None without forecasts."""

    own: bool
    stage: int
    forecasts: int
    lives: int
    within: float | None
    early_misses: float | None
    median_error: float | None


class Scored(NamedTuple):
    """One forecast beside what came, in hours from its survey."""

    made: Made
    stage: int
    true: float
    early: float
    middle: float
    late: float


def scored(made: Iterable[Made], surveys: pd.DataFrame) -> list[Scored]:
    """The forecasts that can be scored.

    Parameters
    ----------
    made : iterable of Made
    surveys : DataFrame
        As known at the end: ``life_id``, ``hours``, ``e_wear_mean``, ``usable_for_rate``, by life and time.
    """
    good = surveys["usable_for_rate"].to_numpy(dtype=bool) & np.isfinite(
        surveys["e_wear_mean"].to_numpy(float)
    )
    its = {
        str(life): (rows["hours"].to_numpy(float), rows["e_wear_mean"].to_numpy(float))
        for life, rows in surveys.loc[good].groupby("life_id", sort=False)
    }
    return [score for one in made if one.life in its for score in _scored(one, *its[one.life])]


def _scored(one: Made, hours: NDArray[np.float64], e: NDArray[np.float64]) -> list[Scored]:
    after = hours > one.survey_hours
    whole = one.level - one.e
    if not after.any() or not whole > 0 or not one.middle > 0 or not np.isfinite(one.middle):
        return []
    seen = float(e[after].max())
    level = min(one.level, seen)
    if level - one.e < LEAST_SEEN * whole:
        return []
    h, x = np.r_[one.survey_hours, hours[after]], np.r_[one.e, e[after]]
    at = int(np.flatnonzero(x >= level)[0])
    before, step = at - 1, x[at] - x[at - 1]
    true = h[before] + (h[at] - h[before]) * ((level - x[before]) / step if step > 0 else 1.0) - h[0]
    way = hours_to_level([one.e, one.e], [level, one.level], [one.rate] * 2, [one.bend] * 2, [one.kappa] * 2)
    share = float(way[0] / way[1]) if way[1] > 0 and np.isfinite(way[1]) else (level - one.e) / whole
    stage = int(stage_of([one.e / one.level])[0])
    return [Scored(one, stage, float(true), one.early * share, one.middle * share, one.late * share)]


def by_stage(told: Iterable[Scored]) -> list[StageRecord]:
    """Shares and errors by stage of life, of chains with a rate of their own and of the others."""
    scores = list(told)
    found = []
    for own in (True, False):
        for stage in range(len(STAGES) + 1):
            its = [one for one in scores if one.made.own is own and one.stage == stage]
            if its:
                found.append(_record(own, stage, its))
    return found


def _record(own: bool, stage: int, its: list[Scored]) -> StageRecord:
    true, early, middle, late = (
        np.array([getattr(one, name) for one in its]) for name in ("true", "early", "middle", "late")
    )
    late = np.where(np.isnan(late), np.inf, late)
    missed = true < early
    return StageRecord(
        own,
        stage,
        len(its),
        len({one.made.life for one in its}),
        float(np.mean(~missed & (true <= late))),
        float(np.mean(missed)),
        float(np.median(np.abs(true - middle) / np.maximum(true, 1.0))),
    )
