"""When an answer may change without any new row: run hours and days that pass.

Between two nights on which nothing arrives for a strand only the clock moves. A rule compares the run hours
of now, or the day told of, with marks that stand still until Monday, when dates are reckoned anew. Here are
all those marks, so that a night on which none is passed need not be judged. A rule of the site's own brings
its marks as its turning points.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from takeup.judgement.planning import stops_of
from takeup.judgement.rule import numbers, words

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from takeup.judgement.nights import JudgedNight
    from takeup.judgement.settings import JudgementSettings

    Floats = NDArray[np.float64]
    Places = NDArray[np.int64]

#: how far from a mark a night is judged all the same: answers are rounded to a tenth of an hour and to days
HOUR_STEP, DAY_STEP = 0.06, 1.0

_HOURS = ("lube_due_hours", "lube_overdue_hours", "lube_starved_hours", "next_survey_hours", "silence_hours")
_DAYS = ("order_by_day", "day_early", "need_by_day")


class Clocks(NamedTuple):
    """Marks of strands, a strand as often as it has marks: place of its row, and run hours or day number."""

    by_hours: Places
    hours: Floats
    by_day: Places
    day: Floats


def clocks(judged: JudgedNight, shutdowns: pd.DataFrame, settings: JudgementSettings) -> Clocks:
    """The marks that the strands of a judged night may pass before they are judged again.

    Parameters
    ----------
    judged : JudgedNight
    shutdowns : DataFrame
        The planned stops; one that begins is none to wait for any more.
    settings : JudgementSettings
    """
    strands = judged.prognosis
    machines, names = words(strands, "machine"), words(strands, "strand")
    n = np.arange(len(strands))

    def setting(section: Any, name: str) -> Floats:
        return np.asarray(section.column(name, machines, names), dtype=np.float64)

    hours = [numbers(strands, name) for name in _HOURS]
    hours += [setting(settings.surveying, "longest_hours"), setting(settings.forecast, "run_in_hours")]
    days = [numbers(strands, name) for name in _DAYS]
    near = setting(settings.surveying, "near_days")
    begun = np.where(
        np.isnan(numbers(strands, "lube_last_day")),
        numbers(strands, "fitted_day"),
        numbers(strands, "lube_last_day"),
    )
    idle, grace = setting(settings.lubrication, "idle_days"), setting(settings.lubrication, "grace_part")
    days += [numbers(strands, "day_early") - near, begun + idle, begun + np.floor(idle * (1 + grace))]
    at_h, at_d = [np.tile(n, len(hours))], [np.tile(n, len(days))]
    all_hours, all_days = list(hours), list(days)
    if len(shutdowns):
        row, starts = stops_of(machines, shutdowns)
        at_d.append(np.repeat(n, np.diff(starts)))
        all_days.append(shutdowns["starts_at_pos"].to_numpy(dtype=np.float64)[row])
    told = judged.verdicts
    its = told["at"].to_numpy(dtype=np.int64)
    for name, places, values in (("turning_hours", at_h, all_hours), ("turning_day", at_d, all_days)):
        turn = told[name].to_numpy(dtype=np.float64)
        here = (its >= 0) & np.isfinite(turn)
        places.append(its[here])
        values.append(turn[here])
    return Clocks(
        np.concatenate(at_h), np.concatenate(all_hours), np.concatenate(at_d), np.concatenate(all_days)
    )


def passed(
    marks: Clocks, hours_before: Floats, hours_now: Floats, before: int, day: int
) -> NDArray[np.bool_]:
    """Which strands pass a mark between two nights, or come so near that rounding may tell.

    Parameters
    ----------
    marks : Clocks
    hours_before, hours_now : (n,) float
        Life hours on either night. [h]
    before, day : int
        Day numbers of the nights.

    Examples
    --------
    >>> marks = Clocks(np.array([0]), np.array([100.0]), np.array([1]), np.array([40.0]))
    >>> passed(marks, np.array([90.0, 0.0]), np.array([101.0, 0.0]), 36, 37).tolist()
    [True, False]
    >>> passed(marks, np.array([101.0, 0.0]), np.array([112.0, 0.0]), 39, 40).tolist()
    [False, True]
    """
    found = np.zeros(hours_now.shape, dtype=bool)
    with np.errstate(invalid="ignore"):
        run = (marks.hours >= hours_before[marks.by_hours] - HOUR_STEP) & (
            marks.hours <= hours_now[marks.by_hours] + HOUR_STEP
        )
        came = (marks.day >= before - DAY_STEP) & (marks.day <= day + DAY_STEP)
    found[marks.by_hours[run]] = True
    found[marks.by_day[came]] = True
    return found
