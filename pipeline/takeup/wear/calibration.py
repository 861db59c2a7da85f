"""Bounds of a forecast from the fleet's own record of past forecasts.

A numbered table holds, by stage of life, between which multiples of the forecast nine in ten chains reached
their level, and the middle rate of each service. A fleet too young for a record of its own gets the bounds of
the formula or those of a shipped table, whichever are wider. How far ahead a forecast looks is no second
measure: the way still to go to a limit is one less the stage.

The quantiles hold for finite samples: of K past lives and one new, each is as likely as any other to be the
most extreme, so the 5 % point stands at place 0.05 (K + 1). Each life weighs the same, less the part of the
way that it was not seen to go, and its many forecasts count for more than one only as far as they differ.
Source: conformal prediction, from memory of V. Vovk, A. Gammerman and G. Shafer, *Algorithmic Learning in a
Random World*, 2005, and R. Dunn, L. Wasserman and A. Ramdas, *Distribution-free prediction sets for two-layer
hierarchical models*, 2023; the number of equal values that unequal ones and those of one life are worth from
L. Kish, *Survey Sampling*, 1965; unverified.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from takeup.errors import WearInputError
from takeup.wear.forecast import KAPPA, Bounds, doubt_hours
from takeup.wear.record import READ_BETWEEN, TWO_ENDS, Ratios, known_rates, past_ratios
from takeup.wear.trend import PHASE_RATIO, RUN_IN_HOURS, WINDOW, Floats, Ints

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: Upper edges of the stages of life, as elongation over limit; the last is open. Proposed, no source.
STAGES = (0.25, 0.5, 0.7, 0.85)
#: Part of the levels reached sooner than the early bound, and as many later than the late one.
TAIL = 0.05
#: Lives with a limit and a survey from which on a fleet's own record is used: with fewer than 19 equal ones
#: the 5 % point lies beyond every score seen.
FEWEST_LIVES = 20
#: Lives scored at a stage that count for its middle as much as the course of the shipped middles does.
#: Proposed for this project, no source.
LIVES_FOR_MIDDLE = 8
#: Lives that the other stages lend to one, taken together. Proposed for this project, no source.
LENT_LIVES = 20.0
#: Lives with a rate of their own before their service's middle is used. Proposed for this project, no source.
FEWEST_FOR_POOLED = 3
#: Factors for a fleet without a record, by stage, with a rate of one's own and without: the widest 5 and 95 %
#: points at the plants of two simulated worlds, with none, five or ten past lives to lend a rate, rounded
#: outwards to 0.05 (``python -m tests.benchmarks.shipped``), and shown on others.
SHIPPED_OWN = ((0.35, 1.9), (0.4, 1.95), (0.45, 2.15), (0.45, 2.35), (0.55, 2.25))
SHIPPED_NONE = ((0.4, 2.6), (0.35, 2.3), (0.3, 2.1), (0.3, 2.05), (0.4, 2.15))
#: Middles of the same, with thirty past lives, rounded to 0.01: only their course from stage to stage counts.
COURSE_OWN = (0.83, 0.91, 0.98, 0.99, 0.98)
COURSE_NONE = (1.17, 1.03, 0.85, 0.82, 0.89)
#: Number of the form in which a table is archived: 2 knows stages alone, 1 had look-aheads too.
FORM = 2
#: 95 % point of the normal distribution, to join the doubt of the zero to the record's.
NORMAL_95 = 1.6448536269514722


@dataclass(frozen=True)
class Cell:
    """Between which multiples of the forecast nine in ten levels were reached, at one stage of life.

    ``own`` says whether the forecasts stood on a rate of the life's own, ``forecasts`` how many were made at
    the stage, ``lent`` how many the other stages lent to it, and ``lives`` whose they are. ``low`` and
    ``high`` multiply the hours forecast plus the tape's doubt.
    """

    own: bool
    stage: int
    forecasts: int
    lent: int
    lives: int
    low: float
    high: float


@dataclass(frozen=True)
class PooledRate:
    """The middle of the newest own rates of one service's lives, in % per 1000 h before the case."""

    service: str
    lives: int
    middle: float


