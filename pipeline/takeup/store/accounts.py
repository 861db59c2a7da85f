"""What became of every row of every file: outcomes counted, refusals and waiting rows with their texts."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from takeup.contracts import Contract, contract
from takeup.model import Accounting, Feed, KeptOut, RowState
from takeup.store.handover import frame_of
from takeup.store.quoting import name, text
from takeup.store.staging import LINES_A_FILE, Failure
from takeup.store.visible import At, waiting

if TYPE_CHECKING:
    import pandas as pd
    from duckdb import DuckDBPyConnection


@dataclass(frozen=True)
class FileRecord:
    """One file of one night.

    Attributes
    ----------
    whole : bool
        Whether it was delivered as a whole.
    stamp : float or None
        The moment its name declares, as a position.
    refused_whole : str
        Why nothing of it was used; '' when it was.
    notes : dict
        Columns left unread, byte order mark, blank lines, closings held back.
    """

    file_id: int
    night: int
    feed: Feed
    source: str
    name: str
    sha256: str
    whole: bool
    rows: Accounting
    stamp: float | None = None
    newest_day: int | None = None
    refused_whole: str = ""
    notes: Mapping[str, object] = field(default_factory=dict)


def next_file_id(connection: DuckDBPyConnection) -> int:
    """The number of the next file."""
    (last,) = connection.execute("SELECT coalesce(max(file_id), 0) FROM file").fetchall()[0]
    return int(last) + 1


def record_files(connection: DuckDBPyConnection, records: Iterable[FileRecord]) -> None:
    """Keep the records of files."""
    values: list[object] = []
    for record in records:
        rows = record.rows
        values += [record.file_id, record.night, record.feed.value, record.source, record.name, record.sha256]
        values += [record.whole, record.stamp, record.newest_day, record.refused_whole]
        values += [json.dumps(record.notes, ensure_ascii=False, sort_keys=True)]
        values += [rows.read, rows.new, rows.duplicate, rows.superseding, rows.refused, rows.waiting]
    row = f"({', '.join('?' * 17)})"
    connection.execute(f"INSERT INTO file VALUES {', '.join([row] * (len(values) // 17))}", values)


def record_refused(
    connection: DuckDBPyConnection,
    night: int,
    feed: Feed,
    failures: Iterable[tuple[int, Failure, str]],
) -> None:
    """Keep the rows that the files of a feed were refused.

    Parameters
    ----------
    connection : DuckDBPyConnection
    night : int
    feed : Feed
    failures : iterable of (file id, Failure, text)
    """
    import pandas as pd

    rows = list(failures)
    if not rows:
        return
    columns = {
        "file_id": [file_id for file_id, _, _ in rows],
        "line": [failure.line for _, failure, _ in rows],
        "reason": [failure.reason for _, failure, _ in rows],
        "column_name": [failure.column for _, failure, _ in rows],
        "found": [failure.found for _, failure, _ in rows],
        "wanted": [failure.wanted for _, failure, _ in rows],
        "subject": [failure.subject for _, failure, _ in rows],
        "raw": [raw for _, _, raw in rows],
        "key": ["" if failure.key is None else str(failure.key) for _, failure, _ in rows],
    }
    connection.register("refused_given", pd.DataFrame(columns))
    connection.execute(
        f"INSERT INTO refused SELECT CAST(file_id AS BIGINT) * {LINES_A_FILE} + line, {night}, "
        f"file_id, line, {text(feed.value)}, reason, column_name, found, wanted, subject, raw, "
        "CASE WHEN key = '' THEN NULL ELSE CAST(key AS UHUGEINT) END FROM refused_given"
    )
    connection.unregister("refused_given")


def record_waited(connection: DuckDBPyConnection, night: int, raws: Mapping[int, str]) -> None:
    """Keep the texts of rows that wait, by row id."""
    import pandas as pd

    if not raws:
        return
    frame = pd.DataFrame({"row_id": list(raws), "raw": pd.Series(list(raws.values()), dtype=object)})
    connection.register("waited_given", frame)
    connection.execute(f"INSERT INTO waited SELECT row_id, {night}, raw FROM waited_given")
    connection.unregister("waited_given")


def answer(connection: DuckDBPyConnection, feed: Feed, night: int) -> None:
    """Close older refusals that tonight's files answer: their key came in, or they came again."""
    open_before = (
        f"SELECT * FROM refused r WHERE r.feed = {text(feed.value)} AND r.night < {night} "
        "AND NOT EXISTS (SELECT 1 FROM answered a WHERE a.row_id = r.row_id)"
    )
    (open_rows,) = connection.execute(f"SELECT count(*) FROM ({open_before})").fetchall()[0]
    if not open_rows:
        return
    tonight = f"SELECT * FROM refused WHERE feed = {text(feed.value)} AND night = {night}"
    files = f"SELECT * FROM file WHERE feed = {text(feed.value)} AND night = {night} AND refused_whole = ''"
    delivered = "o.key IN (SELECT key FROM arrived)"
    read_again = (
        f"EXISTS (SELECT 1 FROM ({files}) f JOIN file g ON g.file_id = o.file_id "
        "WHERE f.sha256 = g.sha256 OR (f.whole AND g.whole AND f.source = g.source))"
    )
    refused_again = (
        f"EXISTS (SELECT 1 FROM ({tonight}) t "
        "WHERE t.key = o.key OR (t.raw = o.raw AND t.line > 0 AND o.line > 0))"
    )
    connection.execute(
        f"INSERT INTO answered SELECT o.row_id, {night}, CASE WHEN {delivered} THEN 'delivered' "
        f"WHEN {read_again} THEN 'read_again' ELSE 'refused_again' END FROM ({open_before}) o "
        f"WHERE {delivered} OR {read_again} OR {refused_again}"
    )


