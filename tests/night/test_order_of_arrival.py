"""The same files give the same orders, whatever the order in which they come."""

from __future__ import annotations

import csv
import io
import itertools
import json
import os
import shutil
from datetime import date
from pathlib import Path

import pytest
from tests.night import plant

from takeup.night import nightly
from takeup.site import Site

FIRST, LATER = plant.NIGHTS[0], plant.NIGHTS[1:4]


def orders_json(site: Site) -> bytes:
    return (site.folders.queue / "current" / "orders.json").read_bytes()


@pytest.mark.parametrize("turned", [False, True], ids=["as named", "turned round"])
def test_files_of_one_night_may_come_in_any_order(tmp_path: Path, turned: bool) -> None:
    """Names are the same; the clock times at which they were written are turned round."""
    told = []
    for number, backwards in enumerate((False, turned)):
        site = plant.site(tmp_path / str(number))
        files = plant.exports(FIRST)
        for place, name in enumerate(sorted(files, reverse=backwards)):
            (site.inbox / name).write_bytes(files[name])
            os.utime(site.inbox / name, (1_700_000_000 + place, 1_700_000_000 + place))
        nightly(site, as_of=FIRST)
        told.append(orders_json(site))
    assert told[0] == told[1]


def stamped(files: dict[str, bytes], night: date) -> dict[str, bytes]:
    """The files with the source's own stamp in every row that has none."""
    found = {}
    for name, content in files.items():
        delimiter = ";" if name.startswith("tape") else ","
        rows = list(csv.DictReader(io.StringIO(content.decode(), newline=""), delimiter=delimiter))
        out = io.StringIO(newline="")
        columns = list(dict.fromkeys([*rows[0], "changed_at"]))
        writer = csv.DictWriter(out, columns, delimiter=delimiter, restval="", lineterminator="\r\n")
        writer.writeheader()
        writer.writerows({**row, "changed_at": row.get("changed_at") or f"{night}T20:00"} for row in rows)
        found[name] = out.getvalue().encode()
    return found


def open_orders(site: Site) -> list[tuple[object, ...]]:
    """What an order says, without its number and its history.

    A job for this week or stop now is dated from the night that asked for it first: that day is history.
    """
    orders = json.loads(orders_json(site))["orders"]
    return sorted(
        (
            order["job"],
            order["subject"],
            order["urgency"],
            order["need_by"] if order["urgency"] in ("plan", "next shutdown") else None,
            order["buy_by"],
            order["governing_limit"],
            json.dumps([(reason["rule"], reason["facts"]) for reason in order["reasons"]], sort_keys=True),
        )
        for order in orders
    )


@pytest.fixture(scope="module")
def first_load(tmp_path_factory: pytest.TempPathFactory) -> Path:
    site = plant.site(tmp_path_factory.mktemp("arrival") / "site")
    plant.deliver(site, plant.exports(FIRST))
    nightly(site, as_of=FIRST)
    return site.folders.root


@pytest.fixture(scope="module")
def in_turn(first_load: Path, tmp_path_factory: pytest.TempPathFactory) -> list[tuple[object, ...]]:
    return told_in(first_load, tmp_path_factory.mktemp("turn"), LATER)


def told_in(first_load: Path, folder: Path, order: tuple[date, ...]) -> list[tuple[object, ...]]:
    """The open orders after nights that bring each other's files."""
    root = folder / "site"
    shutil.copytree(first_load, root, symlinks=True)
    for as_of, brought in zip(LATER, order, strict=True):
        site = Site.open(root)
        plant.deliver(site, stamped(plant.exports(brought), brought))
        nightly(site, as_of=as_of)
    return open_orders(Site.open(root))


@pytest.mark.parametrize(
    "order",
    [
        pytest.param(order, id=" ".join(str(LATER.index(each) + 2) for each in order))
        for order in itertools.permutations(LATER)
        if order != LATER
    ],
)
def test_stamped_files_of_several_nights_may_come_in_any_order(
    first_load: Path, in_turn: list[tuple[object, ...]], tmp_path: Path, order: tuple[date, ...]
) -> None:
    assert told_in(first_load, tmp_path, order) == in_turn
    assert in_turn
