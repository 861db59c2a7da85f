"""Staged rows join the rows known, by insertion only.

The versions of a key stand in one order: by the source's stamp, then by the night their file came, then by
row id.
A row whose predecessor in that order says the same is a *duplicate* and is not stored; every other row is
stored, and the version before it has *ended* from this night on. A duplicate with a later stamp *confirms*
what it repeats: that version stands in the order once more, at the later stamp, so that a correction between
the two does not win by coming last. A row without a stamp takes the latest stamp known for its key, so that
it follows what is known.

Two different rows of one key in one night, of which one has no stamp or both have the same, *contradict*
each other: neither is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from takeup.contracts import Contract
from takeup.store.quoting import name, names
from takeup.store.reasons import Refusal
from takeup.store.staging import LINES_A_FILE, Failure, staged_table
from takeup.store.visible import At, waiting

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection


@dataclass(frozen=True)
class Counted:
    """How the good rows of one file ended, before waiting is told from new."""

    file_id: int
    new: int
    duplicate: int
    superseding: int
    contradicting: int


def merge(
    connection: DuckDBPyConnection, contract: Contract, files: Mapping[int, int], night: int
) -> tuple[dict[int, Counted], dict[int, list[Failure]]]:
    """Merge the staged files of one feed.

    Parameters
    ----------
    connection : DuckDBPyConnection
        Inside the night's transaction.
    contract : Contract
    files : mapping
        Id of a staged file that can be used to the night the file came.
    night : int

    Returns
    -------
    dict of Counted by file id, dict of contradicting rows by file id
    """
    feed = name(contract.feed.value)
    earlier = " ".join(f"WHEN {file_id} THEN {came}" for file_id, came in files.items() if came != night)
    came = f"CASE file_id {earlier} ELSE {night} END" if earlier else str(night)
    usable = ", ".join(map(str, files)) or "NULL"
    speaks = f"{name(contract.silent)} <> ''" if contract.silent else "TRUE"
    connection.execute(
        f"CREATE OR REPLACE TEMP VIEW arrived AS "
        f"SELECT CAST(file_id AS BIGINT) * {LINES_A_FILE} + line AS row_id, file_id, line, "
        f"CAST({night} AS INTEGER) AS known_from, CAST({came} AS INTEGER) AS came, key, stamp, "
        f"{names(contract.frame_columns)} FROM {staged_table(contract)} WHERE good AND {speaks} "
        f"AND file_id IN ({usable})"
    )
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE busy AS "
        "SELECT key FROM arrived GROUP BY key HAVING count(*) > 1 "
        f"UNION SELECT key FROM arrived SEMI JOIN {feed} USING (key)"
    )
    (crowd,) = connection.execute("SELECT count(*) FROM busy").fetchall()[0]
    race = _race(contract, night) if crowd else _NO_RACE
    connection.execute(f"CREATE OR REPLACE TEMP TABLE raced AS {race}")
    stored = f"INSERT INTO {feed} BY NAME SELECT a.* FROM arrived a"
    if crowd:
        outcomes = "FROM raced WHERE outcome IN ('new', 'superseding')"
        connection.execute(f"{stored} ANTI JOIN busy USING (key)")
        connection.execute(f"{stored} SEMI JOIN ({outcomes}) USING (row_id)")
        connection.execute(_ends(night))
        connection.execute(_confirms(night))
    else:
        connection.execute(stored)
    silent = dict(
        connection.execute(
            f"SELECT file_id, count(*) FROM {staged_table(contract)} "
            f"WHERE good AND NOT ({speaks}) AND file_id IN ({usable}) GROUP BY file_id"
        ).fetchall()
    )
    counted = _counted(connection, list(files), silent)
    return counted, _contradictions(connection, contract)


_NO_RACE = (
    "SELECT row_id, file_id, line, known_from, came, key, stamp, row_id AS row_before, '' AS outcome "
    "FROM arrived WHERE FALSE"
)


def _race(contract: Contract, night: int) -> str:
    """Known versions and arrivals of the busy keys in their order, each arrival with its outcome."""
    feed = name(contract.feed.value)
    said = " || chr(31) || ".join(
        f"coalesce(CAST({name(column)} AS VARCHAR), '')"
        for field in contract.fields
        for column in field.frame_columns[:1]
    )
    return f"""
    WITH said AS (
        SELECT f.row_id, f.file_id, f.line, f.known_from, f.came, f.key, f.stamp,
               CASE WHEN EXISTS (SELECT 1 FROM ended e WHERE e.row_id = f.row_id AND e.how = 'missing')
                    THEN NULL ELSE md5_number({said}) END AS content
        FROM {feed} f SEMI JOIN busy USING (key)
    ), known AS (
        FROM said
        UNION ALL
        SELECT row_id, file_id, line, known_from, c.night AS came, key, c.stamp, content
        FROM said JOIN confirmed c USING (row_id)
    ), latest AS (
        SELECT key, max(stamp) AS stamp FROM known GROUP BY key
    ), coming AS (
        SELECT row_id, file_id, line, known_from, came, key, a.stamp AS own,
               coalesce(a.stamp, latest.stamp) AS stamp,
               md5_number({said}) AS content
        FROM arrived a SEMI JOIN busy USING (key) LEFT JOIN latest USING (key)
    ), torn AS (
        SELECT key FROM coming GROUP BY key
        HAVING count(DISTINCT content) > 1
           AND (count(own) < count(*) OR count(DISTINCT (own, content)) > count(DISTINCT own))
    ), ordered AS (
        SELECT *, lag(content) OVER versions AS said_before, lag(row_id) OVER versions AS row_before,
               lead(row_id) OVER versions AS row_after
        FROM (
            SELECT row_id, file_id, line, known_from, came, key, stamp, content FROM known
            UNION ALL
            SELECT row_id, file_id, line, known_from, came, key, stamp, content FROM coming
            WHERE key NOT IN (FROM torn)
        )
        WINDOW versions AS (PARTITION BY key ORDER BY stamp NULLS FIRST, came, row_id)
    )
    SELECT row_id, file_id, line, known_from, came, key, stamp, row_before,
           CASE WHEN known_from < {night} THEN 'known'
                WHEN content = said_before THEN 'duplicate'
                WHEN row_before IS NULL AND NOT EXISTS (SELECT 1 FROM latest WHERE latest.key = ordered.key)
                THEN 'new' ELSE 'superseding' END AS outcome
    FROM ordered
    UNION ALL
    SELECT row_id, file_id, line, known_from, came, key, stamp, NULL, 'contradicting'
    FROM coming WHERE key IN (FROM torn)
    """


def _ends(night: int) -> str:
    """Every version that has a follower now has ended, from this night on unless it had before.

    A version that was confirmed stands in the order more than once; its last place decides.
    """
    return f"""
    INSERT INTO ended
    SELECT row_id, {night}, follower, follower // {LINES_A_FILE}, 'superseded'
    FROM (
        SELECT row_id, outcome, row_number() OVER places AS from_last,
               lead(row_id) OVER versions AS follower, lead(outcome) OVER versions AS then_came
        FROM raced WHERE outcome IN ('known', 'new', 'superseding')
        WINDOW versions AS (PARTITION BY key ORDER BY stamp NULLS FIRST, came, row_id),
               places AS (PARTITION BY row_id ORDER BY stamp DESC NULLS LAST, came DESC)
    )
    WHERE from_last = 1 AND follower IS NOT NULL AND (outcome <> 'known' OR then_came <> 'known')
    """


def _confirms(night: int) -> str:
    """The stored versions that tonight's duplicates repeat under a later stamp, with the latest of them."""
    return f"""
    INSERT INTO confirmed
    SELECT repeated, {night}, max(stamp)
    FROM (
        SELECT outcome, stamp,
               last_value(CASE WHEN outcome <> 'duplicate' THEN row_id END IGNORE NULLS) OVER so_far
                   AS repeated,
               max(CASE WHEN outcome <> 'duplicate' THEN stamp END) OVER so_far AS stamped
        FROM raced WHERE outcome <> 'contradicting'
        WINDOW so_far AS (PARTITION BY key ORDER BY stamp NULLS FIRST, came, row_id
                          ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW)
    )
    WHERE outcome = 'duplicate' AND (stamp > stamped OR stamp IS NOT NULL AND stamped IS NULL)
    GROUP BY repeated ORDER BY repeated
    """