def accounting(connection: DuckDBPyConnection, night: int) -> list[Accounting]:
    """How the rows of each file of a night ended, in the order taken."""
    rows = connection.execute(
        "SELECT name, sha256, feed, "
        "rows_read, rows_new, rows_duplicate, rows_superseding, rows_refused, rows_waiting "
        "FROM file WHERE night = ? ORDER BY file_id",
        [night],
    ).fetchall()
    return [Accounting(*row) for row in rows]


def refused_open(connection: DuckDBPyConnection, night: int) -> list[KeptOut]:
    """The refusals still open at a night."""
    rows = connection.execute(
        "SELECT reason, r.feed, f.name, f.sha256, line, raw, column_name, found, wanted, subject, row_id "
        "FROM refused r JOIN file f USING (file_id) WHERE r.night <= $night AND NOT EXISTS "
        "(SELECT 1 FROM answered a WHERE a.row_id = r.row_id AND a.night <= $night) ORDER BY row_id",
        {"night": night},
    ).fetchall()
    return [KeptOut(RowState.REFUSED.value, *row) for row in rows]


def waiting_now(connection: DuckDBPyConnection, rules: Contract, at: At) -> list[KeptOut]:
    """The rows of a feed that wait at a standpoint."""
    parents = " ".join(f"WHEN {text(column + '_unknown')} THEN {name(column)}" for column in rules.refers)
    later = f"WHEN 'dated_later' THEN {name(rules.event)}" if rules.event else ""
    if not parents and not later:
        return []
    rows = connection.execute(
        f"SELECT waits_for, f.name, f.sha256, w.line, coalesce(waited.raw, ''), "
        f"CASE waits_for {parents} {later} END, w.{name(rules.subject)}, w.row_id "
        f"FROM {waiting(rules.feed, at)} w JOIN file f USING (file_id) LEFT JOIN waited USING (row_id) "
        "ORDER BY w.row_id"
    ).fetchall()
    found = []
    for reason, file, sha256, line, raw, value, who, row_id in rows:
        column = rules.event if reason == "dated_later" else reason.removesuffix("_unknown")
        found.append(
            KeptOut(
                RowState.WAITING.value,
                reason,
                rules.feed.value,
                file,
                sha256,
                line,
                raw,
                column=column,
                found=value,
                subject=who,
                row_id=row_id,
            )
        )
    return found


