"""The meters of all machines as one book of continuous hours to look up in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from takeup.derive import setaside
from takeup.derive.layers import shared
from takeup.derive.reasons import Reason
from takeup.derive.settings import MeasuringSettings, numbers
from takeup.layered import Layered
from takeup.wear import hours as wear_hours
from takeup.wear.arguments import Array, Flags, Whole
from takeup.wear.hours import Continuous, HourCurve, Step

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: names of the settings that shape a meter's joining; they may differ from machine to machine
_SHAPING = (
    "meter_moduli_hours", "meter_near_top_part", "meter_slack_hours", "meter_stuck_days", "utilisation_days",
)  # fmt: skip


#: windows over which hours per day are told → the setting of their length
WINDOWS = {
    "short": "utilisation_short_days",
    "usual": "utilisation_days",
    "long": "utilisation_long_days",
}


class Run(NamedTuple):
    """Run hours between two readings of one meter, with their days and row ids."""

    hours: float
    from_day: int
    to_day: int
    from_row: int
    to_row: int


@dataclass(frozen=True)
class MeterBook:
    """Continuous hours of every machine, and where they come from. Made by :func:`meter_book`.

    Machines are asked for by name; ``""`` or an unknown name has no meter. A position is a day number with
    its fraction; ``known_to`` leaves out every reading later than that position, so that what was reckoned as
    of a day stays the same when more readings come in.
    """

    place: dict[str, int]
    rows: pd.DataFrame
    starts: Whole
    curve: HourCurve
    planned_per_day: Array
    windows: dict[str, Array]
    least_days: float
    set_aside: pd.DataFrame

    def places(self, machines: ArrayLike) -> Whole:
        """Place of each machine in the book, -1 without a meter. (n,) int."""
        codes, names = pd.factorize(np.asarray(machines, dtype=object))
        found = np.array([self.place.get(name, -1) for name in names] + [-1], dtype=np.int64)
        return found[codes]

    def hours_at(
        self, machines: ArrayLike, pos: ArrayLike, known_to: ArrayLike = np.inf
    ) -> tuple[Array, Array]:
        """Continuous hours at a moment, and the bridged part of them.

        Between readings straight; outside them by the usual hours per day of the first or last window, else
        by the plan. Hours outside the readings and across resets count as bridged, so that the difference of
        two moments is the bridged part between them.

        Parameters
        ----------
        machines : (n,) str
        pos : (n,) float
            [d]
        known_to : float or (n,) float
            [d]

        Returns
        -------
        hours, bridged : (n,) float
            NaN where not known; the origin is each machine's own. [h]
        """
        place = self.places(machines)
        moment = np.broadcast_to(np.asarray(pos, dtype=np.float64), place.shape)
        first, _ = wear_hours.reading_span(self.curve, place)
        last = self._last(place, known_to)
        inside = np.where(np.isnan(last), moment, np.fmin(moment, last))
        at = wear_hours.hours_at(
            self.curve,
            place,
            inside,
            per_day_before=self._usual(place, first + self._window(place)),
            per_day_after=0.0,
        )
        ahead = np.where(moment > last, moment - last, 0.0)
        gap = np.where(ahead > 0, ahead * self._usual(place, last), 0.0)
        known = ~np.isnan(last)
        return np.where(known, at.hours + gap, np.nan), np.where(known, at.bridged_hours + gap, np.nan)

    def window_days(self, machines: ArrayLike, window: str) -> Array:
        """Length of one of :data:`WINDOWS` for each machine, in days; NaN without a meter."""
        return self._window(self.places(machines), window)

    def mean_per_day(
        self, machines: ArrayLike, pos_to: ArrayLike, window_days: ArrayLike, known_to: ArrayLike = np.inf
    ) -> Array:
        """Mean run hours per day over the window that ends at a moment, or at the last reading before it.

        Returns
        -------
        (n,) float
            NaN where readings cover too little of the window. [h/d]
        """
        place = self.places(machines)
        window = np.where(place >= 0, window_days, 1.0)
        last = self._last(place, np.fmin(np.asarray(known_to, dtype=np.float64), np.inf))
        end = np.fmin(np.asarray(pos_to, dtype=np.float64), last)
        end = np.where(np.isnan(last), np.nan, end)
        return wear_hours.mean_per_day(self.curve, place, end, window_days=window, least_days=self.least_days)

    def day_reached(self, machines: ArrayLike, hours: ArrayLike) -> Array:
        """The day on which continuous hours were reached; NaN if not yet, or before the first reading."""
        return np.floor(wear_hours.day_reached(self.curve, self.places(machines), hours))

    def last_reading_day(self, machines: ArrayLike, known_to: ArrayLike = np.inf) -> Array:
        """Day number of the last reading in use; NaN without one."""
        return np.floor(self._last(self.places(machines), known_to))

    def row_at(self, machines: ArrayLike, pos: ArrayLike) -> Whole:
        """Row id of the last reading in use up to a moment; -1 without one."""
        found = self._last_place(self.places(machines), pos)
        return np.where(found >= 0, self.rows["row_id"].to_numpy()[found] if len(self.rows) else -1, -1)

    def rows_around(
        self, machines: ArrayLike, pos: ArrayLike, known_to: ArrayLike = np.inf
    ) -> tuple[Whole, Whole]:
        """Row ids of the last reading in use up to a moment and of the first after it; -1 without one.

        Between these two the hours of the moment lie.
        """
        place = self.places(machines)
        until = np.fmin(np.asarray(pos, dtype=np.float64), known_to)
        before = self._last_place(place, until)
        after = np.where(before >= 0, before + 1, self.starts[np.maximum(place, 0)] if len(self.rows) else -1)
        its = (place >= 0) & (after >= 0) & ~np.isnan(until)
        its[its] = after[its] < self.starts[place[its] + 1]
        its[its] = self.curve.pos[after[its]] < np.broadcast_to(known_to, its.shape)[its]
        ids = np.append(self.rows["row_id"].to_numpy(np.int64), -1)
        return ids[np.where(before >= 0, before, -1)], ids[np.where(its, after, -1)]

    def run_from(self, machine: str, pos: float) -> Run | None:
        """What the meter of a machine shows from its first reading at or after a moment to its last.

        Hours before that first reading are left out, and bridged hours too: what is told ran for sure.

        Parameters
        ----------
        machine : str
        pos : float
            [d]

        Returns
        -------
        Run or None
            None without two readings since.
        """
        place = self.place.get(machine, -1)
        if place < 0 or np.isnan(pos):
            return None
        begin, end = (int(each) for each in self.starts[place : place + 2])
        first, last = begin + int(np.searchsorted(self.curve.pos[begin:end], pos)), end - 1
        if first >= last:
            return None
        hours, bridged = (
            float(each[last] - each[first]) for each in (self.curve.hours, self.curve.bridged_hours)
        )
        ids = self.rows["row_id"].to_numpy(np.int64)
        began, ended = (int(self.curve.pos[each]) for each in (first, last))
        return Run(hours - bridged, began, ended, int(ids[first]), int(ids[last]))

    def stuck_at(self, machines: ArrayLike, pos: ArrayLike) -> Flags:
        """Whether the meter had stood still for long at a moment."""
        place = self.places(machines)
        return wear_hours.hours_at(self.curve, place, pos, per_day_before=np.nan, per_day_after=np.nan).stuck

    def _last_place(self, place: Whole, known_to: ArrayLike) -> Whole:
        """Place among the readings in use of the last one up to a moment, -1 without one."""
        moment = np.broadcast_to(np.asarray(known_to, dtype=np.float64), place.shape)
        found = self.curve.pos_order.last_not_above(np.maximum(place, 0), moment)
        begin = self.starts[np.maximum(place, 0)] if self.starts.size > 1 else np.zeros_like(place)
        return np.where((place >= 0) & (found >= begin) & ~np.isnan(moment), found, -1)

    def _last(self, place: Whole, known_to: ArrayLike) -> Array:
        found = self._last_place(place, known_to)
        return np.where(found >= 0, self.curve.pos[found] if self.curve.pos.size else np.nan, np.nan)

    def _window(self, place: Whole, window: str = "usual") -> Array:
        days = self.windows[window]
        return np.where(place >= 0, days[place] if days.size else np.nan, np.nan)

    def _usual(self, place: Whole, pos_to: Array) -> Array:
        """Usual hours per day in the window up to a moment, else the plan."""
        _, last = wear_hours.reading_span(self.curve, place)
        window = np.where(place >= 0, self._window(place), 1.0)
        mean = wear_hours.mean_per_day(
            self.curve, place, np.fmin(pos_to, last), window_days=window, least_days=self.least_days
        )
        planned = np.where(
            place >= 0, self.planned_per_day[place] if self.planned_per_day.size else np.nan, np.nan
        )
        return np.where(np.isnan(mean), planned, mean)


def meter_book(
    run_hours: pd.DataFrame, machines: pd.DataFrame, settings: Layered[MeasuringSettings]
) -> MeterBook:
    """The book of all meters, with the readings that were set aside.

    Parameters
    ----------
    run_hours, machines : DataFrame
        Rows of the feeds.
    settings : Layered[MeasuringSettings]
    """
    codes, names = pd.factorize(run_hours["machine"].to_numpy(dtype=object), sort=True)
    order = np.lexsort((run_hours["row_id"].to_numpy(), run_hours["read_at_pos"].to_numpy(), codes))
    rows = run_hours.iloc[order].reset_index(drop=True)
    starts = np.searchsorted(codes[order], np.arange(len(names) + 1)).astype(np.int64)
    planned = _planned(names, machines)
    told = _continuous(rows, starts, names, planned, settings)
    pos = rows["read_at_pos"].to_numpy(dtype=np.float64)
    curve = wear_hours.hour_curve(told, pos, starts)
    return MeterBook(
        place={name: place for place, name in enumerate(names)},
        rows=rows.loc[~np.isnan(told.hours)].reset_index(drop=True),
        starts=curve.starts,
        curve=curve,
        planned_per_day=planned,
        windows={
            window: _of_machines(settings, name, names).astype(np.float64) for window, name in WINDOWS.items()
        },
        least_days=float(settings.value("utilisation_least_days")),
        set_aside=_set_aside(rows, told, settings),
    )


def _of_machines(settings: Layered[MeasuringSettings], name: str, machines: ArrayLike) -> Array:
    names = np.asarray(machines, dtype=object)
    return settings.column(name, names, np.full(names.shape, "", dtype=object))


def _planned(names: ArrayLike, machines: pd.DataFrame) -> Array:
    plan = dict(zip(machines["machine"], machines["planned_hours_per_day"], strict=True))
    return np.array([plan.get(name, np.nan) for name in np.asarray(names, dtype=object)], dtype=np.float64)


def _continuous(
    rows: pd.DataFrame, starts: Whole, names: ArrayLike, planned: Array, settings: Layered[MeasuringSettings]
) -> Continuous:
    """All readings joined; machines with settings of their own in calls of their own."""
    meter, pos = rows["meter_hours"].to_numpy(np.float64), rows["read_at_pos"].to_numpy(np.float64)
    restarted = np.isin(rows["meter_event"].to_numpy(dtype=object), ("reset", "new_meter"))
    told = Continuous(
        np.full(meter.shape, np.nan),
        np.zeros(meter.shape),
        np.zeros(meter.shape, dtype=np.int64),
        np.zeros(meter.shape, dtype=bool),
    )
    machines, size = np.asarray(names, dtype=object), np.diff(starts)
    for shape, places in shared(settings, _SHAPING, machines, np.full(machines.shape, "", dtype=object)):
        part = np.flatnonzero(np.repeat(np.isin(np.arange(machines.size), places), size))
        joined = wear_hours.continuous_hours(
            meter[part],
            pos[part],
            np.concatenate(([0], np.cumsum(size[places]))),
            restarted=restarted[part],
            # A date stands at midday; a time of exactly noon gets the same half day of doubt: no harm.
            by_date=pos[part] % 1.0 == 0.5,
            moduli=numbers(shape["meter_moduli_hours"], "meter_moduli_hours"),
            near_top=shape["meter_near_top_part"],
            slack_hours=shape["meter_slack_hours"],
            stuck_days=shape["meter_stuck_days"],
            window_days=shape["utilisation_days"],
            fallback_per_day=planned[places],
        )
        for whole, found in zip(told, joined, strict=True):
            whole[part] = found
    return told


def _set_aside(rows: pd.DataFrame, told: Continuous, settings: Layered[MeasuringSettings]) -> pd.DataFrame:
    """Readings that fell or ran too fast, with the hours that would have been believed."""
    meter, pos = rows["meter_hours"].to_numpy(np.float64), rows["read_at_pos"].to_numpy(np.float64)
    used = np.where(np.isin(told.step, wear_hours.SET_ASIDE), -1, np.arange(meter.size))
    last_used = np.maximum.accumulate(used) if used.size else used
    machine, asides = rows["machine"].to_numpy(dtype=object), []
    for place in np.flatnonzero(np.isin(told.step, (Step.FELL_ALONE, Step.TOO_FAST, Step.DROPPED))).tolist():
        before = int(last_used[place - 1])
        shown = f"{meter[place]:.10g} h"
        if told.step[place] == Step.TOO_FAST:
            most = (
                meter[before]
                + 24.0 * (pos[place] - pos[before])
                + settings.value("meter_slack_hours", machine[place])
            )
            wanted = f"at most {most:.0f} h, {meter[before]:.10g} h and 24 h a day since"
            asides.append(setaside.Aside(place, Reason.HOURS_TOO_FAST, "meter_hours", shown, wanted))
        else:
            wanted = f"at least {meter[before]:.10g} h, or a record that the meter was reset or changed"
            asides.append(setaside.Aside(place, Reason.METER_DROPPED, "meter_hours", shown, wanted))
    nobody = np.full(machine.shape, "", dtype=object)
    return setaside.frame(asides, rows, "run_hours", np.floor(pos).astype(np.int64), nobody, machine)
