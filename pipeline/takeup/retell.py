"""Past nights told again."""

from __future__ import annotations

from takeup.ledger import Ledger
from takeup.night.progress import Progress, unwatched
from takeup.night.rebuilding import Rebuilt, rebuild_store
from takeup.site import Site
from takeup.site.lock import writing


def rebuild(site: Site, *, progress: Progress = unwatched) -> Rebuilt:
    """Make the store again from archive and ledger, and the last night's queue if it is gone.

    Raises
    ------
    LockHeld
        If another process is writing the site.
    StoreError
        If archive or ledger are not whole.
    """
    with writing(site.folders.lock, "rebuild"):
        Ledger(site.folders.ledger).cut_torn_tail()
        return rebuild_store(site, progress)
