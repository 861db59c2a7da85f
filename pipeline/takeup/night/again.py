"""Past nights told again from archive and ledger, each on top of the one before it, into a scratch store.

Whoever tells past nights as they were goes this way: a store made again, a replay. Nothing here writes into
the site: a night told again reads the archive and writes into the store it is given.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.documents.publish import Published, publish
from takeup.ledger import head_of
from takeup.night.decided import set_aside_by_people
from takeup.night.exports import archived_files, templates_of
from takeup.night.fleet import fleet_before
from takeup.night.intent import Intent
from takeup.night.progress import Progress, unwatched
from takeup.night.sheets import night_sheet
from takeup.night.telling import Told, tell
from takeup.site.folders import Folders, recall
from takeup.site.settings import Settings, read_settings
from takeup.store import Store


@dataclass(frozen=True)
class PastNight:
    """A night as it was told again.

    Attributes
    ----------
    record : dict
        What the ledger has of it.
    intent : Intent
        What it set out to do, as recorded.
    settings : Settings
        Those it was told under.
    told : Told
        What came out this time.
    nights : sequence of dict
        The ledger's records of the nights up to this one, this one last.
    """

    record: dict[str, Any]
    intent: Intent
    settings: Settings
    told: Told
    nights: Sequence[dict[str, Any]]


def told_again(
    store: Store,
    nights: Sequence[dict[str, Any]],
    folders: Folders,
    progress: Progress = unwatched,
) -> Iterator[PastNight]:
    """Tell nights again, oldest first; each is yielded as soon as it stands in the store.

    Parameters
    ----------
    store : Store
        A scratch store, open for writing, that holds no night yet.
    nights : sequence of dict
        The ledger's records of nights, from the first one on, without a gap.
    folders : Folders
        Of the site; only its archive is read.
    progress : callable

    Yields
    ------
    PastNight

    Raises
    ------
    StoreError
        If archived bytes are missing or are not those received; ``where`` names the file.
    """
    for place, record in enumerate(nights):
        progress("nights", place, len(nights))
        intent = Intent.of(record)
        settings = read_settings(recall(folders.archive, intent.settings).decode("utf-8"))
        fleet = fleet_before(intent, folders.archive)
        files = archived_files(folders, intent.files)
        told = tell(store, intent, settings, files, folders.archive, fleet=fleet)
        yield PastNight(record, intent, settings, told, nights[: place + 1])
    progress("nights", len(nights), len(nights))


def published_again(
    store: Store, past: PastNight, folders: Folders, into: Path, previous: Path | None
) -> Published:
    """Write the queue of a night told again, with the site's own templates as they were.

    Parameters
    ----------
    store : Store
        As :func:`told_again` left it behind that night.
    past : PastNight
    folders : Folders
        Of the site; only its archive is read.
    into : Path
        The folder to write; what lies there is cleared away.
    previous : Path or None
        The folder of the night before, if it was written too: pages that are the same are linked to it.

    Raises
    ------
    StoreError
        If the archive is not whole, or the disk refused.
    """
    decided = set_aside_by_people(past.nights, past.told.accounting, folders.archive, past.settings.sources)
    sheet = night_sheet(store, past.told, past.intent, past.settings, decided=decided)

    def head(wrote: dict[str, str]) -> str:
        return head_of({**past.record, "wrote": wrote})

    with templates_of(past.intent, folders) as template_dirs:
        return publish(sheet, into, previous, template_dirs, head)
