"""The store of a site opened for reading, briefly, once nobody writes it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from takeup.site.folders import Folders
from takeup.site.lock import patiently, reading
from takeup.store import Store


@contextmanager
def reading_store(folders: Folders, doing: str, wait_seconds: float) -> Iterator[Store]:
    """The store as the last night left it.

    Parameters
    ----------
    folders : Folders
    doing : str
        What it is read for, for the one who has to wait.
    wait_seconds : float
        How long to wait for a writer. [s]

    Raises
    ------
    LockHeld
        If it is written all that time.
    StoreError
        If there is none, or it is of another version.
    """
    with (
        reading(folders.lock, doing, wait_seconds),
        patiently(lambda: Store.open(folders.store, read_only=True), wait_seconds) as store,
    ):
        yield store
