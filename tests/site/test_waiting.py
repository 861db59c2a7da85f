"""Whoever finds the site held waits, says for whom, and in the end refuses with the holder's name."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest
from tests.night import plant
from tests.night.told import ONE, told

from takeup.site import Site

SECOND = plant.NIGHTS[1]
HOLD = """
import sys, time
sys.path[:0] = {path!r}
from pathlib import Path
from takeup.site.lock import reading, writing
from takeup.store import Store
root = Path({root!r})
with {hold}:
    print("held", flush=True)
    {until}
"""
WRITER = "writing(root / '.lock', 'a long rebuild')"
READER = "reading(root / '.lock', 'a long answer')"
#: a program that knows nothing of our lock
STRANGER = "Store.open(root / 'store' / 'takeup.duckdb', read_only=True)"
COMMANDS = {
    "why": ["why", "FE-32-A"],
    "quarantine": ["quarantine"],
    "rebuild": ["rebuild"],
    "nightly": ["nightly", "--as-of", SECOND.isoformat()],
}


@pytest.fixture
def site(tmp_path) -> Site:
    return told(tmp_path / "s", 1, ONE)


@contextmanager
def held(site: Site, hold: str, until: str = "sys.stdin.read()"):
    """Another process that holds the site, until it is told to end or by itself."""
    script = HOLD.format(path=sys.path, root=str(site.folders.root), hold=hold, until=until)
    with subprocess.Popen(
        [sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        try:
            assert other.stdout.readline() == "held\n"
            yield other
        finally:
            other.stdin.close()


def begun(site: Site, command: str, *more: str) -> subprocess.Popen[str]:
    words = [sys.executable, "-m", "takeup", *COMMANDS[command], "--site", str(site.folders.root), *more]
    found = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=found)


def run(site: Site, command: str, *more: str) -> tuple[int, str]:
    """Exit code, and what was said on standard error."""
    with begun(site, command, *more) as process:
        _, said = process.communicate()
        return process.returncode, said


@pytest.mark.parametrize("command", COMMANDS)
def test_a_wait_that_is_over_ends_with_4_and_the_holders_name(site, command):
    with held(site, WRITER) as other:
        since = time.monotonic()
        code, said = run(site, command, "--wait", "0.5")
        assert time.monotonic() - since >= 0.5
    assert code == 4
    assert f"process {other.pid} on " in said
    assert "doing 'a long rebuild' since 2" in said
    assert "--wait" in said
    assert "waiting" not in said, "too short a wait to speak of"


@pytest.mark.parametrize("command", ["why", "nightly"])
def test_who_waits_long_says_for_whom_and_goes_on_when_the_holder_ends(site, command):
    with held(site, WRITER) as other, begun(site, command, "--wait", "600") as waiter:
        line = waiter.stderr.readline()  # comes after a short while, with the holder still there
        other.stdin.close()
        _, rest = waiter.communicate()
    assert re.search(rf"process {other.pid} on .*doing 'a long rebuild' since 2.*waiting up to 600 s", line)
    assert (waiter.returncode, rest) == (0, "")


@pytest.mark.parametrize("command", ["nightly", "rebuild"])
def test_a_writer_waits_for_a_reader_and_names_it(site, command):
    with held(site, READER) as other:
        code, said = run(site, command, "--wait", "0")
    assert code == 4
    assert f"process {other.pid} on " in said
    assert "a long answer" in said


@pytest.mark.parametrize("command", ["why", "quarantine"])
def test_readers_do_not_wait_for_each_other(site, command):
    with held(site, READER):
        assert run(site, command, "--wait", "0") == (0, "")


def test_a_night_waits_for_a_program_that_knows_no_lock_of_ours(site):
    with held(site, STRANGER) as other, begun(site, "nightly", "--wait", "600") as waiter:
        line = waiter.stderr.readline()
        other.stdin.close()
        waiter.communicate()
    assert f"the store is open in process {other.pid}; waiting" in line
    assert waiter.returncode == 0


def test_a_holder_that_was_killed_holds_nothing(site):
    with held(site, WRITER) as other:
        other.kill()
        other.wait()
        assert run(site, "why", "--wait", "0") == (0, "")


def test_the_wait_of_the_settings_holds_where_none_is_given(site):
    text = site.folders.settings.read_text(encoding="utf-8")
    site.folders.settings.write_text(
        text.replace("settle_seconds = 0", "settle_seconds = 0\nwait_seconds = 0.25"), encoding="utf-8"
    )
    with held(site, WRITER):
        code, said = run(site, "quarantine")
    assert (code, "a long rebuild" in said) == (4, True)
