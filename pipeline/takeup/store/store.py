"""The store of one site: a cache of archive and ledger in one DuckDB file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from takeup.contracts import contract
from takeup.errors import OurFault, StoreError
from takeup.model import Accounting, Feed, KeptOut
from takeup.store import accounts, migrations
from takeup.store.connection import connect, speaking
from takeup.store.handover import feed_frame, frame_of
from takeup.store.quoting import name
from takeup.store.visible import At, holding

if TYPE_CHECKING:
    import pandas as pd
    from duckdb import DuckDBPyConnection

EPOCH = date(1970, 1, 1)


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return (day - EPOCH).days


@dataclass(frozen=True)
class Night:
    """One open night: everything written until it closes is committed together, or not at all."""

    store: Store
    number: int
    as_of: date

    @property
    def connection(self) -> DuckDBPyConnection:
        """The connection inside the night's transaction."""
        return self.store.connection


class Store:
    """One site's store; open it with :meth:`open`, and use it as a context manager.

    Attributes
    ----------
    path : Path or None
        None for a store in memory.
    connection : DuckDBPyConnection
    """

    def __init__(self, path: Path | None, connection: DuckDBPyConnection, *, read_only: bool) -> None:
        self.path = path
        self.connection = connection
        self.read_only = read_only

    @classmethod
    def open(cls, path: Path | None, *, read_only: bool = False) -> Store:
        """Open a store, made if it is missing; ``None`` opens one in memory.

        Raises
        ------
        LockHeld
            If another process has it open.
        StoreError
            If it is missing (read only), damaged, or written by a newer takeup.
        """
        store = cls(path, connect(path, read_only=read_only), read_only=read_only)
        if not read_only:
            store.migrate()
        return store

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def migrate(self) -> list[str]:
        """Bring the tables up to this version; the names of the steps that ran."""
        with speaking(self.path):
            return migrations.migrate(self.connection, str(self.path or "memory"))

    @contextmanager
    def night(self, number: int, as_of: date) -> Iterator[Night]:
        """One transaction for a whole night: committed on leaving, rolled back on an error.

        Raises
        ------
        OurFault
            If the number is not above the last night's.
        """
        last = self.last_night()
        if number <= last:
            raise OurFault(f"night {number} was asked for after night {last}", where=str(self.path))
        with speaking(self.path):
            self.connection.execute("BEGIN")
        try:
            self.connection.execute("INSERT INTO night VALUES (?, ?)", [number, as_of])
            yield Night(self, number, as_of)
            with speaking(self.path):
                self.connection.execute("COMMIT")
        except BaseException:
            self.connection.execute("ROLLBACK")
            raise
        finally:
            self.clear_scratch()

    def clear_scratch(self) -> None:
        """Drop what was staged."""
        tables = self.connection.execute(
            "SELECT table_name FROM duckdb_tables() WHERE database_name = 'scratch'"
        ).fetchall()
        for (table,) in tables:
            self.connection.execute(f"DROP TABLE scratch.{name(table)}")

    def last_night(self) -> int:
        """Number of the last night, 0 before the first."""
        (last,) = self.connection.execute("SELECT coalesce(max(number), 0) FROM night").fetchall()[0]
        return int(last)

    def rows(
        self,
        feed: Feed | str,
        *,
        as_of: date,
        night: int | None = None,
        subjects: Iterable[str] | None = None,
        missing: bool = False,
    ) -> pd.DataFrame:
        """The rows of a feed that hold: known, in force, dated up to a day, their parents known.

        Parameters
        ----------
        feed : Feed or str
        as_of : date
        night : int, optional
            As known at that night; the last one if left out.
        subjects : iterable of str, optional
            Only these strands (these machines where the feed has no strand).
        missing : bool
            Whether rows stay that a later whole export no longer holds; energy sources always do. They then
            carry ``exported`` False.

        Returns
        -------
        DataFrame
            ``row_id, file_id, line, known_from``, then the feed's frame columns; sorted by natural key.
        """
        rules = contract(feed)
        stay = missing or rules.feed is Feed.ENERGY_SOURCES
        known = self.last_night() if night is None else night
        at = At(known, day_number(as_of))
        bound: dict[str, object] = {}
        columns = ["row_id", "file_id", "line", "known_from", *rules.frame_columns]
        listed = ", ".join(name(column) for column in columns)
        if stay:
            listed += (
                ", NOT EXISTS (SELECT 1 FROM ended WHERE ended.row_id = h.row_id "
                f"AND ended.night <= {known}) AS exported"
            )
        where = ""
        if subjects is not None:
            where = f"WHERE {name(rules.subject)} IN (SELECT unnest($subjects))"
            bound["subjects"] = sorted(set(subjects))
        order = ", ".join(name(column) for column in rules.key)
        with speaking(self.path):
            result = self.connection.execute(
                f"SELECT {listed} FROM {holding(rules.feed, at, missing=stay)} h {where} ORDER BY {order}", bound
            )
        return feed_frame(result, rules)

    def kept_out(self, night: int | None = None) -> list[KeptOut]:
        """The rows refused and not answered since, and those waiting, at a night; the last one if left out."""
        known = self.last_night() if night is None else night
        found = self.connection.execute("SELECT as_of FROM night WHERE number = ?", [known]).fetchall()
        if not found:
            return []
        at = At(known, day_number(found[0][0]))
        with speaking(self.path):
            kept = accounts.refused_open(self.connection, known)
            for feed in Feed:
                kept += accounts.waiting_now(self.connection, contract(feed), at)
        return kept

    def accounting(self, night: int) -> list[Accounting]:
        """How the rows of each file of a night ended, in the order taken."""
        return accounts.accounting(self.connection, night)

    def origins(self, row_ids: Iterable[int]) -> pd.DataFrame:
        """``row_id, feed, file, sha256, line`` of rows, in the order of their ids."""
        return accounts.origins(self.connection, row_ids)

    def query(self, sql: str, values: list[object] | dict[str, object] | None = None) -> pd.DataFrame:
        """Any query's result as a frame."""
        with speaking(self.path):
            return frame_of(self.connection.execute(sql, values))

    def counts(self) -> dict[str, int]:
        """Rows of every table."""
        tables = self.connection.execute(
            "SELECT table_name FROM duckdb_tables() WHERE database_name = current_database() ORDER BY 1"
        ).fetchall()
        found = {}
        for (table,) in tables:
            (found[table],) = self.connection.execute(f"SELECT count(*) FROM {name(table)}").fetchall()[0]
        return found


__all__ = ["Night", "Store", "StoreError", "day_number"]
