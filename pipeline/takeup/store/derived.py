"""Tables that later steps of a night make of their own frames: caches by strand, and verdicts.

A cache may be dropped at any time: it is derived again from the rows. Its table takes its columns from the
first frame written.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from takeup.errors import OurFault, StoreDamaged
from takeup.store.handover import frame_of
from takeup.store.quoting import name, names

if TYPE_CHECKING:
    import pandas as pd
    from duckdb import DuckDBPyConnection

PREFIX = "cache_"
VERDICTS = "verdict"
_VERDICT_KEY = ("rule", "subject_kind", "subject")


def cache_name(table: str) -> str:
    """The table behind a cache.

    Raises
    ------
    OurFault
        If the name is not a plain word.
    """
    if not re.fullmatch(r"[a-z][a-z_]*", table):
        raise OurFault(f"a cache is called {table!r}")
    return PREFIX + table


def tables(connection: DuckDBPyConnection, prefix: str) -> list[str]:
    """Tables of the store whose name begins so."""
    found = connection.execute(
        "SELECT table_name FROM duckdb_tables() WHERE database_name = current_database() "
        "AND starts_with(table_name, ?) ORDER BY 1",
        [prefix],
    ).fetchall()
    return [table for (table,) in found]


def read_cache(connection: DuckDBPyConnection, table: str, strands: Iterable[str] | None) -> pd.DataFrame:
    """The rows of a cache by strand, within a strand as written; an empty frame where there is none."""
    import pandas as pd

    stored = cache_name(table)
    if not tables(connection, stored):
        return pd.DataFrame()
    where, bound = "", {}
    if strands is not None:
        where, bound = (
            "WHERE strand IN (SELECT unnest($strands::VARCHAR[]))",
            {"strands": sorted(set(strands))},
        )
    result = connection.execute(
        f"SELECT * EXCLUDE (night) FROM {name(stored)} {where} ORDER BY strand, rowid", bound
    )
    frame = frame_of(result)
    for column in frame.columns:
        if len(frame) and isinstance(
            frame[column].iloc[0], np.ndarray
        ):  # a list comes as an array of its own
            frame[column] = pd.Series([ids.tolist() for ids in frame[column]], dtype=object)
    return frame


def write_cache(
    connection: DuckDBPyConnection, table: str, frame: pd.DataFrame, strands: Iterable[str], night: int
) -> None:
    """Put a frame in the place of the rows of some strands.

    Raises
    ------
    StoreDamaged
        If the frame has other columns than the cache.
    """
    stored = cache_name(table)
    _make(connection, stored, frame)
    connection.execute(
        f"DELETE FROM {name(stored)} WHERE strand IN (SELECT unnest($strands::VARCHAR[]))",
        {"strands": sorted(set(strands))},
    )
    _insert(connection, stored, frame, night)
    connection.execute("INSERT INTO derived_write VALUES (?, ?)", [table, night])


def last_verdicts(connection: DuckDBPyConnection, night: int) -> pd.DataFrame:
    """The newest verdict of every rule and subject, with the ``night`` it dates from."""
    import pandas as pd

    if not tables(connection, VERDICTS):
        return pd.DataFrame()
    key = names(_VERDICT_KEY)
    return frame_of(
        connection.execute(
            f"SELECT * FROM {VERDICTS} WHERE night <= ? "
            f"QUALIFY row_number() OVER (PARTITION BY {key} ORDER BY night DESC) = 1 ORDER BY {key}",
            [night],
        )
    )


def write_verdicts(connection: DuckDBPyConnection, frame: pd.DataFrame, night: int) -> None:
    """Add the verdicts of a night: those that changed."""
    _make(connection, VERDICTS, frame)
    _insert(connection, VERDICTS, frame, night)


def forget(connection: DuckDBPyConnection, night: int) -> None:
    """Drop verdicts of later nights, and caches that a later night wrote to."""
    if tables(connection, VERDICTS):
        connection.execute(f"DELETE FROM {VERDICTS} WHERE night > ?", [night])
    later = connection.execute("SELECT DISTINCT name FROM derived_write WHERE night > ?", [night]).fetchall()
    for (table,) in later:
        drop_cache(connection, table)


def drop_cache(connection: DuckDBPyConnection, table: str) -> None:
    """Drop one cache."""
    connection.execute(f"DROP TABLE IF EXISTS {name(cache_name(table))}")
    connection.execute("DELETE FROM derived_write WHERE name = ?", [table])


def _make(connection: DuckDBPyConnection, table: str, frame: pd.DataFrame) -> None:
    columns = {str(column): _sql_type(frame[column]) for column in frame.columns}
    if not tables(connection, table):
        listed = ", ".join(f"{name(column)} {kind}" for column, kind in columns.items())
        connection.execute(f"CREATE TABLE {name(table)} ({listed}, night INTEGER NOT NULL)")
        return
    there = [column for (column, *_) in connection.execute(f"DESCRIBE {name(table)}").fetchall()]
    if there != [*columns, "night"]:
        odd = sorted(set(there) ^ {*columns, "night"}) or ["the order of columns"]
        raise StoreDamaged(
            f"the columns are others than before: {', '.join(odd)}",
            where=table,
            why="It was written by another version of takeup.",
            todo="Rebuild the store.",
        )


def _sql_type(column: pd.Series) -> str:
    kind = column.dtype.kind
    if kind in "iu":
        return "BIGINT"
    if kind == "f":
        return "DOUBLE"
    if kind == "b":
        return "BOOLEAN"
    if kind == "M":
        return "DATE"
    first = next((value for value in column if isinstance(value, str | list | tuple)), "")
    return "BIGINT[]" if isinstance(first, list | tuple) or str(column.name) == "row_ids" else "VARCHAR"


def _insert(connection: DuckDBPyConnection, table: str, frame: pd.DataFrame, night: int) -> None:
    if frame.empty:
        return
    kinds = {column: kind for column, kind, *_ in connection.execute(f"DESCRIBE {name(table)}").fetchall()}
    given = frame.reset_index(drop=True)
    listed = ", ".join(
        f"CAST({name(str(column))} AS {kinds[str(column)]}) AS {name(str(column))}"
        for column in frame.columns
    )
    connection.register("frame_given", given)
    connection.execute(f"INSERT INTO {name(table)} SELECT {listed}, {int(night)} FROM frame_given")
    connection.unregister("frame_given")
