"""What a night is told from: archived exports, and the site's own templates as they were."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from takeup.feeds import Archived, Found
from takeup.night.intent import Intent, TakenFile
from takeup.resources import templates_dir
from takeup.site.folders import Folders, archived, recall


def archived_files(folders: Folders, files: Iterable[TakenFile]) -> list[Archived]:
    """The archived bytes of taken files, checked, as intake reads them.

    Raises
    ------
    StoreError
        If bytes are missing or are not those received.
    """
    found = []
    for file in files:
        recall(folders.archive, file.sha256)
        path = archived(folders.archive, file.sha256)
        found.append(
            Archived(
                Found(path, file.name, file.size, 0, file.source), file.sha256, path, reread=file.read_again
            )
        )
    return found


@contextmanager
def templates_of(intent: Intent, folders: Folders) -> Iterator[tuple[Path, Path]]:
    """The site's own templates as they were when the night was intended, then ours."""
    with tempfile.TemporaryDirectory(prefix="takeup-templates-") as folder:
        for name, sha256 in intent.templates:
            path = Path(folder) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(recall(folders.archive, sha256))
        yield Path(folder), templates_dir()
