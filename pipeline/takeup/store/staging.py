"""One file becomes a staged table: raw text in, typed cells out, and for every row that fails the reason.

DuckDB is told everything (``auto_detect=false``): columns in the file's order, all text. The ``rowid`` of the
raw table is the record's ordinal.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import duckdb

from takeup.contracts import Cell, checks
from takeup.store.cells import (
    CellSql,
    date_cell,
    defaulted,
    matches,
    number_cell,
    number_pattern,
    plain_number,
    raw,
    text_cell,
    word_cell,
)
from takeup.store.moments import moment_cell
from takeup.store.quoting import name, text
from takeup.store.reading import CellRule, Reading
from takeup.store.zones import load_days, load_turns

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

#: The longest line that loads, in bytes; what a line may have is less, see ``feeds.lines``.
LONGEST_LINE = 4_000_000

#: Characters cut from both ends of a cell: blanks of any width and the tab.
EDGES = " \t\u00a0\u2007\u202f"

#: Lines of a file are numbered below this, so that a row id reads as file and line.
LINES_A_FILE = 1_000_000_000


@dataclass(frozen=True)
class Failure:
    """A row that the file and the contract refuse."""

    line: int
    reason: str
    column: str
    found: str
    wanted: str
    subject: str
    key: int | None


def load_raw(connection: DuckDBPyConnection, reading: Reading) -> int | None:
    """Load a file as text cells into ``scratch.raw``.

    Returns
    -------
    int or None
        The number of records; None where a line does not load, and the file has to be taken apart.
    """
    columns = ", ".join(f"'c{position}': 'VARCHAR'" for position in range(reading.columns))
    quote = "quote='\"', escape='\"'" if reading.quoted else "quote='', escape=''"
    connection.execute("DROP TABLE IF EXISTS scratch.raw")
    try:
        connection.execute(
            f"CREATE TABLE scratch.raw AS SELECT * FROM read_csv(?, columns={{{columns}}}, delim=?, {quote}, "
            f"header=false, skip={reading.skip}, auto_detect=false, max_line_size={LONGEST_LINE})",
            [str(reading.path), reading.delimiter],
        )
    except duckdb.InvalidInputException:
        return None
    (count,) = connection.execute("SELECT count(*) FROM scratch.raw").fetchall()[0]
    return int(count)


def stage(connection: DuckDBPyConnection, reading: Reading) -> tuple[int, list[Failure]]:
    """Turn ``scratch.raw`` into ``scratch.staged_<file id>``; the number of rows, and the rows that fail.

    Records whose cells are all blank are no rows.

    Every record has its row: ``line``, ``key`` (NULL where its key cells do not read), ``stamp``, the frame
    columns and ``good``.
    """
    for rule in reading.rules:
        if rule.conversion is not None and rule.position is not None:
            _load_conversions(connection, reading, rule)
    cells = {rule.field.name: _cell(connection, reading, rule) for rule in reading.rules}
    _load_lines(connection, reading)
    staged = f"scratch.staged_{reading.file_id}"
    asked = " AND ".join(f"({check.passes})" for check in checks(reading.contract.feed))
    read = " AND ".join(f"NOT {cell.failed}" for cell in cells.values() if cell.failed != "FALSE") or "TRUE"
    columns = [column for cell in cells.values() for column, _ in cell.values]
    connection.execute(
        f"CREATE OR REPLACE TABLE {staged} AS {_typed(reading, cells, '')} "
        f"SELECT ordinal, {_line(reading)} AS line, {_key(reading)} AS key, {_stamp(reading)} AS stamp, "
        f"{', '.join(name(column) for column in columns)}, coalesce(({read}) AND {asked}, FALSE) AS good "
        f"FROM typed{' JOIN scratch.lines USING (ordinal)' if reading.lines is not None else ''}"
    )
    rows, good = connection.execute(
        f"SELECT count(*), count(*) FILTER (WHERE good) FROM {staged}"
    ).fetchall()[0]
    if rows == good:
        return rows, []
    (blank,) = connection.execute(
        f"DELETE FROM {staged} WHERE NOT good AND ordinal IN (SELECT rowid FROM scratch.raw WHERE "
        f"trim(concat({', '.join(f'c{position}' for position in range(reading.columns))}), {text(EDGES)}) = '')"
    ).fetchall()[0]
    return rows - blank, _failures(connection, reading, cells, staged)


def _cell(connection: DuckDBPyConnection, reading: Reading, rule: CellRule) -> CellSql:
    kind = rule.field.cell
    if rule.position is None:
        return defaulted(rule)
    if kind is Cell.TEXT:
        return text_cell(rule)
    if kind in {Cell.WORD, Cell.YES_NO}:
        return word_cell(rule)
    if kind is Cell.DATE:
        return date_cell(rule, reading.marks)
    if kind is Cell.MOMENT:
        cell = f"c{rule.position}"
        hint = f"{cell} LIKE '%Z%' OR {cell} LIKE '%+%' OR {cell} LIKE '%:%-%'"
        load_turns(connection, reading.marks.zone)
        (offsets,) = connection.execute(
            f"SELECT coalesce(bool_or({hint}), FALSE) FROM scratch.raw"
        ).fetchall()[0]
        if offsets or reading.marks.zone != reading.marks.site_zone:
            load_days(connection, reading.marks.zone)
            load_days(connection, reading.marks.site_zone)
        return moment_cell(rule, reading.marks, offsets=offsets)
    return number_cell(rule, reading.marks)


def _cut(reading: Reading, rule: CellRule) -> str:
    cell = f"coalesce({_trimmed(reading, f'c{rule.position}')}, '')"
    if reading.joined:
        cell = f"replace({cell}, chr(31), chr(10))"
    return f"{cell} AS {raw(rule)}"


def _trimmed(reading: Reading, cell: str) -> str:
    """A cell without blanks at its ends; trimming is dear, so it is left out where the file has none."""
    return f"trim({cell}, {text(EDGES)})" if reading.edged else cell


def _typed(reading: Reading, cells: dict[str, CellSql], where: str) -> str:
    """The common table expressions that end in ``typed``: ordinal, raw texts, frame columns."""
    present = [rule for rule in reading.rules if rule.position is not None]
    cut = ", ".join(["rowid AS ordinal", *(_cut(reading, rule) for rule in present)])
    parts, last = [f"step_0 AS (SELECT {cut} FROM scratch.raw {where})"], "step_0"
    for depth in range(max((len(cell.steps) for cell in cells.values()), default=0)):
        steps = [cell.steps[depth] for cell in cells.values() if len(cell.steps) > depth]
        columns = ", ".join(f"{value} AS {name(column)}" for step in steps for column, value in step.columns)
        joins = " ".join(join for step in steps for join in step.joins)
        parts.append(f"step_{depth + 1} AS (SELECT {last}.*, {columns} FROM {last} {joins})")
        last = f"step_{depth + 1}"
    values = ", ".join(
        f"{value} AS {name(column)}" for cell in cells.values() for column, value in cell.values
    )
    flags = ", ".join(f"{test} AS {name(alias)}" for alias, test in _late(cells))
    joins = " ".join(join for cell in cells.values() for join in cell.joins)
    listed = ", ".join([f"{last}.*", values, *([flags] if flags else [])])
    parts.append(f"typed AS (SELECT {listed} FROM {last} {joins})")
    return "WITH " + ", ".join(parts)


def _late(cells: dict[str, CellSql]) -> list[tuple[str, str]]:
    """Conditions of reasons that lean on joined tables, as columns, since ``typed`` hides those tables."""
    return [
        (f"why {column} {number}", condition)
        for column, cell in cells.items()
        for number, (condition, _, _) in enumerate(cell.reasons)
        if cell.joins and condition != "TRUE"
    ]


def _key(reading: Reading) -> str:
    """md5 of the key cells: the same in every version of DuckDB, and NULL when one does not read."""
    parts = " || chr(31) || ".join(name(column) for column in reading.contract.key)
    required = [
        f"{name(column)} <> ''" for column in reading.contract.key if reading.contract.field(column).required
    ]
    digest = f"md5_number({parts})"
    return f"CASE WHEN {' AND '.join(required)} THEN {digest} END" if required else digest


def _stamp(reading: Reading) -> str:
    declared = "NULL" if reading.stamp is None else repr(reading.stamp)
    return f'CAST(coalesce("changed_at_pos", {declared}) AS DOUBLE)'


def _line(reading: Reading) -> str:
    return (
        "CAST(line AS INTEGER)"
        if reading.lines is not None
        else f"CAST(ordinal + {reading.first_line} AS INTEGER)"
    )


def _load_lines(connection: DuckDBPyConnection, reading: Reading) -> None:
    if reading.lines is None:
        return
    import pandas as pd

    frame = pd.DataFrame({"ordinal": range(len(reading.lines)), "line": reading.lines})
    connection.register("lines_given", frame)
    connection.execute("CREATE OR REPLACE TABLE scratch.lines AS SELECT * FROM lines_given")
    connection.unregister("lines_given")


def _load_conversions(connection: DuckDBPyConnection, reading: Reading, rule: CellRule) -> None:
    """Convert each distinct text of a column once, exactly, before any float."""
    import pandas as pd

    assert rule.conversion is not None  # noqa: S101 - tells the type checker
    cell = _trimmed(reading, f"c{rule.position}")
    whole = rule.field.cell is Cell.WHOLE
    found = connection.execute(
        f"SELECT DISTINCT {cell}, {plain_number(cell, reading.marks)} FROM scratch.raw "
        f"WHERE {matches(cell, number_pattern(reading.marks, whole=whole))}"
    ).fetchall()
    step = rule.conversion
    frame = pd.DataFrame(
        {
            "text": pd.Series([given for given, _ in found], dtype=object),
            "value": [float((Decimal(plain) + step.before) * step.factor) for _, plain in found],
        }
    )
    connection.register("map_given", frame)
    connection.execute(
        f"CREATE OR REPLACE TABLE scratch.{name('map ' + rule.field.name)} AS "
        "SELECT CAST(text AS VARCHAR) AS text, CAST(value AS DOUBLE) AS value FROM map_given"
    )
    connection.unregister("map_given")


def _failures(
    connection: DuckDBPyConnection, reading: Reading, cells: dict[str, CellSql], staged: str
) -> list[Failure]:
    """Why each failing row fails: the first failing cell in the contract's order, whole-row checks last."""
    raws = {rule.field.name: raw(rule) for rule in reading.rules if rule.position is not None}
    tests: list[tuple[str, str, str, str]] = []
    for column, cell in cells.items():
        for number, (condition, reason, wanted) in enumerate(cell.reasons):
            if condition != "TRUE":
                condition = name(f"why {column} {number}") if cell.joins else condition
                tests.append((f"({cell.failed}) AND {condition}", column, reason.value, wanted))
            else:
                tests.append((cell.failed, column, reason.value, wanted))
        tests += [
            (f"NOT ({check.passes})", column, check.name, check.wanted)
            for check in checks(reading.contract.feed)
            if check.column == column and check.name not in WHOLE_ROW
        ]
    tests += [
        (f"NOT ({check.passes})", check.column, check.name, check.wanted)
        for check in checks(reading.contract.feed)
        if check.name in WHOLE_ROW
    ]
    which = " ".join(f"WHEN {condition} THEN {number}" for number, (condition, *_) in enumerate(tests))
    shown = " ".join(
        f"WHEN {number} THEN {raws[column]}" for number, (_, column, *_) in enumerate(tests) if column in raws
    )
    subject = raws.get(reading.contract.subject, "''")
    where = f"WHERE rowid IN (SELECT ordinal FROM {staged} WHERE NOT good)"
    rows = connection.execute(
        f"{_typed(reading, cells, where)}, judged AS (SELECT *, CASE {which} ELSE -1 END AS failure FROM typed) "
        f"SELECT staged.line, failure, CASE failure {shown} ELSE '' END, {subject}, staged.key "
        f"FROM judged JOIN {staged} staged USING (ordinal) "
        "ORDER BY staged.line"
    ).fetchall()
    return [_failure(tests, *row) for row in rows]


#: Checks over several cells of a row.
WHOLE_ROW = frozenset({"none_of_group_filled", "looks_like_inches"})


def _failure(
    tests: list[tuple[str, str, str, str]], line: int, failure: int, found: str, subject: str, key: Any
) -> Failure:
    _, column, reason, wanted = tests[failure]
    return Failure(line, reason, column, found, wanted, subject, key)
