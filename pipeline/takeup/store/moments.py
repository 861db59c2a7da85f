"""The SQL that reads a moment: a day stays a day, a time becomes the site's wall clock.

A wall-clock time that the zone's turns make nonexistent or double is refused; written with its offset it is
not in doubt, and in the doubled hour keeps the offset in its text, so that its two passes stay two moments.
"""

from __future__ import annotations

from takeup.store.cells import (
    TWELVE_HOURS,
    CellSql,
    Step,
    day_pattern,
    iso_day,
    matches,
    order_of,
    raw,
    undeclared_twelve,
)
from takeup.store.quoting import name, text
from takeup.store.reading import CellRule, Marks
from takeup.store.reasons import Refusal
from takeup.store.zones import days_table, turns_table

TIME = r"[T ](?:[01]?\d|2[0-3]):[0-5]\d(?::[0-5]\d(?:\.\d{1,6})?)?"
#: Years that the tables of time zones cover.
YEAR = r"(?:19[7-9]|20\d)\d"
OFFSET = r" ?(?:Z|[+-](?:0\d|1[0-4]):?[0-5]\d)"


def moment_cell(rule: CellRule, marks: Marks, *, offsets: bool) -> CellSql:
    """A day or a moment, in the source's zone or with its offset, as wall clock of the site.

    Parameters
    ----------
    rule : CellRule
    marks : Marks
    offsets : bool
        Whether any cell of the column has an offset; without, and with one zone, nothing is converted.
    """
    cell, column = raw(rule), rule.field.name
    before: tuple[Step, ...] = ()
    if marks.clock == "12":
        before = (Step(((f"wall {column}", _of_24_hours(cell)),)),)
        cell = name("wall " + column)
    pattern = f"{day_pattern(marks.date_order, YEAR)}(?:{TIME}(?:{OFFSET})?)?"
    clock, timed = name("clock " + column), name("timed " + column)
    bare = f"regexp_replace({cell}, {text(OFFSET + '$')}, '')" if offsets else cell
    read = f"try_cast({iso_day(bare, marks.date_order)} AS TIMESTAMP)"
    first = Step(
        (
            ("clock " + column, f"CASE WHEN {matches(cell, pattern)} THEN {read} END"),
            ("timed " + column, f"contains({cell}, ':')"),
            *((("shift " + column, _shift(cell)),) if offsets else ()),
        )
    )
    converts = offsets or marks.zone != marks.site_zone
    shift = name("shift " + column) if offsets else "NULL"
    steps, site = (
        (_converted(column, marks, shift, first), name("site " + column)) if converts else ((first,), clock)
    )
    turn = name("turn " + column)
    doubt = f"({timed} AND {clock} >= {turn}.lo AND {clock} < {turn}.hi AND {shift} IS NULL)"
    joins = [f"LEFT JOIN {turns_table(marks.zone)} {turn} ON {turn}.day = CAST({clock} AS DATE)"]
    written = f"replace(CAST({site} AS VARCHAR), ' ', 'T')"
    day = f"CAST(CAST({clock} AS DATE) AS VARCHAR)"
    if not converts and marks.date_order == "ymd":  # nearly every cell is written as we write it
        written = f"CASE WHEN {cell} LIKE '____-__-__T__:__:__' THEN {cell} ELSE {written} END"
        day = f"CASE WHEN {cell} LIKE '____-__-__' THEN {cell} ELSE {day} END"
    if offsets:
        fold = name("fold " + column)
        joins.append(
            f"LEFT JOIN {turns_table(marks.site_zone)} {fold} ON {fold}.day = CAST({site} AS DATE) "
            f"AND NOT {fold}.gap AND {site} >= {fold}.lo AND {site} < {fold}.hi"
        )
        written += (
            f" || CASE WHEN {fold}.day IS NULL THEN '' ELSE {_offset_text(name('utc ' + column), site)} END"
        )
    good = f"({clock} IS NOT NULL AND {doubt} IS NOT TRUE)"
    position = f"CASE WHEN {timed} THEN epoch_us({site}) / 86400000000.0 ELSE {_day(clock)} + 0.5 END"
    value = f"CASE WHEN {timed} THEN {written} ELSE {day} END"
    return CellSql(
        values=(
            (column, f"CASE WHEN {cell} = '' THEN '' WHEN {good} THEN {value} END"),
            (column + "_day", f"CASE WHEN {good} THEN {_day(site)} END"),
            (column + "_pos", f"CASE WHEN {good} THEN {position} END"),
        ),
        failed=f"{name(column)} IS NULL",
        reasons=(
            *undeclared_twelve(cell, marks),
            (
                f"NOT {matches(cell, pattern)}",
                Refusal.NOT_A_MOMENT,
                f"a day or a moment, {order_of(marks)}, from 1970 to 2099",
            ),
            (f"{clock} IS NULL", Refusal.NO_SUCH_DAY, "a day of the calendar"),
            (f"{turn}.gap", Refusal.NO_SUCH_TIME, f"a time that exists in {marks.zone}"),
            ("TRUE", Refusal.AMBIGUOUS_TIME, f"a time that exists once in {marks.zone}, or its offset"),
        ),
        steps=(*before, *steps),
        joins=tuple(joins),
    )


