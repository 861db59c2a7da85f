"""The one way the calculations look at what they are handed.

NaN means *not known* and passes; a known value outside the definition of a formula does not.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from takeup.errors import WearInputError

Array: TypeAlias = NDArray[np.float64]
Whole: TypeAlias = NDArray[np.int64]
Flags: TypeAlias = NDArray[np.bool_]


def numbers(
    values: ArrayLike,
    name: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
) -> Array:
    """Values as float, every known one inside the range of the formula that asks.

    Parameters
    ----------
    values : (n,) float
    name : str
        What the formula calls them; stands in the message.
    above, at_least, below, at_most : float, optional
        The range.

    Returns
    -------
    (n,) float

    Raises
    ------
    WearInputError
        If a known value lies outside the range.

    Examples
    --------
    >>> numbers([1, None], "pitch_mm", above=0).tolist()
    [1.0, nan]
    >>> numbers([152.4, 0], "pitch_mm", above=0)
    Traceback (most recent call last):
    takeup.errors.WearInputError: pitch_mm: 0.0 at place 1 of 2, wanted above 0. The formula is not ...
    """
    found = np.asarray(values, dtype=np.float64)
    outside = np.zeros(found.shape, dtype=bool)
    wanted = []
    for word, bound, wrong in (
        ("above", above, np.less_equal),
        ("at least", at_least, np.less),
        ("below", below, np.greater_equal),
        ("at most", at_most, np.greater),
    ):
        if bound is not None:
            outside |= wrong(found, bound)
            wanted.append(f"{word} {bound:g}")
    if outside.any():
        place = int(np.flatnonzero(outside)[0])
        raise WearInputError(
            f"{found.ravel()[place]} at place {place} of {found.size}, wanted {' and '.join(wanted)}",
            where=name,
            why="The formula is not defined there.",
            todo="Keep the row out, or hand over NaN where the value is not known.",
        )
    return found


def offsets(starts: ArrayLike, length: int) -> Whole:
    """Where each group begins in arrays laid end to end; the last entry is their length.

    Parameters
    ----------
    starts : (m+1,) int
        ``0``, then rising or level (a level step is an empty group), then ``length``.
    length : int

    Returns
    -------
    (m+1,) int

    Raises
    ------
    WearInputError
        If the offsets do not cover the arrays in order.

    Examples
    --------
    >>> offsets([0, 2, 2, 5], 5).tolist()
    [0, 2, 2, 5]
    """
    found = np.asarray(starts, dtype=np.int64)
    if (
        found.ndim != 1
        or not found.size
        or found[0] != 0
        or found[-1] != length
        or (np.diff(found) < 0).any()
    ):
        raise WearInputError(
            f"{found.tolist()[:10]} does not lead from 0 to {length} without stepping back",
            where="starts",
            why="Groups laid end to end would be cut at the wrong places.",
        )
    return found
