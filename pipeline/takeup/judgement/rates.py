"""The wear rate of each open life, and where it came from.

A life's own rate where its surveys carry one, else the pooled rate of lives in the same service, else the
start rate of the service: its middle for the middle date, its upper end for the early one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from takeup.judgement.rule import numbers, words, yes
from takeup.judgement.settings import JudgementSettings
from takeup.wear.calibration import FleetTable
from takeup.wear.record import known_rates
from takeup.wear.trend import Phase, phase_break

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: what an elongation is worth in a rate: both ends of a difference carry the tape, the zero cancels
TWO_ENDS = np.sqrt(2.0)

#: whether the rate of a life took a survey, or why it did not: the order of :func:`in_rate`
IN_RATE = ("not_fit", "taken", "run_in", "no_rate", "after_case", "older", "before_case", "before_change")


class History(NamedTuple):
    """Surveys of the open lives that count for a rate, life after life in the order of the strands."""

    hours: Floats
    e: Floats
    day: Floats
    starts: Ints


class Rates(NamedTuple):
    """One value a life, rates in % per 1000 h."""

    rate: Floats  # in force: of one's own, pooled or start; NaN where there is none
    before: Floats  # until the case is through
    past_case: Floats  # fitted past the case; NaN: factor times before
    upper: Floats  # for the early bound of a rate that is not one's own
    u: Floats  # standard uncertainty; 0 where the rate is not one's own
    own: NDArray[np.bool_]
    n_used: Ints
    source: NDArray[np.object_]  # a key of RATE_SOURCES
    from_hours: Floats  # life hours of the first and the last survey in a rate of one's own, NaN without
    to_hours: Floats
    phase_hours: Floats  # life hours of the first survey that might have entered it


def history(strands: pd.DataFrame, surveys: pd.DataFrame) -> History:
    """The surveys that may make a rate.

    Parameters
    ----------
    strands : DataFrame
        One row an open life, column ``life_id``.
    surveys : DataFrame
        As derived: ``life_id``, ``hours``, ``day``, ``e_wear_mean``, ``usable_for_rate``.
    """
    row = pd.Index(strands["life_id"]).get_indexer(surveys["life_id"]) if len(surveys) else np.array([], int)
    hours, e = (
        (numbers(surveys, name) for name in ("hours", "e_wear_mean")) if len(surveys) else (row * 1.0,) * 2
    )
    good = (row >= 0) & np.isfinite(hours) & np.isfinite(e)
    if len(surveys):
        good &= yes(surveys, "usable_for_rate")
    at = np.flatnonzero(good)
    at = at[np.lexsort((at, hours[at], row[at]))]
    starts = np.concatenate(([0], np.cumsum(np.bincount(row[at], minlength=len(strands)))))
    day = numbers(surveys, "day")[at] if len(surveys) else np.array([], float)
    return History(hours[at], e[at], day, starts.astype(np.int64))


def rates(
    strands: pd.DataFrame,
    past: History,
    bend_percent: Floats,
    fleet: FleetTable,
    settings: JudgementSettings,
) -> Rates:
    """The rate of each open life.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    past : History
    bend_percent : (n,) float
        Where the hardened case is through. [%]
    fleet : FleetTable
    settings : JudgementSettings
    """
    machines, names = words(strands, "machine"), words(strands, "strand")

    def column(name: str) -> NDArray[Any]:
        return settings.forecast.column(name, machines, names)

    factor = column("past_case_factor")
    u_e = TWO_ENDS * numbers(strands, "u_geo")
    some = np.diff(past.starts) > 0
    known = known_rates(
        past.hours,
        past.e,
        past.starts,
        np.where(np.isnan(u_e), np.inf, u_e),
        bend_percent,
        factor,
        after_hours=column("run_in_hours"),
        phase_ratio=float(settings.forecast.value("phase_ratio")),
        window=int(settings.forecast.value("slope_surveys")),
        at=past.starts[1:][some] - 1,
    )

    def latest(values: NDArray[np.generic], blank: float) -> Floats:
        column = np.full(some.shape, blank)
        column[some] = values
        return column

    own = latest(known.own, 0.0).astype(bool)
    fitted = own & ~np.isnan(latest(known.past_case, np.nan))
    middle, upper = start_rates(strands, settings)
    pooled = fleet.pooled(words(strands, "service"))
    others = np.where(np.isnan(pooled), middle, pooled)
    before = np.where(own, latest(known.before, np.nan), others)
    with np.errstate(invalid="ignore"):
        through = numbers(strands, "e_wear_mean") > bend_percent
        multiplied = own & ~fitted & (latest(known.rate, np.nan) > before)
    rate = np.where(own, latest(known.rate, np.nan), np.where(through, factor * others, others))
    return Rates(
        rate=rate,
        before=before,
        past_case=np.where(fitted, latest(known.past_case, np.nan), np.nan),
        upper=np.where(own, np.nan, np.where(np.isnan(pooled), upper, np.fmax(pooled, upper))),
        u=np.where(own, latest(known.u_rate, np.nan), 0.0),
        own=own,
        n_used=latest(known.n_used, 0.0).astype(np.int64),
        source=np.select(
            [fitted, multiplied, own, ~np.isnan(pooled), ~np.isnan(middle)],
            np.array(["own_past_case", "own_times_factor", "own", "pooled", "start"], dtype=object),
            "none",
        ),
        from_hours=_hours_of(past, own, latest(known.first, 0.0)),
        to_hours=_hours_of(past, own, latest(known.first + known.n_used - 1, 0.0)),
        phase_hours=_hours_of(past, own, latest(known.phase, 0.0)),
    )


class Since(NamedTuple):
    """The rate between the first and the last survey past the case, one value a life; NaN below two."""

    surveys: Ints
    rate: Floats  # % per 1000 h
    expanded: Floats
    from_hours: Floats  # life hours of the first of them


def since_case(strands: pd.DataFrame, past: History, bend_percent: Floats) -> Since:
    """What the surveys since the case wore through tell of the rate, be they too few for one in force.

    r = 1000 (e2 - e1)/(h2 - h1), U = 2000 sqrt(u1^2 + u2^2)/(h2 - h1). Source: definition; GUM, first order.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    past : History
    bend_percent : (n,) float
        Where the hardened case is through. [%]
    """
    life = np.repeat(np.arange(len(strands)), np.diff(past.starts))
    with np.errstate(invalid="ignore"):
        at = np.flatnonzero(past.e > bend_percent[life])
    counted = np.bincount(life[at], minlength=len(strands)).astype(np.int64)
    first, last = np.zeros(len(strands), dtype=np.int64), np.zeros(len(strands), dtype=np.int64)
    last[life[at]] = at  # surveys of a life stand by hours, so the last is written last
    first[life[at][::-1]] = at[::-1]
    some = counted >= 2
    run, grown = np.full(len(strands), np.nan), np.full(len(strands), np.nan)
    run[some] = past.hours[last[some]] - past.hours[first[some]]
    grown[some] = past.e[last[some]] - past.e[first[some]]
    run = np.where(run > 0, run, np.nan)
    u_e = TWO_ENDS * numbers(strands, "u_geo")
    begun = np.full(len(strands), np.nan)
    begun[some] = past.hours[first[some]]
    return Since(counted, 1000 * grown / run, 2000 * TWO_ENDS * u_e / run, begun)


def _hours_of(past: History, own: NDArray[np.bool_], index: Floats) -> Floats:
    """Life hours of a survey of each life that has a rate of its own."""
    hours = np.full(own.shape, np.nan)
    hours[own] = past.hours[index[own].astype(np.int64)]
    return hours


def in_rate(strand: Mapping[str, Any], hours: float, e: float, *, fit: bool) -> str:
    """Whether the rate of a strand took one of its surveys, or why not: one of :data:`IN_RATE`.

    Parameters
    ----------
    strand : mapping
        Its row of the prognosis.
    hours, e : float
        Life hours and mean elongation of the survey. [h], [%]
    fit : bool
        Whether the survey is fit for a rate.
    """
    # A rate fitted past the case begins there; any other begins where it was found to change.
    past_case = strand["rate_source"] == "own_past_case"
    choices = {
        "not_fit": not fit or not np.isfinite(e),
        "taken": strand["rate_from_hours"] <= hours <= strand["rate_to_hours"],
        "run_in": hours <= strand["run_in_hours"],
        "no_rate": not strand["own_rate"],
        "after_case": hours > strand["rate_to_hours"],
        "older": hours >= strand["rate_phase_hours"],
        "before_case": past_case and e <= strand["bend"],
    }
    return next((word for word, holds in choices.items() if holds), "before_change")


def start_rates(strands: pd.DataFrame, settings: JudgementSettings) -> tuple[Floats, Floats]:
    """Middle and upper start rate of each strand's service; NaN where the register names no service."""
    machines, names = words(strands, "machine"), words(strands, "strand")
    forecast = settings.forecast
    service = wearing_service(strands, settings)
    middle, upper = np.full(len(strands), np.nan), np.full(len(strands), np.nan)
    for name in ("enclosed_clean", "clean", "light_bulk", "abrasive_bulk", "highly_abrasive", "severe"):
        here = service == name
        middle[here] = forecast.column(f"rate_{name}", machines, names)[here]
        upper[here] = forecast.column(f"rate_{name}_upper", machines, names)[here]
    return middle, upper


