"""Copied surveys: every mark equal to the millimetre to the survey before, or to a sister's of the day.

That may come by chance. Two readings of one length on a millimetre step, each with a standard deviation of
s = 0.8 mm, are equal in about a third of the cases: one mark in 3 surveys, two in 9, four in 84 by drawing
them. 1/(2 sqrt(pi) s) a mark, which makes four in 65, lies on the careful side and is what pages say
[derived]. For a chain that has worn since it is far less. For two chains worn alike it is not, and of a
hundred pairs some would be set aside every year; so sisters are only held against each other where they stood
apart by more than the uncertainty before, and the chance is again far less. What is set aside here may still
be right, and is asked about, never corrected.
"""

from __future__ import annotations

import numpy as np

from takeup.derive.lives import Register
from takeup.derive.readings import Readings
from takeup.derive.reasons import Reason
from takeup.derive.setaside import Aside
from takeup.derive.settings import MeasuringSettings
from takeup.derive.trust import doubt, means
from takeup.wear.arguments import Flags, Whole


def copies(readings: Readings, stands: Flags, register: Register, settings: MeasuringSettings) -> list[Aside]:
    """All readings of surveys that repeat another.

    A survey may well be equal to one of the same day or with hardly an hour run between them; a single mark
    to any. Of two sisters nobody can tell which was copied, so neither is used.

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
    if not len(readings.surveys):
        return []
    surveys, size = readings.surveys, np.diff(readings.surveys.starts)
    hours = readings.hours[surveys.starts[:-1]]
    later = np.flatnonzero(
        (surveys.life[1:] == surveys.life[:-1])
        & (surveys.day[1:] > surveys.day[:-1])
        & (size[1:] >= settings.copied_marks)
        & (hours[1:] - hours[:-1] >= settings.copied_after_hours)
    ) + 1  # fmt: skip
    again = later[_equal(readings, stands, later, later - 1)]
    found = {int(one): "as on the last survey" for one in again}
    strands = register.lives["strand"].to_numpy(dtype=object)[surveys.life]
    here, there = _sisters(readings, register, np.flatnonzero(size >= settings.copied_sister_marks))
    apart = _apart_before(readings, stands, here, there)
    here, there = here[apart], there[apart]
    same = _equal(readings, stands, here, there) & _equal(readings, stands, there, here)
    for one, other in zip(here[same].tolist(), there[same].tolist(), strict=True):
        found.setdefault(one, f"as on {strands[other]} that day")
        found.setdefault(other, f"as on {strands[one]} that day")
    return [
        Aside(
            place,
            Reason.COPIED_SURVEY,
            "length_mm",
            f"{readings.raw_mm[place]:.10g} mm, {found[survey]}",
            "a survey of its own",
        )
        for survey in sorted(found)
        for place in range(surveys.starts[survey], surveys.starts[survey + 1])
    ]


def _sisters(readings: Readings, register: Register, among: Whole) -> tuple[Whole, Whole]:
    """Pairs of surveys of two strands of one set on one day and occasion."""
    surveys = readings.surveys
    names = register.lives["set"].to_numpy(dtype=object)
    sets = np.unique(names.astype("U"), return_inverse=True)[1][surveys.life[among]]
    key = np.stack([surveys.occasion[among], surveys.day[among], sets])
    order = np.lexsort((among, *key))
    key, among = key[:, order], among[order]
    here, there = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for apart in range(1, among.size):
        alike = np.flatnonzero((key[:, apart:] == key[:, :-apart]).all(axis=0))
        if not alike.size:
            break
        here.append(among[alike + apart])
        there.append(among[alike])
    return np.concatenate(here), np.concatenate(there)


def _apart_before(readings: Readings, stands: Flags, one: Whole, other: Whole) -> Flags:
    """Whether the surveys before those of each pair lay apart by more than the uncertainty."""
    line = means(readings, stands)
    follows = np.flatnonzero(~np.isnan(line.step))
    e, u = np.full((2, len(readings.surveys)), np.nan)
    e[line.survey[follows]], u[line.survey[follows]] = line.e[follows - 1], line.u[follows - 1]
    apart: Flags = np.abs(e[one] - e[other]) > doubt(u[one], u[other])
    return apart


def _equal(readings: Readings, stands: Flags, one: Whole, other: Whole) -> Flags:
    """Whether the surveys of each pair have the same marks, counts and millimetres; none of one confirmed."""
    starts = readings.surveys.starts
    size = np.diff(starts)
    equal: Flags = size[one] == size[other]
    pair = np.repeat(np.flatnonzero(equal), size[one[equal]])
    # Marks stand in one order, so readings of a pair that may be equal stand in the same place.
    along = np.arange(pair.size) - np.repeat(np.cumsum(size[one[equal]]) - size[one[equal]], size[one[equal]])
    here, there = starts[one[pair]] + along, starts[other[pair]] + along
    same = (
        (readings.mark[here] == readings.mark[there])
        & (readings.pitches[here] == readings.pitches[there])
        & (np.rint(readings.raw_mm[here]) == np.rint(readings.raw_mm[there]))
        & stands[here]
        & ~readings.confirmed[here]
    )
    equal[pair[~same]] = False
    return equal
