"""The night on a clock: APScheduler asks every few minutes whether a civil day is due and not yet told.

Asking is immune to what breaks a job at a fixed hour: the hour that clock changes skip or repeat, a machine
that slept, a restart, a misfire, two schedulers on one site. The ledger remembers what was told, the site's
lock lets one writer in, and a night told twice changes nothing.
"""

from __future__ import annotations

import logging
import signal
import threading
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from takeup.errors import LockHeld, TakeupError
from takeup.ledger import Ledger
from takeup.night import nightly
from takeup.site import Site

if TYPE_CHECKING:
    from apscheduler.job import Job
    from apscheduler.schedulers.base import BaseScheduler

log = logging.getLogger("takeup")


def due_day(now: datetime, zone: ZoneInfo, tell_at: time, last_told: date | None) -> date | None:
    """The civil day to tell now, if there is one.

    Parameters
    ----------
    now : datetime
        An instant, with its zone.
    zone : ZoneInfo
        The site's zone.
    tell_at : time
        Wall-clock time in that zone from which the day before may be told.
    last_told : date or None
        The `as of` of the last night in the ledger.

    Returns
    -------
    date or None
        The last complete day once its telling time has come, unless it or a later day was told.
    """
    local = now.astimezone(zone)
    days_back = 1 if local.time() >= tell_at else 2
    day = local.date() - timedelta(days=days_back)
    return day if last_told is None or day > last_told else None


def tell_if_due(root: str | Path) -> bool:
    """Tell the night of a site if its day is due; what stops it is logged, and the next asking tries again.

    Returns
    -------
    bool
        Whether a night was told.
    """
    try:
        site = Site.open(Path(root))
        nights = Ledger(site.folders.ledger).nights()
        last_told = date.fromisoformat(nights[-1]["as_of"]) if nights else None
        day = due_day(datetime.now(UTC), site.zone, site.settings.tell_at, last_told)
        if day is None:
            return False
        result = nightly(site, as_of=day, wait_seconds=0)  # the next asking is wait enough
    except LockHeld as held:
        log.info("not now: %s", held)
        return False
    except TakeupError as error:
        log.error("%s", error)  # noqa: TRY400 - a known error says all it has to say
        return False
    log.info("%s", result.headline())
    return True


def add_to(scheduler: BaseScheduler, site: str | Path, *, every_minutes: float = 5) -> Job:
    """Put a site's night on a scheduler of the host's own.

    Parameters
    ----------
    scheduler : apscheduler.schedulers.base.BaseScheduler
        Any APScheduler 3 scheduler.
    site : path
        The site's folder.
    every_minutes : float
        How often to ask whether a day is due. [min]

    Returns
    -------
    apscheduler.job.Job
    """
    from apscheduler.triggers.interval import IntervalTrigger

    root = Site.open(Path(site)).folders.root.resolve()
    return scheduler.add_job(
        tell_if_due,
        IntervalTrigger(minutes=every_minutes, timezone=UTC),
        args=[str(root)],
        id=f"takeup night of {root}",
        name=f"takeup: the night of {root.name}",
        replace_existing=True,
        coalesce=True,
        max_instances=1,
        misfire_grace_time=None,
        next_run_time=datetime.now(UTC),
    )


def run(site: str | Path, *, every_minutes: float = 5) -> None:
    """Tell the nights of a site until asked to stop; a night under way is finished first."""
    from apscheduler.schedulers.background import BackgroundScheduler

    scheduler = BackgroundScheduler(timezone=UTC)
    add_to(scheduler, site, every_minutes=every_minutes)
    asked = threading.Event()
    for asking in (signal.SIGINT, signal.SIGTERM):
        signal.signal(asking, lambda *_: asked.set())
    scheduler.start()
    asked.wait()
    scheduler.shutdown(wait=True)
