"""The SQL that reads one cell: one strict pattern a type, a value where it matches, a reason where not.

Text is never cast bare: DuckDB reads ``'1.7'`` as the whole number 2, ``'0x1F'`` as 31 and ``'epoch'`` as a
date. A pattern decides first, the cast only ever sees what the pattern let through.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from takeup.contracts import Cell
from takeup.store.quoting import name, text
from takeup.store.reading import CellRule, Marks
from takeup.store.reasons import Refusal

_SEPARATED = {"ymd": r"{y}{s}\d\d?{s}\d\d?", "dmy": r"\d\d?{s}\d\d?{s}{y}"}
_MIDNIGHT = r"(?:[T ]0?0:00(?::00(?:\.0{1,6})?)?)?"
_HALF = r"[ \x{a0}\x{202f}]?[{half}]\.?[Mm]\.?"
_MIDNIGHT_OF_TWELVE = r"(?:[T ]12:00(?::00(?:\.0{1,6})?)?" + _HALF.replace("{half}", "Aa") + ")?"
#: A time of day with AM or PM.
TWELVE_HOURS = r"[T ](?:0?[1-9]|1[0-2]):[0-5]\d(?::[0-5]\d(?:\.\d{1,6})?)?" + _HALF.replace("{half}", "AaPp")
#: What to do about one that the source did not declare.
DECLARE_TWELVE = 'a time of 24 hours, or clock = "12" in the settings of the source'


@dataclass(frozen=True)
class Step:
    """Columns that have to be there before others can be computed, and the tables they need."""

    columns: tuple[tuple[str, str], ...]
    joins: tuple[str, ...] = ()


@dataclass(frozen=True)
class CellSql:
    """The SQL of one cell, over its trimmed text ``raw``.

    Attributes
    ----------
    values : tuple of (column, expression)
        The frame columns it fills; NULL where the text does not read.
    failed : str
        Whether it does not read.
    reasons : tuple of (condition, reason, wanted)
        Which reason, when it does not; the last one's condition is ``TRUE``.
    steps : tuple of Step
        What has to be computed earlier, step by step.
    joins : tuple of str
        Tables the values need.
    """

    values: tuple[tuple[str, str], ...]
    failed: str = "FALSE"
    reasons: tuple[tuple[str, Refusal, str], ...] = ()
    steps: tuple[Step, ...] = ()
    joins: tuple[str, ...] = ()


def raw(rule: CellRule) -> str:
    """The quoted column that holds a rule's trimmed text."""
    return name("raw " + rule.field.name)


def matches(cell: str, pattern: str) -> str:
    """Whether the whole of a text matches a pattern."""
    return f"regexp_full_match({cell}, {text(pattern)})"


def defaulted(rule: CellRule) -> CellSql:
    """The default of a column that the file lacks."""
    column, default = rule.field.name, rule.field.default
    if rule.field.is_number:
        return CellSql(((column, f"CAST({default or 'NULL'} AS DOUBLE)"),))
    if rule.field.cell is Cell.DATE:
        return CellSql(((column, "CAST(NULL AS VARCHAR)"), (column + "_day", "CAST(NULL AS INTEGER)")))
    if rule.field.cell is Cell.MOMENT:
        return CellSql(
            (
                (column, "''"),
                (column + "_day", "CAST(NULL AS INTEGER)"),
                (column + "_pos", "CAST(NULL AS DOUBLE)"),
            )
        )
    return CellSql(((column, text(default)),))


def text_cell(rule: CellRule) -> CellSql:
    """A text stays what it is, whatever it looks like."""
    cell = raw(rule)
    if rule.words:
        cell = _mapped(cell, rule.words, cell)
    if rule.field.default:
        cell = f"CASE WHEN {cell} = '' THEN {text(rule.field.default)} ELSE {cell} END"
    return CellSql(((rule.field.name, cell),))


def word_cell(rule: CellRule) -> CellSql:
    """A word of the contract or the site, in any case; blanks and hyphens count as underscores."""
    words, cell = rule.field.words, raw(rule)
    known = {plain_word(word): word for word in words}
    known |= {plain_word(theirs): ours for theirs, ours in rule.words.items()}
    value = _mapped(f"translate(lower({cell}), ' -', '__')", known, "NULL")
    mapped = {plain_word(theirs) for theirs in rule.words}
    exact = {word: word for word in words if plain_word(word) not in mapped}
    value = _mapped(cell, {"": rule.field.default} | exact, value)  # nearly every cell stops here
    yes_no = rule.field.cell is Cell.YES_NO
    reason = Refusal.NOT_YES_OR_NO if yes_no else Refusal.UNKNOWN_WORD
    return CellSql(
        ((rule.field.name, value),),
        f"{name(rule.field.name)} IS NULL",
        (("TRUE", reason, "one of " + ", ".join(words)),),
    )


def number_cell(rule: CellRule, marks: Marks) -> CellSql:
    """A number in the source's own marks; a number in other marks is ambiguous, never guessed."""
    cell, column = raw(rule), rule.field.name
    pattern = number_pattern(marks, whole=rule.field.cell is Cell.WHOLE)
    if rule.conversion is None:
        value = f"CASE WHEN {matches(cell, pattern)} THEN CAST({plain_number(cell, marks)} AS DOUBLE) END"
    else:
        value = f"{name('map ' + column)}.value"
    if rule.field.default:
        value = f"CASE WHEN {cell} = '' THEN CAST({rule.field.default} AS DOUBLE) ELSE {value} END"
    reasons: list[tuple[str, Refusal, str]] = []
    if rule.field.cell is Cell.WHOLE:
        not_whole = matches(cell, number_pattern(marks, whole=False))
        reasons.append((not_whole, Refusal.NOT_WHOLE, "a whole number"))
    wanted = f"a number with decimal {'comma' if marks.decimal == ',' else 'point'}"
    if marks.grouping:
        wanted += " and groups of three"
    other_marks = matches(cell, r"[+-]?\d{1,3}(?:[.,’' \x{a0}\x{202f}]\d{3})*(?:[.,]\d+)?|[+-]?\d+[.,]\d+")
    reasons.append((other_marks, Refusal.AMBIGUOUS_NUMBER, wanted))
    reasons.append(("TRUE", Refusal.NOT_A_NUMBER, wanted))
    joins = (
        ()
        if rule.conversion is None
        else (f"LEFT JOIN scratch.{name('map ' + column)} ON {cell} = {name('map ' + column)}.text",)
    )
    return CellSql(
        ((column, value),), f"({name(column)} IS NULL AND {cell} <> '')", tuple(reasons), joins=joins
    )


