"""Run hours that go on through every reset, new meter and roll-over of the meter that showed them.

:func:`continuous_hours` turns the readings of many machines into hours that only rise, and says of each
reading how it was joined on. :func:`hour_curve` makes them a curve to look hours up in: at a moment
(:func:`hours_at`), per day over a window (:func:`mean_per_day`), and the moment at which hours were reached
(:func:`day_reached`).

A moment is a day number with its fraction: whole days since 1970-01-01 on the site's wall clock. A date
without a time stands at midday. Machines are laid end to end; a machine is its place in ``starts``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.errors import WearInputError
from takeup.wear.arguments import Array, Flags, Whole, numbers, offsets

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

HOURS_PER_DAY = 24.0


class Step(IntEnum):
    """How a reading was joined to the last one used before it."""

    FIRST = 0
    RUN = 1
    ROLLED_OVER = 2
    RESTARTED = 3
    """A record says reset or new meter; the hours since the last reading are bridged."""
    DROPPED = 4
    """Fell without a record and without being a roll-over; bridged until somebody says what happened."""
    FELL_ALONE = 5
    """Fell, and the next readings carry on as if it had not: set aside."""
    TOO_FAST = 6
    """More than a day holds: set aside."""


BRIDGED = (Step.RESTARTED, Step.DROPPED)
SET_ASIDE = (Step.FELL_ALONE, Step.TOO_FAST)


class Continuous(NamedTuple):
    """One value a reading; see :func:`continuous_hours`."""

    hours: Array
    bridged_hours: Array
    step: Whole
    stuck: Flags


def continuous_hours(
    meter_hours: ArrayLike,
    pos: ArrayLike,
    starts: ArrayLike,
    *,
    restarted: ArrayLike,
    by_date: ArrayLike,
    moduli: Sequence[float],
    near_top: float,
    slack_hours: float,
    stuck_days: float,
    window_days: float,
    fallback_per_day: ArrayLike,
) -> Continuous:
    """Meter readings as hours that only rise, and how each reading was joined on.

    - A rise of more than 24 h a day (and the slack) is set aside; the next reading is held against the last
      one used.
    - A fall from near the top of the meter's range that makes a possible rise with one modulus added is a
      roll-over: 9961 h to 37 h is 76 h with a modulus of 10 000.
    - A fall after which the readings carry on as if it had not been is one wrong reading: set aside.
    - Any other fall, and every reading before which a record says reset or new meter, is bridged: calendar
      days x the machine's own mean per day in the window before (else over its whole record, else the
      fallback). The bridged hours are summed beside, for their own uncertainty.
    - A fall within the slack is the rounding of whoever read: the hours stay level.

    Source: common practice, no source; bridging proposed for this project, no source.

    Parameters
    ----------
    meter_hours : (n,) float
        As shown. [h]
    pos : (n,) float
        Moment of each reading, rising within a machine. [d]
    starts : (m+1,) int
        Where each machine begins, then n.
    restarted : (n,) bool
        A record says that the meter was reset or changed before this reading.
    by_date : (n,) bool
        The reading has a date and no time, so its moment may be off by half a day either way.
    moduli : sequence of float
        Hours at which meters start again from nought, smallest first. [h]
    near_top : float
        Share of the modulus below its top in which a fall may be a roll-over, 0 to 1.
    slack_hours : float
        Tolerance on 24 h a day and on a level meter. [h]
    stuck_days : float
        A meter that shows the same for longer is called stuck. [d]
    window_days : float
        Window of the mean before a bridge. [d]
    fallback_per_day : (m,) float
        Mean per day of a machine with no usable pair of readings, NaN if not known. [h/d]

    Returns
    -------
    Continuous
        ``hours`` (n,): equal to the meter up to the first restart, NaN where the reading is set aside or the
        bridge cannot be reckoned [h]; ``bridged_hours`` (n,): how many of them were bridged so far [h];
        ``step`` (n,): a :class:`Step`; ``stuck`` (n,): the meter has shown the same since the reading before,
        for longer than ``stuck_days`` in all.

    Raises
    ------
    WearInputError
        If a reading is not known or negative, moments step back within a machine, or the offsets do not fit.

    Examples
    --------
    One machine, read weekly, whose four-figure meter rolls over:

    >>> told = continuous_hours([9885.0, 9961.0, 37.0, 120.0], [0, 7, 14, 21], [0, 4], restarted=[False] * 4,
    ...     by_date=[False] * 4, moduli=(1e4, 1e5, 1e6), near_top=0.1, slack_hours=1, stuck_days=21,
    ...     window_days=90, fallback_per_day=[np.nan])
    >>> told.hours.tolist(), [Step(step).name for step in told.step]
    ([9885.0, 9961.0, 10037.0, 10120.0], ['FIRST', 'RUN', 'ROLLED_OVER', 'RUN'])
    """
    meter = numbers(meter_hours, "meter_hours", at_least=0)
    moment = numbers(pos, "pos")
    bounds = offsets(starts, meter.size)
    machine = np.repeat(np.arange(bounds.size - 1), np.diff(bounds))
    _refuse_disorder(meter, moment, machine)
    record = np.broadcast_to(np.asarray(restarted, dtype=bool), meter.shape)
    dated = np.broadcast_to(np.asarray(by_date, dtype=bool), meter.shape)
    fallback = np.broadcast_to(numbers(fallback_per_day, "fallback_per_day", at_least=0), (bounds.size - 1,))

    step = np.full(meter.shape, int(Step.RUN), dtype=np.int64)
    step[bounds[:-1][np.diff(bounds) > 0]] = Step.FIRST
    hours, bridged = meter.copy(), np.zeros_like(meter)

    # Nearly every reading follows the one before it at a possible pace; only the others are walked singly.
    same = machine[1:] == machine[:-1]
    rise = np.diff(meter)
    most = HOURS_PER_DAY * np.diff(moment) + slack_hours + 12.0 * (dated[1:].astype(float) + dated[:-1])
    odd = same & ((rise < 0) | (rise > most) | record[1:])
    odd_at = np.flatnonzero(odd) + 1
    for place in np.unique(machine[odd_at]):
        part = slice(bounds[place], bounds[place + 1])
        walk = _Walk(
            meter[part].tolist(),
            moment[part].tolist(),
            record[part].tolist(),
            dated[part].tolist(),
            moduli,
            near_top,
            slack_hours,
        )
        its_own = odd_at[slice(*np.searchsorted(odd_at, bounds[place : place + 2]))] - bounds[place]
        step[part], modulus = walk.steps(its_own.tolist())
        hours[part], bridged[part] = _joined(
            meter[part], moment[part], step[part], np.asarray(modulus), window_days, float(fallback[place])
        )
    return Continuous(hours, bridged, step, _stuck(meter, moment, machine, step, stuck_days))


def _refuse_disorder(meter: Array, moment: Array, machine: Whole) -> None:
    unknown = np.isnan(meter) | np.isnan(moment)
    back = np.zeros(meter.shape, dtype=bool)
    back[1:] = (machine[1:] == machine[:-1]) & (np.diff(moment) < 0)
    if unknown.any() or back.any():
        place = int(np.flatnonzero(unknown | back)[0])
        raise WearInputError(
            f"reading {place} ({meter[place]} h at {moment[place]}) is not known or earlier than the last",
            where="meter_hours",
            why="Hours are joined reading by reading in the order of time.",
            todo="Hand over known readings sorted by machine and moment.",
        )


@dataclass(frozen=True)
class _Walk:
    """The readings of one machine, each held against the last one used before it."""

    meter: list[float]
    moment: list[float]
    record: list[bool]
    dated: list[bool]
    moduli: Sequence[float]
    near_top: float
    slack: float

    def steps(self, odd: list[int]) -> tuple[list[int], list[float]]:
        """The step to each reading, and the modulus it added; ``odd`` are the readings to look at."""
        steps, added = [int(Step.RUN)] * len(self.meter), [0.0] * len(self.meter)
        steps[0] = int(Step.FIRST)
        here = 0
        for start in odd:
            if start <= here:
                continue  # settled while the last odd one was
            for here in range(start, len(self.meter)):
                step, added[here] = self.step(start - 1, here)
                steps[here] = int(step)
                if step not in SET_ASIDE:
                    break
        return steps, added

    def step(self, last: int, here: int) -> tuple[Step, float]:
        rise = self.meter[here] - self.meter[last]
        if self.record[here]:
            return Step.RESTARTED, 0.0
        if rise >= -self.slack:
            return (Step.RUN if rise <= self.most(last, here) else Step.TOO_FAST), 0.0
        if modulus := self.modulus_between(last, here):
            return Step.ROLLED_OVER, modulus
        return (Step.FELL_ALONE if self.fell_alone(last, here) else Step.DROPPED), 0.0

    def most(self, earlier: int, later: int) -> float:
        """Hours that can have run between two readings."""
        days = self.moment[later] - self.moment[earlier]
        return HOURS_PER_DAY * days + self.slack + 12.0 * (self.dated[earlier] + self.dated[later])

    def modulus_between(self, last: int, here: int) -> float:
        for modulus in self.moduli:
            at_top = (1.0 - self.near_top) * modulus <= self.meter[last] < modulus
            if at_top and self.meter[here] + modulus - self.meter[last] <= self.most(last, here):
                return modulus
        return 0.0

    def fell_alone(self, last: int, here: int) -> bool:
        """Whether the first later reading that fits either line fits the one before the fall."""
        for after in range(here + 1, len(self.meter)):
            if self.record[after]:
                return False
            if 0.0 <= self.meter[after] - self.meter[here] <= self.most(here, after):
                return False
            if 0.0 <= self.meter[after] - self.meter[last] <= self.most(last, after):
                return True
        return False


def _joined(
    meter: Array, moment: Array, step: Whole, modulus: Array, window_days: float, fallback: float
) -> tuple[Array, Array]:
    """Continuous and bridged hours of one machine from the steps found."""
    used = np.flatnonzero(~np.isin(step, SET_ASIDE))
    days, rise = np.diff(moment[used]), np.diff(meter[used]) + modulus[used][1:]
    to_bridge = np.isin(step[used][1:], BRIDGED)
    ends = moment[used][1:]
    gain = np.zeros_like(rise)
    for gap in np.flatnonzero(to_bridge):
        before = ~to_bridge & (np.arange(rise.size) < gap) & (ends > ends[gap] - days[gap] - window_days)
        gain[gap] = days[gap] * _pace(rise, days, (before, ~to_bridge), fallback)
    offset = np.cumsum(modulus[used][1:] + np.where(to_bridge, gain - rise, 0.0))
    joined = meter[used] + np.concatenate(([0.0], offset))
    hours, bridged = np.full_like(meter, np.nan), np.full_like(meter, np.nan)
    hours[used] = np.maximum.accumulate(joined)
    bridged[used] = np.concatenate(([0.0], np.cumsum(gain)))
    return hours, bridged


def _pace(rise: Array, days: Array, choices: tuple[Flags, ...], fallback: float) -> float:
    """Mean hours per day over the first choice of steps that spans any time."""
    for chosen in choices:
        if days[chosen].sum() > 0:
            return min(max(float(rise[chosen].sum() / days[chosen].sum()), 0.0), HOURS_PER_DAY)
    return fallback


def _stuck(meter: Array, moment: Array, machine: Whole, step: Whole, stuck_days: float) -> Flags:
    """Readings, after the first of its run, that show the same for longer than the days allowed."""
    used = np.flatnonzero(~np.isin(step, SET_ASIDE))
    stuck = np.zeros(meter.shape, dtype=bool)
    if used.size < 2:
        return stuck
    level = (np.diff(meter[used]) == 0) & (step[used][1:] == Step.RUN) & (np.diff(machine[used]) == 0)
    run = np.concatenate(([0], np.cumsum(~level)))
    first = np.concatenate(([True], ~level))
    lasts = np.concatenate((np.flatnonzero(first)[1:] - 1, [used.size - 1]))
    span = moment[used][lasts] - moment[used][first]
    stuck[used] = ~first & (span[run] > stuck_days)
    return stuck


@dataclass(frozen=True)
class HourCurve:
    """Continuous hours of many machines, to look up in. Made by :func:`hour_curve`.

    Attributes
    ----------
    starts : (m+1,) int
        Where each machine's readings in use begin.
    pos, hours, bridged_hours : (k,) float
        Readings in use. [d, h, h]
    stuck : (k,) bool
    """

    starts: Whole
    pos: Array
    hours: Array
    bridged_hours: Array
    stuck: Flags
    pos_order: _Order
    hour_order: _Order


@dataclass(frozen=True)
class _Order:
    """Whole-number keys that rise through (machine, value), so that one search serves all, exactly."""

    grid: Array
    keys: Whole

    @classmethod
    def of(cls, machine: Whole, values: Array) -> _Order:
        grid = np.unique(values)
        return cls(grid, machine * (grid.size + 1) + np.searchsorted(grid, values) + 1)

    def last_not_above(self, machine: Whole, wanted: Array) -> Whole:
        """Place of the machine's last value <= wanted; before the machine's first place if there is none."""
        rank = np.searchsorted(self.grid, wanted, side="right")
        return np.searchsorted(self.keys, machine * (self.grid.size + 1) + rank, side="right") - 1

    def first_not_below(self, machine: Whole, wanted: Array) -> Whole:
        """Place of the machine's first value >= wanted; past the machine's last place if there is none."""
        rank = np.searchsorted(self.grid, wanted, side="left")
        return np.searchsorted(self.keys, machine * (self.grid.size + 1) + rank + 1, side="left")


def hour_curve(told: Continuous, pos: ArrayLike, starts: ArrayLike) -> HourCurve:
    """The readings in use as one curve a machine.

    Parameters
    ----------
    told : Continuous
        From :func:`continuous_hours`.
    pos, starts
        As handed to it.

    Returns
    -------
    HourCurve

    Raises
    ------
    WearInputError
        If the offsets do not fit.
    """
    bounds = offsets(starts, told.hours.size)
    in_use = ~np.isnan(told.hours)
    machine = np.repeat(np.arange(bounds.size - 1), np.diff(bounds))[in_use]
    moment = numbers(pos, "pos")[in_use]
    counts = np.bincount(machine, minlength=bounds.size - 1)
    return HourCurve(
        starts=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        pos=moment,
        hours=told.hours[in_use],
        bridged_hours=told.bridged_hours[in_use],
        stuck=told.stuck[in_use],
        pos_order=_Order.of(machine, moment),
        hour_order=_Order.of(machine, told.hours[in_use]),
    )


def reading_span(curve: HourCurve, machine: ArrayLike) -> tuple[Array, Array]:
    """Moments of the first and the last reading in use of each machine asked for.

    Parameters
    ----------
    curve : HourCurve
    machine : (q,) int
        Place of the machine, -1 if there is none.

    Returns
    -------
    first, last : (q,) float
        NaN without a reading. [d]

    Examples
    --------
    >>> first, last = reading_span(_one_machine(), [0, -1])
    >>> first.tolist(), last.tolist()
    ([0.0, nan], [30.0, nan])
    """
    place, begin, end = _places(curve, machine)
    read = (place >= 0) & (end > begin)
    if not curve.pos.size:
        return np.full(place.shape, np.nan), np.full(place.shape, np.nan)
    first = np.where(read, curve.pos[np.minimum(begin, curve.pos.size - 1)], np.nan)
    return first, np.where(read, curve.pos[np.maximum(end - 1, 0)], np.nan)


class HoursAt(NamedTuple):
    """One value a moment asked for; see :func:`hours_at`."""

    hours: Array
    bridged_hours: Array
    outside: Flags
    stuck: Flags


def hours_at(
    curve: HourCurve,
    machine: ArrayLike,
    pos: ArrayLike,
    *,
    per_day_before: ArrayLike,
    per_day_after: ArrayLike,
) -> HoursAt:
    """Continuous hours of a machine at a moment, straight between readings, by a pace outside them.

    Source: derived; proposed for this project, no source, outside the readings.

    Parameters
    ----------
    curve : HourCurve
    machine : (q,) int
        Place of the machine, -1 if there is none.
    pos : (q,) float
        [d]
    per_day_before, per_day_after : float or (q,) float
        Pace before the first and after the last reading, NaN if not known. [h/d]

    Returns
    -------
    HoursAt
        ``hours`` (q,), NaN where not known [h]; ``bridged_hours`` (q,): the bridged part of them, so that the
        difference of two moments is the bridged part between them (hours outside the readings count as
        bridged) [h]; ``outside`` (q,): before the first or after the last reading; ``stuck`` (q,): where the
        meter was stuck.

    Raises
    ------
    WearInputError
        If a known pace is negative.

    Examples
    --------
    >>> at = hours_at(_one_machine(), [0, 0, 0], [-10.0, 15.0, 40.0], per_day_before=10, per_day_after=20)
    >>> at.hours.tolist(), at.bridged_hours.tolist(), at.outside.tolist()
    ([900.0, 1200.0, 1700.0], [-100.0, 0.0, 200.0], [True, False, True])
    """
    place, begin, end = _places(curve, machine)
    moment, place, begin, end = np.broadcast_arrays(numbers(pos, "pos"), place, begin, end)
    before = np.broadcast_to(numbers(per_day_before, "per_day_before", at_least=0), moment.shape)
    after = np.broadcast_to(numbers(per_day_after, "per_day_after", at_least=0), moment.shape)
    hours, bridged = np.full(moment.shape, np.nan), np.full(moment.shape, np.nan)
    stuck = np.zeros(moment.shape, dtype=bool)
    askable = (place >= 0) & (end > begin) & ~np.isnan(moment)
    found = curve.pos_order.last_not_above(place, moment)

    early = askable & (found < begin)
    at = begin[early]
    gap = (moment[early] - curve.pos[at]) * before[early]
    hours[early], bridged[early] = curve.hours[at] + gap, curve.bridged_hours[at] + gap

    late = askable & (found == end - 1)
    at = found[late]
    gap = np.where(moment[late] > curve.pos[at], (moment[late] - curve.pos[at]) * after[late], 0.0)
    hours[late], bridged[late] = curve.hours[at] + gap, curve.bridged_hours[at] + gap
    stuck[late] = curve.stuck[at]

    between = askable & ~early & ~late
    at = found[between]
    share = (moment[between] - curve.pos[at]) / (curve.pos[at + 1] - curve.pos[at])
    hours[between] = curve.hours[at] + share * (curve.hours[at + 1] - curve.hours[at])
    bridged[between] = curve.bridged_hours[at] + share * (
        curve.bridged_hours[at + 1] - curve.bridged_hours[at]
    )
    stuck[between] = np.where(share > 0, curve.stuck[at + 1], curve.stuck[at])
    first, last = reading_span(curve, place)
    return HoursAt(hours, bridged, askable & ((moment < first) | (moment > last)), stuck)


def mean_per_day(
    curve: HourCurve, machine: ArrayLike, pos_to: ArrayLike, *, window_days: ArrayLike, least_days: float
) -> Array:
    """Mean run hours per day over a window that ends at a moment, as far as readings cover it.

    Source: definition.

    Parameters
    ----------
    curve : HourCurve
    machine : (q,) int
        Place of the machine, -1 if there is none.
    pos_to : (q,) float
        End of the window. [d]
    window_days : float or (q,) float
        More than 0. [d]
    least_days : float
        The readings must cover at least so much of it. [d]

    Returns
    -------
    (q,) float
        NaN where too little of the window is covered. [h/d]

    Raises
    ------
    WearInputError
        If a window is not positive.

    Examples
    --------
    >>> mean_per_day(_one_machine(), [0, 0], [30.0, 500.0], window_days=10, least_days=1).tolist()
    [20.0, nan]
    """
    to_moment = numbers(pos_to, "pos_to")
    first, last = reading_span(curve, machine)
    begin = np.maximum(to_moment - numbers(window_days, "window_days", above=0), first)
    end = np.minimum(to_moment, last)
    covered = end - begin
    enough = covered >= max(least_days, 1e-9)
    hours = [
        hours_at(curve, machine, when, per_day_before=np.nan, per_day_after=np.nan).hours
        for when in (np.where(enough, begin, np.nan), np.where(enough, end, np.nan))
    ]
    return (hours[1] - hours[0]) / np.where(enough, covered, np.nan)


def day_reached(curve: HourCurve, machine: ArrayLike, hours: ArrayLike) -> Array:
    """The moment at which a machine's continuous hours reached a number, straight between readings.

    Parameters
    ----------
    curve : HourCurve
    machine : (q,) int
        Place of the machine, -1 if there is none.
    hours : (q,) float
        Continuous hours. [h]

    Returns
    -------
    (q,) float
        The earliest moment; NaN where not yet reached, or passed before the first reading. [d]

    Examples
    --------
    >>> day_reached(_one_machine(), [0, 0, 0], [1200.0, 1000.0, 1501.0]).tolist()
    [15.0, 0.0, nan]
    """
    place, begin, end = _places(curve, machine)
    wanted, place, begin, end = np.broadcast_arrays(numbers(hours, "hours"), place, begin, end)
    moment = np.full(wanted.shape, np.nan)
    askable = (place >= 0) & (end > begin) & ~np.isnan(wanted)
    found = curve.hour_order.first_not_below(place, wanted)

    exact = askable & (found == begin)
    exact[exact] = curve.hours[found[exact]] == wanted[exact]
    moment[exact] = curve.pos[found[exact]]

    between = askable & (found > begin) & (found < end)
    at = found[between]
    share = (wanted[between] - curve.hours[at - 1]) / (curve.hours[at] - curve.hours[at - 1])
    moment[between] = curve.pos[at - 1] + share * (curve.pos[at] - curve.pos[at - 1])
    return moment


def _places(curve: HourCurve, machine: ArrayLike) -> tuple[Whole, Whole, Whole]:
    """The machines asked for, and where the readings of each begin and end."""
    place = np.asarray(machine, dtype=np.int64)
    if (place >= curve.starts.size - 1).any() or (place < -1).any():
        raise WearInputError(
            f"machine {int(place.max(initial=-1))} of {curve.starts.size - 1}",
            where="machine",
            why="The place of a machine runs from 0, and -1 stands for none.",
        )
    return place, curve.starts[place], curve.starts[np.minimum(place + 1, curve.starts.size - 1)]


def _one_machine() -> HourCurve:
    """Read on days 0, 10 and 30 at 1000, 1100 and 1500 h; the examples above look up in it."""
    told = Continuous(
        np.array([1000.0, 1100.0, 1500.0]), np.zeros(3), np.array([0, 1, 1]), np.zeros(3, dtype=bool)
    )
    return hour_curve(told, [0.0, 10.0, 30.0], [0, 3])
