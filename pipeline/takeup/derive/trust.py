"""Which readings of one mark vouch for one another, and what the trusted ones let a reading be.

A mark's readings in the order of time are a series. Nearly all series rise calmly and are never looked at one
by one; the few that jump are walked in :mod:`takeup.derive.miscounts`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

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


def longest_run(
    count: int, fit: Callable[[int], bool], agree: Callable[[int, int], bool], cost: Sequence[float]
) -> list[int]:
    """The longest run of readings that each fit and agree with the one before; of equals, the cheapest.

    Parameters
    ----------
    count : int
        Readings of the series.
    fit : function of a place
        Whether the reading may be trusted at all.
    agree : function of an earlier and a later place
    cost : (count,) float
        Summed over the run; decides between runs of equal length.

    Returns
    -------
    list of int
        Places of the run, rising.

    Examples
    --------
    >>> e = [1.0, 6.2, 1.3]
    >>> longest_run(3, lambda i: True, lambda i, j: abs(e[j] - e[i]) < 2.5, e)
    [0, 2]
    """
    best: list[tuple[int, float]] = []
    before: list[int] = []
    for here in range(count):
        found, link = (1, -cost[here]), -1
        if not fit(here):
            found = (0, 0.0)
        else:
            for earlier in range(here):
                length, negative = best[earlier]
                if length and agree(earlier, here) and (length + 1, negative - cost[here]) > found:
                    found, link = (length + 1, negative - cost[here]), earlier
        best.append(found)
        before.append(link)
    run: list[int] = []
    here = max(range(count), key=lambda place: (best[place], -place)) if count else -1
    if here >= 0 and best[here][0]:
        while here >= 0:
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
