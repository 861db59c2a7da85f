"""Frames with columns and types declared, so that a table is the same fresh, from the cache, and empty."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: kinds of column; a list holds row ids
TEXT, ROWS, WHOLE, NUMBER, FLAG = "text", "rows", "int64", "float64", "bool"


def typed(columns: Mapping[str, Any] | pd.DataFrame, types: Mapping[str, str]) -> pd.DataFrame:
    """A frame of these columns in their order and types.

    Parameters
    ----------
    columns : mapping or DataFrame
        Name to values; an empty frame may lack them.
    types : mapping
        Name to one of the kinds of this module.
    """
    if isinstance(columns, pd.DataFrame) and columns.empty:
        columns = {name: [] for name in types}
    return pd.DataFrame({name: _column(columns[name], kind) for name, kind in types.items()})


def stacked(parts: Iterable[pd.DataFrame], types: Mapping[str, str]) -> pd.DataFrame:
    """The rows of frames of one kind, one after the other."""
    filled = [typed(part, types) for part in parts if len(part)]
    return pd.concat(filled, ignore_index=True) if filled else typed(pd.DataFrame(), types)


def texts(values: Iterable[str]) -> NDArray[np.object_]:
    """Texts as an array of objects, its own."""
    if isinstance(values, pd.Series | np.ndarray) and values.dtype == object:
        return np.array(values, dtype=object)
    found = list(values)
    array = np.empty(len(found), dtype=object)
    array[:] = found
    return array


def _column(values: Any, kind: str) -> Any:
    if kind == ROWS:
        return pd.Series(list(values), dtype=object)
    if kind == TEXT:
        return pd.Series(texts(values), dtype=object)
    return np.asarray(values).astype(kind)
