"""The lines of an archived export as a person would read them, whatever its encoding."""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path

from takeup.site.folders import recall

_GZIP = b"\x1f\x8b"


def text_lines(archive: Path, sha256: str) -> list[str]:
    """Every line of a file, as well as it reads: encodings of two or four bytes a letter too.

    Parameters
    ----------
    archive : Path
    sha256 : str
        Of the bytes as received; a packed file that cannot be unpacked has no lines.
    """
    content = recall(archive, sha256)
    if content.startswith(_GZIP):
        try:
            content = gzip.decompress(content)
        except (OSError, EOFError, zlib.error):
            return []
    return content.replace(b"\0", b"").decode("utf-8", errors="replace").splitlines()
