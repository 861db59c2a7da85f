"""What a start makes good after a stop at any instant."""

from __future__ import annotations

import hashlib
import logging
import shutil
from collections.abc import Callable
from typing import Any

from takeup.documents.publish import switch
from takeup.errors import LedgerError, StoreDamaged, StoreError
from takeup.feeds import Archived, Found, release
from takeup.ledger import DRAFT, Ledger
from takeup.night import intent as intents
from takeup.night.inbox_memory import remember, remembered
from takeup.night.intent import Intent
from takeup.night.progress import Progress, unwatched
from takeup.night.rebuilding import rebuild_store, whole
from takeup.night.result import NightResult
from takeup.site import Site
from takeup.store import Store

log = logging.getLogger("takeup")

_PREFIX = "night-"


def folder_name(number: int) -> str:
    """Name of a night's folder in the queue."""
    return f"{_PREFIX}{number:06d}"


def make_whole(site: Site, progress: Progress = unwatched) -> None:
    """Bring ledger, store and queue to the last committed night; the site's lock is held by the caller.

    A draft in the archive is removed, a torn last line of the ledger is cut, store rows and queue folders of
    a night that was not committed are removed, a store that lost rows or a queue that is gone is made again,
    and ``current`` points at the queue that the ledger names.

    Raises
    ------
    LedgerError
        If the ledger lacks nights that were committed.
    StoreError
        If a store that lost rows cannot be made again as it was.
    """
    (site.folders.archive / DRAFT).unlink(missing_ok=True)
    ledger = Ledger(site.folders.ledger)
    if ledger.cut_torn_tail():
        log.warning("a record that a stop cut short was removed from the ledger; it was never committed")
    nights = ledger.nights()
    told = nights[-1]["number"] if nights else 0
    stands = _store_is_whole(site, told, nights) and _queue_stands(site, nights)
    _clear_queue(site, told)
    if not stands:
        log.warning("store or queue are not what the last night left")
        remake(site, progress)
    if nights:
        switch(site.folders.queue, nights[-1]["queue"])


def remake(site: Site, progress: Progress = unwatched) -> None:
    """Make the store again from ledger and archive, and the queue if it is gone.

    Raises
    ------
    StoreError
        If the nights do not come out as they were.
    """
    log.warning("the store is made again from ledger and archive")
    if not rebuild_store(site, progress).used:
        raise StoreError(
            "the store is damaged, and told again the nights do not come out as the ledger recorded them",
            where=str(site.folders.store),
            why="Orders would rest on something nobody can account for.",
            todo="Run 'takeup rebuild' to see which nights differ, and put archive and ledger back "
            "from your backup.",
        )


def _store_is_whole(site: Site, told: int, nights: list[dict[str, Any]]) -> bool:
    """Whether the store opens and holds what the last committed night left in it."""
    try:
        with Store.open(site.folders.store) as store:
            _refuse_older_ledger(site, told, store.last_night())
            store.forget_after(told)
            return whole(store, nights)
    except StoreDamaged as damage:
        log.warning("%s", damage)
        return False


def _refuse_older_ledger(site: Site, told: int, stored: int) -> None:
    """A stop leaves at most one night that the ledger lacks, with its intent; more means lost records."""
    intent = intents.read(site.folders.intent)
    begun = intent.number if intent else told
    if max(stored, begun) > told + 1 or stored > max(begun, told):
        raise LedgerError(
            f"the store holds night {max(stored, begun)}, and the ledger ends with night {told}",
            where=str(site.folders.ledger),
            why="Going on from here would forget nights whose exports have left the inbox.",
            todo="Put the ledger back from your newest backup. If there is none, remove the store's file and "
            "the queue's newer folders: the store is then made again from what the ledger still holds.",
        )


def _queue_stands(site: Site, nights: list[dict[str, Any]]) -> bool:
    """Whether every file of the last night's queue is there."""
    if not nights:
        return True
    folder = site.folders.queue / nights[-1]["queue"]
    return all((folder / path).is_file() for path in nights[-1]["wrote"])


def finish_open_night(
    site: Site, store: Store, finish: Callable[[Site, Store, Intent], NightResult]
) -> NightResult | None:
    """Tell a night to its end that a stop left open; it keeps its own `as of`.

    Parameters
    ----------
    site : Site
    store : Store
        Open for writing, whole.
    finish : callable
        ``finish(site, store, intent)`` tells an intended night to its end.

    Returns
    -------
    NightResult or None
        None where no night was left open.
    """
    intent = intents.read(site.folders.intent)
    if intent is None:
        return None
    _leave_inbox(site, intent)
    finished = None
    if intent.number > store.last_night():
        log.warning("night %s was stopped before its end; it is told again", intent.number)
        finished = finish(site, store, intent)
    intents.remove(site.folders.intent)
    return finished


def _clear_queue(site: Site, told: int) -> None:
    """Remove folders of nights that were never committed."""
    for folder in site.folders.queue.glob(f"{_PREFIX}*"):
        if folder.name > folder_name(told):
            shutil.rmtree(folder)


def _leave_inbox(site: Site, intent: Intent) -> None:
    """Remove what an intended night has taken, where the stop came before it left the inbox."""
    memory = site.folders.inbox_memory
    before = remembered(memory)
    known = {(file.name, file.sha256) for file in before}
    taken = []
    for file in intent.files:
        path = site.inbox / file.name
        if file.read_again or (file.name, file.sha256) in known or not path.is_file():
            continue
        about = path.stat()
        found = Found(path, file.name, about.st_size, about.st_mtime_ns, file.source)
        with path.open("rb") as content:
            if hashlib.file_digest(content, "sha256").hexdigest() == file.sha256:
                taken.append(Archived(found, file.sha256, path))
    remember(memory, [*before, *release(taken)])