def _of_24_hours(cell: str) -> str:
    """The text of a moment with AM or PM as one of 24 hours; a time without either reads as no moment.

    12 AM is midnight and 12 PM noon.
    """
    twelve = f"[^T ]+{TWELVE_HOURS}(?:{OFFSET})?"
    hour = f"try_cast(regexp_extract({cell}, '[T ](\\d\\d?):', 1) AS INTEGER) % 12"
    half = f"CASE WHEN regexp_matches({cell}, '[Pp]\\.?[Mm]') THEN 12 ELSE 0 END"
    rest = f"regexp_extract({cell}, '(:[0-5]\\d(?::[0-5]\\d(?:\\.\\d+)?)?)[^:]*?[AaPp]', 1)"
    offset = f"regexp_extract({cell}, '[Mm]\\.?(.*)$', 1)"
    clock = f"lpad(CAST({hour} + {half} AS VARCHAR), 2, '0') || {rest}"
    read = f"regexp_extract({cell}, '^[^T ]+') || 'T' || {clock} || {offset}"
    return (
        f"CASE WHEN {matches(cell, twelve)} THEN {read} WHEN contains({cell}, ':') THEN '?' ELSE {cell} END"
    )


def _converted(column: str, marks: Marks, shift: str, first: Step) -> tuple[Step, ...]:
    """Two further steps: from the source's wall clock to UTC, from UTC to the site's wall clock."""
    clock, timed = name("clock " + column), name("timed " + column)
    utc = name("utc " + column)
    there, here = name("there " + column), name("here " + column)
    offset = f"CASE WHEN {clock} < {there}.turn THEN {there}.before ELSE {there}.after END"
    that_day = f"{there}.clock = 'local' AND {there}.day = CAST({clock} AS DATE)"
    to_utc = Step(
        (("utc " + column, f"{clock} - to_seconds(coalesce({shift}, {offset}))"),),
        (f"LEFT JOIN {days_table(marks.zone)} {there} ON {that_day}",),
    )
    local = f"CASE WHEN {utc} < {here}.turn THEN {here}.before ELSE {here}.after END"
    that_day = f"{here}.clock = 'utc' AND {here}.day = CAST({utc} AS DATE)"
    to_site = Step(
        (("site " + column, f"CASE WHEN {timed} THEN {utc} + to_seconds({local}) ELSE {clock} END"),),
        (f"LEFT JOIN {days_table(marks.site_zone)} {here} ON {that_day}",),
    )
    return first, to_utc, to_site


def _shift(cell: str) -> str:
    """Seconds east of UTC that the text itself states; NULL where it states none."""
    parts = [f"regexp_extract({cell}, '([+-])(\\d\\d):?(\\d\\d)$', {group})" for group in (1, 2, 3)]
    seconds = f"(CAST({parts[1]} AS INTEGER) * 3600 + CAST({parts[2]} AS INTEGER) * 60)"
    stated = f"regexp_matches({cell}, ':\\d\\d(?:\\.\\d+)? ?[+-]\\d\\d:?\\d\\d$')"
    return (
        f"CASE WHEN {cell} LIKE '%Z' THEN 0 "
        f"WHEN {stated} THEN {seconds} * CASE WHEN {parts[0]} = '-' THEN -1 ELSE 1 END END"
    )


def _offset_text(utc: str, site: str) -> str:
    minutes = f"CAST((epoch_us({site}) - epoch_us({utc})) // 60000000 AS INTEGER)"
    return (
        f"(CASE WHEN {minutes} < 0 THEN '-' ELSE '+' END "
        f"|| lpad(CAST(abs({minutes}) // 60 AS VARCHAR), 2, '0') "
        f"|| ':' || lpad(CAST(abs({minutes}) % 60 AS VARCHAR), 2, '0'))"
    )


def _day(moment: str) -> str:
    return f"CAST(CAST({moment} AS DATE) - DATE '1970-01-01' AS INTEGER)"
