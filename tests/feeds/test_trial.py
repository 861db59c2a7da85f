"""A file checked without a site, and files read again."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.feeds.delivery import AS_OF, Site

from takeup import feeds
from takeup.errors import InputUnusable
from takeup.feeds import Archived, Found, SourceDialect, archive_path, default_sources

READINGS = next(source for source in default_sources() if source.feed == "elongation_readings")


def test_a_check_reads_as_a_night_would_and_names_what_it_could_not_tell(tmp_path):
    path = tmp_path / "export.csv"
    path.write_text(
        "strand,measured_at,elongation_percent,shift\nA,2026-03-02,1.5,early\nA,2026-03-03,x,late\n",
        encoding="utf-8",
    )
    result = feeds.check(path, READINGS, site_zone="Europe/Lisbon", scratch=tmp_path / "scratch")
    assert (result.rows.read, result.rows.new, result.rows.refused) == (2, 1, 1)
    assert [(row.reason, row.line) for row in result.kept_out] == [("not_a_number", 3)]
    assert result.notes == {"columns_unread": ["shift"]}
    assert result.not_checked == ("known_rows", "strand_known", "dated_later")
    assert not result.clean
    assert path.exists()


def test_a_check_of_a_missing_file_says_so(tmp_path):
    with pytest.raises(InputUnusable, match="the file cannot be read: No such file"):
        feeds.check(tmp_path / "no.csv", READINGS, site_zone="UTC", scratch=tmp_path)


def again(site: Site, sha256: str, name: str, source: SourceDialect) -> list:
    """Read an archived file again on the next night."""
    path = archive_path(site.archive, sha256)
    item = Archived(Found(path, name, 0, 0, source.name), sha256, path, reread=True)
    site.number += 1
    with site.store.night(site.number, AS_OF) as night:
        return feeds.take(night, [item], [source], site_zone=site.zone)


def test_a_file_read_again_under_other_settings_gives_only_the_rows_it_was_refused(tmp_path):
    source = SourceDialect("hours", "run_hours", ("*.csv",))
    site = Site(tmp_path, [source])
    text = 'machine,read_at,meter_hours\nA,2026-03-01,100\nB,2026-03-01,"100,5"\nC,2026-03-01,x\n'
    (first,) = site.deliver({"h.csv": text})
    site.deliver({"h.csv": "machine,read_at,meter_hours\nA,2026-03-01,101\n"})
    (rows,) = again(site, first.sha256, "h.csv", replace(source, decimal=","))
    assert (rows.read, rows.new, rows.refused) == (2, 1, 1)
    assert dict(site.rows("run_hours")[["machine", "meter_hours"]].values.tolist()) == {"A": 101, "B": 100.5}
    assert [(row.reason, row.line) for row in site.store.kept_out()] == [("not_a_number", 4)]


def test_a_row_read_again_stands_behind_what_came_since(tmp_path):
    source = SourceDialect("hours", "run_hours", ("*.csv",))
    site = Site(tmp_path, [source])
    (first,) = site.deliver({"h.csv": 'machine,read_at,meter_hours\nA,2026-03-01,"100,5"\n'})
    site.deliver({"h.csv": "machine,read_at,meter_hours\nA,2026-03-01,101\n"})
    assert site.store.kept_out() == [], "the key came again"
    (rows,) = again(site, first.sha256, "h.csv", replace(source, decimal=","))
    assert rows.read == 0, "what was answered is not read again"
    assert site.rows("run_hours")["meter_hours"].tolist() == [101]


def test_a_file_refused_as_a_whole_is_read_again_as_a_whole_and_ends_nothing(tmp_path):
    source = SourceDialect("register", "machines", ("*.csv",))
    site = Site(tmp_path, [source])
    site.deliver({"m.csv": "machine,kind\nA,other\nB,other\n"})
    (refused,) = site.deliver({"m.csv": "Anlage,kind\nA,heavy_drive\nC,other\n"})
    assert refused.refused == 2
    (rows,) = again(site, refused.sha256, "m.csv", replace(source, headers={"Anlage": "machine"}))
    assert (rows.read, rows.new, rows.superseding) == (2, 1, 1)
    assert dict(site.rows("machines")[["machine", "kind"]].values.tolist()) == {
        "A": "heavy_drive",
        "B": "other",
        "C": "other",
    }
    assert site.store.kept_out() == []


def test_a_person_may_set_a_refusal_or_a_row_aside(tmp_path):
    site = Site(tmp_path)
    site.deliver({"run_hours.csv": "machine,read_at,meter_hours\nA,2026-03-01,100\nB,2026-03-01,x\n"})
    refused = [row.row_id for row in site.store.kept_out()]
    row = site.rows("run_hours")["row_id"].tolist()
    site.number += 1
    with site.store.night(site.number, AS_OF) as night:
        assert night.set_aside([*refused, *row, 999]) == 2
    assert site.store.kept_out() == []
    assert site.rows("run_hours").empty
    assert len(site.rows("run_hours", night=1)) == 1
    (rows,) = site.deliver({"run_hours.csv": "machine,read_at,meter_hours\nA,2026-03-01,100\n"})
    assert rows.duplicate == 1
    assert site.rows("run_hours").empty, "the same row again does not undo a decision"
