"""Rows kept out: listed, read again under new settings, set aside; through the next night and a rebuild."""

from __future__ import annotations

import csv

import pytest
from tests.night import plant
from tests.night.told import ONE, told

from takeup.ledger import Ledger
from takeup.model import Feed
from takeup.site import Site
from takeup.store import Store

FIRST, SECOND = plant.NIGHTS[:2]
WHO = ("--reason", "the chain crew says so", "--by", "chain steward")
#: Two rows with the day first, as a spreadsheet wrote them, and one as the contract has it.
DAY_FIRST = (
    b"strand,done_at,lubricant\r\n"
    b"FE-32-A,30.08.2026,oil\r\nFE-32-B,31/08/2026,oil\r\nFE-32-B,2026-08-29,oil\r\n"
)
DMY = '\n[source.lube_records]\nfeed = "lube_records"\nfiles = ["lube_records*.csv"]\ndate_order = "dmy"\n'


@pytest.fixture
def site(tmp_path) -> Site:
    return told(tmp_path / "s", 1, ONE)


def rows(site: Site, feed: Feed = Feed.LUBE_RECORDS):
    with Store.open(site.folders.store, read_only=True) as store:
        return store.rows(feed, as_of=SECOND)


def equal_after_a_rebuild(takeup, site: Site) -> bool:
    before = plant.told_files(site.folders.queue)
    done = takeup("rebuild", "--site", site.folders.root, "--json")
    return done.code == 0 and done.told["different"] == [] and plant.told_files(site.folders.queue) == before


