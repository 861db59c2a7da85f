"""One archived file becomes staged rows and the rows it refuses."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from takeup.contracts import contract
from takeup.errors import OurFault
from takeup.feeds.dialect import DELIMITERS, SourceDialect
from takeup.feeds.header import Header, read_header
from takeup.feeds.lines import Culprit, Records, cells_of, physical_lines, raw_lines, shown, take_apart
from takeup.feeds.preflight import FileProblem, Text, preflight
from takeup.store.closing import earlier_take, keep_refused_lines
from takeup.store.reading import Reading
from takeup.store.reasons import FileRefusal
from takeup.store.staging import Failure, load_raw, stage

if TYPE_CHECKING:
    from takeup.store.connection import Connection


#: The longest contract has about fifty columns; a header of more than this is no header.
MOST_COLUMNS = 1_000


@dataclass(frozen=True)
class Parsed:
    """A file after parsing, before it meets the rows known.

    Attributes
    ----------
    rows : int
        Rows read: records and lines that cannot be one; blank lines are none.
    failures : tuple of Failure
        Rows refused.
    raws : dict of str
        Their texts by line.
    problem : FileProblem or None
        Why nothing of the file is used.
    reread : int
        The night these bytes first came, when they are read again; else 0.
    joined : dict of str
        Texts of the records that run over several lines, by their first line.
    """

    file_id: int
    dialect: SourceDialect
    rows: int
    failures: tuple[Failure, ...] = ()
    raws: dict[int, str] = field(default_factory=dict)
    problem: FileProblem | None = None
    stamp: float | None = None
    notes: dict[str, object] = field(default_factory=dict)
    text: Text | None = None
    joined: dict[int, str] = field(default_factory=dict)
    reread: int = 0

    @property
    def usable(self) -> bool:
        """Whether its rows can be merged."""
        return self.problem is None

    def refused(self, problem: FileProblem) -> Parsed:
        """The same file, refused as a whole."""
        return replace(self, problem=problem, failures=(), raws={})


def parse(
    connection: Connection,
    path: Path,
    name: str,
    dialect: SourceDialect,
    *,
    file_id: int,
    site_zone: str,
    scratch: Path,
) -> Parsed:
    """Stage one file with its feed.

    Parameters
    ----------
    connection : Connection
        Outside the night's transaction: a line that does not load would end it.
    path : Path
        The archived bytes.
    name : str
        The file's name, which may declare its stamp.
    dialect : SourceDialect
    file_id : int
    site_zone : str
    scratch : Path
        Folder for copies.
    """
    text: Text | None = None
    own = scratch / str(file_id)  # a name without anything that the loader would take for a pattern
    own.symlink_to(path.resolve())
    try:
        text = preflight(own, dialect.encoding, dialect.delimiter, scratch)
        stamp = declared_stamp(name, dialect)
        header, header_line = _header(text, dialect)
        return _stage(connection, text, header, header_line, dialect, file_id, site_zone, stamp, scratch)
    except FileProblem as problem:
        rows = 0 if text is None else max(0, sum(1 for line in _filled(text)) - 1)
        return Parsed(file_id, dialect, rows, problem=problem, text=text)


def only_refused(connection: Connection, parsed: Parsed, sha256: str) -> Parsed:
    """Of a file that is read again, the rows whose refusal is still open; all, where none of it was used."""
    earlier = earlier_take(connection, parsed.dialect.feed.value, sha256)
    if earlier is None:
        return parsed
    file_id, came, refused_whole = earlier
    notes = parsed.notes | {"read_again": file_id}
    if refused_whole or not parsed.usable:
        return replace(parsed, reread=came, notes=notes)
    lines, good = keep_refused_lines(connection, contract(parsed.dialect.feed), parsed.file_id, file_id)
    failures = tuple(failure for failure in parsed.failures if failure.line in lines)
    return replace(parsed, rows=good + len(failures), failures=failures, reread=came, notes=notes)


def declared_stamp(name: str, dialect: SourceDialect) -> float | None:
    """The moment a file's name declares, as a position; None where its source declares none.

    Raises
    ------
    FileProblem
        If the name does not have the pattern of the source.
    """
    if not dialect.stamp_pattern:
        return None
    match = re.search(dialect.stamp_pattern, name)
    try:
        if match is None:
            raise ValueError(name)
        parts = {key: int(value) for key, value in match.groupdict().items() if value is not None}
        moment = datetime(**parts, tzinfo=UTC)
    except ValueError as problem:
        raise FileProblem(FileRefusal.NAME_WITHOUT_STAMP, name, dialect.stamp_pattern) from problem
    return moment.timestamp() / 86400.0 if "hour" in parts else moment.timestamp() / 86400.0 + 0.5


def _filled(text: Text) -> list[int]:
    """Numbers of the lines that hold anything."""
    return [
        number
        for number, line in enumerate(physical_lines(text.path, text.line_end), start=1)
        if line.strip()
    ]


def _header(text: Text, dialect: SourceDialect) -> tuple[Header, int]:
    for number, line in enumerate(physical_lines(text.path, text.line_end), start=1):
        if number == 1:
            _refuse_mark(line, text.encoding)
        bare = line.removeprefix(b"\xef\xbb\xbf") if number == 1 and text.marked else line
        if not bare.strip():
            continue
        try:
            decoded = bare.decode(text.encoding)
        except UnicodeDecodeError as problem:
            found = shown(bare[:200], text.encoding)
            raise FileProblem(FileRefusal.WRONG_ENCODING, found, f"text in {text.encoding}") from problem
        cells = cells_of(decoded, dialect.delimiter)
        if cells is None or "\0" in decoded:
            raise FileProblem(
                FileRefusal.NO_HEADER, shown(bare[:200], text.encoding), "a line of column names"
            )
        if len(cells) > MOST_COLUMNS:
            found, wanted = f"{len(cells)} column names", f"{MOST_COLUMNS} at most"
            raise FileProblem(FileRefusal.NO_HEADER, found, wanted)
        try:
            return read_header(cells, dialect, contract(dialect.feed)), number
        except FileProblem:
            _refuse_delimiter(decoded, dialect.delimiter)
            raise
    raise FileProblem(FileRefusal.NO_TEXT, "nothing", "a line of column names")


#: Byte order marks of encodings that hold a NUL in every letter of a header.
_MARKS = ((codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


def _refuse_mark(line: bytes, encoding: str) -> None:
    """Refuse a file whose byte order mark names another encoding than its source declares."""
    for mark, named in _MARKS:
        if line.startswith(mark):
            found = f"its byte order mark is that of {named}"
            raise FileProblem(FileRefusal.WRONG_ENCODING, found, f"text in {encoding}")


def _refuse_delimiter(header: str, declared: str) -> None:
    """Refuse a header that holds another common delimiter, and the one its source declares nowhere."""
    others = [each for each in DELIMITERS if each in header]
    if declared not in header and others:
        raise FileProblem(FileRefusal.WRONG_DELIMITER, max(others, key=header.count), declared)


def _stage(
    connection: Connection,
    text: Text,
    header: Header,
    header_line: int,
    dialect: SourceDialect,
    file_id: int,
    site_zone: str,
    stamp: float | None,
    scratch: Path,
) -> Parsed:
    reading = Reading(
        file_id=file_id,
        contract=contract(dialect.feed),
        path=text.path,
        delimiter=dialect.delimiter,
        columns=len(header.names),
        skip=header_line,
        first_line=header_line + 1,
        rules=dialect.rules(header.positions),
        marks=dialect.marks(site_zone),
        whole=dialect.whole,
        source=dialect.name,
        quoted=text.quoted,
        edged=text.edged,
        stamp=stamp,
    )
    records: Records | None = None
    if not text.plain or load_raw(connection, reading) != text.lines - header_line:
        reading, records = _apart(connection, reading, text, header_line, scratch)
    staged, failures = stage(connection, reading)
    culprits = records.culprits if records else ()
    raws = {culprit.line: culprit.raw for culprit in culprits}
    joined = records.joined if records else {}
    raws |= {failure.line: joined[failure.line] for failure in failures if failure.line in joined}
    raws |= raw_lines(text, {failure.line for failure in failures} - set(raws))
    return Parsed(
        file_id=file_id,
        dialect=dialect,
        rows=staged + len(culprits),
        failures=tuple(sorted([*failures, *map(_failure, culprits)], key=lambda failure: failure.line)),
        raws=raws,
        stamp=stamp,
        notes=_notes(text, header, records),
        text=text,
        joined=joined,
    )


def _apart(
    connection: Connection, reading: Reading, text: Text, header_line: int, scratch: Path
) -> tuple[Reading, Records]:
    records = take_apart(text, reading.delimiter, reading.columns, header_line, scratch)
    apart = replace(
        reading,
        path=records.path,
        skip=0,
        numbered=True,
        quoted=True,
        joined=bool(records.joined),
    )
    loaded = load_raw(connection, apart)
    if loaded != records.count:
        raise OurFault(
            f"{records.count} records were told apart and {loaded} loaded",
            where=reading.source,
            why="A row would be lost or doubled.",
        )
    return apart, records


def _failure(culprit: Culprit) -> Failure:
    return Failure(culprit.line, culprit.reason.value, "", culprit.found, culprit.wanted, "", None)


def _notes(text: Text, header: Header, records: Records | None) -> dict[str, object]:
    notes: dict[str, object] = {}
    if header.unread:
        notes["columns_unread"] = list(header.unread)
    if text.marked:
        notes["byte_order_mark"] = True
    if text.open:
        notes["last_line_open"] = True
    if records is not None:
        notes["line_by_line"] = True
        if records.blank:
            notes["blank_lines"] = records.blank
    return notes
