"""Spans miscounted by one pitch: off the mark's trend by (100 + e)/n, and right when restated for n +- 1.

Careful on the side of an alarm: a reading is set aside only where it lies outside everything its trusted
neighbours allow, and bears the signature; a jump that a later day or a repeat confirms stands. A chain that
begins to wear fast jumps at every survey, on long spans by about a pitch. So what jumped without the
signature vouches for what follows: restated, the next would lie below it. And where the other marks of the
survey stand, a mark among them was counted as they were.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.derive.lives import Register
from takeup.derive.readings import Readings
from takeup.derive.reasons import Reason
from takeup.derive.setaside import Aside, percent
from takeup.derive.settings import MeasuringSettings
from takeup.derive.trust import Growth, doubt, doubt_of, longest_run, series
from takeup.wear import elongation
from takeup.wear.arguments import Array, Flags, Whole


@dataclass(frozen=True)
class _Band:
    """What trusted neighbours let one reading be, in per cent."""

    place: int
    low: float
    high: float
    newest: bool
    """No trusted reading of the mark comes after it."""


def miscounts(
    readings: Readings, stands: Flags, register: Register, settings: MeasuringSettings
) -> list[Aside]:
    """Readings with the signature of one pitch too many or too few.

    Parameters
    ----------
    readings : Readings
    stands : (n,) bool
    register : Register
    settings : MeasuringSettings
        The site's values.

    Returns
    -------
    list of Aside
    """
    counted = stands & ~readings.percent_only & ~np.isnan(readings.e_geo)
    order, starts = series(readings, counted)
    walk = _Walk.of(readings, counted, register, settings)
    lines = [order[first:end].tolist() for first, end in walk.suspicious(order, starts)]
    jumped: set[int] = set()
    while True:
        bands = [band for line in lines for band in walk.bands(line, jumped)]
        found = walk.alone(_with_signature(readings, bands))
        signed = {aside.place for aside in found}
        stood = {band.place for band in bands if band.place not in signed and walk.rose(band)}
        if not stood:
            return found
        jumped |= stood


@dataclass(frozen=True)
class _Walk:
    """All readings, and what each is held against.

    ``young`` readings are of a chain just fitted; ``mates`` is the middle of the marks of a reading's survey,
    NaN with fewer than three; ``fits`` says which readings may be trusted by themselves.
    """

    readings: Readings
    tolerance: Array
    young: Flags
    mates: Array
    fits: Flags
    growth: Growth
    apart: float

    @classmethod
    def of(cls, readings: Readings, counted: Flags, register: Register, settings: MeasuringSettings) -> _Walk:
        """Reckon what every reading is held against.

        No chain is shorter than nominal by half a pitch of the span, none just fitted longer than its
        tolerance by that, and none off the other marks of its survey by that.
        """
        registered = register.lives["registered"].to_numpy(dtype=bool)[readings.life]
        tolerance = register.lives["tolerance_percent"].to_numpy(np.float64)[readings.life]
        young = registered & (readings.hours <= settings.new_chain_hours)
        half, e = 50.0 / readings.pitches, readings.e_geo
        plausible = counted & (e >= -half) & ~(young & (e > tolerance + half))
        mates = _middle(readings, plausible)[readings.survey]
        fits = plausible & ~(np.abs(e - np.where(np.isnan(mates), e, mates)) > half)
        growth = Growth.of(settings)
        return cls(readings, tolerance, young, mates, fits, growth, settings.marks_apart_points)

    def suspicious(self, order: Whole, starts: Whole) -> list[tuple[int, int]]:
        """The series in which a reading jumps by half a pitch or cannot stand for itself."""
        if not order.size:
            return []
        e, n = self.readings.e_geo[order], self.readings.pitches[order]
        jump = ~self.fits[order]
        leap = np.abs(np.diff(e)) > 50.0 / np.minimum(n[1:], n[:-1])
        leap[starts[1:-1] - 1] = False
        jump[1:] |= leap
        return [
            (int(starts[place]), int(starts[place + 1]))
            for place in np.flatnonzero(np.add.reduceat(jump, starts[:-1]))
        ]

    def bands(self, places: list[int], jumped: set[int]) -> list[_Band]:
        """What the trusted readings of one series, and those that jumped and stood, let the others be."""
        its = self.readings
        e = its.e_geo[places].tolist()
        hours, days = its.hours[places].tolist(), its.day[places].tolist()
        fits = self.fits[places].tolist()

        agrees = self.agrees(places)
        run = longest_run(fits, agrees, [abs(value) for value in e])
        others = [place for place in range(len(places)) if place not in run]
        tail = [place for place in others if not run or place > run[-1]]
        if len(tail) > 1 and run and days[tail[0]] < days[tail[-1]]:
            first, last = tail[0], tail[-1]
            # A chain that jumped in earnest goes on as fast, faster than the bound for those without a trend.
            pace = (e[first] - e[run[-1]]) / max(hours[first] - hours[run[-1]], 1.0)
            room = doubt_of(float(its.u_geo[places[first]]), float(its.u_geo[places[last]]))
            as_fast = 0.0 < e[last] - e[first] <= pace * (hours[last] - hours[first]) + room
            if agrees[first][last] or as_fast:
                others = [place for place in others if place not in tail]  # a later day says the same
        trusted = sorted({*run, *(place for place in others if places[place] in jumped)})
        newest = trusted[-1] if trusted else -1
        asked = [
            place for place in others if not its.confirmed[places[place]] and places[place] not in jumped
        ]
        allowed = [self.allowed(place, trusted, e, hours, places[place]) for place in asked]
        return [
            _Band(places[place], *band, newest=place > newest)
            for place, band in zip(asked, allowed, strict=True)
        ]

    def rose(self, band: _Band) -> bool:
        """Whether a reading lies above its band with nothing after it that says otherwise."""
        its = self.readings.e_geo[band.place]
        return band.newest and bool(self.fits[band.place]) and bool(its > band.high)

    def alone(self, found: list[Aside]) -> list[Aside]:
        """Those that do not lie among as many marks of their survey as are set aside of it, or more."""
        signed = np.array([aside.place for aside in found], dtype=np.int64)
        standing = self.fits.copy()
        standing[signed] = False
        its, kept = self.readings, []
        for aside in found:
            e, n, survey = (values[aside.place] for values in (its.e_geo, its.pitches, its.survey))
            begin, end = its.surveys.starts[survey : survey + 2]
            mates = its.e_geo[begin:end][standing[begin:end]]
            many = mates.size > 0 and mates.size >= np.sum(its.survey[signed] == survey)
            if not (many and abs(float(np.median(mates)) - e) <= 50.0 / n):
                kept.append(aside)
        return kept

    def agrees(self, places: list[int]) -> list[list[bool]]:
        """Whether each later reading goes on from each earlier one, as far as half a pitch tells."""
        its = self.readings
        e, n, u, hours = (values[places] for values in (its.e_geo, its.pitches, its.u_geo, its.hours))
        half = 50.0 / np.maximum(n[:, None], n[None, :])
        room = 2.0 * doubt(u[:, None], u[None, :]) + self.growth.most_of(hours[:, None], hours[None, :])
        step = e[None, :] - e[:, None]
        found: list[list[bool]] = ((step >= -half) & (step <= np.maximum(half, room))).tolist()
        return found

    def allowed(
        self, place: int, run: list[int], e: list[float], hours: list[float], reading: int
    ) -> tuple[float, float]:
        """Least and most per cent that a reading can be, by the trusted ones before and after it."""
        before = [other for other in run if other < place]
        after = [other for other in run if other > place]
        mates = float(self.mates[reading])
        if not before and not after and not np.isnan(mates):
            return mates - self.apart, mates + self.apart
        if before:
            low = e[before[-1]]
            most = low + self.growth.most(hours[before[-1]], hours[place], _trend(before, e, hours))
        else:
            low, most = 0.0, np.inf
            if self.young[reading] or e[place] < 0:
                most = float(self.tolerance[reading]) + self.growth.most(0.0, hours[place])
        if after:
            most = e[after[0]]
        return low, max(low, most)


def _middle(readings: Readings, usable: Flags) -> Array:
    """Middle elongation of each survey with at least three usable marks, NaN with fewer; of two the lower."""
    middle = np.full(len(readings.surveys), np.nan)
    places = np.flatnonzero(usable)
    places = places[np.lexsort((readings.e_geo[places], readings.survey[places]))]
    which, first, count = np.unique(readings.survey[places], return_index=True, return_counts=True)
    enough = count >= 3
    middle[which[enough]] = readings.e_geo[places[first[enough] + (count[enough] - 1) // 2]]
    return middle


def _trend(before: list[int], e: list[float], hours: list[float]) -> float | None:
    """Rate over the trusted readings so far, from three on, in %/1000 h."""
    if len(before) < 3 or hours[before[-1]] <= hours[before[0]]:
        return None
    return 1000.0 * (e[before[-1]] - e[before[0]]) / (hours[before[-1]] - hours[before[0]])


def _with_signature(readings: Readings, bands: list[_Band]) -> list[Aside]:
    """The readings outside their band that fall into it when one pitch more or fewer is counted."""
    if not bands:
        return []
    places = np.array([band.place for band in bands], dtype=np.int64)
    low, high = (np.array([getattr(band, side) for band in bands]) for side in ("low", "high"))
    e, n = readings.e_geo[places], readings.pitches[places]
    u = np.sqrt(2.0) * readings.u_geo[places]
    outside = (e < low - 4.0 * u) | (e > high + 4.0 * u)
    found: list[Aside] = []
    for more in (1, -1):
        true_n = n + more
        right = np.where(true_n > 0, elongation.with_count(e, n, np.maximum(true_n, 1)), np.nan)
        nearest = np.clip(right, low, high)
        sign = outside & (elongation.miscount(e, n, nearest, u) == more)
        for spot in np.flatnonzero(sign).tolist():
            odd_pins = more == -1 and n[spot] % 2 == 1
            found.append(
                Aside(
                    int(places[spot]),
                    Reason.PINS_COUNTED if odd_pins else Reason.WHOLE_PITCH_MISCOUNT,
                    "pitches",
                    f"{n[spot]:.0f} pitches, {percent(e[spot])}",
                    f"{true_n[spot]:.0f} pitches would make {percent(right[spot])}",
                )
            )
    return found