def told_kept_out(site: Site) -> list[dict[str, str]]:
    """The rows kept out as the queue's file tells them."""
    with (site.folders.queue / "current" / "kept_out.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def on_the_page(site: Site, line: int) -> bool:
    """Whether the row of FE-32-B that was set aside stands among those kept out: who, when, why, raw text."""
    (row,) = [one for one in told_kept_out(site) if one["line"] == str(line)]
    page = (site.folders.queue / "current" / "index.html").read_text("utf-8")
    said = (
        "Set aside by chain steward, not used from the night as of Mon 31 Aug 2026 on: "
        "“the chain crew says so”."
    )
    return row["state"] == "set aside" and "FE-32-B" in row["raw"] and row["why"] == said and said in page


def test_without_rows_kept_out_it_says_so(takeup, site):
    done = takeup("quarantine", "--site", site.folders.root)
    assert (done.code, done.out) == (0, "No row is kept out.\n")
    assert takeup("quarantine", "--site", site.folders.root, "--json").told == {"kept_out": []}


def test_a_file_is_read_again_under_settings_that_fit_it(takeup, site):
    root = site.folders.root
    (site.inbox / "lube_records_x.csv").write_bytes(DAY_FIRST)
    assert takeup("nightly", "--site", root, "--as-of", FIRST, "--json").told["kept_out"] == 2
    before = len(rows(site))

    listed = takeup("quarantine", "--site", root, "--json").told["kept_out"]
    assert [(row["line"], row["state"], row["found"]) for row in listed] == [
        (2, "refused", "30.08.2026"),
        (3, "refused", "31/08/2026"),
    ]
    assert [row["raw"] for row in listed] == ["FE-32-A,30.08.2026,oil", "FE-32-B,31/08/2026,oil"]
    said = takeup("quarantine", "--site", root).out
    sha256 = listed[0]["sha256"]
    for part in ("lube_records_x.csv line 2", sha256[:12], "refused", "30.08.2026", "FE-32-A,30.08.2026,oil"):
        assert part in said

    with site.folders.settings.open("a", encoding="utf-8") as file:
        file.write(DMY)
    decided = takeup("quarantine", "--site", root, "--read-again", sha256[:12], *WHO)
    assert decided.code == 0
    assert "lube_records_x.csv" in decided.out
    night = takeup("nightly", "--site", root, "--as-of", FIRST, "--json").told
    assert [(one["file"], one["read"], one["new"]) for one in night["accounting"]] == [
        ("lube_records_x.csv", 2, 2)
    ]
    assert night["kept_out"] == 0
    assert takeup("quarantine", "--site", root, "--json").told == {"kept_out": []}
    assert len(rows(site)) == before + 2

    again = takeup("nightly", "--site", root, "--as-of", FIRST, "--json").told
    assert not again["told"], "one decision is acted on once"
    assert equal_after_a_rebuild(takeup, site)
    record = [one for one in Ledger(site.folders.ledger).records() if one["kind"] == "decision"]
    assert [(one["act"], one["by"], one["reason"]) for one in record] == [
        ("read again", "chain steward", "the chain crew says so")
    ]


def test_a_row_that_nobody_trusts_is_set_aside(takeup, site):
    root = site.folders.root
    before = rows(site, Feed.ELONGATION_READINGS)
    chosen = before[before["strand"] == "FE-32-B"].iloc[-1]
    with Store.open(site.folders.store, read_only=True) as store:
        place = store.origins([chosen["row_id"]]).iloc[0]
    decided = takeup(
        "quarantine", "--site", root, "--set-aside", f"{place['sha256'][:10]}:{place['line']}", *WHO, "--json"
    )
    assert decided.code == 0
    assert decided.told["line"] == place["line"]
    night = takeup("nightly", "--site", root, "--as-of", FIRST, "--json").told
    assert night["told"]
    assert night["counters"]["surveys_derived"] > 0
    after = rows(site, Feed.ELONGATION_READINGS)
    assert set(before["row_id"]) - set(after["row_id"]) == {chosen["row_id"]}

    assert on_the_page(site, place["line"])
    plant.deliver(site, plant.exports(FIRST, ONE))  # it comes again, and stays set aside
    night = takeup("nightly", "--site", root, "--as-of", SECOND, "--json").told
    assert all(one["duplicate"] == one["read"] for one in night["accounting"])
    assert set(rows(site, Feed.ELONGATION_READINGS)["row_id"]) == set(after["row_id"])
    assert on_the_page(site, place["line"])
    for page in (site.folders.queue / "current").glob("*.html"):
        page.unlink()  # so that the rebuild writes the queue again
    page_before = told_kept_out(site)
    assert takeup("rebuild", "--site", root, "--json").told["different"] == []
    assert told_kept_out(site) == page_before
    assert on_the_page(site, place["line"])
    assert equal_after_a_rebuild(takeup, site)


def test_a_refused_row_set_aside_is_no_longer_asked_about(takeup, site):
    root = site.folders.root
    (site.inbox / "lube_records_x.csv").write_bytes(DAY_FIRST)
    takeup("nightly", "--site", root, "--as-of", FIRST)
    first, second = takeup("quarantine", "--site", root, "--json").told["kept_out"]
    takeup("quarantine", "--site", root, "--set-aside", f"{first['sha256']}:{first['line']}", *WHO)
    assert takeup("nightly", "--site", root, "--as-of", FIRST, "--json").told["kept_out"] == 1
    left, aside = takeup("quarantine", "--site", root, "--json").told["kept_out"]
    assert left == second
    assert (aside["state"], aside["line"], aside["by"]) == ("set aside", first["line"], "chain steward")
    assert [row["why"][:9] for row in told_kept_out(site) if row["line"] == str(first["line"])] == [
        "Set aside"
    ]


def test_a_file_of_which_nothing_was_used_can_be_set_aside_whole(takeup, site):
    root = site.folders.root
    (site.inbox / "lube_records_x.csv").write_bytes(b"who,when\r\nFE-32-A,2026-08-30\r\n")
    told_so = takeup("nightly", "--site", root, "--as-of", FIRST, "--json").told
    assert told_so["refused_files"] == ["lube_records_x.csv"]
    (listed,) = takeup("quarantine", "--site", root, "--json").told["kept_out"]
    assert listed["line"] == 0
    assert takeup("quarantine", "--site", root, "--set-aside", f"{listed['sha256']}:0", *WHO).code == 0
    takeup("nightly", "--site", root, "--as-of", FIRST)
    (aside,) = takeup("quarantine", "--site", root, "--json").told["kept_out"]
    assert (aside["state"], aside["line"], aside["since"]) == ("set aside", 0, FIRST.isoformat())
    assert "Set aside by chain steward" in takeup("quarantine", "--site", root).out


@pytest.mark.parametrize("line", [1, 99_999])
def test_a_line_without_a_row_is_refused(takeup, site, line):
    file = Ledger(site.folders.ledger).nights()[0]["files"][0]["sha256"]
    before = site.folders.ledger.read_bytes()
    done = takeup("quarantine", "--site", site.folders.root, "--set-aside", f"{file}:{line}", *WHO, "--json")
    assert done.code == 2
    assert f"line {line}" in done.told["what"]
    assert site.folders.ledger.read_bytes() == before


def test_a_decision_is_kept_behind_a_record_that_was_cut_short(takeup, site):
    """A stop while a night's record was written must not spoil the decision that comes next."""
    with site.folders.ledger.open("ab") as file:
        file.write(b'{"accounting":[')
    sha256 = Ledger(site.folders.ledger).nights()[0]["files"][0]["sha256"]
    assert takeup("quarantine", "--site", site.folders.root, "--read-again", sha256, *WHO).code == 0
    assert [record["kind"] for record in Ledger(site.folders.ledger).records()] == ["night", "decision"]


def test_a_source_that_is_gone_is_named_and_putting_it_back_ends_the_night(takeup, site):
    root = site.folders.root
    with site.folders.settings.open("a", encoding="utf-8") as file:
        file.write('\n[source.grease]\nfeed = "lube_records"\nfiles = ["grease*.csv"]\n')
    (site.inbox / "grease_1.csv").write_bytes(DAY_FIRST)
    takeup("nightly", "--site", root, "--as-of", FIRST)
    (row, *_) = takeup("quarantine", "--site", root, "--json").told["kept_out"]
    takeup("quarantine", "--site", root, "--read-again", row["sha256"], *WHO)
    with_source = site.folders.settings.read_text("utf-8")
    site.folders.settings.write_text(with_source.replace("source.grease", "source.oil"), "utf-8")
    stopped = takeup("nightly", "--site", root, "--as-of", FIRST, "--json")
    assert stopped.code == 2
    assert "grease" in stopped.told["what"]
    site.folders.settings.write_text(
        with_source.replace('grease*.csv"]', 'grease*.csv"]\ndate_order = "dmy"'), "utf-8"
    )
    done = takeup("nightly", "--site", root, "--as-of", FIRST, "--json")
    assert done.code == 0
    assert [(one["file"], one["new"]) for one in done.told["accounting"]] == [("grease_1.csv", 2)]


def test_what_was_set_aside_is_listed_with_who_did_it(takeup, site):
    """Rows that takeup keeps and does not use, a close-out without effect, a row a person set aside."""
    root = site.folders.root
    (site.inbox / "run_hours_x.csv").write_bytes(
        b"machine,read_at,meter_hours\r\nFE-32,2026-08-29T05:00,99999\r\nFE-32,2026-08-29T06:00,100999\r\n"
    )
    (site.inbox / "order_closeouts_x.csv").write_bytes(
        b"order,outcome,recorded_at,recorded_by,reason\r\nC-9999,done,2026-08-31,chain crew,changed\r\n"
    )
    kept = takeup("nightly", "--site", root, "--as-of", FIRST, "--json").told["kept_out"]
    taken = Ledger(site.folders.ledger).nights()[-1]["files"]
    sha256 = next(one["sha256"] for one in taken if one["name"].startswith("run_hours"))
    takeup("quarantine", "--site", root, "--set-aside", f"{sha256}:3", *WHO)
    takeup("nightly", "--site", root, "--as-of", FIRST)

    listed = takeup("quarantine", "--site", root, "--json").told["kept_out"]
    assert {row["reason"] for row in listed} >= {"order_unknown", "by_a_person"}
    assert {row["state"] for row in listed} == {"set aside"}
    assert sorted((row["file"], row["line"]) for row in listed) == sorted(
        (row["file"], int(row["line"])) for row in told_kept_out(site)
    )
    assert kept > 1
    said = takeup("quarantine", "--site", root).out
    assert "set aside" in said
    assert "Set aside by chain steward" in said


def test_a_row_set_aside_is_shown_in_the_encoding_of_its_source(takeup, site):
    root = site.folders.root
    with site.folders.settings.open("a", encoding="utf-8") as file:
        file.write('\n[source.grease]\nfeed = "lube_records"\nfiles = ["grease*.csv"]\nencoding = "cp1252"\n')
    text = "strand,done_at,lubricant,remark\r\nFE-32-A,2026-08-30,oil,Öl über die Brücke\r\n"
    (site.inbox / "grease_1.csv").write_bytes(text.encode("cp1252"))
    takeup("nightly", "--site", root, "--as-of", FIRST)
    sha256 = Ledger(site.folders.ledger).nights()[-1]["files"][0]["sha256"]
    takeup("quarantine", "--site", root, "--set-aside", f"{sha256}:2", *WHO)
    takeup("nightly", "--site", root, "--as-of", FIRST)
    assert [row["raw"] for row in told_kept_out(site)] == ["FE-32-A,2026-08-30,oil,Öl über die Brücke"]
