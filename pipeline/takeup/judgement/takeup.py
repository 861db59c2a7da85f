"""The take-up of each strand: travel left, whether the set can be shortened, and the limit it sets.

Removing pitches is decided for a whole set: all strands by the same number, and not before every strand can.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from takeup.judgement.rates import TWO_ENDS
from takeup.judgement.rule import MM, numbers, rounded, words, yes
from takeup.judgement.settings import JudgementSettings
from takeup.wear import limits, slack
from takeup.wear.slack import Shortening

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: constructions of one kind of link, which may lose any number of pitches; the others lose pairs
_OFFSET = ("offset_sidebar_roller", "welded_mill", "welded_drag", "cast_h_mill")


class Takeup(NamedTuple):
    """(n,) each; NaN where not known. ``limit_percent`` is infinite where there is no take-up."""

    used_mm: Floats
    left_mm: Floats
    estimated: Flags  # no reading: reckoned from the survey
    carried: Flags  # read before the survey, and brought forward to it by the wear since
    e_then: Floats  # mean elongation on the day of the reading, where it was brought forward
    fixed: Flags  # no take-up at all
    step_pitches: Ints  # 0 where construction or attachments do not say
    returns_mm: Floats
    answer: Ints  # a Shortening, one for the whole set
    held_by: NDArray[np.object_]  # strand of the set that decides it
    left_after_mm: Floats
    pitches_after: Floats
    limit_after_percent: Floats
    limit_percent: Floats
    expanded_percent: Floats  # U of the screws as elongation; NaN where the survey's own holds
    final: Flags  # the set can never be shortened


def takeup(strands: pd.DataFrame, surveys: pd.DataFrame, settings: JudgementSettings) -> Takeup:
    """The take-up of every strand as far as register, reading and survey tell.

    A reading much older than the survey is brought forward to it by the wear since, M P (e - e_then)/200; by
    nothing where the surveys show none. Source: derived.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    surveys : DataFrame
        As derived: ``life_id``, ``hours``, ``day``, ``e_wear_mean``, ``usable``.
    settings : JudgementSettings
    """
    machines, names = words(strands, "machine"), words(strands, "strand")
    pitch, pitches = numbers(strands, "pitch_mm"), numbers(strands, "pitches_now")
    e, travel = numbers(strands, "e_wear_mean"), numbers(strands, "takeup_travel_mm")
    fixed = yes(strands, "fixed_centres") | (travel == 0)
    used, estimated, carried, then = _used(strands, surveys, settings, pitch, pitches, e)
    left = np.maximum(travel - used, 0.0)

    spacing = numbers(strands, "attachment_every")
    offset = np.isin(words(strands, "construction"), _OFFSET)
    sets, whole_set = np.unique(words(strands, "set"), return_inverse=True)
    step = slack.shortening_step(~offset, spacing)
    widest = np.zeros(sets.size, dtype=np.int64)
    np.maximum.at(widest, whole_set, step)
    unknown = np.zeros(sets.size, dtype=bool)
    np.logical_or.at(unknown, whole_set, step == 0)
    step = np.where(unknown[whole_set], 0, widest[whole_set])
    # Even where the spacing is not known, less than one link or pair can never be taken out.
    k = np.where(step > 0, step, np.where(offset, 1, 2)).astype(np.float64)
    k[k > pitches - 4] = np.nan  # attachments further apart than the loop is long: a mistake of the register
    told = slack.shortening(
        k,
        used_mm=used,
        travel_mm=travel,
        pitches=pitches,
        pitch_mm=pitch,
        wear_percent=e,
        joining_slack_mm=settings.limits.column("joining_slack_mm", machines, names),
    )
    own = np.where((step == 0) & (told.answer != Shortening.NEVER), np.int64(Shortening.UNKNOWN), told.answer)
    answer, held_by = _whole_set(own, whole_set, sets.size, names)
    allowed = answer == Shortening.ALLOWED
    # A screw read further out than the register's travel leaves nothing, not less than nothing.
    after = np.where(allowed, np.maximum(told.remaining_after_mm, 0.0), np.nan)
    pitches_after = np.where(allowed, told.pitches_after, np.nan)
    screws = 200.0 * settings.limits.column("takeup_u_mm", machines, names) / (pitches * pitch)
    # What is brought forward has the uncertainty of the two elongations as well; their zero cancels.
    screws = np.where(carried, np.hypot(screws, 2 * TWO_ENDS * numbers(strands, "u_geo")), screws)
    return Takeup(
        used_mm=used,
        left_mm=left,
        estimated=estimated,
        carried=carried,
        e_then=np.where(carried, then, np.nan),
        fixed=fixed,
        step_pitches=step,
        returns_mm=told.returned_mm,
        answer=answer,
        held_by=held_by,
        left_after_mm=after,
        pitches_after=pitches_after,
        limit_after_percent=limits.takeup_limit(e, after, pitches_after, pitch),
        limit_percent=np.where(fixed, np.inf, limits.takeup_limit(e, left, pitches, pitch)),
        expanded_percent=np.where(estimated, np.nan, screws),
        final=(answer == Shortening.NEVER) & ~fixed,
    )


def _used(
    strands: pd.DataFrame,
    surveys: pd.DataFrame,
    settings: JudgementSettings,
    pitch: Floats,
    pitches: Floats,
    e: Floats,
) -> tuple[Floats, Flags, Flags, Floats]:
    """Travel used, whether estimated without a reading, whether brought forward from one, e then."""
    used = numbers(strands, "takeup_used_mm")
    estimated = yes(strands, "takeup_estimated")
    then = _wear_at_reading(strands, surveys, e)
    grown = used + slack.loop_growth(pitches, pitch, np.maximum(e - then, 0.0)) / 2
    apart = settings.surveying.column("same_survey_days", words(strands, "machine"), words(strands, "strand"))
    with np.errstate(invalid="ignore"):
        old = numbers(strands, "survey_day") - numbers(strands, "takeup_day") > apart
        carried = old & ~estimated & (rounded(grown, MM) > rounded(used, MM))
    return np.where(carried, grown, used), estimated, carried, then


def _wear_at_reading(strands: pd.DataFrame, surveys: pd.DataFrame, e: Floats) -> Floats:
    """Mean elongation on the day of the take-up reading, straight between the surveys before and after it.

    In run hours, from no wear at fitting; in days where the hours are not known.
    """
    fitted, n = numbers(strands, "fitted_day"), np.arange(len(strands))
    hours = numbers(strands, "survey_hours")
    by_day = np.isnan(numbers(strands, "takeup_hours") + hours)
    last = np.where(by_day, numbers(strands, "survey_day") - fitted, hours)
    place = np.where(by_day, numbers(strands, "takeup_day") - fitted, numbers(strands, "takeup_hours"))
    life, where, level = [n, n], [np.zeros(n.size), last], [np.zeros(n.size), e]
    if len(surveys):
        its = pd.Index(strands["life_id"]).get_indexer(surveys["life_id"])
        good = np.flatnonzero((its >= 0) & yes(surveys, "usable"))
        its = its[good]
        day = numbers(surveys, "day")[good] - fitted[its]
        life.append(its)
        where.append(np.where(by_day[its], day, numbers(surveys, "hours")[good]))
        level.append(numbers(surveys, "e_wear_mean")[good])
    whose, x, y = (np.concatenate(each) for each in (life, where, level))
    # One axis for all lives, each behind the one before, so that all are read off in one pass.
    apart = 1.0 + np.nanmax(x, initial=0.0)
    x = whose * apart + x
    known = np.flatnonzero(np.isfinite(x + y))
    order = known[np.argsort(x[known], kind="stable")]
    if not order.size:
        return np.full(n.size, np.nan)
    then: Floats = np.interp(n * apart + np.clip(place, 0.0, last), x[order], y[order])
    return then


def _whole_set(
    own: NDArray[np.int64], whole_set: Ints, sets: int, names: NDArray[np.object_]
) -> tuple[Ints, NDArray[np.object_]]:
    """The least favourable answer of each set, and the strand that gives it."""
    rank = np.select(
        [own == Shortening.NEVER, own == Shortening.NOT_YET, own == Shortening.UNKNOWN], [0, 1, 2], 3
    )
    order = np.lexsort((np.arange(own.size), rank, whole_set))
    first = np.full(sets, -1, dtype=np.int64)
    _, at = np.unique(whole_set[order], return_index=True)
    first[whole_set[order][at]] = order[at]
    decides = first[whole_set]
    return own[decides], np.where(own[decides] == Shortening.ALLOWED, "", names[decides]).astype(object)
