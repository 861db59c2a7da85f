"""The store of one site: a cache of archive and ledger in one DuckDB file."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from takeup.contracts import contract
from takeup.errors import OurFault, StoreError
from takeup.model import Accounting, Feed, KeptOut, Order, OrderEvent
from takeup.store import accounts, changes, closing, contents, derived, migrations, orderbook, past
from takeup.store.connection import connect, speaking, transaction
from takeup.store.handover import feed_frame, frame_of, handed
from takeup.store.quoting import name, names
from takeup.store.visible import At, holding

if TYPE_CHECKING:
    import pandas as pd
    from duckdb import DuckDBPyConnection

EPOCH = date(1970, 1, 1)


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return (day - EPOCH).days


#: A day number before every row.
NEVER = -1_000_000


@dataclass(frozen=True)
class Closed:
    """A key that a whole export no longer holds, and the file that tells."""

    feed: str
    row_id: int
    key: str
    subject: str
    file: str


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

    def set_aside(self, row_ids: Iterable[int]) -> int:
        """Close refusals by a person's decision, and end rows in force that a person does not trust.

        Returns
        -------
        int
            How many rows it found.
        """
        with speaking(self.store.path):
            return accounts.set_aside(self.connection, row_ids, self.number)


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
        with speaking(path):
            current = migrations.is_current(store.connection)
        if not current:
            store.close()
            raise StoreError(
                "its tables are of another version of takeup",
                where=str(path),
                todo="Run a night, or rebuild the store, with this version.",
            )
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
        try:
            with transaction(self.connection, self.path):
                self.connection.execute("INSERT INTO night VALUES (?, ?)", [number, as_of])
                yield Night(self, number, as_of)
        finally:
            self.clear_scratch()

    def clear_scratch(self) -> None:
        """Drop what was staged; the tables of time zones stay."""
        tables = self.connection.execute(
            "SELECT table_name FROM duckdb_tables() WHERE database_name = 'scratch' "
            "AND NOT starts_with(table_name, 'turns ') AND NOT starts_with(table_name, 'days ')"
        ).fetchall()
        for (table,) in tables:
            self.connection.execute(f"DROP TABLE scratch.{name(table)}")

    def last_night(self) -> int:
        """Number of the last night, 0 before the first."""
        with speaking(self.path):
            (last,) = self.connection.execute("SELECT coalesce(max(number), 0) FROM night").fetchall()[0]
        return int(last)

    def rows(
        self,
        feed: Feed | str,
        *,
        as_of: date,
        night: int | None = None,
        subjects: Iterable[str] | None = None,
        columns: Sequence[str] | None = None,
        missing: bool = False,
        rehearsed: bool = False,
        by_key: bool = True,
        checked_by: int = 0,
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
        columns : sequence of str, optional
            Only these of the contract's columns; text is dear to hand over by the million.
        missing : bool
            Whether rows stay that a later whole export no longer holds; energy sources always do. They then
            carry ``exported`` False.
        rehearsed : bool
            Whether rows of the feed's first load count as known on their own date plus the usual delay.
        by_key : bool
            Whether they are sorted by natural key; else by row id, which spares sorting texts by the million.
        checked_by : int
            The last night that has read these rows: only later ones are held against their contract.

        Returns
        -------
        DataFrame
            ``row_id, file_id, line, known_from``, then the feed's frame columns.
        """
        rules = contract(feed)
        stay = missing or rules.feed is Feed.ENERGY_SOURCES
        at = At(self.last_night() if night is None else night, day_number(as_of), rehearsed)
        fields = [field for field in rules.fields if columns is None or field.name in columns]
        listed = ", ".join([names(["row_id", "file_id", "line", "known_from"]), *map(handed, fields)])
        if stay:
            listed += (
                ", NOT EXISTS (SELECT 1 FROM ended WHERE ended.row_id = h.row_id "
                f"AND ended.night <= {at.night}) AS exported"
            )
        where, bound = "", {}
        if subjects is not None:
            where = f"WHERE {name(rules.subject)} IN (SELECT unnest($subjects::VARCHAR[]))"
            bound["subjects"] = sorted(set(subjects))
        with speaking(self.path):
            result = self.connection.execute(
                f"SELECT {listed} FROM {holding(rules.feed, at, missing=stay)} h {where} "
                f"ORDER BY {names(rules.key) if by_key else 'row_id'}",
                bound,
            )
            return feed_frame(result, rules, fields, checked_by=checked_by)

    def past_rows(
        self, feed: Feed | str, *, columns: Sequence[str] | None = None, by_key: bool = True
    ) -> pd.DataFrame:
        """All versions of a feed's rows, with the days from and until which each is known as in a rehearsal.

        Parameters
        ----------
        feed : Feed or str
        columns : sequence of str, optional
            Only these of the contract's columns.
        by_key : bool
            Whether they are sorted by natural key; else by row id.

        Returns
        -------
        DataFrame
            See :func:`takeup.store.past.past_rows`.
        """
        rules = contract(feed)
        fields = [field for field in rules.fields if columns is None or field.name in columns]
        with speaking(self.path):
            return past.past_rows(self.connection, rules, fields, by_key=by_key)

    def effective_changes(
        self,
        night: int,
        as_of: date,
        previous_as_of: date | None,
        feeds: Iterable[Feed] = tuple(Feed),
    ) -> dict[str, set[str]]:
        """Names of strands and machines whose rows a night touches, by ``strand`` and ``machine``.

        Rows that came or ended that night, that the new day lets in, or whose parent became known.

        Parameters
        ----------
        night : int
        as_of : date
        previous_as_of : date or None
            Of the night before; None before the first.
        feeds : iterable of Feed
            Whose rows are asked; all if left out.
        """
        before = At(night - 1, day_number(previous_as_of) if previous_as_of else NEVER)
        with speaking(self.path):
            return changes.effective_changes(self.connection, At(night, day_number(as_of)), before, feeds)

    def exported(self, feed: Feed | str) -> bool:
        """Whether a feed was ever delivered."""
        return self.last_delivery(feed) is not None

    def last_delivery(
        self, feed: Feed | str, night: int | None = None
    ) -> tuple[int, date, int | None] | None:
        """Night and ``as of`` of a feed's last usable file by a night, and the newest event day of all."""
        known = self.last_night() if night is None else night
        with speaking(self.path):
            found = self.connection.execute(
                "SELECT max(f.night), max(n.as_of), max(newest_day) "
                "FROM file f JOIN night n ON n.number = f.night "
                "WHERE feed = ? AND f.night <= ? AND refused_whole = ''",
                [Feed(feed).value, known],
            ).fetchall()
        return None if found[0][0] is None else found[0]

    def first_delivery(self, feed: Feed | str) -> int | None:
        """Night of a feed's first usable file: that of its first load."""
        with speaking(self.path):
            ((first,),) = self.connection.execute(
                "SELECT min(night) FROM file WHERE feed = ? AND refused_whole = ''", [Feed(feed).value]
            ).fetchall()
        return None if first is None else int(first)

    def kept_out(self, night: int | None = None) -> list[KeptOut]:
        """The rows refused and not answered since, and those waiting, at a night, by default the last."""
        known = self.last_night() if night is None else night
        with speaking(self.path):
            found = self.connection.execute("SELECT as_of FROM night WHERE number = ?", [known]).fetchall()
            if not found:
                return []
            at = At(known, day_number(found[0][0]))
            kept = accounts.refused_open(self.connection, known)
            for feed in Feed:
                kept += accounts.waiting_now(self.connection, contract(feed), at)
        return kept

    def accounting(self, night: int) -> list[Accounting]:
        """How the rows of each file of a night ended, in the order taken."""
        with speaking(self.path):
            return accounts.accounting(self.connection, night)

    def origins(self, row_ids: Iterable[int]) -> pd.DataFrame:
        """``row_id, feed, file, sha256, line`` of rows, in the order of their ids."""
        with speaking(self.path):
            return accounts.origins(self.connection, row_ids)

    def ended(self, subjects: Iterable[str], night: int | None = None) -> list[dict[str, Any]]:
        """The rows about some strands, machines or orders that were in force and are no longer.

        Parameters
        ----------
        subjects : iterable of str
        night : int, optional
            By which night; the last one if left out.

        Returns
        -------
        list of dict
            ``feed``, ``row_id``, ``subject``, ``how`` (superseded, missing or set_aside), ``as_of`` of the
            night that ended it, and ``by_row`` that took its place, -1 where none did; by feed and row.
        """
        with speaking(self.path):
            known = self.last_night() if night is None else night
            return accounts.ended(self.connection, subjects, known)

    def row_ids(self, places: Iterable[tuple[str, int]]) -> list[int]:
        """The rows at these places: (SHA-256 of the file, line); a file taken twice gives both."""
        with speaking(self.path):
            return [row for sha256, line in places for row in accounts.row_ids(self.connection, sha256, line)]

    def holds(self, sha256: str, line: int) -> bool:
        """Whether a line of a file was stored or refused as a row, and not passed by as a duplicate."""
        with speaking(self.path):
            rows = accounts.row_ids(self.connection, sha256, line)
            return accounts.count_rows(self.connection, rows) > 0

    def query(self, sql: str, values: list[object] | dict[str, object] | None = None) -> pd.DataFrame:
        """Any query's result as a frame."""
        with speaking(self.path):
            return frame_of(self.connection.execute(sql, values))

    def closed(self, night: int) -> list[Closed]:
        """The keys that whole exports of a night no longer held."""
        with speaking(self.path):
            return [
                Closed(feed.value, *row)
                for feed in Feed
                for row in closing.closed(self.connection, contract(feed), night)
            ]

    def files(self, night: int) -> pd.DataFrame:
        """The file records of a night, in the order taken; ``notes`` is JSON."""
        return self.query("SELECT * FROM file WHERE night = ? ORDER BY file_id", [night])

    def noted(self, night: int, note: str) -> tuple[str, ...]:
        """Names of a night's files that bear a note of intake."""
        taken = self.files(night)
        return tuple(
            name
            for name, notes in zip(taken["name"], taken["notes"], strict=True)
            if note in json.loads(notes)
        )

    def read_cache(self, table: str, strands: Iterable[str] | None = None) -> pd.DataFrame:
        """A derived table by strand, within a strand as written; an empty frame before the first write."""
        with speaking(self.path):
            return derived.read_cache(self.connection, table, strands)

    def write_cache(self, table: str, frame: pd.DataFrame, strands: Iterable[str], night: int) -> None:
        """Put a frame (with a column ``strand``) in the place of the rows of some strands."""
        with speaking(self.path):
            derived.write_cache(self.connection, table, frame, strands, night)

    def drop_caches(self) -> None:
        """Drop every derived table but the verdicts; the next night derives everything."""
        for table in derived.tables(self.connection, derived.PREFIX):
            derived.drop_cache(self.connection, table.removeprefix(derived.PREFIX))

    def last_verdicts(self, night: int | None = None) -> pd.DataFrame:
        """The newest verdict of every rule and subject by a night, with the ``night`` it dates from."""
        with speaking(self.path):
            return derived.last_verdicts(self.connection, self.last_night() if night is None else night)

    def write_verdicts(self, frame: pd.DataFrame, night: int) -> None:
        """Add the verdicts that changed on a night."""
        with speaking(self.path):
            derived.write_verdicts(self.connection, frame, night)

    def orders(self, *, open_only: bool = False, night: int | None = None) -> list[Order]:
        """Every order as it stood after a night, by number; ``open_only``: not done, not withdrawn."""
        with speaking(self.path):
            known = self.last_night() if night is None else night
            return orderbook.orders(self.connection, known, open_only=open_only)

    def order_texts(self, night: int | None = None) -> dict[str, str]:
        """The canonical record of every order as it stood after a night, by number."""
        with speaking(self.path):
            return orderbook.order_texts(self.connection, self.last_night() if night is None else night)

    def write_orders(self, orders: Iterable[Order], events: Iterable[OrderEvent], night: int) -> None:
        """Add orders as a night left them, and what it did to them."""
        with speaking(self.path):
            orderbook.write_orders(self.connection, orders, events, night)

    def order_events(self, orders: Sequence[str] | None = None, night: int | None = None) -> list[OrderEvent]:
        """What the nights up to one did to some orders, or to all."""
        with speaking(self.path):
            known = self.last_night() if night is None else night
            return orderbook.order_events(self.connection, known, orders)

    def forget_after(self, night: int) -> int:
        """Remove everything of later nights, after a night that was not committed.

        Caches that a later night wrote to are dropped: what it replaced is gone, so the next night derives
        anew.

        Returns
        -------
        int
            How many nights were removed.
        """
        later = self.last_night() - night
        if later <= 0:
            return 0
        with transaction(self.connection, self.path):
            derived.forget(self.connection, night)
            for table in (
                "ended",
                "confirmed",
                "refused",
                "answered",
                "waited",
                "file",
                "order_book",
                "order_event",
            ):
                self.connection.execute(f"DELETE FROM {name(table)} WHERE night > ?", [night])
            for feed in Feed:
                self.connection.execute(f"DELETE FROM {name(feed.value)} WHERE known_from > ?", [night])
            self.connection.execute("DELETE FROM derived_write WHERE night > ?", [night])
            self.connection.execute("DELETE FROM night WHERE number > ?", [night])
        return later

    def contents(self, night: int | None = None) -> dict[int, dict[str, tuple[int, str]]]:
        """Rows and SHA-256 of what every night, or one, wrote into each table; caches are left out."""
        with speaking(self.path):
            return contents.contents(self.connection, night)

    def counts(self) -> dict[str, int]:
        """Rows of every table."""
        found = {}
        with speaking(self.path):
            tables = self.connection.execute(
                "SELECT table_name FROM duckdb_tables() WHERE database_name = current_database() ORDER BY 1"
            ).fetchall()
            for (table,) in tables:
                (found[table],) = self.connection.execute(f"SELECT count(*) FROM {name(table)}").fetchall()[0]
        return found
