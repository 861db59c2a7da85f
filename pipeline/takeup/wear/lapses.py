"""What running without lubricant cost a strand: its rate beyond the grace against that within the plan."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.errors import WearInputError
from takeup.wear.arguments import Array, numbers, offsets

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: two rates and a start want one survey more than there are unknowns, or nothing tells how well they fit
_LEAST_SURVEYS = 4
#: of the product of both spreads: below, the surveys cannot tell the two kinds of hours apart
_ALIKE = 1e-9


def hours_beyond(
    hours: ArrayLike,
    starts: ArrayLike,
    done_hours: ArrayLike,
    done_starts: ArrayLike,
    allowed_hours: ArrayLike,
) -> Array:
    """Run hours beyond what is allowed after each lubrication, summed from fitting to each survey.

    Source: definition.

    Parameters
    ----------
    hours : (n,) float
        Of the surveys, rising within a strand, strands laid end to end. [h]
    starts : (m+1,) int
        Where each strand's surveys begin, then n.
    done_hours : (k,) float
        Of the lubrications that count, rising within a strand; fitting, at 0, counts as one. [h]
    done_starts : (m+1,) int
        Where each strand's lubrications begin, then k.
    allowed_hours : (m,) float
        The interval with its grace; NaN where not known. [h]

    Returns
    -------
    (n,) float
        NaN where the hours allowed or those of the survey are not known. [h]

    Raises
    ------
    WearInputError
        If hours are negative, or the offsets do not fit or are not of equally many strands.

    Examples
    --------
    110 h allowed, lubricated at 100 h and then not before 300 h: 90 h beyond, of which 40 until 250 h:

    >>> hours_beyond([50, 250, 400, 500], [0, 4], [100, 300], [0, 2], [110]).tolist()
    [0.0, 40.0, 90.0, 180.0]
    """
    at, done = numbers(hours, "hours", at_least=0), numbers(done_hours, "done_hours", at_least=0)
    bounds, done_bounds = offsets(starts, at.size), offsets(done_starts, done.size)
    if bounds.size != done_bounds.size:
        raise WearInputError(
            f"{bounds.size - 1} strands have surveys and {done_bounds.size - 1} lubrications",
            where="done_starts",
            why="Hours would be counted from another strand's lubrication.",
        )
    every = np.arange(bounds.size - 1)
    strand = np.repeat(every, np.diff(bounds))
    # Every strand's first is its fitting.
    since = np.concatenate((np.zeros(every.size), done))
    whose = np.concatenate((every, np.repeat(every, np.diff(done_bounds))))
    order = np.lexsort((since, whose))
    since, whose = since[order], whose[order]
    allowed = np.broadcast_to(numbers(allowed_hours, "allowed_hours", at_least=0), every.shape)

    beyond = np.zeros(since.size)
    same = whose[1:] == whose[:-1]
    gaps = np.maximum(since[1:] - since[:-1] - np.nan_to_num(allowed)[whose[1:]], 0.0)
    beyond[1:] = np.where(same, gaps, 0.0)
    first = np.searchsorted(whose, every)
    summed = np.cumsum(beyond)
    before = summed - summed[first][whose]

    # Lubrications and surveys in one order: one of the same hour stands before the survey.
    kind = np.repeat([0, 1], [since.size, at.size])
    together = np.lexsort((kind, np.concatenate((since, at)), np.concatenate((whose, strand))))
    passed = np.cumsum(together < since.size) - 1
    surveys = together >= since.size
    last = np.empty(at.size, dtype=np.int64)
    last[together[surveys] - since.size] = passed[surveys]
    return before[last] + np.maximum(at - since[last] - allowed[strand], 0.0)


class LapseRates(NamedTuple):
    """Rates within the plan and beyond it, and what the hours beyond cost; see :func:`lapse_rates`."""

    within: Array
    u_within: Array
    beyond: Array
    u_beyond: Array
    beyond_hours: Array
    cost: Array
    u_cost: Array


def lapse_rates(
    hours: ArrayLike, e_percent: ArrayLike, beyond_hours: ArrayLike, u_percent: ArrayLike, starts: ArrayLike
) -> LapseRates:
    """The wear rate in the hours within the plan of lubrication and in those beyond it.

    e = e_0 + r_w (h - b) / 1000 + r_b b / 1000 by weighted least squares, with b the hours beyond until h.
    Where the surveys scatter more than their uncertainty says, it is widened by the root of chi squared over
    its degrees of freedom. What the hours beyond cost is (r_b - r_w) b / 1000 from the first survey to the
    last. Source: weighted least squares with the ratio of R. T. Birge 1932 (from memory, unverified); that
    the two kinds of hours have a rate each, proposed for this project.

    Parameters
    ----------
    hours : (n,) float
        Of the surveys, strands laid end to end. [h]
    e_percent : (n,) float
        Elongation; those past the hardened case and of the run-in left out by who calls. [%]
    beyond_hours : (n,) float
        From :func:`hours_beyond`. [h]
    u_percent : (n,) float
        Standard uncertainty of each, without what all share, more than 0. [%]
    starts : (m+1,) int
        Where each strand's surveys begin, then n.

    Returns
    -------
    LapseRates
        Rates and their standard uncertainties [% per 1000 h], the hours beyond between first and last survey
        [h], what they cost and its standard uncertainty [points]. All NaN with fewer than four surveys, where
        a value is not known, and where no survey tells the two kinds of hours apart.

    Raises
    ------
    WearInputError
        If an uncertainty is not above 0 or the offsets do not fit.

    Examples
    --------
    0.2 % a 1000 h, and 0.5 in 400 h without lubricant: they cost 0.12 points.

    >>> found = lapse_rates([0, 1000, 2000, 2400, 3400], [0, 0.2, 0.4, 0.6, 0.8],
    ...                     [0, 0, 0, 400, 400], [0.01] * 5, [0, 5])
    >>> found.within.round(3).tolist(), found.beyond.round(3).tolist(), found.cost.round(3).tolist()
    ([0.2], [0.5], [0.12])
    """
    h, e = numbers(hours, "hours"), numbers(e_percent, "e_percent")
    b, u = numbers(beyond_hours, "beyond_hours"), numbers(u_percent, "u_percent", above=0)
    bounds = offsets(starts, h.size)
    lengths = np.diff(bounds)
    strand = np.repeat(np.arange(lengths.size), lengths)
    weight = 1.0 / u**2

    def total(values: Array) -> Array:
        return np.bincount(strand, weights=values, minlength=lengths.size).astype(np.float64)

    with np.errstate(invalid="ignore", divide="ignore"):
        all_weight = total(weight)

        def centred(values: Array) -> Array:
            centre: Array = values - (total(weight * values) / all_weight)[strand]
            return centre

        w, b_c, e_c = centred(h - b), centred(b), centred(e)
        ww, bb, wb = total(weight * w * w), total(weight * b_c * b_c), total(weight * w * b_c)
        we, be = total(weight * w * e_c), total(weight * b_c * e_c)
        det = ww * bb - wb**2
        det = np.where((lengths >= _LEAST_SURVEYS) & (det > _ALIKE * ww * bb), det, np.nan)
        r_w, r_b = (bb * we - wb * be) / det, (ww * be - wb * we) / det
        chi = total(weight * (e_c - r_w[strand] * w - r_b[strand] * b_c) ** 2)
        wide = np.maximum(chi / (lengths - 3.0), 1.0)
        difference = np.sqrt(wide * (bb + ww + 2.0 * wb) / det)
    some = lengths > 0
    ran = np.full(lengths.shape, np.nan)
    ran[some] = b[bounds[1:][some] - 1] - b[bounds[:-1][some]]
    ran = np.where(np.isnan(det), np.nan, ran)
    return LapseRates(
        within=1000.0 * r_w,
        u_within=1000.0 * np.sqrt(wide * bb / det),
        beyond=1000.0 * r_b,
        u_beyond=1000.0 * np.sqrt(wide * ww / det),
        beyond_hours=ran,
        cost=(r_b - r_w) * ran,
        u_cost=difference * ran,
    )
