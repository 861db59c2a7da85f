"""Lengths no chain of its pitch can have: a slip of the unit or the count, or a chain of another pitch."""

from __future__ import annotations

import numpy as np

from takeup.derive.lives import Register
from takeup.derive.readings import Readings
from takeup.derive.reasons import Reason
from takeup.derive.setaside import Aside, percent
from takeup.derive.settings import MeasuringSettings
from takeup.derive.trust import doubt
from takeup.wear.arguments import Flags


def impossible(
    readings: Readings, stands: Flags, register: Register, settings: MeasuringSettings
) -> list[Aside]:
    """Readings outside anything a chain of that pitch can show.

    Longer than any chain runs or far shorter than nominal: an impossible length. Shorter than new by more
    than the width of the new-length tolerance and the uncertainty: negative wear.

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
    e = readings.e_geo
    tolerance = register.lives["tolerance_percent"].to_numpy(np.float64)[readings.life]
    outside = stands & ((e > settings.most_percent) | (e < settings.least_percent))
    least = -(tolerance + doubt(readings.u_geo, readings.u_geo))
    shorter = stands & ~outside & (e < least)
    wanted = f"between {settings.least_percent:g} % and {settings.most_percent:g} %"
    return [
        Aside(place, Reason.IMPOSSIBLE_LENGTH, "length_mm", percent(e[place]), wanted)
        for place in np.flatnonzero(outside).tolist()
    ] + [
        Aside(
            place, Reason.NEGATIVE_WEAR, "length_mm", percent(e[place]), f"at least {percent(least[place])}"
        )
        for place in np.flatnonzero(shorter).tolist()
    ]
