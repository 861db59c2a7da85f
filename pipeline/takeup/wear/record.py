"""What was forecast at each survey with what was known then, and what became of it.

A past forecast is scored against levels its life actually reached, so that a chain changed before its limit
still teaches. The score is a ratio of hours; see :func:`past_ratios`. A last survey as found, when the chain
is changed, teaches the most: what is worn after the last survey is on no record, and it is the fastest.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.wear.forecast import COVERAGE, KAPPA, doubt_hours, hours_to_level
from takeup.wear.trend import (
    LEAST_GROWTH_IN_U,
    PHASE_RATIO,
    RUN_IN_HOURS,
    WINDOW,
    Floats,
    Ints,
    RecentRate,
    first_after,
    has_own_rate,
    least_squares_rate,
    life_of,
    phase_history,
    ragged,
    recent_rate,
)

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: A rate's u(e) counts the tape at both ends of a difference; a single survey has this much less. [1]
TWO_ENDS = math.sqrt(2.0)
#: Variance of a level read between two surveys over that of one survey: the mean of w^2 + (1 - w)^2 for w
#: anywhere from 0 to 1. Source: derived here.
READ_BETWEEN = 2 / 3
#: Part of the way to its limit that a life must be seen to go before a forecast is scored. Proposed for this
#: project, no source.
LEAST_SEEN = 0.3


class KnownRates(NamedTuple):
    """The rate of a life as it was known at each survey, from that survey and those before it, (n,) each.

    ``before`` holds until the case is through, ``past_case`` after it and only once fitted there; NaN where a
    life has no such rate of its own. ``own`` says whether they carry a forecast, ``rate`` is the one in force
    at the survey, ``u_rate`` its standard uncertainty by least squares over the same surveys, ``n_used``
    their number and ``first`` the index of the earliest; ``phase`` is the index from which on surveys may
    enter that rate, past the run-in, a change of phase or the case.
    """

    before: Floats
    past_case: Floats
    rate: Floats
    u_rate: Floats
    own: NDArray[np.bool_]
    n_used: Ints
    first: Ints
    phase: Ints


class Ratios(NamedTuple):
    """Scores of past forecasts, (k,) each; see :func:`past_ratios`."""

    life: Ints
    survey: Ints
    stage: Floats
    own: NDArray[np.bool_]
    seen: Floats
    log_ratio: Floats
    forecast_part: Floats
    u_log: Floats


def known_rates(
    hours: ArrayLike,
    e_percent: ArrayLike,
    starts: ArrayLike,
    u_rate_percent: ArrayLike,
    e_case_percent: ArrayLike = np.nan,
    kappa: ArrayLike = KAPPA,
    *,
    after_hours: ArrayLike = RUN_IN_HOURS,
    phase_ratio: float = PHASE_RATIO,
    window: int = WINDOW,
    at: Ints | None = None,
) -> KnownRates:
    """The rate in force at every survey, from nothing known later; a life's last survey has the present one.

    A rate of one's own needs three surveys of the phase, or the two that open a new phase found beyond doubt.
    It takes the newest ``window`` surveys, and as many more as it takes to see the growth that it needs.
    Past the case it is ``kappa`` times the rate before, until three surveys past the case give their own.

    Parameters
    ----------
    hours, e_percent : (n,) float
        Life hours and elongation from the wear zero, usable surveys only. [h], [%]
    starts : (m + 1,) int
        Where each life begins, and at the end the number of surveys.
    u_rate_percent : float or (m,) float
        Standard uncertainty of one elongation, the common zero cancelling. [%]
    e_case_percent, kappa : float or (m,) float
        Elongation at which the case is through, NaN for none, and the rate factor past it. [%], [1]
    after_hours : float or (m,) float
        Run-in. [h]
    phase_ratio : float
        See :func:`takeup.wear.trend.phase_break`, which is asked with the u of one end. [1]
    window : int
        Most surveys a rate takes, the newest, if they show its growth. [-]
    at : (k,) int, optional
        Only as known at these surveys; at all if left out.

    Returns
    -------
    KnownRates
        Rates in % per 1000 h, a value for each survey asked for.

    Raises
    ------
    WearInputError
        See :func:`takeup.wear.trend.ragged`.

    Examples
    --------
    >>> known = known_rates([500, 1500, 2500, 3500], [0.2, 0.5, 0.8, 1.1], [0, 4], 0.04)
    >>> known.before.round(3).tolist(), known.own.tolist()
    ([nan, nan, 0.3, 0.3], [False, False, True, True])
    """
    h, e, s = ragged(hours, e_percent, starts)
    m, n = s.size - 1, h.size
    of, index = life_of(s), np.arange(h.size)
    u, case, k = (
        np.broadcast_to(np.asarray(value, dtype=np.float64), (m,))
        for value in (u_rate_percent, e_case_percent, kappa)
    )
    bedded = np.minimum(first_after(h, s, after_hours), s[1:])
    phase_first, _ = phase_history(h, e, s, u / TWO_ENDS, after_hours=after_hours, ratio=phase_ratio)
    through = np.full(m, n)
    np.minimum.at(through, of, np.where(e > case[of], index, n))
    index = index if at is None else at
    life = of[index]
    at_case = through[life]
    past = index >= at_case

    last = np.minimum(index, at_case - 1)
    begin = np.where(last >= s[life], phase_first[np.maximum(last, 0)], index + 1)
    begin_past = np.minimum(np.maximum(at_case, phase_first[index]), index + 1)
    before = _grown_rate(h, e, np.minimum(begin, last + 1), last + 1, window, u[life])
    after = _grown_rate(h, e, begin_past, index + 1, window, u[life])
    # Two surveys are enough where they have just been found to open a new phase: the old rate is known to be
    # too low.
    opened = (begin > bedded[life]) & (before.n_used == 2) & (before.rate > 0)
    has_before, has_after = has_own_rate(before, u[life]) | opened, has_own_rate(after, u[life])

    slow = np.where(has_before, before.rate, np.nan)
    fast = np.where(has_after, after.rate, np.nan)
    fitted = past & has_after
    rate = np.where(fitted, fast, np.where(past, k[life] * slow, slow))
    stop = np.where(fitted, index, last) + 1
    phase = np.where(fitted, begin_past, np.minimum(begin, last + 1))
    first = stop - np.where(fitted, after.n_used, before.n_used)
    u_line = least_squares_rate(h, e, first, stop, u[life]).u_rate
    return KnownRates(
        slow,
        np.where(past, fast, np.nan),
        rate,
        np.where(past & ~fitted, k[life] * u_line, u_line),
        ~np.isnan(rate),
        np.where(fitted, after.n_used, before.n_used),
        first,
        phase,
    )


def _grown_rate(
    hours: Floats, e_percent: Floats, first: Ints, stop: Ints, window: int, u_rate_percent: Floats
) -> RecentRate:
    """As :func:`recent_rate`, from as many more surveys as it takes to see the growth a rate needs.

    Near its limit a chain is measured so often that it wears less over one window than the tape can tell;
    without this it would lose the rate it had, and be forecast by that of others.
    """
    found = recent_rate(hours, e_percent, first, stop, window)
    wanted = LEAST_GROWTH_IN_U * u_rate_percent
    short = np.flatnonzero((found.n_used == window) & (found.growth < wanted))
    begin, newest = stop[short] - window, stop[short] - 1
    while (further := (begin > first[short]) & (e_percent[newest] - e_percent[begin] < wanted[short])).any():
        begin = begin - further
    if short.size:
        wider = recent_rate(hours, e_percent, begin, stop[short], int((stop[short] - begin).max()))
        for whole, part in zip(found, wider, strict=True):
            whole[short] = part
    return found


def _first_at_least(values: Floats, begin: Ints, end: Ints, wanted: Floats) -> Ints:
    """In each rising stretch the first index whose value is not below ``wanted``, else its ``end``."""
    low, high = begin.copy(), end.copy()
    while (open_ := low < high).any():
        middle = (low + high) // 2
        below = values[np.minimum(middle, values.size - 1)] < wanted
        low = np.where(open_ & below, middle + 1, low)
        high = np.where(open_ & ~below, middle, high)
    return low


def _rising(e_percent: Floats, starts: Ints) -> Floats:
    """Each life's elongations made to rise: midway between highest so far and lowest still to come."""
    m, size = starts.size - 1, np.diff(starts)
    row = life_of(starts)
    place = np.arange(e_percent.size) - starts[row]
    highest = np.full((m, int(size.max(initial=0))), -np.inf)
    lowest = np.full_like(highest, np.inf)
    highest[row, place] = lowest[row, place] = e_percent
    highest = np.maximum.accumulate(highest, axis=1)
    lowest = np.minimum.accumulate(lowest[:, ::-1], axis=1)[:, ::-1]
    between: Floats = (highest[row, place] + lowest[row, place]) / 2
    return between


