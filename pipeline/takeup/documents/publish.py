"""A night's folder in the planning queue: staged, on the disk, then switched to in one step.

A page whose content key is that of the night before is not drawn again: it is a hard link to the same
file. The key covers the sheet, every template and the versions: whatever could change a page changes its key.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import TemplateNotFound

from takeup.documents.environment import environment, own_templates, templates_key
from takeup.documents.files import changes_csv, closeouts_csv, kept_out_csv, orders_csv, unjudged_csv
from takeup.documents.forecasts import forecasts_page
from takeup.documents.index import index_page
from takeup.documents.pages import glossary_page, order_page, reminder_page
from takeup.documents.sentences import codes
from takeup.documents.sheets import NightSheet
from takeup.errors import OurFault, StoreError
from takeup.ledger import sync_folder

if TYPE_CHECKING:
    from jinja2 import Environment

PAGES = "pages.json"
CURRENT = "current"

#: Order numbers name files, so they may hold nothing that a file system or a style sheet could misread.
FILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")


@dataclass(frozen=True)
class Published:
    """What a night put into its folder.

    Attributes
    ----------
    files : dict
        Relative path to SHA-256, for the ledger.
    drawn, linked : int
        Pages drawn tonight, and pages that are those of the night before.
    """

    files: dict[str, str]
    drawn: int
    linked: int


@dataclass(frozen=True)
class _Page:
    """A page not yet drawn: what it shows, and how to draw it."""

    shows: Any
    draw: Callable[[], str]


def publish(
    sheet: NightSheet, staging: Path, previous: Path | None, template_dirs: Sequence[Path]
) -> Published:
    """Write a night's folder whole, on the disk before this returns. Nobody reads it before :func:`switch`.

    Parameters
    ----------
    sheet : NightSheet
    staging : Path
        The night's own folder; what an interrupted night left there is cleared away first.
    previous : Path or None
        The folder of the night before.
    template_dirs : sequence of Path
        The site's own first, ours last.

    Raises
    ------
    OurFault
        If a sentence, a word or a fact is missing, or an order number could not name a file.
    SettingsError
        If a template of the site's own cannot be drawn.
    StoreError
        If the disk refused.
    """
    with own_templates(template_dirs):
        return _published(sheet, staging, previous, template_dirs)


def _published(
    sheet: NightSheet, staging: Path, previous: Path | None, template_dirs: Sequence[Path]
) -> Published:
    env = environment(template_dirs)
    pages = _pages(env, sheet, sorted(codes(template_dirs, "glossary")))
    try:
        _empty(staging)
        before = _keys(previous)
        drawn_by = f"{sheet.versions} {templates_key(template_dirs)}"
        files: dict[str, str] = {}
        keys: dict[str, dict[str, str]] = {}
        drawn = 0
        for path, page in pages.items():
            key = content_key(page.shows, drawn_by)
            old = before.get(path, {})
            if previous is not None and old.get("key") == key and _link(previous / path, staging / path):
                sha256 = old["sha256"]
            else:
                sha256 = _write(staging / path, page.draw().encode("utf-8"))
                drawn += 1
            files[path] = sha256
            keys[path] = {"key": key, "sha256": sha256}
        others = {
            "index.html": index_page(env, sheet).encode("utf-8"),
            "orders.csv": orders_csv(env, sheet.orders),
            "orders.json": _json(sheet.document),
            "changes.csv": changes_csv(env, sheet),
            "closeouts_to_fill.csv": closeouts_csv(sheet),
            "kept_out.csv": kept_out_csv(env, sheet.kept_out),
            "cannot_judge.csv": unjudged_csv(env, sheet.unjudged),
            PAGES: _json(keys),
        }
        for path, content in others.items():
            files[path] = _write(staging / path, content)
        for folder in (staging / "orders", staging / "reminders", staging, staging.parent):
            sync_folder(folder)
    except TemplateNotFound:  # an OSError by birth, and no refusal of the disk
        raise
    except OSError as error:
        raise _refused(error, staging) from error
    return Published(dict(sorted(files.items())), drawn, len(pages) - drawn)


def switch(queue: Path, name: str) -> None:
    """Make ``current`` point at a night's folder, in one step that a reader sees whole or not at all.

    Parameters
    ----------
    queue : Path
    name : str
        Of the folder inside the queue.

    Raises
    ------
    StoreError
        If the folder is not there, or the disk refused.
    """
    if not (queue / name).is_dir():
        raise StoreError(
            "the night's folder is not in the queue",
            where=str(queue / name),
            todo="Run 'takeup rebuild' to write it again from the archive and the ledger.",
        )
    draft = queue / f".{CURRENT}.new"
    try:
        draft.unlink(missing_ok=True)
        draft.symlink_to(name, target_is_directory=True)
        draft.replace(queue / CURRENT)
        sync_folder(queue)
    except OSError as error:
        raise _refused(error, queue / CURRENT) from error


def content_key(shows: Any, drawn_by: str) -> str:
    """SHA-256 over everything that decides how a page looks.

    Parameters
    ----------
    shows : dataclass instance or list of str
        The sheet, or what else the page shows.
    drawn_by : str
        The templates in force, and the versions that draw.
    """
    canonical = json.dumps(
        shows if isinstance(shows, list) else asdict(shows),
        default=_plain,
        sort_keys=True,
        separators=(",", ":"),
    )
    return hashlib.sha256(f"{drawn_by} {canonical}".encode()).hexdigest()


def _json(value: Any) -> bytes:
    return (json.dumps(value, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode("utf-8")


def _plain(value: Any) -> str:
    if isinstance(value, date):
        return value.isoformat()
    raise OurFault(f"a sheet holds {value!r}, a {type(value).__name__}; only plain values have one text")


def _pages(env: Environment, sheet: NightSheet, terms: Sequence[str]) -> dict[str, _Page]:
    """Every page but the index, by relative path."""
    pages = {"glossary.html": _Page(terms, lambda: glossary_page(env, terms))}
    for one in sheet.orders:
        number = one.order.number
        if not FILE_NAME.fullmatch(number):
            raise OurFault(
                f"the order number {number!r} cannot name a file",
                todo="Choose a prefix of letters and digits for order numbers in the settings.",
            )
        pages[f"orders/{number}.html"] = _Page(one, lambda one=one: order_page(env, one))  # type: ignore[misc]
        if one.reminder is not None:
            reminder = one.reminder
            pages[f"reminders/{number}.html"] = _Page(
                reminder,
                lambda reminder=reminder: reminder_page(env, reminder),  # type: ignore[misc]
            )
    if sheet.calibration is not None and sheet.calibration.cells:
        record = sheet.calibration
        pages["forecasts.html"] = _Page(record, lambda: forecasts_page(env, record))
    return pages


def _keys(previous: Path | None) -> dict[str, dict[str, str]]:
    """Content keys of the pages of the night before; none where it cannot be read: all are drawn again."""
    try:
        found = json.loads((previous / PAGES).read_bytes()) if previous is not None else {}
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _empty(staging: Path) -> None:
    """The folder, new and empty."""
    if staging.exists():
        shutil.rmtree(staging)
    for folder in (staging, staging / "orders", staging / "reminders"):
        folder.mkdir(parents=True)


def _link(old: Path, new: Path) -> bool:
    """Link the page of the night before; False where it is gone. A disk without links gets a copy."""
    if not old.is_file():
        return False
    try:
        os.link(old, new)
    except OSError:
        _write(new, old.read_bytes())
    return True


def _write(path: Path, content: bytes) -> str:
    """Write a file for good, closed to writing because later nights may link to it; its SHA-256."""
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    path.chmod(0o444)
    return hashlib.sha256(content).hexdigest()


def _refused(error: OSError, path: Path) -> StoreError:
    return StoreError(
        f"the planning queue could not be written: {error.strerror}",
        where=str(error.filename or path),
        why="A night counts only once its queue is on the disk; the last night's queue still stands.",
        todo="Make room on the disk or mend the folder's rights, then run this again.",
    )
