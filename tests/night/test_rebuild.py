"""The store is a cache and the queue a print: whatever is lost of them comes back from archive and ledger."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest
from tests.night import plant
from tests.night.told import ONE, told, told_next

from takeup.errors import LedgerError, StoreError
from takeup.ledger import Ledger
from takeup.night import intent as intents
from takeup.night import nightly
from takeup.night.accounts import counted
from takeup.retell import rebuild
from takeup.site import Site
from takeup.store import Store

SECOND = plant.NIGHTS[1]


def queue_files(site: Site) -> dict[str, bytes]:
    return plant.told_files(site.folders.queue / "current")


def after_the_next_night(tmp_path: Path) -> tuple[dict[str, bytes], bytes]:
    """What an undisturbed site holds after its second night."""
    site = told(tmp_path / "undisturbed", 2, ONE)
    return queue_files(site), site.folders.ledger.read_bytes()


def rewritten(site: Site, change: Callable[[dict], dict]) -> None:
    """Another ledger, as whole as the one before."""
    records = list(Ledger(site.folders.ledger).records())
    site.folders.ledger.unlink()
    for record in records:
        del record["previous"]
        Ledger(site.folders.ledger).append(change(record))


# --- told again ------------------------------------------------------------------------------------------


def test_every_night_told_again_comes_out_as_the_ledger_recorded(tmp_path):
    site = told(tmp_path / "s", 3)
    before = queue_files(site), site.folders.ledger.read_bytes()
    counted = counts(site)
    result = rebuild(site)
    assert (result.nights, result.different, result.other_versions) == (3, (), ())
    assert result.equal
    assert not result.queue_written
    assert (queue_files(site), site.folders.ledger.read_bytes()) == before
    assert counts(site) == counted
    store = site.folders.store.stat().st_ino
    assert not nightly(site, as_of=plant.NIGHTS[2]).told
    assert site.folders.store.stat().st_ino == store, "a store just made again was taken for damaged"


def counts(site: Site) -> dict[str, int]:
    with Store.open(site.folders.store, read_only=True) as store:
        return counted(store.counts())


def test_a_ledger_that_does_not_fit_the_archive_keeps_the_old_store_and_names_the_night(tmp_path):
    site = told(tmp_path / "s", 2, ONE)
    store = site.folders.store.read_bytes()
    rewritten(site, lambda record: record | ({"orders": "0" * 64} if record["number"] == 2 else {}))
    result = rebuild(site)
    assert (result.different, result.used) == ((2,), False)
    assert "night 2" in result.text()
    assert site.folders.store.read_bytes() == store
    assert not list(site.folders.store.parent.glob("*.rebuilt*"))


def test_nights_of_other_versions_may_come_out_otherwise_and_are_named(tmp_path):
    """Without this a store lost behind an upgrade could never be made again."""
    site = told(tmp_path / "s", 2, ONE)
    rewritten(site, lambda record: record | {"orders": "0" * 64, "versions": {"takeup": "0.0"}})
    result = rebuild(site)
    assert (result.different, result.other_versions, result.used) == ((1, 2), (1, 2), True)
    assert "Other versions told them" in result.text()
    site.folders.store.unlink()
    assert told_next(site, 2, ONE).told
    assert not nightly(site, as_of=plant.NIGHTS[2]).told


def test_archived_bytes_that_are_gone_or_changed_are_named_and_nothing_is_touched(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    file = Ledger(site.folders.ledger).nights()[0]["files"][0]
    kept = site.folders.archive / file["sha256"][:2] / file["sha256"]
    store = site.folders.store.read_bytes()
    for damage in (lambda: kept.write_bytes(kept.read_bytes()[:-1]), kept.unlink):
        damage()
        with pytest.raises(StoreError, match="archive") as refused:
            rebuild(site)
        assert refused.value.where == str(kept)
        assert refused.value.todo
        assert site.folders.store.read_bytes() == store


# --- a damaged store is found at the next night ------------------------------------------------------------


def deleted_rows(site: Site) -> None:
    with duckdb.connect(str(site.folders.store)) as store:
        store.execute("DELETE FROM elongation_readings WHERE row_id % 7 = 0")


def cut_short(site: Site) -> None:
    content = site.folders.store.read_bytes()
    site.folders.store.write_bytes(content[: len(content) // 2])


def gone(site: Site) -> None:
    site.folders.store.unlink()


def blotted(site: Site) -> None:
    """Blocks in the middle overwritten, the head untouched: it opens, and only reading finds it."""
    content = bytearray(site.folders.store.read_bytes())
    content[len(content) // 3 : -len(content) // 3] = b"\xa5" * (len(content) - 2 * (len(content) // 3))
    site.folders.store.write_bytes(bytes(content))


@pytest.mark.parametrize("damage", [deleted_rows, cut_short, gone, blotted])
def test_a_damaged_store_is_found_and_made_again(tmp_path, damage: Callable[[Site], None]):
    wanted = after_the_next_night(tmp_path)
    site = told(tmp_path / "s", 1, ONE)
    damage(site)
    result = told_next(site, 1, ONE)
    assert result.told
    assert (queue_files(site), site.folders.ledger.read_bytes()) == wanted


STOPPED = """
import os, sys
from datetime import date
sys.path[:0] = {path!r}
from takeup.night import story
story.switch = lambda *_: os._exit(9)
story.nightly({root!r}, as_of=date.fromisoformat({day!r}))
"""


def test_a_store_log_cut_behind_the_commit_costs_nothing(tmp_path):
    """The night is stopped right behind its commit, while its rows stand in the store's log only."""
    wanted = after_the_next_night(tmp_path)
    site = told(tmp_path / "s", 1, ONE)
    plant.deliver(site, plant.exports(SECOND, ONE))
    script = STOPPED.format(path=sys.path, root=str(site.folders.root), day=str(SECOND))
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 9
    assert len(Ledger(site.folders.ledger).nights()) == 2
    wal = Path(f"{site.folders.store}.wal")
    size = wal.stat().st_size
    assert size > 1000
    os.truncate(wal, size // 2)
    assert not nightly(site, as_of=SECOND).told
    assert (queue_files(site), site.folders.ledger.read_bytes()) == wanted
    assert rebuild(site).equal


# --- the queue ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "again", [rebuild, lambda site: nightly(site, as_of=SECOND)], ids=["rebuild", "nightly"]
)
def test_a_lost_queue_is_written_again_to_the_bytes_the_ledger_recorded(tmp_path, again):
    site = told(tmp_path / "s", 2, ONE)
    before = queue_files(site)
    recorded = Ledger(site.folders.ledger).nights()[-1]["wrote"]
    assert set(before) == set(recorded)
    shutil.rmtree(site.folders.queue)
    again(Site.open(site.folders.root))
    assert queue_files(site) == before


