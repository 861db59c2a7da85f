"""The lines of an archived export as a person would read them, whatever its encoding."""

from __future__ import annotations

import gzip
import zlib
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from takeup.site.folders import recall

_GZIP = b"\x1f\x8b"


def text_lines(archive: Path, sha256: str, encodings: Iterable[str]) -> list[str]:
    """Every line of a file, as well as it reads: encodings of two or four bytes a letter too.

    Parameters
    ----------
    archive : Path
    sha256 : str
        Of the bytes as received; a packed file that cannot be unpacked has no lines.
    encodings : iterable of str
        Those its source may have declared; the first that all of it reads in is taken.
    """
    content = recall(archive, sha256)
    if content.startswith(_GZIP):
        try:
            content = gzip.decompress(content)
        except (OSError, EOFError, zlib.error):
            return []
    text = _text(content, encodings)
    line_end = "\n" if "\n" in text else "\r"
    return [line.removesuffix("\r") for line in text.split(line_end)]


def _text(content: bytes, encodings: Iterable[str]) -> str:
    for encoding in encodings:
        with suppress(UnicodeError):
            return content.decode(encoding).removeprefix("\ufeff")
    return content.replace(b"\0", b"").decode("utf-8", errors="replace")
