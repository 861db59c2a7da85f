"""A night's folder is written whole, unchanged pages are not drawn again, and the switch is one step."""

from __future__ import annotations

import hashlib
import json
import os
import re
import socket
from dataclasses import replace
from pathlib import Path

import pytest
from tests.documents.plant import TEMPLATES
from tests.documents.plant import night as plant_night

from takeup.documents.publish import content_key, publish, switch
from takeup.documents.sheets import NightSheet
from takeup.errors import OurFault, StoreError

NAMED = {
    "index.html",
    "orders.csv",
    "orders.json",
    "changes.csv",
    "closeouts_to_fill.csv",
    "kept_out.csv",
    "cannot_judge.csv",
    "pages.json",
    "forecasts.html",
    "glossary.html",
}
PAGES = 7  # three orders, two of them with a lockout reminder, the record of forecasts, the glossary


def night() -> NightSheet:
    """Three orders of the invented plant: with a chart, without one, and about records."""
    kept = ("C-0001", "C-0005", "C-0008")
    return replace(
        plant_night(), orders=tuple(one for one in plant_night().orders if one.order.number in kept)
    )


def next_night(sheet: NightSheet) -> NightSheet:
    return replace(sheet, number=sheet.number + 1, as_of=sheet.as_of.replace(day=3), ledger_head="0" * 64)


def inode(path: Path) -> int:
    return path.stat().st_ino


def test_every_file_is_written_and_named_with_its_hash(tmp_path: Path) -> None:
    done = publish(night(), tmp_path / "12", None, [TEMPLATES])
    on_disk = {
        path.relative_to(tmp_path / "12").as_posix()
        for path in (tmp_path / "12").rglob("*")
        if path.is_file()
    }
    assert on_disk == set(done.files)
    assert on_disk >= NAMED
    assert {"orders/C-0005.html", "reminders/C-0005.html"} <= on_disk
    assert "reminders/C-0008.html" not in on_disk
    for name, sha256 in done.files.items():
        assert hashlib.sha256((tmp_path / "12" / name).read_bytes()).hexdigest() == sha256
    assert (done.drawn, done.linked) == (PAGES, 0)


def test_told_twice_it_is_the_same_to_the_byte(tmp_path: Path) -> None:
    first = publish(night(), tmp_path / "a", None, [TEMPLATES])
    second = publish(night(), tmp_path / "b", None, [TEMPLATES])
    assert first.files == second.files


def test_the_next_night_links_the_pages_that_did_not_change(tmp_path: Path) -> None:
    publish(night(), tmp_path / "12", None, [TEMPLATES])
    done = publish(next_night(night()), tmp_path / "13", tmp_path / "12", [TEMPLATES])
    assert (done.drawn, done.linked) == (0, PAGES)
    for name in ("orders/C-0005.html", "reminders/C-0001.html"):
        assert inode(tmp_path / "13" / name) == inode(tmp_path / "12" / name)
    assert inode(tmp_path / "13" / "index.html") != inode(tmp_path / "12" / "index.html")


def test_only_what_changed_is_drawn_again(tmp_path: Path) -> None:
    publish(night(), tmp_path / "12", None, [TEMPLATES])
    after = next_night(night())
    sheets = list(after.orders)
    sheets[1] = replace(sheets[1], order=replace(sheets[1].order, revision=2))
    done = publish(replace(after, orders=tuple(sheets)), tmp_path / "13", tmp_path / "12", [TEMPLATES])
    assert (done.drawn, done.linked) == (1, PAGES - 1)
    name = f"orders/{sheets[1].order.number}.html"
    assert inode(tmp_path / "13" / name) != inode(tmp_path / "12" / name)
    fresh = publish(replace(after, orders=tuple(sheets)), tmp_path / "fresh", None, [TEMPLATES])
    assert fresh.files == done.files


