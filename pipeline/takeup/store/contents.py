"""What a night wrote into each table, as a number of rows and one hash over them.

Every table but the caches is written by insertion only and says of each row which night wrote it. So what a
night wrote can be summed up once, kept outside the store, and compared with what the store holds later.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from takeup.model import Feed
from takeup.store import derived
from takeup.store.quoting import name, text

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

#: Tables and the column that says which night wrote a row.
NIGHT_OF = {
    "night": "number",
    "file": "night",
    **{feed.value: "known_from" for feed in Feed},
    "ended": "night",
    "confirmed": "night",
    "refused": "night",
    "answered": "night",
    "waited": "night",
    derived.VERDICTS: "night",
    "order_book": "night",
    "order_event": "night",
}


def contents(
    connection: DuckDBPyConnection, night: int | None = None
) -> dict[int, dict[str, tuple[int, str]]]:
    """Rows and SHA-256 of what each night wrote into each table it wrote to.

    The hash is over the sorted hashes of the rows. A row's text names its filled columns in alphabetical
    order, so that neither the order of rows nor a column added by a later version changes it.

    Parameters
    ----------
    connection : DuckDBPyConnection
    night : int, optional
        Only this one.

    Returns
    -------
    dict
        Night to table to (rows, SHA-256).
    """
    found: dict[int, dict[str, tuple[int, str]]] = {}
    there = set(derived.tables(connection, ""))
    for table, told in NIGHT_OF.items():
        if table not in there:
            continue
        where = "" if night is None else f"WHERE {name(told)} = {int(night)}"
        rows = connection.execute(
            f"SELECT told, count(*), sha256(string_agg(row_hash, '' ORDER BY row_hash)) FROM "
            f"(SELECT {name(told)} AS told, sha256({_row_text(connection, table)}) AS row_hash "
            f"FROM {name(table)} {where}) GROUP BY told ORDER BY told"
        ).fetchall()
        for number, count, sha256 in rows:
            found.setdefault(number, {})[table] = (count, sha256)
    return found


def _row_text(connection: DuckDBPyConnection, table: str) -> str:
    """The SQL of a row's text: `column:value` of every filled column."""
    columns = connection.execute(f"DESCRIBE {name(table)}").fetchall()
    cells = (
        # as text it would take a thousand times as long
        f"{text(column + ':')} || "
        + (f"hex({name(column)})" if kind == "UHUGEINT" else f"to_json({name(column)})")
        for column, kind, *_ in sorted(columns)
    )
    return f"concat_ws(',', {', '.join(cells)})"
