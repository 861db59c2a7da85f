"""The site's store made again, while nobody else reads or writes it."""

from __future__ import annotations

from takeup.ledger import Ledger
from takeup.night.progress import Progress, unwatched
from takeup.night.rebuilding import Rebuilt, rebuild_store
from takeup.site import Site
from takeup.site.lock import writing
from takeup.site.log import keeping_log


def rebuild(site: Site, *, wait_seconds: float | None = None, progress: Progress = unwatched) -> Rebuilt:
    """Make the store again from archive and ledger, and the last night's queue if it is gone.

    Parameters
    ----------
    site : Site
    wait_seconds : float, optional
        How long to wait for others who hold the site; by default what its settings say. [s]
    progress : callable

    Raises
    ------
    LockHeld
        If another process holds the site all that time.
    StoreError
        If archive or ledger are not whole.
    """
    with keeping_log(site.folders), writing(site.folders.lock, "rebuild", site.wait(wait_seconds)):
        Ledger(site.folders.ledger).cut_torn_tail()
        return rebuild_store(site, progress)
