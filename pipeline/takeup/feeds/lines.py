"""A file taken apart line by line: the way for files that do not load as they stand.

Every record comes out on one line of a scratch file; a line that cannot be a record is a culprit and comes
out alone. A quote left open therefore never swallows the rows after it: a cell may run over several lines
only if none of the further lines would be a row of its own.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from takeup.feeds.preflight import CONTROLS, Text
from takeup.store.reasons import Refusal

#: The longest line that is read as a row, in bytes; one cell may hold 2,000 characters at most.
LONGEST_LINE = 1_000_000
#: Lines that one cell may run over.
MOST_LINES = 200
#: Stands for a line break inside a cell while a record has to keep to one line.
JOINER = "\x1f"

_CONTROL = re.compile(b"[" + re.escape(CONTROLS) + b"]")


@dataclass(frozen=True)
class Culprit:
    """A line that cannot be a row."""

    line: int
    reason: Refusal
    raw: str
    found: str = ""
    wanted: str = ""


@dataclass(frozen=True)
class Records:
    """What a file taken apart gives.

    Attributes
    ----------
    path : Path
        A scratch file with one record a line, which begins with its line number as one more cell.
    count : int
        Records in it.
    culprits : tuple of Culprit
    joined : dict of str
        Texts of the records that ran over several lines, by their first line.
    blank : int
        Lines without anything.
    """

    path: Path
    count: int
    culprits: tuple[Culprit, ...]
    joined: dict[int, str]
    blank: int


def physical_lines(path: Path, line_end: bytes = b"\n") -> Iterator[bytes]:
    """The lines of a file without their ends."""
    with path.open("rb") as file:
        if line_end == b"\n":
            for line in file:
                yield line.removesuffix(b"\n").removesuffix(b"\r")
            return
        rest = b""
        while chunk := file.read(1 << 20):
            *whole, rest = (rest + chunk).split(line_end)
            yield from whole
        if rest:
            yield rest


def cells_of(line: str, delimiter: str) -> list[str] | None:
    r"""The cells of a record; None where a quote mark is out of place or left open.

    A quote mark encloses a cell when it is its first character, one blank before it aside, and is doubled
    inside; behind more blanks it is out of place; anywhere else it is a character like any other.

    Examples
    --------
    >>> cells_of('EL-1,"pin, \"\"A\"\"",6" pipe', ",")
    ['EL-1', 'pin, "A"', '6" pipe']
    >>> cells_of('EL-1,"pin', ",") is None
    True
    """
    if '"' not in line:
        return line.split(delimiter)
    pattern, found, at = _cell(delimiter), [], 0
    while True:
        match = pattern.match(line, at)
        if match is None:
            return None
        quoted = match["quoted"]
        found.append(match["bare"] if quoted is None else quoted.replace('""', '"'))
        at = match.end()
        if at == len(line):
            return found
        if line[at] != delimiter:
            return None
        at += 1


@cache
def _cell(delimiter: str) -> re.Pattern[str]:
    blank = "[" + " \t\u00a0\u2007\u202f".replace(delimiter, "") + "]"
    return re.compile(
        rf' ?"(?P<quoted>(?:[^"]|"")*+)" *|(?!{blank}*")(?P<bare>[^{re.escape(delimiter)}]*)', re.DOTALL
    )


def take_apart(text: Text, delimiter: str, columns: int, header_line: int, scratch: Path) -> Records:
    """Read a file line by line.

    Parameters
    ----------
    text : Text
    delimiter : str
    columns : int
        Cells of a record.
    header_line : int
        Line number of the header; records come after it.
    scratch : Path
        Folder for the scratch file.

    Returns
    -------
    Records
    """
    target = scratch / f"{text.path.name}.records"
    reader = _Reader(text, delimiter, columns)
    count = 0
    with target.open("w", encoding="utf-8", newline="\n") as out:
        for number, record in reader.records(header_line):
            count += 1
            out.write(f"{number}{delimiter}{record}\n")
    return Records(target, count, tuple(reader.culprits), reader.joined, reader.blank)


class _Reader:
    """Holds the place in the file while records are told from culprits."""

    def __init__(self, text: Text, delimiter: str, columns: int) -> None:
        self.text = text
        self.delimiter = delimiter
        self.columns = columns
        self.culprits: list[Culprit] = []
        self.joined: dict[int, str] = {}
        self.blank = 0

    def records(self, header_line: int) -> Iterator[tuple[int, str]]:
        numbered = enumerate(physical_lines(self.text.path, self.text.line_end), start=1)
        ahead: deque[tuple[int, bytes]] = deque()
        while True:
            number, line = ahead.popleft() if ahead else next(numbered, (0, b""))
            if not number:
                return
            if number <= header_line:
                continue
            if not line.strip():
                self.blank += 1
                continue
            decoded = self._decoded(number, line)
            if decoded is None:
                continue
            cells = cells_of(decoded, self.delimiter)
            if cells is None and decoded.count('"') % 2:
                record = self._run_on(number, decoded, ahead, numbered)
                if record is not None:
                    yield number, record
                    continue
            if cells is None:
                self._refuse(number, line, Refusal.UNREADABLE_QUOTE)
            elif len(cells) != self.columns:
                self._refuse(
                    number, line, Refusal.WRONG_CELL_COUNT, f"{len(cells)} cells", f"{self.columns} cells"
                )
            else:
                yield number, _one_line(decoded, cells, self.delimiter)

    def _run_on(
        self,
        number: int,
        begun: str,
        ahead: deque[tuple[int, bytes]],
        numbered: Iterator[tuple[int, bytes]],
    ) -> str | None:
        """A record whose cell goes on over the next lines; else None, and the lines are put back."""
        parts, looked_at = [begun], []
        record = None
        while len(parts) < MOST_LINES:
            further, line = ahead.popleft() if ahead else next(numbered, (0, b""))
            if not further:
                break
            looked_at.append((further, line))
            decoded = self._readable(line)
            alone = None if decoded is None else cells_of(decoded, self.delimiter)
            if decoded is None or (alone is not None and len(alone) == self.columns):
                break
            parts.append(decoded)
            if '"' not in decoded:
                continue
            cells = cells_of("\n".join(parts), self.delimiter)
            if cells is not None:
                record = _one_line('"', cells, self.delimiter) if len(cells) == self.columns else None
                break
        if record is None:
            ahead.extendleft(reversed(looked_at))
            return None
        self.joined[number] = "\n".join(parts)
        return record

    def _decoded(self, number: int, line: bytes) -> str | None:
        """A line's text; None where it is a culprit."""
        if len(line) > LONGEST_LINE:
            self._refuse(
                number, line, Refusal.LINE_TOO_LONG, f"{len(line)} bytes", f"{LONGEST_LINE} bytes at most"
            )
            return None
        control = _CONTROL.search(line) or re.search(b"\r", line)
        if control:
            nul = control[0] == b"\0"
            self._refuse(
                number,
                line,
                Refusal.NUL_BYTE if nul else Refusal.CONTROL_CHARACTER,
                f"U+{control[0][0]:04X}",
            )
            return None
        try:
            return line.decode(self.text.encoding)
        except UnicodeDecodeError as problem:
            found = line[problem.start : problem.end].hex(" ").upper()
            self._refuse(number, line, Refusal.NOT_IN_ENCODING, f"bytes {found}", self.text.encoding)
            return None

    def _readable(self, line: bytes) -> str | None:
        if len(line) > LONGEST_LINE or _CONTROL.search(line) or b"\r" in line:
            return None
        try:
            return line.decode(self.text.encoding)
        except UnicodeDecodeError:
            return None

    def _refuse(self, number: int, line: bytes, reason: Refusal, found: str = "", wanted: str = "") -> None:
        self.culprits.append(Culprit(number, reason, shown(line, self.text.encoding), found, wanted))


def shown(line: bytes, encoding: str) -> str:
    """A line for people: what does not decode is written as its bytes, and very long ones are cut."""
    return line[:MOST_SHOWN].decode(encoding, "backslashreplace").replace("\0", "\\x00")


#: Bytes of a line kept with a row that is kept out; the archive holds the whole line.
MOST_SHOWN = 10_000


def _one_line(decoded: str, cells: list[str], delimiter: str) -> str:
    """The record in a form that any reader takes the same way."""
    if '"' not in decoded:
        return decoded
    return delimiter.join('"' + cell.replace('"', '""').replace("\n", JOINER) + '"' for cell in cells)


def raw_lines(text: Text, wanted: set[int]) -> dict[int, str]:
    """The texts of some lines."""
    found: dict[int, str] = {}
    if not wanted:
        return found
    last = max(wanted)
    for number, line in enumerate(physical_lines(text.path, text.line_end), start=1):
        if number in wanted:
            found[number] = shown(line, text.encoding)
        if number >= last:
            break
    return found
