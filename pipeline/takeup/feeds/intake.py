"""Archived files become rows: parse, merge, account. One story a night."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from takeup.contracts import contract
from takeup.errors import OurFault, SettingsError
from takeup.feeds.archive import Archived
from takeup.feeds.dialect import SourceDialect
from takeup.feeds.lines import raw_lines
from takeup.feeds.parse import Parsed, parse
from takeup.model import Accounting, Feed
from takeup.store.accounts import FileRecord, answer, next_file_id, record_file, record_refused, record_waited
from takeup.store.merging import Counted, merge, waiting_tonight
from takeup.store.staging import LINES_A_FILE
from takeup.store.store import Night, day_number
from takeup.store.visible import At


def take(
    night: Night, archived: Iterable[Archived], sources: Iterable[SourceDialect], *, site_zone: str
) -> list[Accounting]:
    """Take the archived files of a night into the store.

    The order of arrival within a night does not matter: files are taken by feed, hash and name.

    Parameters
    ----------
    night : Night
        An open night.
    archived : iterable of Archived
    sources : iterable of SourceDialect
    site_zone : str
        Name of the site's time zone.

    Returns
    -------
    list of Accounting
        One a file, in the order taken.
    """
    by_name = {source.name: source for source in sources}
    order = list(Feed)
    files = sorted(archived, key=lambda item: (order.index(_owner(item, by_name).feed), item.sha256, item.name))
    first_id = next_file_id(night.connection)
    found: list[Accounting] = []
    with tempfile.TemporaryDirectory(prefix="takeup-") as folder:
        cursor = night.connection.cursor()
        parsed = [
            parse(
                cursor,
                item.path,
                item.name,
                _owner(item, by_name),
                file_id=first_id + place,
                site_zone=site_zone,
                scratch=Path(folder),
            )
            for place, item in enumerate(files)
        ]
        by_id = {first_id + place: item for place, item in enumerate(files)}
        for feed in order:
            group = [item for item in parsed if item.dialect.feed is feed]
            if group:
                found += _take_feed(night, feed, group, by_id)
    return found


def _owner(item: Archived, by_name: Mapping[str, SourceDialect]) -> SourceDialect:
    try:
        return by_name[item.source]
    except KeyError:
        raise SettingsError(
            f"no source is called {item.source!r}",
            where=item.name,
            todo="Name the source in the settings as it was when the file was taken.",
        ) from None


def _take_feed(night: Night, feed: Feed, group: list[Parsed], by_id: Mapping[int, Archived]) -> list[Accounting]:
    """Merge, count and record the files of one feed."""
    connection = night.connection
    usable = [item.file_id for item in group if item.problem is None]
    counted, torn = merge(connection, contract(feed), usable, night.number)
    waits = waiting_tonight(connection, contract(feed), At(night.number, day_number(night.as_of)))
    found = []
    for item in group:
        archived = by_id[item.file_id]
        refused = [*item.failures, *torn.get(item.file_id, ())]
        raws = dict(item.raws)
        if item.problem is None and item.text is not None:
            waiting_lines = set(waits.lines.get(item.file_id, ()))
            texts = raw_lines(item.text, {failure.line for failure in refused} - set(raws) | waiting_lines)
            raws = texts | item.joined | raws
            record_waited(
                connection,
                night.number,
                {item.file_id * LINES_A_FILE + line: raws[line] for line in sorted(waiting_lines)},
            )
        record_refused(connection, night.number, item.file_id, feed, refused, raws)
        rows = _accounting(item, archived, counted.get(item.file_id), waits.new.get(item.file_id, 0))
        record_file(
            connection,
            FileRecord(
                item.file_id,
                night.number,
                feed,
                item.dialect.name,
                archived.name,
                archived.sha256,
                item.dialect.whole,
                rows,
                stamp=item.stamp,
                newest_day=waits.newest.get(item.file_id),
                refused_whole=item.problem.reason.value if item.problem else "",
                notes=item.notes,
            ),
        )
        found.append(rows)
    answer(connection, feed, night.number)
    return found


def _accounting(item: Parsed, archived: Archived, counted: Counted | None, waiting: int) -> Accounting:
    """How the rows of one file ended.

    Raises
    ------
    OurFault
        If the outcomes do not add up to the rows read.
    """
    counted = counted or Counted(item.file_id, 0, 0, 0, item.rows)
    rows = Accounting(
        archived.name,
        archived.sha256,
        item.dialect.feed.value,
        read=item.rows,
        new=counted.new - waiting,
        duplicate=counted.duplicate,
        superseding=counted.superseding,
        refused=len(item.failures) + counted.contradicting,
        waiting=waiting,
    )
    if not rows.balances():
        raise OurFault(f"the rows do not add up: {rows}", where=archived.name, why="A row would be lost or doubled.")
    return rows
