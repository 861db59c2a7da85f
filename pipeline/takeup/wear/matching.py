"""Two strands driven from one shaft that no longer match.

They carry one bucket, flight or pan between them. Where their pitches differ, one lags behind the other, more
and more from the drive to the tail.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.wear.arguments import Array, Whole, numbers, offsets

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


def lag(centres_mm: ArrayLike, longer_percent: ArrayLike, shorter_percent: ArrayLike) -> Array:
    """How far one strand is behind the other at the tail: C (e_A - e_B) / 100.

    Source: derived; both strands start level at the drive.

    Parameters
    ----------
    centres_mm : (n,) float
        From drive to tail, more than 0. [mm]
    longer_percent, shorter_percent : (n,) float
        Geometric elongations of A and B. [%]

    Returns
    -------
    (n,) float
        Negative where B is the longer. [mm]

    Raises
    ------
    WearInputError
        If a known distance is not positive.

    Examples
    --------
    >>> lag(30_000.0, [0.05, 0.15, 0.40], 0.0).round(1).tolist()
    [15.0, 45.0, 120.0]
    """
    difference = numbers(longer_percent, "longer_percent") - numbers(shorter_percent, "shorter_percent")
    return numbers(centres_mm, "centres_mm", above=0) * difference / 100.0


def difference_from_lag(lag_mm: ArrayLike, centres_mm: ArrayLike) -> Array:
    """Difference of elongation that a lag measured by square shows: 100 lag / C. Source: derived.

    Parameters
    ----------
    lag_mm : (n,) float
        At the tail. [mm]
    centres_mm : (n,) float
        More than 0. [mm]

    Returns
    -------
    (n,) float
        [points of %]

    Raises
    ------
    WearInputError
        If a known distance is not positive.

    Examples
    --------
    >>> difference_from_lag([45.0], 30_000.0).round(3).tolist()
    [0.15]
    """
    return 100.0 * numbers(lag_mm, "lag_mm") / numbers(centres_mm, "centres_mm", above=0)


def skew(lag_mm: ArrayLike, strand_spacing_mm: ArrayLike) -> Array:
    """Angle by which a bucket, flight or pan stands askew: atan(lag / W). Source: derived.

    Parameters
    ----------
    lag_mm : (n,) float
        [mm]
    strand_spacing_mm : (n,) float
        Across the machine, more than 0. [mm]

    Returns
    -------
    (n,) float
        With the sign of the lag. [degree]

    Raises
    ------
    WearInputError
        If a known spacing is not positive.

    Examples
    --------
    >>> skew([15.0, 45.0, 120.0], 900.0).round(2).tolist()
    [0.95, 2.86, 7.59]
    """
    spacing = numbers(strand_spacing_mm, "strand_spacing_mm", above=0)
    return np.degrees(np.arctan(numbers(lag_mm, "lag_mm") / spacing))


def difference_uncertainty(u_one_percent: ArrayLike, u_two_percent: ArrayLike) -> Array:
    """Standard uncertainty of a difference of two elongations read apart: sqrt(u_A^2 + u_B^2).

    Source: JCGM 100:2008, 5.1.2, uncorrelated. Reading both with one tape, hour and pull leaves less.

    Parameters
    ----------
    u_one_percent, u_two_percent : (n,) float
        0 or more. [%]

    Returns
    -------
    (n,) float
        [points of %]

    Raises
    ------
    WearInputError
        If a known uncertainty is negative.

    Examples
    --------
    U of a difference of two tape surveys, twice this:

    >>> (2 * difference_uncertainty([0.040], [0.040])).round(2).tolist()
    [0.11]
    """
    return np.hypot(
        numbers(u_one_percent, "u_one_percent", at_least=0),
        numbers(u_two_percent, "u_two_percent", at_least=0),
    )


def set_difference(geometric_percent: ArrayLike, starts: ArrayLike) -> tuple[Array, Whole, Whole]:
    """The greatest difference of elongation inside each set of strands, and between which two.

    Source: definition.

    Parameters
    ----------
    geometric_percent : (n,) float
        One value a strand, sets laid end to end; NaN where not known. [%]
    starts : (m+1,) int
        Where each set begins, then n.

    Returns
    -------
    difference : (m,) float
        NaN with fewer than two known strands. [points of %]
    longest, shortest : (m,) int
        Places in the input (the first of equals), -1 with fewer than two known strands.

    Raises
    ------
    WearInputError
        If the offsets do not fit.

    Examples
    --------
    >>> difference, longest, shortest = set_difference([1.2, 1.6, 2.0, 0.9, np.nan], [0, 2, 3, 5])
    >>> difference.round(2).tolist(), longest.tolist(), shortest.tolist()
    ([0.4, nan, nan], [1, -1, -1], [0, -1, -1])
    """
    values = numbers(geometric_percent, "geometric_percent")
    bounds = offsets(starts, values.size)
    group = np.repeat(np.arange(bounds.size - 1), np.diff(bounds))
    known = np.flatnonzero(~np.isnan(values))
    pairs = np.bincount(group[known], minlength=bounds.size - 1) > 1
    places = []
    for size in (-values, values):
        order = known[np.lexsort((known, size[known], group[known]))]
        sets, first = np.unique(group[order], return_index=True)
        place = np.full(pairs.shape, -1, dtype=np.int64)
        place[sets] = order[first]
        places.append(np.where(pairs, place, -1))
    longest, shortest = places
    difference = np.full(pairs.shape, np.nan)
    difference[pairs] = values[longest[pairs]] - values[shortest[pairs]]
    return difference, longest, shortest
