"""Feeds that are silent for longer than usual: silence is not health."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from takeup.contracts import contract
from takeup.model import Feed
from takeup.store import Store

#: Feeds that speak only when something changes or happens.
OCCASIONAL = frozenset(
    {
        Feed.MACHINES,
        Feed.ENERGY_SOURCES,
        Feed.STRANDS,
        Feed.SHUTDOWNS,
        Feed.SPROCKET_CHECKS,
        Feed.TAKEUP_READINGS,
        Feed.ORDER_CLOSEOUTS,
    }
)


@dataclass(frozen=True)
class Stale:
    """A feed that has gone silent."""

    feed: str
    last_night: int | None
    last_as_of: date | None
    newest_row_on: date | None
    usual_days: float


def stale_feeds(store: Store, as_of: date, after_days: int, night: int | None = None) -> list[Stale]:
    """The feeds that were not delivered for more than some days.

    A feed that was never delivered is stale from the start. Feeds that speak only when something changes are
    left out.

    Parameters
    ----------
    store : Store
    as_of : date
    after_days : int
        A site's setting. [d]
    night : int, optional
        As known at that night; the last one if left out.
    """
    found = []
    for feed in Feed:
        if feed in OCCASIONAL:
            continue
        last = store.last_delivery(feed, night)
        usual = contract(feed).usual_delay_days
        if last is None:
            found.append(Stale(feed.value, None, None, None, usual))
            continue
        night, told, newest_day = last
        newest = date(1970, 1, 1) + timedelta(days=newest_day) if newest_day is not None else None
        if (as_of - told).days > after_days:
            found.append(Stale(feed.value, night, told, newest, usual))
    return found