def test_a_changed_word_or_version_draws_every_page_again(tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    publish(night(), tmp_path / "12", None, [own, TEMPLATES])
    (own / "hazards.html.j2").write_text("<li>the crane next door</li>\n", encoding="utf-8")
    done = publish(night(), tmp_path / "13", tmp_path / "12", [own, TEMPLATES])
    assert done.drawn == PAGES
    assert "the crane next door" in (tmp_path / "13/reminders/C-0005.html").read_text("utf-8")
    newer = replace(night(), versions=(("takeup", "9.9"),))
    assert publish(newer, tmp_path / "14", tmp_path / "13", [own, TEMPLATES]).drawn == PAGES


@pytest.mark.parametrize("damage", ["pages.json gone", "pages.json torn", "page gone"])
def test_a_damaged_night_before_is_drawn_anew_not_served(tmp_path: Path, damage: str) -> None:
    whole = publish(night(), tmp_path / "12", None, [TEMPLATES])
    broken = tmp_path / "12" / ("orders/C-0005.html" if damage == "page gone" else "pages.json")
    broken.unlink()
    if damage == "pages.json torn":
        broken.write_text('{"orders/', encoding="utf-8")
    done = publish(night(), tmp_path / "13", tmp_path / "12", [TEMPLATES])
    assert done.files == whole.files
    assert done.drawn == (1 if damage == "page gone" else PAGES)


def test_what_an_interrupted_night_left_behind_is_cleared_away(tmp_path: Path) -> None:
    staging = tmp_path / "12"
    (staging / "orders").mkdir(parents=True)
    (staging / "orders" / "C-9999.html").write_text("half a page", encoding="utf-8")
    done = publish(night(), staging, None, [TEMPLATES])
    assert not (staging / "orders" / "C-9999.html").exists()
    assert "orders/C-9999.html" not in done.files


def test_a_published_file_cannot_be_written_by_mistake(tmp_path: Path) -> None:
    """It may be the page of earlier nights too."""
    publish(night(), tmp_path / "12", None, [TEMPLATES])
    for path in (tmp_path / "12").rglob("*"):
        if path.is_file():
            assert path.stat().st_mode & 0o222 == 0


def test_nothing_of_this_machine_or_hour_is_in_any_file(tmp_path: Path) -> None:
    publish(night(), tmp_path / "12", None, [TEMPLATES])
    for path in (tmp_path / "12").rglob("*"):
        if path.is_file():
            text = path.read_text(encoding="utf-8")
            assert socket.gethostname() not in text
            assert str(tmp_path) not in text
            assert str(TEMPLATES.parent) not in text
            assert not re.search(r"\d\d:\d\d:\d\d(?!,mineral oil)", text), path


def test_an_order_number_never_becomes_a_path(tmp_path: Path) -> None:
    sheet = night().orders[0]
    for number in ("../../x", "a/b", "", ".", "C 1", "x" * 100, 'C"-1', "C-1\n"):
        bad = replace(sheet, order=replace(sheet.order, number=number))
        with pytest.raises(OurFault, match="cannot name a file"):
            publish(replace(night(), orders=(bad,)), tmp_path / "12", None, [TEMPLATES])
    assert list(tmp_path.iterdir()) == []


def test_a_page_that_cannot_be_drawn_leaves_the_last_night_standing(tmp_path: Path) -> None:
    publish(night(), tmp_path / "12", None, [TEMPLATES])
    switch(tmp_path, "12")
    sheet = night().orders[0]
    bad = replace(sheet, order=replace(sheet.order, governing="rust_depth"))
    with pytest.raises(OurFault, match="has no name"):
        publish(replace(night(), orders=(bad,)), tmp_path / "13", tmp_path / "12", [TEMPLATES])
    assert (tmp_path / "current").resolve() == (tmp_path / "12").resolve()


def test_the_switch_is_one_step_and_can_be_done_again(tmp_path: Path) -> None:
    for name in ("12", "13"):
        (tmp_path / name).mkdir()
    switch(tmp_path, "12")
    assert (tmp_path / "current").readlink() == Path("12")
    (tmp_path / ".current.new").symlink_to("left over")
    switch(tmp_path, "13")
    switch(tmp_path, "13")
    assert (tmp_path / "current").readlink() == Path("13")
    assert not os.path.lexists(tmp_path / ".current.new")


def test_no_switch_to_a_night_that_is_not_there(tmp_path: Path) -> None:
    (tmp_path / "12").mkdir()
    switch(tmp_path, "12")
    with pytest.raises(StoreError, match="not in the queue"):
        switch(tmp_path, "13")
    assert (tmp_path / "current").readlink() == Path("12")


def test_a_disk_that_refuses_is_told_as_such(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(StoreError, match=r"could not be written.*last night's queue still stands"):
        publish(night(), tmp_path / "file" / "12", None, [TEMPLATES])


def test_the_document_of_the_orders_is_written_as_it_was_made(tmp_path: Path) -> None:
    document = {"site": "Northbank Works", "orders": [{"number": "C-0001", "why": "gebrochen – <b>"}]}
    publish(replace(night(), document=document), tmp_path / "12", None, [TEMPLATES])
    assert json.loads((tmp_path / "12/orders.json").read_bytes()) == document


def test_the_content_key_covers_every_field_of_a_sheet() -> None:
    sheet = night().orders[1]
    keys = {
        content_key(sheet, "t"),
        content_key(sheet, "u"),
        content_key(replace(sheet, duration_h=24.4), "t"),
        content_key(replace(sheet, series=()), "t"),
        content_key(replace(sheet, machine=replace(sheet.machine, area="x")), "t"),
        content_key(replace(sheet, order=replace(sheet.order, revision=9)), "t"),
    }
    assert len(keys) == 6