@dataclass(frozen=True)
class FleetTable:
    """The numbered record of a fleet's past forecasts, renewed now and then and named in every verdict.

    ``renewed_on`` is an ISO date, ``lives`` the number of lives with a limit and a survey.
    """

    number: int
    renewed_on: str
    lives: int
    cells: tuple[Cell, ...]
    rates: tuple[PooledRate, ...]

    def to_dict(self) -> dict[str, Any]:
        """As plain JSON values; :meth:`from_dict` gives the equal table back."""
        return {
            "form": FORM,
            "number": self.number,
            "renewed_on": self.renewed_on,
            "lives": self.lives,
            "cells": [asdict(cell) for cell in self.cells],
            "rates": [asdict(rate) for rate in self.rates],
        }

    @classmethod
    def from_dict(cls, given: Mapping[str, Any]) -> FleetTable:
        """The table that :meth:`to_dict` wrote.

        Raises
        ------
        WearInputError
            If a part is missing or of another shape, or the table was written in another form.
        """
        if given.get("form") != FORM:
            raise WearInputError(
                f"fleet table {given.get('number')} is of form {given.get('form')}; this version reads "
                f"form {FORM}",
                todo="The next night renews it.",
            )
        try:
            table = cls(
                int(given["number"]),
                str(given["renewed_on"]),
                int(given["lives"]),
                tuple(Cell(**cell) for cell in given["cells"]),
                tuple(PooledRate(**rate) for rate in given["rates"]),
            )
        except (KeyError, TypeError, ValueError) as error:
            raise WearInputError(
                f"this is not a fleet table: {error!r}", todo="Take the table from the archive again."
            ) from error
        for cell in table.cells:
            if not 0 <= cell.stage <= len(STAGES):
                raise WearInputError(
                    f"fleet table {table.number} has a stage {cell.stage}, which is not in use",
                    todo="Take the table from the archive again.",
                )
        return table

    def pooled(self, services: ArrayLike) -> Floats:
        """The pooled rate of each strand's service, NaN where too few lives had one. [% per 1000 h]."""
        known = {rate.service: rate.middle for rate in self.rates}
        names, place = np.unique(np.asarray(services, dtype=str), return_inverse=True)
        return np.array([known.get(name, np.nan) for name in names.tolist()], dtype=np.float64)[place]


#: A fleet of which nothing is known yet.
EMPTY_TABLE = FleetTable(0, "", 0, (), ())


class FleetBounds(NamedTuple):
    """Hours from the newest survey, and what they stand on, (n,) each.

    Where ``calibrated``, the fleet's record gave early and late, from ``forecasts`` past forecasts made at
    this stage and ``lent`` by the others, of ``lives`` lives; ``low`` and ``high`` are its factors, before
    the doubt of tape and zero. Elsewhere the counts are 0 and the factors NaN.
    """

    early: Floats
    middle: Floats
    late: Floats
    calibrated: NDArray[np.bool_]
    forecasts: Ints
    lives: Ints
    lent: Ints
    low: Floats
    high: Floats


def weighted_points(value: Floats, weight: Floats, parts: ArrayLike) -> Floats:
    """The values below which some parts of the weight lie, each value in the middle of its own; else NaN.

    Examples
    --------
    >>> weighted_points(np.array([3.0, 1.0]), np.array([1.0, 1.0]), [0.2, 0.25, 0.5]).tolist()
    [nan, 1.0, 2.0]
    """
    order = np.argsort(value, kind="stable")
    total = np.cumsum(weight[order])
    place = (total - weight[order] / 2) / total[-1]
    wanted = np.asarray(parts, dtype=np.float64)
    found: Floats = np.interp(wanted, place, value[order], left=np.nan, right=np.nan)
    return found


