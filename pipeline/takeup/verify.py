"""A whole site checked: whether ledger, archive, store and published queue are what the nights recorded.

Nothing is written. The lock is held, shared, while the ledger, the names of files and the store are read; the
files themselves never change once they stand, and are read after it.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from takeup.audit.archived import archive_differences, named
from takeup.audit.chain import FEWEST_DIGITS, Chain, chain
from takeup.audit.difference import Audit, Difference, Part
from takeup.audit.published import Queue, not_kept, queue_differences
from takeup.audit.stored import book_differences, contents_differences, derived_differences
from takeup.codec import event_to_json
from takeup.derive.derivation import derive
from takeup.documents.head import PAGE, recorded_sha256
from takeup.documents.publish import CURRENT, PARTS
from takeup.documents.verified import audit_record, audit_text
from takeup.errors import StoreDamaged, StoreError, UsageError
from takeup.ledger import DRAFT, grouped
from takeup.night import intent as intents
from takeup.night.intent import Intent
from takeup.night.progress import Progress, unwatched
from takeup.night.versions import versions
from takeup.site import Site
from takeup.site.folders import Folders, recall
from takeup.site.lock import patiently, reading
from takeup.site.settings import read_settings
from takeup.store import Store
from takeup.store.derived import PREFIX, cache_name

if TYPE_CHECKING:
    import pandas as pd

_NIGHT = re.compile(r"night-\d{6,}")
_HEAD = re.compile(rf"[0-9a-f]{{{FEWEST_DIGITS},64}}")
_CHUNK = 1 << 20


@dataclass(frozen=True)
class Verified:
    """An audit, for people and for programs."""

    audit: Audit

    @property
    def sound(self) -> bool:
        """Whether nothing differs."""
        return not self.audit.differences

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return audit_record(self.audit)

    def text(self) -> str:
        """For people."""
        return audit_text(self.audit)


def verify(
    site: Site, *, head: str = "", wait_seconds: float | None = None, progress: Progress = unwatched
) -> Verified:
    """Compare a site with what its nights recorded.

    Parameters
    ----------
    site : Site
    head : str
        A head from a printed page or an outlet, or its first sixteen digits or more; blanks and hyphens do
        not count.
    wait_seconds : float, optional
        How long to wait for a writer; by default what the site's settings say. [s]
    progress : callable

    Returns
    -------
    Verified

    Raises
    ------
    UsageError
        If no night was told yet, or the head is none.
    LockHeld
        If the site is being written all that time.
    """
    given = _digits(head)
    told: list[Difference] = []
    with reading(site.folders.lock, "verify", site.wait(wait_seconds)):
        seen = _seen(site)
        differences = _of_ledger(seen, given, told)
        rows = 0
        if seen.readable:
            progress("store", 0, 1)
            rows, of_store = _of_store(site, seen, told, site.wait(wait_seconds))
            differences += of_store
            progress("store", 1, 1)
    archived = published = 0
    if seen.readable:
        archived, of_archive = _of_archive(seen, progress)
        published, of_queue = _of_queue(seen, told, progress)
        differences += [*of_archive, *of_queue]
    if seen.intent is not None:
        differences, left = _without_leftovers(differences, seen.intent, seen.chain.nights)
        told += left
    order = list(Part)
    return Verified(
        Audit(
            nights=len(seen.chain.nights),
            decisions=len(seen.chain.records) - len(seen.chain.nights),
            head=seen.chain.head,
            vouched=seen.chain.vouched(given) if given else None,
            archived=archived,
            rows=rows,
            published=published,
            differences=tuple(sorted(differences, key=lambda one: order.index(one.part))),
            told=tuple(told),
            head_given=given,
        )
    )


def _digits(head: str) -> str:
    digits = re.sub(r"[\s:-]", "", head).lower()
    if head and not _HEAD.fullmatch(digits):
        raise UsageError(
            f"{head!r} is not a ledger's head",
            why="A head is 64 digits from 0 to 9 and a to f; fewer than sixteen of them prove too little.",
            todo="Type at least the first four groups from the foot of a printed index page: "
            "takeup verify --head 1d62 3c47 a19a 8a75",
        )
    return digits


# --- what lies there -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Seen:
    """A site as it lay there while nobody wrote it."""

    folders: Folders
    chain: Chain
    archive: Mapping[str, Path]
    queue: Mapping[str, Mapping[str, Path]]
    current: str | None
    others: tuple[str, ...]
    intent: Intent | None
    intent_says: str = ""
    hashes: dict[tuple[int, int], str] = field(default_factory=dict)

    @property
    def readable(self) -> bool:
        """Whether the whole ledger reads, so that the rest can be compared with it."""
        return bool(self.chain.nights) and not self.chain.differences

    def sha256(self, path: Path) -> str:
        """Of a plain file, each once whatever its names; blank where it is none."""
        try:
            about = path.lstat()
            if not stat.S_ISREG(about.st_mode):
                return ""
            known = about.st_dev, about.st_ino
            if known not in self.hashes:
                with path.open("rb") as file:
                    self.hashes[known] = hashlib.file_digest(file, "sha256").hexdigest()
        except FileNotFoundError:
            return ""
        return self.hashes[known]


def _seen(site: Site) -> _Seen:
    folders = site.folders
    ledger = folders.ledger
    content = ledger.read_bytes() if ledger.is_file() else b""
    intent, says = None, ""
    try:
        intent = intents.read(folders.intent)
    except (ValueError, TypeError, LookupError, AttributeError) as fault:
        says = f"it does not read ({type(fault).__name__})"
    checked = chain(content, ledger.relative_to(folders.root).as_posix())
    queue: dict[str, Mapping[str, Path]] = {}
    others = []
    link = folders.queue / CURRENT
    for entry in sorted(folders.queue.iterdir()) if folders.queue.is_dir() else ():
        if _NIGHT.fullmatch(entry.name) and entry.is_dir() and not entry.is_symlink():
            queue[entry.name] = dict(_files(entry, set(PARTS)))
        elif entry.name != CURRENT:
            others.append(entry.name)
    seen = _Seen(
        folders,
        checked,
        {path: file for path, file in _files(folders.archive, _pairs()) if path != DRAFT},
        queue,
        str(link.readlink()) if link.is_symlink() else None,
        tuple(others),
        intent,
        says,
    )
    if not content and not queue and not folders.store.exists() and not seen.archive and intent is None:
        site.nights()  # refused in its own words
    return seen


def _pairs() -> set[str]:
    """Names of the folders inside the archive."""
    return {f"{number:02x}" for number in range(256)}


def _files(folder: Path, inside: set[str]) -> Iterator[tuple[str, Path]]:
    """Every file below a folder by its path from there, and every folder but those that belong inside."""
    for place, below, files in os.walk(folder):
        here = Path(place)
        for name in (*files, *(name for name in below if (here / name).is_symlink())):
            yield (here / name).relative_to(folder).as_posix(), here / name
        for name in below:
            path = (here / name).relative_to(folder).as_posix()
            if path not in inside and not (here / name).is_symlink():
                yield path, here / name


# --- the four parts ------------------------------------------------------------------------------------


def _of_ledger(seen: _Seen, head: str, told: list[Difference]) -> list[Difference]:
    where = seen.folders.ledger.relative_to(seen.folders.root).as_posix()
    found = list(seen.chain.differences)
    nights = seen.chain.nights
    if not seen.chain.records and not found and not seen.chain.torn:
        traces = [
            name
            for name, there in (
                ("archive", seen.archive),
                ("store", seen.folders.store.exists()),
                ("queue", seen.queue),
            )
            if there
        ]
        found.append(Difference("ledger_gone", Part.LEDGER, where, None, {"traces": ", ".join(traces)}))
    if seen.chain.torn:
        found.append(Difference("ledger_torn", Part.LEDGER, where, None, {"bytes": seen.chain.torn}))
    if head and not seen.chain.differences and seen.chain.vouched(head) is None:
        found.append(Difference("head_unknown", Part.LEDGER, where, None, {"given": grouped(head)}))
    last, says = len(nights), seen.intent_says
    if seen.intent is not None and not last <= seen.intent.number <= last + 1:
        says = f"it is night {seen.intent.number}, and the ledger ends with night {last}"
    if says:
        found.append(Difference("intent_odd", Part.LEDGER, "ledger/intent.json", None, {"says": says}))
    elif seen.intent is not None:
        number = seen.intent.number
        told.append(Difference("unfinished", Part.LEDGER, "ledger/intent.json", number, {"night": number}))
    return found


def _of_archive(seen: _Seen, progress: Progress) -> tuple[int, list[Difference]]:
    wanted = named(seen.chain.nights)
    if seen.intent is not None:
        wanted = named([seen.intent.record()]) | wanted
    found = {}
    for place, (name, path) in enumerate(seen.archive.items()):
        progress("archive", place, len(seen.archive))
        found[name] = seen.sha256(path)
    progress("archive", len(found), len(found))
    return len(found), list(archive_differences(wanted, found))


def _of_queue(seen: _Seen, told: list[Difference], progress: Progress) -> tuple[int, list[Difference]]:
    heads = {
        record["queue"]: head
        for record, head in zip(seen.chain.records, seen.chain.heads, strict=True)
        if record["kind"] == "night"
    }
    total, done = sum(len(files) for files in seen.queue.values()), 0
    folders: dict[str, dict[str, str]] = {}
    for name, files in seen.queue.items():
        folders[name] = {}
        for path, place in files.items():
            progress("queue", done, total)
            known = seen.sha256(place)
            if path == PAGE and known:
                known = recorded_sha256(path, place.read_bytes(), heads.get(name, ""))
            folders[name][path], done = known, done + 1
    progress("queue", total, total)
    queue = Queue(folders, seen.current, seen.others)
    told += not_kept(seen.chain.nights, queue)
    return total, list(queue_differences(seen.chain.nights, queue))


def _of_store(
    site: Site, seen: _Seen, told: list[Difference], wait_seconds: float
) -> tuple[int, list[Difference]]:
    nights, path = seen.chain.nights, site.folders.store
    where = path.relative_to(site.folders.root).as_posix()
    if not path.exists():
        return 0, [Difference("store_gone", Part.STORE, where)]
    try:
        with patiently(lambda: Store.open(path, read_only=True), wait_seconds) as store:
            contents = store.contents()
            rows = sum(count for tables in contents.values() for count, _ in tables.values())
            found = list(contents_differences(nights, contents, where))
            if not found:  # what follows reads the rows
                events = [event_to_json(event) for event in store.order_events()]
                found = list(book_differences(nights, events, store.orders(), where))
                found += _of_derived(site, store, nights[-1], told, where)
            return rows, found
    except StoreDamaged as damage:
        return 0, [Difference("store_unreadable", Part.STORE, where, None, {"says": damage.what})]


class _Rows(Store):
    """A store without its derived tables, so that everything is derived from the rows."""

    def read_cache(self, table: str, strands: object = None) -> pd.DataFrame:  # noqa: ARG002
        """Nothing."""
        import pandas as pd

        return pd.DataFrame()


def _of_derived(
    site: Site, store: Store, night: dict[str, Any], told: list[Difference], where: str
) -> list[Difference]:
    """The derived tables against the rows, derived again under the settings of the last night."""
    other = night["versions"] != dict(versions())
    there = [name for name in store.counts() if name.startswith(PREFIX)]
    if other or not there:
        told.append(Difference("not_derived", Part.STORE, where, None, {"versions": other}))
        return []
    try:
        settings = read_settings(recall(site.folders.archive, night["settings"]).decode("utf-8"))
    except StoreError:  # the archive's own difference
        return []
    as_of = date.fromisoformat(night["as_of"])
    again = derive(
        _Rows(store.path, store.connection, read_only=True),
        night=night["number"],
        as_of=as_of,
        previous_as_of=as_of,
        settings=settings.measuring,
        lubrication=settings.judgement.lubrication,
        everything=True,
    )
    return [
        one
        for table, frame in again.caches.items()
        for one in derived_differences(cache_name(table), store.read_cache(table), frame, where)
    ]


def _without_leftovers(
    differences: list[Difference], intent: Intent, nights: list[dict[str, Any]]
) -> tuple[list[Difference], list[Difference]]:
    """What a night that was stopped may have left behind, apart from the rest."""
    begun = f"queue/night-{intent.number:06d}"
    before = f"night-{intent.number - 1:06d}"
    committed = len(nights) == intent.number

    def left(one: Difference) -> bool:
        if one.code == "store_beyond":
            return one.night == intent.number
        if one.code == "queue_unknown":
            return one.where == begun or one.where.startswith("queue/.")
        if one.code == "queue_current":
            return committed and one.facts["found"] in (before, "")
        return one.code in ("ledger_torn", "archive_unknown")

    return [one for one in differences if not left(one)], [one for one in differences if left(one)]
