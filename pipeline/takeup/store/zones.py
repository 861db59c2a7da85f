"""Turns of a zone's clock as tables: the rules come from Python's zone data, which a night's record names.

Two tables a zone, made when first asked for: ``turns Z`` holds the stretches of wall clock that do not exist
(*gap*) or exist twice (*fold*); ``days Z`` holds the offsets of every local day and of every UTC day, before
and after the day's turn.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from takeup.store.quoting import name
from takeup.store.reading import Marks

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

FIRST = datetime(1970, 1, 1, tzinfo=UTC)
LAST = datetime(2100, 1, 1, tzinfo=UTC)
#: No zone has turned its clock twice within a week since 1970 (looked through in tzdata 2026.6).
STRIDE = timedelta(days=5)


@cache
def turns(zone: str) -> tuple[tuple[datetime, int, int], ...]:
    """Every turn of a zone's clock from 1970 to 2099.

    Parameters
    ----------
    zone : str

    Returns
    -------
    tuple of (moment, offset before, offset after)
        Offsets in seconds east of UTC. [s]

    Examples
    --------
    >>> [(str(at), before, after) for at, before, after in turns("Europe/Berlin") if at.year == 2026]
    [('2026-03-29 01:00:00+00:00', 3600, 7200), ('2026-10-25 01:00:00+00:00', 7200, 3600)]
    """
    rules = ZoneInfo(zone)

    def offset(moment: datetime) -> int:
        return int((moment.astimezone(rules).utcoffset() or timedelta()).total_seconds())

    found = []
    low, before = FIRST, offset(FIRST)
    while low < LAST:
        high = low + STRIDE
        after = offset(high)
        if after != before:
            found.append((_turn_between(low, high, offset), before, after))
        low, before = high, after
    return tuple(found)


def first_offset(zone: str) -> int:
    """Offset east of UTC at the beginning of 1970, in seconds."""
    return int((FIRST.astimezone(ZoneInfo(zone)).utcoffset() or timedelta()).total_seconds())


def _turn_between(low: datetime, high: datetime, offset: Callable[[datetime], int]) -> datetime:
    before = offset(low)
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=int((high - low).total_seconds()) // 2)
        low, high = (middle, high) if offset(middle) == before else (low, middle)
    return high


def turns_table(zone: str) -> str:
    """Quoted name of a zone's table of gaps and folds."""
    return f"scratch.{name('turns ' + zone)}"


def days_table(zone: str) -> str:
    """Quoted name of a zone's table of offsets by day."""
    return f"scratch.{name('days ' + zone)}"


def load_zones(connection: DuckDBPyConnection, marks: Marks, *, convert: bool) -> None:
    """Make the tables that the moments of a file need, unless they are there.

    Parameters
    ----------
    connection : DuckDBPyConnection
    marks : Marks
    convert : bool
        Whether some moments have an offset; two zones have to be converted anyway.
    """
    there = {
        table
        for (table,) in connection.execute(
            "SELECT table_name FROM duckdb_tables() WHERE database_name = 'scratch'"
        ).fetchall()
    }
    for zone in sorted({marks.zone, marks.site_zone}):
        if f"turns {zone}" not in there:
            _make_turns(connection, zone)
        if (convert or marks.zone != marks.site_zone) and f"days {zone}" not in there:
            _make_days(connection, zone)


def _make_turns(connection: DuckDBPyConnection, zone: str) -> None:
    """A zone's table of gaps and folds."""
    rows: dict[date, list[object]] = {}
    for moment, before, after in turns(zone):
        turn = moment.replace(tzinfo=None)
        low, high = turn + timedelta(seconds=min(before, after)), turn + timedelta(seconds=max(before, after))
        day = low.date()
        while day <= (high - timedelta(seconds=1)).date():
            rows[day] = [turn, low, high, day, after > before, before, after]
            day += timedelta(days=1)
    connection.execute(
        f"CREATE TABLE {turns_table(zone)} "
        "(moment TIMESTAMP, lo TIMESTAMP, hi TIMESTAMP, day DATE, gap BOOLEAN, before INTEGER, after INTEGER)"
    )
    if rows:
        values = ", ".join(
            f"(TIMESTAMP '{row[0]}', TIMESTAMP '{row[1]}', TIMESTAMP '{row[2]}', DATE '{row[3]}', "
            f"{row[4]}, {row[5]}, {row[6]})"
            for row in rows.values()
        )
        connection.execute(f"INSERT INTO {turns_table(zone)} VALUES {values}")


def _make_days(connection: DuckDBPyConnection, zone: str) -> None:
    """A zone's table of offsets by local and by UTC day."""
    first, table = first_offset(zone), turns_table(zone)
    days = "CAST(unnest(range(DATE '1969-12-31', DATE '2100-01-02', INTERVAL 1 DAY)) AS DATE)"
    halves = [
        f"SELECT '{clock}' AS clock, d.day, t.{turn} AS turn, "
        f"coalesce(t.before, p.after, {first}) AS before, coalesce(t.after, p.after, {first}) AS after "
        f"FROM (SELECT {days} AS day) d "
        f"LEFT JOIN (SELECT DISTINCT ON (CAST({turn} AS DATE)) * FROM {table}) t "
        f"ON CAST(t.{turn} AS DATE) = d.day "
        f"ASOF LEFT JOIN {table} p ON CAST(d.day AS TIMESTAMP) >= p.{done}"
        for clock, turn, done in (("local", "lo", "hi"), ("utc", "moment", "moment"))
    ]
    connection.execute(f"CREATE TABLE {days_table(zone)} AS {' UNION ALL '.join(halves)}")
