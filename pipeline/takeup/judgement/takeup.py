"""The take-up of each strand: travel left, whether the set can be shortened, and the limit it sets.

Removing pitches is decided for a whole set: all strands by the same number, and not before every strand can.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from takeup.judgement.rule import MM, numbers, rounded, words, yes
from takeup.judgement.settings import JudgementSettings
from takeup.wear import limits, slack
from takeup.wear.slack import Shortening

if TYPE_CHECKING:
    import pandas as pd

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


def takeup(strands: pd.DataFrame, settings: JudgementSettings) -> Takeup:
    """The take-up of every strand as far as register, reading and survey tell.

    A reading much older than the survey is brought forward to it: it counts as at least what the survey says
    the loop has grown to since.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    settings : JudgementSettings
    """
    machines, names = words(strands, "machine"), words(strands, "strand")
    pitch, pitches = numbers(strands, "pitch_mm"), numbers(strands, "pitches_now")
    e, travel = numbers(strands, "e_wear_mean"), numbers(strands, "takeup_travel_mm")
    fixed = yes(strands, "fixed_centres") | (travel == 0)
    used, estimated, carried = _used(strands, settings, pitch, pitches, e)
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
    screws = settings.limits.column("takeup_u_mm", machines, names)
    return Takeup(
        used_mm=used,
        left_mm=left,
        estimated=estimated,
        carried=carried,
        fixed=fixed,
        step_pitches=step,
        returns_mm=told.returned_mm,
        answer=answer,
        held_by=held_by,
        left_after_mm=after,
        pitches_after=pitches_after,
        limit_after_percent=limits.takeup_limit(e, after, pitches_after, pitch),
        limit_percent=np.where(fixed, np.inf, limits.takeup_limit(e, left, pitches, pitch)),
        expanded_percent=np.where(estimated, np.nan, 200.0 * screws / (pitches * pitch)),
        final=(answer == Shortening.NEVER) & ~fixed,
    )


def _used(
    strands: pd.DataFrame, settings: JudgementSettings, pitch: Floats, pitches: Floats, e: Floats
) -> tuple[Floats, Flags, Flags]:
    """Travel used, whether it is estimated without a reading, and whether a reading was brought forward."""
    used = numbers(strands, "takeup_used_mm")
    estimated = yes(strands, "takeup_estimated")
    machines, names = words(strands, "machine"), words(strands, "strand")
    removed = numbers(strands, "pitches_removed")
    start = numbers(strands, "takeup_start_mm") - np.where(np.isnan(removed), 0.0, removed) * pitch / 2
    # What was taken out stands for travel the screw no longer shows, so the start may lie below nought here.
    grown = start + slack.loop_growth(pitches, pitch, e) / 2
    apart = settings.surveying.column("same_survey_days", machines, names)
    with np.errstate(invalid="ignore"):
        old = numbers(strands, "survey_day") - numbers(strands, "takeup_day") > apart
        carried = old & ~estimated & (rounded(grown, MM) > rounded(used, MM))
    return np.where(carried, grown, used), estimated, carried


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
