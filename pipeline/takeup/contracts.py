"""The published contract of each feed, read once and put to three uses.

``schemas/<feed>.json`` is a plain Frictionless Table Schema with extras under ``x-`` keys. From the record
read here come the :mod:`pandera` schema that guards every frame handed over, the SQL that names failing
cells in the store, and the table in the documentation; a test holds the first two to the same answer.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import TYPE_CHECKING, Any

from takeup.errors import InputUnusable, OurFault
from takeup.model import Feed
from takeup.resources import schemas_dir

if TYPE_CHECKING:
    import pandas as pd
    import pandera.pandas as pa

#: a moment with a time of day that its zone shows once
_WALL_CLOCK = r"T\d\d:\d\d:\d\d(?:\.\d+)?$"

#: Frames longer than this are checked for columns, types and key cells only: a full check of a million rows
#: costs about a second, and the store refused the failing cells by the same contract when they came in.
FULL_CHECK_ROWS = 50_000


class Cell(StrEnum):
    """How the text of a cell is read."""

    TEXT = "text"
    WORD = "word"
    WHOLE = "whole"
    DECIMAL = "decimal"
    DATE = "date"
    MOMENT = "moment"
    YES_NO = "yes_no"


@dataclass(frozen=True)
class Field:
    """One column of a contract."""

    name: str
    cell: Cell
    title: str
    description: str = ""
    required: bool = False
    minimum: float | None = None
    maximum: float | None = None
    words: tuple[str, ...] = ()
    max_length: int | None = None
    unit: str = ""
    default: str = ""
    synonyms: tuple[str, ...] = ()

    @property
    def is_number(self) -> bool:
        """Whether its values are numbers."""
        return self.cell in {Cell.WHOLE, Cell.DECIMAL}

    @property
    def frame_columns(self) -> tuple[str, ...]:
        """The columns that hold it in a frame: a moment has three, a date two, all else one."""
        extra = {Cell.MOMENT: ("_day", "_pos"), Cell.DATE: ("_day",)}.get(self.cell, ())
        return (self.name, *(self.name + ending for ending in extra))


@dataclass(frozen=True)
class Ratio:
    """A least value for one column over another; ``reason`` says what a smaller one betrays."""

    over: str
    per: str
    minimum: float
    reason: str


@dataclass(frozen=True)
class Span:
    """Two days or moments of a row, of which the second is never before the first; ``reason`` if it is.

    A day without a time of day is before or after other days only, and in the hour that clocks repeat, which
    stands with its offset, the order of wall clocks says nothing.
    """

    begins: str
    ends: str
    reason: str


@dataclass(frozen=True)
class Contract:
    """The contract of one feed.

    Attributes
    ----------
    event : str
        The column that dates a row; '' where rows have no date of their own.
    any_of : tuple of tuple of str
        One of these groups of columns must be filled; empty where nothing is asked.
    refers : dict of str
        Column to the feed whose rows must know its value.
    delivery : str
        ``whole`` or ``increment``.
    over : str
        A moment after which a row leaves a whole export by itself; '' where none does.
    silent : str
        A column that, left blank, makes its row say nothing: such a row counts as a duplicate. '' where none.
    passed_over : tuple of str
        Columns that a file may have for its readers: nothing in them is read, and nothing is said of it.
    """

    feed: Feed
    title: str
    description: str
    fields: tuple[Field, ...]
    key: tuple[str, ...]
    event: str
    any_of: tuple[tuple[str, ...], ...]
    refers: dict[str, Feed]
    delivery: str
    usual_delay_days: int
    ratios: tuple[Ratio, ...]
    spans: tuple[Span, ...]
    over: str
    silent: str
    passed_over: tuple[str, ...]

    def field(self, name: str) -> Field:
        """The field of that name."""
        return self._by_name()[name]

    def _by_name(self) -> dict[str, Field]:
        return {field.name: field for field in self.fields}

    @property
    def event_day(self) -> str:
        """The column that holds the event's day number; '' where rows have no date of their own."""
        return f"{self.event}_day" if self.event else ""

    @property
    def subject(self) -> str:
        """The column that names what a row is about, for people: strand before machine before the key."""
        names = self._by_name()
        return next((name for name in ("strand", "machine") if name in names), self.key[0])

    @property
    def frame_columns(self) -> tuple[str, ...]:
        """The columns of a frame of this feed, in the contract's order."""
        return frame_columns(self.fields)


def frame_columns(fields: Iterable[Field]) -> tuple[str, ...]:
    """The columns that hold some fields in a frame, in order."""
    return tuple(column for field in fields for column in field.frame_columns)


