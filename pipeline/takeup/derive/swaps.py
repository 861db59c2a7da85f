"""Strands of one set whose readings were exchanged: both jump crosswise and fit the other way round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.derive.lives import Register
from takeup.derive.readings import Readings
from takeup.derive.reasons import Reason
from takeup.derive.setaside import Aside, percent
from takeup.derive.settings import MeasuringSettings
from takeup.derive.trust import Growth, Means, doubt_of, means
from takeup.wear.arguments import Array, Flags


def swaps(readings: Readings, stands: Flags, register: Register, settings: MeasuringSettings) -> list[Aside]:
    """All readings of two strands of a set that were exchanged on one day.

    The longer strand falls short by more than the uncertainty, the shorter one rises by more than that, and
    each stands where the other was going. Short of its last length; or, from three surveys on, short of half
    the way that its own trend would have gone: a machine at half its duty slows both strands, and no strand
    grows the faster for that. A next survey that stays crosswise says that the earlier ones were exchanged,
    or that nothing was; then both stand.

    Parameters
    ----------
    readings : Readings
    stands : (n,) bool
    register : Register
    settings : MeasuringSettings

    Returns
    -------
    list of Aside
    """
    line = means(readings, stands)
    sets = register.lives["set"].to_numpy(dtype=object)[line.life]
    strands = register.lives["strand"].to_numpy(dtype=object)[line.life]
    pairs = _Pairs(line, _trend(line), Growth.of(settings))
    fell = line.step < pairs.least - line.step_doubt
    if not fell.any():
        return []
    on_day: dict[tuple[str, int], list[int]] = {}
    wanted = {(sets[here], int(line.day[here])) for here in np.flatnonzero(fell)}
    for here, key in enumerate(zip(sets, line.day.tolist(), strict=True)):
        if key in wanted:
            on_day.setdefault(key, []).append(here)
    found: dict[int, str] = {}
    fallen = np.flatnonzero(fell)
    for long in fallen[np.argsort(line.day[fallen], kind="stable")].tolist():
        for short in on_day[sets[long], int(line.day[long])]:
            # After an exchange the next survey jumps back, which is no exchange.
            back = line.survey[long - 1] in found and line.survey[short - 1] in found
            if strands[short] != strands[long] and not back and pairs.exchanged(long, short):
                for one, other in ((long, short), (short, long)):
                    found[int(line.survey[one])] = (
                        f"near {percent(line.e[one - 1])}, where it stood; {strands[other]} stood at "
                        f"{percent(line.e[other - 1])}"
                    )
    chosen = np.flatnonzero(stands & np.isin(readings.survey, list(found)))
    return [
        Aside(
            place,
            Reason.SWAPPED_STRANDS,
            "strand",
            percent(readings.e_geo[place]),
            found[int(readings.survey[place])],
        )
        for place in chosen.tolist()
    ]


def _trend(line: Means) -> Array:
    """Rate of each survey's life over those before it, three at least, in %/1000 h; nought with fewer."""
    first = np.searchsorted(line.life, line.life)
    known = np.flatnonzero(np.arange(line.life.size) - first >= 3)
    ran = line.hours[known - 1] - line.hours[first[known]]
    grew = line.e[known - 1] - line.e[first[known]]
    rate = np.zeros(line.life.size)
    rate[known] = 1000.0 * np.divide(np.maximum(grew, 0.0), ran, out=np.zeros_like(ran), where=ran > 0)
    return rate


@dataclass(frozen=True)
class _Pairs:
    """The surveys in their lives, and how far each chain goes by its own trend."""

    line: Means
    trend: Array
    growth: Growth

    @property
    def least(self) -> Array:
        """How far each survey lies above the one before at half its trend; nought without one."""
        ran = np.diff(self.line.hours, prepend=0.0)
        return 0.5 * self.trend * np.where(np.isnan(self.line.step), 0.0, ran) / 1000.0

    def most(self, chain: int, before: int, after: int) -> float:
        """The most that a chain can have grown, by the bound or by its own trend if that is faster."""
        hours = (self.line.hours[before], self.line.hours[after])
        return max(self.growth.most(*hours), self.growth.most(*hours, self.trend[chain]))

    def exchanged(self, long: int, short: int) -> bool:
        """Whether the two surveys fit crosswise and not straight."""
        line = self.line
        if not (line.same_life(short, short - 1) and line.e[long - 1] > line.e[short - 1]):
            return False
        room = doubt_of(line.u[long], line.u[short])
        if line.e[short] - line.e[short - 1] <= room + self.least[short]:
            return False
        for here, chain in ((long, short), (short, long)):
            grown = line.e[here] - line.e[chain - 1]
            if not -room <= grown <= room + self.most(chain, chain - 1, chain):
                return False
        straight = (line.e[long] - line.e[long - 1]) ** 2 + (line.e[short] - line.e[short - 1]) ** 2
        crossed = (line.e[long] - line.e[short - 1]) ** 2 + (line.e[short] - line.e[long - 1]) ** 2
        return bool(crossed < straight) and not self.stay(long, short, room)

    def stay(self, long: int, short: int, room: float) -> bool:
        """Whether the next surveys go on from these, nearer to them than crosswise."""
        if not (self.goes_on(long, room) and self.goes_on(short, room)):
            return False
        apart = self.line.e[short] - self.line.e[long]
        then = self.line.e[short + 1] - self.line.e[long + 1]
        return bool(then * apart > 0)

    def goes_on(self, here: int, room: float) -> bool:
        """Whether the strand's next survey goes on from this one."""
        line, after = self.line, here + 1
        if not line.same_life(here, after) or line.day[after] == line.day[here]:
            return False
        step = line.e[after] - line.e[here]
        return bool(-room <= step <= room + self.most(here, here, after))
