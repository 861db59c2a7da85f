"""Where the elongation of each strand stands against its limits: what governs, decides, is in doubt.

The mean of the marks counts for the take-up; for the other limits the longest mark counts once it is further
from the mean than the uncertainty.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from takeup.judgement.limits import KINDS, NAMES, ROW, Limits, not_judged, settings_column
from takeup.judgement.rule import PERCENT, numbers, rounded
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.takeup import Takeup
from takeup.wear import limits as wear

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: how a strand stands against its decisive limit (column ``stands``); -1: not known
BELOW, WITHIN, PAST = 0, 1, 2

#: least urgent rank, and where limits that ask for nothing go
_FAR, _MUTE = 3, 9


class Standing(NamedTuple):
    """(k, n) limits by strands, each in the limit's own zero."""

    e: Floats
    expanded: Floats
    longest: Flags  # the longest mark counts
    distance: Floats  # limit less e


def standing(strands: pd.DataFrame, table: Limits, drawn: Takeup, survey: str = "") -> Standing:
    """Where the elongation stands against every limit.

    Parameters
    ----------
    strands : DataFrame
        With ``e_wear_mean``, ``e_wear_max``, ``e_geo_mean``, ``e_geo_max``, ``u_wear`` and ``u_geo``.
    table : Limits
    drawn : Takeup
    survey : str
        Prefix of those columns, for another survey than the latest.
    """
    zeros = (
        [numbers(strands, f"{survey}{name}") for name in ("e_wear_mean", "e_wear_max", "u_wear")],
        [numbers(strands, f"{survey}{name}") for name in ("e_geo_mean", "e_geo_max", "u_geo")],
    )
    mean, top, u = (np.where(table.nominal, geo, fitted) for fitted, geo in zip(*zeros, strict=True))
    expanded = 2 * u
    with np.errstate(invalid="ignore"):
        longest = rounded(top - mean, PERCENT) > rounded(expanded, PERCENT)
    row = ROW["takeup"]
    longest[row] = False
    expanded[row] = np.where(np.isnan(drawn.expanded_percent), expanded[row], drawn.expanded_percent)
    e = np.where(longest, top, mean)
    return Standing(e, expanded, longest, table.percent - e)


def on_wear_zero(strands: pd.DataFrame, table: Limits) -> Floats:
    """(k, n) limits counted from the length as fitted, in per cent."""
    shift = numbers(strands, "zero_shift")
    return wear.as_wear(table.percent, table.nominal, np.where(np.isnan(shift), 0.0, shift))


def governs(strands: pd.DataFrame, table: Limits, stand: Standing) -> Ints:
    """The limit of each strand that comes first, -1 for none."""
    way = np.where(np.isnan(stand.distance), on_wear_zero(strands, table), stand.distance)
    row, _ = wear.least(np.where(table.asks, way, np.nan))
    return row


def behind(table: Limits, stand: Standing, row: Ints) -> Flags:
    """Whether a limit (of :func:`governs`) is an acceleration point that e + U reaches.

    It stops no machine, but a forecast to it has ended: what counts now is the next limit.
    """
    _, status = _ranks(table, stand)
    n = np.arange(row.size)
    return np.asarray((row >= 0) & (KINDS[row] == "acceleration") & (status[row, n] >= WITHIN))


