"""One whole number for the rows behind a verdict: it changes when they do, and never by the day."""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    import pandas as pd

Keys = NDArray[np.int64]

#: odd multipliers of SplitMix64. Source: G. Steele, D. Lea, C. Flood 2014, from memory, unverified
_ONE, _TWO, _STEP = (
    np.uint64(0xBF58476D1CE4E5B9),
    np.uint64(0x94D049BB133111EB),
    np.uint64(0x9E3779B97F4A7C15),
)


def mixed(*parts: ArrayLike) -> Keys:
    """Whole numbers mixed into one, element by element; the order of the parts counts.

    Examples
    --------
    >>> a, b = mixed([1, 2], [3, 3]), mixed([1, 2], [3, 4])
    >>> (a == b).tolist()
    [True, False]
    """
    with np.errstate(over="ignore"):
        key: NDArray[np.uint64] = np.zeros(np.shape(parts[0]), dtype=np.uint64)
        for part in parts:
            key = (key + _STEP) ^ np.asarray(part, dtype=np.int64).astype(np.uint64)
            key = (key ^ (key >> np.uint64(30))) * _ONE
            key = (key ^ (key >> np.uint64(27))) * _TWO
            key ^= key >> np.uint64(31)
    return np.asarray(key, dtype=np.int64)


def keys(column: pd.Series[Any]) -> Keys:
    """A key a row from a column of row ids: a number, or a list of numbers, blank for none."""
    if column.dtype != object:
        numbers = column.to_numpy(dtype=np.float64)
        return np.asarray(np.where(np.isnan(numbers), -1.0, numbers), dtype=np.int64)
    lists = [value if isinstance(value, list | tuple) else () for value in column]
    sizes = np.fromiter(map(len, lists), dtype=np.int64, count=len(lists))
    flat = np.fromiter(chain.from_iterable(lists), dtype=np.int64, count=int(sizes.sum()))
    total = np.zeros(len(lists), dtype=np.int64)
    # Rows of one survey have no order: their mixtures are added.
    np.add.at(total, np.repeat(np.arange(len(lists)), sizes), mixed(flat))
    return total
