"""Whole exports: one older than what is known, or lacking too much, is refused; else what it lacks ends."""

from __future__ import annotations

from dataclasses import dataclass, replace

from takeup.contracts import contract
from takeup.feeds.parsing import Parsed
from takeup.feeds.preflight import FileProblem
from takeup.model import Feed
from takeup.store.closing import Missing, close, missing, newest_stamp
from takeup.store.reasons import FileRefusal
from takeup.store.store import Night
from takeup.store.visible import At


@dataclass(frozen=True)
class Ending:
    """Keys that end with tonight's whole export of a source, and the file that tells."""

    file_id: int
    missing: Missing


def weigh(night: Night, feed: Feed, group: list[Parsed], at: At) -> tuple[list[Parsed], list[Ending]]:
    """Tell the whole exports of a feed that can be used from those that cannot.

    Returns
    -------
    files : list of Parsed
        As given, those that cannot be used with their problem.
    endings : list of Ending
        To be written once the files are merged.
    """
    group = [_not_older(night, item) for item in group]
    endings = []
    for source in sorted({item.dialect.name for item in group if item.dialect.whole and not item.reread}):
        own = [item for item in group if item.dialect.name == source and item.usable]
        if not own:
            continue
        staged = [item.file_id for item in group if item.usable]
        found = missing(night.connection, contract(feed), source, staged, at)
        unread = sum(failure.key is None for item in own for failure in item.failures)
        if found.too_many(unread):
            problem = FileProblem(
                FileRefusal.TOO_MANY_MISSING,
                f"{len(found.row_ids)} of {found.known} keys missing",
                "at most one in ten missing",
            )
            names = {item.file_id for item in own}
            group = [item.refused(problem) if item.file_id in names else item for item in group]
        elif unread:
            held = {"endings_held_back": len(found.row_ids)} if found.row_ids else {}
            names = {own[-1].file_id}
            group = [
                replace(item, notes=item.notes | held) if item.file_id in names else item for item in group
            ]
        else:
            endings.append(Ending(own[-1].file_id, found))
    return group, endings


def _not_older(night: Night, item: Parsed) -> Parsed:
    if not item.usable or not item.dialect.whole or item.stamp is None or item.reread:
        return item
    newest = newest_stamp(night.connection, item.dialect.name)
    if newest is None or item.stamp >= newest:
        return item
    return item.refused(
        FileProblem(FileRefusal.OLDER_EXPORT, "an older export", "one newer than the last taken")
    )


def end(night: Night, endings: list[Ending]) -> None:
    """Write what ends."""
    for ending in endings:
        close(night.connection, ending.missing, ending.file_id, night.number)