@cache
def contract(feed: Feed | str) -> Contract:
    """The contract of a feed.

    Raises
    ------
    OurFault
        If its schema file does not read.
    """
    path = schemas_dir() / f"{Feed(feed).value}.json"
    try:
        schema = json.loads(path.read_text(encoding="utf-8"))
        return Contract(
            feed=Feed(schema["name"]),
            title=schema["title"],
            description=schema.get("description", ""),
            fields=tuple(_field(item) for item in schema["fields"]),
            key=tuple(schema["primaryKey"]),
            event=schema.get("x-event", ""),
            any_of=tuple(tuple(group) for group in schema.get("x-any-of", ())),
            refers={column: Feed(name) for column, name in schema.get("x-refers", {}).items()},
            delivery=schema["x-delivery"],
            usual_delay_days=schema["x-usual-delay-days"],
            ratios=tuple(Ratio(**item) for item in schema.get("x-ratios", ())),
            spans=tuple(Span(**item) for item in schema.get("x-spans", ())),
            over=schema.get("x-over", ""),
            silent=schema.get("x-silent-when-blank", ""),
            passed_over=tuple(schema.get("x-passed-over", ())),
        )
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise OurFault(
            f"the contract does not read: {problem}", where=str(path), todo="Install takeup again."
        ) from problem


def _field(item: dict[str, Any]) -> Field:
    constraints = item.get("constraints", {})
    return Field(
        name=item["name"],
        cell=Cell(item["x-cell"]),
        title=item["title"],
        description=item.get("description", ""),
        required=constraints.get("required", False),
        minimum=constraints.get("minimum"),
        maximum=constraints.get("maximum"),
        words=tuple(constraints.get("enum", ())),
        max_length=constraints.get("maxLength"),
        unit=item.get("x-unit", ""),
        default=str(item.get("x-default", "")),
        synonyms=tuple(item.get("x-synonyms", ())),
    )


@dataclass(frozen=True)
class Check:
    """One thing a contract asks of a cell: ``passes`` is SQL over the columns of a frame of the feed."""

    column: str
    name: str
    wanted: str
    passes: str


@cache
def checks(feed: Feed | str) -> tuple[Check, ...]:
    """Everything the contract asks of single rows, column by column in the contract's order.

    A retracted row (``withdrawn`` is *yes*) is asked for its key only.
    """
    found: list[Check] = []
    rules = contract(feed)
    for field in rules.fields:
        kept = "\"withdrawn\" = 'yes' OR " if field.name not in rules.key else ""
        name = _quoted(field.name)
        if field.required:
            filled = f"{name} IS NOT NULL" if field.is_number or field.cell is Cell.DATE else f"{name} <> ''"
            found.append(Check(field.name, "required_blank", "a value", kept + filled))
        if field.words:
            listed = ", ".join(_text(word) for word in ("", *field.words))
            found.append(Check(field.name, "unknown_word", _one_of(field.words), f"{name} IN ({listed})"))
        if field.minimum is not None:
            wanted = f"{field.minimum} or more"
            found.append(
                Check(field.name, "below_minimum", wanted, f"({name} >= {field.minimum}) IS NOT FALSE")
            )
        if field.maximum is not None:
            wanted = f"{field.maximum} or less"
            found.append(
                Check(field.name, "above_maximum", wanted, f"({name} <= {field.maximum}) IS NOT FALSE")
            )
        if field.max_length is not None:
            wanted = f"at most {field.max_length} characters"
            found.append(Check(field.name, "too_long", wanted, f"length({name}) <= {field.max_length}"))
    if rules.any_of:
        passes = " OR ".join(
            ["\"withdrawn\" = 'yes'"]
            + [f"({' AND '.join(_filled(rules.field(name)) for name in group)})" for group in rules.any_of]
        )
        wanted = " or ".join(" with ".join(group) for group in rules.any_of)
        found.append(Check(rules.any_of[0][0], "none_of_group_filled", wanted, passes))
    for ratio in rules.ratios:
        passes = f"({_quoted(ratio.over)} >= {ratio.minimum} * {_quoted(ratio.per)}) IS NOT FALSE"
        wanted = f"{ratio.over} at least {ratio.minimum} times {ratio.per}"
        found.append(Check(ratio.over, ratio.reason, wanted, passes))
    for span in rules.spans:
        wanted = f"{span.ends} not before {span.begins}"
        found.append(Check(span.ends, span.reason, wanted, _span_sql(rules, span)))
    return tuple(found)


def _span_sql(rules: Contract, span: Span) -> str:
    days = f"{_quoted(span.ends + '_day')} >= {_quoted(span.begins + '_day')}"
    if rules.field(span.ends).cell is Cell.MOMENT and rules.field(span.begins).cell is Cell.MOMENT:
        both = " AND ".join(
            f"regexp_matches({_quoted(column)}, {_text(_WALL_CLOCK)})" for column in (span.begins, span.ends)
        )
        clocks = f"{_quoted(span.ends + '_pos')} >= {_quoted(span.begins + '_pos')}"
        days = f"CASE WHEN {both} THEN {clocks} ELSE {days} END"
    return f"\"withdrawn\" = 'yes' OR ({days}) IS NOT FALSE"


