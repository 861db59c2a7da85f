"""Whatever is changed in a site is found, its first bad place named; tests/audit/tamperings.py does more."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.audit import tamperings
from tests.audit.tamperings import NIGHTS, Plant
from tests.cli.commands import Shell
from tests.night import plant

from takeup.documents.publish import switch
from takeup.errors import LockHeld, UsageError
from takeup.ledger import Ledger, grouped
from takeup.night import intent as intents
from takeup.night import nightly
from takeup.night.recovery import folder_name
from takeup.quarantine import set_aside
from takeup.retell import rebuild
from takeup.site import Site, new_site
from takeup.site.lock import writing
from takeup.verify import verify

EVERY_DAY = 2 * len(tamperings.TAMPERINGS)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Plant:
    return tamperings.plant(tmp_path_factory.mktemp("verify"))


@pytest.fixture
def site(told: Plant, tmp_path: Path) -> Site:
    return Site.open(tamperings.copy(told.root, tmp_path / "s"))


@pytest.fixture
def takeup(capsys: pytest.CaptureFixture[str]) -> Shell:
    return Shell(capsys)


def codes(site: Site, head: str = "") -> tuple[list[str], list[str]]:
    """What differs, and what is told beside it."""
    audit = verify(site, head=head).audit
    return [one.code for one in audit.differences], [one.code for one in audit.told]


# --- tampered with -----------------------------------------------------------------------------------------


def test_every_kind_of_tampering_is_found_and_its_first_place_named(tmp_path: Path) -> None:
    """Without a head, only an older copy of everything and a ledger written anew with its pages escape."""
    outcome = tamperings.run(EVERY_DAY, tmp_path)
    assert outcome.wrong == ()
    assert (outcome.found, outcome.named) == (EVERY_DAY, EVERY_DAY)
    assert outcome.whole == 2 * 2
    assert len(outcome.kinds) == len(tamperings.TAMPERINGS)


def test_a_folder_of_the_oldest_night_may_be_cleared_away(site: Site) -> None:
    oldest = site.folders.queue / "night-000001"
    for path in sorted(oldest.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    oldest.rmdir()
    assert codes(site) == ([], ["queue_not_kept"])


def test_an_older_head_vouches_for_what_came_before_it_only(told: Plant, site: Site) -> None:
    heads = [record["previous"] for record in Ledger(site.folders.ledger).records()][1:]
    for place, head in enumerate([*heads, told.head], start=1):
        audit = verify(site, head=head).audit
        assert (audit.vouched, audit.differences) == (place, ())
    file = Ledger(site.folders.ledger).nights()[0]["files"][0]
    set_aside(site, f"{file['sha256']}:2", reason="nobody was there", by="chain steward")
    text = verify(site, head=told.head).text()
    assert f"The head given is that of record {NIGHTS + 1} of {NIGHTS + 2}" in text
    assert "For what follows a newer head is needed" in text


# --- what is no difference ----------------------------------------------------------------------------------


def test_a_site_told_on_and_made_again_is_sound(told: Plant, site: Site) -> None:
    assert codes(site, told.head) == ([], [])
    assert not nightly(site, as_of=plant.NIGHTS[NIGHTS - 1]).told
    assert codes(site, told.head) == ([], [])
    assert rebuild(site).equal
    assert codes(site, told.head) == ([], [])


STOPPED = """
import os, sys
from datetime import date
sys.path[:0] = {path!r}
from takeup import ledger
from takeup.night import intent, story
place, name = {{"publish": (story, "publish"), "append": (ledger.Ledger, "append"),
                "switch": (story, "switch"), "remove": (intent, "remove")}}[{step!r}]
