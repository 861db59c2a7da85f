"""Tell a year of nights of a simulated site, tell it again, and compare every file to the byte.

    python -m tests.audit.year [NIGHTS] [--strands 12] [--site FOLDER]

A night each day. Exports come a little late now and then, earlier rows are corrected, the register and the
settings change, words of the site's own come, planners fill in the form, and a person sets a row aside. The
nights are told again here, and in other surroundings; the figures are printed for people.
"""

from __future__ import annotations

import argparse
import csv
import io
import os
import random
import shutil
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
from tests.audit.elsewhere import replayed, surroundings
from tests.benchmarks import big_plant
from tests.night import plant

from takeup.ledger import Ledger
from takeup.night import nightly
from takeup.quarantine import set_aside
from takeup.site import Site

LAST = big_plant.AS_OF[1]
SETTINGS = """\
[site]
name = "Simulated works"
time_zone = "Europe/Lisbon"
settle_seconds = 0
"""
OVERRIDE = """
[surveying]
longest_hours.value = 700
longest_hours.reason = "fast wear"
longest_hours.by = "chain steward"
longest_hours.on = 2026-01-05
longest_hours.review_by = 2027-01-05
"""

#: What the first night loads of the time before it.
HISTORY_WEEKS = 20

#: Feeds whose rows stood in the register from the start, whatever day the simulator says.
REGISTER = ("machines", "energy_sources", "strands", "sprocket_checks", "shutdowns")


