"""Past nights told again beside the site, and held against what the ledger recorded of them.

Each is told with the settings, templates, tables of past forecasts and decisions that it was told with, on
top of the nights before it, in a scratch store. The site lends its ledger and archive, and is not written.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.audit.replay import ORDERS, NightCompared, compared
from takeup.documents.replays import replay_text
from takeup.errors import StoreError, UsageError
from takeup.night.accounts import accounts
from takeup.night.again import PastNight, published_again, told_again
from takeup.night.progress import Progress, unwatched
from takeup.night.record import night_record
from takeup.site import Site
from takeup.site.folders import Folders, archived, recall
from takeup.site.lock import reading
from takeup.site.log import keeping_log
from takeup.store import Store

#: So many damaged files are named in an error; the rest are counted.
NAMED = 5


@dataclass(frozen=True)
class Replayed:
    """What came out of telling past nights again.

    Attributes
    ----------
    folder : Path
        Where their queues lie.
    nights : tuple of NightCompared
        Those that were asked for.
    earlier : tuple of int
        Nights before them whose orders or accounts are not those recorded; what differs later may come of it.
    """

    folder: Path
    nights: tuple[NightCompared, ...]
    earlier: tuple[int, ...]
    template_dirs: Sequence[Path]

    @property
    def equal(self) -> bool:
        """Whether every night came out as recorded."""
        return not self.earlier and all(night.equal for night in self.nights)

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "folder": str(self.folder),
            "equal": self.equal,
            "earlier_different": list(self.earlier),
            "nights": [night.as_dict() for night in self.nights],
        }

    def text(self) -> str:
        """For people."""
        return replay_text(str(self.folder), self.nights, self.earlier, self.template_dirs)


def replay(
    site: Site,
    night: int | None = None,
    *,
    into: Path | None = None,
    wait_seconds: float | None = None,
    progress: Progress = unwatched,
) -> Replayed:
    """Tell a past night again, or every one, and compare.

    Parameters
    ----------
    site : Site
    night : int, optional
        Its number; by default every night is told, published and compared.
    into : Path, optional
        A folder that is new or empty; by default a new one beside the site.
    wait_seconds : float, optional
        How long to wait for a writer; by default what the site's settings say. [s]
    progress : callable

    Returns
    -------
    Replayed

    Raises
    ------
    UsageError
        If there is no such night, or the folder cannot be used.
    LockHeld
        If the site is being written all the time of the wait.
    LedgerError
        If the ledger does not read as it was written.
    StoreError
        If archived bytes are missing or changed: each file is named, before any night is told.
    """
    with keeping_log(site.folders):
        with reading(site.folders.lock, "replay", site.wait(wait_seconds)):
            nights = site.nights()
        # From here on the site may go on: ledger and archive are only ever added to.
        wanted = nights if night is None else [_chosen(nights, night)]
        nights = nights[: wanted[-1]["number"]]
        _refuse_damage(site.folders, nights)
        with _folder_of(site, night, into) as folder:
            return _replayed(site, nights, wanted[0]["number"], folder, progress)


def _replayed(
    site: Site, nights: Sequence[dict[str, Any]], first: int, folder: Path, progress: Progress
) -> Replayed:
    """Tell the nights, those from the first one asked for with their pages."""
    found, earlier = [], []
    queue, scratch = folder / "queue", folder / "scratch"
    previous: Path | None = None
    for each in (queue, scratch):
        each.mkdir()
    with Store.open(scratch / "takeup.duckdb") as store:
        for past in told_again(store, nights, site.folders, progress=progress):
            if past.intent.number < first:
                if not _as_recorded(past):
                    earlier.append(past.intent.number)
                continue
            into = queue / past.record["queue"]
            published = published_again(store, past, site.folders, into, previous)
            told = night_record(past.intent, past.told, published.files, into.name)
            found.append(
                compared(
                    past.record,
                    json.loads(json.dumps(told)),  # as the ledger would give it back: lists, no tuples
                    _orders_then(site.folders, past.record),
                    json.loads((into / ORDERS).read_text("utf-8")),
                )
            )
            previous = into
    shutil.rmtree(scratch)
    return Replayed(folder, tuple(found), tuple(earlier), site.template_dirs)


def _chosen(nights: Sequence[dict[str, Any]], number: int) -> dict[str, Any]:
    for record in nights:
        if record["number"] == number:
            return record
    raise UsageError(
        f"there is no night {number}",
        where="the ledger",
        why=f"It records the nights {nights[0]['number']} to {nights[-1]['number']}, "
        f"as of {nights[0]['as_of']} to {nights[-1]['as_of']}.",
        todo="Name one of them, or give --all. A night's number stands on its index page.",
    )


def _as_recorded(past: PastNight) -> bool:
    """Whether the orders and accounts of a night that is only told on the way are those recorded."""
    told, record = past.told, past.record
    then = told.orders_sha256, accounts(told.accounting)
    return then == (record["orders"], record["accounting"])


def _orders_then(folders: Folders, record: dict[str, Any]) -> dict[str, Any] | None:
    """The orders.json that a night published, if the queue still holds it to the byte."""
    try:
        content = (folders.queue / record["queue"] / ORDERS).read_bytes()
    except OSError:
        return None
    if hashlib.sha256(content).hexdigest() != record["wrote"].get(ORDERS):
        return None
    return dict(json.loads(content))


def _refuse_damage(folders: Folders, nights: Sequence[dict[str, Any]]) -> None:
    """Read all that the nights are told from once, so that damage in the archive is found before the work."""
    used: dict[str, str] = {}
    for record in nights:
        number = record["number"]
        used.setdefault(record["settings"], f"the settings of night {number}")
        if record["fleet_before"]:
            used.setdefault(record["fleet_before"], f"the table of past forecasts before night {number}")
        for name, sha256 in record["templates"].items():
            used.setdefault(sha256, f"templates/{name} of night {number}")
        for file in record["files"]:
            used.setdefault(file["sha256"], f"{file['name']} of night {number}")
    damaged = [sha256 for sha256 in used if not _whole(folders.archive, sha256)]
    if not damaged:
        return
    told = [f"{used[sha256]} ({archived(folders.archive, sha256)})" for sha256 in damaged[:NAMED]]
    more = f" and {len(damaged) - NAMED} more" if len(damaged) > NAMED else ""
    raise StoreError(
        "archived bytes are missing or are not those that were received: " + ", ".join(told) + more,
        where=str(folders.archive),
        why="Past nights are told from them; no night was told.",
        todo="Put the archive back from your backup.",
    )


def _whole(archive: Path, sha256: str) -> bool:
    try:
        recall(archive, sha256)
    except StoreError:
        return False
    return True


@contextmanager
def _folder_of(site: Site, night: int | None, into: Path | None) -> Iterator[Path]:
    """The folder to tell nights into, new or empty; gone again where telling them failed."""
    folder = (into or _beside(site, night)).absolute()
    root = site.folders.root.resolve()
    if folder.resolve().is_relative_to(root):
        raise UsageError(
            "the folder for nights told again lies inside the site",
            where=str(folder),
            why="What is told again must not mix with what the site holds.",
            todo="Name a folder beside the site with --into.",
        )
    existed = folder.exists()
    if existed and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(
            "this folder holds something already" if folder.is_dir() else "a file is called so",
            where=str(folder),
            why="Nothing is written over.",
            todo="Name a new folder with --into.",
        )
    folder.mkdir(parents=True, exist_ok=True)
    try:
        yield folder
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        if existed:
            folder.mkdir()
        raise


def _beside(site: Site, night: int | None) -> Path:
    """The first name beside the site that is free."""
    root = site.folders.root.resolve()
    name = f"{root.name}-replay-{'all' if night is None else night}"
    places = (root.with_name(name if count == 1 else f"{name}-{count}") for count in range(1, 10_000))
    return next(place for place in places if not place.exists())
