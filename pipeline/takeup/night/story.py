"""The whole job as one story: find, archive, intend, tell, publish, commit, switch.

The order of commitment is what makes a stop at any instant harmless; :mod:`takeup.night.recovery` makes good
what a stop left behind.
"""

from __future__ import annotations

import logging
import shutil
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from takeup import feeds
from takeup.documents.publish import Published, publish, switch
from takeup.errors import StoreDamaged, UsageError
from takeup.ledger import Ledger
from takeup.night import intent as intents
from takeup.night.decided import set_aside_by_people
from takeup.night.exports import archived_files, templates_of
from takeup.night.fleet import fleet_before
from takeup.night.inbox_memory import remember, remembered
from takeup.night.intent import Intent, SetAsideRow, TakenFile
from takeup.night.outlets import tell_outlets
from takeup.night.progress import Progress, unwatched
from takeup.night.record import night_record, standing
from takeup.night.recovery import finish_open_night, folder_name, make_whole, remake
from takeup.night.result import NightResult
from takeup.night.sheets import night_sheet
from takeup.night.steps import Steps
from takeup.night.telling import Told, tell
from takeup.night.versions import versions
from takeup.site import Site
from takeup.site.folders import keep, recall
from takeup.site.lock import patiently, writing
from takeup.site.log import keeping_log
from takeup.site.settings import read_settings
from takeup.store import Store

log = logging.getLogger("takeup")


def nightly(
    site: Site | str | Path,
    *,
    as_of: date | None = None,
    dry_run: bool = False,
    wait_seconds: float | None = None,
    progress: Progress = unwatched,
) -> NightResult:
    """Tell the night of a site: take in what has arrived, judge, and publish the queue.

    Parameters
    ----------
    site : Site or path
    as_of : date, optional
        A ``datetime.date``: the civil day in the site's zone; by default the last complete one.
    dry_run : bool
        Tell it in a copy beside the site, which stays as it is.
    wait_seconds : float, optional
        How long to wait for others who hold the site; by default what its settings say. [s]
    progress : callable
        Told how far the night has come.

    Returns
    -------
    NightResult

    Raises
    ------
    UsageError
        If the day is no date, is before the last night's, or is not over.
    LockHeld
        If another process holds the site all the time of the wait.
    StoreError
        If store, archive, ledger or queue refused.
    """
    if as_of is not None and type(as_of) is not date:
        raise UsageError(
            f"as_of = {as_of!r} is not a date",
            why="A night is told for a civil day in the site's time zone.",
            todo="Give a datetime.date, such as date(2026, 1, 31); a text or a datetime is none.",
        )
    site = site if isinstance(site, Site) else Site.open(Path(site))
    wait = site.wait(wait_seconds)
    if dry_run:
        return _beside(site, as_of, wait, progress)
    with keeping_log(site.folders):
        result = _alone(site, as_of, wait, progress)
        if result.told:
            tell_outlets(site.folders.queue / folder_name(result.number), result, site.folders.log)
    return result


def _alone(site: Site, as_of: date | None, wait_seconds: float, progress: Progress) -> NightResult:
    """The night of a site that nobody else writes or reads meanwhile."""
    with writing(site.folders.lock, "nightly", wait_seconds):
        clock = Steps("nightly")
        with suppress(StoreDamaged):  # other programs that read the store hold no lock of ours
            patiently(lambda: Store.open(site.folders.store).close(), wait_seconds)
        make_whole(site, progress)
        clock.done("made whole")
        try:
            return _told(site, as_of, progress)
        except StoreDamaged as damage:  # in a place that counting the rows does not read
            log.warning("%s", damage)
            remake(site, progress)
            return _told(site, as_of, progress)


def _told(site: Site, as_of: date | None, progress: Progress) -> NightResult:
    """The night that a stop left open, if there is one, then tonight's."""
    with Store.open(site.folders.store) as store:
        finished = finish_open_night(site, store, _finish_as_things_stand)
        result = _tonight(site, store, as_of, progress)
    if finished is not None and not result.told:
        return replace(finished, left_in_inbox=result.left_in_inbox)
    return result


