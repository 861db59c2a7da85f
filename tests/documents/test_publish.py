"""A night's folder is written whole, unchanged pages are not drawn again, and the switch is one step."""

from __future__ import annotations

import hashlib
import json
import os
import re
import socket
from collections.abc import Iterator
from copy import copy
from dataclasses import fields, is_dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.documents.plant import SHA, TEMPLATES, head
from tests.documents.plant import night as plant_night

from takeup.documents.head import MARK, recorded_sha256
from takeup.documents.keys import content_key
from takeup.documents.publish import publish, switch
from takeup.documents.sheets import NightSheet, OrderSheet, OtherOrder
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
#: three orders and why they stand, two with a lockout reminder, the record of forecasts, the glossary
PAGES = 10


def night() -> NightSheet:
    """Three orders of the invented plant: with a chart, without one, and about records."""
    kept = ("C-0001", "C-0005", "C-0008")
    whole = plant_night()
    return replace(
        whole,
        orders=tuple(one for one in whole.orders if one.order.number in kept),
        answers=tuple(one for one in whole.answers if one.order.number in kept),
    )


def next_night(sheet: NightSheet) -> NightSheet:
    return replace(sheet, number=sheet.number + 1, as_of=sheet.as_of.replace(day=3))


CHARTED = 1  # the place of the order with a chart


def pair() -> NightSheet:
    """The same night with a second strand, which wears alike, on the order that has a chart."""
    orders = list(night().orders)
    (one,) = orders[CHARTED].series
    orders[CHARTED] = replace(orders[CHARTED], series=(one, replace(one, strand="BE-31-B", side="B")))
    return replace(night(), orders=tuple(orders))


def moved(sheet: NightSheet) -> NightSheet:
    """A week later: every date of every strand moves, and no reading comes."""
    week = timedelta(days=7)
    orders = tuple(
        replace(
            one,
            series=tuple(
                replace(each, hours_as_of=each.hours_as_of + week, hours_now=each.hours_now + 100.0)
                for each in one.series
                if each.hours_as_of is not None and each.hours_now is not None
            ),
        )
        for one in sheet.orders
    )
    return replace(next_night(sheet), orders=orders)


def inode(path: Path) -> int:
    return path.stat().st_ino


def test_every_file_is_written_and_named_with_its_hash(tmp_path: Path) -> None:
    done = publish(night(), tmp_path / "12", None, [TEMPLATES], head)
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
        content = (tmp_path / "12" / name).read_bytes()
        assert recorded_sha256(name, content, SHA) == sha256
        assert name == "index.html" or hashlib.sha256(content).hexdigest() == sha256
    assert (done.drawn, done.linked) == (PAGES, 0)


def test_the_index_bears_the_ledgers_head_in_groups_and_is_known_without_it(tmp_path: Path) -> None:
    """The record that the head sums up holds the page's own hash, so the page is hashed with a mark there."""
    done = publish(night(), tmp_path / "12", None, [TEMPLATES], head)
    page = (tmp_path / "12" / "index.html").read_bytes()
    printed = b"5f0c 6f3d 9a4b e1c0 7a2b"
    assert page.count(printed) == 1
    assert MARK.encode() not in page
    other = page.replace(printed, b"5f0c 6f3d 9a4b e1c0 7a2c")
    unfilled = page.replace(printed, MARK.encode())
    for changed in (other, unfilled, page.replace(b"Night", b"night"), page + b" "):
        assert changed != page
        assert recorded_sha256("index.html", changed, SHA) != done.files["index.html"]
    assert recorded_sha256("index.html", page, "0" + SHA[1:]) != done.files["index.html"]


def test_told_twice_it_is_the_same_to_the_byte(tmp_path: Path) -> None:
    first = publish(night(), tmp_path / "a", None, [TEMPLATES], head)
    second = publish(night(), tmp_path / "b", None, [TEMPLATES], head)
    assert first.files == second.files