def wearing_service(strands: pd.DataFrame, settings: JudgementSettings) -> NDArray[Any]:
    """The service by which each start rate goes: highly abrasive and fast, wet or corrosive is severe."""
    machines, names = words(strands, "machine"), words(strands, "strand")
    service, speed = words(strands, "service"), numbers(strands, "speed_m_per_s")
    with np.errstate(invalid="ignore"):
        fast = speed > settings.forecast.column("slow_m_per_s", machines, names)
    severe = fast | yes(strands, "wet") | yes(strands, "corrosive")
    return np.where((service == "highly_abrasive") & severe, "severe", service)


def change(strands: pd.DataFrame, past: History, settings: JudgementSettings) -> Phase:
    """The newest change of phase of each open life."""
    machines, names = words(strands, "machine"), words(strands, "strand")
    u = numbers(strands, "u_geo")
    return phase_break(
        past.hours,
        past.e,
        past.starts,
        np.where(np.isnan(u), np.inf, u),
        after_hours=settings.forecast.column("run_in_hours", machines, names),
        ratio=float(settings.forecast.value("phase_ratio")),
    )


def seen_on(phase: Phase, past: History) -> Floats:
    """Day of the survey that showed the change, the second or third of its phase; NaN where none."""
    day = np.full(phase.found.shape, np.nan)
    if past.hours.size == 0:
        return day
    last = past.starts[1:] - 1
    first = np.minimum(phase.first, last)
    second = np.minimum(first + 1, last)
    run = past.hours[second] - past.hours[first]
    slope = 1000 * np.divide(past.e[second] - past.e[first], run, out=np.zeros(run.shape), where=run > 0)
    by_two = np.isclose(slope, phase.rate_after, rtol=1e-9)
    seen = np.where(by_two, second, np.minimum(first + 2, last))
    day[phase.found] = past.day[seen[phase.found]]
    return day
