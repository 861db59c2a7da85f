"""What was taken from an inbox that may only be read, so that it is not taken again."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path

from takeup.feeds.inbox import Remembered


def remembered(path: Path) -> list[Remembered]:
    """Files taken before that could not be removed; losing this list costs duplicates, no rows."""
    try:
        return [Remembered(**one) for one in json.loads(path.read_text(encoding="utf-8"))]
    except (FileNotFoundError, ValueError, TypeError):
        return []


def remember(path: Path, files: Iterable[Remembered]) -> None:
    """Keep the list, whole or not at all; no file where there is nothing to remember."""
    listed = [asdict(one) for one in files]
    if not listed:
        path.unlink(missing_ok=True)
        return
    draft = path.with_suffix(".part")
    draft.write_text(json.dumps(listed, indent=1), encoding="utf-8")
    draft.replace(path)
