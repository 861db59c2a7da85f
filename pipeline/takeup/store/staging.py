"""One file is staged: raw text in, typed cells out, and for every row that fails the reason.

DuckDB is told everything (``auto_detect=false``): columns in the file's order, all text. The ``rowid`` of the
raw table is the record's ordinal.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import duckdb

from takeup.contracts import Cell, Check, Contract, checks
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
from takeup.store.quoting import name, names, text
from takeup.store.reading import CellRule, Reading
from takeup.store.zones import load_zones

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

#: The longest line that loads, in bytes; what a line may have is less, see ``feeds.lines``.
LONGEST_LINE = 4_000_000

#: Characters cut from both ends of a cell: blanks of any width and the tab.
EDGES = " \t\u00a0\u2007\u202f"

#: Characters of a refused cell that are kept; its line stands beside it, and the archive holds the whole.
MOST_SHOWN = 300

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


def staged_table(contract: Contract) -> str:
    """Quoted name of a feed's staged table.

    Every record has its row: ``file_id``, ``ordinal``, ``line``, ``key`` (NULL where its key cells do not
    read), ``stamp``, the frame columns and ``good``.
    """
    return f"scratch.{name('staged ' + contract.feed.value)}"


def prepare(connection: DuckDBPyConnection, contract: Contract) -> None:
    """Make a feed's staged table unless it is there."""
    kinds = {
        column: "DOUBLE" if field.is_number or column.endswith("_pos") else "INTEGER"
        for field in contract.fields
        for column in (field.frame_columns if field.is_number else field.frame_columns[1:])
    }
    columns = ", ".join(f"{name(column)} {kinds.get(column, 'VARCHAR')}" for column in contract.frame_columns)
    connection.execute(
        f"CREATE TABLE IF NOT EXISTS {staged_table(contract)} "
        "(file_id INTEGER, ordinal BIGINT, line INTEGER, key UHUGEINT, stamp DOUBLE, "
        f"{columns}, good BOOLEAN)"
    )


def load_raw(connection: DuckDBPyConnection, reading: Reading) -> int | None:
    """Load a file as text cells into ``scratch.raw``.

    Returns
    -------
    int or None
        The number of records; None where a line does not load, and the file has to be taken apart.
    """
    columns = ", ".join(f"'c{position}': 'VARCHAR'" for position in range(reading.columns + reading.numbered))
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
    """Add ``scratch.raw`` to its feed's staged table; the number of rows, and the rows that fail.

    Records whose cells are all blank are no rows.

    """
    for rule in reading.rules:
        if rule.conversion is not None and rule.position is not None:
            _load_conversions(connection, reading, rule)
    offsets = _with_offsets(connection, reading)
    load_zones(connection, reading.marks, convert=bool(offsets))
    cells = {rule.field.name: _cell(reading, rule, offsets) for rule in reading.rules}
    staged = staged_table(reading.contract)
    asked = " AND ".join(f"({check.passes})" for check in _asked(reading))
    read = " AND ".join(f"NOT {cell.failed}" for cell in cells.values() if cell.failed != "FALSE") or "TRUE"
    connection.execute(
        f"INSERT INTO {staged} {_typed(reading, cells, '')} "
        f"SELECT {reading.file_id}, ordinal, {_line(reading)}, {_key(reading)}, {_stamp(reading)}, "
        f"{names(reading.contract.frame_columns)}, coalesce(({read}) AND {asked}, FALSE) FROM typed"
    )
    own = f"file_id = {reading.file_id}"
    rows, good = connection.execute(
        f"SELECT count(*), count(*) FILTER (WHERE good) FROM {staged} WHERE {own}"
    ).fetchall()[0]
    if rows == good:
        return rows, []
    cells_of_row = ", ".join(_column(reading, position) for position in range(reading.columns))
    (blank,) = connection.execute(
        f"DELETE FROM {staged} WHERE {own} AND NOT good AND ordinal IN "
        f"(SELECT rowid FROM scratch.raw WHERE trim(concat({cells_of_row}), {text(EDGES)}) = '')"
    ).fetchall()[0]
    return rows - blank, _failures(connection, reading, cells)


def _asked(reading: Reading) -> list[Check]:
    """What the contract asks of the columns that the file has; a word only reads if it is known.

    The other columns hold their defaults.
    """
    present = {rule.field.name for rule in reading.rules if rule.position is not None}
    return [
        check
        for check in checks(reading.contract.feed)
        if (check.column in present or check.name in WHOLE_ROW) and check.name != "unknown_word"
    ]


def _cell(reading: Reading, rule: CellRule, offsets: frozenset[str]) -> CellSql:
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
        return moment_cell(rule, reading.marks, offsets=rule.field.name in offsets)
    return number_cell(rule, reading.marks)


