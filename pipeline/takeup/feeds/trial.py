"""One file checked without a site: what a night would make of it, and what it could not tell."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from takeup.contracts import contract
from takeup.errors import InputUnusable
from takeup.feeds.archive import archive
from takeup.feeds.dialect import SourceDialect
from takeup.feeds.inbox import Found
from takeup.feeds.intake import take
from takeup.model import Accounting, KeptOut
from takeup.store.store import Store


@dataclass(frozen=True)
class CheckResult:
    """What a check found.

    Attributes
    ----------
    rows : Accounting
    kept_out : tuple of KeptOut
        Rows refused; one of line 0 stands for the whole file.
    notes : dict
        ``columns_unread``, ``byte_order_mark``, ``line_by_line``, ``blank_lines``, ``last_line_open``.
    not_checked : tuple of str
        Codes of what only a site can tell: ``known_rows``, ``missing_keys``, ``strand_known``,
        ``machine_known``, ``dated_later``.
    """

    rows: Accounting
    kept_out: tuple[KeptOut, ...]
    notes: dict[str, object]
    not_checked: tuple[str, ...]

    @property
    def clean(self) -> bool:
        """Whether every row would be taken."""
        return self.rows.refused == 0 and not self.kept_out


def check(path: Path, source: SourceDialect, *, site_zone: str, scratch: Path) -> CheckResult:
    """Read a file as a night would, into a store in memory.

    Parameters
    ----------
    path : Path
    source : SourceDialect
        How it is written; its file patterns are not asked.
    site_zone : str
    scratch : Path
        A folder for copies; nothing else is written.

    Raises
    ------
    InputUnusable
        If the file is not there or cannot be read.
    """
    try:
        about = path.stat()
    except OSError as problem:
        raise InputUnusable(
            f"the file cannot be read: {problem.strerror}", where=str(path), todo="Check its name and rights."
        ) from problem
    if path.is_dir():
        raise InputUnusable(
            "this is a folder, and a check reads files",
            where=str(path),
            todo=f"Name the files in it, for example {path / '*.csv'}.",
        )
    found = Found(path, path.name, about.st_size, about.st_mtime_ns, source.name)
    taken, left = archive([found], scratch / "archive")
    if left:
        raise InputUnusable(
            "the file cannot be read, or is being written", where=str(path), todo="Wait, or check its rights."
        )
    rules = contract(source.feed)
    with Store.open(None) as store:
        with store.night(1, date.max) as night:
            (rows,) = take(night, taken, [source], site_zone=site_zone)
        notes = json.loads(store.files(1)["notes"][0])
        kept_out = tuple(store.kept_out())
    unknown = [f"{column}_known" for column in rules.refers]
    later = ["dated_later"] if rules.event else []
    whole = ["missing_keys"] if source.whole else []
    return CheckResult(rows, kept_out, notes, ("known_rows", *whole, *unknown, *later))
