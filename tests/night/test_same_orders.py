"""What is not about the chain changes no order: unit, order of rows, a meter's start, files, names."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from tests.night import plant

from takeup.contracts import contract
from takeup.model import Feed
from takeup.night import nightly

Files = dict[str, bytes]
FIRST = plant.NIGHTS[0]
MEASURED = (Feed.STRANDS, Feed.ELONGATION_READINGS, Feed.TAKEUP_READINGS, Feed.INSPECTION_FINDINGS)
#: names that sort the other way round
NAMES = {"EL-11": "ZW-90", "FE-32": "MB-05", "SL-61": "AA-77"}
SIDES = {"A": "2", "B": "1"}


def of(files: Files, feed: Feed) -> list[str]:
    return [name for name in files if name.startswith(f"{feed.value}_")]


def lengths(change: Callable[[Decimal], Decimal]) -> Files:
    """The exports with every length brought to a whole ten-thousandth of an inch and told by ``change``."""
    files = plant.exports(FIRST)
    for name in (name for feed in MEASURED for name in of(files, feed)):
        rows = plant.rows_of(files[name])
        for row in rows:
            for column in (column for column in row if column.endswith("_mm") and row[column]):
                inches = round(Decimal(row[column]) / Decimal("25.4"), 4)
                row[column] = str(change(inches))
        files[name] = plant.csv_of(rows)
    return files


def in_inches() -> str:
    """The settings of the sources that write inches."""
    text = ""
    for feed in MEASURED:
        columns = [field.name for field in contract(feed).fields if field.name.endswith("_mm")]
        units = ", ".join(f'{column} = "in"' for column in columns)
        text += f'\n[source.{feed.value}_in]\nfeed = "{feed.value}"\nfiles = ["{feed.value}_*.csv"]\n'
        text += f"units = {{ {units} }}\n"
    return text


def shuffled() -> Files:
    files = plant.exports(FIRST)
    for name in (name for feed in Feed for name in of(files, feed)):
        rows = plant.rows_of(files[name])
        random.Random(name).shuffle(rows)
        files[name] = plant.csv_of(rows)
    return files


def later_meter() -> Files:
    """Every meter started 137.5 h further on."""
    files = plant.exports(FIRST)
    for name in of(files, Feed.RUN_HOURS):
        rows = plant.rows_of(files[name])
        for row in rows:
            row["meter_hours"] = str(Decimal(row["meter_hours"]) + Decimal("137.5"))
        files[name] = plant.csv_of(rows)
    return files


def split() -> Files:
    """Every survey's even marks in a file of their own."""
    files = plant.exports(FIRST)
    for name in of(files, Feed.ELONGATION_READINGS):
        rows = plant.rows_of(files.pop(name))
        for number in (0, 1):
            files[name.replace(".csv", f"_part{number}.csv")] = plant.csv_of(
                [row for row in rows if int(row["mark"]) % 2 == number]
            )
    return files


def renamed(text: str) -> str:
    """Machines, strands and sets under other names."""
    pattern = rf"({'|'.join(NAMES)})(?:-([AB])\b)?"
    return re.sub(pattern, lambda found: NAMES[found[1]] + (f"-{SIDES[found[2]]}" if found[2] else ""), text)


def relabelled() -> Files:
    return {name: renamed(content.decode()).encode() for name, content in plant.exports(FIRST).items()}


def said(root: Path, files: Files, settings: str = "", name: Callable[[str], str] = str) -> list[Any]:
    """The orders of the first night without their numbers and rows, under other names."""
    site = plant.site(root, settings=settings)
    plant.deliver(site, files)
    result = nightly(site, as_of=FIRST)
    assert result.told
    text = (site.folders.queue / "current" / "orders.json").read_text(encoding="utf-8")
    found = []
    for order in json.loads(name(text))["orders"]:
        reasons = [
            (reason["rule"], reason["case"], reason["subject"], reason["facts"], reason["settings"])
            for reason in order["reasons"]
        ]
        kept = ("job", "subject", "urgency", "need_by", "buy_by", "governing_limit", "shutdown", "machine")
        found.append(
            ({key: order.get(key) for key in kept}, sorted(order["strands"]), sorted(reasons, key=str))
        )
    return sorted(found, key=str)


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> list[Any]:
    return said(tmp_path_factory.mktemp("usual") / "site", plant.exports(FIRST))


def test_inches_and_millimetres(tmp_path: Path) -> None:
    """Cells are exact in both units (1 in is 25.4 mm, international yard and pound agreement, 1959)."""
    inches = said(tmp_path / "in", lengths(lambda value: value), in_inches())
    assert inches == said(tmp_path / "mm", lengths(lambda value: value * Decimal("25.4")))
    assert len({order["job"] for order, *_ in inches}) > 2


@pytest.mark.parametrize("change", [shuffled, later_meter, split], ids=lambda change: change.__name__)
def test_what_is_not_about_the_chain(tmp_path: Path, usual: list[Any], change: Callable[[], Files]) -> None:
    assert said(tmp_path / "site", change()) == usual


def test_other_names(tmp_path: Path) -> None:
    """Under names that sort the other way round the same orders, renamed."""
    plain = said(tmp_path / "plain", plant.exports(FIRST), name=renamed)
    assert said(tmp_path / "renamed", relabelled()) == plain
