"""A night's folder in the planning queue: staged, on the disk, then switched to in one step.

A page whose content key is that of the night before is not drawn again: it is a hard link to the same
file. The key covers the sheet, every template and the versions: whatever could change a page changes its key.
A page that is drawn again takes from the night before the drawings of the charts that still show the same.

Everything is written first and put on the disk in one pass at the end, several files at a time, so that they
share the disk's waits. Each file is synced by itself even so: a sync of the whole file system would be one
call, but it may come back without telling that a file could not be written.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import astuple, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import TemplateNotFound

from takeup.documents.drawings import Drawings, Place
from takeup.documents.environment import environment, own_templates, templates_key
from takeup.documents.files import changes_csv, closeouts_csv, kept_out_csv, orders_csv, unjudged_csv
from takeup.documents.forecasts import forecasts_page
from takeup.documents.head import PAGE, with_head
from takeup.documents.index import index_page
from takeup.documents.jsontext import laid_out
from takeup.documents.keys import content_key
from takeup.documents.pages import glossary_page, order_page, reminder_page
from takeup.documents.sentences import codes
from takeup.documents.sheets import NightSheet
from takeup.documents.whypages import why_page
from takeup.errors import OurFault, StoreError
from takeup.ledger import sync_folder

if TYPE_CHECKING:
    from jinja2 import Environment

PAGES = "pages.json"
#: how deep the JSON files are broken over lines
PAGE_A_LINE, FACT_A_LINE = 1, 6
#: files put on the disk at a time; more made no difference, one alone took two to three times as long
AT_A_TIME = 8
CURRENT = "current"
#: the folders inside a night's own
PARTS = ("orders", "reminders", "why")

#: Order numbers name files, so they may hold nothing that a file system or a style sheet could misread.
FILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")


@dataclass(frozen=True)
class Published:
    """What a night put into its folder.

    Attributes
    ----------
    files : dict
        Relative path to SHA-256, for the ledger; that of the index with the head left open.
    drawn, linked : int
        Pages drawn tonight, and pages that are those of the night before.
    charts : int
        Charts drawn tonight.
    """

    files: dict[str, str]
    drawn: int
    linked: int
    charts: int


@dataclass(frozen=True)
class _Page:
    """A page not yet drawn: what it shows, and how to draw it."""

    shows: Any
    draw: Callable[[], str]


@dataclass(frozen=True)
class _Written:
    """A page in a night's folder, as ``pages.json`` records it."""

    page: Path
    key: str
    sha256: str
    drawings: dict[str, Place] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        record: dict[str, Any] = {"key": self.key, "sha256": self.sha256}
        if self.drawings:
            record["drawings"] = {key: astuple(place) for key, place in self.drawings.items()}
        return record

    @classmethod
    def of(cls, page: Path, record: dict[str, Any]) -> _Written:
        drawings = {key: Place(*place) for key, place in record.get("drawings", {}).items()}
        return cls(page, record["key"], record["sha256"], drawings)


