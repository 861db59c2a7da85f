"""Which strands and machines a night touches: what came, what ended, what its date or its parents let in."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from takeup.contracts import Contract, contract
from takeup.model import Feed
from takeup.store.quoting import name
from takeup.store.visible import At, delivered, holding

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

SUBJECTS = ("strand", "machine")
REGISTERS = (Feed.MACHINES, Feed.STRANDS)


def effective_changes(
    connection: DuckDBPyConnection, now: At, before: At, feeds: Iterable[Feed] = tuple(Feed)
) -> dict[str, set[str]]:
    """Names touched between two standpoints, by ``strand`` and ``machine``.

    A row that came or ended touches its subjects; so does one that its date lets in. A register's row also
    when it holds now and did not before, or the other way, which covers the rows that waited for it. Only
    rows of ``feeds`` are asked.
    """
    touched: dict[str, set[str]] = {subject: set() for subject in SUBJECTS}
    for feed in feeds:
        rules = contract(feed)
        columns = [subject for subject in SUBJECTS if any(field.name == subject for field in rules.fields)]
        for column in columns:
            touched[column] |= _names(connection, _touched(rules, column, now, before))
    for register in REGISTERS:
        if _first_delivered(connection, register, now, before):
            column = contract(register).key[0]
            touched[column] |= _everyone(connection, column)
    return touched


def _touched(rules: Contract, column: str, now: At, before: At) -> str:
    feed = name(rules.feed.value)
    tests = [
        f"(known_from > {before.night} AND known_from <= {now.night})",
        f"row_id IN (SELECT row_id FROM ended WHERE night > {before.night} AND night <= {now.night})",
    ]
    if rules.event:
        day = name(rules.event_day)
        tests.append(f"({day} > {before.day} AND {day} <= {now.day})")
    touched = " OR ".join(tests)
    query = f"SELECT DISTINCT {name(column)} FROM {feed} WHERE known_from <= {now.night} AND ({touched})"
    if rules.feed in REGISTERS:
        then = f"SELECT row_id, {name(column)} FROM {holding(rules.feed, before)}"
        today = f"SELECT row_id, {name(column)} FROM {holding(rules.feed, now)}"
        query += f" UNION SELECT {name(column)} FROM (({then}) EXCEPT ({today}))"
        query += f" UNION SELECT {name(column)} FROM (({today}) EXCEPT ({then}))"
    return query


def _first_delivered(connection: DuckDBPyConnection, register: Feed, now: At, before: At) -> bool:
    found = connection.execute(
        f"SELECT {delivered(register, now)} AND NOT {delivered(register, before)}"
    ).fetchall()
    return bool(found[0][0])


def _everyone(connection: DuckDBPyConnection, column: str) -> set[str]:
    """Every name in any feed; a register that comes for the first time changes who is known."""
    found: set[str] = set()
    for feed in Feed:
        if any(field.name == column for field in contract(feed).fields):
            found |= _names(connection, f"SELECT DISTINCT {name(column)} FROM {name(feed.value)}")
    return found


def _names(connection: DuckDBPyConnection, query: str) -> set[str]:
    return {who for (who,) in connection.execute(query).fetchall() if who}
