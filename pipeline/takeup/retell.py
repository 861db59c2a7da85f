"""Nights told again from ledger and archive: a new store, with equal orders."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.documents.publish import publish, switch
from takeup.ledger import Ledger
from takeup.night.intent import Intent
from takeup.night.progress import Progress, unwatched
from takeup.night.sheets import night_sheet
from takeup.night.story import archived_files, templates_of
from takeup.night.telling import Told, tell
from takeup.night.versions import versions
from takeup.site import Site
from takeup.site.folders import recall
from takeup.site.lock import writing
from takeup.site.settings import Settings, read_settings
from takeup.store import Store


@dataclass(frozen=True)
class Rebuilt:
    """What came out of telling every night again.

    ``different`` names the nights whose orders or accounts are not those the ledger recorded; ``other_versions``
    those that another version told.
    """

    nights: int
    different: tuple[int, ...]
    other_versions: tuple[int, ...]
    queue_written: bool

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
        }

    def text(self) -> str:
        """For people."""
        lines = [f"{self.nights} nights told again into a new store."]
        if self.equal:
            lines.append("Every order is the one the ledger recorded.")
        else:
            listed = ", ".join(str(number) for number in self.different)
            lines.append(f"Orders or accounts differ from the ledger's in night {listed}.")
            lines.append("The old store stands as it was; the new one was thrown away.")
        if self.other_versions:
            listed = ", ".join(str(number) for number in self.other_versions)
            lines.append(f"Night {listed} was told under other versions than those installed here.")
        if self.queue_written:
            lines.append("The last night's queue was missing or changed, and was written again.")
        return "\n".join(lines)


def rebuild(site: Site, *, progress: Progress = unwatched) -> Rebuilt:
    """Make the store again from archive and ledger, and the last night's queue if it is gone.

    Where a night told under the versions installed here comes out otherwise than recorded, the old store
    stays.

    Raises
    ------
    LockHeld
        If another process is writing the site.
    StoreError
        If archive or ledger are not whole.
    """
    folders = site.folders
    draft = folders.store.with_suffix(".rebuilt")
    draft.unlink(missing_ok=True)
    with writing(folders.lock, "rebuild"):
        ledger = Ledger(folders.ledger)
        ledger.cut_torn_tail()
        nights = ledger.nights()
        different, others, written = [], [], False
        with Store.open(draft) as store:
            for place, record in enumerate(nights):
                progress("nights", place, len(nights))
                settings = read_settings(recall(folders.archive, record["settings"]).decode("utf-8"))
                told = _told_again(site, store, record, settings)
                if record["versions"] != dict(versions()):
                    others.append(record["number"])
                if told.orders_sha256 != record["orders"] or _accounts(told) != record["accounting"]:
                    different.append(record["number"])
                if place == len(nights) - 1:
                    written = _queue_again(site, store, told, record, settings)
            progress("nights", len(nights), max(len(nights), 1))
        result = Rebuilt(len(nights), tuple(different), tuple(others), written)
        if result.equal:
            draft.replace(folders.store)
            Path(f"{folders.store}.wal").unlink(missing_ok=True)
        else:
            draft.unlink()
    return result


def _told_again(site: Site, store: Store, record: dict[str, Any], settings: Settings) -> Told:
    intent = Intent.of(record)
    return tell(
        store, intent, settings, archived_files(site.folders, intent.files), site.folders.archive
    )


def _accounts(told: Told) -> list[dict[str, Any]]:
    return [
        {
            "file": one.file,
            "sha256": one.sha256,
            "feed": one.feed,
            "read": one.read,
            "new": one.new,
            "duplicate": one.duplicate,
            "superseding": one.superseding,
            "refused": one.refused,
            "waiting": one.waiting,
        }
        for one in told.accounting
    ]


def _queue_again(
    site: Site, store: Store, told: Told, record: dict[str, Any], settings: Settings
) -> bool:
    """Write a night's queue again unless it stands as recorded."""
    import hashlib

    folder = site.folders.queue / record["queue"]
    stands = all(
        (folder / path).is_file()
        and hashlib.sha256((folder / path).read_bytes()).hexdigest() == sha256
        for path, sha256 in record["wrote"].items()
    )
    if not stands:
        intent = Intent.of(record)
        sheet = night_sheet(store, told, intent, settings, ledger_head=record["previous"])
        shutil.rmtree(folder, ignore_errors=True)
        with templates_of(intent, site.folders) as template_dirs:
            publish(sheet, folder, None, template_dirs)
    switch(site.folders.queue, record["queue"])
    return not stands