def origins(connection: DuckDBPyConnection, row_ids: Iterable[int]) -> pd.DataFrame:
    """Feed, file, hash and line of rows, in the order of their ids."""
    return frame_of(
        connection.execute(
            f"SELECT r.row_id, f.feed, f.name AS file, f.sha256, "
            f"CAST(r.row_id % {LINES_A_FILE} AS BIGINT) AS line "
            f"FROM (SELECT DISTINCT unnest($ids::BIGINT[]) AS row_id) r "
            f"JOIN file f ON f.file_id = r.row_id // {LINES_A_FILE} ORDER BY r.row_id",
            {"ids": [int(row_id) for row_id in row_ids]},
        )
    )


def ended(connection: DuckDBPyConnection, subjects: Iterable[str], night: int) -> list[dict[str, Any]]:
    """Rows about some subjects that were ended by a night, by feed and row: see :meth:`.Store.ended`."""
    parts = [
        f"SELECT {text(feed.value)} AS feed, row_id, {_about(contract(feed))} AS subject, how, "
        f"night, coalesce(by_row, -1) AS by_row FROM ended JOIN {name(feed.value)} f USING (row_id)"
        for feed in Feed
    ]
    result = connection.execute(
        "SELECT e.feed, e.row_id, e.subject, e.how, n.as_of, e.by_row "
        f"FROM ({' UNION ALL '.join(parts)}) e JOIN night n ON n.number = e.night "
        "WHERE e.night <= $night AND e.subject IN (SELECT unnest($subjects::VARCHAR[])) "
        "ORDER BY e.feed, e.row_id",
        {"night": night, "subjects": sorted(set(subjects))},
    )
    columns = [column for column, *_ in result.description]
    return [dict(zip(columns, row, strict=True)) for row in result.fetchall()]


def _about(rules: Contract) -> str:
    """Whom a row ``f`` is about: its strand, or its machine where it names no strand."""
    subject = f"f.{name(rules.subject)}"
    if rules.subject == "strand" and any(field.name == "machine" for field in rules.fields):
        return f"coalesce(nullif({subject}, ''), f.machine)"
    return subject


def row_ids(connection: DuckDBPyConnection, sha256: str, line: int) -> list[int]:
    """The row ids of one line of a file, once for every time it was taken."""
    found = connection.execute(
        "SELECT file_id FROM file WHERE sha256 = ? ORDER BY file_id", [sha256]
    ).fetchall()
    return [int(file_id) * LINES_A_FILE + line for (file_id,) in found]


def count_rows(connection: DuckDBPyConnection, row_ids: Iterable[int]) -> int:
    """How many of these are rows that were stored or refused."""
    (found,) = connection.execute(
        "SELECT count(*) FROM (SELECT DISTINCT unnest($rows::BIGINT[]) AS row_id) "
        "WHERE row_id IN (SELECT row_id FROM refused) OR "
        + " OR ".join(f"row_id IN (SELECT row_id FROM {name(feed.value)})" for feed in Feed),
        {"rows": [int(row_id) for row_id in row_ids]},
    ).fetchall()[0]
    return int(found)


def set_aside(connection: DuckDBPyConnection, row_ids: Iterable[int], night: int) -> int:
    """Answer refusals, and end rows in force, by a person's decision; how many were found."""
    rows = sorted({int(row_id) for row_id in row_ids})
    bound = {"rows": rows, "night": night}
    chosen = "(SELECT unnest($rows::BIGINT[]) AS row_id)"
    connection.execute(
        f"INSERT INTO answered SELECT row_id, $night, 'set_aside' FROM {chosen} "
        "SEMI JOIN refused USING (row_id)",
        bound,
    )
    for feed in Feed:
        connection.execute(
            f"INSERT INTO ended SELECT row_id, $night, NULL, file_id, 'set_aside' "
            f"FROM {chosen} JOIN {name(feed.value)} USING (row_id)",
            bound,
        )
    return count_rows(connection, rows)
