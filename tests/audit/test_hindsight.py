"""A past night told again does not see what came later; tonight does. And a first load counts as it should.

What a night should see is worked out here in plain Python: of the rows with one key that had arrived by then,
the one with the newest stamp, if its day had come.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.night import plant
from tests.night.told import ONE, told

from takeup.ledger import Ledger
from takeup.model import Feed
from takeup.night import nightly
from takeup.night.again import PastNight, told_again
from takeup.night.record import night_record
from takeup.retell import replay
from takeup.site import Site
from takeup.store import Store

FIRST = plant.NIGHTS[0]
NIGHTS = 3
DAYS = tuple(FIRST + timedelta(days=place) for place in range(NIGHTS))


@dataclass(frozen=True)
class Row:
    """A row of an export: its feed, its key, the value to look for, its day, and its source's stamp."""

    feed: Feed
    cells: dict[str, Any]
    key: tuple[str, ...]
    column: str
    on: date
    stamp: int
    beside: tuple[dict[str, Any], ...] = ()
    """Rows that come in the same file, as they stood: an export of the register is whole."""

    @property
    def value(self) -> float:
        return float(self.cells[self.column])

    @property
    def place(self) -> tuple[Feed, tuple[str, ...]]:
        return self.feed, self.key

    def file(self, name: str) -> tuple[str, bytes]:
        stamp = {"changed_at": f"2026-09-0{self.stamp}T07:00"}
        rows = [self.cells | stamp, *(row | stamp for row in self.beside)]
        return f"{self.feed.value}_{name}.csv", plant.csv_of(rows)


def meter(on: date, hours: float, stamp: int) -> Row:
    at = f"{on}T12:00"
    cells = {"machine": "FE-32", "read_at": at, "meter_hours": hours}
    return Row(Feed.RUN_HOURS, cells, ("FE-32", str(on)), "meter_hours", on, stamp)


def survey(on: date, mark: int, length_mm: int, stamp: int) -> Row:
    cells = {
        "strand": "FE-32-A", "measured_at": on, "mark": mark, "occasion": "routine", "pitches": 10,
        "length_mm": length_mm, "chain_temperature_c": 20, "instrument_class": "II", "start_link": "inner",
        "method": "clean_tensioned", "measured_by": "chain crew",
    }  # fmt: skip
    key = ("FE-32-A", str(on), str(mark))
    return Row(Feed.ELONGATION_READINGS, cells, key, "length_mm", on, stamp)


def register(lead_time_days: int, stamp: int) -> Row:
    cells, sister = plant.rows_of(plant.exports(FIRST, ONE)["strands_2026-08-31.csv"])
    fitted = date.fromisoformat(cells["fitted_on"])
    changed = {**cells, "lead_time_days": lead_time_days}
    return Row(
        Feed.STRANDS, changed, ("FE-32-A", cells["fitted_on"]), "lead_time_days", fitted, stamp, (sister,)
    )


def pool(draw: random.Random) -> list[Row]:
    """Late readings, corrections of them and of what was loaded first, a changed register, an early row."""
    late, loaded, early = FIRST - timedelta(days=draw.randrange(2, 6)), date(2026, 8, 24), DAYS[2]
    measured = FIRST - timedelta(days=1)
    return [
        meter(late, 15_150.5, 1),
        meter(late, 15_148.5, 2),
        meter(late, 15_149.5, 3),
        meter(loaded, 15_120.25, 2),
        meter(early, 15_250.75, 1),
        *(survey(measured, mark, 2306 + mark % 2, 1) for mark in (1, 2, 3, 4)),
        survey(measured, 2, 2305, 2),
        register(150, 1),
        register(160, 2),
        register(170, 3),
    ]


def delivered(site: Site, draw: random.Random) -> dict[int, list[Row]]:
    """Tell the nights after the first, each with the rows that fall to it by chance; what came by night."""
    came: dict[int, list[Row]] = {number: [] for number in range(2, NIGHTS + 1)}
    for row in pool(draw):
        came[draw.choice(sorted(came))].append(row)
    for number, rows in came.items():
        draw.shuffle(rows)
        plant.deliver(site, dict(row.file(f"{number}_{place}") for place, row in enumerate(rows)))
        assert nightly(site, as_of=DAYS[number - 1]).told
    return came


def expected(came: dict[int, list[Row]], number: int) -> dict[tuple[Feed, tuple[str, ...]], float]:
    """What night ``number`` should see of the rows that came, by the model."""
    arrived = [row for night, rows in came.items() for row in rows if night <= number]
    newest: dict[tuple[Feed, tuple[str, ...]], Row] = {}
    for row in sorted(arrived, key=lambda one: one.stamp):
        newest[row.place] = row
    return {place: row.value for place, row in newest.items() if row.on <= DAYS[number - 1]}