def _tonight(site: Site, store: Store, as_of: date | None, progress: Progress) -> NightResult:
    records = list(Ledger(site.folders.ledger).records())
    last = _last_night(records)
    day = _day(site, as_of, last)
    clock = Steps(f"nightly as of {day}")
    memory = site.folders.inbox_memory
    before = remembered(memory)
    found = feeds.find(site.inbox, site.settings.sources, before, settle_seconds=site.settings.settle_seconds)
    taken, changed = feeds.archive(found, site.folders.archive)
    clock.done("found and archived", files=len(taken), bytes=sum(item.found.size for item in taken))
    left = tuple((item.name, item.left.value) for item in (*changed, *(item for item in found if item.left)))
    files = (TakenFile(item.name, item.sha256, item.source, item.found.size) for item in taken)
    intent = _intent(site, day, tuple(files), records)
    if last and not intent.files and not intent.set_aside and _same(intent, last):
        switch(site.folders.queue, last["queue"])
        clock.done("nothing new to tell", night=last["number"])
        page = site.folders.queue / "current" / "index.html"
        return NightResult(
            told=False,
            number=last["number"],
            as_of=day,
            page=str(page),
            head=Ledger(site.folders.ledger).head,
            left_in_inbox=left,
            **_stood(last),
        )
    intents.write(intent, site.folders.intent)
    remember(memory, [*before, *feeds.release(taken)])
    return replace(_finish(site, store, intent, progress), left_in_inbox=left)


def _finish_as_things_stand(site: Site, store: Store, stopped: Intent) -> NightResult:
    """Tell a night to its end that a stop left open, under the settings, templates and decisions of now.

    Had one of them been what stopped it, the night could never end as it was intended.
    """
    files = tuple(file for file in stopped.files if not file.read_again)
    intent = _intent(site, stopped.as_of, files, list(Ledger(site.folders.ledger).records()))
    if intent != stopped:
        intents.write(intent, site.folders.intent)
    return _finish(site, store, intent)


def _finish(site: Site, store: Store, intent: Intent, progress: Progress = unwatched) -> NightResult:
    """Tell an intended night to its end: rows, queue, ledger, switch."""
    folders = site.folders
    ledger = Ledger(folders.ledger)
    settings = read_settings(recall(folders.archive, intent.settings).decode("utf-8"))
    files, fleet = archived_files(folders, intent.files), fleet_before(intent, folders.archive)
    told = tell(store, intent, settings, files, folders.archive, progress, fleet=fleet)
    keep(told.fleet_record, folders.archive)
    name = folder_name(intent.number)
    clock = Steps(f"night {intent.number}")
    nights = [*ledger.nights(), intent.record()]
    decided = set_aside_by_people(nights, told.accounting, folders.archive, settings.sources)
    sheet = night_sheet(store, told, intent, settings, decided=decided)
    previous = folders.queue / folder_name(intent.number - 1)
    progress("pages", 0, 1)

    def head(wrote: dict[str, str]) -> str:
        return ledger.head_with(night_record(intent, told, wrote, name))

    with templates_of(intent, folders) as template_dirs:
        published = publish(
            sheet, folders.queue / name, previous if previous.is_dir() else None, template_dirs, head
        )
    progress("pages", 1, 1)
    clock.done("pages written", drawn=published.drawn, linked=published.linked)
    committed = ledger.append(night_record(intent, told, published.files, name))
    switch(folders.queue, name)
    intents.remove(folders.intent)
    clock.done("committed", open_orders=len(told.updated.open))
    return _result(site, intent, told, published, committed)


def _day(site: Site, as_of: date | None, last: dict[str, Any] | None) -> date:
    """The civil day to tell."""
    today = datetime.now(UTC).astimezone(site.zone).date()
    day = as_of or today - timedelta(days=1)
    # Today too: what happens later today would wait a night longer, since the schedule tells no day twice.
    if day >= today:
        raise UsageError(
            f"{day} is not over yet; today is {today} in {site.settings.time_zone}",
            why="Rows of that day may still arrive, and a day is told once it is complete.",
            todo="Leave --as-of out to tell the last complete day.",
        )
    if last and day < date.fromisoformat(last["as_of"]):
        raise UsageError(
            f"the last night told {last['as_of']}, so {day} cannot be told any more",
            why="A night builds on the nights before it, and what is known now was not known then.",
            todo="Leave --as-of out, or name a day from the last night's on.",
        )
    return day


