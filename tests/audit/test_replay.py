"""Any past night is told again from the archive, to the byte; what does not come out as recorded is named."""

from __future__ import annotations

import hashlib
import json
import shutil
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.cli.commands import Shell
from tests.night import plant
from tests.night.told import ONE, told, told_next

from takeup.errors import LedgerError, LockHeld, StoreError, UsageError
from takeup.ledger import Ledger
from takeup.model import Job
from takeup.night import nightly
from takeup.quarantine import set_aside
from takeup.retell import replay
from takeup.site import Site
from takeup.site.lock import reading, writing


@pytest.fixture
def takeup(capsys: pytest.CaptureFixture[str]) -> Shell:
    return Shell(capsys)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Three nights of three machines; no test writes into it."""
    return told(tmp_path_factory.mktemp("replayed") / "s", 3)


def held(site: Site) -> dict[str, bytes]:
    """All that a site holds but its log."""
    return plant.told_files(site.folders.root)


def rewritten(site: Site, number: int, **changed: Any) -> None:
    """Another ledger, as whole as the one before."""
    records = list(Ledger(site.folders.ledger).records())
    site.folders.ledger.unlink()
    for record in records:
        del record["previous"]
        Ledger(site.folders.ledger).append(record | (changed if record["number"] == number else {}))


# --- to the byte ------------------------------------------------------------------------------------------


def test_every_night_comes_out_to_the_byte_and_the_site_is_not_touched(site: Site, tmp_path: Path) -> None:
    before = held(site)
    result = replay(site, into=tmp_path / "again")
    assert result.equal
    assert [night.number for night in result.nights] == [1, 2, 3]
    assert all(night.files > 10 and not night.other_versions for night in result.nights)
    assert held(site) == before
    again = plant.told_files(tmp_path / "again" / "queue")
    assert again == {
        name: content
        for name, content in plant.told_files(site.folders.queue).items()
        if not name.startswith("current/")
    }
    assert sorted(path.name for path in (tmp_path / "again").iterdir()) == ["queue"]


@pytest.mark.parametrize("number", [1, 2, 3])
def test_one_night_by_itself_comes_out_to_the_byte(site: Site, tmp_path: Path, number: int) -> None:
    result = replay(site, number, into=tmp_path / "again")
    assert (result.equal, [night.number for night in result.nights]) == (True, [number])
    folder = f"night-{number:06d}"
    assert plant.told_files(tmp_path / "again" / "queue" / folder) == plant.told_files(
        site.folders.queue / folder
    )
    assert [path.name for path in (tmp_path / "again" / "queue").iterdir()] == [folder]


def test_settings_words_and_decisions_are_those_of_the_night(tmp_path: Path) -> None:
    """Each changes between nights, and once more behind the last one."""
    site = told(tmp_path / "s", 1, ONE)
    root = site.folders.root
    words = site.folders.templates / "words.toml"
    settings = site.folders.settings.read_text("utf-8")

    def changed(hours: int, job: str) -> Site:
        more = (
            f'\n[surveying]\nlongest_hours = {{ value = {hours}, reason = "crew", by = "steward", '
            "on = 2026-01-05, review_by = 2027-01-05 }\n"
        )
        site.folders.settings.write_text(settings + more, "utf-8")
        words.write_text("[job]\n" + "".join(f'{each} = "{job} ({each})"\n' for each in Job), "utf-8")
        return Site.open(root)

    told_next(changed(700, "work once called"), 1, ONE)
    file = Ledger(site.folders.ledger).nights()[0]["files"]
    reading_file = next(one for one in file if one["source"] == "run_hours")
    set_aside(Site.open(root), f"{reading_file['sha256']}:2", reason="wrong machine", by="steward")
    told_next(changed(650, "work later called"), 2, ONE)
    last = changed(500, "work now called")
    shown = [
        (site.folders.queue / f"night-{number:06d}" / "index.html").read_text("utf-8") for number in (2, 3)
    ]
    assert "ork once called" in shown[0]
    assert "wrong machine" in shown[1]
    nights = Ledger(site.folders.ledger).nights()
    assert len({night["settings"] for night in nights}) == 3
    assert nights[2]["set_aside"]
    assert replay(last, into=tmp_path / "again").equal


def test_nights_after_the_one_asked_for_are_not_needed(tmp_path: Path) -> None:
    site = told(tmp_path / "s", 2, ONE)
    file = Ledger(site.folders.ledger).nights()[1]["files"][0]
    (site.folders.archive / file["sha256"][:2] / file["sha256"]).unlink()
    assert replay(site, 1, into=tmp_path / "again").equal


def test_neither_store_nor_queue_is_needed(tmp_path: Path) -> None:
    """Back up archive and ledger: the rest comes back."""
    site = told(tmp_path / "s", 2, ONE)
    shutil.rmtree(site.folders.queue)
    site.folders.store.unlink()
    assert replay(site, into=tmp_path / "again").equal
    assert not site.folders.store.exists()


# --- differences ------------------------------------------------------------------------------------------


def test_a_page_that_was_recorded_otherwise_is_named_with_exit_1(takeup: Shell, tmp_path: Path) -> None:
    site = told(tmp_path / "s", 2, ONE)
    wrote = Ledger(site.folders.ledger).nights()[0]["wrote"]
    rewritten(site, 1, wrote=wrote | {"orders.csv": "0" * 64, "lost.html": "1" * 64})
    done = takeup("replay", "1", "--site", site.folders.root, "--into", tmp_path / "one")
    assert done.code == 1
    assert "orders.csv: 000000000000 then" in done.out
    assert "lost.html: 111111111111 then, not there told again" in done.out
    told_as_json = takeup("replay", "--all", "--site", site.folders.root, "--into", tmp_path / "a", "--json")
    assert told_as_json.code == 1
    first, second = told_as_json.told["nights"]
    assert [one["name"] for one in first["differences"]] == ["lost.html", "orders.csv"]
    assert second["equal"]


def test_under_other_versions_each_field_that_differs_is_named(takeup: Shell, tmp_path: Path) -> None:
    site = told(tmp_path / "s", 2, ONE)
    path = site.folders.queue / "night-000002" / "orders.json"
    orders = json.loads(path.read_text("utf-8"))
    number = orders["orders"][0]["number"]
    orders["orders"][0]["need_by"] = "1999-12-31"
    orders["takeup"] = "0.0.1"
    content = json.dumps(orders).encode()
    path.chmod(0o644)
    path.write_bytes(content)
    record = Ledger(site.folders.ledger).nights()[1]
    rewritten(
        site,
        2,
        versions=record["versions"] | {"takeup": "0.0.1"},
        wrote=record["wrote"] | {"orders.json": hashlib.sha256(content).hexdigest()},
    )
    done = takeup("replay", "2", "--site", site.folders.root, "--into", tmp_path / "again")
    assert done.code == 1
    assert "takeup 0.0.1, here" in done.out
    assert f'orders.json, {number}, need_by: "1999-12-31" then' in done.out
    assert "1 difference\n" in done.out
    path.unlink()  # the queue is gone: what is left is the digest, which says that the orders are the same
    gone = takeup("replay", "2", "--site", site.folders.root, "--into", tmp_path / "gone")
    assert gone.code == 0
    assert "no longer holds orders.json of night 2" in gone.out


def test_a_night_on_the_way_that_comes_out_otherwise_is_named(takeup: Shell, tmp_path: Path) -> None:
    site = told(tmp_path / "s", 2, ONE)
    rewritten(site, 1, orders="0" * 64)
    done = takeup("replay", "2", "--site", site.folders.root, "--into", tmp_path / "again")
    assert done.code == 1
    assert "orders or row accounts of night 1 did not come out" in done.out


# --- errors -----------------------------------------------------------------------------------------------


def test_a_number_that_is_no_night_is_told_with_those_there_are(takeup: Shell, site: Site) -> None:
    done = takeup("replay", "12", "--site", site.folders.root)
    assert done.code == 2
    assert "no night 12" in done.err
    assert "nights 1 to 3" in done.err
    assert not list(site.folders.root.parent.glob("s-replay*"))


@pytest.mark.parametrize("words", [(), ("1", "--all")])
def test_one_night_or_all_must_be_asked_for(takeup: Shell, site: Site, words: tuple[str, ...]) -> None:
    done = takeup("replay", *words, "--site", site.folders.root)
    assert (done.code, "--all" in done.err) == (2, True)


def test_every_damaged_file_of_the_archive_is_named_before_any_night_is_told(tmp_path: Path) -> None:
    site = told(tmp_path / "s", 2, ONE)
    nights = Ledger(site.folders.ledger).nights()
    gone, cut = nights[0]["files"][0], nights[1]["files"][0]
    where = [site.folders.archive / one["sha256"][:2] / one["sha256"] for one in (gone, cut)]
    where[0].unlink()
    where[1].chmod(0o644)
    where[1].write_bytes(where[1].read_bytes()[:-1])
    with pytest.raises(StoreError) as refused:
        replay(site, into=tmp_path / "again")
    for file, path in zip((gone, cut), where, strict=True):
        assert file["name"] in refused.value.what
        assert str(path) in refused.value.what
    assert refused.value.todo
    assert not (tmp_path / "again").exists()


def test_a_damaged_ledger_is_named_by_its_line(site: Site, tmp_path: Path) -> None:
    copy = tmp_path / "s"
    shutil.copytree(site.folders.root, copy, symlinks=True)
    ledger = copy / "ledger" / "ledger.jsonl"
    ledger.write_bytes(ledger.read_bytes().replace(b'"number":2', b'"number":4', 1))
    with pytest.raises(LedgerError, match=r"ledger\.jsonl line"):
        replay(Site.open(copy), into=tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_site_that_is_written_is_waited_for_and_its_holder_named(site: Site, tmp_path: Path) -> None:
    with writing(site.folders.lock, "nightly"), pytest.raises(LockHeld, match="doing 'nightly'"):
        replay(site, 1, into=tmp_path / "again", wait_seconds=0.2)
    with reading(site.folders.lock, "why C-0001"):
        assert replay(site, 1, into=tmp_path / "again", wait_seconds=0.2).equal


def test_the_site_is_free_again_while_nights_are_told(site: Site, tmp_path: Path) -> None:
    free = []

    def look(_step: str, _done: int, _total: int) -> None:
        with writing(site.folders.lock, "nightly"):
            free.append(True)

    replay(site, 1, into=tmp_path / "again", progress=look)
    assert free


@pytest.mark.parametrize("place", ["queue/again", "again", "store/x"])
def test_nothing_is_told_into_the_site(site: Site, place: str) -> None:
    with pytest.raises(UsageError, match="inside the site"):
        replay(site, 1, into=site.folders.root / place)
    assert not (site.folders.root / place).exists()


def test_a_folder_that_holds_something_is_left_alone(site: Site, tmp_path: Path) -> None:
    (tmp_path / "mine").write_text("mine")
    with pytest.raises(UsageError, match="holds something"):
        replay(site, 1, into=tmp_path)
    with pytest.raises(UsageError, match="a file is called so"):
        replay(site, 1, into=tmp_path / "mine")
    assert (tmp_path / "mine").read_text() == "mine"


def test_beside_the_site_a_new_name_is_taken_each_time(tmp_path: Path) -> None:
    site = told(tmp_path / "s", 1, ONE)
    folders = [replay(site, 1).folder, replay(site, 1).folder, replay(site).folder]
    assert [folder.name for folder in folders] == ["s-replay-1", "s-replay-1-2", "s-replay-all"]


def test_a_replay_that_is_stopped_leaves_nothing(site: Site, tmp_path: Path) -> None:
    def stop(_step: str, done: int, _total: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        replay(site, into=tmp_path / "again", progress=stop)
    assert not (tmp_path / "again").exists()
    (tmp_path / "empty").mkdir()
    with pytest.raises(KeyboardInterrupt):
        replay(site, into=tmp_path / "empty", progress=stop)
    assert not any((tmp_path / "empty").iterdir())


def test_a_site_without_nights_says_so(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no night was told"):
        replay(plant.site(tmp_path / "s"))


def test_a_night_without_news_replays_too(tmp_path: Path) -> None:
    """Nothing arrived: the day after is told from what is known, and told again from it."""
    site = told(tmp_path / "s", 2, ONE)
    assert nightly(site, as_of=plant.NIGHTS[1] + timedelta(days=1)).told
    assert replay(site, 3, into=tmp_path / "again").equal
