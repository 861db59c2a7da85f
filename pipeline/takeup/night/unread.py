"""Findings that could not be read and may mean a break, for the top of the index until a person reads them.

Better a line too many than one too few: a word of breaking is looked for in the whole text of a row, and in
every line of a file of which nothing could be used.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from takeup.derive.vocabulary import plain, stop_word
from takeup.feeds import SourceDialect
from takeup.model import Feed, KeptOut
from takeup.night.lines import text_lines


def unread_stops(
    kept_out: Iterable[KeptOut], sources: Iterable[SourceDialect], archive: Path
) -> Iterator[KeptOut]:
    """The refused and waiting findings that hold a word of breaking, a site's own words for it included.

    Parameters
    ----------
    kept_out : iterable of KeptOut
        One of line 0 stands for a whole file, whose lines are looked through.
    sources : iterable of SourceDialect
    archive : Path
    """
    sources = [source for source in sources if source.feed is Feed.INSPECTION_FINDINGS]
    # UTF-8 before others: what reads as it throughout is it, and nearly all reads as a code page.
    encodings = ("utf-8", *(source.encoding for source in sources))
    own = {
        plain(theirs)
        for source in sources
        for theirs, ours in source.words.get("finding", {}).items()
        if stop_word(ours)
    }
    for row in kept_out:
        if row.feed != Feed.INSPECTION_FINDINGS:
            continue
        for candidate in [row] if row.line else _rows(row, archive, encodings):
            text = plain(candidate.raw)
            if stop_word(candidate.raw) or any(word in text for word in own):
                yield candidate


def _rows(file: KeptOut, archive: Path, encodings: Iterable[str]) -> Iterator[KeptOut]:
    """Every line of a refused file, as well as it reads: encodings of two or four bytes a letter too."""
    for number, line in enumerate(text_lines(archive, file.sha256, encodings), start=1):
        yield replace(file, line=number, raw=line)