def _last_night(records: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """The ledger's record of the last night, None before the first."""
    return next((record for record in reversed(records) if record["kind"] == "night"), None)


def decided_since(records: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """What people decided about rows kept out since the last night, oldest first."""
    found: list[dict[str, Any]] = []
    for record in records:
        if record["kind"] == "night":
            found = []
        elif record["kind"] == "decision":
            found.append(record)
    return found


def _intent(site: Site, day: date, taken: tuple[TakenFile, ...], records: Sequence[dict[str, Any]]) -> Intent:
    """What a night is to tell: the files it takes, and what people decided since the last one."""
    last = _last_night(records)
    decided = decided_since(records)
    templates = sorted(
        (path.relative_to(site.folders.templates).as_posix(), keep(path.read_bytes(), site.folders.archive))
        for path in site.folders.templates.rglob("*")
        if path.is_file()
    )
    settings = keep(site.settings.text.encode("utf-8"), site.folders.archive)
    return Intent(
        number=(last["number"] if last else 0) + 1,
        as_of=day,
        previous_as_of=date.fromisoformat(last["as_of"]) if last else None,
        files=(
            *taken,
            *(
                TakenFile(one["file"], one["sha256"], one["source"], one["size"], read_again=True)
                for one in decided
                if one["act"] == "read again"
            ),
        ),
        set_aside=tuple(
            SetAsideRow(one["sha256"], one["line"], one["file"], one["by"], one["reason"])
            for one in decided
            if one["act"] == "set aside"
        ),
        settings=settings,
        templates=tuple(templates),
        fleet=last["fleet"] if last else None,
        afresh=last is None or last["settings"] != settings or last["versions"] != dict(versions()),
    )


def _same(intent: Intent, last: dict[str, Any]) -> bool:
    """Whether nothing could come out otherwise than in the last night."""
    return bool(
        intent.as_of.isoformat() == last["as_of"]
        and intent.settings == last["settings"]
        and dict(intent.templates) == last["templates"]
        and dict(versions()) == last["versions"]
        and "standing" in last
    )


def _stood(night: dict[str, Any]) -> dict[str, Any]:
    """What stands after a night that the ledger records."""
    return {
        name: tuple(value) if isinstance(value, list) else value for name, value in night["standing"].items()
    }


def _result(site: Site, intent: Intent, told: Told, published: Published, head: str) -> NightResult:
    return NightResult(
        told=True,
        number=intent.number,
        as_of=intent.as_of,
        page=str(site.folders.queue / "current" / "index.html"),
        head=head,
        accounting=tuple(told.accounting),
        open_ended=told.open_ended,
        events=tuple(told.updated.events),
        **standing(told),
        counters={
            **told.counters,
            "pages_drawn": published.drawn,
            "pages_linked": published.linked,
            "charts_drawn": published.charts,
        },
    )


def _beside(site: Site, as_of: date | None, wait_seconds: float, progress: Progress) -> NightResult:
    """Tell the night in a copy of the site, which is thrown away."""
    with tempfile.TemporaryDirectory(prefix="takeup-dry-run-") as folder:
        copy = Path(folder) / "site"
        with writing(site.folders.lock, "copying for a dry run", wait_seconds):
            shutil.copytree(site.folders.root, copy, symlinks=True, ignore=shutil.ignore_patterns(".lock"))
        if not site.inbox.resolve().is_relative_to(site.folders.root.resolve()):
            raise UsageError(
                "a dry run needs the inbox inside the site's folder",
                where=str(site.inbox),
                todo="Copy the exports into a site of its own and tell the night there.",
            )
        beside = Site.open(copy)
        with keeping_log(beside.folders):
            result = _alone(beside, as_of, wait_seconds, progress)
    return replace(result, dry_run=True, page="", head="")
