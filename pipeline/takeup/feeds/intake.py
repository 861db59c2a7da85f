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
from takeup.feeds.parsing import Parsed, only_refused, parse
from takeup.feeds.whole import end, weigh
from takeup.model import Accounting, Feed
from takeup.store.accounts import (
    FileRecord,
    answer,
    next_file_id,
    record_files,
    record_refused,
    record_waited,
)
from takeup.store.merging import Counted, merge, waiting_tonight
from takeup.store.staging import LINES_A_FILE, Failure, prepare
from takeup.store.store import Night, day_number
from takeup.store.visible import At


def take(
    night: Night,
    archived: Iterable[Archived],
    sources: Iterable[SourceDialect],
    *,
    site_zone: str,
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
        One a file, in the order taken. A file refused as a whole has all its rows refused.

    Raises
    ------
    SettingsError
        If a file's source is not among the sources.
    """
    by_name = {source.name: source for source in sources}
    order = list(Feed)
    files = sorted(
        archived, key=lambda item: (order.index(_owner(item, by_name).feed), item.sha256, item.name)
    )
    by_id = dict(enumerate(files, start=next_file_id(night.connection)))
    found: list[Accounting] = []
    with tempfile.TemporaryDirectory(prefix="takeup-") as folder:
        # A line that does not load ends a transaction, so files are staged beside the night's own.
        beside = night.connection.cursor()
        for feed in sorted({_owner(item, by_name).feed for item in files}):
            prepare(beside, contract(feed))
        parsed = []
        for file_id, item in by_id.items():
            dialect = _owner(item, by_name)
            once = parse(
                beside,
                item.path,
                item.name,
                dialect,
                file_id=file_id,
                site_zone=site_zone,
                scratch=Path(folder),
            )
            parsed.append(only_refused(beside, once, item.sha256) if item.reread else once)
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


def _take_feed(
    night: Night, feed: Feed, group: list[Parsed], by_id: Mapping[int, Archived]
) -> list[Accounting]:
    """Merge, count and record the files of one feed."""
    connection = night.connection
    at = At(night.number, day_number(night.as_of))
    group, endings = weigh(night, feed, group, at)
    usable = {item.file_id: item.reread or night.number for item in group if item.usable}
    counted, torn = merge(connection, contract(feed), usable, night.number)
    end(night, endings)
    waits = waiting_tonight(connection, contract(feed), at)
    found = []
    all_refused: list[tuple[int, Failure, str]] = []
    all_waiting: dict[int, str] = {}
    records: list[FileRecord] = []
    for item in group:
        archived = by_id[item.file_id]
        waiting_lines = waits.lines.get(item.file_id, [])
        refused = _refused(item, torn.get(item.file_id, []))
        raws = _texts(item, {failure.line for failure in refused} | set(waiting_lines))
        all_refused += [(item.file_id, failure, raws[failure.line]) for failure in refused]
        all_waiting |= {item.file_id * LINES_A_FILE + line: raws[line] for line in waiting_lines}
        rows = _accounting(item, archived, counted.get(item.file_id), waits.new.get(item.file_id, 0))
        records.append(
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
    record_files(connection, records)
    record_refused(connection, night.number, feed, all_refused)
    record_waited(connection, night.number, all_waiting)
    answer(connection, feed, night.number)
    return found


def _refused(item: Parsed, torn: list[Failure]) -> list[Failure]:
    """The rows a file is refused; a file refused as a whole stands as its line 0."""
    if item.problem is None:
        return [*item.failures, *torn]
    problem = item.problem
    return [
        Failure(
            0, problem.reason.value, problem.column, problem.found, problem.wanted, item.dialect.name, None
        )
    ]


def _texts(item: Parsed, lines: set[int]) -> dict[int, str]:
    """Texts of lines as they came; line 0 shows the header."""
    if item.text is None:
        return dict.fromkeys(lines, "")
    known = item.joined | item.raws
    missing = lines - set(known)
    texts = raw_lines(item.text, {line or 1 for line in missing})
    return {line: known[line] if line in known else texts.get(line or 1, "") for line in lines}


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
        raise OurFault(
            f"the rows do not add up: {rows}", where=archived.name, why="A row would be lost or doubled."
        )
    return rows
