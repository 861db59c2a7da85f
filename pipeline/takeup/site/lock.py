"""One writer at a time: a lock that says who holds it.

The lock is the operating system's (``flock``), so that it falls away with its holder however that ends; the
file's text only tells the next one whom to wait for.
"""

from __future__ import annotations

import fcntl
import json
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from takeup.errors import LockHeld


@contextmanager
def writing(path: Path, command: str) -> Iterator[None]:
    """Hold the site's lock while writing.

    Parameters
    ----------
    path : Path
        The lock file; created if absent, never removed.
    command : str
        What the holder is doing, for the one who has to wait.

    Raises
    ------
    LockHeld
        If another process holds it, with what is known of that process.
    """
    with path.open("a+", encoding="utf-8") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise LockHeld(
                f"this site is being written by {holder(path)}",
                where=str(path.parent),
                why="Two writers would double or lose rows.",
                todo="Wait until it has ended, then run this again.",
            ) from None
        file.seek(0)
        file.truncate()
        json.dump(
            {
                "process": os.getpid(),
                "host": socket.gethostname(),
                "doing": command,
                "since": datetime.now(UTC).isoformat(timespec="seconds"),
            },
            file,
        )
        file.flush()
        try:
            yield
        finally:
            file.seek(0)
            file.truncate()


def holder(path: Path) -> str:
    """Who holds the lock, in words."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return f"process {told['process']} on {told['host']}, doing '{told['doing']}' since {told['since']}"
    except (OSError, ValueError, KeyError):
        return "another process"
