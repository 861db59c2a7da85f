"""One writer at a time, or any number of readers: a lock that says who holds it, and a wait for them.

The lock is the operating system's (``flock``), so that it falls away with its holder however that ends; the
file's text only tells the next one whom to wait for.
"""

from __future__ import annotations

import fcntl
import json
import logging
import os
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from io import TextIOWrapper
from pathlib import Path
from typing import TypeVar

from takeup.errors import LockHeld

log = logging.getLogger("takeup")

Held = TypeVar("Held")

#: Whoever waits longer than this says so, and looks again so often. [s]
SOON = 2.0
OFTEN = 0.1


def patiently(attempt: Callable[[], Held], wait_seconds: float) -> Held:
    """What an attempt gives once nobody is in its way any more; it is made again until then.

    Parameters
    ----------
    attempt : callable
        Raises :class:`LockHeld` while somebody is.
    wait_seconds : float
        How long to wait; 0: not at all. [s]

    Raises
    ------
    LockHeld
        The last one, when that time is over.
    """
    begun, told = time.monotonic(), False
    while True:
        try:
            return attempt()
        except LockHeld as held:
            waited = time.monotonic() - begun
            if waited >= wait_seconds:
                raise
            if waited >= SOON and not told:
                log.warning("%s; waiting up to %g seconds for it to end", held.what, wait_seconds)
                told = True
        time.sleep(OFTEN)


@contextmanager
def writing(path: Path, doing: str, wait_seconds: float = 0.0) -> Iterator[None]:
    """Hold the site's lock while writing: nobody else reads the store or writes.

    Parameters
    ----------
    path : Path
        The lock file; created if absent, never removed.
    doing : str
        What the holder is doing, for the one who has to wait.
    wait_seconds : float
        How long to wait for others. [s]

    Raises
    ------
    LockHeld
        If others hold it all that time, with what is known of them.
    """
    with path.open("a+", encoding="utf-8") as file:
        patiently(lambda: _take(file, path, fcntl.LOCK_EX), wait_seconds)
        _say(file, doing)
        try:
            yield
        finally:
            file.truncate(0)


@contextmanager
def reading(path: Path, doing: str, wait_seconds: float = 0.0) -> Iterator[None]:
    """Hold the site's lock while reading the store: others may read, nobody writes.

    Parameters and errors as for :func:`writing`. Who may not write in the site's folder reads all the same,
    and is not named to those who wait for it.
    """
    try:
        file = path.open("a+", encoding="utf-8")
    except PermissionError:
        if not path.exists():
            yield
            return
        file = path.open(encoding="utf-8")
    with file:
        patiently(lambda: _take(file, path, fcntl.LOCK_SH), wait_seconds)
        if not file.writable():
            yield
            return
        _say(file, doing)
        try:
            yield
        finally:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                pass  # another reads on, and the text may be its own
            else:
                file.truncate(0)


def _take(file: TextIOWrapper, path: Path, kind: int) -> None:
    try:
        fcntl.flock(file, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        alone = kind == fcntl.LOCK_EX
        raise LockHeld(
            f"this site is being {'used' if alone else 'written'} by {holder(path)}",
            where=str(path.parent),
            why="Two writers would double or lose rows, and a reader would see half a night.",
            todo="Run this again when it has ended, or wait longer for it (--wait SECONDS).",
        ) from None


def _say(file: TextIOWrapper, doing: str) -> None:
    """Leave word of who holds the lock, for those who wait; of several readers the latest is named."""
    since = datetime.now(UTC).isoformat(timespec="seconds")
    told = {"process": os.getpid(), "host": socket.gethostname(), "doing": doing, "since": since}
    file.truncate(0)
    file.write(json.dumps(told))
    file.flush()


def holder(path: Path) -> str:
    """Who holds the lock, in words."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return f"process {told['process']} on {told['host']}, doing '{told['doing']}' since {told['since']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process"
