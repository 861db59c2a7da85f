"""Exports checked before they are sent: as a night would read them, with nothing written."""

from __future__ import annotations

import gzip
import json

import pytest
from tests.night import plant

from takeup.resources import samples_dir

CLEAN = plant.exports(plant.NIGHTS[0])
SETTINGS = samples_dir() / "plant" / "takeup.toml"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_clean_export_of_every_feed_passes(takeup, folder):
    for name, content in CLEAN.items():
        (folder / name).write_bytes(content)
    done = takeup("check", *sorted(CLEAN), "--json")
    assert done.code == 0
    assert len(done.told["files"]) == len(CLEAN)
    for one in done.told["files"]:
        assert one["kept_out"] == []
        assert one["rows"]["read"] == len(plant.rows_of(CLEAN[one["rows"]["file"]]))
        assert "known_rows" in one["not_checked"]
    said = takeup("check", *sorted(CLEAN))
    assert said.code == 0
    assert said.out.count("would be taken, 0 refused") == len(CLEAN)
    assert "only a site can tell" in said.out


def test_every_sample_export_passes_under_the_plants_settings(takeup):
    for night in sorted((samples_dir() / "plant" / "nights").iterdir()):
        done = takeup("check", *sorted(night.iterdir()), "--settings", SETTINGS, "--json")
        kept_out = [row for one in done.told["files"] for row in one["kept_out"]]
        assert (done.code, kept_out) == (0, []), night.name


def test_a_bad_row_is_named_with_line_reason_and_text(takeup, folder):
    name = "elongation_readings_2026-08-31.csv"
    lines = CLEAN[name].split(b"\r\n")
    lines[4] = lines[4].replace(lines[4].split(b",")[5], b"3,05m")
    (folder / name).write_bytes(b"\r\n".join(lines))
    done = takeup("check", name)
    assert done.code == 1
    assert "line 5:" in done.out
    assert lines[4].decode() in done.out
    (one,) = takeup("check", name, "--json").told["files"]
    assert one["rows"]["refused"] == 1
    assert [row["line"] for row in one["kept_out"]] == [5]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "whole file"),
        (b"\r\n\r\n", "whole file"),
        (b"\x1f\x8b\x08\x00broken", "whole file"),
        ("machine,read_at,meter_hours\r\nÄ,2026-08-31,1\r\n".encode("utf-16"), "whole file"),
        (b"machine,when,hours\r\nA,2026-08-31,1\r\n", "whole file"),
        (b"machine,machine,read_at,meter_hours\r\nA,A,2026-08-31,1\r\n", "whole file"),
        (bytes(range(256)) * 8, "whole file"),
    ],
    ids=["empty", "blank lines", "torn gzip", "other encoding", "other columns", "column twice", "no text"],
)
def test_a_file_of_which_nothing_can_be_used_ends_with_3(takeup, folder, content, says):
    (folder / "run_hours_1.csv").write_bytes(content)
    done = takeup("check", "run_hours_1.csv")
    assert done.code == 3
    assert says in done.out
    (one,) = takeup("check", "run_hours_1.csv", "--json").told["files"]
    assert [row["line"] for row in one["kept_out"]] == [0]


def test_a_packed_file_is_read_like_its_text(takeup, folder):
    name = "run_hours_2026-08-31.csv"
    (folder / f"{name}.gz").write_bytes(gzip.compress(CLEAN[name]))
    (one,) = takeup("check", f"{name}.gz", "--json").told["files"]
    assert one["rows"]["read"] == len(plant.rows_of(CLEAN[name]))
    assert one["rows"]["refused"] == 0


def test_the_feed_is_taken_from_the_command_where_the_name_does_not_say(takeup, folder):
    (folder / "meters.csv").write_bytes(CLEAN["run_hours_2026-08-31.csv"])
    assert takeup("check", "meters.csv").code == 2
    assert takeup("check", "meters.csv", "--feed", "run_hours").code == 0
    assert takeup("check", "meters.csv", "--feed", "lube_records").code == 3


def test_the_sites_own_mapping_is_used(takeup):
    tape = samples_dir() / "plant" / "nights" / "2026-08-31" / "tape_2026-08-31.csv"
    assert takeup("check", tape, "--settings", SETTINGS).code == 0
    assert takeup("check", tape, "--feed", "elongation_readings").code == 3


def test_nothing_is_written_and_the_file_stands(takeup, folder):
    for name, content in CLEAN.items():
        (folder / name).write_bytes(content)
    takeup("check", *sorted(CLEAN))
    assert plant.told_files(folder) == CLEAN


def test_hostile_cells_are_shown_as_they_came(takeup, folder):
    (folder / "lube_records_1.csv").write_text(
        'strand,done_at,lubricant\r\n"<script>{{ 7*7 }}</script>",soon,"=cmd|\'x\'!A1"\r\n', "utf-8"
    )
    done = takeup("check", "lube_records_1.csv")
    assert done.code == 1
    assert "<script>{{ 7*7 }}</script>" in done.out
    told_so = takeup("check", "lube_records_1.csv", "--json")
    assert json.dumps("=cmd|'x'!A1")[1:-1] in told_so.out


def test_a_name_that_two_sources_take_is_said_as_the_night_says_it(takeup, folder):
    (folder / "meters_1.csv").write_bytes(CLEAN["run_hours_2026-08-31.csv"])
    (folder / "takeup.toml").write_text(
        '[site]\nname = "P"\ntime_zone = "UTC"\n'
        '[source.one]\nfeed = "run_hours"\nfiles = ["meters*.csv"]\n'
        '[source.two]\nfeed = "run_hours"\nfiles = ["*_1.csv"]\n'
    )
    for more in ([], ["--feed", "run_hours"]):
        done = takeup("check", "meters_1.csv", "--settings", "takeup.toml", *more)
        assert done.code == 2
        assert "more than one source" in done.err
        assert "one, two" in done.err


@pytest.mark.parametrize(
    ("content", "parts"),
    [
        ("machine,read_at,meter_hours\r\nA,2026-08-31,1\r\n".encode("utf-16"), ["byte order mark", "utf-16"]),
        (b"machine;read_at;meter_hours\r\nA;2026-08-31;1\r\n", ["no comma", "a semicolon", "delimiter"]),
        (b"machine,read_at,meter_hours\r\nA,0001-01-01,1\r\n", ["0001-01-01", "from 1970 to 2099"]),
        (b"machine,read_at,meter_hours\r\nA,2026-08-31,1687", ["1 would be taken", "last line does not end"]),
    ],
    ids=["utf-16", "delimiter", "year", "cut"],
)
def test_what_is_odd_about_a_file_is_named_as_such(takeup, folder, content, parts):
    (folder / "run_hours_1.csv").write_bytes(content)
    done = takeup("check", "run_hours_1.csv")
    for part in parts:
        assert part in done.out


def test_a_file_that_ends_as_it_should_gets_no_note(takeup, folder):
    (folder / "run_hours_1.csv").write_bytes(b"machine,read_at,meter_hours\r\nA,2026-08-31,1687\r\n")
    assert "does not end" not in takeup("check", "run_hours_1.csv").out


def test_a_folder_is_said_to_be_one(takeup, folder):
    (folder / "run_hours").mkdir()
    done = takeup("check", "run_hours")
    assert done.code in (2, 3)
    assert "folder" in takeup("check", "run_hours", "--feed", "run_hours").err
