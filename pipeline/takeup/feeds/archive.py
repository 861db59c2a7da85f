"""The archive: every delivered file as its bytes came, named by their SHA-256."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from takeup.errors import StoreError
from takeup.feeds.inbox import Found, Left, Remembered
from takeup.ledger import DRAFT, sync_folder

_CHUNK = 1 << 20


@dataclass(frozen=True)
class Archived:
    """One file in the archive, and where it came from.

    Attributes
    ----------
    reread : bool
        Whether it was taken on an earlier night and is read again, by somebody's decision: only its rows
        whose refusal is open are taken, they stand behind what came since, and nothing ends.
    """

    found: Found
    sha256: str
    path: Path
    reread: bool = False

    @property
    def name(self) -> str:
        """Its name in the inbox."""
        return self.found.name

    @property
    def source(self) -> str:
        """Name of its source."""
        return self.found.source


def archive_path(archive: Path, sha256: str) -> Path:
    """Where bytes with that hash stand."""
    return archive / sha256[:2] / sha256


def archive(found: Iterable[Found], folder: Path) -> tuple[list[Archived], list[Found]]:
    """Copy files at rest into the archive, durable before this returns.

    Parameters
    ----------
    found : iterable of Found
        Those that are ``left`` are passed by.
    folder : Path
        The archive.

    Returns
    -------
    archived : list of Archived
    left : list of Found
        Files that changed while they were read, or could not be read: they wait in the inbox.

    Raises
    ------
    StoreError
        If the archive cannot be written.
    """
    taken: list[Archived] = []
    left: list[Found] = []
    for item in found:
        if item.left:
            continue
        try:
            source = item.path.open("rb")
        except OSError:
            left.append(replace(item, left=Left.UNREADABLE))
            continue
        with source:
            sha256, path = _keep(source.fileno(), folder)
            about = os.fstat(source.fileno())
        if (about.st_size, about.st_mtime_ns) != (item.size, item.mtime_ns):
            left.append(replace(item, left=Left.GROWING))
            continue
        taken.append(Archived(item, sha256, path))
    return taken, left


def _keep(source: int, folder: Path) -> tuple[str, Path]:
    """Copy an open file to its place, which its bytes decide."""
    digest = hashlib.sha256()
    draft = folder / DRAFT
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with draft.open("wb") as file:
            while chunk := os.read(source, _CHUNK):
                digest.update(chunk)
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
        sha256 = digest.hexdigest()
        path = archive_path(folder, sha256)
        path.parent.mkdir(exist_ok=True)
        draft.replace(path)
        for place in (path.parent, folder):
            sync_folder(place)
    except OSError as problem:
        raise StoreError(
            f"the archive cannot be written: {problem.strerror}",
            where=str(folder),
            why="A row that is not archived could be lost.",
            todo="Free space or correct the rights, then run the night again.",
        ) from problem
    return sha256, path


def release(archived: Iterable[Archived]) -> list[Remembered]:
    """Remove taken files from the inbox, once their night is committed.

    A file that changed since it was archived stays, for the next night.

    Returns
    -------
    list of Remembered
        What could not be removed, because the inbox is read-only; to be remembered.
    """
    kept = []
    for item in archived:
        found = item.found
        try:
            about = found.path.stat()
            if (about.st_size, about.st_mtime_ns) == (found.size, found.mtime_ns):
                found.path.unlink()
        except FileNotFoundError:
            continue
        except OSError:
            kept.append(Remembered(found.name, found.size, found.mtime_ns, item.sha256))
    return kept
