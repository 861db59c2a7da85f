"""What a chain costs by the run hour, when a dearer one pays, and what each stop for changing it may cost.

Money is in whatever currency the register uses. Source of the cost formulas: engineering economy, derived
here; of the statistics: JCGM 100:2008 (GUM), annex G, and the ratio estimate of W. G. Cochran, *Sampling
Techniques*, 3rd ed., 1977, chapter 6 (from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.errors import WearInputError
from takeup.wear.arguments import Array, Flags, numbers, offsets
from takeup.wear.calibration import NORMAL_95
from takeup.wear.forecast import COVERAGE, hours_to_level

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: 97.5 % points of Student's distribution for 1 to 30 degrees of freedom: half of 95 % on either side.
#: Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.2.
STUDENT_95 = (
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228,
    2.201, 2.179, 2.160, 2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086,
    2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
)  # fmt: skip
#: the shortest time whose logarithm is taken. [h]
_LEAST_HOURS = 1.0


class OnLives(NamedTuple):
    """Cost per run hour on completed lives, one value a group; ``u`` is NaN on fewer than two lives."""

    cost: Array  # money per h
    u: Array  # standard uncertainty, money per h
    freedom: Array  # degrees of freedom, lives less 1


class Difference(NamedTuple):
    """A difference and its expanded uncertainty, about 95 %."""

    value: Array
    expanded: Array


class StopCosts(NamedTuple):
    """What each candidate stop may cost, (n,) each, in money but for ``chance``."""

    chance: Array
    stop: Array
    unplanned: Array
    thrown_away: Array
    expected: Array


def change_cost(labour: ArrayLike, stop_hours: ArrayLike, stop_cost_per_hour: ArrayLike) -> Array:
    """Cost of changing a set beside the set itself: K = labour + stop hours x cost of a stop hour.

    Inside a shutdown that is held anyway the stop is free and its hours are 0. Source: definition.

    Parameters
    ----------
    labour : (n,) float
        0 or more. [money]
    stop_hours : (n,) float
        0 or more. [h]
    stop_cost_per_hour : (n,) float
        0 or more. [money/h]

    Returns
    -------
    (n,) float
        [money]

    Raises
    ------
    WearInputError
        If a value is below 0.

    Examples
    --------
    >>> float(change_cost(9500, 24, 2400))
    67100.0
    """
    return np.asarray(
        numbers(labour, "labour", at_least=0)
        + numbers(stop_hours, "stop_hours", at_least=0)
        * numbers(stop_cost_per_hour, "stop_cost_per_hour", at_least=0)
    )


def life_hours(
    e_governing_percent: ArrayLike,
    e_run_in_percent: ArrayLike,
    rate: ArrayLike,
    e_case_percent: ArrayLike,
    kappa: ArrayLike,
) -> Array:
    """Life of a chain by its wear rate: from the end of the run-in to the governing limit, through the case.

    life = 1000 (e_governing - e_run_in)/r, and past the case at kappa r. Source: derived here; see
    :func:`takeup.wear.forecast.hours_to_level`.

    Parameters
    ----------
    e_governing_percent, e_run_in_percent : (n,) float
        [%]
    rate : (n,) float
        Before the case is through. [% per 1000 h]
    e_case_percent : (n,) float
        NaN for no case. [%]
    kappa : (n,) float
        1 or more. [1]

    Returns
    -------
    (n,) float
        inf where the rate is not above 0. [h]

    Raises
    ------
    WearInputError
        If a kappa is below 1.

    Examples
    --------
    3 % at 0.25 % per 1000 h after 0.25 % of bedding; with the case through at 2 %, the last point goes three
    times as fast:

    >>> life_hours(3.0, 0.25, 0.25, [np.nan, 2.0], 3.0).round(1).tolist()
    [11000.0, 8333.3]
    """
    return hours_to_level(e_run_in_percent, e_governing_percent, rate, e_case_percent, kappa)


def cost_per_hour(set_cost: ArrayLike, change: ArrayLike, life: ArrayLike) -> Array:
    """Cost per run hour: c = (chain + sprocket share + K) / life hours.

    Source: definition.

    Parameters
    ----------
    set_cost : (n,) float
        Chains of the set and the sprockets' share, 0 or more. [money]
    change : (n,) float
        From :func:`change_cost`. [money]
    life : (n,) float
        Hours used, 0 or more. [h]

    Returns
    -------
    (n,) float
        inf for a life of no hours. [money/h]

    Raises
    ------
    WearInputError
        If a value is below 0.

    Examples
    --------
    >>> cost_per_hour(46000, 67100, [13082, 16500, 22000]).round(3).tolist()
    [8.645, 6.855, 5.141]
    """
    whole = numbers(set_cost, "set_cost", at_least=0) + numbers(change, "change", at_least=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(whole / numbers(life, "life", at_least=0))


def break_even_factor(set_cost_now: ArrayLike, set_cost_other: ArrayLike, change: ArrayLike) -> Array:
    """How many times as long another chain must last to cost the same by the hour.

    m* = (C_other + K)/(C_now + K), K equal for both. Source: derived here.

    Parameters
    ----------
    set_cost_now, set_cost_other, change : (n,) float
        0 or more; the first and the last not both 0. [money]

    Returns
    -------
    (n,) float
        [1]

    Raises
    ------
    WearInputError
        If a value is below 0, or nothing is paid now.

    Examples
    --------
    A chain 64 % dearer pays from a life 19 % longer:

    >>> float(break_even_factor(28000, 46000, 67100).round(3))
    1.189
    """
    k = numbers(change, "change", at_least=0)
    now = numbers(numbers(set_cost_now, "set_cost_now", at_least=0) + k, "set_cost_now + change", above=0)
    return np.asarray((numbers(set_cost_other, "set_cost_other", at_least=0) + k) / now)


def hours_in_steps(life: ArrayLike, step_hours: ArrayLike) -> Array:
    """Hours of a life that are used where chain is changed only every so many hours: S x floor(life/S).

    Source: derived here.

    Parameters
    ----------
    life : (n,) float
        0 or more. [h]
    step_hours : (n,) float
        Run hours from one shutdown that takes the job to the next, above 0. [h]

    Returns
    -------
    (n,) float
        0 where the life does not reach the first shutdown. [h]

    Raises
    ------
    WearInputError
        If a life is below 0 or a step not above 0.

    Examples
    --------
    >>> hours_in_steps([7900, 11000, 16500], 8000).tolist()
    [0.0, 8000.0, 16000.0]
    """
    step = numbers(step_hours, "step_hours", above=0)
    # A hair under a whole step from rounding is that step.
    return np.asarray(step * np.floor(numbers(life, "life", at_least=0) / step + 1e-9))


def break_even_in_steps(
    set_cost_now: ArrayLike,
    set_cost_other: ArrayLike,
    change: ArrayLike,
    life_now: ArrayLike,
    step_hours: ArrayLike,
) -> Array:
    """How many times as long another chain must last to pay where chain is changed only in shutdowns.

    The present chain is used n = floor(life/S) steps; the other pays from ceil(n m*) steps on, so that
    m = S ceil(n m*) / life. Below 1 the present chain's last step is a waste that the other need not match.
    Source: derived here.

    Parameters
    ----------
    set_cost_now, set_cost_other, change
        As in :func:`break_even_factor`.
    life_now : (n,) float
        Life of the present chain, above 0. [h]
    step_hours : (n,) float
        Above 0. [h]

    Returns
    -------
    (n,) float
        One step's worth where the present chain does not last one. [1]

    Raises
    ------
    WearInputError
        As :func:`break_even_factor`, and if a life or step is not above 0.

    Examples
    --------
    Changed every 8000 h, a chain that lasts 11 000 h is used 8000 h; the dearer one must reach 16 000 h:

    >>> float(break_even_in_steps(28000, 46000, 67100, 11000, 8000).round(3))
    1.455
    """
    step = numbers(step_hours, "step_hours", above=0)
    life = numbers(life_now, "life_now", above=0)
    steps = hours_in_steps(life, step) / step
    wanted = np.maximum(np.ceil(steps * break_even_factor(set_cost_now, set_cost_other, change) - 1e-9), 1)
    return np.asarray(wanted * step / life)


def student_95(freedom: ArrayLike) -> Array:
    """The factor that makes a standard uncertainty one of about 95 % on few values.

    Part degrees are cut to the next lower whole one (JCGM 100:2008, G.4.1); beyond 30 the factor of 30
    stands, on the careful side. Source: see :data:`STUDENT_95`.

    Parameters
    ----------
    freedom : (n,) float
        Degrees of freedom.

    Returns
    -------
    (n,) float
        NaN below 1. [1]

    Examples
    --------
    Two lives say very little about the next one, six a good deal more:

    >>> student_95([1, 5, 5.9, 0]).tolist()
    [12.706, 2.571, 2.571, nan]
    """
    found = np.asarray(freedom, dtype=np.float64)
    known = found >= 1
    whole = np.floor(np.where(known, np.minimum(found, len(STUDENT_95)), 1)).astype(np.int64)
    return np.where(known, np.array(STUDENT_95)[whole - 1], np.nan)


def cost_on_lives(costs: ArrayLike, hours: ArrayLike, starts: ArrayLike) -> OnLives:
    """Cost per run hour on the completed lives of each group, with what few lives leave in doubt.

    c = sum of costs / sum of hours, the long-run cost by the hour of lives that follow each other;
    u = sqrt(sum (C_i - c h_i)^2 / (n (n - 1))) / mean hours. Source: renewal reward and ratio estimate,
    Cochran 1977, chapter 6 (from memory).

    Parameters
    ----------
    costs : (n,) float
        What each life cost in all, group after group, 0 or more. [money]
    hours : (n,) float
        Hours each was used, 0 or more. [h]
    starts : (m + 1,) int
        Where each group begins, and at the end the number of lives.

    Returns
    -------
    OnLives
        (m,) each; NaN for a group without a life, inf where no hour was used.

    Raises
    ------
    WearInputError
        If ``starts`` does not fit or a value is below 0.

    Examples
    --------
    Two lives of one price, 10 000 h and 12 000 h:

    >>> [float(column[0].round(3)) for column in cost_on_lives([95100, 95100], [10000, 12000], [0, 2])]
    [8.645, 0.786, 1.0]
    """
    paid = numbers(costs, "costs", at_least=0)
    run = numbers(hours, "hours", at_least=0)
    s = offsets(starts, paid.size)
    n = np.diff(s).astype(np.float64)
    group = np.repeat(np.arange(n.size), np.diff(s))

    def sums(values: Array) -> Array:
        return np.asarray(np.bincount(group, weights=values, minlength=n.size), dtype=np.float64)

    with np.errstate(divide="ignore", invalid="ignore"):
        cost = sums(paid) / sums(run)
        off = sums(np.square(paid - np.where(np.isfinite(cost), cost, np.nan)[group] * run))
        u = np.sqrt(off / (n * (n - 1))) / (sums(run) / n)
    return OnLives(cost, np.where(n > 1, u, np.nan), np.maximum(n - 1, 0.0))


def cost_difference(one: OnLives, other: OnLives) -> Difference:
    """How much dearer by the hour one kind of chain was than another, and how far few lives can tell.

    The degrees of freedom are joined by Welch and Satterthwaite. Source: JCGM 100:2008, G.4, formula G.2b.

    Parameters
    ----------
    one, other : OnLives
        (n,) each.

    Returns
    -------
    Difference
        (n,) each; the uncertainty is NaN where one side has fewer than two lives. [money/h]

    Examples
    --------
    >>> now, new = (OnLives(*map(np.array, x)) for x in (([8.6], [0.3], [3.0]), ([6.9], [0.4], [3.0])))
    >>> [float(column[0].round(2)) for column in cost_difference(now, new)]
    [1.7, 1.29]
    """
    a, b = np.square(one.u), np.square(other.u)
    with np.errstate(divide="ignore", invalid="ignore"):
        joined = np.square(a + b) / (np.square(a) / one.freedom + np.square(b) / other.freedom)
    joined = np.where((a + b) == 0, np.minimum(one.freedom, other.freedom), joined)
    return Difference(one.cost - other.cost, student_95(joined) * np.sqrt(a + b))


def mean_rate(rates: ArrayLike, u_rates: ArrayLike) -> tuple[float, float]:
    """Mean wear rate of the lives of one kind of chain, and its standard uncertainty.

    The greater of what the surveys leave in doubt, sqrt(sum u^2)/n, and what the lives differ by,
    s/sqrt(n): duty makes lives differ by more than any tape. Source: JCGM 100:2008, 4.2 and 5.1; taking the
    greater is proposed for this project, no source.

    Parameters
    ----------
    rates, u_rates : (n,) float
        Of each life; lives without a known rate are left out. [% per 1000 h]

    Returns
    -------
    rate, u : float
        NaN without a life. [% per 1000 h]

    Examples
    --------
    >>> [round(value, 4) for value in mean_rate([0.26, 0.30], [0.0175, 0.0175])]
    [0.28, 0.02]
    """
    r, u = np.asarray(rates, dtype=np.float64), np.asarray(u_rates, dtype=np.float64)
    known = ~np.isnan(r) & ~np.isnan(u)
    r, u = r[known], u[known]
    if not r.size:
        return math.nan, math.nan
    by_tape = math.sqrt(float(np.square(u).sum())) / r.size
    by_lives = float(r.std(ddof=1)) / math.sqrt(r.size) if r.size > 1 else 0.0
    return float(r.mean()), max(by_tape, by_lives)


def wears_slower(rate_now: ArrayLike, u_now: ArrayLike, rate_other: ArrayLike, u_other: ArrayLike) -> Flags:
    """Whether another chain may be claimed to wear slower: r_now - r_other > 2 sqrt(u_now^2 + u_other^2).

    Source: first-order uncertainty of a difference, k = 2 (NIST/SEMATECH e-Handbook, 2.5.7).

    Parameters
    ----------
    rate_now, rate_other : (n,) float
        [% per 1000 h]
    u_now, u_other : (n,) float
        Standard uncertainties. [% per 1000 h]

    Returns
    -------
    (n,) bool
        False where something is not known.

    Examples
    --------
    >>> wears_slower(0.27, 0.02, [0.22, 0.20], 0.02).tolist()
    [False, True]
    """
    now, other, u, v = (
        np.asarray(value, dtype=np.float64) for value in (rate_now, rate_other, u_now, u_other)
    )
    with np.errstate(invalid="ignore"):
        return np.asarray(now - other > COVERAGE * np.hypot(u, v))


def chance_before(
    hours: ArrayLike,
    early: ArrayLike,
    middle: ArrayLike,
    late: ArrayLike,
    doubt: ArrayLike,
) -> Array:
    """Chance that a limit is passed before so many hours, from the bounds of its forecast.

    Early, middle and late are the 5, 50 and 95 % points. Between them, and on beyond them, the normal
    quantile runs straight over log(h + d): two half lognormals that meet in the middle. d is what the tape's
    doubt is worth in hours, as in the record the bounds are drawn from
    (:func:`takeup.wear.record.past_ratios`). An open late bound is taken as far from the middle as the early
    one, by ratio. Source: proposed for this project, no source.

    Parameters
    ----------
    hours : (n,) float
        From the survey the forecast starts at; below 0 counts as 0. [h]
    early, middle, late : (n,) float
        Rising; ``late`` may be inf. [h]
    doubt : (n,) float
        0 or more; NaN as 0. [h]

    Returns
    -------
    (n,) float
        1 where the middle is not above 0 (the limit is passed), NaN where a bound is not known or the middle
        is open. [1]

    Raises
    ------
    WearInputError
        If a bound lies on the wrong side of the middle, or a doubt is below 0.

    Examples
    --------
    >>> chance_before([0, 500, 1000, 2000, 9000], 500, 1000, 2000, 0).round(2).tolist()
    [0.0, 0.05, 0.5, 0.95, 1.0]
    """
    h, first, half, last, d = (
        np.asarray(value, dtype=np.float64)
        for value in np.broadcast_arrays(
            numbers(hours, "hours"), early, middle, late, numbers(doubt, "doubt", at_least=0)
        )
    )
    if (first > half).any() or (last < half).any():
        raise WearInputError(
            "a bound lies on the wrong side of the middle",
            where="early, middle, late",
            todo="Hand over the 5, 50 and 95 % points in this order.",
        )

    def log(values: Array) -> Array:
        shifted = np.maximum(values, 0.0) + np.where(np.isnan(d), 0.0, d)
        return np.asarray(np.log(np.maximum(shifted, _LEAST_HOURS)))

    open_ = np.isinf(half)
    at, below, centre = log(h), log(first), log(np.where(open_, np.nan, half))
    above = np.where(np.isinf(last), 2 * centre - below, log(np.where(np.isinf(last), np.nan, last)))
    width = np.where(at < centre, centre - below, above - centre)
    off = at - centre
    with np.errstate(divide="ignore", invalid="ignore"):
        # No width at all: the limit comes at the middle, neither sooner nor later.
        z = np.where(off == 0, 0.0, NORMAL_95 * off / width)
    z = np.where((width == 0) & (off != 0), np.copysign(np.inf, off), z)
    chance = np.vectorize(lambda x: 0.5 * (1 + math.erf(x / math.sqrt(2))), otypes=[np.float64])(z)
    chance = np.where(half <= 0, 1.0, chance)
    return np.where(np.isnan(first) | np.isnan(half) | np.isnan(last) | open_ | np.isnan(h), np.nan, chance)


def stop_costs(
    chance: ArrayLike,
    hours: ArrayLike,
    middle: ArrayLike,
    life: ArrayLike,
    set_cost: ArrayLike,
    stop_cost: ArrayLike,
    unplanned_cost: ArrayLike,
) -> StopCosts:
    """What changing a set at each candidate stop may cost.

    expected = (1 - p) x cost of the stop + p x cost of an unplanned stop + (middle - h)/life x set cost, the
    last only where the stop comes before the middle: the hours thrown away. A stop inside a shutdown that is
    held anyway costs nothing by itself. Source: expected value; counting the hours thrown away against the
    middle is proposed for this project, no source.

    Parameters
    ----------
    chance : (n,) float
        From :func:`chance_before`, 0 to 1.
    hours : (n,) float
        Hours from the survey to the stop; below 0 counts as 0. [h]
    middle : (n,) float
        Middle of the forecast from the same survey. [h]
    life : (n,) float
        Hours of the whole life, fitting to middle, above 0. [h]
    set_cost : (n,) float
        Chains of the set and the labour of fitting them, 0 or more. [money]
    stop_cost, unplanned_cost : (n,) float
        What the stop itself costs, and a stop of the same length nobody planned; 0 or more. [money]

    Returns
    -------
    StopCosts
        ``unplanned`` is the chance times its cost. (n,) each.

    Raises
    ------
    WearInputError
        If a value lies outside its range.

    Examples
    --------
    Half a life early and safe, or on time and a gamble:

    >>> two = stop_costs([0.0, 0.5], [0, 5000], 5000, 10000, 40000, 0, 60000)
    >>> two.thrown_away.tolist(), two.unplanned.tolist(), two.expected.tolist()
    ([20000.0, 0.0], [0.0, 30000.0], [20000.0, 30000.0])
    """
    p = numbers(chance, "chance", at_least=0, at_most=1)
    left = numbers(middle, "middle") - np.maximum(numbers(hours, "hours"), 0.0)
    part = np.clip(left / numbers(life, "life", above=0), 0.0, 1.0)
    stop = (1 - p) * numbers(stop_cost, "stop_cost", at_least=0)
    unplanned = p * numbers(unplanned_cost, "unplanned_cost", at_least=0)
    thrown = part * numbers(set_cost, "set_cost", at_least=0)
    return StopCosts(*np.broadcast_arrays(p, stop, unplanned, thrown, stop + unplanned + thrown))