def test_the_next_night_links_the_pages_that_did_not_change(tmp_path: Path) -> None:
    publish(night(), tmp_path / "12", None, [TEMPLATES], head)
    done = publish(next_night(night()), tmp_path / "13", tmp_path / "12", [TEMPLATES], head)
    assert (done.drawn, done.linked) == (0, PAGES)
    for name in ("orders/C-0005.html", "reminders/C-0001.html"):
        assert inode(tmp_path / "13" / name) == inode(tmp_path / "12" / name)
    assert inode(tmp_path / "13" / "index.html") != inode(tmp_path / "12" / "index.html")


def test_only_what_changed_is_drawn_again(tmp_path: Path) -> None:
    publish(night(), tmp_path / "12", None, [TEMPLATES], head)
    after = next_night(night())
    sheets = list(after.orders)
    sheets[1] = replace(sheets[1], order=replace(sheets[1].order, revision=2))
    done = publish(replace(after, orders=tuple(sheets)), tmp_path / "13", tmp_path / "12", [TEMPLATES], head)
    assert (done.drawn, done.linked) == (1, PAGES - 1)
    name = f"orders/{sheets[1].order.number}.html"
    assert inode(tmp_path / "13" / name) != inode(tmp_path / "12" / name)
    fresh = publish(replace(after, orders=tuple(sheets)), tmp_path / "fresh", None, [TEMPLATES], head)
    assert fresh.files == done.files


def test_a_changed_word_or_version_draws_every_page_again(tmp_path: Path) -> None:
    own = tmp_path / "own"
    own.mkdir()
    publish(night(), tmp_path / "12", None, [own, TEMPLATES], head)
    (own / "hazards.html.j2").write_text("<li>the crane next door</li>\n", encoding="utf-8")
    done = publish(night(), tmp_path / "13", tmp_path / "12", [own, TEMPLATES], head)
    assert done.drawn == PAGES
    assert "the crane next door" in (tmp_path / "13/reminders/C-0005.html").read_text("utf-8")
    newer = replace(night(), versions=(("takeup", "9.9"),))
    assert publish(newer, tmp_path / "14", tmp_path / "13", [own, TEMPLATES], head).drawn == PAGES


def test_a_page_whose_dates_moved_is_drawn_again_with_the_drawings_it_had(tmp_path: Path) -> None:
    first = publish(pair(), tmp_path / "12", None, [TEMPLATES], head)
    assert first.charts == 2
    # A night between, on which the pages are linked, loses no drawing.
    assert publish(next_night(pair()), tmp_path / "13", tmp_path / "12", [TEMPLATES], head).charts == 0
    later = publish(moved(pair()), tmp_path / "14", tmp_path / "13", [TEMPLATES], head)
    assert (later.drawn, later.charts) == (1, 0)
    assert later.files["orders/C-0005.html"] != first.files["orders/C-0005.html"]
    fresh = publish(moved(pair()), tmp_path / "fresh", None, [TEMPLATES], head)
    assert fresh.charts == 2
    assert fresh.files == later.files


def test_a_strand_on_two_orders_is_drawn_once(tmp_path: Path) -> None:
    one = pair().orders[CHARTED]
    both = replace(pair(), orders=(one, replace(one, order=replace(one.order, number="C-0002"))))
    done = publish(both, tmp_path / "12", None, [TEMPLATES], head)
    assert done.charts == 2


def test_only_a_chart_that_shows_something_else_is_drawn(tmp_path: Path) -> None:
    publish(pair(), tmp_path / "12", None, [TEMPLATES], head)
    after = moved(pair())
    one = after.orders[CHARTED]
    surveys = one.series[1].surveys
    read = replace(one.series[1], surveys=(*surveys[:-1], replace(surveys[-1], wear_percent=1.61)))
    orders = list(after.orders)
    orders[CHARTED] = replace(one, series=(one.series[0], read))
    after = replace(after, orders=tuple(orders))
    done = publish(after, tmp_path / "13", tmp_path / "12", [TEMPLATES], head)
    assert done.charts == 1
    newer = replace(after, versions=(("takeup", "9.9"),))
    assert publish(newer, tmp_path / "14", tmp_path / "13", [TEMPLATES], head).charts == 2


