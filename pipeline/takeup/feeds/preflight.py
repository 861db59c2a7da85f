"""A look at a file's bytes before anything is parsed: packing, encoding, byte order mark, line ends."""

from __future__ import annotations

import codecs
import gzip
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from takeup.store.reasons import FileRefusal

if TYPE_CHECKING:
    from numpy.typing import NDArray

_CHUNK = 1 << 22
#: Control characters that no cell may hold; tab, line feed and carriage return have their own rules.
CONTROLS = bytes([*range(9), 11, 12, *range(14, 32), 127])
_BLANKS = (b"  ", b"\t", *(blank.encode() for blank in "\u00a0\u2007\u202f"))
_GZIP = b"\x1f\x8b"


class FileProblem(Exception):
    """Why nothing of a file can be used; it ends as a record, never as an error for the night.

    Parameters
    ----------
    reason : FileRefusal
    found, wanted : str
        For the sentence.
    column : str
        The contract column it is about.
    """

    def __init__(self, reason: FileRefusal, found: str, wanted: str, column: str = "") -> None:
        super().__init__(f"{reason.value}: {found}")
        self.reason = reason
        self.found = found
        self.wanted = wanted
        self.column = column


@dataclass(frozen=True)
class Text:
    """The unpacked text of a file, its bytes in an encoding that keeps ASCII as it is.

    Attributes
    ----------
    path : Path
        The archived file itself, or a scratch copy.
    line_end : bytes
        Line feed, or carriage return where the file has no other.
    marked : bool
        Whether it begins with a byte order mark.
    quoted : bool
        Whether it holds a quote mark.
    edged : bool
        Whether a cell may begin or end with a blank.
    open : bool
        Whether its last line lacks a line end, as that of a file cut short does.
    plain : bool
        Whether it can be loaded as it stands: UTF-8, one kind of line end, no control characters, no blank
        lines, no quote mark behind several blanks (which the loader takes for text).
    lines : int
        Lines, a last one without line end counted too, blank ones at the end not.
    """

    path: Path
    encoding: str
    line_end: bytes
    marked: bool
    quoted: bool
    edged: bool
    open: bool
    plain: bool
    lines: int


def preflight(path: Path, encoding: str, delimiter: str, scratch: Path) -> Text:
    """Unpack and look through one file.

    Parameters
    ----------
    path : Path
        As archived; gzip is known by its first bytes.
    encoding, delimiter : str
        As the source declares them.
    scratch : Path
        Folder for copies.

    Raises
    ------
    FileProblem
        If it does not unpack, or does not decode as a whole.
    """
    with path.open("rb") as file:
        packed = file.read(2) == _GZIP
    if packed:
        path = _unpacked(path, scratch)
    codec = codecs.lookup(encoding).name
    if not _keeps_ascii(codec):
        path, codec = _transcoded(path, codec, scratch), "utf-8"
    text = _look(path, codec, delimiter)
    if text.plain and codec != "utf-8" and not _is_ascii(path):
        try:
            return _look(_transcoded(path, codec, scratch), "utf-8", delimiter)
        except FileProblem:  # some line holds bytes that the encoding lacks: the line reader finds it
            return replace(text, plain=False)
    return text


def _unpacked(path: Path, scratch: Path) -> Path:
    target = scratch / f"{path.name}.unpacked"
    try:
        with gzip.open(path) as packed, target.open("wb") as plain:
            while chunk := packed.read(_CHUNK):
                plain.write(chunk)
    except (OSError, EOFError, zlib.error) as problem:
        raise FileProblem(FileRefusal.NOT_UNPACKED, str(problem), "a whole gzip file") from problem
    return target


def _transcoded(path: Path, codec: str, scratch: Path) -> Path:
    target = scratch / f"{path.name}.text"
    decoder = codecs.getincrementaldecoder(codec)()
    try:
        with path.open("rb") as given, target.open("wb") as text:
            while chunk := given.read(_CHUNK):
                text.write(decoder.decode(chunk).encode("utf-8"))
            text.write(decoder.decode(b"", final=True).encode("utf-8"))
    except UnicodeError as problem:
        raise FileProblem(FileRefusal.WRONG_ENCODING, str(problem), f"text in {codec}") from problem
    return target


def _keeps_ascii(codec: str) -> bool:
    plain = bytes(range(128))
    try:
        return plain.decode(codec) == plain.decode("ascii") and codec not in {"utf-7", "utf-8-sig"}
    except UnicodeError:
        return False


def _is_ascii(path: Path) -> bool:
    with path.open("rb") as file:
        return all(chunk.isascii() for chunk in iter(lambda: file.read(_CHUNK), b""))


def _look(path: Path, codec: str, delimiter: str) -> Text:
    """One pass over the bytes."""
    look = _Look(codec, delimiter)
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            look.add(chunk)
    return look.text(path)


