"""The folders of a site.

::

    takeup.toml   the settings
    inbox/        exports arrive here
    archive/      exports, settings and templates as received, by SHA-256
    ledger/       the record of nights: with archive/ the truth; back these up
    store/        the DuckDB cache, made again by ``takeup rebuild``
    queue/        one folder a night; ``current`` points at the newest
    templates/    the site's own words
    log/          wall-clock times and host names, which never enter the rest
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path

from takeup.errors import StoreError, UsageError
from takeup.ledger import DRAFT, sync_folder


@dataclass(frozen=True)
class Folders:
    """Where the parts of one site lie."""

    root: Path

    @property
    def settings(self) -> Path:
        """The settings file."""
        return self.root / "takeup.toml"

    @property
    def inbox(self) -> Path:
        """Where exports arrive, unless the settings name another folder."""
        return self.root / "inbox"

    @property
    def archive(self) -> Path:
        """Bytes as received, by SHA-256."""
        return self.root / "archive"

    @property
    def store(self) -> Path:
        """The DuckDB file."""
        return self.root / "store" / "takeup.duckdb"

    @property
    def ledger(self) -> Path:
        """The record of nights."""
        return self.root / "ledger" / "ledger.jsonl"

    @property
    def intent(self) -> Path:
        """What a night set out to do, until it is committed."""
        return self.root / "ledger" / "intent.json"

    @property
    def inbox_memory(self) -> Path:
        """What was taken from an inbox that may only be read."""
        return self.root / "ledger" / "inbox_memory.json"

    @property
    def queue(self) -> Path:
        """The planning queue."""
        return self.root / "queue"

    @property
    def templates(self) -> Path:
        """The site's own templates, looked at before ours."""
        return self.root / "templates"

    @property
    def log(self) -> Path:
        """The log."""
        return self.root / "log" / "takeup.log"

    @property
    def lock(self) -> Path:
        """The lock file."""
        return self.root / ".lock"

    def make(self) -> None:
        """Create every folder that is missing."""
        for folder in (
            self.inbox,
            self.archive,
            self.store.parent,
            self.ledger.parent,
            self.queue,
            self.templates,
            self.log.parent,
        ):
            folder.mkdir(parents=True, exist_ok=True)

    def existing(self) -> Folders:
        """The same folders, if this is a site.

        Raises
        ------
        UsageError
            If the settings file is not there.
        """
        if not self.settings.is_file():
            raise UsageError(
                "this folder is not a takeup site: it has no takeup.toml",
                where=str(self.root),
                todo="Name the site's folder, or make a site with 'takeup new FOLDER'.",
            )
        self.make()
        return self


def keep(content: bytes, archive: Path) -> str:
    """Put bytes into the archive under their SHA-256, on the disk before this returns.

    Returns
    -------
    str
        The SHA-256.

    Raises
    ------
    StoreError
        If the disk refused.
    """
    sha256 = hashlib.sha256(content).hexdigest()
    path = archived(archive, sha256)
    if path.exists():
        return sha256
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = archive / DRAFT
        with draft.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
        sync_folder(path.parent)
        sync_folder(archive)
    except OSError as error:
        raise StoreError(
            f"the archive could not be written: {error.strerror}",
            where=str(path),
            why="Nothing is used before it is archived.",
            todo="Make room on the disk or mend the rights of the folder, then run this again.",
        ) from error
    return sha256


def archived(archive: Path, sha256: str) -> Path:
    """Where bytes of that SHA-256 lie."""
    return archive / sha256[:2] / sha256


def recall(archive: Path, sha256: str) -> bytes:
    """Bytes from the archive, checked.

    Raises
    ------
    StoreError
        If they are missing or are not what their name says.
    """
    path = archived(archive, sha256)
    try:
        content = path.read_bytes()
    except OSError:
        content = b""
    if hashlib.sha256(content).hexdigest() != sha256:
        raise StoreError(
            "the archived bytes are missing or are not those that were received",
            where=str(path),
            why="Past nights are told from them.",
            todo="Put the archive back from your backup.",
        )
    return content