def new_life_points(
    life: Ints, value: Floats, weight: Floats, tail: float = TAIL
) -> tuple[float, float, float]:
    """The points below and above which the value of a new life falls with chance ``tail`` each.

    Parameters
    ----------
    life : (k,) int
        Whose value it is.
    value, weight : (k,) float
        Weights above 0; 1 over their number, and a life's values together weigh 1.
    tail : float

    Returns
    -------
    low, high : float
        NaN with too few lives for such a point.
    worth : float
        How many independent values of equal weight these are worth: the square of the sum over the sum of
        squares, values of one life counted together as far as they are alike (:func:`likeness`).

    Examples
    --------
    One value a life: of 39 lives the 5 % point is the second lowest.

    >>> [round(float(x), 9) for x in new_life_points(np.arange(39), np.arange(39.0), np.ones(39))]
    [1.0, 37.0, 39.0]
    >>> new_life_points(np.arange(9), np.arange(9.0), np.ones(9))
    (nan, nan, 9.0)
    """
    if life.size == 0:
        return np.nan, np.nan, 0.0
    _, whose = np.unique(life, return_inverse=True)
    alike = likeness(whose, value)
    together, apart = np.bincount(whose, weights=weight) ** 2, np.bincount(whose, weights=weight**2)
    worth = float(weight.sum() ** 2 / (alike * together + (1 - alike) * apart).sum())
    # The k-th lowest of K equal lives stands in the middle of its share, at (k - 1/2)/K of the weight.
    part = (tail * (worth + 1) - 0.5) / worth
    low, high = weighted_points(value, weight, [part, 1 - part])
    return float(low), float(high), worth


def likeness(life: Ints, value: Floats) -> float:
    """How alike the values of one life are: 0 not at all, 1 so that one tells as much as all.

    The intraclass correlation of a one-way analysis of variance, lives being the classes. Source: R. A.
    Fisher, *Statistical Methods for Research Workers*, 1925, chapter VII, from memory.

    Parameters
    ----------
    life : (k,) int
        Whose value it is, counted from 0 without gaps.
    value : (k,) float

    Examples
    --------
    >>> likeness(np.array([0, 0, 1, 1]), np.array([1.0, 1.0, 3.0, 3.0]))
    1.0
    >>> round(likeness(np.array([0, 0, 1, 1]), np.array([1.0, 2.0, 3.0, 4.0])), 3)
    0.778
    """
    count = np.bincount(life)
    lives, total = count.size, life.size
    if lives < 2 or total == lives:
        return 1.0
    mean = np.bincount(life, weights=value) / count
    between = (count * (mean - value.mean()) ** 2).sum() / (lives - 1)
    within = ((value - mean[life]) ** 2).sum() / (total - lives)
    a_life = (total - (count**2).sum() / total) / (lives - 1)
    whole = between + (a_life - 1) * within
    return float(np.clip((between - within) / whole, 0.0, 1.0)) if whole > 0 else 1.0


def stage_of(share_of_limit: ArrayLike) -> Ints:
    """Number of the stage of life, from elongation over limit.

    Examples
    --------
    >>> stage_of([0.15, 0.5, 0.95]).tolist()
    [0, 2, 4]
    """
    return np.searchsorted(np.array(STAGES), np.asarray(share_of_limit, dtype=np.float64), side="right")


class _Scores(NamedTuple):
    """The scores of one stage, (k,) each; how many lives they are of, and their middle.

    ``scatter`` is their mean square about the middle, ``known`` the part of it that rates and tape account
    for, ``forecast_part`` the mean square of the part of a score that is forecast and not doubt.
    """

    life: Ints
    value: Floats
    weight: Floats
    lives: int
    middle: float
    scatter: float
    known: float
    forecast_part: float


def _scores(ratios: Ratios, at: Ints) -> _Scores:
    life, value = ratios.life[at], ratios.log_ratio[at]
    _, whose, count = np.unique(life, return_inverse=True, return_counts=True)
    weight = ratios.seen[at] / count[whose]
    middle = float(weighted_points(value, weight, 0.5))
    squares = (
        float((weight * part**2).sum() / weight.sum())
        for part in (value - middle, ratios.u_log[at], ratios.forecast_part[at])
    )
    return _Scores(life, value, weight, int(count.size), middle, *squares)


