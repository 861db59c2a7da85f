"""How one source of a site writes its exports: declared in the settings, never sniffed."""

from __future__ import annotations

import codecs
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from takeup.contracts import Cell, contract
from takeup.errors import SettingsError
from takeup.model import Feed
from takeup.store.reading import CellRule, Marks
from takeup.units import conversion

DELIMITERS = (",", ";", "\t", "|")
GROUPINGS = ("", ".", ",", " ", "'")
DATE_ORDERS = ("ymd", "dmy", "mdy")
CLOCKS = ("24", "12")
DELIVERIES = ("", "whole", "increment")


@dataclass(frozen=True)
class SourceDialect:
    """One source: which files are its, and how they are written.

    Attributes
    ----------
    name : str
        The site's name for the source.
    feed : Feed
    files : tuple of str
        Patterns of its file names.
    delimiter, decimal, grouping, date_order, encoding : str
    clock : str
        ``24``, or ``12`` where every time of day bears AM or PM.
    time_zone : str
        Zone of its wall clock; '' for the site's.
    headers : mapping
        Their column header to our column.
    units : mapping
        Our column to the unit its numbers come in.
    words : mapping
        Our column to a mapping of their words to ours.
    stamp_pattern : str
        A pattern of the file name with the named groups ``year``, ``month``, ``day`` and perhaps ``hour``,
        ``minute``, ``second``: the moment of the export. '' where the name declares none.
    delivery : str
        ``whole`` or ``increment`` in place of the contract's; '' leaves it.
    fallback : bool
        Whether it only takes files that no other source claims.

    Raises
    ------
    SettingsError
        If a value is not one of those known; the field is named.
    """

    name: str
    feed: Feed
    files: tuple[str, ...]
    delimiter: str = ","
    decimal: str = "."
    grouping: str = ""
    date_order: str = "ymd"
    clock: str = "24"
    encoding: str = "utf-8"
    time_zone: str = ""
    headers: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    stamp_pattern: str = ""
    delivery: str = ""
    fallback: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "feed", Feed(self.feed))
        object.__setattr__(self, "files", tuple(self.files))
        self._one_of("delimiter", self.delimiter, DELIMITERS)
        self._one_of("decimal", self.decimal, (".", ","))
        self._one_of("grouping", self.grouping, GROUPINGS)
        self._one_of("date_order", self.date_order, DATE_ORDERS)
        self._one_of("clock", self.clock, CLOCKS)
        self._one_of("delivery", self.delivery, DELIVERIES)
        if not self.files:
            self._wrong("files", "is empty", "Name the files of this source, for example run_hours*.csv.")
        if self.decimal == self.grouping:
            self._wrong("grouping", f"is the decimal mark {self.decimal!r} too", "Choose one mark for each.")
        try:
            codecs.lookup(self.encoding)
        except LookupError:
            self._wrong(
                "encoding", f"{self.encoding!r} is not known", "Try utf-8, cp1252, latin-1 or utf-16."
            )
        if self.time_zone:
            try:
                ZoneInfo(self.time_zone)
            except (ZoneInfoNotFoundError, ValueError):
                self._wrong("time_zone", f"{self.time_zone!r} is not known", "Use a name like Europe/Berlin.")
        self._check_columns()
        self._check_stamp()

    def _one_of(self, key: str, value: str, known: tuple[str, ...]) -> None:
        if value not in known:
            self._wrong(key, f"{value!r} is not one of {', '.join(map(repr, known))}", "Choose one of these.")

    def _wrong(self, key: str, what: str, todo: str) -> None:
        raise SettingsError(
            f"{key} {what}",
            where=f"source {self.name}, {key}",
            why="How a source writes its exports is declared, never guessed.",
            todo=todo,
        )

    def _check_columns(self) -> None:
        rules = contract(self.feed)
        known = {item.name: item for item in rules.fields}
        for key, columns in (
            ("headers", self.headers.values()),
            ("units", self.units),
            ("words", self.words),
        ):
            for column in columns:
                if column not in known:
                    near = get_close_matches(column, list(known), n=1)
                    hint = f"Did you mean {near[0]!r}?" if near else "See the contract."
                    self._wrong(key, f"names {column!r}, which is no column of {self.feed.value}", hint)
        for column, unit in self.units.items():
            try:
                conversion(unit, known[column].unit)
            except SettingsError as problem:
                self._wrong("units", f"{column}: {problem.what}", "Name the unit the numbers come in.")
        for column, words in self.words.items():
            item = known[column]
            if item.cell not in {Cell.WORD, Cell.YES_NO, Cell.TEXT}:
                self._wrong("words", f"{column} holds no words", "Map words of word columns only.")
            for theirs, ours in words.items():
                if item.words and ours not in item.words:
                    self._wrong(
                        "words",
                        f"{column}: {theirs!r} is mapped to {ours!r}",
                        f"Use {', '.join(item.words)}.",
                    )

    def _check_stamp(self) -> None:
        if not self.stamp_pattern:
            return
        try:
            groups = set(re.compile(self.stamp_pattern).groupindex)
        except re.error as problem:
            self._wrong("stamp_pattern", f"is no regular expression: {problem}", "Correct it.")
            return
        known = {"year", "month", "day", "hour", "minute", "second"}
        if not {"year", "month", "day"} <= groups or groups - known:
            self._wrong(
                "stamp_pattern",
                f"has the groups {', '.join(sorted(groups)) or 'none'}",
                "Name the groups year, month, day and perhaps hour, minute, second.",
            )

    def marks(self, site_zone: str) -> Marks:
        """How its numbers and dates read, at a site in that zone."""
        zone = self.time_zone or site_zone
        return Marks(self.decimal, self.grouping, self.date_order, self.clock, zone, site_zone)

    def rules(self, positions: Mapping[str, int]) -> tuple[CellRule, ...]:
        """How each contract column is read, given where the file has it."""
        found = []
        for item in contract(self.feed).fields:
            unit = self.units.get(item.name, item.unit)
            step = conversion(unit, item.unit) if unit != item.unit else None
            found.append(CellRule(item, positions.get(item.name), self.words.get(item.name, {}), step))
        return tuple(found)

    @property
    def whole(self) -> bool:
        """Whether its exports are whole."""
        return (self.delivery or contract(self.feed).delivery) == "whole"


def default_sources() -> tuple[SourceDialect, ...]:
    """One source a feed, for exports that follow the contracts to the letter."""
    names = {feed: [feed.value] for feed in Feed}
    names[Feed.ORDER_CLOSEOUTS].append("closeouts")  # the form in the queue, filled, by its own name
    return tuple(
        SourceDialect(
            feed.value,
            feed,
            tuple(f"{each}*.csv{packed}" for each in names[feed] for packed in ("", ".gz")),
            fallback=True,
        )
        for feed in Feed
    )