def check_sql(feed: Feed | str, table: str) -> str:
    """A query for the failing cells of a table of this feed: ``row_id, column_name, check_name``.

    Parameters
    ----------
    feed : Feed or str
    table : str
        A table with ``row_id`` and the feed's frame columns, already quoted where it needs to be.

    Returns
    -------
    str
        Ordered by row, column and check.
    """
    parts = [
        f"SELECT row_id, {_text(check.column)} AS column_name, {_text(check.name)} AS check_name "
        f"FROM {table} WHERE NOT ({check.passes})"
        for check in checks(feed)
    ]
    return " UNION ALL ".join(parts) + " ORDER BY row_id, column_name, check_name"


def _filled(field: Field) -> str:
    name = _quoted(field.name)
    return f"{name} IS NOT NULL" if field.is_number or field.cell is Cell.DATE else f"{name} <> ''"


def _one_of(words: tuple[str, ...]) -> str:
    return "one of " + ", ".join(words)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _text(value: str) -> str:
    return "'" + value.replace("'", "''") + "'"


@cache
def pandera_schema(feed: Feed | str, *, full: bool = True) -> pa.DataFrameSchema:
    """The schema of a frame of this feed.

    Parameters
    ----------
    feed : Feed or str
    full : bool
        False leaves out what is asked of values, and keeps columns, types and what must be filled.

    Returns
    -------
    pandera.pandas.DataFrameSchema
        Strict about nothing but the contract's own columns; further columns may stand beside them.
    """
    import pandera.pandas as pa

    rules = contract(feed)
    columns: dict[str, Any] = {}
    for field in rules.fields:
        for column in field.frame_columns:
            columns[column] = _pandera_column(field, column, rules.key, full=full)
    whole_row = [_pandera_any_of(rules)] if rules.any_of and full else []
    whole_row += [_pandera_ratio(ratio) for ratio in rules.ratios if full]
    whole_row += [_pandera_span(rules, span) for span in rules.spans if full]
    return pa.DataFrameSchema(columns, checks=whole_row, name=rules.feed.value)


def _pandera_column(field: Field, column: str, key: tuple[str, ...], *, full: bool) -> pa.Column:
    import pandera.pandas as pa

    if column != field.name or field.is_number:
        whole = column.endswith("_day") and field.cell is Cell.MOMENT and field.required
        found = _pandera_number_checks(field) if full and field.is_number else []
        return pa.Column("int64" if whole else "float64", found, nullable=not whole, required=True)
    found = []
    blank_is_none = field.cell is Cell.DATE
    if field.required and not blank_is_none and (full or field.name in key):
        found.append(pa.Check(lambda cells: cells != "", name="required_blank"))
    if field.words and full:
        allowed = frozenset(("", *field.words))
        found.append(pa.Check(lambda cells: cells.isin(allowed), name="unknown_word"))
    if field.max_length is not None and full:
        longest = field.max_length
        found.append(pa.Check(lambda cells: cells.str.len() <= longest, name="too_long"))
    return pa.Column("object", found, nullable=blank_is_none and not field.required)


def _pandera_number_checks(field: Field) -> list[pa.Check]:
    import pandera.pandas as pa

    found = []
    if field.required:
        found.append(pa.Check(lambda cells: cells.notna(), name="required_blank", ignore_na=False))
    if field.minimum is not None:
        low = field.minimum
        found.append(pa.Check(lambda cells: cells >= low, name="below_minimum"))
    if field.maximum is not None:
        high = field.maximum
        found.append(pa.Check(lambda cells: cells <= high, name="above_maximum"))
    return found


def _pandera_any_of(rules: Contract) -> pa.Check:
    import pandas as pd
    import pandera.pandas as pa

    def one_group_filled(frame: pd.DataFrame) -> pd.Series:
        some = pd.Series(False, index=frame.index)
        for group in rules.any_of:
            filled = pd.Series(True, index=frame.index)
            for name in group:
                filled &= frame[name].notna() & (frame[name] != "")
            some |= filled
        return some

    return pa.Check(one_group_filled, name="none_of_group_filled")


def _pandera_ratio(ratio: Ratio) -> pa.Check:
    import pandera.pandas as pa

    def large_enough(frame: pd.DataFrame) -> pd.Series:
        unknown = frame[ratio.over].isna() | frame[ratio.per].isna()
        return unknown | (frame[ratio.over] >= ratio.minimum * frame[ratio.per])

    return pa.Check(large_enough, name=ratio.reason)


