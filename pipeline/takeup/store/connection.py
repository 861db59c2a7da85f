"""Opening DuckDB, and its errors in takeup's words."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import duckdb

from takeup.errors import LockHeld, StoreDamaged, StoreError

#: Nothing is fetched at run time, and rows keep the order in which they were read.
CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "preserve_insertion_order": True,
}

_REBUILD = "The next night makes it again from archive and ledger; 'takeup rebuild' does so at once."

#: What the system says, through DuckDB, where rights are wanting and the store is sound.
_NO_RIGHTS = re.compile("Permission denied|Operation not permitted|Read-only file system", re.IGNORECASE)

#: An open connection, for rooms that pass it on without speaking SQL themselves.
Connection = duckdb.DuckDBPyConnection


def connect(path: Path | None, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """A connection to a store file, or to one in memory.

    Parameters
    ----------
    path : Path or None
        None keeps everything in memory.
    read_only : bool

    Raises
    ------
    LockHeld
        If another process has the file open for writing (or for reading, and this one wants to write).
    StoreError
        If it is missing (read only), or the rights to it are.
    StoreDamaged
        If it does not read.
    """
    if path is None:
        connection = duckdb.connect(":memory:", config=CONFIG)
    else:
        if read_only and not path.exists():
            raise StoreError(
                "there is no store yet", where=str(path), todo="Run a night, or rebuild the store."
            )
        with speaking(path):
            connection = duckdb.connect(str(path), read_only=read_only, config=CONFIG)
    if not read_only:
        connection.execute("ATTACH ':memory:' AS scratch")
    return connection


@contextmanager
def speaking(path: Path | None) -> Iterator[None]:
    """Turn DuckDB's errors into takeup's, with the store's path."""
    where = str(path) if path else "the store in memory"
    try:
        yield
    except duckdb.Error as problem:
        told = str(problem)
        if isinstance(problem, duckdb.ConnectionException) or "set lock on file" in told:
            holder = re.search(r"\(PID (\d+)\)", told)
            who = f"process {holder[1]}" if holder else "this or another process"
            raise LockHeld(
                f"the store is open in {who}",
                where=where,
                why="Only one process at a time may write a store.",
                todo="Wait until it ends, then try again.",
            ) from problem
        if isinstance(problem, duckdb.OutOfMemoryException) or "No space left" in told:
            raise StoreError(
                f"there is no room: {_first_line(told)}",
                where=where,
                todo="Free disk space or memory, then run the night again.",
            ) from problem
        if _NO_RIGHTS.search(told):
            raise StoreError(
                f"the store may not be opened or written: {_first_line(told)}",
                where=where,
                why="What it holds stands as it was.",
                todo="Mend the rights of the file and its folder, then run this again.",
            ) from problem
        raise StoreDamaged(
            f"the store does not read: {_first_line(told)}",
            where=where,
            why="What it holds can no longer be trusted.",
            todo=_REBUILD,
        ) from problem


@contextmanager
def transaction(connection: duckdb.DuckDBPyConnection, path: Path | None) -> Iterator[None]:
    """One transaction: committed on leaving, rolled back on an error, which is told in takeup's words."""
    with speaking(path):
        connection.execute("BEGIN")
        try:
            yield
            connection.execute("COMMIT")
        except BaseException:
            with suppress(duckdb.Error):  # an error inside may have ended it already
                connection.execute("ROLLBACK")
            raise


def _first_line(told: str) -> str:
    return told.strip().splitlines()[0].rstrip(".")