def hours_until_reached(
    hours: ArrayLike, e_percent: ArrayLike, starts: ArrayLike, survey: Ints, level_percent: Floats
) -> Floats:
    """True hours from a survey until its life reached a level, as the *other* surveys of the life tell it.

    Between surveys by proportion, on elongations made to rise. The survey itself is left out, since it would
    vouch for its own error; so a reading that was too low can turn out to have been at the level already
    (below 0).

    Parameters
    ----------
    hours, e_percent, starts
        As in :func:`known_rates`.
    survey : (k,) int
    level_percent : (k,) float
        [%]

    Returns
    -------
    (k,) float
        NaN where the life never reached the level. [h]

    Raises
    ------
    WearInputError
        See :func:`takeup.wear.trend.ragged`.

    Examples
    --------
    >>> h, e = [500, 1500, 2500], [0.2, 0.5, 0.8]
    >>> hours_until_reached(h, e, [0, 3], np.array([0, 1]), np.array([0.65, 0.9]))
    array([1500.,   nan])
    """
    h, e, s = ragged(hours, e_percent, starts)
    if h.size == 0:
        return np.full(survey.shape, np.nan)
    rising, life = _rising(e, s), life_of(s)[survey]
    above = _first_at_least(rising, s[:-1][life], s[1:][life], level_percent)
    below = above - 1
    above, below = above + (above == survey), below - (below == survey)
    reached = above < s[1:][life]
    above = np.minimum(above, h.size - 1)
    # Before the first survey a life stood at its zero.
    fitted = below < s[:-1][life]
    h_below = np.where(fitted, 0.0, h[below])
    e_below = np.where(fitted, 0.0, rising[below])
    rise = rising[above] - e_below
    share = np.divide(level_percent - e_below, rise, out=np.ones_like(rise), where=rise > 0)
    at = h_below + np.clip(share, 0.0, 1.0) * (h[above] - h_below)
    return np.where(reached, at - h[survey], np.nan)


