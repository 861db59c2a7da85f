"""Surveys: the readings of one strand on one occasion, as elongations with their uncertainties."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from takeup.derive.checks import Judged
from takeup.derive.frames import FLAG, NUMBER, ROWS, TEXT, WHOLE, typed
from takeup.derive.lengths import READ
from takeup.derive.lives import Register
from takeup.derive.readings import OCCASIONS, Readings
from takeup.derive.reasons import Note
from takeup.derive.settings import MeasuringSettings
from takeup.derive.zeros import EARLY_ZERO, Zeros, zeros
from takeup.layered import Layered
from takeup.wear import elongation
from takeup.wear.arguments import Array, Flags

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

#: columns and types of the frame of surveys, which is sorted by (strand, fitting day, day, occasion)
COLUMNS = {
    "survey_id": TEXT, "life_id": TEXT, "strand": TEXT, "machine": TEXT, "day": WHOLE, "pos": NUMBER,
    "hours": NUMBER, "bridged_hours": NUMBER, "occasion": TEXT, "n_marks": WHOLE, "pitches": NUMBER,
    "e_wear_mean": NUMBER, "e_wear_max": NUMBER, "e_geo_mean": NUMBER, "e_geo_max": NUMBER, "max_mark": TEXT,
    "spread": NUMBER, "u_wear": NUMBER, "u_geo": NUMBER, "u_rate": NUMBER, "zero_shift": NUMBER,
    "baseline": TEXT, "is_zero": FLAG, "percent_only": FLAG, "usable": FLAG, "usable_for_rate": FLAG,
    "note": TEXT, "reckoned_with": TEXT, "row_ids": ROWS,
}  # fmt: skip

#: columns and types of the frame of marks, sorted as the surveys and within one by mark
MARK_COLUMNS = {
    "life_id": TEXT, "strand": TEXT, "day": WHOLE, "hours": NUMBER, "occasion": TEXT, "mark": TEXT,
    "pitches": NUMBER, "length_mm": NUMBER, "e_wear": NUMBER, "u_wear": NUMBER, "stands": FLAG,
    "row_id": WHOLE,
}  # fmt: skip

E_STEP = 6
"""Elongations are rounded to so many places of a per cent before they meet a threshold."""


def surveys(
    readings: Readings, verdict: Judged, register: Register, settings: Layered[MeasuringSettings]
) -> pd.DataFrame:
    """The frame of surveys, those set aside included and marked.

    Mean and greatest are taken over the marks that stand; the uncertainty of a survey is that of its least
    certain mark, because tape, pull and temperature are common to all. A survey with no standing mark shows
    its values and its reason, and is not usable.

    Parameters
    ----------
    readings : Readings
    verdict : Judged
    register : Register
    settings : Layered[MeasuringSettings]

    Returns
    -------
    DataFrame
        :data:`COLUMNS`; elongations in per cent to 1e-6, hours to 0.001.
    """
    zero = zeros(readings, verdict.stands, register, settings)
    e_wear, e_geo, u_wear, u_geo, u_rate = _elongations(readings, zero)
    its = readings.surveys
    left = np.zeros(len(its), dtype=bool)
    left[readings.survey[verdict.stands]] = True
    shown = verdict.stands | ~left[readings.survey]

    wear_mean, wear_max, place, _ = elongation.over_marks(np.where(shown, e_wear, np.nan), its.starts)
    geo_mean, geo_max, _, geo_count = elongation.over_marks(np.where(shown, e_geo, np.nan), its.starts)
    longest = np.full(len(its), "", dtype=object)
    longest[place >= 0] = readings.marks[readings.mark[place[place >= 0]]]
    unread = readings.odd & ~readings.side_known & shown
    about = {
        "no_pitch": geo_count == 0,
        "odd": _any(readings, unread),
        "percent_only": _any(readings, readings.percent_only & shown),
        "some_out": _any(readings, ~verdict.stands) & left,
    }
    note = _notes(readings, verdict, left, about)
    usable = left & (geo_count > 0) & ~about["odd"]
    lives = register.lives
    strand = lives["strand"].to_numpy(dtype=object)[its.life]
    iso = np.datetime_as_string(its.day.astype("datetime64[D]")) if len(its) else np.zeros(0, dtype="U10")
    occasion = np.array(OCCASIONS, dtype=object)[its.occasion]
    return typed(
        {
            "survey_id": [f"{a}|{b}|{c}" for a, b, c in zip(strand, iso, occasion, strict=True)],
            "life_id": lives["life_id"].to_numpy(dtype=object)[its.life],
            "strand": strand,
            "machine": lives["machine"].to_numpy(dtype=object)[its.life],
            "day": its.day,
            "pos": its.pos,
            "hours": its.hours,
            "bridged_hours": its.bridged,
            "occasion": occasion,
            "n_marks": np.bincount(readings.survey[shown], minlength=len(its)),
            "pitches": -_greatest(readings, shown, -readings.pitches),
            "e_wear_mean": np.round(wear_mean, E_STEP),
            "e_wear_max": wear_max,
            "e_geo_mean": np.round(geo_mean, E_STEP),
            "e_geo_max": geo_max,
            "max_mark": longest,
            "spread": np.round(wear_max - wear_mean, E_STEP),
            "u_wear": _greatest(readings, shown, u_wear),
            "u_geo": _greatest(readings, shown, u_geo),
            "u_rate": _greatest(readings, shown, u_rate),
            "zero_shift": np.round(zero.shift_percent, E_STEP)[its.life],
            "baseline": zero.kind[its.life],
            "is_zero": zero.survey[its.life] == np.arange(len(its)),
            "percent_only": about["percent_only"],
            "usable": usable,
            "usable_for_rate": left & (geo_count > 0) & ~np.isnan(its.hours),
            "note": note,
            "reckoned_with": _reckoned_with(readings, shown, zero, register),
            "row_ids": _row_ids(readings, shown),
        },
        COLUMNS,
    )


def marks(
    readings: Readings, verdict: Judged, register: Register, settings: Layered[MeasuringSettings]
) -> pd.DataFrame:
    """The frame of marks: what the surveys are the means of, those set aside included and marked.

    Returns
    -------
    DataFrame
        :data:`MARK_COLUMNS`; elongations in per cent, ``length_mm`` as written.
    """
    e_wear, _, u_wear, _, _ = _elongations(readings, zeros(readings, verdict.stands, register, settings))
    lives, its = register.lives, readings.surveys
    return typed(
        {
            "life_id": lives["life_id"].to_numpy(dtype=object)[readings.life],
            "strand": lives["strand"].to_numpy(dtype=object)[readings.life],
            "day": readings.day,
            "hours": its.hours[readings.survey],
            "occasion": np.array(OCCASIONS, dtype=object)[its.occasion[readings.survey]],
            "mark": readings.marks[readings.mark],
            "pitches": readings.pitches,
            "length_mm": readings.raw_mm,
            "e_wear": e_wear,
            "u_wear": u_wear,
            "stands": verdict.stands,
            "row_id": readings.row_id,
        },
        MARK_COLUMNS,
    )


def _elongations(readings: Readings, zero: Zeros) -> tuple[Array, Array, Array, Array, Array]:
    """Wear and geometric elongation of every reading, and three uncertainties: wear, geometric, in a rate.

    An odd span of a known starting link is put right; of an unknown one the doubt is added.
    """
    n, pitch = readings.pitches, readings.pitch_mm
    e_wear = elongation.wear_elongation(readings.length_mm, zero.length_mm, n, pitch)
    e_wear = np.where(readings.percent_only, readings.e_geo - zero.shift_percent[readings.life], e_wear)
    known = readings.odd & readings.side_known
    right = np.where(known, elongation.odd_span_corrected(e_wear, n, readings.outer), e_wear)
    e_geo = readings.e_geo - np.where(known, e_wear - right, 0.0)

    doubt = np.where(readings.odd & ~known, elongation.odd_span_uncertainty(e_wear, n), 0.0)
    u_own = np.where(
        readings.percent_only,
        readings.u_geo,
        elongation.geometric_uncertainty(readings.u_length_mm, n, pitch),
    )
    u_geo = np.hypot(u_own, doubt)
    u_rate = np.hypot(
        np.where(readings.percent_only, u_own, elongation.rate_uncertainty(readings.u_length_mm, n, pitch)),
        doubt,
    )
    u_wear = np.hypot(u_geo, zero.u_percent)
    e_wear, e_geo, u_wear, u_geo, u_rate = (
        np.round(x, E_STEP) for x in (right, e_geo, u_wear, u_geo, u_rate)
    )
    return e_wear, e_geo, u_wear, u_geo, u_rate


def _reckoned_with(readings: Readings, shown: Flags, zero: Zeros, register: Register) -> NDArray[np.object_]:
    """The measuring settings in each survey's numbers and in those of its zero, as names with spaces."""
    its = readings.surveys
    if not len(its):
        return np.zeros(0, dtype=object)
    own = np.bitwise_or.reduceat(np.where(shown, readings.read, 0), its.starts[:-1])
    life = register.lives
    measured = zero.survey >= 0
    base = np.where(measured, own[np.maximum(zero.survey, 0)], 0)
    bits, inverse = np.unique(own | base[its.life], return_inverse=True)
    texts = [" ".join(name for place, name in enumerate(READ) if bit >> place & 1) for bit in bits.tolist()]
    construction = life["construction"].to_numpy(dtype=object)
    width = np.select(
        [construction == "roller_drive", construction == "cast_h_mill"],
        np.array([" tolerance_roller_percent", " tolerance_cast_percent"], dtype=object),
        " tolerance_other_percent",
    )
    stated = ~np.isnan(life["new_length_tolerance_percent"].to_numpy(np.float64))
    of_zero = np.where(measured | stated, "", width).astype(object)
    of_zero[zero.kind == EARLY_ZERO] = " latest_baseline_hours"
    told: NDArray[np.object_] = np.array(texts, dtype=object)[inverse] + of_zero[its.life]
    return told