def seen(store: Store, number: int, places: set[tuple[Feed, tuple[str, ...]]]) -> dict[Any, float]:
    """What the store holds of those places that did not come with the first load, as of a night."""
    found = {}
    for feed in {feed for feed, _ in places}:
        rows = store.rows(feed, as_of=DAYS[number - 1], night=number)
        for row in rows[rows["known_from"] > 1].to_dict("records"):
            found[feed, _key(feed, row)] = float(row[_COLUMN[feed]])
    return {place: value for place, value in found.items() if place in places}


_COLUMN = {
    Feed.RUN_HOURS: "meter_hours",
    Feed.ELONGATION_READINGS: "length_mm",
    Feed.STRANDS: "lead_time_days",
}


def _key(feed: Feed, row: dict[Any, Any]) -> tuple[str, ...]:
    def day(column: str) -> str:
        return str(date(1970, 1, 1) + timedelta(days=int(row[f"{column}_day"])))

    if feed is Feed.RUN_HOURS:
        return row["machine"], day("read_at")
    if feed is Feed.STRANDS:
        return row["strand"], day("fitted_on")
    return row["strand"], day("measured_at"), str(row["mark"])


def past_nights(site: Site, scratch: Path) -> Iterator[tuple[Store, PastNight]]:
    with Store.open(scratch / "again.duckdb") as store:
        for past in told_again(store, Ledger(site.folders.ledger).nights(), site.folders):
            yield store, past


@pytest.mark.parametrize("seed", range(4))
def test_a_past_night_sees_what_had_arrived_and_tonight_sees_all(tmp_path: Path, seed: int) -> None:
    draw = random.Random(seed)
    site = told(tmp_path / "s", 1, ONE)
    came = delivered(site, draw)
    places = {row.place for rows in came.values() for row in rows}
    for store, past in past_nights(site, tmp_path):
        number = past.intent.number
        assert seen(store, number, places) == expected(came, number), number
        record = night_record(past.intent, past.told, past.record["wrote"], past.record["queue"])
        same = json.loads(json.dumps(record))
        assert same | {"previous": past.record["previous"]} == past.record, number
    tonight = expected(came, NIGHTS)
    assert tonight.keys() == places
    assert any(expected(came, number) != tonight for number in range(2, NIGHTS)), "nothing came late"
    with Store.open(site.folders.store, read_only=True) as store:
        assert seen(store, NIGHTS, places) == tonight
        for number in range(1, NIGHTS):  # the store itself can say what was known then
            assert seen(store, number, places) == expected(came, number)


def test_late_rows_would_change_the_past_if_it_saw_them(tmp_path: Path) -> None:
    """Without this the test above could pass by looking at nothing: hours of surveys do depend on them."""
    site = told(tmp_path / "s", 1, ONE)
    seen_on = date(2026, 8, 29)  # the day of a survey
    meters = plant.rows_of(plant.exports(FIRST, ONE)["run_hours_2026-08-31.csv"])
    (shown,) = [float(row["meter_hours"]) for row in meters if row["read_at"] == f"{seen_on}T12:00"]
    rows = [meter(seen_on, shown + 2, 2), *(survey(FIRST, mark, 2312, 1) for mark in (1, 2, 3, 4))]
    plant.deliver(site, dict(row.file(str(place)) for place, row in enumerate(rows)))
    assert nightly(site, as_of=FIRST).told  # the same day again, with what came late
    then, now = (
        past.told.derived.surveys[["strand", "day", "hours", "e_wear_mean"]]
        for _, past in past_nights(site, tmp_path)
    )
    assert len(now) == len(then) + 1
    both = then.merge(now, on=["strand", "day"], suffixes=("_then", "_now"))
    assert (both["hours_then"] != both["hours_now"]).any(), both
    assert replay(site, into=tmp_path / "again").equal


def test_a_first_load_of_three_years_is_known_from_its_night_for_a_replay(tmp_path: Path) -> None:
    """A replay claims no knowledge before the first night.

    Only a rehearsal counts such rows as known on their measured date plus the feed's usual delay.
    """
    site = told(tmp_path / "s", 2, ONE)
    with Store.open(site.folders.store, read_only=True) as store:
        loaded = store.rows(Feed.RUN_HOURS, as_of=FIRST, night=1)
        assert set(loaded["known_from"]) == {1}
        assert FIRST - date(1970, 1, 1) - timedelta(days=int(loaded["read_at_day"].min())) > timedelta(1090)
        early = FIRST - timedelta(days=400)
        known_then = store.rows(Feed.RUN_HOURS, as_of=early, night=1, rehearsed=True)
        assert 0 < len(known_then) < len(loaded)
        assert store.rows(Feed.RUN_HOURS, as_of=early, night=0).empty
    assert replay(site, into=tmp_path / "again").equal