def past_ratios(
    hours: ArrayLike,
    e_percent: ArrayLike,
    starts: ArrayLike,
    limit_percent: ArrayLike,
    u_rate_percent: ArrayLike,
    known: KnownRates,
    e_case_percent: ArrayLike = np.nan,
    kappa: ArrayLike = KAPPA,
    other_rate: ArrayLike = np.nan,
) -> Ratios:
    """Score every past forecast of a limit against what its life went on to do.

    At each survey short of the limit the hours to it are forecast from what was known then, and set against
    the hours it took: log((true + d)/(forecast + d)), where d is what the tape's own doubt is worth in hours
    (:func:`takeup.wear.forecast.doubt_hours`), so that a level just ahead does not turn a millimetre into a
    ratio. Where the chain was changed before its limit, the hours to the highest level it reached are true,
    and the rest of the way is taken as it was forecast there: with the rate its last survey knew, or, where
    it had none of its own, in the proportion of the way seen. A level already reached at the survey counts as
    reached just then, as no bound is below 0. Source: proposed for this project, no source.

    Parameters
    ----------
    hours, e_percent, starts, u_rate_percent, e_case_percent, kappa
        As in :func:`known_rates`.
    limit_percent : (m,) float
        Governing limit of each life, NaN for none: that life gives no scores. [%]
    known : KnownRates
        From :func:`known_rates` with the same arguments.
    other_rate : (m,) float
        The rate used while a life has none of its own; NaN for none. [% per 1000 h]

    Returns
    -------
    Ratios
        ``stage`` is e at the survey over the limit, ``own`` whether the forecast stood on a rate of the
        life's own, ``seen`` the part of the way to the limit that the life was seen to go,
        :data:`LEAST_SEEN` to 1, ``forecast_part`` the hours forecast over these and the doubt, ``u_log`` the
        standard uncertainty of the score that rate and tape account for: that of the rate, 0 for one not its
        own, and those of the two readings that it lies between.

    Raises
    ------
    WearInputError
        See :func:`takeup.wear.trend.ragged`.

    Examples
    --------
    A life that keeps its rate reaches every level when it was forecast to:

    >>> life = [500, 1500, 2500, 3500, 4500], [0.2, 0.5, 0.8, 1.1, 1.4], [0, 5]
    >>> r = past_ratios(*life, [2.0], 0.04, known_rates(*life, 0.04))
    >>> r.survey.tolist(), r.seen.round(2).tolist(), abs(r.log_ratio).max() < 1e-9
    ([2, 3], [0.5, 0.33], np.True_)
    """
    h, e, s = ragged(hours, e_percent, starts)
    m, life = s.size - 1, life_of(s)
    limit, u, case, k, other = (
        np.broadcast_to(np.asarray(value, dtype=np.float64), (m,))[life]
        for value in (limit_percent, u_rate_percent, e_case_percent, kappa, other_rate)
    )
    before = np.where(known.own, known.before, other)
    in_force = np.where(known.own, known.rate, np.where(e > case, k * other, other))
    d = doubt_hours(u, in_force)
    furthest = _rising(e, s)[s[1:] - 1][life] if h.size else h
    level = np.minimum(limit, furthest)
    seen = np.divide(level - e, limit - e, out=np.zeros_like(e), where=e < limit)
    rows = np.flatnonzero((seen >= LEAST_SEEN) & (in_force > 0))
    true = hours_until_reached(h, e, s, rows, level[rows])
    newest, told = (s[1:] - 1)[life][rows], level[rows]

    def way(begin: Floats, end: Floats, at: Ints, rate: Floats) -> Floats:
        return hours_to_level(begin, end, rate, case[rows], k[rows], known.past_case[at])

    forecast = way(e[rows], limit[rows], rows, before[rows])
    as_known = way(told, limit[rows], newest, known.before[newest])
    with np.errstate(invalid="ignore"):
        times = np.maximum(true, 0.0) / way(e[rows], told, rows, before[rows])
        as_seen = times * way(told, limit[rows], rows, before[rows])
    rest = np.where(known.own[newest] & np.isfinite(as_known), as_known, as_seen)
    true = np.maximum(true, 0.0) + np.where(told < limit[rows], rest, 0.0)
    good = ~np.isnan(true) & np.isfinite(forecast) & np.isfinite(d[rows])
    rows, true, forecast = rows[good], true[good], forecast[good]
    log_ratio = np.log((true + d[rows]) / (forecast + d[rows]))
    own, part = known.own[rows], forecast / (forecast + d[rows])
    of_rate = np.where(own, part * known.u_rate[rows] / known.rate[rows], 0.0)
    # d is twice the u of a difference; of the reading at the survey and of the one between two others.
    of_tape = (1 - part) * math.sqrt(1 + READ_BETWEEN) / (COVERAGE * TWO_ENDS)
    u_log = np.hypot(of_rate, of_tape)
    return Ratios(life[rows], rows, e[rows] / limit[rows], own, seen[rows], log_ratio, part, u_log)