class Plant:
    """The exports of a small plant by day, late ones and corrections among them.

    Parameters
    ----------
    nights : int
        How many; the last is as of ``LAST``.
    strands : int
    seed : int
    """

    def __init__(self, nights: int, strands: int, seed: int) -> None:
        self.days = [LAST - timedelta(days=nights - 1 - place) for place in range(nights)]
        self.draw = random.Random(seed)
        self.feeds = _rows(strands, seed, weeks=nights // 7 + HISTORY_WEEKS)
        first = big_plant.day_number(self.days[0])
        for feed, rows in self.feeds.items():
            rows["known"] = first if feed in REGISTER else rows["known"].clip(lower=first)
            late = [self._late() for _ in range(len(rows))]
            if feed not in REGISTER:
                rows["known"] += pd.Series(late, index=rows.index).where(rows["known"] > first, 0)
        self.corrections = self._corrections()

    def _late(self) -> int:
        """Days until a row is exported: mostly none."""
        return self.draw.choice((1, 2, 3, 9, 30)) if self.draw.random() < 0.08 else 0

    def _corrections(self) -> dict[date, tuple[str, pd.DataFrame]]:
        """A row of an earlier day, read again, about every third week."""
        found = {}
        for day in self.days[10::17]:
            feed, column = self.draw.choice(
                [("run_hours", "meter_hours"), ("elongation_readings", "length_mm")]
            )
            rows = self.feeds[feed]
            known = rows[rows["known"] < big_plant.day_number(day)]
            row = known.iloc[[self.draw.randrange(len(known) * 4 // 5, len(known))]].copy()
            row[column] += self.draw.choice((-1, 1, 2))
            row["changed_at"] = f"{day}T07:30"
            found[day] = feed, row
        return found

    def exports(self, day: date) -> dict[str, bytes]:
        """What arrives on a day, by file name."""
        number = big_plant.day_number(day)
        found = {}
        for feed, rows in self.feeds.items():
            chosen = rows[rows["known"] == number]
            if len(chosen):
                found[f"{feed}_{day}.csv"] = _csv(chosen)
        if day in self.corrections:
            feed, row = self.corrections[day]
            found[f"{feed}_{day}_corrected.csv"] = _csv(row)
        if day in self.days[20::45]:
            found[f"strands_{day}.csv"] = self._register_changed(day)
        return found

    def _register_changed(self, day: date) -> bytes:
        """The whole register again: one strand's lead time and case depth are others now."""
        rows = self.feeds["strands"]
        strand = self.draw.choice(sorted(set(rows["strand"])))
        its = rows["strand"] == strand
        rows.loc[its, "lead_time_days"] += 14
        rows.loc[its, "pin_case_mm"] = (rows.loc[its, "pin_case_mm"] * 0.9).round(2)
        return _csv(rows.assign(changed_at=f"{day}T06:00"))


def _rows(strands: int, seed: int, *, weeks: int) -> big_plant.Feeds:
    """The simulator's rows, with so many weeks of history instead of its own."""
    own = big_plant.WEEKS, big_plant.FIRST_DAY
    big_plant.WEEKS, big_plant.FIRST_DAY = weeks, big_plant.SECOND_NIGHT - 7 * weeks
    try:
        return big_plant.plant(strands, seed)
    finally:
        big_plant.WEEKS, big_plant.FIRST_DAY = own


def _csv(rows: pd.DataFrame) -> bytes:
    return rows.drop(columns="known").to_csv(index=False, lineterminator="\r\n").encode()


def told(root: Path, nights: int, *, strands: int = 12, seed: int = 20260901) -> Site:
    """The site after its nights."""
    root.mkdir(parents=True)
    (root / "takeup.toml").write_text(SETTINGS, "utf-8")
    its = Plant(nights, strands, seed)
    for place, day in enumerate(its.days):
        site = Site.open(root)
        plant.deliver(site, its.exports(day))
        _people(site, its, place, day)
        nightly(Site.open(root), as_of=day)
    return Site.open(root)


def _people(site: Site, its: Plant, place: int, day: date) -> None:
    """What people do between two nights."""
    root = site.folders.root
    if place % 12 == 7:
        _form(site, its.draw, day)
    if place % 90 == 45:
        _aside(site, its.draw)
    if place == len(its.days) // 3:
        (root / "takeup.toml").write_text(SETTINGS + OVERRIDE, "utf-8")
    if place == len(its.days) // 2:
        (site.folders.templates / "words.toml").write_text('[job]\nmeasure = "tape the chain"\n', "utf-8")


def _form(site: Site, draw: random.Random, day: date) -> None:
    """One order accepted, one done, as the form in the queue asks."""
    path = site.folders.queue / "current" / "closeouts_to_fill.csv"
    form = list(csv.DictReader(io.StringIO(path.read_text("utf-8"), newline="")))
    for row, outcome in zip(draw.sample(form, min(2, len(form))), ("accepted", "done"), strict=False):
        row |= {"outcome": outcome, "recorded_at": f"{day}T10:00", "recorded_by": "planner"}
        if outcome == "done":
            row |= {"done_on": day.isoformat(), "as_found": "worn bright", "as_left": "in order"}
    plant.deliver(site, {f"order_closeouts_{day}.csv": plant.csv_of(form)})


def _aside(site: Site, draw: random.Random) -> None:
    """A person does not trust a row of an earlier export."""
    files = [
        file
        for night in Ledger(site.folders.ledger).nights()
        for file in night["files"]
        if file["source"] == "elongation_readings"
    ]
    set_aside(site, f"{draw.choice(files)['sha256']}:2", reason="tape slipped", by="chain steward")


def main() -> int:
    """Run, and say what came of it."""
    parser = argparse.ArgumentParser(description="A year of nights, told twice.")
    parser.add_argument("nights", nargs="?", type=int, default=365)
    parser.add_argument("--strands", type=int, default=12)
    parser.add_argument("--site", type=Path, help="keep the site here; told already, it is only told again")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="takeup-year-") as scratch:
        root = given.site or Path(scratch) / "site"
        if not root.exists():
            begun = time.perf_counter(), time.process_time()
            told(root, given.nights, strands=given.strands)
            spent = time.perf_counter() - begun[0], time.process_time() - begun[1]
            print(
                f"told: {given.nights} nights in {spent[0]:.0f} s, of the processor {spent[1]:.0f} s",
                flush=True,
            )
        different = 0
        for around in surroundings(Path(scratch)):
            begun = time.perf_counter(), _children()
            result = replayed(root, Path(scratch) / "again", around)
            shutil.rmtree(Path(scratch) / "again")
            wrong = sum(len(night["differences"]) for night in result["nights"])
            files = sum(night["files"] for night in result["nights"])
            different += wrong
            spent = time.perf_counter() - begun[0], _children() - begun[1]
            print(
                f"{around.name:42}{len(result['nights']):>5} nights {files:>7} files {wrong:>3} different; "
                f"{len(result['nights']) / spent[0]:.2f} nights/s by the clock, "
                f"{len(result['nights']) / spent[1]:.2f} of the processor; {result['where']}",
                flush=True,
            )
    return 1 if different else 0


def _children() -> float:
    times = os.times()
    return times.children_user + times.children_system


if __name__ == "__main__":
    raise SystemExit(main())
