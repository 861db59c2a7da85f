"""Which readings of one mark vouch for one another, and what the trusted ones let a reading be.

A mark's readings in the order of time are a series. Nearly all series rise calmly and are never looked at one
by one; the few that jump are walked in :mod:`takeup.derive.miscounts`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.derive.readings import Readings
from takeup.derive.settings import MeasuringSettings
from takeup.wear.arguments import Array, Flags, Whole

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


def doubt(u_one: ArrayLike, u_two: ArrayLike) -> Array:
    """Expanded uncertainty of the difference of two readings, 2 sqrt(u1^2 + u2^2): 2 sqrt 2 u for two alike.

    Source: derived, JCGM 100:2008, 5.1.2; the coverage of 2 from the NIST/SEMATECH e-Handbook, 2.5.7.

    Examples
    --------
    >>> round(float(doubt(0.040, 0.040)), 3)
    0.113
    """
    both: Array = 2.0 * np.hypot(u_one, u_two)
    return both


def doubt_of(u_one: float, u_two: float) -> float:
    """:func:`doubt` of one pair; a number is not worth an array."""
    return 2.0 * math.hypot(u_one, u_two)


class Means(NamedTuple):
    """Means of the surveys that have standing readings, life by life in the order of time. All (k,).

    ``step`` is how far each lies above the survey before of its life, NaN for the first, and ``step_doubt``
    the expanded uncertainty of that. [%]
    """

    survey: Whole
    life: Whole
    day: Whole
    hours: Array
    e: Array
    u: Array
    step: Array
    step_doubt: Array

    def same_life(self, here: int, other: int) -> bool:
        """Whether another place exists and is of the same life."""
        return 0 <= other < self.life.size and bool(self.life[here] == self.life[other])


def means(readings: Readings, stands: Flags) -> Means:
    """Mean elongation of each survey over its standing marks, with the uncertainty of the least sure one."""
    usable = np.flatnonzero(stands & ~np.isnan(readings.e_geo))
    survey = readings.survey[usable]
    first = np.flatnonzero(np.diff(survey, prepend=-1) != 0)
    count = np.diff(np.append(first, usable.size))
    none = np.zeros(0)
    e = np.add.reduceat(readings.e_geo[usable], first) / count if first.size else none
    u = np.maximum.reduceat(readings.u_geo[usable], first) if first.size else none
    head = usable[first]
    life = readings.life[head]
    step, room = np.full(e.size, np.nan), np.full(e.size, np.nan)
    follows = np.flatnonzero(life[1:] == life[:-1]) + 1
    step[follows] = e[follows] - e[follows - 1]
    room[follows] = doubt(u[follows], u[follows - 1])
    return Means(survey[first], life, readings.day[head], readings.hours[head], e, u, step, room)


def series(readings: Readings, stands: Flags) -> tuple[Whole, Whole]:
    """The standing readings with a length, mark by mark in the order of time.

    Returns
    -------
    order : (k,) int
        Places of readings.
    starts : (s+1,) int
        Where each series begins.
    """
    usable = np.flatnonzero(stands & ~np.isnan(readings.e_geo))
    key = readings.life[usable] * max(readings.marks.size, 1) + readings.mark[usable]
    by_mark = np.argsort(key, kind="stable")
    order = usable[by_mark]
    first = np.flatnonzero(np.diff(key[by_mark], prepend=-1) != 0)
    return order, np.append(first, order.size).astype(np.int64)


#: a run passes over at most so many readings that do not fit, so that daily readings of years stay quick
_REACH = 60


def longest_run(fits: Sequence[bool], agrees: Sequence[Sequence[bool]], cost: Sequence[float]) -> list[int]:
    """The longest run of readings that each fit and agree with the one before; of equals, the cheapest.

    Parameters
    ----------
    fits : (k,) bool
        Whether each reading may be trusted at all.
    agrees : (k, k) bool
        Whether a later reading (second place) agrees with an earlier one (first).
    cost : (k,) float
        Summed over the run; decides between runs of equal length.

    Returns
    -------
    list of int
        Places of the run, rising.

    Examples
    --------
    >>> e = [1.0, 6.2, 1.3]
    >>> longest_run([True] * 3, [[abs(two - one) < 2.5 for two in e] for one in e], e)
    [0, 2]
    """
    best: list[tuple[int, float]] = []
    before: list[int] = []
    for here, its_cost in enumerate(cost):
        found, link = (int(fits[here]), -its_cost), -1
        for earlier in range(max(here - _REACH, 0), here if fits[here] else 0):
            length, saved = best[earlier]
            longer = (length + 1, saved - its_cost)
            if length and longer > found and agrees[earlier][here]:
                found, link = longer, earlier
        best.append(found)
        before.append(link)
    here = max(range(len(best)), key=lambda place: (best[place], -place), default=-1)
    run: list[int] = []
    while here >= 0 and fits[here]:
        run.append(here)
        here = before[here]
    return run[::-1]


@dataclass(frozen=True)
class Growth:
    """How far a chain may have grown between two readings."""

    bound_per_1000h: float
    times: float
    bedding_percent: float
    new_hours: float

    @classmethod
    def of(cls, settings: MeasuringSettings) -> Growth:
        """From the settings' record."""
        return cls(
            settings.growth_bound, settings.growth_times, settings.bedding_percent, settings.new_chain_hours
        )

    def most(self, from_hours: float, to_hours: float, own_rate: float | None = None) -> float:
        """Most per cent of elongation between two moments of a life.

        ``own_rate`` is the mark's own trend [%/1000 h]; without one the bound stands in.
        """
        rate = self.bound_per_1000h if own_rate is None else self.times * max(own_rate, 0.0)
        bedding = self.bedding_percent if from_hours < self.new_hours else 0.0
        return bedding + rate * max(to_hours - from_hours, 0.0) / 1000.0

    def most_of(self, from_hours: Array, to_hours: Array) -> Array:
        """The same by the bound, for many pairs of moments."""
        bedding = np.where(from_hours < self.new_hours, self.bedding_percent, 0.0)
        found: Array = bedding + self.bound_per_1000h * np.maximum(to_hours - from_hours, 0.0) / 1000.0
        return found