setattr(place, name, lambda *_, **__: os._exit(9))
story.nightly({root!r}, as_of=date.fromisoformat({day!r}))
"""


@pytest.mark.parametrize("step", ["publish", "append", "switch", "remove"])
def test_what_a_stopped_night_left_is_told_and_no_difference(told: Plant, site: Site, step: str) -> None:
    day = plant.NIGHTS[NIGHTS]
    plant.deliver(site, plant.exports(day, tamperings.ONE))
    script = STOPPED.format(path=sys.path, root=str(site.folders.root), day=str(day), step=step)
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 9
    differences, beside = codes(site, told.head)
    assert differences == []
    assert "unfinished" in beside
    assert nightly(site, as_of=day).number == NIGHTS + 1
    assert codes(site, told.head) == ([], [])


def test_a_torn_record_of_a_stopped_night_is_told(site: Site) -> None:
    intent = intents.Intent.of(Ledger(site.folders.ledger).nights()[-1])
    content = site.folders.ledger.read_bytes()
    lines = content.splitlines(keepends=True)
    site.folders.ledger.write_bytes(b"".join(lines[:-1]) + lines[-1][:100])
    switch(site.folders.queue, folder_name(NIGHTS - 1))
    assert "ledger_torn" in codes(site)[0]
    intents.write(intent, site.folders.intent)
    differences, beside = codes(site)
    assert differences == []
    assert {"unfinished", "ledger_torn", "store_beyond"} <= set(beside)


# --- at the door --------------------------------------------------------------------------------------------


def test_the_printed_groups_are_typed_as_they_stand(told: Plant, site: Site, takeup: Shell) -> None:
    page = (site.folders.queue / "current" / "index.html").read_text("utf-8")
    assert grouped(told.head) in page
    done = takeup("verify", "--site", site.folders.root, "--head", *grouped(told.head).split()[:4])
    assert done.code == 0
    assert "Nothing differs" in done.out
    assert "nothing told so far was changed" in done.out
    assert "cannot tell" not in done.out


def test_without_a_head_it_says_what_it_cannot_tell(site: Site, takeup: Shell) -> None:
    done = takeup("verify", "--site", site.folders.root)
    assert done.code == 0
    assert "whether the whole site is an older copy of itself" in done.out
    assert "written ledger, store and queue anew" in done.out


@pytest.mark.parametrize("head", ["1d62 3c47 a19a", "1d62 3c47 a19a 8a7g", "0" * 65, "x"])
def test_too_little_or_no_head_is_refused(site: Site, head: str) -> None:
    with pytest.raises(UsageError, match="not a ledger's head"):
        verify(site, head=head)


def test_a_difference_is_said_so_that_a_lead_can_act(site: Site, takeup: Shell) -> None:
    page = site.folders.queue / "current" / "index.html"
    page.chmod(0o644)
    page.write_bytes(page.read_bytes().replace(b"Night", b"night"))
    done = takeup("verify", "--site", site.folders.root)
    assert done.code == 1
    for words in (
        f"queue/night-{NIGHTS:06d}/index.html",
        "not what night",
        "Why it matters: Planners work from something that no rule asked for.",
        "What to do: Run 'takeup rebuild', which writes the queue again.",
    ):
        assert words in done.out
    told = takeup("verify", "--site", site.folders.root, "--json")
    assert told.code == 1
    (one,) = told.told["differences"]
    assert (one["part"], one["code"], one["night"]) == ("queue", "queue_file_changed", NIGHTS)
    assert rebuild(site).queue_written
    assert takeup("verify", "--site", site.folders.root).code == 0


def damaged_ledger(site: Site) -> None:
    site.folders.ledger.write_bytes(b"\x00\xff{[" + site.folders.ledger.read_bytes())


def forged_shape(site: Site) -> None:
    ledger = Ledger(site.folders.ledger)
    ledger.append({"kind": "night", "number": "seven", "wrote": {"../../outside": "0"}})


def odd_intent(site: Site) -> None:
    site.folders.intent.write_text("[]")


def distant_intent(site: Site) -> None:
    record = Ledger(site.folders.ledger).nights()[-1] | {"number": NIGHTS + 5}
    site.folders.intent.write_text(json.dumps(intents.Intent.of(record).record()))


def folder_for_file(site: Site) -> None:
    (site.folders.queue / "night-000002" / "more").mkdir()


def link_for_file(site: Site) -> None:
    page = site.folders.queue / "night-000002" / "orders.csv"
    page.unlink()
    page.symlink_to("/etc/hostname")


def empty_store(site: Site) -> None:
    site.folders.store.write_bytes(b"")


@pytest.mark.parametrize(
    ("damage", "code"),
    [
        (damaged_ledger, "ledger_line"),
        (forged_shape, "ledger_shape"),
        (odd_intent, "intent_odd"),
        (distant_intent, "intent_odd"),
        (folder_for_file, "queue_unknown"),
        (link_for_file, "queue_file_changed"),
        (empty_store, "store_unreadable"),
    ],
)
def test_rough_damage_is_told_in_words(site: Site, takeup: Shell, damage: Callable[[Site], None], code: str):
    damage(site)
    told = takeup("verify", "--site", site.folders.root, "--json")
    assert told.code == 1
    assert told.told["differences"][0]["code"] == code
    text = takeup("verify", "--site", site.folders.root)
    assert told.told["differences"][0]["what"] in text.out


def test_nothing_is_written(site: Site) -> None:
    def everything() -> dict[str, tuple[int, int]]:
        return {
            str(path): (path.lstat().st_mtime_ns, path.lstat().st_size)
            for path in site.folders.root.rglob("*")
            if path.name not in (".lock", "log")
        }

    before = everything()
    verify(site)
    assert everything() == before


def test_whoever_writes_is_waited_for_and_named(site: Site) -> None:
    with (
        writing(site.folders.lock, "nightly"),
        pytest.raises(LockHeld, match=f"process {os.getpid()} .*'nightly'"),
    ):
        verify(site, wait_seconds=0)


def test_before_the_first_night_there_is_nothing_to_verify(tmp_path: Path) -> None:
    site = new_site(tmp_path / "new", name="Works", time_zone="Europe/Lisbon")
    with pytest.raises(UsageError, match="no night was told here yet"):
        verify(site)


def test_a_backup_of_archive_and_ledger_alone_is_told_as_such(told: Plant, site: Site) -> None:
    """What is to be backed up: the rest comes back."""
    shutil.rmtree(site.folders.queue)
    shutil.rmtree(site.folders.store.parent)
    differences, _ = codes(Site.open(site.folders.root), told.head)
    assert set(differences) == {"store_gone", "queue_night_gone", "queue_current"}
    assert rebuild(Site.open(site.folders.root)).equal
    assert codes(site, told.head) == ([], ["queue_not_kept"])
    assert [path.name for path in site.folders.queue.glob("night-*")] == [folder_name(NIGHTS)]
