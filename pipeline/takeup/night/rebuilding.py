"""The store made again: every night told again from ledger and archive, into a new file."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.documents.head import recorded_sha256
from takeup.documents.publish import switch
from takeup.ledger import Ledger, head_of
from takeup.night.accounts import accounts, counted
from takeup.night.again import PastNight, published_again, told_again
from takeup.night.progress import Progress, unwatched
from takeup.night.versions import versions
from takeup.site import Site
from takeup.site.folders import keep
from takeup.store import Store


@dataclass(frozen=True)
class Rebuilt:
    """What came out of telling every night again.

    ``different`` names the nights whose orders or accounts are not those the ledger recorded;
    ``other_versions`` those that other versions told. ``used`` says whether the new store took the old one's
    place: where every night came out as recorded, or where versions other than those installed here told the
    first that did not, so that nothing better can be had.
    """

    nights: int
    different: tuple[int, ...]
    other_versions: tuple[int, ...]
    queue_written: bool
    used: bool

    @property
    def equal(self) -> bool:
        """Whether every night came out as recorded."""
        return not self.different

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "nights": self.nights,
            "different": list(self.different),
            "other_versions": list(self.other_versions),
            "queue_written": self.queue_written,
            "used": self.used,
        }

    def text(self) -> str:
        """For people."""
        lines = [f"{self.nights} nights told again into a new store."]
        if self.equal:
            lines.append("Every order is the one the ledger recorded.")
        else:
            listed = ", ".join(map(str, self.different))
            lines.append(f"Orders or accounts differ from the ledger's in night {listed}.")
            lines.append(
                "Other versions told them, so the new store is used."
                if self.used
                else "The old store stands as it was; the new one was thrown away."
            )
        if self.other_versions:
            listed = ", ".join(map(str, self.other_versions))
            lines.append(f"Night {listed} was told under other versions than those installed here.")
        if self.queue_written:
            lines.append("The last night's queue was missing or changed, and was written again.")
        return "\n".join(lines)


def whole(store: Store, nights: list[dict[str, Any]]) -> bool:
    """Whether the store holds as many rows as the last night left in it."""
    if not nights:
        return True
    last = nights[-1]
    return bool(store.last_night() == last["number"] and counted(store.counts()) == last["counts"])


def rebuild_store(site: Site, progress: Progress = unwatched) -> Rebuilt:
    """Make the store again, and the last night's queue if it is gone; the site's lock is held by the caller.

    Where a night comes out otherwise than these versions recorded it, the old store stays.

    Raises
    ------
    StoreError
        If archive or ledger are not whole.
    """
    folders = site.folders
    draft = folders.store.with_suffix(".rebuilt")
    _remove(draft)
    nights = Ledger(folders.ledger).nights()
    different, others, written = [], [], False
    with Store.open(draft) as store:
        for past in told_again(store, nights, folders, progress=progress):
            record, told = past.record, past.told
            keep(told.fleet_record, folders.archive)
            if record["versions"] != dict(versions()):
                others.append(record["number"])
            if (told.orders_sha256, accounts(told.accounting), told.stored) != (
                record["orders"],
                record["accounting"],
                record["stored"],
            ):
                different.append(record["number"])
            if _usable(different, others) and record is nights[-1]:
                written = _queue_again(site, store, past)
    used = _usable(different, others)
    if used:
        _remove(folders.store)
        draft.replace(folders.store)
    else:
        _remove(draft)
    return Rebuilt(len(nights), tuple(different), tuple(others), written, used)


def _usable(different: list[int], others: list[int]) -> bool:
    """Whether other versions told the first night that differs; it bears on those after it."""
    return not different or different[0] in others


def _queue_again(site: Site, store: Store, past: PastNight) -> bool:
    """Write a night's queue again unless it stands as recorded."""
    folder, head = site.folders.queue / past.record["queue"], head_of(past.record)
    stands = all(
        (folder / path).is_file() and recorded_sha256(path, (folder / path).read_bytes(), head) == sha256
        for path, sha256 in past.record["wrote"].items()
    )
    if not stands:
        draft, old = (folder.with_name(f".{folder.name}.{part}") for part in ("again", "old"))
        published_again(store, past, site.folders, draft, None)
        shutil.rmtree(old, ignore_errors=True)
        if folder.exists():
            folder.rename(old)
        draft.rename(folder)
        shutil.rmtree(old, ignore_errors=True)
    switch(site.folders.queue, past.record["queue"])
    return not stands


def _remove(store: Path) -> None:
    """Remove a store's file and the log that belongs to it."""
    for path in (store, Path(f"{store}.wal")):
        path.unlink(missing_ok=True)