def columns(
    strands: pd.DataFrame,
    table: Limits,
    stand: Standing,
    settings: JudgementSettings,
    ahead: Ints | None = None,
) -> dict[str, Any]:
    """The columns of the prognosis that say what governs, what decides, what lies ahead, what the plan line.

    ``limit_<name>`` and ``level`` are on the wear zero. ``governing`` is the limit that comes first;
    ``ahead_*`` is the one the forecast runs to, the governing one if not given; ``decides_*`` is the one
    whose reaching is most urgent, else the governing one; ``plan_*`` the one nearest its plan line.
    """
    n = np.arange(len(strands))
    as_wear = on_wear_zero(strands, table)
    way = np.where(np.isnan(stand.distance), as_wear, stand.distance)
    least = governs(strands, table, stand)
    forward = least if ahead is None else ahead
    rank, status = _ranks(table, stand)
    first = np.lexsort((way, rank), axis=0)[0]
    decides = np.where(rank[first, n] < _FAR, first, least)
    plan_part = settings_column(strands, settings)("plan_part")
    plan = _nearest_plan_line(table, stand)
    blank, at_most, wanted = not_judged(strands, table)
    some = least >= 0
    return {
        **{f"limit_{name}": as_wear[row] for name, row in ROW.items()},
        "case_is_default": ~table.asks[ROW["case"]] & np.isfinite(table.percent[ROW["case"]]),
        "bend": np.where(np.isfinite(table.bend), table.bend, np.nan),
        "bend_is_default": table.bend_is_default,
        "bend_part": table.bend_part,
        "not_judged": blank,
        "at_most": at_most,
        "missing": wanted,
        "governing": _name(least),
        "level": np.where(some, as_wear[least, n], np.nan),
        **_row_columns("ahead", forward, table, stand),
        "ahead_level": np.where(some, as_wear[forward, n], np.nan),
        "ahead_distance": np.where(some, stand.distance[forward, n], np.nan),
        "case_behind": forward != least,
        **_row_columns("decides", decides, table, stand),
        "stands": np.where(np.isnan(stand.e[decides, n]) | ~some, -1, status[decides, n]),
        **_row_columns("plan", plan, table, stand),
        "plan_percent": np.where(plan >= 0, plan_part * table.percent[plan, n], np.nan),
    }


def in_doubt(table: Limits, stand: Standing) -> Flags:
    """Whether a limit that asks lies between e and e + U."""
    _, status = _ranks(table, stand)
    return np.asarray((table.asks & (status == WITHIN)).any(axis=0))


def _ranks(table: Limits, stand: Standing) -> tuple[Ints, Ints]:
    """How urgent reaching each limit is (0 the most), and whether it is below, within or past."""
    e, limit = rounded(stand.e, PERCENT), rounded(table.percent, PERCENT)
    with np.errstate(invalid="ignore"):
        past = e >= limit
        within = ~past & (rounded(stand.e + stand.expanded, PERCENT) >= limit)
    status = np.where(past, PAST, np.where(within, WITHIN, BELOW))
    kind = KINDS[:, None]
    rank = np.select(
        [
            ~table.asks,
            past & (kind == "strength"),
            within & (kind == "strength"),
            past & (kind == "function"),
            within | past,
        ],
        [_MUTE, 0, 1, 1, 2],
        _FAR,
    )
    return rank, status


def _nearest_plan_line(table: Limits, stand: Standing) -> Ints:
    """The limit of which most is used up, -1 where none can be told. The take-up has a trigger of its own."""
    may = table.asks.copy()
    may[ROW["takeup"]] = False
    with np.errstate(invalid="ignore", divide="ignore"):
        used = np.where(may & np.isfinite(stand.e), stand.e / table.percent, -np.inf)
    most = used.argmax(axis=0)
    return np.where(np.isfinite(used.max(axis=0)), most, -1)


def _row_columns(prefix: str, row: Ints, table: Limits, stand: Standing) -> dict[str, Any]:
    n, some = np.arange(row.size), row >= 0
    return {
        f"{prefix}_limit": _name(row),
        f"{prefix}_limit_percent": np.where(some, table.percent[row, n], np.nan),
        f"{prefix}_e": np.where(some, stand.e[row, n], np.nan),
        f"{prefix}_expanded": np.where(some, stand.expanded[row, n], np.nan),
        f"{prefix}_zero": np.where(some & table.nominal[row, n], "nominal", "as_fitted").astype(object),
        f"{prefix}_from_mark": np.where(some & stand.longest[row, n], "longest", "mean").astype(object),
    }


def _name(row: Ints) -> NDArray[Any]:
    return np.array([*NAMES, ""], dtype=object)[row]