def _notes(readings: Readings, verdict: Judged, left: Flags, about: dict[str, Flags]) -> NDArray[np.object_]:
    """One note a survey: its reason where it is set aside, else the weightiest remark."""
    note = np.full(len(readings.surveys), str(Note.NONE), dtype=object)
    note[about["some_out"]] = str(Note.MARKS_LEFT_OUT)
    for survey, word in verdict.notes.items():
        note[survey] = str(word)
    for name, word in (
        ("percent_only", Note.PERCENT_ONLY),
        ("odd", Note.ODD_SPAN),
        ("no_pitch", Note.NO_PITCH),
    ):
        note[about[name]] = str(word)
    for aside in reversed(verdict.asides):
        survey = readings.survey[aside.place]
        if not left[survey]:
            note[survey] = str(aside.reason)
    return note


def _any(readings: Readings, flags: Flags) -> Flags:
    found = np.zeros(len(readings.surveys), dtype=bool)
    found[readings.survey[flags]] = True
    return found


def _greatest(readings: Readings, shown: Flags, values: Array) -> Array:
    """The greatest value over the shown marks of each survey; NaN without one."""
    first = readings.surveys.starts[:-1]
    if not first.size:
        return np.zeros(0)
    found: Array = np.fmax.reduceat(np.where(shown, values, np.nan), first)
    return found


def _row_ids(readings: Readings, shown: Flags) -> list[list[int]]:
    """The rows behind each survey's values, first readings that a repeat replaced included."""
    rows = readings.row_id[shown].tolist()
    starts = np.searchsorted(readings.survey[shown], np.arange(len(readings.surveys) + 1)).tolist()
    found = [rows[first:end] for first, end in pairwise(starts)]
    for place, earlier in readings.also.items():
        if shown[place]:
            found[readings.survey[place]] += [row_id for _, row_id in earlier]
    return found