@pytest.mark.parametrize("damage", ["a point moved", "cut short", "no UTF-8", "places of another page"])
def test_a_damaged_drawing_is_never_served(tmp_path: Path, damage: str) -> None:
    publish(pair(), tmp_path / "12", None, [TEMPLATES], head)
    page, record = tmp_path / "12/orders/C-0005.html", tmp_path / "12/pages.json"
    whole = page.read_bytes()
    page.unlink()
    if damage == "a point moved":
        page.write_bytes(re.sub(rb'(<use [^>]*x=")\d', rb"\g<1>9", whole))
    elif damage == "cut short":
        page.write_bytes(whole[: len(whole) // 5])
    elif damage == "no UTF-8":
        page.write_bytes(b"\xff" * len(whole))
    else:
        page.write_bytes(whole)
        pages = json.loads(record.read_bytes())
        for places in pages["orders/C-0005.html"]["drawings"].values():
            places[0] += 7
        record.unlink()
        record.write_text(json.dumps(pages), encoding="utf-8")
    done = publish(moved(pair()), tmp_path / "13", tmp_path / "12", [TEMPLATES], head)
    assert done.charts == 2
    assert done.files == publish(moved(pair()), tmp_path / "fresh", None, [TEMPLATES], head).files


def test_the_whole_folder_is_on_the_disk_before_it_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every file is synced after its last byte, then every folder after its last name."""
    synced: list[tuple[int, int]] = []
    really = os.fsync

    def watched(descriptor: int) -> None:
        really(descriptor)
        found = os.fstat(descriptor)
        synced.append((found.st_ino, found.st_mtime_ns))

    monkeypatch.setattr(os, "fsync", watched)
    for name, sheet, before in (("12", night(), None), ("13", moved(night()), tmp_path / "12")):
        publish(sheet, tmp_path / name, before, [TEMPLATES], head)
        parts = [tmp_path / name / part for part in ("orders", "reminders", "why")]
        folders = [*parts, tmp_path / name, tmp_path]
        assert [number for number, _ in synced[-5:]] == [inode(folder) for folder in folders]
        for path in (tmp_path / name).rglob("*"):
            assert (path.stat().st_ino, path.stat().st_mtime_ns) in synced, path


@pytest.mark.parametrize(
    "damage", ["pages.json gone", "pages.json torn", "pages.json of no use", "page gone", "page changed"]
)
def test_a_damaged_night_before_is_drawn_anew_not_served(tmp_path: Path, damage: str) -> None:
    whole = publish(night(), tmp_path / "12", None, [TEMPLATES], head)
    of_page = damage.startswith("page ")
    broken = tmp_path / "12" / ("orders/C-0005.html" if of_page else "pages.json")
    text = broken.read_text(encoding="utf-8")
    broken.unlink()
    if damage == "pages.json torn":
        broken.write_text('{"orders/', encoding="utf-8")
    elif damage == "pages.json of no use":
        broken.write_text('{"orders/C-0005.html": 7}', encoding="utf-8")
    elif damage == "page changed":
        broken.write_text(text.replace("lock", "look"), encoding="utf-8")
    done = publish(night(), tmp_path / "13", tmp_path / "12", [TEMPLATES], head)
    assert done.files == whole.files
    assert done.drawn == (1 if of_page else PAGES)


def test_what_an_interrupted_night_left_behind_is_cleared_away(tmp_path: Path) -> None:
    staging = tmp_path / "12"
    (staging / "orders").mkdir(parents=True)
    (staging / "orders" / "C-9999.html").write_text("half a page", encoding="utf-8")
    done = publish(night(), staging, None, [TEMPLATES], head)
    assert not (staging / "orders" / "C-9999.html").exists()
    assert "orders/C-9999.html" not in done.files


def test_a_published_file_cannot_be_written_by_mistake(tmp_path: Path) -> None:
    """It may be the page of earlier nights too."""
    publish(night(), tmp_path / "12", None, [TEMPLATES], head)
    for path in (tmp_path / "12").rglob("*"):
        if path.is_file():
            assert path.stat().st_mode & 0o222 == 0


def test_nothing_of_this_machine_or_hour_is_in_any_file(tmp_path: Path) -> None:
    publish(night(), tmp_path / "12", None, [TEMPLATES], head)
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
            publish(replace(night(), orders=(bad,)), tmp_path / "12", None, [TEMPLATES], head)
    assert list(tmp_path.iterdir()) == []


def test_a_page_that_cannot_be_drawn_leaves_the_last_night_standing(tmp_path: Path) -> None:
    publish(night(), tmp_path / "12", None, [TEMPLATES], head)
    switch(tmp_path, "12")
    sheet = night().orders[0]
    bad = replace(sheet, order=replace(sheet.order, governing="rust_depth"))
    with pytest.raises(OurFault, match="has no name"):
        publish(replace(night(), orders=(bad,)), tmp_path / "13", tmp_path / "12", [TEMPLATES], head)
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
        publish(night(), tmp_path / "file" / "12", None, [TEMPLATES], head)


def test_the_document_of_the_orders_is_written_as_it_was_made(tmp_path: Path) -> None:
    document = {"site": "Northbank Works", "orders": [{"number": "C-0001", "why": "gebrochen – <b>"}]}
    publish(replace(night(), document=document), tmp_path / "12", None, [TEMPLATES], head)
    assert json.loads((tmp_path / "12/orders.json").read_bytes()) == document


def altered(value: Any) -> Iterator[Any]:
    """Copies of a value, each with one thing in it another, at any depth, or without its last."""
    if is_dataclass(value) and not isinstance(value, type):
        for each in fields(value):
            for other in altered(getattr(value, each.name)):
                copied = copy(value)
                object.__setattr__(copied, each.name, other)
                yield copied
    elif isinstance(value, tuple) and value:
        yield value[:-1]
        for place, item in enumerate(value):
            for other in altered(item):
                yield (*value[:place], other, *value[place + 1 :])
    else:
        yield "another"


@pytest.mark.parametrize("sheet", plant_night().orders, ids=lambda sheet: sheet.order.number)
def test_the_content_key_covers_everything_in_a_sheet(sheet: OrderSheet) -> None:
    """Whatever is another in a sheet, at any depth, its page is drawn again."""
    others = [content_key(one, "t") for one in altered(sheet)]
    assert len(others) > 50
    assert len({content_key(sheet, "t"), content_key(sheet, "u"), *others}) == len(others) + 2


def test_what_a_page_says_of_another_order_draws_it_again_and_the_rest_of_that_order_does_not(
    tmp_path: Path,
) -> None:
    """The page is no part of what makes the other order a new revision of itself."""
    one, other = night().orders[1], night().orders[0].order

    def with_other(**changes: Any) -> NightSheet:
        beside = replace(one, visit=(OtherOrder.of(replace(other, **changes)),))
        return replace(night(), orders=(beside,))

    publish(with_other(), tmp_path / "12", None, [TEMPLATES], head)
    same = publish(
        with_other(revision=9, parts=("bolts",)), tmp_path / "13", tmp_path / "12", [TEMPLATES], head
    )
    assert same.drawn == 0
    day = date(2031, 5, 6)
    done = publish(with_other(need_by=day), tmp_path / "14", tmp_path / "13", [TEMPLATES], head)
    assert done.drawn == 1
    assert "6 May 2031" in (tmp_path / f"14/orders/{one.order.number}.html").read_text("utf-8")