def test_a_changed_page_is_written_again_by_a_rebuild(tmp_path):
    site = told(tmp_path / "s", 2, ONE)
    before = queue_files(site)
    page = site.folders.queue / "current" / "index.html"
    page.chmod(0o644)
    page.write_bytes(page.read_bytes().replace(b"stop", b"go"))
    assert rebuild(site).queue_written
    assert queue_files(site) == before


# --- the ledger --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.01, 0.999])
def test_a_torn_last_line_was_never_committed(tmp_path, share):
    """A night's record cut short while it was written: the night is told again to the same record."""
    site = told(tmp_path / "s", 2, ONE)
    content = site.folders.ledger.read_bytes()
    first, second = content.splitlines(keepends=True)
    before = queue_files(site)
    intent = intents.Intent.of(json.loads(second))
    site.folders.ledger.write_bytes(first + second[: int(share * len(second))])
    intents.write(intent, site.folders.intent)
    result = nightly(site, as_of=SECOND)
    assert (result.told, result.number) == (True, 2)
    assert site.folders.ledger.read_bytes() == content
    assert queue_files(site) == before


def test_a_changed_record_stops_everything_and_is_named(tmp_path):
    site = told(tmp_path / "s", 2, ONE)
    content = site.folders.ledger.read_bytes()
    site.folders.ledger.write_bytes(content.replace(b'"number":1', b'"number":3', 1))
    for command in (nightly, rebuild):
        with pytest.raises(LedgerError) as refused:
            command(site)
        assert "ledger.jsonl line" in refused.value.where
        assert refused.value.todo


@pytest.mark.parametrize("lost", [1, 2], ids=["the last record", "every record"])
def test_a_ledger_older_than_the_store_forgets_no_night(tmp_path, lost):
    site = told(tmp_path / "s", 2, ONE)
    lines = site.folders.ledger.read_bytes().splitlines(keepends=True)
    site.folders.ledger.write_bytes(b"".join(lines[: len(lines) - lost]))
    store, queue = site.folders.store.read_bytes(), plant.told_files(site.folders.queue)
    with pytest.raises(LedgerError, match="night 2") as refused:
        nightly(site, as_of=SECOND)
    assert "backup" in refused.value.todo
    assert site.folders.store.read_bytes() == store
    assert plant.told_files(site.folders.queue) == queue