def publish(
    sheet: NightSheet,
    staging: Path,
    previous: Path | None,
    template_dirs: Sequence[Path],
    head: Callable[[dict[str, str]], str],
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
    head : callable
        ``head(files)`` gives the ledger's head behind the night's record with these files, for the index.

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
        return _published(sheet, staging, previous, template_dirs, head)


def _published(
    sheet: NightSheet,
    staging: Path,
    previous: Path | None,
    template_dirs: Sequence[Path],
    head: Callable[[dict[str, str]], str],
) -> Published:
    env = environment(template_dirs)
    folder = _Staging(staging)
    draw = Drawings(str(sheet.versions))
    pages = _pages(env, sheet, sorted(codes(template_dirs, "glossary")), draw)
    try:
        folder.empty()
        before = _before(previous)
        for old in before.values():
            draw.know(old.page, old.drawings)
        drawn_by = f"{sheet.versions} {templates_key(template_dirs)}"
        written: dict[str, _Written] = {}
        drawn = 0
        for path, page in pages.items():
            key = content_key(page.shows, drawn_by)
            known = before.get(path)
            if known is not None and known.key == key and folder.link(path, known.page, known.sha256):
                written[path] = replace(known, page=staging / path)
            else:
                content = page.draw().encode("utf-8")
                sha256 = folder.write(path, content)
                written[path] = _Written(staging / path, key, sha256, draw.places(content))
                draw.know(staging / path, written[path].drawings)
                drawn += 1
        others = {
            "orders.csv": orders_csv(env, sheet.orders),
            "orders.json": laid_out(sheet.document, FACT_A_LINE),
            "changes.csv": changes_csv(env, sheet),
            "closeouts_to_fill.csv": closeouts_csv(env, sheet),
            "kept_out.csv": kept_out_csv(env, sheet.kept_out),
            "cannot_judge.csv": unjudged_csv(env, sheet.unjudged),
            PAGES: laid_out({path: page.as_json() for path, page in written.items()}, PAGE_A_LINE),
        }
        files = {path: page.sha256 for path, page in written.items()}
        files |= {path: folder.write(path, content) for path, content in others.items()}
        index = index_page(env, sheet).encode("utf-8")
        files[PAGE] = hashlib.sha256(index).hexdigest()
        folder.write(PAGE, with_head(index, head(files)))
        folder.sync()
    except TemplateNotFound:  # an OSError by birth, and no refusal of the disk
        raise
    except OSError as error:
        raise _refused(error, staging) from error
    return Published(dict(sorted(files.items())), drawn, len(pages) - drawn, draw.drawn)


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


def _pages(env: Environment, sheet: NightSheet, terms: Sequence[str], draw: Drawings) -> dict[str, _Page]:
    """Every page but the index, by relative path."""
    pages = {"glossary.html": _Page(terms, lambda: glossary_page(env, terms))}
    for one in sheet.orders:
        number = one.order.number
        if not FILE_NAME.fullmatch(number):
            raise OurFault(
                f"the order number {number!r} cannot name a file",
                todo="Choose a prefix of letters and digits for order numbers in the settings.",
            )
        pages[f"orders/{number}.html"] = _Page(
            one,
            lambda one=one: order_page(env, one, draw),  # type: ignore[misc]
        )
        if one.reminder is not None:
            reminder = one.reminder
            pages[f"reminders/{number}.html"] = _Page(
                reminder,
                lambda reminder=reminder: reminder_page(env, reminder),  # type: ignore[misc]
            )
    for answer in sheet.answers:
        pages[f"why/{answer.order.number}.html"] = _Page(
            answer,
            lambda answer=answer: why_page(env, answer),  # type: ignore[misc]
        )
    if sheet.calibration is not None and sheet.calibration.cells:
        record = sheet.calibration
        pages["forecasts.html"] = _Page(record, lambda: forecasts_page(env, record))
    return pages


def _before(previous: Path | None) -> dict[str, _Written]:
    """The pages of the night before; none where their record cannot be read: all are drawn again."""
    if previous is None:
        return {}
    try:
        found = json.loads((previous / PAGES).read_bytes())
        return {path: _Written.of(previous / path, record) for path, record in found.items()}
    except (OSError, ValueError, TypeError, LookupError, AttributeError):
        return {}


@dataclass
class _Staging:
    """A night's folder while it is written: what is new in it has still to reach the disk."""

    folder: Path
    new: list[Path] = field(default_factory=list)

    @property
    def parts(self) -> tuple[Path, ...]:
        """The folders inside it."""
        return tuple(self.folder / part for part in PARTS)

    def empty(self) -> None:
        """The folder, new and empty."""
        if self.folder.exists():
            shutil.rmtree(self.folder)
        for folder in (self.folder, *self.parts):
            folder.mkdir(parents=True)

    def write(self, path: str, content: bytes) -> str:
        """Write a file, closed to writing because later nights may link to it; its SHA-256."""
        place = self.folder / path
        place.write_bytes(content)
        place.chmod(0o444)
        self.new.append(place)
        return hashlib.sha256(content).hexdigest()

    def link(self, path: str, old: Path, sha256: str) -> bool:
        """Link the page of the night before; False where it is gone or is not what it was.

        A disk without links gets a copy.
        """
        try:
            content = old.read_bytes()
        except OSError:
            return False
        if hashlib.sha256(content).hexdigest() != sha256:
            return False
        try:
            os.link(old, self.folder / path)
        except OSError:
            self.write(path, content)
        return True

    def sync(self) -> None:
        """Put everything new on the disk, then the names of it."""
        with ThreadPoolExecutor(AT_A_TIME) as several:
            list(several.map(_sync, self.new))  # the list raises what any of them raised
        for folder in (*self.parts, self.folder, self.folder.parent):
            sync_folder(folder)


def _sync(path: Path) -> None:
    """Put a file on the disk, all that was written to it before, through whichever descriptor."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def _refused(error: OSError, path: Path) -> StoreError:
    return StoreError(
        f"the planning queue could not be written: {error.strerror}",
        where=str(error.filename or path),
        why="A night counts only once its queue is on the disk; the last night's queue still stands.",
        todo="Make room on the disk or mend the folder's rights, then run this again.",
    )
