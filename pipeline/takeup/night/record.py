"""What the ledger records of a night."""

from __future__ import annotations

from typing import Any

from takeup.codec import event_to_json
from takeup.night.accounts import accounts, counted
from takeup.night.intent import Intent
from takeup.night.telling import Told
from takeup.night.versions import versions


def night_record(intent: Intent, told: Told, wrote: dict[str, str], queue: str) -> dict[str, Any]:
    """The record of a told night, as the ledger takes it.

    Parameters
    ----------
    intent : Intent
    told : Told
    wrote : dict
        Relative path of every published file to its SHA-256, of the index without the ledger's head.
    queue : str
        Name of the folder they lie in.
    """
    return {
        "kind": "night",
        **intent.record(),
        "versions": dict(versions()),
        "fleet": told.fleet_sha256,
        "accounting": accounts(told.accounting),
        "orders": told.orders_sha256,
        "events": [event_to_json(event) for event in told.updated.events],
        "stored": told.stored,
        "counts": counted(told.counts),
        "standing": standing(told),
        "queue": queue,
        "wrote": wrote,
    }


def standing(told: Told) -> dict[str, Any]:
    """What stands from a night until the next one is told, by the names of :class:`NightResult`."""
    return {
        "refused_files": tuple(one.file for one in told.refused_files),
        "unused": told.unused,
        "open_orders": len(told.updated.open),
        "stop_now": sum(order.urgency.rank == 0 for order in told.updated.open),
        "kept_out": len(told.kept_out),
        "cannot_judge": told.cannot_judge,
        "stale_feeds": tuple(stale.feed for stale in told.stale),
    }
