"""The night on a real scheduler, in this process and in one of its own that is asked to stop."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from apscheduler.events import EVENT_JOB_EXECUTED
from apscheduler.schedulers.background import BackgroundScheduler
from tests.night import plant
from tests.night.told import ONE

import takeup.schedule
from takeup.errors import UsageError
from takeup.ledger import Ledger
from takeup.site import Site
from takeup.site.lock import writing


def due(root: Path, exports: bool = True) -> Site:
    """A site whose last complete day is to be told at any time of day."""
    site = plant.site(root)
    text = site.folders.settings.read_text("utf-8")
    early = text.replace("settle_seconds = 0", 'settle_seconds = 0\ntell_at = "00:00"')
    site.folders.settings.write_text(early, "utf-8")
    if exports:
        plant.deliver(site, plant.exports(plant.NIGHTS[0], ONE))
    return Site.open(root)


def yesterday(site: Site) -> set[str]:
    """The last complete day, and the next should midnight pass meanwhile."""
    today = datetime.now(UTC).astimezone(site.zone).date()
    return {(today - timedelta(days=1)).isoformat(), today.isoformat()}


def until(condition, seconds: float = 60.0) -> bool:
    """Wait until something is so."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.05)
    return False


# --- on a host's scheduler ---------------------------------------------------------------------------------


def test_a_due_night_is_told_by_the_hosts_scheduler(tmp_path):
    site = due(tmp_path / "s", exports=False)
    scheduler = BackgroundScheduler(timezone=UTC)
    ran, results = threading.Event(), []
    scheduler.add_listener(lambda event: (results.append(event.retval), ran.set()), EVENT_JOB_EXECUTED)
    job = takeup.schedule.add_to(scheduler, site.folders.root, every_minutes=60)
    again = takeup.schedule.add_to(scheduler, str(site.folders.root), every_minutes=60)
    scheduler.start()
    try:
        assert ran.wait(60)
    finally:
        scheduler.shutdown(wait=True)
    assert results == [True]
    assert job.id == again.id
    assert (job.coalesce, job.max_instances, job.misfire_grace_time) == (True, 1, None)
    (night,) = Ledger(site.folders.ledger).nights()
    assert night["as_of"] in yesterday(site)


def test_a_site_that_is_none_is_refused_when_it_is_added(tmp_path):
    scheduler = BackgroundScheduler(timezone=UTC)
    with pytest.raises(UsageError, match="not a takeup site"):
        takeup.schedule.add_to(scheduler, tmp_path / "none")
    assert scheduler.get_jobs() == []


def test_a_told_day_is_not_told_again(tmp_path):
    site = due(tmp_path / "s", exports=False)
    assert takeup.schedule.tell_if_due(site.folders.root)
    assert not takeup.schedule.tell_if_due(site.folders.root)
    assert len(Ledger(site.folders.ledger).nights()) == 1


def test_what_stops_a_night_is_logged_and_tried_again(tmp_path, caplog):
    site = due(tmp_path / "s", exports=False)
    with writing(site.folders.lock, "something long"):
        assert not takeup.schedule.tell_if_due(site.folders.root)
    good = site.folders.settings.read_text("utf-8")
    site.folders.settings.write_text(good.replace("tell_at", "tell_att"), "utf-8")
    assert not takeup.schedule.tell_if_due(site.folders.root)
    assert "did you mean 'tell_at'?" in caplog.text
    site.folders.settings.write_text(good, "utf-8")
    assert takeup.schedule.tell_if_due(site.folders.root)


# --- in a process of its own -------------------------------------------------------------------------------


def scheduled(site: Site) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "takeup", "schedule", "--site", str(site.folders.root)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.parametrize("asked", [signal.SIGTERM, signal.SIGINT])
def test_asked_to_stop_it_ends_the_night_under_way_and_then_itself(tmp_path, asked):
    site = due(tmp_path / "s")
    process = scheduled(site)
    try:
        assert until(site.folders.intent.exists), "no night began"
        process.send_signal(asked)
        said = process.communicate(timeout=60)[1]
    finally:
        process.kill()
        process.wait()
    assert process.returncode == 0, said
    assert "Traceback" not in said
    assert "Night 1" in said
    assert not site.folders.intent.exists()
    (night,) = Ledger(site.folders.ledger).nights()
    assert night["as_of"] in yesterday(site)
    assert (site.folders.queue / "current" / "index.html").exists()
