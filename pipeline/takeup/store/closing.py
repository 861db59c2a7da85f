"""What a whole export no longer holds: its key ends from this night on, unless too much is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from takeup.contracts import Contract
from takeup.store.quoting import name, names, text
from takeup.store.staging import staged_table
from takeup.store.visible import At, in_force

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

#: An export that lacks more than this share of a set of at least :data:`SMALLEST_SET` is taken for cut off.
MOST_MISSING = 0.10
SMALLEST_SET = 10


@dataclass(frozen=True)
class Missing:
    """What the whole exports of one source lack of the keys in force that it delivered before.

    Attributes
    ----------
    known : int
        Keys in force.
    row_ids : tuple of int
        Rows of the keys that are missing.
    rows : int
        Rows that the exports hold.
    """

    known: int
    row_ids: tuple[int, ...]
    rows: int

    def too_many(self, unread: int) -> bool:
        """Whether the export must be taken for cut off, when ``unread`` of its rows hold unknown keys."""
        if not self.rows and not unread and self.row_ids:
            return True
        return self.known >= SMALLEST_SET and len(self.row_ids) - unread > MOST_MISSING * self.known


def missing(
    connection: DuckDBPyConnection, contract: Contract, source: str, file_ids: Sequence[int], at: At
) -> Missing:
    """Compare tonight's whole exports of a source with what is in force of it, before they are merged.

    Parameters
    ----------
    connection : DuckDBPyConnection
    contract : Contract
    source : str
    file_ids : sequence of int
        All staged files of the feed tonight: a key that any of them holds is not missing, refused or not.
    at : At
    """
    listed = ", ".join(map(str, file_ids))
    staged = f"(FROM {staged_table(contract)} WHERE file_id IN ({listed}))"
    there = f"SELECT key FROM {staged} WHERE key IS NOT NULL"
    over = f"AND NOT coalesce(f.{name(contract.over + '_day')} <= {at.day}, FALSE)" if contract.over else ""
    rows = connection.execute(
        f"SELECT f.row_id, f.key IN ({there}) FROM {in_force(contract.feed, at)} f JOIN file USING (file_id) "
        f"WHERE file.source = $source {over} ORDER BY f.row_id",
        {"source": source},
    ).fetchall()
    held = connection.execute(f"SELECT count(*) FROM {staged}").fetchall()
    return Missing(len(rows), tuple(row_id for row_id, is_there in rows if not is_there), held[0][0])


def close(connection: DuckDBPyConnection, found: Missing, file_id: int, night: int) -> None:
    """End the rows of missing keys."""
    if found.row_ids:
        connection.execute(
            "INSERT INTO ended SELECT unnest($rows::BIGINT[]), $night, NULL, $file, 'missing'",
            {"rows": list(found.row_ids), "night": night, "file": file_id},
        )


def newest_stamp(connection: DuckDBPyConnection, source: str) -> float | None:
    """The latest moment that the names of a source's whole exports declared so far."""
    found = connection.execute(
        "SELECT max(stamp) FROM file WHERE source = ? AND whole AND refused_whole = ''", [source]
    ).fetchall()
    return None if found[0][0] is None else float(found[0][0])


def earlier_take(connection: DuckDBPyConnection, feed: str, sha256: str) -> tuple[int, int, str] | None:
    """Of bytes taken before: file id of the last time, the night they first came, the last file refusal."""
    found = connection.execute(
        "SELECT file_id, min(night) OVER (), refused_whole FROM file WHERE feed = ? AND sha256 = ? "
        "ORDER BY file_id DESC LIMIT 1",
        [feed, sha256],
    ).fetchall()
    return (int(found[0][0]), int(found[0][1]), str(found[0][2])) if found else None


def keep_refused_lines(
    connection: DuckDBPyConnection, contract: Contract, file_id: int, earlier: int
) -> tuple[set[int], int]:
    """Leave of a staged file only the lines whose refusal in an earlier take is still open.

    Returns
    -------
    lines : set of int
    good : int
        Rows left that read and keep the contract now.
    """
    lines = connection.execute(
        "SELECT line FROM refused r WHERE file_id = ? AND NOT EXISTS "
        "(SELECT 1 FROM answered a WHERE a.row_id = r.row_id)",
        [earlier],
    ).fetchall()
    found = {line for (line,) in lines}
    listed = ", ".join(str(line) for line in sorted(found)) or "0"  # no row stands in line 0
    staged = staged_table(contract)
    connection.execute(f"DELETE FROM {staged} WHERE file_id = {file_id} AND line NOT IN ({listed})")
    good = connection.execute(f"SELECT count(*) FROM {staged} WHERE file_id = {file_id} AND good").fetchall()
    return found, int(good[0][0])


def closed(connection: DuckDBPyConnection, contract: Contract, night: int) -> list[tuple[int, str, str, str]]:
    """Row id, key, subject and file of every key of a feed that a whole export no longer held on a night."""
    return connection.execute(
        f"SELECT r.row_id, concat_ws(', ', {names(contract.key, 'r')}), r.{name(contract.subject)}, f.name "
        f"FROM ended e JOIN {name(contract.feed.value)} r USING (row_id) "
        "JOIN file f ON f.file_id = e.by_file "
        f"WHERE e.night = ? AND e.how = 'missing' AND f.feed = {text(contract.feed.value)} ORDER BY r.row_id",
        [night],
    ).fetchall()
