"""The inbox and the archive: who owns a file, whether it is at rest, and that its bytes are kept."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from takeup import feeds
from takeup.errors import InputUnusable, SettingsError, StoreError
from takeup.feeds import Left, Remembered, SourceDialect, archive_path, default_sources

SOURCES = default_sources()


def find(inbox: Path, *more, **options):
    return {item.name: item for item in feeds.find(inbox, SOURCES, *more, **options)}


def test_files_are_found_by_their_sources_patterns(tmp_path):
    for name in ("run_hours_1.csv", "run_hours.csv.gz", "notes.txt", ".run_hours.csv", "machines.csv"):
        (tmp_path / name).write_text("x")
    (tmp_path / "strands.csv").mkdir()
    (tmp_path / "lube_records.csv").symlink_to(tmp_path / "notes.txt")
    found = find(tmp_path)
    assert {name: (item.source, item.left) for name, item in found.items()} == {
        "lube_records.csv": ("lube_records", Left.NOT_A_FILE),
        "machines.csv": ("machines", Left.NO),
        "notes.txt": ("", Left.NO_SOURCE),
        "run_hours.csv.gz": ("run_hours", Left.NO),
        "run_hours_1.csv": ("run_hours", Left.NO),
        "strands.csv": ("strands", Left.NOT_A_FILE),
    }


def test_a_sites_own_source_goes_before_the_plain_one_and_two_of_its_own_are_one_too_many(tmp_path):
    (tmp_path / "run_hours_north.csv").write_text("x")
    north = SourceDialect("north", "run_hours", ("run_hours_n*.csv",))
    also = SourceDialect("also", "run_hours", ("*north.csv",))
    (item,) = feeds.find(tmp_path, [north, *SOURCES])
    assert (item.source, item.left) == ("north", Left.NO)
    (item,) = feeds.find(tmp_path, [north, also, *SOURCES])
    assert (item.source, item.left) == ("north, also", Left.TWO_SOURCES)


def test_a_file_that_grows_while_it_settles_waits(tmp_path):
    (tmp_path / "run_hours.csv").write_text("machine,")
    (tmp_path / "machines.csv").write_text("machine,kind\n")

    def grow(seconds: float) -> None:
        assert seconds == 3
        with (tmp_path / "run_hours.csv").open("a") as file:
            file.write("read_at,")
        (tmp_path / "strands.csv").write_text("came meanwhile")

    found = find(tmp_path, settle_seconds=3, wait=grow)
    assert {name: item.left for name, item in found.items()} == {
        "machines.csv": Left.NO,
        "run_hours.csv": Left.GROWING,
    }


def test_a_missing_inbox_is_said(tmp_path):
    with pytest.raises(InputUnusable, match="the inbox cannot be listed: No such file"):
        feeds.find(tmp_path / "nowhere", SOURCES)


def test_bytes_are_archived_under_their_hash_as_they_came(tmp_path):
    inbox, folder = tmp_path / "inbox", tmp_path / "archive"
    inbox.mkdir()
    data = b"\xef\xbb\xbfmachine,kind\r\nA,other"
    (inbox / "machines_a.csv").write_bytes(data)
    (inbox / "machines_b.csv").write_bytes(data)
    taken, left = feeds.archive(feeds.find(inbox, SOURCES), folder)
    assert left == []
    digest = hashlib.sha256(data).hexdigest()
    assert [(item.name, item.source, item.sha256, item.path) for item in taken] == [
        (name, "machines", digest, archive_path(folder, digest))
        for name in ("machines_a.csv", "machines_b.csv")
    ]
    assert archive_path(folder, digest) == folder / digest[:2] / digest
    assert taken[0].path.read_bytes() == data
    assert [path.name for path in folder.iterdir()] == [digest[:2]], "no drafts stay"


def test_a_file_that_changed_since_it_was_found_waits(tmp_path):
    path = tmp_path / "machines.csv"
    path.write_text("machine,kind\n")
    found = feeds.find(tmp_path, SOURCES)
    path.write_text("machine,kind\nA,other\n")
    taken, left = feeds.archive(found, tmp_path / "archive")
    assert taken == []
    assert [item.left for item in left] == [Left.GROWING]


def test_an_archive_that_cannot_be_written_stops_the_night(tmp_path):
    (tmp_path / "machines.csv").write_text("machine,kind\n")
    (tmp_path / "archive").write_text("a file, not a folder")
    with pytest.raises(StoreError, match="the archive cannot be written"):
        feeds.archive(feeds.find(tmp_path, SOURCES), tmp_path / "archive")


def test_taken_files_leave_the_inbox_unless_they_changed(tmp_path):
    for name in ("machines.csv", "strands.csv"):
        (tmp_path / name).write_text("x")
    taken, _ = feeds.archive(feeds.find(tmp_path, SOURCES), tmp_path / "archive")
    (tmp_path / "strands.csv").write_text("a new export already")
    assert feeds.release(taken) == []
    assert not (tmp_path / "machines.csv").exists()
    assert (tmp_path / "strands.csv").exists()


def test_what_a_read_only_inbox_keeps_is_remembered_and_not_found_again(tmp_path, monkeypatch):
    (tmp_path / "machines.csv").write_text("x")
    taken, _ = feeds.archive(feeds.find(tmp_path, SOURCES), tmp_path / "archive")

    def refuse(*_: object, **__: object) -> None:  # the tests run as root, whom no folder's rights stop
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "unlink", refuse)
    about = (tmp_path / "machines.csv").stat()
    kept = feeds.release(taken)
    assert kept == [Remembered("machines.csv", about.st_size, about.st_mtime_ns, taken[0].sha256)]
    monkeypatch.undo()
    assert [item for item in feeds.find(tmp_path, SOURCES, kept) if item.name == "machines.csv"] == []
    (tmp_path / "machines.csv").write_text("another export")
    assert [item.name for item in feeds.find(tmp_path, SOURCES, kept) if not item.left] == ["machines.csv"]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"delimiter": "::"}, "delimiter '::' is not one of"),
        ({"decimal": ";"}, "decimal ';' is not one of"),
        ({"grouping": "."}, r"grouping is the decimal mark '\.' too"),
        ({"date_order": "ydm"}, "date_order 'ydm' is not one of"),
        ({"encoding": "klingon"}, "encoding 'klingon' is not known"),
        ({"time_zone": "Mars/Base"}, "time_zone 'Mars/Base' is not known"),
        ({"delivery": "sometimes"}, "delivery 'sometimes' is not one of"),
        ({"files": ()}, "files is empty"),
        ({"headers": {"X": "speed"}}, "headers names 'speed', which is no column of run_hours"),
        ({"units": {"meter_hours": "in"}}, "units meter_hours: no conversion from 'in' to 'h' is known"),
        ({"words": {"meter_hours": {"a": "b"}}}, "words meter_hours holds no words"),
        ({"words": {"meter_event": {"a": "b"}}}, "words meter_event: 'a' is mapped to 'b'"),
        ({"stamp_pattern": "("}, "stamp_pattern is no regular expression"),
        ({"stamp_pattern": r"(?P<year>\d+)"}, "stamp_pattern has the groups year"),
    ],
)
def test_a_wrong_dialect_names_source_field_and_remedy(given, told):
    with pytest.raises(SettingsError, match=told) as caught:
        SourceDialect(**{"name": "meters", "feed": "run_hours", "files": ("*.csv",)} | given)
    assert caught.value.where.startswith("source meters, ")
    assert caught.value.todo
