"""Hours to a wear limit, their bounds, and the days by which to buy and to have the work done.

Hours count from the newest survey. Days are numbers since 1970-01-01 (whole) and positions (day plus the
fraction of the local day). Nothing here knows a clock.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from takeup.errors import WearInputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Rate factor once the hardened case is worn through. Common practice, no source; range 2 to 10.
KAPPA = 3.0
#: Coverage factor of an expanded uncertainty. Source: NIST/SEMATECH e-Handbook, section 2.5.7.
COVERAGE = 2.0
#: Longest and shortest survey interval. Common practice, no source; proposed, no source. [h]
LONGEST_INTERVAL_HOURS = 1500.0
SHORTEST_INTERVAL_HOURS = 100.0
#: Part of the early hours left after which to measure again. Proposed for this project, no source.
FRACTION_OF_EARLY_HOURS = 0.25


class Bounds(NamedTuple):
    """Hours from the newest survey to a level; ``late`` is inf where it stays open, NaN where not known."""

    early: Floats
    middle: Floats
    late: Floats


class NeedBy(NamedTuple):
    """``day`` the job must be done, NaN where not known; ``shutdown`` the row chosen, -1 for none."""

    day: Floats
    shutdown: Ints


def _time(distance: Floats, rate: Floats) -> Floats:
    """1000 distance / rate; nothing below 0, never where the rate does not rise."""
    with np.errstate(invalid="ignore", divide="ignore"):
        hours = np.where(rate > 0, 1000 * distance / rate, np.inf)
        hours = np.where(distance <= 0, 0.0, hours)
    return np.where(np.isnan(distance) | np.isnan(rate), np.nan, hours)


def hours_to_level(
    e_percent: ArrayLike,
    level_percent: ArrayLike,
    rate: ArrayLike,
    e_case_percent: ArrayLike = np.nan,
    kappa: ArrayLike = KAPPA,
    rate_past_case: ArrayLike = np.nan,
) -> Floats:
    """Run hours until the elongation reaches a level, through the hardened case if that is on the way.

    h = 1000 [(e_case - e)/r + (level - e_case)/(kappa r)]; past the case only the second term, from e.
    Source: derived here; kappa common practice, no source.

    Parameters
    ----------
    e_percent : (n,) float
        Elongation at the newest survey, zero of the level. [%]
    level_percent : (n,) float
        [%]
    rate : (n,) float
        Wear rate before the case is through. [% per 1000 h]
    e_case_percent : (n,) float
        Where the case is through; NaN for no case. [%]
    kappa : (n,) float
        1 or more. [1]
    rate_past_case : (n,) float
        Rate fitted to surveys past the case; NaN to use ``kappa * rate``. [% per 1000 h]

    Returns
    -------
    (n,) float
        0 at or past the level, inf where the rate is not above 0, NaN where an input is not known. [h]

    Raises
    ------
    WearInputError
        If a kappa is below 1.

    Examples
    --------
    A straight line, then the same through a case at 1.969 %:

    >>> hours_to_level([1.552, 1.552], [2.536, 2.536], [0.2656, 0.2656], [np.nan, 1.969]).round(0).tolist()
    [3705.0, 2282.0]
    """
    k = np.asarray(kappa, dtype=np.float64)
    if (k < 1).any():
        raise WearInputError(f"kappa must be 1 or more, found {float(k.min())}")
    e, level, r, case, after = (
        np.asarray(value, dtype=np.float64)
        for value in np.broadcast_arrays(e_percent, level_percent, rate, e_case_percent, rate_past_case)
    )
    turn = np.where(np.isnan(case), level, np.clip(case, np.minimum(e, level), level))
    slow, fast = turn - e, level - np.maximum(turn, e)
    after = np.where(np.isnan(after), k * r, after)
    # A term of no length asks nothing of its rate: a life past its case may have no rate before it.
    first = np.where(slow <= 0, 0.0, _time(slow, r))
    second = np.where(fast <= 0, 0.0, _time(fast, after))
    return np.where(np.isnan(e) | np.isnan(level), np.nan, first + second)


def handbook_bounds(
    e_percent: ArrayLike,
    expanded_percent: ArrayLike,
    level_percent: ArrayLike,
    rate: ArrayLike,
    u_rate: ArrayLike,
    e_case_percent: ArrayLike = np.nan,
    kappa: ArrayLike = KAPPA,
    rate_past_case: ArrayLike = np.nan,
) -> Bounds:
    """Early, middle and late hours from the uncertainties of the last survey and of the rate alone.

    Early takes e + U and r + 2 u(r), late e - U and r - 2 u(r), open when that is not above 0. Too narrow
    where the rate wanders: see :mod:`takeup.wear.calibration`. Source: derived here.

    Parameters
    ----------
    e_percent, level_percent, rate, e_case_percent, kappa, rate_past_case
        As in :func:`hours_to_level`.
    expanded_percent : (n,) float
        Expanded uncertainty U of the last elongation. [%]
    u_rate : (n,) float
        Standard uncertainty of the rate. [% per 1000 h]

    Returns
    -------
    Bounds
        (n,) each. [h]

    Raises
    ------
    WearInputError
        If a kappa is below 1.

    Examples
    --------
    >>> b = handbook_bounds(1.552, 0.112, 1.969, 0.2656, 0.0175)
    >>> [float(hours.round(-1)) for hours in b]
    [1010.0, 1570.0, 2290.0]
    """
    e, r = np.asarray(e_percent, dtype=np.float64), np.asarray(rate, dtype=np.float64)
    past, spread = (
        np.asarray(rate_past_case, dtype=np.float64),
        COVERAGE * np.asarray(u_rate, dtype=np.float64),
    )
    early, middle, late = (
        hours_to_level(
            e + sign * np.asarray(expanded_percent, dtype=np.float64),
            level_percent,
            r + sign * spread,
            e_case_percent,
            kappa,
            past + sign * spread,
        )
        for sign in (1, 0, -1)
    )
    return Bounds(early, middle, late)


def doubt_hours(u_rate_percent: ArrayLike, rate: ArrayLike) -> Floats:
    """Hours in which a chain wears by the expanded uncertainty of one survey, the common zero left out.

    Source: proposed for this project, no source.

    Parameters
    ----------
    u_rate_percent : (n,) float
        Standard uncertainty of one elongation, the common zero cancelling. [%]
    rate : (n,) float
        Rate in force at the survey. [% per 1000 h]

    Returns
    -------
    (n,) float
        inf where the rate is not above 0. [h]

    Examples
    --------
    >>> doubt_hours(0.04, 0.4).round(6).tolist()
    200.0
    """
    u, r = np.broadcast_arrays(
        np.asarray(u_rate_percent, dtype=np.float64), np.asarray(rate, dtype=np.float64)
    )
    return _time(COVERAGE * u, r)


def projected_day(
    reckon_day: ArrayLike, hours_to_limit: ArrayLike, hours_since_survey: ArrayLike, hours_per_day: ArrayLike
) -> Floats:
    """The day on which the hours will have run: reckoning day + (h - hours since) / H, rounded down.

    Parameters
    ----------
    reckon_day : (n,) float or int
        Day number from which is counted, on which the meter stood at the survey's hours plus ``hours_since``.
    hours_to_limit, hours_since_survey : (n,) float
        [h]
    hours_per_day : (n,) float
        Utilisation: the mean of 90 days for the middle, the highest window for the early bound. [h/d]

    Returns
    -------
    (n,) float
        Whole day numbers; inf where the hours are open or the machine does not run, NaN where not known.
        A level already passed gives a day in the past.

    Examples
    --------
    >>> projected_day(20514, 1569.0, 0.0, 16.8).tolist()
    20607.0
    """
    h = np.asarray(hours_to_limit, dtype=np.float64) - np.asarray(hours_since_survey, dtype=np.float64)
    per_day = np.asarray(hours_per_day, dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        days = np.where(per_day > 0, h / per_day, np.where(h <= 0, 0.0, np.inf))
    days = np.where(np.isnan(h) | np.isnan(per_day), np.nan, days)
    # A hair under a whole day from rounding is that day.
    return np.asarray(reckon_day, dtype=np.float64) + np.floor(days + 1e-9)


def need_by(
    early_day: ArrayLike,
    as_of_day: ArrayLike,
    job_hours: ArrayLike,
    lead_days: ArrayLike,
    margin_days: ArrayLike,
    shutdown_from: ArrayLike,
    shutdown_to: ArrayLike,
    starts: ArrayLike,
) -> NeedBy:
    """The last planned shutdown that takes the job and ends before the early limit date, else that date.

    A shutdown nearer than the lead time counts only if the early date is nearer than lead time plus margin
    too: else a stop next month would panic an order for a chain with a year left. Source: common practice,
    no source; the exception proposed for this project.

    Parameters
    ----------
    early_day : (n,) float
        Early limit date, a day number; NaN not known, inf open.
    as_of_day : float or (n,) float
    job_hours, lead_days, margin_days : float or (n,) float
        [h], [d], [d]
    shutdown_from, shutdown_to : (k,) float
        Positions of the planned stops, those of strand 0 first.
    starts : (n + 1,) int
        Where the stops of each strand begin.

    Returns
    -------
    NeedBy
        (n,) each; a shutdown's day is the day it starts, its row counts from 0 in the arrays given.

    Raises
    ------
    WearInputError
        If ``starts`` does not fit or a shutdown ends before it starts.

    Examples
    --------
    >>> need_by([300.0], 0, 12.0, 112, 14, [40.0, 200.0, 290.0], [42.0, 203.0, 290.25], [0, 3])
    NeedBy(day=array([200.]), shutdown=array([1]))
    """
    early = np.atleast_1d(np.asarray(early_day, dtype=np.float64))
    begin = np.asarray(shutdown_from, dtype=np.float64)
    end = np.asarray(shutdown_to, dtype=np.float64)
    s = np.asarray(starts, dtype=np.int64)
    if s.size != early.size + 1 or s[0] != 0 or s[-1] != begin.size or (np.diff(s) < 0).any():
        raise WearInputError(f"starts must rise from 0 to the {begin.size} shutdowns, one more than strands")
    if (end < begin).any():
        raise WearInputError(f"shutdown {int(np.argmax(end < begin))} ends before it starts")
    day, job, lead, margin = (
        np.broadcast_to(np.asarray(value, dtype=np.float64), early.shape)
        for value in (as_of_day, job_hours, lead_days, margin_days)
    )
    owner = np.repeat(np.arange(early.size), np.diff(s))
    today = day[owner]
    in_time = begin - today >= lead[owner]
    pressed = early[owner] - today < lead[owner] + margin[owner]
    fits = (
        (begin >= today)
        & (24 * (end - begin) >= job[owner] - 1e-6)
        & (end <= early[owner])
        & (in_time | pressed)
    )
    chosen = np.full(early.size, -1, dtype=np.int64)
    rows = np.flatnonzero(fits)
    rows = rows[np.lexsort((rows, begin[rows]))]
    chosen[owner[rows]] = rows  # the last writer, the latest start, stays
    needed = early.copy()
    needed[chosen >= 0] = np.floor(begin[chosen[chosen >= 0]])
    return NeedBy(needed, chosen)


def buy_by(
    need_by_day: ArrayLike, early_day: ArrayLike, lead_days: ArrayLike, margin_days: ArrayLike
) -> Floats:
    """The day by which to order: the earlier of need-by and early date, less lead time and margin.

    May lie in the past, which means: order today, expedite, and tell the planner the exposure.
    Source: common practice, no source.

    Parameters
    ----------
    need_by_day, early_day : (n,) float
        Day numbers.
    lead_days, margin_days : float or (n,) float
        [d]

    Returns
    -------
    (n,) float
        Day number; inf where open, NaN where not known.

    Examples
    --------
    >>> float(buy_by(20563.0, 20563.0, 70, 14))
    20479.0
    """
    need, early, lead, margin = (
        np.asarray(value, dtype=np.float64) for value in (need_by_day, early_day, lead_days, margin_days)
    )
    return np.asarray(np.minimum(need, early) - lead - margin)


def next_survey_hours(
    u_wear_percent: ArrayLike,
    rate: ArrayLike,
    early_hours: ArrayLike,
    longest_hours: ArrayLike = LONGEST_INTERVAL_HOURS,
    shortest_hours: ArrayLike = SHORTEST_INTERVAL_HOURS,
    fraction: ArrayLike = FRACTION_OF_EARLY_HOURS,
) -> Floats:
    """Hours after the last survey at which to measure again.

    When e should have grown by 2 sqrt(2) u(e), but not later than a quarter of the early hours left, nor the
    longest interval, nor sooner than the shortest. Source: derived here; the fraction proposed.

    Parameters
    ----------
    u_wear_percent : (n,) float
        Standard uncertainty of e. [%]
    rate : (n,) float
        NaN or not above 0: this term sets no time. [% per 1000 h]
    early_hours : (n,) float
        NaN: this term sets no time. [h]
    longest_hours, shortest_hours, fraction : float or (n,) float
        [h], [h], [1]

    Returns
    -------
    (n,) float
        [h]

    Examples
    --------
    >>> next_survey_hours(0.0562, 0.2656, [1e9, 1012.0, 120.0]).round(0).tolist()
    [598.0, 253.0, 100.0]
    """
    r = np.asarray(rate, dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        grown = np.where(
            r > 0, 1000 * 2 * np.sqrt(2) * np.asarray(u_wear_percent, dtype=np.float64) / r, np.inf
        )
        part = np.asarray(fraction, dtype=np.float64) * np.asarray(early_hours, dtype=np.float64)
    sooner = np.fmin(np.fmin(grown, part), longest_hours)
    return np.asarray(np.maximum(sooner, shortest_hours), dtype=np.float64)
