"""Exports checked before they are sent: read as a night would, with nothing written."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from takeup.documents.answers import check_text
from takeup.errors import SettingsError, UsageError
from takeup.feeds import SourceDialect
from takeup.feeds.dialect import default_sources
from takeup.feeds.inbox import owners_of
from takeup.feeds.trial import CheckResult, check
from takeup.resources import templates_dir
from takeup.site.settings import read_settings


@dataclass(frozen=True)
class Checked:
    """What checking found, file by file."""

    results: tuple[CheckResult, ...]

    @property
    def exit_code(self) -> int:
        """0 where every row would be taken; 3 where a file could not be used at all; else 1."""
        if any(row.line == 0 for one in self.results for row in one.kept_out):
            return 3
        return 0 if all(one.clean for one in self.results) else 1

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"files": [asdict(one) for one in self.results]}

    def text(self) -> str:
        """For people."""
        return check_text(self.results, (templates_dir(),))


def check_files(files: Sequence[Path], *, feed: str | None, settings: Path | None) -> Checked:
    """Read export files as a night would.

    Parameters
    ----------
    files : sequence of Path
    feed : str, optional
        What the files are; by default their names say.
    settings : Path, optional
        A settings file whose sources map the files.

    Raises
    ------
    UsageError
        If nothing says what a file is.
    SettingsError
        If the settings cannot be used.
    InputUnusable
        If a file cannot be read.
    """
    zone, sources = "UTC", default_sources()
    if settings is not None:
        try:
            text = settings.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            why = "it is not UTF-8" if isinstance(error, UnicodeDecodeError) else error.strerror
            raise SettingsError(
                f"the settings cannot be read: {why}", where=str(settings), todo="Check its name and rights."
            ) from error
        own = read_settings(text, settings.name)
        zone, sources = own.time_zone, own.sources
    with tempfile.TemporaryDirectory(prefix="takeup-check-") as scratch:
        return Checked(
            tuple(
                check(path, _source(path, feed, sources), site_zone=zone, scratch=Path(scratch))
                for path in files
            )
        )


def _source(path: Path, feed: str | None, sources: Sequence[SourceDialect]) -> SourceDialect:
    """The source that a night would take a file for, if it fits the feed; else the plain one of the feed."""
    owners = owners_of(path.name, sources)
    if len(owners) > 1:
        raise SettingsError(
            "more than one source in the settings takes a file of this name: "
            + ", ".join(source.name for source in owners),
            where=path.name,
            why="A night would leave it in the inbox.",
            todo="Make the patterns under files of these sources exclude each other.",
        )
    if owners and feed in (None, owners[0].feed.value):
        return owners[0]
    for source in reversed(sources):
        if source.feed.value == feed:
            return source
    raise UsageError(
        "nothing says what this file is",
        where=path.name,
        why="A feed is never guessed from its content.",
        todo="Name it with --feed, or map its name to a source in the settings.",
    )