def _middles(found: Mapping[int, _Scores], course: Floats) -> Floats:
    """The middle of every stage: its own as far as its lives vouch for it, else the shipped course.

    The course is first moved to the level of the record; a stage of n lives keeps n/(n + 8) of what it still
    differs by. Source: shrinkage of group means, from memory of B. Efron and C. Morris, *Stein's Paradox in
    Statistics*, 1977; the number proposed for this project, no source.
    """
    apart, lives = np.zeros(course.size), np.zeros(course.size)
    for stage, scores in found.items():
        apart[stage], lives[stage] = scores.middle - course[stage], scores.lives
    level = (lives * apart).sum() / lives.sum()
    middles: Floats = course + level + lives / (lives + LIVES_FOR_MIDDLE) * (apart - level)
    return middles


def _lent(mine: _Scores, at: float, others: list[tuple[_Scores, float]]) -> list[_Scores]:
    """The scores of other stages as one stage may use them: few, about its own middle, with its own doubt.

    Stages differ in their middle and in how sure rate and tape are; what a rate does later scatters alike. So
    what is lent is moved from middle to middle, and its scatter less what rates and tape make of it is joined
    by what they make of the borrower's. The middle of n lives is itself unsure by pi/(2n) of their variance.
    Source of the variance: the normal theory of the median, from memory; of the lending: proposed for this
    project, no source.
    """
    worth = sum(float(scores.weight.sum()) for scores, _ in others)
    share = min(1.0, LENT_LIVES / worth) if worth else 0.0
    unsure = 1 + math.pi / (2 * (mine.lives + LIVES_FOR_MIDDLE))
    lent = []
    for scores, middle in others:
        later = max(scores.scatter - scores.known, 0.0) * mine.forecast_part / scores.forecast_part
        wider = (later + mine.known) / scores.scatter if scores.scatter else 1.0
        value = at + math.sqrt(unsure * wider) * (scores.value - middle)
        lent.append(scores._replace(value=value, weight=share * scores.weight))
    return lent


def _cells(ratios: Ratios) -> tuple[Cell, ...]:
    """One cell for each stage where its own scores and what is lent are enough for both points."""
    cells, stages = [], stage_of(ratios.stage)
    for own, course in ((True, COURSE_OWN), (False, COURSE_NONE)):
        found = {
            stage: _scores(ratios, at)
            for stage in range(len(STAGES) + 1)
            if (at := np.flatnonzero((ratios.own == own) & (stages == stage))).size
        }
        if not found:
            continue
        middles = _middles(found, np.log(course))
        for stage in range(len(STAGES) + 1):
            mine = found.get(stage)
            # A stage nobody was forecast at yet is as sure as the nearest.
            like = mine or found[min(found, key=lambda other: (abs(other - stage), other))]._replace(lives=0)
            others = [(scores, middles[other]) for other, scores in found.items() if other != stage]
            used = [*([mine] if mine else []), *_lent(like, middles[stage], others)]
            life, value, weight = (
                np.concatenate([getattr(scores, name) for scores in used])
                for name in ("life", "value", "weight")
            )
            low, high, _ = new_life_points(life, value, weight)
            if not (math.isnan(low) or math.isnan(high)):
                made, lives = mine.value.size if mine else 0, int(np.unique(life).size)
                cells.append(Cell(own, stage, made, life.size - made, lives, math.exp(low), math.exp(high)))
    return tuple(cells)