def _pandera_span(rules: Contract, span: Span) -> pa.Check:
    import pandera.pandas as pa

    moments = all(rules.field(name).cell is Cell.MOMENT for name in (span.begins, span.ends))

    def in_order(frame: pd.DataFrame) -> pd.Series:
        wrong = frame[f"{span.ends}_day"] < frame[f"{span.begins}_day"]
        if moments:
            both = frame[span.begins].str.contains(_WALL_CLOCK) & frame[span.ends].str.contains(_WALL_CLOCK)
            wrong = wrong.mask(both, frame[f"{span.ends}_pos"] < frame[f"{span.begins}_pos"])
        return ~wrong

    return pa.Check(in_order, name=span.reason)


def failing_cells(frame: pd.DataFrame, feed: Feed | str) -> set[tuple[int, str, str]]:
    """The failing cells of a frame by :mod:`pandera`, as :func:`check_sql` names them.

    Parameters
    ----------
    frame : DataFrame
        With ``row_id`` and the feed's frame columns.
    feed : Feed or str

    Returns
    -------
    set of (row id, column, check)
    """
    import pandera.errors

    rules = contract(feed)
    retracted = frame["withdrawn"] == "yes"
    found: set[tuple[int, str, str]] = set()
    first = {"none_of_group_filled": rules.any_of[0][0]} if rules.any_of else {}
    first |= {ratio.reason: ratio.over for ratio in rules.ratios}
    first |= {span.reason: span.ends for span in rules.spans}
    for part, only_key in ((frame[~retracted], False), (frame[retracted], True)):
        rows = part.reset_index(drop=True)
        try:
            pandera_schema(feed).validate(rows, lazy=True)
        except pandera.errors.SchemaErrors as failed:
            for case in failed.failure_cases.itertuples():
                if case.index is None or case.index != case.index:  # a column as a whole, not a cell
                    raise OurFault(f"column {case.column} {case.check}", where=rules.feed.value) from failed
                column = first.get(case.check, case.column)
                name = "required_blank" if case.check == "not_nullable" else case.check
                if only_key and name in {"none_of_group_filled", *(span.reason for span in rules.spans)}:
                    continue
                if only_key and name == "required_blank" and column not in rules.key:
                    continue
                found.add((int(rows["row_id"][int(case.index)]), column, name))
    return found


def validate(frame: pd.DataFrame, feed: Feed | str, fields: Sequence[Field] | None = None) -> pd.DataFrame:
    """The frame itself, when it keeps its contract.

    Parameters
    ----------
    frame : DataFrame
        The feed's frame columns, perhaps with more; index 0..n.
    feed : Feed or str
    fields : sequence of Field, optional
        Only these are there; checks over several columns are then left out.

    Raises
    ------
    InputUnusable
        If columns, types or values are not the contract's; the first ten failures are named.
    """
    import pandera.errors
    import pandera.pandas as pa

    schema = pandera_schema(feed, full=len(frame) <= FULL_CHECK_ROWS)
    if fields is not None and len(fields) < len(contract(feed).fields):
        kept = frame_columns(fields)
        schema = pa.DataFrameSchema(
            {name: column for name, column in schema.columns.items() if name in kept}, name=schema.name
        )
    try:
        return schema.validate(frame, lazy=True, inplace=True)
    except pandera.errors.SchemaErrors as failed:
        cases = failed.failure_cases.drop_duplicates(["column", "check", "index"]).head(10)
        told = "; ".join(
            f"{case.column}: {case.check}, found {case.failure_case!r}" for case in cases.itertuples()
        )
        raise InputUnusable(
            f"rows break their contract: {told}",
            where=contract(feed).feed.value,
            why="What breaks its contract must not reach a calculation.",
        ) from failed


def documentation(feed: Feed | str) -> str:
    """The contract as a Markdown table."""
    rules = contract(feed)
    lines = [
        f"### {rules.title} (`{rules.feed.value}`)",
        "",
        f"{rules.description} Delivered as: {rules.delivery}. Key: {', '.join(rules.key)}.",
        "",
        "| column | what | read as | unit | asked |",
        "|---|---|---|---|---|",
    ]
    for field in rules.fields:
        asked = [check.wanted for check in checks(feed) if check.column == field.name]
        if field.default:
            asked.append(f"blank means {field.default}")
        title = field.title + (f". {field.description}" if field.description else "")
        lines.append(
            f"| `{field.name}` | {title} | {field.cell.value.replace('_', ' or ')} "
            f"| {field.unit if field.unit != '1' else ''} | {'; '.join(asked)} |"
        )
    if rules.passed_over:
        lines += ["", f"Passed over: {', '.join(f'`{name}`' for name in rules.passed_over)}."]
    return "\n".join(lines) + "\n"
