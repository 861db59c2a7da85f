"""Surveys copied from the one before: every mark equal to the millimetre after the chain has run."""

from __future__ import annotations

import numpy as np

from takeup.derive.readings import Readings
from takeup.derive.reasons import Reason
from takeup.derive.setaside import Aside
from takeup.derive.settings import MeasuringSettings
from takeup.wear.arguments import Flags


def copies(readings: Readings, stands: Flags, settings: MeasuringSettings) -> list[Aside]:
    """All readings of surveys that repeat the survey before.

    Surveys of one day, or with hardly an hour run between them, may well be equal; so may a single mark.

    Parameters
    ----------
    readings : Readings
    stands : (n,) bool
    settings : MeasuringSettings

    Returns
    -------
    list of Aside
    """
    surveys = readings.surveys
    if not len(surveys):
        return []
    size, head = np.diff(surveys.starts), surveys.starts[:-1]
    alike = np.zeros(len(surveys), dtype=bool)
    alike[1:] = (
        (surveys.life[1:] == surveys.life[:-1])
        & (surveys.day[1:] > surveys.day[:-1])
        & (size[1:] == size[:-1])
        & (size[1:] >= settings.copied_marks)
        & (readings.hours[head[1:]] - readings.hours[head[:-1]] >= settings.copied_after_hours)
    )
    # Marks stand in one order, so the reading that a copy repeats stands one survey's length before it.
    here = np.flatnonzero(alike[readings.survey])
    there = here - size[readings.survey[here]]
    equal = (
        (readings.mark[here] == readings.mark[there])
        & (readings.pitches[here] == readings.pitches[there])
        & (np.rint(readings.raw_mm[here]) == np.rint(readings.raw_mm[there]))
        & stands[here]
        & ~readings.confirmed[here]
    )
    different = np.zeros(len(surveys), dtype=bool)
    different[readings.survey[here[~equal]]] = True
    return [
        Aside(
            int(place),
            Reason.COPIED_SURVEY,
            "length_mm",
            f"{readings.raw_mm[place]:.10g} mm, as on the last survey",
            "a survey of its own",
        )
        for place in here[~different[readings.survey[here]]]
    ]