def number_pattern(marks: Marks, *, whole: bool) -> str:
    """The pattern of a number: at most 15 digits before the mark and 15 behind, no exponent."""
    point = r"\." if marks.decimal == "." else ","
    before = r"\d{1,15}"
    if marks.grouping:
        group = r"[ \x{a0}\x{202f}]" if marks.grouping == " " else f"[{marks.grouping}]"
        before = rf"(?:\d{{1,15}}|\d{{1,3}}(?:{group}\d{{3}}){{1,4}})"
    behind = rf"{point}0{{1,15}}" if whole else rf"{point}\d{{1,15}}"
    bare = "" if whole else rf"|{point}\d{{1,15}}"
    return rf"[+-]?(?:{before}(?:{behind})?{bare})"


def plain_number(cell: str, marks: Marks) -> str:
    """The text of a number with a decimal point and no groups."""
    if marks.grouping == " ":
        cell = f"translate({cell}, ' \u00a0\u202f', '')"
    elif marks.grouping:
        cell = f"replace({cell}, {text(marks.grouping)}, '')"
    return f"replace({cell}, ',', '.')" if marks.decimal == "," else cell


def day_pattern(date_order: str, year: str = r"(?:19|20)\d\d") -> str:
    """The pattern of a day: the source's order, one separator throughout; year first also without."""
    order = "ymd" if date_order == "ymd" else "dmy"
    kind = _SEPARATED[order].replace("{y}", year)
    kinds = [kind.replace("{s}", separator) for separator in ("-", "/", r"\.")]
    if order == "ymd":
        kinds.append(year + r"\d{4}")
    return "(?:" + "|".join(kinds) + ")"


def iso_day(cell: str, date_order: str) -> str:
    """A matched day or moment with its day as year-month-day."""
    if date_order == "ymd":
        swapped = f"regexp_replace({cell}, '^(\\d{{4}})[./]?(\\d\\d?)[./]?(\\d\\d?)', '\\1-\\2-\\3')"
        return f"CASE WHEN {cell} LIKE '____-%' THEN {cell} ELSE {swapped} END"
    order = r"\3-\2-\1" if date_order == "dmy" else r"\3-\1-\2"
    return f"regexp_replace({cell}, '^(\\d\\d?)[./-](\\d\\d?)[./-](\\d{{4}})', '{order}')"


def date_cell(rule: CellRule, marks: Marks) -> CellSql:
    """A day; a time of midnight behind it says nothing and is let through."""
    cell, column = raw(rule), rule.field.name
    of_twelve = marks.clock == "12"
    pattern = day_pattern(marks.date_order) + (_MIDNIGHT_OF_TWELVE if of_twelve else _MIDNIGHT)
    day = name("day " + column)
    written = f"regexp_extract({cell}, '^[^T ]+')" if of_twelve else cell
    parsed = (
        f"CASE WHEN {matches(cell, pattern)} "
        f"THEN CAST(try_cast({iso_day(written, marks.date_order)} AS TIMESTAMP) AS DATE) END"
    )
    return CellSql(
        (
            (column, f"CAST({day} AS VARCHAR)"),
            (column + "_day", f"CAST({day} - DATE '1970-01-01' AS INTEGER)"),
        ),
        f"({name(column)} IS NULL AND {cell} <> '')",
        (
            *undeclared_twelve(cell, marks),
            (
                f"NOT {matches(cell, pattern)}",
                Refusal.NOT_A_DATE,
                f"a day, {order_of(marks)}, from 1900 to 2099",
            ),
            ("TRUE", Refusal.NO_SUCH_DAY, "a day of the calendar"),
        ),
        steps=(Step(((f"day {column}", parsed),)),),
    )


def undeclared_twelve(cell: str, marks: Marks) -> tuple[tuple[str, Refusal, str], ...]:
    """The reason for a time with AM or PM where the source did not declare such a clock."""
    if marks.clock == "12":
        return ()
    day = day_pattern(marks.date_order) + TWELVE_HOURS
    return ((matches(cell, day), Refusal.TWELVE_HOUR_CLOCK, DECLARE_TWELVE),)


def plain_word(word: str) -> str:
    """A word as it is compared.

    Examples
    --------
    >>> plain_word("As-found")
    'as_found'
    """
    return word.strip().lower().replace(" ", "_").replace("-", "_")


def _mapped(cell: str, words: Mapping[str, str], otherwise: str) -> str:
    cases = " ".join(f"WHEN {text(theirs)} THEN {text(ours)}" for theirs, ours in words.items())
    return f"CASE {cell} {cases} ELSE {otherwise} END"


def order_of(marks: Marks) -> str:
    """A source's order of dates, and its clock of twelve hours, in words."""
    order = {"ymd": "year-month-day", "dmy": "day-month-year", "mdy": "month-day-year"}[marks.date_order]
    return f"{order}, a time of day with AM or PM" if marks.clock == "12" else order
