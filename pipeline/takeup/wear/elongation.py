"""From a tape reading to elongation, with its uncertainty.

Two elongations serve two purposes. *Wear* elongation counts from the length as fitted: rate, case, take-up.
*Geometric* elongation counts from the nominal pitch: fit on the sprocket. The zero is part of the name.

Uncertainties are standard uncertainties combined to first order without correlation (JCGM 100:2008, GUM,
clause 5.1.2); the expanded U is twice that, for about 95 % (NIST/SEMATECH e-Handbook, 2.5.7).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.wear.arguments import Array, Whole, numbers, offsets

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

SQRT3 = float(np.sqrt(3.0))
REFERENCE_C = 20.0
"""Tapes and chains are specified at 20 degC (EU directive 2014/32, annex X, MI-008; ISO 1)."""


# ------------------------------------------------------------------------------------------------ the length


def reckoned_temperatures(
    chain_c: ArrayLike,
    tape_c: ArrayLike,
    *,
    u_known_k: float,
    same_up_to_c: float,
    hot_tape_c: float,
    u_hot_k: float,
    u_unknown_k: float,
) -> tuple[Array, Array, Array]:
    """Chain and tape temperature to correct with, where one or both were not written down.

    Both known: as they are. Chain alone known: up to ``same_up_to_c`` the tape lying on it is as warm as the
    chain; on a hotter chain the tape is taken at ``hot_tape_c``. Chain not known: no correction, so both are
    set to 20 degC and the uncertainty says the rest. Source: proposed for this project, no source.

    Parameters
    ----------
    chain_c, tape_c : (n,) float
        NaN where not recorded. [degC]
    u_known_k, u_hot_k, u_unknown_k : float
        Standard uncertainty with a recorded chain, with a hot chain and a guessed tape, with nothing. [K]
    same_up_to_c, hot_tape_c : float
        [degC]

    Returns
    -------
    chain_c, tape_c, u_k : (n,) float
        Never NaN. [degC, degC, K]

    Examples
    --------
    >>> chain, tape, u = reckoned_temperatures(
    ...     [210.0, 45.0, 210.0, np.nan], [35.0, np.nan, np.nan, 18.0],
    ...     u_known_k=2, same_up_to_c=60, hot_tape_c=40, u_hot_k=12, u_unknown_k=10)
    >>> chain.tolist(), tape.tolist(), u.tolist()
    ([210.0, 45.0, 210.0, 20.0], [35.0, 45.0, 40.0, 20.0], [2.0, 2.0, 12.0, 10.0])
    """
    chain, tape = np.broadcast_arrays(numbers(chain_c, "chain_c"), numbers(tape_c, "tape_c"))
    chain_unknown = np.isnan(chain)
    tape_guessed = np.isnan(tape) & ~chain_unknown
    hot = tape_guessed & (chain > same_up_to_c)
    tape_used = np.select([chain_unknown, hot, tape_guessed], [REFERENCE_C, hot_tape_c, chain], tape)
    u_k = np.select([chain_unknown, hot], [u_unknown_k, u_hot_k], u_known_k)
    return np.where(chain_unknown, REFERENCE_C, chain), tape_used, u_k.astype(np.float64)


def length_at_20c(
    length_mm: ArrayLike,
    chain_c: ArrayLike,
    tape_c: ArrayLike,
    alpha_chain_per_k: ArrayLike,
    alpha_tape_per_k: ArrayLike,
) -> Array:
    """A tape reading brought to 20 degC of chain and tape.

    L20 = L [1 + alpha_t (T_t - 20) - alpha_c (T_c - 20)]. Source: derived, linear thermal expansion to first
    order; the neglected products stay below 1e-5 L up to 250 degC. Carbon steel 11.5e-6/K (JCGM 100:2008,
    H.1), austenitic stainless 304 17.2e-6/K, both for 0 to 100 degC; hotter steel expands a little more.

    Parameters
    ----------
    length_mm : (n,) float
        As read. [mm]
    chain_c, tape_c : (n,) float
        [degC]
    alpha_chain_per_k, alpha_tape_per_k : float or (n,) float
        [1/K]

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known length is not positive.

    Examples
    --------
    Chain at 210 degC under a tape at 35 degC:

    >>> length_at_20c([3110.0], [210.0], [35.0], 11.5e-6, 11.5e-6).round(2).tolist()
    [3103.74]
    """
    length = numbers(length_mm, "length_mm", above=0)
    warm_tape = numbers(alpha_tape_per_k, "alpha_tape_per_k") * (numbers(tape_c, "tape_c") - REFERENCE_C)
    warm_chain = numbers(alpha_chain_per_k, "alpha_chain_per_k") * (numbers(chain_c, "chain_c") - REFERENCE_C)
    return length * (1.0 + (warm_tape - warm_chain))  # equal warmth cancels to the last bit


def tape_limit(length_mm: ArrayLike, a_mm: ArrayLike, b_mm_per_m: ArrayLike) -> Array:
    """Largest error a tape of an accuracy class may have over a length.

    a + b L with L rounded up to the next whole metre; class I 0.1 + 0.1 L, II 0.3 + 0.2 L, III 0.6 + 0.4 L.
    Source: UK SI 2016/1153 Schedule 1I Table 1, the same as EU directive 2014/32, annex X, MI-008.

    Parameters
    ----------
    length_mm : (n,) float
        [mm]
    a_mm : float or (n,) float
        [mm]
    b_mm_per_m : float or (n,) float
        [mm per whole metre]

    Returns
    -------
    (n,) float
        Half width of the error. [mm]

    Raises
    ------
    WearInputError
        If a known length is not positive, or a or b is negative.

    Examples
    --------
    >>> tape_limit([3098.5], 0.3, 0.2).round(3).tolist()
    [1.1]
    """
    metres = np.ceil(numbers(length_mm, "length_mm", above=0) / 1000.0)
    return numbers(a_mm, "a_mm", at_least=0) + numbers(b_mm_per_m, "b_mm_per_m", at_least=0) * metres


def length_uncertainty(
    length_mm: ArrayLike,
    *,
    a_mm: ArrayLike,
    b_mm_per_m: ArrayLike,
    step_mm: ArrayLike,
    u_repeat_mm: ArrayLike,
    u_pull_mm: ArrayLike,
    u_temperature_k: ArrayLike,
    alpha_per_k: ArrayLike,
    marks: ArrayLike = 1,
) -> Array:
    """Standard uncertainty of a length read with a tape, or of the mean of such lengths at several marks.

    u^2 = u_tape^2 + (2 u_end^2 + u_repeat^2) / m + u_pull^2 + (L alpha u_T)^2, with u_tape = (a + b L)/sqrt 3
    and u_end = step / (2 sqrt 3) at either end. Only reading and repeating average out over m marks; tape,
    pull and temperature are common to all. Source: derived, JCGM 100:2008, 5.1.2, rectangular limits by
    4.3.7; the sizes of repeat and pull are the site's own.

    Parameters
    ----------
    length_mm : (n,) float
        [mm]
    a_mm, b_mm_per_m : float or (n,) float
        As in :func:`tape_limit`.
    step_mm : float or (n,) float
        Smallest step that was read. [mm]
    u_repeat_mm, u_pull_mm : float or (n,) float
        [mm]
    u_temperature_k : float or (n,) float
        Of the difference of chain and tape temperature. [K]
    alpha_per_k : float or (n,) float
        Of the chain. [1/K]
    marks : int or (n,) int
        1 for the U of one mark, which is also the careful side for a mean.

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known part is negative, a length not positive or a count of marks below 1.

    Examples
    --------
    Class II tape over 3.1 m, read to 1 mm:

    >>> length_uncertainty([3048.0], a_mm=0.3, b_mm_per_m=0.2, step_mm=1, u_repeat_mm=0.8, u_pull_mm=0.5,
    ...                    u_temperature_k=2, alpha_per_k=11.5e-6).round(3).tolist()
    [1.21]
    """
    u_tape = tape_limit(length_mm, a_mm, b_mm_per_m) / SQRT3
    u_end = numbers(step_mm, "step_mm", at_least=0) / (2.0 * SQRT3)
    u_repeat = numbers(u_repeat_mm, "u_repeat_mm", at_least=0)
    u_pull = numbers(u_pull_mm, "u_pull_mm", at_least=0)
    expansion = numbers(length_mm, "length_mm") * numbers(alpha_per_k, "alpha_per_k", at_least=0)
    u_warm = expansion * numbers(u_temperature_k, "u_temperature_k", at_least=0)
    averaged = (2.0 * u_end**2 + u_repeat**2) / numbers(marks, "marks", at_least=1)
    return np.sqrt(u_tape**2 + averaged + u_pull**2 + u_warm**2)


# --------------------------------------------------------------------------------------- the two elongations


def nominal_length(pitches: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """Length of a span of whole pitches when every pitch is nominal, n P. Source: definition.

    Parameters
    ----------
    pitches : (n,) int
        1 or more. [-]
    pitch_mm : float or (n,) float
        More than 0. [mm]

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known count or pitch is outside its range.

    Examples
    --------
    >>> nominal_length([20], 152.4).tolist()
    [3048.0]
    """
    return numbers(pitches, "pitches", at_least=1) * numbers(pitch_mm, "pitch_mm", above=0)


def geometric_elongation(length_20c_mm: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """Elongation over the nominal length, for fit on the sprocket: 100 (L20 - n P) / (n P).

    Source: definition.

    Parameters
    ----------
    length_20c_mm : (n,) float
        [mm]
    pitches, pitch_mm
        As in :func:`nominal_length`.

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known length, count or pitch is not positive.

    Examples
    --------
    >>> geometric_elongation([3098.5], [20], 152.4).round(3).tolist()
    [1.657]
    """
    nominal = nominal_length(pitches, pitch_mm)
    return 100.0 * (numbers(length_20c_mm, "length_20c_mm", above=0) - nominal) / nominal


def wear_elongation(
    length_20c_mm: ArrayLike, zero_20c_mm: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike
) -> Array:
    """Elongation since the chain was fitted: 100 (L20 - L0) / (n P). Source: definition.

    Parameters
    ----------
    length_20c_mm : (n,) float
        [mm]
    zero_20c_mm : (n,) float
        The same span as fitted, or :func:`nominal_zero`. [mm]
    pitches, pitch_mm
        As in :func:`nominal_length`.

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known length, count or pitch is not positive.

    Examples
    --------
    >>> wear_elongation([3098.5], [3051.2], [20], 152.4).round(3).tolist()
    [1.552]
    """
    grown = numbers(length_20c_mm, "length_20c_mm", above=0) - numbers(zero_20c_mm, "zero_20c_mm", above=0)
    return 100.0 * grown / nominal_length(pitches, pitch_mm)


def scaled_zero(zero_20c_mm: ArrayLike, zero_pitches: ArrayLike, pitches: ArrayLike) -> Array:
    """The as-fitted length of a span of another count, L0 n / n0; its uncertainty scales alike.

    Source: derived; holds as far as the new chain was even along its length.

    Parameters
    ----------
    zero_20c_mm : (n,) float
        [mm]
    zero_pitches, pitches : (n,) int
        Count at the fitting and now, 1 or more.

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known count is below 1.

    Examples
    --------
    >>> scaled_zero([1525.6], [10], [20]).tolist()
    [3051.2]
    """
    n_now, n_then = numbers(pitches, "pitches", at_least=1), numbers(zero_pitches, "zero_pitches", at_least=1)
    return numbers(zero_20c_mm, "zero_20c_mm") * n_now / n_then


def nominal_zero(pitches: ArrayLike, pitch_mm: ArrayLike, tolerance_percent: ArrayLike) -> Array:
    """What stands in for the as-fitted length when nobody measured it: n P (1 + tau/200).

    New chain is at or over nominal, never under, so half the width of the tolerance is the middle. Source:
    derived. Widths: cast mill chain 0.625 % (ASME B29.14M-1996, 2.3: 0 to 0.75 in in 120 in); roller drive
    chain 0.15 % (from memory of ISO 606, unverified).

    Parameters
    ----------
    pitches, pitch_mm
        As in :func:`nominal_length`.
    tolerance_percent : float or (n,) float
        Width tau of the new-length tolerance, 0 or more. [%]

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> nominal_zero([20], 152.4, 0.625).round(3).tolist()
    [3057.525]
    """
    tolerance = numbers(tolerance_percent, "tolerance_percent", at_least=0)
    return nominal_length(pitches, pitch_mm) * (1.0 + tolerance / 200.0)


def nominal_zero_uncertainty(pitches: ArrayLike, pitch_mm: ArrayLike, tolerance_percent: ArrayLike) -> Array:
    """Standard uncertainty of :func:`nominal_zero`: n P tau / (200 sqrt 3), a rectangular width of tau.

    Source: derived, JCGM 100:2008, 4.3.7.

    Parameters
    ----------
    pitches, pitch_mm, tolerance_percent
        As in :func:`nominal_zero`.

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> nominal_zero_uncertainty([20], 152.4, 0.625).round(3).tolist()
    [5.499]
    """
    tolerance = numbers(tolerance_percent, "tolerance_percent", at_least=0)
    return nominal_length(pitches, pitch_mm) * tolerance / (200.0 * SQRT3)


def geometric_uncertainty(u_length_mm: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """Standard uncertainty of a geometric elongation: 100 u_L / (n P). Source: derived.

    Parameters
    ----------
    u_length_mm : (n,) float
        [mm]
    pitches, pitch_mm
        As in :func:`nominal_length`.

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> geometric_uncertainty([1.210], [20], 152.4).round(3).tolist()
    [0.04]
    """
    return 100.0 * numbers(u_length_mm, "u_length_mm", at_least=0) / nominal_length(pitches, pitch_mm)


def wear_uncertainty(
    u_length_mm: ArrayLike, u_zero_mm: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike
) -> Array:
    """Standard uncertainty of a wear elongation: 100 sqrt(u_L^2 + u_L0^2) / (n P). Source: derived.

    The zero's part is common to a life: it counts against a limit and cancels in a rate.

    Parameters
    ----------
    u_length_mm : (n,) float
        [mm]
    u_zero_mm : (n,) float
        Of the as-fitted length, or :func:`nominal_zero_uncertainty`. [mm]
    pitches, pitch_mm
        As in :func:`nominal_length`.

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    As fitted with the same tape, then with a nominal zero of 0.625 % width:

    >>> wear_uncertainty([1.210, 1.210], [1.210, 5.499], [20, 20], 152.4).round(3).tolist()
    [0.056, 0.185]
    """
    both = np.hypot(
        numbers(u_length_mm, "u_length_mm", at_least=0), numbers(u_zero_mm, "u_zero_mm", at_least=0)
    )
    return 100.0 * both / nominal_length(pitches, pitch_mm)


def rate_uncertainty(u_length_mm: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """Standard uncertainty of one survey's elongation inside a wear rate: 100 sqrt(2) u_L / (n P).

    The zero cancels in a rate, whatever zero it was; the factor keeps the number on the careful side.
    Source: proposed for this project, no source.

    Parameters
    ----------
    u_length_mm, pitches, pitch_mm
        As in :func:`geometric_uncertainty`.

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> rate_uncertainty([1.210], [20], 152.4).round(3).tolist()
    [0.056]
    """
    return float(np.sqrt(2.0)) * geometric_uncertainty(u_length_mm, pitches, pitch_mm)


# --------------------------------------------------------------------------------------------- several marks


def over_marks(elongation_percent: ArrayLike, starts: ArrayLike) -> tuple[Array, Array, Whole, Whole]:
    """Mean and greatest elongation of each survey over its marks.

    The mean serves rate, take-up and ordering, the greatest fit, case and strength: a strand is as good as
    its worst joint. Source: common practice, no source.

    Parameters
    ----------
    elongation_percent : (n,) float
        One value a mark, surveys laid end to end; NaN marks are left out. [%]
    starts : (m+1,) int
        Where each survey begins, then n.

    Returns
    -------
    mean, greatest : (m,) float
        NaN where no mark is known. [%]
    place : (m,) int
        Place of the greatest in the input (the first of equals), -1 where no mark is known.
    count : (m,) int
        Known marks.

    Raises
    ------
    WearInputError
        If the offsets do not fit.

    Examples
    --------
    >>> mean, greatest, place, count = over_marks([1.5, 1.6, 1.7, np.nan, 0.4], [0, 3, 5])
    >>> mean.round(3).tolist(), greatest.tolist(), place.tolist(), count.tolist()
    ([1.6, 0.4], [1.7, 0.4], [2, 4], [3, 1])
    """
    values = numbers(elongation_percent, "elongation_percent")
    bounds = offsets(starts, values.size)
    survey = np.repeat(np.arange(bounds.size - 1), np.diff(bounds))
    known = np.flatnonzero(~np.isnan(values))
    surveys = bounds.size - 1
    # bincount adds in the order of the rows, one survey after the other, so a sum never depends on what else
    # is in the batch.
    count = np.bincount(survey[known], minlength=surveys)
    total = np.bincount(survey[known], weights=values[known], minlength=surveys)
    mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)

    place = np.full(surveys, -1, dtype=np.int64)
    by_size = known[np.lexsort((known, -values[known], survey[known]))]
    with_marks, first = np.unique(survey[by_size], return_index=True)
    place[with_marks] = by_size[first]
    greatest = np.where(place >= 0, values[place] if values.size else np.nan, np.nan)
    return mean, greatest, place, count.astype(np.int64)


# -------------------------------------------------------------------------------------- the count of pitches


def odd_span_reading(elongation_percent: ArrayLike, pitches: ArrayLike, starts_outer: ArrayLike) -> Array:
    """What a span reads on chain of alternate inner and outer links, e (n +- 1)/n for odd n.

    Only the outer link lengthens (P + 2 Delta); a span that starts on one holds one more of them. Even spans
    read the truth. Source: derived. Holds for straight-sidebar chain; offset-sidebar chain reads true at any
    n.

    Parameters
    ----------
    elongation_percent : (n,) float
        True mean wear elongation. [%]
    pitches : (n,) int
        1 or more.
    starts_outer : (n,) bool
        The first link of the span is an outer link.

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known count is below 1.

    Examples
    --------
    >>> odd_span_reading([2.0, 2.0, 2.0], [11, 11, 10], [True, False, True]).round(3).tolist()
    [2.182, 1.818, 2.0]
    """
    return numbers(elongation_percent, "elongation_percent") * _odd_span_factor(pitches, starts_outer)


def odd_span_corrected(read_percent: ArrayLike, pitches: ArrayLike, starts_outer: ArrayLike) -> Array:
    """True mean wear elongation from an odd span whose starting link is known; see :func:`odd_span_reading`.

    Parameters
    ----------
    read_percent : (n,) float
        [%]
    pitches, starts_outer
        As in :func:`odd_span_reading`.

    Returns
    -------
    (n,) float
        NaN for a single inner link, which never lengthens and tells nothing. [%]

    Raises
    ------
    WearInputError
        If a known count is below 1.

    Examples
    --------
    >>> odd_span_corrected([2.18182, 1.81818, 0.0], [11, 11, 1], [True, False, False]).round(3).tolist()
    [2.0, 2.0, nan]
    """
    factor = _odd_span_factor(pitches, starts_outer)
    return numbers(read_percent, "read_percent") / np.where(factor > 0, factor, np.nan)


def _odd_span_factor(pitches: ArrayLike, starts_outer: ArrayLike) -> Array:
    n = numbers(pitches, "pitches", at_least=1)
    more = np.where(np.asarray(starts_outer, dtype=bool), 1.0, -1.0)
    return 1.0 + np.where(n % 2 == 1, more, 0.0) / n


def odd_span_uncertainty(elongation_percent: ArrayLike, pitches: ArrayLike) -> Array:
    """What an odd span of unknown starting link adds to the uncertainty on alternate-link chain: e/n.

    The error is either +e/n or -e/n, so its standard deviation is e/n. Source: derived.

    Parameters
    ----------
    elongation_percent : (n,) float
        [%]
    pitches : (n,) int
        1 or more.

    Returns
    -------
    (n,) float
        0 for even spans. [%]

    Raises
    ------
    WearInputError
        If a known count is below 1.

    Examples
    --------
    >>> odd_span_uncertainty([2.0, 2.0], [11, 10]).round(3).tolist()
    [0.182, 0.0]
    """
    n = numbers(pitches, "pitches", at_least=1)
    return np.where(n % 2 == 1, np.abs(numbers(elongation_percent, "elongation_percent")) / n, 0.0)


def with_count(geometric_percent: ArrayLike, pitches: ArrayLike, true_pitches: ArrayLike) -> Array:
    """Geometric elongation restated for another count of pitches: 100 ((1 + e/100) n/n' - 1).

    Source: derived from the definition.

    Parameters
    ----------
    geometric_percent : (n,) float
        As reckoned with the count written down. [%]
    pitches, true_pitches : (n,) int
        As written, and as it may have been; 1 or more.

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known count is below 1.

    Examples
    --------
    Twenty written, 21 and 19 measured:

    >>> with_count([6.6273, -3.5270], [20, 20], [21, 19]).round(2).tolist()
    [1.55, 1.55]
    """
    n = numbers(pitches, "pitches", at_least=1)
    n_true = numbers(true_pitches, "true_pitches", at_least=1)
    return 100.0 * ((1.0 + numbers(geometric_percent, "geometric_percent") / 100.0) * n / n_true - 1.0)


def miscount_shift(true_percent: ArrayLike, pitches: ArrayLike) -> Array:
    """How far a span miscounted by one lies off: (100 + e)/n, up if one more was measured, down if one less.

    Source: derived from the definition.

    Parameters
    ----------
    true_percent : (n,) float
        Geometric elongation as it is. [%]
    pitches : (n,) int
        Count written down, 1 or more.

    Returns
    -------
    (n,) float
        [points of %]

    Raises
    ------
    WearInputError
        If a known count is below 1.

    Examples
    --------
    >>> miscount_shift([1.55], [20]).round(2).tolist()
    [5.08]
    """
    return (100.0 + numbers(true_percent, "true_percent")) / numbers(pitches, "pitches", at_least=1)


def miscount(
    geometric_percent: ArrayLike, pitches: ArrayLike, expected_percent: ArrayLike, u_percent: ArrayLike
) -> Whole:
    """By how many pitches a span was miscounted, where the reading bears that signature.

    A miscount by one is told where the reading lies off its trend by :func:`miscount_shift` to within 4 u
    (twice the expanded U) and does not fit as it was written. Source: derived; the width proposed for this
    project, no source.

    Parameters
    ----------
    geometric_percent : (n,) float
        As reckoned with the count written down. [%]
    pitches : (n,) int
        Count written down, 1 or more.
    expected_percent : (n,) float
        Where the strand's trend stands at that moment. [%]
    u_percent : (n,) float
        Standard uncertainty of reading against trend. [%]

    Returns
    -------
    (n,) int
        +1 one more pitch than written was measured, -1 one less, 0 no such sign or not known.

    Raises
    ------
    WearInputError
        If a known count is below 1 or an uncertainty negative.

    Examples
    --------
    >>> miscount([6.627, -3.527, 1.61, 4.0], 20, 1.55, 0.056).tolist()
    [1, -1, 0, 0]
    """
    off = numbers(geometric_percent, "geometric_percent") - numbers(expected_percent, "expected_percent")
    width = 4.0 * numbers(u_percent, "u_percent", at_least=0)
    shift = miscount_shift(expected_percent, pitches)
    fits_as_written = np.abs(off) <= width
    one_more = (np.abs(off - shift) <= width) & ~fits_as_written
    one_less = (np.abs(off + shift) <= width) & ~fits_as_written & (numbers(pitches, "pitches") > 1)
    return one_more.astype(np.int64) - one_less.astype(np.int64)


# ------------------------------------------------------------------------------------------------- the joint


def wear_depth(new_mm: ArrayLike, worn_mm: ArrayLike, turned: ArrayLike) -> Array:
    """Depth worn from a pin or a bushing bore, from its diameters.

    A fixed part wears on one side: depth = the whole change, with the caliper across the worn side. A part
    that turned wears all round: half of it. Source: derived.

    Parameters
    ----------
    new_mm, worn_mm : (n,) float
        Outside diameter of a pin or bore of a bushing, more than 0. [mm]
    turned : (n,) bool
        The part turned in its seat.

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known diameter is not positive.

    Examples
    --------
    A pin and a bore on one side, then the same pin had it turned:

    >>> wear_depth([31.75, 32.15, 31.75], [30.55, 33.05, 30.55], [False, False, True]).round(2).tolist()
    [1.2, 0.9, 0.6]
    """
    change = np.abs(numbers(worn_mm, "worn_mm", above=0) - numbers(new_mm, "new_mm", above=0))
    return change / np.where(np.asarray(turned, dtype=bool), 2.0, 1.0)


def joint_elongation(pin_depth_mm: ArrayLike, bushing_depth_mm: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """Elongation that the joint wear makes: 100 (w_p + w_b) / P. Source: derived.

    Holds where joints wear evenly; as a mean over all joints it holds always.

    Parameters
    ----------
    pin_depth_mm, bushing_depth_mm : (n,) float
        0 or more. [mm]
    pitch_mm : float or (n,) float
        More than 0. [mm]

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> joint_elongation([1.20], [0.90], 152.4).round(3).tolist()
    [1.378]
    """
    depth = numbers(pin_depth_mm, "pin_depth_mm", at_least=0) + numbers(
        bushing_depth_mm, "bushing_depth_mm", at_least=0
    )
    return 100.0 * depth / numbers(pitch_mm, "pitch_mm", above=0)


def joint_wear(wear_percent: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """Depth worn from pin and bushing of one joint together: e P / 100. Source: derived.

    Parameters
    ----------
    wear_percent : (n,) float
        Wear elongation. [%]
    pitch_mm : float or (n,) float
        More than 0. [mm]

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known pitch is not positive.

    Examples
    --------
    >>> joint_wear([3.0], 304.8).round(1).tolist()
    [9.1]
    """
    return numbers(wear_percent, "wear_percent") * numbers(pitch_mm, "pitch_mm", above=0) / 100.0
