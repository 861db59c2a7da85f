"""Numbered steps of the store's tables; a step and the record that it ran share one transaction."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

from takeup.errors import StoreError

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection


def steps() -> list[tuple[int, str, str]]:
    """Number, name and SQL of every step, in order."""
    found = sorted(item.name for item in files(__name__).iterdir() if item.name.endswith(".sql"))
    return [
        (int(name[:4]), name.removesuffix(".sql"), files(__name__).joinpath(name).read_text(encoding="utf-8"))
        for name in found
    ]


def applied(connection: DuckDBPyConnection) -> list[int]:
    """Numbers of the steps a store has been through; none for an empty one."""
    there = connection.execute(
        "SELECT count(*) FROM duckdb_tables() WHERE database_name = current_database() "
        "AND table_name = 'migration'"
    ).fetchone()
    if not there or not there[0]:
        return []
    return [number for (number,) in connection.execute("SELECT number FROM migration ORDER BY 1").fetchall()]


def is_current(connection: DuckDBPyConnection) -> bool:
    """Whether a store has been through exactly the steps known here."""
    return applied(connection) == [number for number, _, _ in steps()]


def migrate(connection: DuckDBPyConnection, where: str) -> list[str]:
    """Run the steps a store lacks.

    Parameters
    ----------
    connection : DuckDBPyConnection
    where : str
        The store's path, for the message.

    Returns
    -------
    list of str
        Names of the steps that ran.

    Raises
    ------
    StoreError
        If the store has been through steps that this version does not know.
    """
    known = steps()
    done = applied(connection)
    unknown = sorted(set(done) - {number for number, _, _ in known})
    if unknown:
        raise StoreError(
            f"it was written by a newer takeup: step {unknown[-1]} of its tables is unknown here",
            where=where,
            todo="Use that version, or rebuild the store with this one.",
        )
    ran = []
    for number, name, sql in known:
        if number in done:
            continue
        connection.execute("BEGIN")
        connection.execute(
            "CREATE TABLE IF NOT EXISTS migration (number INTEGER NOT NULL, name VARCHAR NOT NULL)"
        )
        connection.execute(sql)
        connection.execute("INSERT INTO migration VALUES (?, ?)", [number, name])
        connection.execute("COMMIT")
        ran.append(name)
    return ran
