"""Readings held against each other: the checks in their order, and what they leave standing."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import NamedTuple

import numpy as np

from takeup.derive.copies import copies
from takeup.derive.falls import falls
from takeup.derive.impossible import impossible
from takeup.derive.lives import Register
from takeup.derive.miscounts import miscounts
from takeup.derive.readings import Readings
from takeup.derive.reasons import Note
from takeup.derive.setaside import Aside, standing
from takeup.derive.settings import MeasuringSettings
from takeup.derive.swaps import swaps
from takeup.derive.takeups import Travels
from takeup.layered import Layered
from takeup.wear.arguments import Flags


class Judged(NamedTuple):
    """What the other rows decided about readings; places count in the readings."""

    stands: Flags
    asides: list[Aside]
    notes: dict[int, Note]


def judged(
    readings: Readings, register: Register, travels: Travels, settings: Layered[MeasuringSettings]
) -> Judged:
    """Hold every reading against the others, most certain signs first.

    What one check sets aside is no evidence for the next. The checks take the site's values; a machine's or
    strand's own would let the same slip pass on one strand of a set and not on the other.

    Parameters
    ----------
    readings : Readings
    register : Register
    travels : Travels
    settings : Layered[MeasuringSettings]
    """
    values = site_values(settings)
    stands = np.ones(len(readings), dtype=bool)
    found: list[Aside] = copies(readings, stands, register, values)
    stands = standing(stands, found)
    for check in (miscounts, impossible, swaps):
        more = check(readings, stands, register, values)
        stands = standing(stands, more)
        found += more
    fell, notes = falls(readings, stands, register, travels, values)
    return Judged(standing(stands, fell), found + fell, notes)


def site_values(settings: Layered[MeasuringSettings]) -> MeasuringSettings:
    """The record with the site's values in it."""
    return replace(
        settings.record, **{item.name: settings.value(item.name) for item in fields(settings.record)}
    )
