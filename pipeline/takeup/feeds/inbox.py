"""The inbox: which files are there, whose they are, and whether they have come to rest."""

from __future__ import annotations

import stat
import time
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum
from fnmatch import fnmatchcase
from pathlib import Path

from takeup.errors import InputUnusable
from takeup.feeds.dialect import SourceDialect


class Left(StrEnum):
    """Why a file stays in the inbox."""

    NO = ""
    GROWING = "growing"
    NO_SOURCE = "no_source"
    TWO_SOURCES = "two_sources"
    NOT_A_FILE = "not_a_file"
    UNREADABLE = "unreadable"


@dataclass(frozen=True)
class Remembered:
    """A file of a read-only inbox that was taken before."""

    name: str
    size: int
    mtime_ns: int
    sha256: str = ""


@dataclass(frozen=True)
class Found:
    """One file of the inbox; ``left`` says why it is not taken, '' when it is."""

    path: Path
    name: str
    size: int
    mtime_ns: int
    source: str = ""
    left: Left = Left.NO


def find(
    inbox: Path,
    sources: Iterable[SourceDialect],
    remembered: Collection[Remembered] = (),
    *,
    settle_seconds: float = 0.0,
    wait: Callable[[float], None] = time.sleep,
) -> list[Found]:
    """The files of the inbox, sorted by name; those of earlier nights are left out.

    A file counts as at rest when its size and time are the same before and after ``settle_seconds``.

    Parameters
    ----------
    inbox : Path
    sources : iterable of SourceDialect
    remembered : collection of Remembered
        What was taken from a read-only inbox before.
    settle_seconds : float
        [s]
    wait : callable
        Waits that long.

    Raises
    ------
    InputUnusable
        If the inbox is missing or cannot be listed.
    """
    sources = tuple(sources)
    known = {(item.name, item.size, item.mtime_ns) for item in remembered}
    first = {name: mark for name, mark in _marks(inbox).items() if (name, *mark[:2]) not in known}
    if first and settle_seconds > 0:
        wait(settle_seconds)
        second = _marks(inbox)
    else:
        second = first
    return [
        _found(inbox / name, mark, second.get(name), sources)
        for name, mark in sorted(first.items())
        if name in second
    ]


def owners_of(name: str, sources: Iterable[SourceDialect]) -> list[SourceDialect]:
    """The sources that take a file of this name; a plain one only where none of the site's own does."""
    claims = [source for source in sources if any(fnmatchcase(name, pattern) for pattern in source.files)]
    return [source for source in claims if not source.fallback] or claims


def _marks(inbox: Path) -> dict[str, tuple[int, int, int]]:
    """Size, time and mode of everything in the inbox that is not hidden."""
    found = {}
    try:
        for path in inbox.iterdir():
            if not path.name.startswith("."):
                about = path.lstat()
                found[path.name] = (about.st_size, about.st_mtime_ns, about.st_mode)
    except OSError as problem:
        raise InputUnusable(
            f"the inbox cannot be listed: {problem.strerror}",
            where=str(inbox),
            todo="Make the folder, or correct its path in the settings.",
        ) from problem
    return found


def _found(
    path: Path,
    mark: tuple[int, int, int],
    later: tuple[int, int, int] | None,
    sources: tuple[SourceDialect, ...],
) -> Found:
    size, mtime_ns, mode = mark
    owners = [source.name for source in owners_of(path.name, sources)]
    left = Left.NO
    if not stat.S_ISREG(mode):
        left = Left.NOT_A_FILE
    elif not owners:
        left = Left.NO_SOURCE
    elif len(owners) > 1:
        left = Left.TWO_SOURCES
    elif later != mark:
        left = Left.GROWING
    return Found(path, path.name, size, mtime_ns, owners[0] if len(owners) == 1 else ", ".join(owners), left)
