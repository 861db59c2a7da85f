"""Strands of one set whose readings were exchanged: both jump crosswise and fit the other way round."""

from __future__ import annotations

import numpy as np

from takeup.derive.lives import Register
from takeup.derive.readings import Readings
from takeup.derive.reasons import Reason
from takeup.derive.setaside import Aside, percent
from takeup.derive.settings import MeasuringSettings
from takeup.derive.trust import Growth, Means, doubt_of, means
from takeup.wear.arguments import Flags


def swaps(readings: Readings, stands: Flags, register: Register, settings: MeasuringSettings) -> list[Aside]:
    """All readings of two strands of a set that were exchanged on one day.

    The longer strand falls by more than the uncertainty, the shorter one rises by more than that, and each
    stands where the other was going. A next survey that stays crosswise says that the earlier ones were
    exchanged, or that nothing was; then both stand.

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
    growth = Growth.of(settings)
    sets = register.lives["set"].to_numpy(dtype=object)[line.life]
    strands = register.lives["strand"].to_numpy(dtype=object)[line.life]
    fell = line.step < -line.step_doubt
    if not fell.any():
        return []
    on_day: dict[tuple[str, int], list[int]] = {}
    wanted = {(sets[here], int(line.day[here])) for here in np.flatnonzero(fell)}
    for here, key in enumerate(zip(sets, line.day.tolist(), strict=True)):
        if key in wanted:
            on_day.setdefault(key, []).append(here)
    found: dict[int, str] = {}
    for long in np.flatnonzero(fell).tolist():
        for short in on_day[sets[long], int(line.day[long])]:
            if strands[short] != strands[long] and _exchanged(line, long, short, growth):
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


def _exchanged(line: Means, long: int, short: int, growth: Growth) -> bool:
    """Whether the two surveys fit crosswise and not straight."""
    if not (line.same_life(short, short - 1) and line.e[long - 1] > line.e[short - 1]):
        return False
    room = doubt_of(line.u[long], line.u[short])
    if line.e[short] - line.e[short - 1] <= room:
        return False
    for here, chain in ((long, short), (short, long)):
        grown = line.e[here] - line.e[chain - 1]
        if not -room <= grown <= room + growth.most(line.hours[chain - 1], line.hours[chain]):
            return False
    straight = (line.e[long] - line.e[long - 1]) ** 2 + (line.e[short] - line.e[short - 1]) ** 2
    crossed = (line.e[long] - line.e[short - 1]) ** 2 + (line.e[short] - line.e[long - 1]) ** 2
    return bool(crossed < straight) and not (
        _stays(line, long, growth, room) and _stays(line, short, growth, room)
    )


def _stays(line: Means, here: int, growth: Growth, room: float) -> bool:
    """Whether the strand's next survey goes on from this one."""
    after = here + 1
    if not line.same_life(here, after) or line.day[after] == line.day[here]:
        return False
    step = line.e[after] - line.e[here]
    return bool(-room <= step <= room + growth.most(line.hours[here], line.hours[after]))