def _counted(
    connection: DuckDBPyConnection, file_ids: list[int], silent: Mapping[int, int]
) -> dict[int, Counted]:
    """How the good rows of each file ended; one that says nothing is a duplicate of whatever is known."""
    raced = connection.execute(
        "SELECT file_id, outcome, count(*) FROM raced WHERE outcome <> 'known' GROUP BY ALL"
    ).fetchall()
    by_file: dict[int, dict[str, int]] = {file_id: {} for file_id in file_ids}
    for file_id, outcome, count in raced:
        by_file[file_id][outcome] = count
    arrived = dict(connection.execute("SELECT file_id, count(*) FROM arrived GROUP BY file_id").fetchall())
    return {
        file_id: Counted(
            file_id,
            arrived.get(file_id, 0) - sum(counts.values()) + counts.get("new", 0),
            counts.get("duplicate", 0) + silent.get(file_id, 0),
            counts.get("superseding", 0),
            counts.get("contradicting", 0),
        )
        for file_id, counts in by_file.items()
    }


def _contradictions(connection: DuckDBPyConnection, contract: Contract) -> dict[int, list[Failure]]:
    # A feed may have a column called outcome itself, so every column is said with its table.
    subject = f"a.{name(contract.subject)}"
    rows = connection.execute(
        f"SELECT r.file_id, r.line, {subject}, r.key, concat_ws(', ', {names(contract.key, 'a')}) "
        f"FROM raced r JOIN arrived a USING (row_id) WHERE r.outcome = 'contradicting' ORDER BY r.row_id"
    ).fetchall()
    found: dict[int, list[Failure]] = {}
    for file_id, line, who, hashed, said in rows:
        found.setdefault(file_id, []).append(
            Failure(
                line,
                Refusal.CONTRADICTS_ITSELF.value,
                contract.key[0],
                said,
                "one row a key a night",
                who,
                hashed,
            )
        )
    return found


