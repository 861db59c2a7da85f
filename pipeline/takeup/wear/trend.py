"""The wear rate of each life, and the survey at which its phase changed.

Lives are ragged: the surveys of all lives stand in one array, life after life and by hours, and ``starts``
(m + 1,) says where each begins, the last entry being the number of surveys. Sums run in a fixed order without
BLAS, so that a life's rate does not depend on which other lives are reckoned with it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from takeup.errors import WearInputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Surveys in the slope. Proposed for this project, no source; range 5 to 12.
WINDOW = 8
#: Hours of quick bedding that are not a rate. Common practice, no source; range 50 to 200.
RUN_IN_HOURS = 100.0
#: A last-segment rate above this many times the earlier one may be a new phase. Proposed, no source.
PHASE_RATIO = 1.5
#: Surveys a rate of one's own needs, and the growth it needs in units of u(e). Proposed, no source.
FEWEST_SURVEYS = 3
LEAST_GROWTH_IN_U = 3.0


class RecentRate(NamedTuple):
    """Median of pairwise slopes over the newest surveys of the phase, one value a life.

    ``rate`` is NaN with fewer than two surveys; ``growth`` is the last elongation of the window less its
    first.
    """

    rate: Floats  # % per 1000 h
    n_used: Ints
    growth: Floats  # %


class Line(NamedTuple):
    """Straight line by least squares, one value a life; NaN with fewer than two surveys."""

    rate: Floats  # % per 1000 h
    intercept: Floats  # %
    residual_sd: Floats  # %, NaN with fewer than three surveys
    u_rate: Floats  # % per 1000 h
    n: Ints


class Phase(NamedTuple):
    """The present phase of each life and the newest change into it.

    ``first`` is the index of the first survey of the phase (the life's end where none counts); the rates and
    ``break_hours`` are NaN where no change was found.
    """

    found: NDArray[np.bool_]
    first: Ints
    break_hours: Floats
    rate_before: Floats
    u_before: Floats
    rate_after: Floats
    u_after: Floats


def ragged(hours: ArrayLike, e_percent: ArrayLike, starts: ArrayLike) -> tuple[Floats, Floats, Ints]:
    """The three arrays of many lives, checked.

    Raises
    ------
    WearInputError
        If lengths disagree, ``starts`` does not rise from 0 to the number of surveys, a value is not
        finite, or the hours of a life run backwards.
    """
    h = np.asarray(hours, dtype=np.float64)
    e = np.asarray(e_percent, dtype=np.float64)
    s = np.asarray(starts, dtype=np.int64)
    if h.ndim != 1 or h.shape != e.shape:
        raise WearInputError(f"hours {h.shape} and elongations {e.shape} must be two arrays of one length")
    if s.ndim != 1 or s.size < 1 or s[0] != 0 or s[-1] != h.size or (np.diff(s) < 0).any():
        raise WearInputError(f"starts must rise from 0 to the {h.size} surveys")
    if not (np.isfinite(h).all() and np.isfinite(e).all()):
        raise WearInputError("hours and elongations must be finite; leave out surveys that cannot be used")
    backwards = np.diff(h) < 0
    backwards[s[(s > 0) & (s < h.size)] - 1] = False
    if backwards.any():
        raise WearInputError(f"hours run backwards within a life at survey {int(np.argmax(backwards)) + 1}")
    return h, e, s


def life_of(starts: Ints) -> Ints:
    """For each survey the number of its life.

    Examples
    --------
    >>> life_of(np.array([0, 2, 2, 3])).tolist()
    [0, 0, 2]
    """
    return np.repeat(np.arange(starts.size - 1), np.diff(starts))


def first_after(hours: Floats, starts: Ints, after_hours: ArrayLike) -> Ints:
    """For each life the index of its first survey later than some life hours.

    Parameters
    ----------
    hours : (n,) float
        Life hours. [h]
    starts : (m + 1,) int
    after_hours : float or (m,) float
        For example the run-in. [h]

    Returns
    -------
    (m,) int
        ``starts[1:]`` where there is none.

    Examples
    --------
    >>> first_after(np.array([24.0, 900, 1800, 50]), np.array([0, 3, 4]), 100.0).tolist()
    [1, 4]
    """
    after = np.broadcast_to(np.asarray(after_hours, dtype=np.float64), (starts.size - 1,))
    life = life_of(starts)
    early = np.bincount(life[hours <= after[life]], minlength=starts.size - 1)
    return np.asarray(starts[:-1] + early, dtype=np.int64)


def recent_rate(
    hours: Floats, e_percent: Floats, first: Ints, stop: Ints, window: int = WINDOW
) -> RecentRate:
    """The rate orders are reckoned with: median of pairwise slopes over the newest surveys of each range.

    A range is half-open, for example the surveys of one life past its run-in, and ranges may overlap, so that
    one call gives the rate as it was known at every survey of the past. Pairs with equal hours give no slope.
    Source: H. Theil 1950, P. K. Sen 1968 (the estimator), the window proposed for this project, no source.

    Parameters
    ----------
    hours, e_percent : (n,) float
        [h], [%]
    first, stop : (k,) int
        Surveys ``first`` to ``stop - 1`` may be used; the last ``window`` of them are.
    window : int
        2 or more.

    Returns
    -------
    RecentRate
        (k,) each.

    Examples
    --------
    >>> h, e = np.array([1200.0, 2650, 4100, 5500]), np.array([0.41, 0.83, 1.22, 1.55])
    >>> recent_rate(h, e, np.array([0, 2]), np.array([4, 4])).rate.round(4).tolist()
    [0.267, 0.2357]
    """
    n_used = np.clip(stop - first, 0, window)
    index = stop[:, None] - np.arange(window, 0, -1)
    used = index >= first[:, None]
    index = np.where(used, index, 0)
    if hours.size == 0:
        nothing = np.full(first.shape, np.nan)
        return RecentRate(nothing, n_used, nothing.copy())
    h, e = hours[index], e_percent[index]
    a, b = np.triu_indices(window, 1)
    run = h[:, b] - h[:, a]
    good = used[:, a] & (run > 0)
    slopes = 1000 * np.divide(e[:, b] - e[:, a], run, out=np.full(run.shape, np.inf), where=good)
    slopes.sort(axis=1)
    count = good.sum(axis=1)
    row = np.arange(first.size)
    low = slopes[row, np.maximum(count - 1, 0) // 2]
    high = slopes[row, np.minimum(count // 2, a.size - 1)]
    some = count > 0
    rate = np.full(first.shape, np.nan)
    rate[some] = (low[some] + high[some]) / 2
    oldest = np.minimum(np.maximum(stop - window, first), hours.size - 1)
    growth = np.where(n_used > 0, e[:, -1] - e_percent[oldest], np.nan)
    return RecentRate(rate, n_used, growth)


def has_own_rate(recent: RecentRate, u_rate_percent: ArrayLike) -> NDArray[np.bool_]:
    """Whether a life has a rate of its own: three surveys, grown by three times u(e), and rising.

    Source: proposed for this project, no source.

    Parameters
    ----------
    recent : RecentRate
    u_rate_percent : float or (m,) float
        Standard uncertainty of one elongation in a rate, the common zero cancelling. [%]

    Examples
    --------
    >>> h, e = np.array([500.0, 900, 1500]), np.array([0.2, 0.3, 0.5])
    >>> r = recent_rate(h, e, np.array([0]), np.array([3]))
    >>> has_own_rate(r, 0.04).tolist(), has_own_rate(r, 0.2).tolist()
    ([True], [False])
    """
    u = np.asarray(u_rate_percent, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        grown = recent.growth >= LEAST_GROWTH_IN_U * u
        return np.asarray((recent.n_used >= FEWEST_SURVEYS) & grown & (recent.rate > 0))


def least_squares_rate(
    hours: Floats, e_percent: Floats, first: Ints, stop: Ints, u_rate_percent: ArrayLike
) -> Line:
    """Straight line by least squares through each half-open range of surveys.

    u(r) = 1000 max(s_res, u(e)) / sqrt(sum (h - mean h)^2); with two surveys the slope between them and
    1000 sqrt(2) u(e)/(h2 - h1). Serves the uncertainty of a rate and the change of phase; orders are reckoned
    with :func:`recent_rate`. Source: definition of the slope and its standard error; the floor u(e) derived
    here.

    Parameters
    ----------
    hours, e_percent : (n,) float
        [h], [%]
    first, stop : (k,) int
        Surveys ``first`` to ``stop - 1``; ranges may overlap.
    u_rate_percent : float or (k,) float
        Standard uncertainty of one elongation, the common zero cancelling. [%]

    Returns
    -------
    Line
        (k,) each.

    Examples
    --------
    >>> h, e = np.array([1200.0, 2650, 4100, 5500]), np.array([0.41, 0.83, 1.22, 1.55])
    >>> line = least_squares_rate(h, e, np.array([0]), np.array([4]), 0.056)
    >>> line.rate.round(4).tolist(), line.u_rate.round(4).tolist(), line.intercept.round(3).tolist()
    ([0.2656], [0.0175], [0.109])
    """
    k = first.size
    size = np.maximum(stop - first, 0)
    offsets = np.cumsum(size) - size
    group = np.repeat(np.arange(k), size)
    take = np.arange(group.size) - offsets[group] + first[group]
    h, e = hours[take], e_percent[take]

    def total(values: Floats) -> Floats:
        # One running addition a group, in order of surveys: not np.sum, whose order follows the shape.
        return np.bincount(group, weights=values, minlength=k).astype(np.float64)

    u = np.broadcast_to(np.asarray(u_rate_percent, dtype=np.float64), (k,))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_h, mean_e = total(h) / size, total(e) / size
        dh, de = h - mean_h[group], e - mean_e[group]
        s_hh = total(dh * dh)
        s_hh[s_hh == 0] = np.nan
        slope = total(dh * de) / s_hh
        left = de - slope[group] * dh
        degrees = np.where(size > 2, size - 2, np.nan)
        residual_sd = np.sqrt(total(left * left) / degrees)
        u_rate = 1000 * np.fmax(residual_sd, u) / np.sqrt(s_hh)
    return Line(1000 * slope, mean_e - slope * mean_h, residual_sd, u_rate, np.asarray(size, dtype=np.int64))


def phase_break(
    hours: ArrayLike,
    e_percent: ArrayLike,
    starts: ArrayLike,
    u_rate_percent: ArrayLike,
    *,
    after_hours: ArrayLike = RUN_IN_HOURS,
    ratio: float = PHASE_RATIO,
) -> Phase:
    """The present phase of each life: surveys since the rate last rose beyond doubt.

    At each survey in turn the last two surveys, else the last three, are set against the surveys of the phase
    up to there: a new phase begins when their rate is more than ``ratio`` times the earlier rate *and* the
    difference is above twice its uncertainty. Source: proposed for this project, no source.

    Parameters
    ----------
    hours, e_percent : (n,) float
        Life hours and elongation from the wear zero, usable surveys only. [h], [%]
    starts : (m + 1,) int
        Where each life begins, and at the end the number of surveys.
    u_rate_percent : float or (m,) float
        Standard uncertainty of one elongation, the common zero cancelling. [%]
    after_hours : float or (m,) float
        Surveys up to here are bedding, not wear. [h]
    ratio : float
        1.3 to 2. [1]

    Returns
    -------
    Phase
        (m,) each.

    Raises
    ------
    WearInputError
        See :func:`ragged`.

    Examples
    --------
    >>> p = phase_break([500, 1500, 2500, 3500, 4500], [0.2, 0.5, 0.8, 1.1, 2.0], [0, 5], 0.04)
    >>> p.found.tolist(), p.first.tolist(), p.rate_after.round(2).tolist()
    ([True], [3], [0.9])
    """
    h, e, s = ragged(hours, e_percent, starts)
    history = phase_history(h, e, s, u_rate_percent, after_hours=after_hours, ratio=ratio)
    return history[1]


def phase_history(
    hours: Floats,
    e_percent: Floats,
    starts: Ints,
    u_rate_percent: ArrayLike,
    *,
    after_hours: ArrayLike = RUN_IN_HOURS,
    ratio: float = PHASE_RATIO,
) -> tuple[Ints, Phase]:
    """For each survey the first survey of its phase as known *then*, and the present phase of each life."""
    m = starts.size - 1
    size = np.diff(starts)
    u = np.broadcast_to(np.asarray(u_rate_percent, dtype=np.float64), (m,))
    first = np.minimum(first_after(hours, starts, after_hours), starts[1:])
    known = np.empty(hours.size, dtype=np.int64)
    facts = np.full((5, m), np.nan)
    # The surveys of one life depend on each other, so the walk is by ordinal, all lives at a time.
    for ordinal in range(int(size.max(initial=0))):
        lives = np.flatnonzero(size > ordinal)
        newest = starts[lives] + ordinal
        for segment in (2, 3):
            begin = newest - segment + 1
            # The earlier rate needs two surveys of its own, the shared one included.
            able = begin - first[lives] >= 1
            if not able.any():
                continue
            which, at = lives[able], begin[able]
            last = least_squares_rate(hours, e_percent, at, newest[able] + 1, u[which])
            before = least_squares_rate(hours, e_percent, first[which], at + 1, u[which])
            with np.errstate(invalid="ignore"):
                apart = last.rate - before.rate
                doubt = 2 * np.sqrt(last.u_rate**2 + before.u_rate**2)
                broke = (last.rate > ratio * before.rate) & (apart > doubt)
            hit = which[broke]
            first[hit] = at[broke]
            facts[:, hit] = (
                hours[at[broke]],
                before.rate[broke],
                before.u_rate[broke],
                last.rate[broke],
                last.u_rate[broke],
            )
        known[newest] = np.minimum(first[lives], newest + 1)
    return known, Phase(~np.isnan(facts[0]), first, *facts)
