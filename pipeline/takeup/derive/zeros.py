"""The zero of a life: its length as fitted, measured mark by mark, or the nominal one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from takeup.derive.lives import Register
from takeup.derive.readings import AS_LEFT, Readings
from takeup.derive.settings import MeasuringSettings
from takeup.layered import Layered
from takeup.wear import elongation
from takeup.wear.arguments import Array, Flags, Whole

if TYPE_CHECKING:
    from numpy.typing import NDArray

AS_LEFT_ZERO, EARLY_ZERO, NOMINAL_ZERO = "as_left", "early", "nominal"


@dataclass(frozen=True)
class Zeros:
    """The zero of every reading and every life.

    Attributes
    ----------
    length_mm, u_mm : (n,) float
        The as-fitted length of each reading's span, and its uncertainty. [mm]
    u_percent : (n,) float
        The same uncertainty in per cent of the nominal span. [%]
    shift_percent : (lives,) float
        How long the chain was born over nominal; half the tolerance where nobody measured it. [%]
    kind : (lives,) str
        as_left, early or nominal.
    survey : (lives,) int
        Place of the survey that gave it, -1 for nominal.
    """

    length_mm: Array
    u_mm: Array
    u_percent: Array
    shift_percent: Array
    kind: NDArray[np.object_]
    survey: Whole


def zeros(
    readings: Readings, stands: Flags, register: Register, settings: Layered[MeasuringSettings]
) -> Zeros:
    """The zero of each life and of each reading's span.

    The *as left* survey of the fitting day, else the first survey of a registered life within its first
    hours; mark for mark, else the mean of its marks, scaled where the count differs; else nominal with half
    the tolerance. A later first survey is no zero: it would hide the wear so far.

    Parameters
    ----------
    readings : Readings
    stands : (n,) bool
    register : Register
    settings : Layered[MeasuringSettings]
    """
    lives = register.lives
    survey, kind = _zero_surveys(readings, stands, register, settings)
    base = np.flatnonzero(stands & ~np.isnan(readings.length_mm) & (survey[readings.life] == readings.survey))

    tolerance = lives["tolerance_percent"].to_numpy(np.float64)
    n, pitch = readings.pitches, readings.pitch_mm
    length = elongation.nominal_zero(n, pitch, tolerance[readings.life])
    u = elongation.nominal_zero_uncertainty(n, pitch, tolerance[readings.life])

    per_pitch, u_per_pitch, shift = _means(readings, base, len(lives))
    measured = ~np.isnan(per_pitch[readings.life])
    length = np.where(measured, elongation.scaled_zero(per_pitch[readings.life], 1.0, n), length)
    u = np.where(measured, elongation.scaled_zero(u_per_pitch[readings.life], 1.0, n), u)
    here, there = _same_marks(readings, base)
    length[here] = elongation.scaled_zero(readings.length_mm[there], n[there], n[here])
    u[here] = elongation.scaled_zero(readings.u_length_mm[there], n[there], n[here])

    u_nominal = tolerance / (2.0 * np.sqrt(3.0))
    u_life = np.where(
        np.isnan(per_pitch), u_nominal, 100.0 * u_per_pitch / lives["pitch_mm"].to_numpy(np.float64)
    )
    u_percent = np.where(
        readings.percent_only, u_life[readings.life], elongation.geometric_uncertainty(u, n, pitch)
    )
    return Zeros(length, u, u_percent, np.where(np.isnan(shift), tolerance / 2.0, shift), kind, survey)


def _zero_surveys(
    readings: Readings, stands: Flags, register: Register, settings: Layered[MeasuringSettings]
) -> tuple[Whole, NDArray[np.object_]]:
    """The survey that gives each life its zero, -1 for nominal, and which kind it is."""
    lives, surveys = register.lives, readings.surveys
    with_length = np.zeros(len(surveys), dtype=bool)
    with_length[readings.survey[stands & ~np.isnan(readings.length_mm)]] = True
    life = surveys.life
    registered = lives["registered"].to_numpy(dtype=bool)[life]
    fitted = lives["fitted_day"].to_numpy(np.int64)[life]
    latest = settings.column(
        "latest_baseline_hours",
        lives["machine"].to_numpy(dtype=object),
        lives["strand"].to_numpy(dtype=object),
    )[life]
    as_left = with_length & registered & (surveys.day == fitted) & (surveys.occasion == AS_LEFT)
    early = with_length & registered & (surveys.hours <= latest)
    found = np.full(len(lives), -1, dtype=np.int64)
    kind = np.full(len(lives), NOMINAL_ZERO, dtype=object)
    for chosen, name in ((early, EARLY_ZERO), (as_left, AS_LEFT_ZERO)):
        backwards = np.flatnonzero(chosen)[::-1]  # the first of a life is written last and stays
        found[life[backwards]], kind[life[backwards]] = backwards, name
    return found, kind


def _means(readings: Readings, base: Whole, lives: int) -> tuple[Array, Array, Array]:
    """Of each life's zero: mean length a pitch, its uncertainty (that of one mark), elongation at birth."""
    per_pitch, u_per_pitch, shift = (np.full(lives, np.nan) for _ in range(3))
    if base.size:
        life = readings.life[base]
        first = np.flatnonzero(np.diff(life, prepend=-1) != 0)
        count = np.diff(np.append(first, base.size))
        n = readings.pitches[base]
        per_pitch[life[first]] = np.add.reduceat(readings.length_mm[base] / n, first) / count
        u_per_pitch[life[first]] = np.maximum.reduceat(readings.u_length_mm[base] / n, first)
        shift[life[first]] = np.add.reduceat(readings.e_geo[base], first) / count
    return per_pitch, u_per_pitch, shift


def _same_marks(readings: Readings, base: Whole) -> tuple[Whole, Whole]:
    """Readings whose mark was measured for the zero, and the readings that did."""
    key = readings.life * max(readings.marks.size, 1) + readings.mark
    order = base[np.argsort(key[base], kind="stable")]
    if not order.size:
        return order, order
    spot = np.minimum(np.searchsorted(key[order], key), order.size - 1)
    here = np.flatnonzero(key[order][spot] == key)
    return here, order[spot[here]]
