"""An outlet hears of a night after its commit; its failure never fails the night."""

from pathlib import Path

import pytest
from tests.night import plant

from takeup.ledger import Ledger
from takeup.night import nightly

HEARD = """
def listen(folder, result):
    (folder.parent / "heard.txt").write_text(f"{folder.name} {result.number} {result.open_orders}")

def fail(folder, result):
    raise RuntimeError("the mail server is down")

def leave(folder, result):
    raise SystemExit(7)
"""


@pytest.fixture
def installed(tmp_path, monkeypatch):
    """A package with two outlets, installed the way any package is: by its metadata on the path."""
    home = tmp_path / "installed"
    about = home / "hearing-1.0.dist-info"
    about.mkdir(parents=True)
    (home / "hearing.py").write_text(HEARD)
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: hearing\nVersion: 1.0\n")
    (about / "entry_points.txt").write_text(
        "[takeup.outlets]\na_failing_one = hearing:fail\n"
        "b_leaving_one = hearing:leave\nlistener = hearing:listen\n"
    )
    monkeypatch.syspath_prepend(str(home))


@pytest.mark.usefixtures("installed")
def test_outlets_are_told_and_one_that_fails_costs_nothing(tmp_path, caplog):
    site = plant.site(tmp_path / "site")
    plant.deliver(site, plant.exports(plant.NIGHTS[0], ("SL-61",)))

    result = nightly(site, as_of=plant.NIGHTS[0])

    heard = (Path(site.folders.queue) / "heard.txt").read_text()
    assert heard == f"night-000001 1 {result.open_orders}"
    for name, fault in (
        ("a_failing_one", "RuntimeError: the mail server is down"),
        ("b_leaving_one", "SystemExit: 7"),
    ):
        (said,) = [
            record for record in caplog.records if record.name == "takeup" and name in record.getMessage()
        ]
        assert fault in said.getMessage()
        assert str(site.folders.log) in said.getMessage()
        assert said.exc_info is None  # one line for the terminal; the log has the rest
    kept = site.folders.log.read_text("utf-8")
    assert kept.count("Traceback") == 2
    assert [night["number"] for night in Ledger(site.folders.ledger).nights()] == [1]
