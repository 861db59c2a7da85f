"""What a start makes good after a stop at any instant."""

from __future__ import annotations

import hashlib
import logging
import shutil
from collections.abc import Callable
from typing import Any

from takeup.documents.publish import switch
from takeup.ledger import Ledger
from takeup.night import intent as intents
from takeup.night.intent import Intent
from takeup.site import Site
from takeup.store import Store

log = logging.getLogger("takeup")

_PREFIX = "night-"


def folder_name(number: int) -> str:
    """Name of a night's folder in the queue."""
    return f"{_PREFIX}{number:06d}"


def recover(site: Site, store: Store, finish: Callable[[Site, Store, Intent], Any]) -> None:
    """Bring a site to where an undisturbed run would have left it.

    A torn last line of the ledger is cut; store rows of nights that the ledger lacks are removed; an open
    intent is told to its end; ``current`` points at the queue that the ledger names.

    Parameters
    ----------
    site : Site
    store : Store
        Open for writing, the site's lock held.
    finish : callable
        ``finish(site, store, intent)`` tells an intended night to its end.
    """
    ledger = Ledger(site.folders.ledger)
    if ledger.cut_torn_tail():
        log.warning("a record that a stop cut short was removed from the ledger; it was never committed")
    nights = ledger.nights()
    told = nights[-1]["number"] if nights else 0
    store.forget_after(told)
    _clear_queue(site, told)
    intent = intents.read(site.folders.intent)
    if intent is not None:
        _leave_inbox(site, intent)
        if intent.number > told:
            log.warning("night %s was stopped before its end; it is told again", intent.number)
            finish(site, store, intent)
            return
    if nights:
        switch(site.folders.queue, nights[-1]["queue"])
    intents.remove(site.folders.intent)


def _clear_queue(site: Site, told: int) -> None:
    """Remove folders of nights that were never committed."""
    for folder in site.folders.queue.glob(f"{_PREFIX}*"):
        if folder.name > folder_name(told):
            shutil.rmtree(folder)


def _leave_inbox(site: Site, intent: Intent) -> None:
    """Remove what an intended night has taken, where the stop came before it left the inbox."""
    for file in intent.files:
        path = site.inbox / file.name
        if path.is_file() and path.stat().st_size == file.size:
            with path.open("rb") as content:
                same = hashlib.file_digest(content, "sha256").hexdigest() == file.sha256
            if same:
                path.unlink(missing_ok=True)
