"""Every command: what it prints, as text and as JSON, and the code it ends with."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from tests.night import plant
from tests.night.told import ONE, told

from takeup.errors import TakeupError
from takeup.ledger import Ledger
from takeup.site import Site

FIRST, SECOND = plant.NIGHTS[:2]
GOOD = b"machine,read_at,meter_hours\r\nFE-32,2026-08-31T06:00,100\r\n"
BAD = GOOD + b"FE-32,2026-08-31,\r\nFE-32,31/08/2026,12\r\n"


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Site:
    """Two nights told; no test changes it."""
    return told(tmp_path_factory.mktemp("cli") / "s", 2, ONE)


@pytest.fixture
def fresh(tmp_path) -> Site:
    """One night told, to do with as one likes."""
    return told(tmp_path / "s", 1, ONE)


# --- done -------------------------------------------------------------------------------------------------


def test_a_site_is_made_told_and_asked(takeup, tmp_path):
    root = tmp_path / "works"
    made = takeup("new", root, "--name", "Our works", "--time-zone", "Europe/Lisbon", "--json")
    assert (made.code, made.told) == (0, {"site": str(root)})
    (root / "inbox" / "run_hours_1.csv").write_bytes(GOOD)
    night = takeup("nightly", "--site", root, "--as-of", FIRST)
    assert night.code == 0
    assert "Night 1" in night.out
    assert str(root / "queue" / "current" / "index.html") in night.out
    again = takeup("nightly", "--site", root, "--as-of", FIRST, "--json")
    assert (again.code, again.told["told"], again.told["number"]) == (0, False, 1)


def test_the_site_is_the_folder_one_stands_in(takeup, site, monkeypatch):
    monkeypatch.chdir(site.folders.root)
    assert takeup("quarantine").code == 0


def test_a_night_as_json_says_what_it_took_and_changed(takeup, fresh):
    plant.deliver(fresh, plant.exports(SECOND, ONE))
    tried = takeup("nightly", "--site", fresh.folders.root, "--as-of", SECOND, "--dry-run", "--json")
    done = takeup("nightly", "--site", fresh.folders.root, "--as-of", SECOND, "--json")
    assert (tried.code, done.code) == (0, 0)
    assert (tried.told["dry_run"], done.told["dry_run"]) == (True, False)
    same = ("number", "as_of", "accounting", "events", "open_orders", "stop_now", "counters")
    assert {key: tried.told[key] for key in same} == {key: done.told[key] for key in same}
    assert done.told["stop_now"] == 1
    for one in done.told["accounting"]:
        assert one["read"] == sum(
            one[state] for state in ("new", "duplicate", "superseding", "refused", "waiting")
        )


def test_a_rebuild_says_whether_all_came_out_as_recorded(takeup, fresh):
    told_again = takeup("rebuild", "--site", fresh.folders.root, "--json")
    assert told_again.code == 0
    assert told_again.told == {
        "nights": 1,
        "different": [],
        "other_versions": [],
        "queue_written": False,
        "used": True,
    }


def test_help_names_every_command(takeup):
    done = takeup("--help")
    assert done.code == 0
    for command in ("demo", "new", "check", "nightly", "why", "quarantine", "schedule", "rebuild"):
        assert command in done.out
        assert takeup(command, "--help").code == 0


# --- something found: 1 -----------------------------------------------------------------------------------


def test_under_strict_rows_kept_out_end_with_1(takeup, fresh):
    (fresh.inbox / "run_hours_2.csv").write_bytes(BAD)
    lax = takeup("nightly", "--site", fresh.folders.root, "--as-of", SECOND, "--dry-run")
    strict = takeup("nightly", "--site", fresh.folders.root, "--as-of", SECOND, "--strict")
    assert (lax.code, strict.code) == (0, 1)


def test_under_strict_silent_feeds_end_with_1(takeup, fresh):
    done = takeup("nightly", "--site", fresh.folders.root, "--as-of", "2026-09-20", "--strict")
    assert done.code == 1
    assert "silent" in done.out


def test_under_strict_a_file_that_nobody_claims_ends_with_1(takeup, fresh):
    (fresh.inbox / "tape-readings.csv").write_bytes(GOOD)
    done = takeup("nightly", "--site", fresh.folders.root, "--as-of", FIRST, "--strict")
    assert done.code == 1
    assert "tape-readings.csv" in done.out


# --- refused ----------------------------------------------------------------------------------------------

#: the command, with {site}, {none}, {file} and {bad} filled in; the code; parts of what is said
REFUSED = {
    "no site": (["nightly", "--site", "{none}"], 2, ["not a takeup site", "takeup new"]),
    "a file for a site": (["nightly", "--site", "{file}"], 2, ["not a takeup site"]),
    "a day before the last": (["nightly", "--site", "{site}", "--as-of", "2026-08-01"], 2, ["2026-09-01"]),
    "a day to come": (["nightly", "--site", "{site}", "--as-of", "2999-01-01"], 2, ["is not over yet"]),
    "a site where one stands": (
        ["new", "{site}", "--name", "x", "--time-zone", "Etc/UTC"],
        2,
        ["stands here already"],
    ),
    "a site in a file": (["new", "{file}", "--name", "x", "--time-zone", "Etc/UTC"], 2, ["file"]),
    "a site in no zone": (["new", "{none}", "--name", "x", "--time-zone", "Mars/Base"], 2, ["Mars/Base"]),
    "a site without a name": (
        ["new", "{none}", "--name", " ", "--time-zone", "Etc/UTC"],
        2,
        ["name is blank"],
    ),
    "why of an unknown name": (["why", "--site", "{site}", "FE-32-C"], 2, ["FE-32-C", "FE-32-A", "FE-32-B"]),
    "why of an unknown order": (["why", "--site", "{site}", "C-00001"], 2, ["C-0001"]),
    "why before a night": (["why", "--site", "{new}", "X"], 2, ["no night was told", "takeup nightly"]),
    "quarantine before a night": (
        ["quarantine", "--site", "{new}"],
        2,
        ["no night was told", "takeup nightly"],
    ),
    "read again by nobody": (
        ["quarantine", "--site", "{site}", "--read-again", "00"],
        2,
        ["--reason", "--by"],
    ),
    "read again what was never taken": (
        ["quarantine", "--site", "{site}", "--read-again", "zz", "--reason", "r", "--by", "b"],
        2,
        ["'zz'"],
    ),
    "set aside no place": (
        ["quarantine", "--site", "{site}", "--set-aside", "abc", "--reason", "r", "--by", "b"],
        2,
        ["3f2a91:14"],
    ),
    "check of nothing": (["check", "{none}"], 2, ["--feed"]),
    "check of a file that is not there": (["check", "{none}", "--feed", "run_hours"], 3, ["{none}"]),
    "check of a folder": (["check", "{site}", "--feed", "run_hours"], 3, ["is a folder", "{site}/*.csv"]),
    "check under settings that are not there": (
        ["check", "{file}", "--feed", "run_hours", "--settings", "{none}"],
        2,
        ["{none}"],
    ),
    "check under wrong settings": (
        ["check", "{file}", "--feed", "run_hours", "--settings", "{bad}"],
        2,
        ["bad.toml line 4", "settle_second"],
    ),
    "demo in a folder of another": (["demo", "{site}"], 2, ["the demo did not make"]),
    "demo in a file": (["demo", "{file}"], 2, ["the demo did not make"]),
    "asked every no minutes": (["schedule", "--site", "{site}", "--every-minutes", "0"], 2, ["0"]),
}


@pytest.fixture(scope="module")
def places(site, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("places")
    (folder / "file.csv").write_bytes(GOOD)
    (folder / "bad.toml").write_text(
        '[site]\nname = "x"\ntime_zone = "Etc/UTC"\nsettle_second = 1\n', "utf-8"
    )
    new = plant.site(folder / "new")
    return {
        "site": site.folders.root,
        "none": folder / "none",
        "file": folder / "file.csv",
        "bad": folder / "bad.toml",
        "new": new.folders.root,
    }


@pytest.mark.parametrize(("words", "code", "says"), REFUSED.values(), ids=REFUSED)
def test_a_mistake_is_told_with_what_where_and_what_to_do(takeup, places, words, code, says):
    filled = [word.format(**places) for word in words]
    as_text = takeup(*filled)
    assert as_text.code == code
    for part in says:
        assert part.format(**places) in as_text.err, as_text.err
    if as_text.err.startswith("usage:"):
        return
    assert as_text.err.startswith("takeup: ")
    assert as_text.out == ""
    as_json = takeup(*filled, "--json")
    assert as_json.code == code
    assert set(as_json.told) == {"error", "what", "where", "why", "todo"}
    assert as_json.told["what"]
    assert as_json.told["todo"] or as_json.told["why"] or "did you mean" in as_json.told["what"]
    assert as_json.told["error"] in {kind.__name__ for kind in kinds(TakeupError)}


def kinds(kind: type) -> set[type]:
    return {kind}.union(*(kinds(below) for below in kind.__subclasses__()))


@pytest.mark.parametrize(
    "words", [[], ["sing"], ["nightly", "--as-of", "yesterday"], ["check"], ["check", "x", "--feed", "tapes"]]
)
def test_a_misspelt_command_shows_its_usage(takeup, words):
    done = takeup(*words)
    assert done.code == 2
    assert "usage: takeup" in done.err


def test_an_inbox_that_is_not_there_ends_with_3(takeup, fresh):
    text = fresh.folders.settings.read_text("utf-8").replace(
        "settle_seconds", 'inbox = "exports"\nsettle_seconds'
    )
    fresh.folders.settings.write_text(text, "utf-8")
    done = takeup("nightly", "--site", fresh.folders.root)
    assert done.code == 3
    assert "exports" in done.err


def test_an_archive_that_is_not_whole_ends_with_4(takeup, fresh):
    file = Ledger(fresh.folders.ledger).nights()[0]["files"][0]["sha256"]
    (fresh.folders.archive / file[:2] / file).unlink()
    done = takeup("rebuild", "--site", fresh.folders.root, "--json")
    assert done.code == 4
    assert file in done.told["where"]
    assert "backup" in done.told["todo"]


def test_a_disk_that_refuses_ends_with_4(takeup, fresh):
    """A folder stands where the lock file must be written."""
    (fresh.folders.root / ".lock").unlink()
    (fresh.folders.root / ".lock").mkdir()
    done = takeup("nightly", "--site", fresh.folders.root, "--json")
    assert done.code == 4
    assert ".lock" in done.told["what"] + done.told["where"]


def test_what_nobody_foresaw_is_our_fault_and_ends_with_5(takeup, site, monkeypatch):
    def unforeseen(*_: object) -> None:
        raise ZeroDivisionError("by zero")

    monkeypatch.setattr(Site, "open", unforeseen)
    done = takeup("why", "--site", site.folders.root, "C-0001", "--json")
    assert done.code == 5
    assert "ZeroDivisionError" in done.told["what"]
    assert "not yours" in done.told["why"]
    monkeypatch.setenv("TAKEUP_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        takeup("why", "--site", site.folders.root, "C-0001")


# --- as a user runs it ------------------------------------------------------------------------------------


def run(*words: str | Path, **more) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "takeup", *map(str, words)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=False,
        **more,
    )


def test_the_exit_code_reaches_the_shell(site, places):
    (places["file"].parent / "run_hours_bad.csv").write_bytes(BAD)
    for words, code in (
        (["quarantine", "--site", site.folders.root, "--json"], 0),
        (["check", places["file"].parent / "run_hours_bad.csv"], 1),
        (["why", "--site", places["none"], "C-0001"], 2),
        (["check", places["none"], "--feed", "run_hours"], 3),
    ):
        done = run(*words)
        assert done.returncode == code, done.stderr
        assert "Traceback" not in done.stderr


def test_a_reader_that_leaves_early_is_no_error(site):
    command = f"{sys.executable} -m takeup why FE-32-A --site {site.folders.root} | head -n 1"
    surroundings = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    script = f"set -o pipefail; {command} >/dev/null"
    done = subprocess.run(
        ["bash", "-c", script], env=surroundings, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.returncode == 0


#: the command line in a process that hears interrupts, which one of a shell's background would not
HEARING = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)
from takeup.cli import main
raise SystemExit(main())
"""


def test_interrupted_it_says_that_nothing_is_lost_and_the_next_run_makes_it_good(takeup, fresh):
    plant.deliver(fresh, plant.exports(SECOND, ONE))
    process = subprocess.Popen(
        [sys.executable, "-c", HEARING, "nightly", "--site", fresh.folders.root, "--as-of", str(SECOND)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        stderr=subprocess.PIPE,
        text=True,
    )
    while not fresh.folders.intent.exists():
        assert process.poll() is None, process.stderr.read()
        time.sleep(0.005)
    process.send_signal(signal.SIGINT)
    said = process.communicate(timeout=60)[1]
    assert process.returncode == 130, said
    assert "Nothing is lost" in said
    assert "Traceback" not in said
    done = takeup("nightly", "--site", fresh.folders.root, "--as-of", SECOND, "--json")
    assert done.code == 0
    assert (done.told["told"], done.told["number"], done.told["stop_now"]) == (True, 2, 1)
