"""Turns of a zone's clock as tables: the rules come from Python's zone data, which a night's record names.

Two tables a zone, made when first asked for: ``turns Z`` holds the stretches of wall clock that do not exist
(*gap*) or exist twice (*fold*); ``days Z`` holds the offset of every local day and of every UTC day.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from takeup.store.quoting import name

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

FIRST = datetime(1970, 1, 1, tzinfo=UTC)
LAST = datetime(2100, 1, 1, tzinfo=UTC)


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
        high = low + timedelta(days=1)
        after = offset(high)
        if after != before:
            found.append((_turn_between(low, high, offset), before, after))
        low, before = high, after
    return tuple(found)


def first_offset(zone: str) -> int:
    """Offset east of UTC at the beginning of 1970. [s]"""
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


def load(connection: DuckDBPyConnection, zone: str) -> None:
    """Make a zone's two tables unless they are there."""
    connection.execute(
        f"CREATE TABLE IF NOT EXISTS {turns_table(zone)} "
        "(moment TIMESTAMP, lo TIMESTAMP, hi TIMESTAMP, day DATE, gap BOOLEAN, before INTEGER, after INTEGER)"
    )
    if connection.execute(f"SELECT count(*) FROM duckdb_tables() WHERE table_name = 'days {zone}'").fetchall() != [
        (0,)
    ]:
        return
    rows = []
    for moment, before, after in turns(zone):
        at = moment.replace(tzinfo=None)
        lo = at + timedelta(seconds=min(before, after))
        hi = at + timedelta(seconds=max(before, after))
        day = lo.date()
        while datetime(day.year, day.month, day.day) < hi:  # noqa: DTZ001 - a wall clock without zone
            rows.append([at, lo, hi, day, after > before, before, after])
            day += timedelta(days=1)
    if rows:
        connection.executemany(f"INSERT INTO {turns_table(zone)} VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
    first = first_offset(zone)
    for clock, started in (("local", "hi"), ("utc", "moment")):
        turned = "t.day = d.day" if clock == "local" else "CAST(t.moment AS DATE) = d.day"
        connection.execute(
            f"CREATE TABLE scratch.part AS SELECT '{clock}' AS clock, d.day, "
            f"{'t.lo' if clock == 'local' else 't.moment'} AS turn, t.gap, t.lo, t.hi, "
            f"coalesce(t.before, p.after, {first}) AS before, coalesce(t.after, p.after, {first}) AS after "
            "FROM (SELECT CAST(unnest(range(DATE '1969-12-31', DATE '2100-01-02', INTERVAL 1 DAY)) AS DATE) AS day) d "
            f"LEFT JOIN (SELECT DISTINCT ON (day) * FROM {turns_table(zone)}) t ON {turned} "
            f"ASOF LEFT JOIN {turns_table(zone)} p ON CAST(d.day AS TIMESTAMP) >= p.{started}"
        )
        if clock == "local":
            connection.execute(f"CREATE TABLE {days_table(zone)} AS SELECT * FROM scratch.part")
        else:
            connection.execute(f"INSERT INTO {days_table(zone)} SELECT * FROM scratch.part")
        connection.execute("DROP TABLE scratch.part")
