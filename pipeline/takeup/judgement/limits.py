"""Every limit of every strand.

A limit is read from its own zero: those of fit from nominal pitch, the others from the length as fitted. Only
limits that *ask* can ask for a chain: a case depth nobody stated bends the forecast and no more, worn chrome
is shown and no more, and the take-up asks only where the chain can never be shortened.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from takeup.judgement.rule import PERCENT, numbers, rounded, words, yes
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.takeup import Takeup
from takeup.wear import limits as wear
from takeup.wear.slack import Shortening

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: limit → (kind, register columns it wants)
LIMITS: dict[str, tuple[str, tuple[str, ...]]] = {
    "sprocket": ("function", ("teeth_drive", "teeth_tail")),
    "fixed": ("function", ()),
    "conveyor": ("function", ("teeth_drive", "teeth_tail")),
    "override": ("function", ()),
    "takeup": ("function", ("takeup_travel_mm", "pitches")),
    "case": ("acceleration", ()),
    "chrome": ("acceleration", ()),
    "pin": ("strength", ("pin_diameter_mm",)),
    "bushing": ("strength", ("bushing_bore_mm", "bushing_outside_mm")),
}
NAMES = tuple(LIMITS)
KINDS = np.array([kind for kind, _ in LIMITS.values()], dtype=object)
ROW = {name: row for row, name in enumerate(NAMES)}
_FIT = ("sprocket", "fixed", "conveyor")


class Limits(NamedTuple):
    """(k, n) limits by strands, in the order of :data:`NAMES`.

    ``percent`` is NaN where not judged and infinite where the strand has no such limit; ``nominal`` says
    which count from nominal pitch; ``asks`` which can ask for a chain; ``at_most`` which may be lower than
    told: without the teeth of the largest sprocket the limit of fit is taken as its cap; a chain past the cap
    is past the limit whatever the teeth. ``ends`` says which end a chain whose case is through: those of
    function and strength that ask, and the take-up wherever the set cannot be shortened in time.
    """

    percent: Floats
    nominal: Flags
    asks: Flags
    at_most: Flags
    ends: Flags
    bend: Floats  # (n,) where the hardened case is through; NaN or infinite: nowhere
    bend_is_default: Flags  # (n,)
    bend_part: NDArray[np.object_]  # (n,) pin or bushing: whose case is through first


def limits(strands: pd.DataFrame, takeup: Takeup, settings: JudgementSettings) -> Limits:
    """Every limit of every strand.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    takeup : Takeup
        From :func:`takeup.judgement.takeup.takeup`.
    settings : JudgementSettings
    """
    column = settings_column(strands, settings)
    shape = (len(NAMES), len(strands))
    percent, nominal = np.full(shape, np.inf), np.zeros(shape, dtype=bool)
    at_most = np.zeros(shape, dtype=bool)
    pitch = numbers(strands, "pitch_mm")
    share = np.where(
        np.isnan(numbers(strands, "pin_share")), column("pin_share"), numbers(strands, "pin_share")
    )

    fit, which, is_cap = _fit(strands, column)
    override = numbers(strands, "limit_override_percent")
    for name in _FIT:
        here = (which == name) & np.isnan(override)
        percent[ROW[name], here] = fit[here]
        at_most[ROW[name]] = here & is_cap
        nominal[ROW[name]] = True
    percent[ROW["override"]] = np.where(np.isnan(override), np.inf, override)
    nominal[ROW["override"]] = words(strands, "limit_override_zero") != "as_fitted"
    percent[ROW["takeup"]] = takeup.limit_percent
    stated, bend, bend_is_default, bend_part = _case(strands, column, pitch, share)
    percent[ROW["case"]] = np.where(np.isnan(stated), bend, stated)
    chrome = numbers(strands, "chrome_mm")
    percent[ROW["chrome"]] = wear.chrome_limit(pitch, np.where(np.isnan(chrome), 0.0, chrome), share)
    percent[ROW["pin"]] = wear.pin_limit(
        pitch, numbers(strands, "pin_diameter_mm"), column("pin_strength_kept"), share
    )
    wall = (numbers(strands, "bushing_outside_mm") - numbers(strands, "bushing_bore_mm")) / 2
    # A bore wider than the outside is a mistake of the register: not judged, and named.
    wall = np.where(wall > 0, wall, np.nan)
    percent[ROW["bushing"]] = wear.bushing_limit(pitch, wall, 0.0, column("bushing_wall_part"), share)

    asks = np.isfinite(percent)
    asks[ROW["case"]] &= ~np.isnan(stated)
    asks[ROW["chrome"]] = False
    asks[ROW["takeup"]] &= takeup.final
    ends = asks & (KINDS != "acceleration")[:, None]
    ends[ROW["takeup"]] = np.isfinite(percent[ROW["takeup"]]) & ~_shortened_in_time(strands, takeup)
    return Limits(percent, nominal, asks, at_most, ends, bend, bend_is_default, bend_part)


def not_judged(strands: pd.DataFrame, table: Limits) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """For each strand the limits not worked out, those known at most, and the values wanted for both.

    All are texts of names separated by a space, the same object wherever the same is missing.
    """
    blank_limits = np.isnan(table.percent)
    unknown = blank_limits | table.at_most
    wanted = sorted({column for _, columns in LIMITS.values() for column in columns} | {"pitch_mm"})
    blank = {name: np.isnan(numbers(strands, name)) for name in wanted}
    missing = np.stack(
        [
            blank[name] & (name == "pitch_mm") & blank_limits.any(axis=0)
            | blank[name]
            & unknown[[row for row, limit in enumerate(NAMES) if name in LIMITS[limit][1]]].any(axis=0)
            for name in wanted
        ]
    )
    return _named(blank_limits, NAMES), _named(table.at_most, NAMES), _named(missing, wanted)


def settings_column(strands: pd.DataFrame, settings: JudgementSettings) -> Any:
    """A function from a field of the limits to its value for each strand."""
    machines, names = words(strands, "machine"), words(strands, "strand")
    return lambda name: settings.limits.column(name, machines, names)


def _fit(strands: pd.DataFrame, column: Any) -> tuple[Floats, NDArray[Any], Flags]:
    """The limit of fit, which of its three rows it is, and whether it is only the most that it can be."""
    drive = (words(strands, "kind") == "heavy_drive") | (words(strands, "construction") == "roller_drive")
    fixed = yes(strands, "fixed_centres")
    teeth = numbers(strands, "teeth_max")
    percent = wear.fit_limit(
        np.where(np.isnan(teeth), wear.FEWEST_TEETH, teeth),  # with so few only the cap is left
        drive,
        fixed,
        drive_cap_percent=column("drive_percent"),
        fixed_percent=column("fixed_percent"),
        conveyor_cap_percent=column("conveyor_percent"),
        ride_percent=column("ride_percent"),
    )
    which = np.where(fixed, "fixed", np.where(drive, "sprocket", "conveyor")).astype(object)
    return percent, which, np.isnan(teeth) & ~fixed


def _case(
    strands: pd.DataFrame, column: Any, pitch: Floats, share: Floats
) -> tuple[Floats, Floats, Flags, NDArray[np.object_]]:
    """The case limit by stated depths (NaN: none); where the forecast bends, if by default, by which part."""
    stated, full = [], []
    for part in ("pin", "bushing"):
        depth = numbers(strands, f"{part}_case_mm")
        depth = np.where(np.isnan(depth) & (words(strands, f"{part}_hardening") == "through"), 0.0, depth)
        stated.append(depth)
        full.append(np.where(np.isnan(depth), column(f"{part}_case_mm"), depth))
    usable = np.where(yes(strands, "case_certified"), 1.0, column("usable_case_part"))
    known = [np.where(np.isnan(depth), 0.0, depth) for depth in stated]  # 0: says nothing
    by_stated = wear.case_limit(pitch, known[0], known[1], share, usable)
    bend = wear.case_limit(pitch, full[0], full[1], share, usable)
    by_pin = wear.case_limit(pitch, full[0], 0.0, share, usable) == bend
    none_stated = np.isnan(stated[0]) & np.isnan(stated[1])
    unknown = (np.isnan(stated[0]) | np.isnan(stated[1])) & ~np.isfinite(by_stated)
    by_stated = np.where(none_stated | unknown, np.nan, by_stated)
    is_default = np.isfinite(bend) & ~(rounded(bend, PERCENT) == rounded(by_stated, PERCENT))
    return by_stated, bend, is_default, np.where(by_pin, "pin", "bushing").astype(object)


def _shortened_in_time(strands: pd.DataFrame, takeup: Takeup) -> Flags:
    """Whether the set can be shortened before its travel is out.

    A strand that holds its set itself is ready before its own travel ends; another one may come too late.
    """
    holds_itself = takeup.held_by == words(strands, "strand")
    answer = takeup.answer
    return np.asarray((answer == Shortening.ALLOWED) | ((answer == Shortening.NOT_YET) & holds_itself))


def _named(flags: Flags, names: Sequence[str]) -> NDArray[Any]:
    """For each column of flags the names of those set, in one text."""
    code = (flags.astype(np.int64) << np.arange(len(names))[:, None]).sum(axis=0)
    kinds, inverse = np.unique(code, return_inverse=True)
    texts = [" ".join(name for bit, name in enumerate(names) if kind >> bit & 1) for kind in kinds]
    return np.array(texts, dtype=object)[inverse]