@dataclass(frozen=True)
class Waits:
    """Tonight's rows of a feed that wait.

    Attributes
    ----------
    new : dict
        File id to the number of its new rows that wait.
    lines : dict
        File id to the lines of all its rows that wait.
    newest : dict
        File id to the newest event day of its rows stored tonight.
    """

    new: dict[int, int]
    lines: dict[int, list[int]]
    newest: dict[int, int]


def waiting_tonight(connection: DuckDBPyConnection, contract: Contract, at: At) -> Waits:
    """Which of the rows merged tonight wait."""
    rows = connection.execute(
        f"SELECT file_id, line, row_id IN (SELECT row_id FROM raced WHERE outcome = 'superseding') "
        f"FROM {waiting(contract.feed, at)} WHERE known_from = {at.night}"
    ).fetchall()
    new: dict[int, int] = {}
    lines: dict[int, list[int]] = {}
    for file_id, line, superseding in rows:
        lines.setdefault(file_id, []).append(line)
        new[file_id] = new.get(file_id, 0) + (not superseding)
    newest = {}
    if contract.event:
        newest = dict(
            connection.execute(
                f"SELECT file_id, max({name(contract.event_day)}) FROM arrived GROUP BY file_id"
            ).fetchall()
        )
    return Waits(new, lines, newest)
