"""Query results as frames by takeup's conventions, checked against their contract."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.contracts import Cell, Contract, Field, validate
from takeup.store.quoting import name, names, text

if TYPE_CHECKING:
    import pandas as pd
    from duckdb import DuckDBPyConnection


def columns_of(result: DuckDBPyConnection) -> dict[str, np.ndarray[Any, Any]]:
    """A result's columns as plain arrays: numbers with NaN for NULL, text as objects with None for NULL."""
    found = {}
    for column, values in result.fetchnumpy().items():
        found[column] = _plain(values) if isinstance(values, np.ma.MaskedArray) else np.asarray(values)
    return found


def _plain(values: np.ma.MaskedArray[Any, Any]) -> np.ndarray[Any, Any]:
    blank = np.ma.getmaskarray(values)
    if not blank.any():
        return np.asarray(values.data)
    plain = values.data.astype(np.float64 if values.dtype.kind in "iuf" else object)
    plain[blank] = np.nan if values.dtype.kind in "iuf" else None
    return plain


def frame_of(result: DuckDBPyConnection) -> pd.DataFrame:
    """A result as a frame with index 0..n; text stays ``object``."""
    import pandas as pd

    arrays = columns_of(result)
    return pd.DataFrame(
        {
            column: pd.Series(values, dtype=object if values.dtype.kind == "O" else None)
            for column, values in arrays.items()
        }
    )


def handed(field: Field) -> str:
    """The SQL that hands over the columns of a field.

    A word of the contract goes as its place in the list of words, so that a million cells share the few texts
    instead of having one each.
    """
    if not field.words:
        return names(field.frame_columns)
    words = ", ".join(text(word) for word in dict.fromkeys(("", *field.words)))
    return f"CAST({name(field.name)} AS ENUM({words})) AS {name(field.name)}"


def feed_frame(
    result: DuckDBPyConnection, rules: Contract, fields: Sequence[Field], *, checked_by: int = 0
) -> pd.DataFrame:
    """Rows of one feed, by the conventions and its contract.

    Parameters
    ----------
    result
        Of a query for ``row_id``, ``file_id``, ``line``, ``known_from`` and the fields.
    rules : Contract
    fields : sequence of Field
    checked_by : int
        Rows known by this night were held against the contract when they came, and are not again.

    Raises
    ------
    InputUnusable
        If rows of the store break their contract.
    """
    frame = frame_of(result)
    for field in fields:
        for column in field.frame_columns[1:] if not field.is_number else field.frame_columns:
            exact = column.endswith("_day") and field.cell is Cell.MOMENT and field.required
            frame[column] = frame[column].astype(np.int64 if exact else np.float64)
    for column in ("row_id", "file_id", "line", "known_from"):
        frame[column] = frame[column].astype(np.int64)
    new = frame["known_from"].to_numpy() > checked_by
    if new.any():
        validate(frame if new.all() else frame[new].reset_index(drop=True), rules.feed, fields)
    return frame