def _middle(sorted_rates: Floats) -> float:
    count = sorted_rates.size
    return float((sorted_rates[(count - 1) // 2] + sorted_rates[count // 2]) / 2)


def pooled_rates(service: ArrayLike, own_rate: Floats) -> tuple[PooledRate, ...]:
    """The middle of the rates known in each service that has enough of them.

    Parameters
    ----------
    service : (m,) str
    own_rate : (m,) float
        NaN for a life without. [% per 1000 h]

    Examples
    --------
    >>> pooled_rates(["a", "a", "a", "b"], np.array([0.2, 0.3, 0.7, 0.4]))
    (PooledRate(service='a', lives=3, middle=0.3),)
    """
    names = np.asarray(service, dtype=str)
    found = []
    for name in np.unique(names).tolist():
        rates = np.sort(own_rate[(names == name) & ~np.isnan(own_rate)])
        if rates.size >= FEWEST_FOR_POOLED:
            found.append(PooledRate(name, int(rates.size), _middle(rates)))
    return tuple(found)


def _rate_of_others(service: NDArray[np.str_], own_rate: Floats, start_rate: Floats) -> Floats:
    """For each life the middle rate of the *other* lives of its service, else the start rate."""
    found = start_rate.astype(np.float64).copy()
    for name in np.unique(service):
        rows = np.flatnonzero((service == name) & ~np.isnan(own_rate))
        rows = rows[np.argsort(own_rate[rows], kind="stable")]
        rates = own_rate[rows]
        if rates.size >= FEWEST_FOR_POOLED:
            found[service == name] = _middle(rates)
            # Without the k-th, each place from the k-th on is taken by the next.
            place, rest = np.arange(rates.size), rates.size - 1
            low, high = (rest - 1) // 2, rest // 2
            found[rows] = (rates[low + (place <= low)] + rates[high + (place <= high)]) / 2
    return found


def fleet_table(
    number: int,
    renewed_on: str,
    hours: ArrayLike,
    e_percent: ArrayLike,
    starts: ArrayLike,
    limit_percent: ArrayLike,
    u_rate_percent: ArrayLike,
    service: ArrayLike,
    start_rate: ArrayLike,
    e_case_percent: ArrayLike = np.nan,
    kappa: ArrayLike = KAPPA,
    *,
    after_hours: ArrayLike = RUN_IN_HOURS,
    phase_ratio: float = PHASE_RATIO,
    window: int = WINDOW,
) -> FleetTable:
    """Score the whole fleet's past, closed lives and running ones.

    Parameters
    ----------
    number : int
        Number of the table, counted up by the caller.
    renewed_on : str
        ISO date.
    hours, e_percent, starts, limit_percent, u_rate_percent, e_case_percent, kappa
        As in :func:`takeup.wear.record.known_rates`, and the limit of each life.
    after_hours, phase_ratio, window
        As there.
    service : (m,) str
        Name of each life's service.
    start_rate : float or (m,) float
        Rate of the service before any history. [% per 1000 h]

    Returns
    -------
    FleetTable

    Raises
    ------
    WearInputError
        See :func:`takeup.wear.trend.ragged`.

    Examples
    --------
    >>> h, e = [500, 1500, 2500], [0.2, 0.5, 0.8]
    >>> table = fleet_table(1, "2026-03-01", h, e, [0, 3], 2.0, 0.04, ["dry"], 0.4)
    >>> table.lives, table.cells, table == FleetTable.from_dict(table.to_dict())
    (1, (), True)
    """
    s = np.asarray(starts, dtype=np.int64)
    names = np.asarray(service, dtype=str)
    start, limit = (
        np.broadcast_to(np.asarray(value, dtype=np.float64), names.shape)
        for value in (start_rate, limit_percent)
    )
    known = known_rates(
        hours,
        e_percent,
        s,
        u_rate_percent,
        e_case_percent,
        kappa,
        after_hours=after_hours,
        phase_ratio=phase_ratio,
        window=window,
    )
    surveyed = np.diff(s) > 0
    newest = np.full(names.shape, np.nan)
    newest[surveyed] = known.before[s[1:][surveyed] - 1]
    others = _rate_of_others(names, newest, start)
    ratios = past_ratios(hours, e_percent, s, limit, u_rate_percent, known, e_case_percent, kappa, others)
    lives = int((surveyed & ~np.isnan(limit)).sum())
    cells = _cells(ratios) if lives >= FEWEST_LIVES else ()
    return FleetTable(number, renewed_on, lives, cells, pooled_rates(names, newest))


def _looked_up(table: FleetTable, own: NDArray[np.bool_], stage: Ints) -> tuple[Floats, Ints]:
    """Low and high factor (2, n), forecasts, lives and lent (3, n); NaN and 0 where nothing is said."""
    shape = (2, 2, len(STAGES) + 1)
    factors, counts = np.full(shape, np.nan), np.zeros((3, *shape[1:]), dtype=np.int64)
    for cell in table.cells:
        factors[:, int(cell.own), cell.stage] = cell.low, cell.high
        counts[:, int(cell.own), cell.stage] = cell.forecasts, cell.lives, cell.lent
    here = (slice(None), own.astype(np.int64), stage)
    return factors[here], counts[here]


def bounds(
    table: FleetTable,
    own: ArrayLike,
    e_percent: ArrayLike,
    limit_percent: ArrayLike,
    rate: ArrayLike,
    u_rate_percent: ArrayLike,
    u_zero_percent: ArrayLike,
    formula: Bounds,
) -> FleetBounds:
    """Early and late hours to the limit by the fleet's record, else the wider of formula and shipped table.

    The record's factors multiply the hours forecast plus the doubt of the tape
    (:func:`takeup.wear.forecast.doubt_hours`), which is then taken off again. The zero of a life is common to
    all its surveys, so no record can know its error: it is added as a square, as far as it is more than what
    the record holds too much, since when a past life reached its level was itself read by tape. Source:
    proposed for this project, no source.

    Parameters
    ----------
    table : FleetTable
    own : (n,) bool
        Whether the forecast stands on a rate of the life's own.
    e_percent, limit_percent : (n,) float
        Elongation at the newest survey and the limit, same zero. [%]
    rate : (n,) float
        Rate in force at the newest survey. [% per 1000 h]
    u_rate_percent : (n,) float
        Standard uncertainty of one elongation in a rate, the common zero cancelling. [%]
    u_zero_percent : (n,) float
        Standard uncertainty of the zero of the limit; 0 for a limit counted from nominal pitch. [%]
    formula : Bounds
        From :func:`takeup.wear.forecast.handbook_bounds`; its middle is the forecast. Without a rate of one's
        own its early one takes the upper end of the service.

    Returns
    -------
    FleetBounds
        Middle as given; NaN where that is NaN.

    Examples
    --------
    >>> told = Bounds(np.array([1012.0]), np.array([1569.0]), np.array([2280.0]))
    >>> young = bounds(EMPTY_TABLE, [True], [1.552], [1.969], [0.2656], [0.056], [0.04], told)
    >>> young.calibrated.tolist(), bool(young.early[0] < 1012)
    ([False], True)
    """
    mine = np.asarray(own, dtype=bool)
    e, limit, r, u, u_zero = (
        np.broadcast_to(np.asarray(value, dtype=np.float64), mine.shape)
        for value in (e_percent, limit_percent, rate, u_rate_percent, u_zero_percent)
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        stage = stage_of(e / limit)
        (of_low, of_high), counts = _looked_up(table, mine, stage)
        calibrated = ~np.isnan(of_low) & np.isfinite(formula.middle) & (r > 0)
        shipped = np.where(mine[:, None], np.array(SHIPPED_OWN)[stage], np.array(SHIPPED_NONE)[stage])
        low, high = np.where(calibrated, of_low, shipped[:, 0]), np.where(calibrated, of_high, shipped[:, 1])
        middle, doubt = formula.middle, doubt_hours(u, r)
        known = np.where(calibrated, READ_BETWEEN * (u / TWO_ENDS) ** 2, 0.0)
        zero = (1000 * NORMAL_95 / r) ** 2 * np.maximum(u_zero**2 - known, 0.0)
        early, late = (middle + doubt) * low - doubt, (middle + doubt) * high - doubt
        down, up = np.maximum(middle - early, 0), np.maximum(late - middle, 0)
        early = np.clip(early - (np.sqrt(down**2 + zero) - down), 0.0, middle)
        late = np.maximum(late + (np.sqrt(up**2 + zero) - up), middle)
    early = np.where(calibrated, early, np.fmin(early, formula.early))
    late = np.where(calibrated, late, np.fmax(late, formula.late))
    early, late = (np.where(np.isnan(middle), np.nan, bound) for bound in (early, late))
    forecasts, lives, lent = np.where(calibrated, counts, 0)
    factors = np.where(calibrated, (of_low, of_high), np.nan)
    return FleetBounds(early, middle, late, calibrated, forecasts, lives, lent, *factors)
