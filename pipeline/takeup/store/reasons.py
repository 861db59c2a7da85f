"""Why a row is kept out at intake. The sentences are templates; a test says that every code has one."""

from __future__ import annotations

from enum import StrEnum


class Refusal(StrEnum):
    """What the row itself, its contract or its night decides."""

    UNREADABLE_QUOTE = "unreadable_quote"
    WRONG_CELL_COUNT = "wrong_cell_count"
    NUL_BYTE = "nul_byte"
    CONTROL_CHARACTER = "control_character"
    NOT_IN_ENCODING = "not_in_encoding"
    LINE_TOO_LONG = "line_too_long"
    REQUIRED_BLANK = "required_blank"
    NOT_A_NUMBER = "not_a_number"
    AMBIGUOUS_NUMBER = "ambiguous_number"
    NOT_WHOLE = "not_whole"
    NOT_A_DATE = "not_a_date"
    NO_SUCH_DAY = "no_such_day"
    NOT_A_MOMENT = "not_a_moment"
    TWELVE_HOUR_CLOCK = "twelve_hour_clock"
    NO_SUCH_TIME = "no_such_time"
    AMBIGUOUS_TIME = "ambiguous_time"
    UNKNOWN_WORD = "unknown_word"
    NOT_YES_OR_NO = "not_yes_or_no"
    BELOW_MINIMUM = "below_minimum"
    ABOVE_MAXIMUM = "above_maximum"
    TOO_LONG = "too_long"
    NONE_OF_GROUP_FILLED = "none_of_group_filled"
    LOOKS_LIKE_INCHES = "looks_like_inches"
    ENDS_BEFORE_IT_BEGINS = "ends_before_it_begins"
    CONTRADICTS_ITSELF = "contradicts_itself"


class FileRefusal(StrEnum):
    """Why nothing of a file was used; its rows are counted as refused and stand in the archive."""

    NOT_UNPACKED = "not_unpacked"
    NO_TEXT = "no_text"
    WRONG_ENCODING = "wrong_encoding"
    NO_HEADER = "no_header"
    WRONG_DELIMITER = "wrong_delimiter"
    COLUMN_MISSING = "column_missing"
    COLUMN_TWICE = "column_twice"
    NAME_WITHOUT_STAMP = "name_without_stamp"
    OLDER_EXPORT = "older_export"
    TOO_MANY_MISSING = "too_many_missing"


class Waiting(StrEnum):
    """What a good row waits for."""

    STRAND_UNKNOWN = "strand_unknown"
    MACHINE_UNKNOWN = "machine_unknown"
    DATED_LATER = "dated_later"
