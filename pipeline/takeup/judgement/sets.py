"""Strands that carry one bucket, flight or pan between them: how far they differ, by tape and by lag.

The difference of the pitches is what counts. The tape tells it with the uncertainty of two surveys; a lag
measured from head to tail tells it far better, and goes before the tape when it was measured with the surveys
or later. The limit of skew, an angle, is brought to points by the set's own length and spacing.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from takeup.judgement.rule import DEGREES, PERCENT, Situation, numbers, rounded, words
from takeup.judgement.settings import JudgementSettings
from takeup.layered import Layered
from takeup.wear import matching

Floats = NDArray[np.float64]
T = TypeVar("T")

#: expanded uncertainty of a lag measured with a square, from a step of 1 mm at both ends; derived. [mm]
LAG_U_MM = 2.0


def pairs(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """One row for each set of two or more strands.

    Strands measured too far apart are compared by carrying the earlier survey forward at its own rate; as
    much as it is carried is added to the uncertainty, as a square. Source: proposed for this project, no
    source.

    Returns
    -------
    DataFrame
        ``set``, ``machine``, ``whole`` (every strand measured), ``together`` (at one time, or brought there),
        ``difference`` and ``expanded`` [points], ``limit`` and ``plan`` [points] with ``limit_by_skew`` and
        ``plan_by_skew`` where the angle sets them, ``lag_known``, the row ids ``survey_rows``,
        ``strand_rows`` and ``lag_row``, and what the facts tell.
    """
    order = np.argsort(words(situation.strands, "set"), kind="stable")
    strands = situation.strands.iloc[order].reset_index(drop=True)
    names, first, count = np.unique(words(strands, "set"), return_index=True, return_counts=True)
    starts = np.append(first, len(strands))
    machine, head = words(strands, "machine")[first], words(strands, "strand")[first]

    def setting(section: Layered[Any], name: str) -> NDArray[Any]:
        return section.column(name, machine, head)

    allowed = setting(settings.surveying, "same_survey_days")
    e, carried = _at_one_time(strands, np.repeat(np.arange(names.size), count), allowed)
    tape, long, short = matching.set_difference(e, starts)
    long, short = np.maximum(long, 0), np.maximum(short, 0)
    u = numbers(strands, "u_geo")
    by_tape = np.hypot(
        2 * matching.difference_uncertainty(u[long], u[short]), np.hypot(carried[long], carried[short])
    )
    centres, spacing = numbers(strands, "centres_mm")[first], numbers(strands, "strand_spacing_mm")[first]
    lag, lag_day, lag_row = _lag(situation, strands, starts)
    day = numbers(strands, "survey_day")
    newest = np.fmax.reduceat(day, first) if len(strands) else day
    lag_known = (lag_day >= newest - allowed) & ~np.isnan(centres)
    by_lag = np.abs(matching.difference_from_lag(lag, centres))
    used_lag = np.where(lag_known, np.abs(lag), matching.lag(centres, tape, 0.0))
    worded = [text.split() for text in words(strands, "survey_settings")]
    measured = np.bincount(np.repeat(np.arange(names.size), count), weights=~np.isnan(day))
    frame = pd.DataFrame(
        {
            "set": names,
            "machine": machine,
            "whole": measured == count,
            "together": ~np.isnan(tape),
            "difference": rounded(np.where(lag_known, by_lag, tape), PERCENT),
            "expanded": rounded(np.where(lag_known, 100 * LAG_U_MM / centres, by_tape), PERCENT),
            "lag_known": lag_known,
            "strand_long": words(strands, "strand")[long],
            "strand_short": words(strands, "strand")[short],
            "e_long": e[long],
            "e_short": e[short],
            "survey_day": newest,
            "day_long": day[long],
            "day_short": day[short],
            "carried_long": carried[long],
            "carried_short": carried[short],
            "lag_by_tape_mm": np.round(matching.lag(centres, tape, 0.0), 1),
            "lag_mm": np.where(lag_known, lag, np.nan),
            "lag_day": np.where(lag_known, lag_day, np.nan),
            "skew": rounded(matching.skew(used_lag, spacing), DEGREES),
            "strand": head,
            "survey_settings": [" ".join(each) for each in _of_sets(worded, starts)],
            "survey_rows": _of_sets(strands["survey_rows"].tolist(), starts),
            "strand_rows": _of_sets([[row] for row in strands["strand_row"].tolist()], starts),
            "lag_row": lag_row,
        }
    )
    for name in ("limit", "plan"):
        points = setting(settings.limits, f"match_{name}_points")
        degrees = setting(settings.limits, f"skew_{name}_degrees")
        turned = 100 * spacing * np.tan(np.radians(degrees)) / centres
        frame[name] = rounded(np.fmin(points, turned), PERCENT)
        frame[f"{name}_by_skew"] = turned < points
    return frame[count > 1].reset_index(drop=True)


def _at_one_time(
    strands: pd.DataFrame, whole_set: NDArray[np.int64], allowed: Floats
) -> tuple[Floats, Floats]:
    """Elongations at each set's newest survey, and what was added to bring them there.

    NaN where a survey is missing, or where it would have to be carried and hours or rate are not known.
    """
    e, day = numbers(strands, "e_geo_mean"), numbers(strands, "survey_day")
    since = numbers(strands, "hours_now") - numbers(strands, "survey_hours")
    by_set = pd.DataFrame({"day": day, "since": since}).groupby(whole_set)
    apart = (by_set["day"].max() - by_set["day"].min()).to_numpy()
    gap = np.maximum(since - by_set["since"].min().to_numpy()[whole_set], 0.0)
    far = (apart > allowed)[whole_set]
    carried = np.where(far, numbers(strands, "rate") * gap / 1000, 0.0)
    return e + carried, carried


def _lag(
    situation: Situation, strands: pd.DataFrame, starts: NDArray[np.int64]
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Newest measured lag of each set, its day and its row id (-1: none)."""
    sets = starts.size - 1
    lag, day, row = np.full(sets, np.nan), np.full(sets, np.nan), np.full(sets, -1, dtype=np.int64)
    read = situation.takeup
    if not len(read):
        return lag, day, row
    whose = pd.Index(words(strands, "strand")).get_indexer(words(read, "strand"))
    at = np.flatnonzero((whose >= 0) & ~np.isnan(numbers(read, "last_lag_mm")))
    owner = np.searchsorted(starts, whose[at], side="right") - 1
    at, owner = (each[np.lexsort((at, numbers(read, "last_lag_day")[at]))] for each in (at, owner))
    lag[owner], day[owner] = (
        numbers(read, "last_lag_mm")[at],
        numbers(read, "last_lag_day")[at],
    )  # the newest is written last
    row[owner] = numbers(read, "last_lag_row_id")[at].astype(np.int64)
    return lag, day, row


def _of_sets(rows: list[list[T]], starts: NDArray[np.int64]) -> list[list[T]]:
    """Row ids, or names, of the strands of each set."""
    return [[row for each in rows[begin:end] for row in each] for begin, end in pairwise(starts)]
