"""The log of a site: one line a step with moment, host, duration and counts; errors; its size has an end."""

from __future__ import annotations

import json
import logging
import re
import socket
import subprocess
import sys
import threading

import pytest
from tests.cli.commands import Shell
from tests.night import plant
from tests.night.told import ONE, told, told_next

import takeup.derive.derivation
import takeup.night.telling
from takeup.errors import UsageError
from takeup.night import nightly
from takeup.site import log as site_log
from takeup.site.log import keeping_log

FIRST, SECOND = plant.NIGHTS[:2]
#: moment in UTC, host, process, level, message
LINE = re.compile(
    r"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00) (\S+) process (\d+) (INFO|WARNING|ERROR) (.+)"
)


def lines(site) -> list[str]:
    return site.folders.log.read_text("utf-8").splitlines()


def test_a_night_writes_one_line_a_step_with_host_duration_and_rows(tmp_path):
    site = told(tmp_path / "s", 0, ONE)
    result = told_next(site, 0, ONE)
    found = [LINE.fullmatch(line) for line in lines(site)]
    assert all(found), lines(site)
    assert {match[2] for match in found} == {socket.gethostname()}
    messages = [match[5] for match in found]
    assert all(re.search(r" in \d+\.\d{3} s", message) for message in messages)
    rows = sum(one.read for one in result.accounting)
    for step in ("made whole", "found and archived", f"rows taken .*, rows {rows}", "derived", "judged",
                 "orders written", "pages written", "committed"):  # fmt: skip
        assert sum(bool(re.search(step.replace(" .*", ".*"), message)) for message in messages) == 1, step


def test_clocks_and_hosts_stay_out_of_ledger_and_queue(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    truth = b"".join(
        content for name, content in plant.told_files(site.folders.root).items()
        if name.startswith(("ledger/", "queue/"))
    )  # fmt: skip
    assert socket.gethostname().encode() not in truth
    moments = {match[1][:16].encode() for match in map(LINE.fullmatch, lines(site)) if match}
    assert moments
    assert not any(moment in truth for moment in moments)


def test_a_night_that_tells_nothing_says_so_in_the_log_and_changes_no_other_byte(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    before = plant.told_files(site.folders.root)
    nightly(site, as_of=FIRST)
    assert plant.told_files(site.folders.root) == before
    assert "nothing new to tell" in lines(site)[-1]


def test_a_known_error_is_one_line_without_a_traceback(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    many = len(lines(site))
    with pytest.raises(UsageError):
        nightly(site, as_of=FIRST.replace(year=2020))
    (line,) = [line for line in lines(site)[many:] if " ERROR " in line]
    assert "cannot be told any more" in line
    assert "Traceback" not in site.folders.log.read_text("utf-8")


def test_a_fault_of_our_own_leaves_its_traceback_and_the_message_names_the_file(
    tmp_path, capsys, monkeypatch
):
    """The fault is a real one: a step of the night is made to divide by nought."""
    site = told(tmp_path / "s", 1, ONE)
    plant.deliver(site, plant.exports(SECOND, ONE))
    monkeypatch.setattr(takeup.night.telling, "derive", lambda *_, **__: 1 // 0)
    done = Shell(capsys)("nightly", "--site", site.folders.root, "--as-of", SECOND)
    assert done.code == 5
    assert f"The traceback stands in {site.folders.log}." in done.err
    written = site.folders.log.read_text("utf-8")
    assert "Traceback (most recent call last)" in written
    assert "ZeroDivisionError" in written
    assert written.count("Traceback (most recent call last)") == 1
    as_json = Shell(capsys)("nightly", "--site", site.folders.root, "--as-of", SECOND, "--json")
    assert str(site.folders.log) in json.loads(as_json.out)["todo"]


def test_the_log_is_put_away_once_it_is_large_and_only_so_many_are_kept(tmp_path, monkeypatch):
    site = told(tmp_path / "s", 0, ONE)
    monkeypatch.setattr(site_log, "LARGEST_BYTES", 2000)
    with keeping_log(site.folders):
        for number in range(300):
            site_log.steps.info("line %d, %s", number, "x" * 40)
    kept = sorted(site.folders.log.parent.iterdir())
    assert [path.name for path in kept] == ["takeup.log"] + [
        f"takeup.log.{n}" for n in range(1, site_log.KEPT + 1)
    ]
    assert all(path.stat().st_size <= 2000 for path in kept)
    assert "line 299" in lines(site)[-1]


def test_what_a_file_is_called_does_not_begin_a_line_of_its_own(tmp_path):
    site = told(tmp_path / "s", 0, ONE)
    with keeping_log(site.folders):
        site_log.log.warning("%s", "tape.csv\n2026-01-01T00:00:00 forged")
    assert len(lines(site)) == 1


def test_two_sites_in_one_process_keep_their_lines_apart(tmp_path):
    sites = [told(tmp_path / name, 0, ONE) for name in "ab"]
    together = threading.Barrier(2)

    def work(site) -> None:
        with keeping_log(site.folders):
            together.wait()
            site_log.log.warning("of %s", site.folders.root.name)
            together.wait()

    threads = [threading.Thread(target=work, args=[site]) for site in sites]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [[line.rsplit(" ", 1)[1] for line in lines(site)] for site in sites] == [["a"], ["b"]]
    assert not [one for one in logging.getLogger("takeup").handlers if isinstance(one, site_log._SiteLog)]


def test_a_log_that_cannot_be_written_stops_no_night(tmp_path):
    site = told(tmp_path / "s", 0, ONE)
    site.folders.log.unlink(missing_ok=True)
    site.folders.log.mkdir()
    assert told_next(site, 0, ONE).told


def test_warnings_still_reach_the_terminal(tmp_path):
    site = told(tmp_path / "s", 0, ONE)
    script = (
        f"import sys; sys.path[:0] = {sys.path!r}\n"
        "from pathlib import Path\nfrom takeup.site.folders import Folders\nfrom takeup.site import log\n"
        f"with log.keeping_log(Folders(Path({str(site.folders.root)!r}))):\n"
        "    log.log.warning('made again'); log.steps.info('quiet')\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stderr == "made again\n"
    assert len(lines(site)) == 2
