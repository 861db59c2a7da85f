"""When a joint wants lubricant and how much of it counts: the defaults, and the interval in force.

They stand below the rules because which record counts as a lubrication depends on plan and interval, and the
rules go on from the last that counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.layered import Layered, setting
from takeup.model import Source
from takeup.wear.arguments import Array, Flags

if TYPE_CHECKING:
    import pandas as pd

DRY = "none_by_decision"


@dataclass(frozen=True)
class Lubrication:
    """When a joint wants lubricant, and how much of it counts."""

    manual_drive_hours: float = setting(
        8.0,
        "h",
        Source.MEMORY,
        "Interval by brush or can on a drive.",
        low=1.0,
        high=2000.0,
        citation="ASME B29.1, lubrication type A",
    )
    open_conveyor_hours: float = setting(
        100.0, "h", Source.PRACTICE, "Interval on open conveyor chain.", low=1.0, high=5000.0
    )
    sealed_greaseable_hours: float = setting(
        500.0, "h", Source.PRACTICE, "Interval of sealed greaseable joints.", low=1.0, high=20000.0
    )
    idle_days: float = setting(
        30.0, "d", Source.PROPOSED, "Longest without lubricant when wet and idle.", low=1.0, high=365.0
    )
    grace_part: float = setting(
        0.10,
        "1",
        Source.PROPOSED,
        "Part of the interval that may pass before it counts as overdue.",
        low=0.0,
        high=1.0,
    )
    starved_times: float = setting(
        2.0, "1", Source.PROPOSED, "Intervals after which a joint is starved.", low=1.1, high=10.0
    )
    daily_round_hours: float = setting(
        72.0, "h", Source.PROPOSED, "Shorter intervals belong to the daily round.", low=0.0, high=1000.0
    )
    least_part: float = setting(
        0.5,
        "1",
        Source.PROPOSED,
        "Less than this part of the planned quantity in one round is too little, and does not count.",
        low=0.0,
        high=1.0,
    )
    most_times: float = setting(
        2.0,
        "1",
        Source.PROPOSED,
        "More than so many times the planned quantity in one round is too much.",
        low=1.0,
        high=20.0,
    )
    round_part: float = setting(
        0.5,
        "1",
        Source.PROPOSED,
        "A lubrication further back than this part of the interval is the round before, not the same one.",
        low=0.0,
        high=1.0,
    )
    blank_records: int = setting(
        2,
        "records",
        Source.PROPOSED,
        "So many records in a row without a quantity are told with the work.",
        low=1,
        high=100,
    )
    drops_per_pitch: int = setting(
        4,
        "1",
        Source.DERIVED,
        "Drops of a film on one pitch: one on each edge of its two sidebars.",
        low=1,
        high=40,
        citation="two sidebars with two edges each",
    )
    drop_ml: float = setting(
        0.05, "mL", Source.PRACTICE, "Size of a drop from brush or drip.", low=0.005, high=0.5
    )


class Interval(NamedTuple):
    """The interval of each strand; see :func:`lube_interval`."""

    hours: Array
    is_default: Flags


def lube_interval(strands: pd.DataFrame, settings: Layered[Lubrication]) -> Interval:
    """The interval of lubrication in force: the register's, else the default of its plan.

    Parameters
    ----------
    strands : DataFrame
        Columns ``machine``, ``strand``, ``lube_plan``, ``lube_interval_hours``.
    settings : Layered[Lubrication]

    Returns
    -------
    Interval
        NaN without a plan, and on a chain that is dry by decision whatever an old register row still holds
        [h]; and whether it is a default.
    """
    names = (strands["machine"].to_numpy(dtype=object), strands["strand"].to_numpy(dtype=object))
    plan = strands["lube_plan"].fillna("").to_numpy(dtype=object)
    stated = strands["lube_interval_hours"].to_numpy(dtype=np.float64)
    default = np.full(len(strands), np.nan)
    for word in ("manual_drive", "open_conveyor", "sealed_greaseable"):
        here = plan == word
        default[here] = settings.column(f"{word}_hours", *names)[here]
    hours = np.where(np.isnan(stated), default, stated)
    hours[(plan == DRY) | (plan == "")] = np.nan
    return Interval(hours, np.isnan(stated) & ~np.isnan(default))
