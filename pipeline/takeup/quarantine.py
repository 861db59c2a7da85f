"""Rows kept out: listed with reason and raw text, and what a person may decide about them.

A decision is a record in the ledger, with who decided it and why; the next night acts on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from takeup.derive.derivation import derive
from takeup.documents.answers import kept_out_text
from takeup.errors import UsageError
from takeup.ledger import Ledger
from takeup.model import Feed, KeptOut
from takeup.night.decided import set_aside_by_people
from takeup.night.telling import placed
from takeup.orders import without_effect
from takeup.site import Site
from takeup.site.folders import recall
from takeup.site.lock import writing
from takeup.site.reading import reading_store
from takeup.site.settings import read_settings
from takeup.store import Store


@dataclass(frozen=True)
class Listed:
    """The rows kept out as of the last night."""

    rows: tuple[KeptOut, ...]
    template_dirs: Sequence[Path]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "kept_out": [
                asdict(row) | {"since": row.since.isoformat() if row.since else None} for row in self.rows
            ]
        }

    def text(self) -> str:
        """For people."""
        return kept_out_text(self.rows, self.template_dirs)


def kept_out(site: Site, *, wait_seconds: float | None = None) -> Listed:
    """The rows refused, waiting and set aside, by takeup or by a person, as of the last night.

    Parameters
    ----------
    site : Site
    wait_seconds : float, optional
        How long to wait for a writer; by default what the site's settings say. [s]

    Raises
    ------
    UsageError
        If no night was told yet.
    LockHeld
        If the site is being written all that time.
    """
    site.nights()  # refused in its own words while none was told
    with reading_store(site.folders, "quarantine", site.wait(wait_seconds)) as store:
        nights = site.nights()
        aside = _set_aside(site, store, nights)
        return Listed((*store.kept_out(), *aside), site.template_dirs)


def _set_aside(site: Site, store: Store, nights: list[dict[str, Any]]) -> list[KeptOut]:
    """The rows that the last night kept and did not use: by derivation, as close-outs, by people."""
    night, archive = nights[-1], site.folders.archive
    as_of = date.fromisoformat(night["as_of"])
    settings = read_settings(recall(archive, night["settings"]).decode("utf-8"))
    derived = derive(
        store,
        night=night["number"],
        as_of=as_of,
        previous_as_of=as_of,
        settings=settings.measuring,
        lubrication=settings.judgement.lubrication,
    )
    close_outs = store.rows(Feed.ORDER_CLOSEOUTS, as_of=as_of)
    book = store.orders(night=night["number"] - 1)
    return [
        *derived.set_aside,
        *placed(store, without_effect(book, close_outs, as_of)),
        *set_aside_by_people(nights, (), archive, settings.sources),
    ]


def read_again(
    site: Site, sha256: str, *, reason: str, by: str, wait_seconds: float | None = None
) -> dict[str, Any]:
    """Decide that the next night reads an archived file again, under the settings of that night.

    Parameters
    ----------
    site : Site
    sha256 : str
        Of the file, or as many of its first figures as name one file only.
    reason, by : str
    wait_seconds : float, optional
        As for :func:`kept_out`.

    Raises
    ------
    LockHeld
        If others hold the site all that time.
    UsageError
        If no file taken so far, or more than one, is called so.
    """
    with writing(site.folders.lock, "quarantine", site.wait(wait_seconds)):
        file = _taken(site, sha256)
        return _decide(site, {"act": "read again", **file, "reason": reason, "by": by})


def set_aside(
    site: Site, place: str, *, reason: str, by: str, wait_seconds: float | None = None
) -> dict[str, Any]:
    """Decide that a row is not to be used from the next night on.

    Parameters
    ----------
    site : Site
    place : str
        ``SHA256:LINE``; the SHA-256 as for :func:`read_again`.
    reason, by : str
    wait_seconds : float, optional
        As for :func:`kept_out`.

    Raises
    ------
    LockHeld
        If others hold the site all that time.
    UsageError
        If the place names no line of a file taken so far.
    """
    sha256, _, line = place.rpartition(":")
    if not sha256 or not line.isdecimal():
        raise UsageError(
            f"{place!r} is not a place such as 3f2a91:14",
            todo="Write the file's SHA-256 (its first figures will do), a colon and the line. "
            "'takeup quarantine' lists both.",
        )
    with writing(site.folders.lock, "quarantine", site.wait(wait_seconds)):
        file = _taken(site, sha256)
        row = {"sha256": file["sha256"], "file": file["file"], "line": int(line)}
        with Store.open(site.folders.store, read_only=True) as store:
            if not store.holds(row["sha256"], row["line"]):
                raise UsageError(
                    f"line {line} of {file['file']} holds no row that is used or kept out",
                    why="A row that came a second time is known by the place where it came first.",
                    todo="Name the line as 'takeup why' or 'takeup quarantine' prints it.",
                )
        return _decide(site, {"act": "set aside", **row, "reason": reason, "by": by})


def _decide(site: Site, decision: dict[str, Any]) -> dict[str, Any]:
    """Put a decision into the ledger, behind a record that a stop may have cut short."""
    ledger = Ledger(site.folders.ledger)
    ledger.cut_torn_tail()
    record = {"kind": "decision", **decision}
    ledger.append(record)
    return record


def _taken(site: Site, sha256: str) -> dict[str, Any]:
    """The one file that a night took whose SHA-256 begins so."""
    files = {
        file["sha256"]: {
            "file": file["name"],
            "sha256": file["sha256"],
            "source": file["source"],
            "size": file["size"],
        }
        for night in Ledger(site.folders.ledger).nights()
        for file in night["files"]
        if file["sha256"].startswith(sha256)
    }
    if len(files) != 1:
        many = f"{len(files)} files begin so" if files else "no night took such a file"
        raise UsageError(
            f"{sha256!r} does not name one file: {many}",
            todo="'takeup quarantine' lists the SHA-256 of every file with rows kept out.",
        )
    return next(iter(files.values()))