def _with_offsets(connection: DuckDBPyConnection, reading: Reading) -> frozenset[str]:
    """The moment columns that may hold an offset in some cell."""
    hint = "coalesce(bool_or({0} LIKE '%Z%' OR {0} LIKE '%+%' OR {0} LIKE '%:%-%'), FALSE)"
    tests = {
        rule.field.name: hint.format(cell)
        for rule in reading.rules
        if rule.field.cell is Cell.MOMENT and rule.position is not None
        for cell in (_column(reading, rule.position),)
    }
    if not tests:
        return frozenset()
    found = connection.execute(f"SELECT {', '.join(tests.values())} FROM scratch.raw").fetchall()[0]
    return frozenset(column for column, has in zip(tests, found, strict=True) if has)


def _cut(reading: Reading, rule: CellRule) -> str:
    cell = f"coalesce({_trimmed(reading, _column(reading, rule.position))}, '')"
    if reading.joined:
        cell = f"replace({cell}, chr(31), chr(10))"
    return f"{cell} AS {raw(rule)}"


def _trimmed(reading: Reading, cell: str) -> str:
    """A cell without blanks at its ends; trimming is dear, so it is left out where the file has none."""
    return f"trim({cell}, {text(EDGES)})" if reading.edged else cell


def _typed(reading: Reading, cells: dict[str, CellSql], where: str) -> str:
    """The common table expressions that end in ``typed``: ordinal, raw texts, frame columns."""
    present = [rule for rule in reading.rules if rule.position is not None]
    line = ["c0 AS numbered"] if reading.numbered else []
    cut = ", ".join(["rowid AS ordinal", *line, *(_cut(reading, rule) for rule in present)])
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
    cells = [name(column) for column in reading.contract.key]
    there = " AND ".join(
        f"{cell} <> ''" if reading.contract.field(column).required else f"{cell} IS NOT NULL"
        for cell, column in zip(cells, reading.contract.key, strict=True)
    )
    return f"CASE WHEN {there} THEN md5_number(concat({', chr(31), '.join(cells)})) END"


def _stamp(reading: Reading) -> str:
    declared = "NULL" if reading.stamp is None else repr(reading.stamp)
    return f'CAST(coalesce("changed_at_pos", {declared}) AS DOUBLE)'


def _line(reading: Reading) -> str:
    return (
        "CAST(numbered AS INTEGER)"
        if reading.numbered
        else f"CAST(ordinal + {reading.first_line} AS INTEGER)"
    )


def _column(reading: Reading, position: int | None) -> str:
    """The raw column at a position of the file."""
    return f"c{(position or 0) + reading.numbered}"


def _load_conversions(connection: DuckDBPyConnection, reading: Reading, rule: CellRule) -> None:
    """Convert each distinct text of a column once, exactly, before any float."""
    import pandas as pd

    assert rule.conversion is not None  # noqa: S101 - tells the type checker
    cell = _trimmed(reading, _column(reading, rule.position))
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


def _failures(connection: DuckDBPyConnection, reading: Reading, cells: dict[str, CellSql]) -> list[Failure]:
    """Why each failing row fails: the first failing cell in the contract's order, whole-row checks last."""
    raws = {rule.field.name: raw(rule) for rule in reading.rules if rule.position is not None}
    tests: list[tuple[str, str, str, str]] = []
    for column, cell in cells.items():
        for number, (condition, reason, wanted) in enumerate(cell.reasons):
            if condition != "TRUE":
                late = name(f"why {column} {number}") if cell.joins else condition
                tests.append((f"({cell.failed}) AND {late}", column, reason.value, wanted))
            else:
                tests.append((cell.failed, column, reason.value, wanted))
        tests += [
            (f"NOT ({check.passes})", column, check.name, check.wanted)
            for check in _asked(reading)
            if check.column == column and check.name not in WHOLE_ROW
        ]
    tests += [
        (f"NOT ({check.passes})", check.column, check.name, check.wanted)
        for check in _asked(reading)
        if check.name in WHOLE_ROW
    ]
    which = " ".join(f"WHEN {condition} THEN {number}" for number, (condition, *_) in enumerate(tests))
    shown = " ".join(
        f"WHEN {number} THEN {raws[column]}" for number, (_, column, *_) in enumerate(tests) if column in raws
    )
    subject = raws.get(reading.contract.subject, "''")
    bad = f"(FROM {staged_table(reading.contract)} WHERE file_id = {reading.file_id} AND NOT good)"
    where = f"WHERE rowid IN (SELECT ordinal FROM {bad})"
    rows = connection.execute(
        f"{_typed(reading, cells, where)}, "
        f"judged AS (SELECT *, CASE {which} ELSE -1 END AS failure FROM typed) "
        f"SELECT bad.line, failure, left(CASE failure {shown} ELSE '' END, {MOST_SHOWN}), "
        f"left({subject}, {MOST_SHOWN}), bad.key "
        f"FROM judged JOIN {bad} bad USING (ordinal) ORDER BY bad.line"
    ).fetchall()
    return [_failure(tests, *row) for row in rows]


#: Checks over several cells of a row.
WHOLE_ROW = frozenset({"none_of_group_filled", "looks_like_inches", "ends_before_it_begins"})


def _failure(
    tests: list[tuple[str, str, str, str]], line: int, failure: int, found: str, subject: str, key: Any
) -> Failure:
    _, column, reason, wanted = tests[failure]
    return Failure(line, reason, column, found, wanted, subject, key)