class _Look:
    """What was seen of a file so far."""

    def __init__(self, codec: str, delimiter: str) -> None:
        self.codec = codec
        self.delimiter = delimiter
        self.behind_blanks = [blank + b'"' for blank in _BLANKS if blank != delimiter.encode()]
        self.decoder = codecs.getincrementaldecoder("utf-8")()
        self.decodes = codec == "utf-8"
        self.feeds = self.returns = self.pairs = 0
        self.marked = self.controls = self.quoted = self.strange = self.edged = self.blank = False
        self.ascii = True
        self.begun = False
        self.tail = b""  # the last bytes, for what straddles two chunks
        self.ends = b""  # the line ends behind the last other byte

    def add(self, chunk: bytes) -> None:
        """Look at the next bytes."""
        if not self.begun:
            self.begun, self.marked, self.ends = True, chunk.startswith(codecs.BOM_UTF8), b"\n"
        seam = self.tail + chunk
        # numpy counts a byte that stands in every line far faster than bytes.count does
        text = np.frombuffer(chunk, dtype=np.uint8)
        is_feed = text == ord("\n")
        feeds, returns = int(np.count_nonzero(is_feed)), int(np.count_nonzero(text == ord("\r")))
        self.feeds += feeds
        self.returns += returns
        if returns:
            self.pairs += (self.tail[-1:] + chunk).count(b"\r\n")
        low = np.count_nonzero(text < ord(" "))
        self.controls |= low != feeds + returns + chunk.count(b"\t") or b"\x7f" in chunk
        self.quoted |= b'"' in chunk
        self.strange |= self.quoted and any(blanks in seam for blanks in self.behind_blanks)
        self.edged = self.edged or _has_edges(seam, self.delimiter, first=not self.tail)
        self._line_ends(chunk, is_feed, has_returns=returns > 0)
        plain = chunk.isascii()
        self.ascii &= plain
        if self.decodes and not (plain and not self.decoder.getstate()[0]):
            self.decodes = _decodes(self.decoder, chunk)
        self.tail = chunk[-4:]

    def _line_ends(self, chunk: bytes, is_feed: NDArray[np.bool_], *, has_returns: bool) -> None:
        """Whether a blank line stands before other lines."""
        content = chunk.rstrip(b"\r\n")
        if not content:
            self.ends += chunk
            return
        head = self.ends + chunk[: len(chunk) - len(chunk.lstrip(b"\r\n"))]
        inside = is_feed[: len(content)]
        twice = bool(np.any(inside[1:] & inside[:-1]))
        self.blank |= head.count(b"\n") > 1 or twice or (has_returns and b"\n\r" in content)
        self.ends = chunk[len(content) :]

    def text(self, path: Path) -> Text:
        """What all of it comes to."""
        if self.decodes:
            self.decodes = _decodes(self.decoder, b"", final=True)
        only_returns = self.returns > 0 and self.feeds == 0
        one_style = self.returns == 0 or self.returns == self.pairs == self.feeds
        line_end = b"\r" if only_returns else b"\n"
        readable = self.decodes or self.codec != "utf-8"
        return Text(
            path=path,
            encoding=self.codec,
            line_end=line_end,
            marked=self.marked,
            quoted=self.quoted,
            edged=self.edged or self.tail.endswith(b" ") or (self.codec != "utf-8" and not self.ascii),
            open=not self.tail.endswith((b"\n", b"\r")),
            plain=one_style and readable and not (self.controls or self.blank or self.strange),
            lines=(self.returns if only_returns else self.feeds) - self.ends.count(line_end) + 1,
        )


def _has_edges(held: bytes, delimiter: str, *, first: bool) -> bool:
    """Whether a blank stands beside a delimiter, a quote mark or a line end, or begins the file.

    A blank at the end of what is held is looked at again with what follows; one at its beginning was looked
    at before, unless this is the first of the file.
    """
    if not held.isascii() and any(blank.encode() in held for blank in "\u00a0\u2007\u202f"):
        return True
    if delimiter != "\t" and b"\t" in held:
        return True
    text = np.frombuffer(held, dtype=np.uint8)
    blanks = np.flatnonzero(text == ord(" "))
    ends = np.zeros(256, dtype=bool)
    ends[[ord(delimiter), ord("\n"), ord("\r"), ord('"')]] = True
    before = ends[text[blanks[blanks > 0] - 1]]
    after = ends[text[blanks[blanks < len(text) - 1] + 1]]
    return bool((first and held.startswith(b" ")) or before.any() or after.any())


def _decodes(decoder: codecs.IncrementalDecoder, chunk: bytes, *, final: bool = False) -> bool:
    try:
        decoder.decode(chunk, final)
    except UnicodeDecodeError:
        return False
    return True
