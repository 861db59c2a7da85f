"""How long 10 000 strands of 12 surveys at 4 marks take to derive.

Run ``python tests/benchmarks/derive.py [strands] [--profile]``. Prints seconds by step; nothing asserts on
them, because they are those of one computer. The readings hold one miscount and one low reading in a hundred.
"""

from __future__ import annotations

import cProfile
import pstats
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path[:0] = [
    str(Path(__file__).resolve().parents[2]),
    str(Path(__file__).resolve().parents[2] / "pipeline"),
]

from tests.derive.plant import PITCH, frame  # noqa: E402

from takeup.contracts import Cell, contract  # noqa: E402
from takeup.derive import checks, lives, meters, readings, stuck, surveys, takeups  # noqa: E402
from takeup.derive.settings import MeasuringSettings  # noqa: E402
from takeup.layered import Layered  # noqa: E402
from takeup.model import Feed  # noqa: E402

SURVEYS, MARKS, SPAN, EVERY_DAYS = 12, 4, 20, 50
FITTED = 20000
SETTINGS: Layered[MeasuringSettings] = Layered(MeasuringSettings())


def wide(feed: Feed, count: int, **columns: Any) -> pd.DataFrame:
    """A frame of the feed with so many rows; columns not given are blank."""
    a_day = {field.name: "2020-01-01" for field in contract(feed).fields if field.cell is Cell.MOMENT}
    blank = frame(feed, [{"row_id": 0} | a_day])
    row_id = np.arange(1, count + 1)
    found = {name: np.repeat(blank[name].to_numpy(), count) for name in blank.columns}
    return pd.DataFrame(found | {"row_id": row_id, "line": row_id} | columns)


def names(prefix: str, count: int) -> Any:
    return np.array([f"{prefix}{number:05d}" for number in range(count)], dtype=object)


def moments(name: str, day: Any) -> dict[str, Any]:
    text = np.datetime_as_string(day.astype("datetime64[D]")).astype(object)
    return {name: text, f"{name}_day": day, f"{name}_pos": day + 0.5}


def plant(strands: int, *, slips: bool = True) -> dict[Feed, pd.DataFrame]:
    """Two strands a machine, a weekly meter, twelve surveys of four marks each."""
    rng = np.random.default_rng(11)
    strand, machine = names("S", strands), names("M", (strands + 1) // 2)
    of_machine = machine[np.arange(strands) // 2]
    fitted = np.full(strands, FITTED)
    weeks = np.arange(FITTED, FITTED + (SURVEYS + 1) * EVERY_DAYS, 7)
    meter_machine, meter_day = np.repeat(machine, weeks.size), np.tile(weeks, machine.size)
    pace = np.repeat(rng.uniform(12, 22, machine.size), weeks.size)

    size = SURVEYS * MARKS
    which = np.repeat(np.arange(strands), size)
    survey = np.tile(np.repeat(np.arange(SURVEYS), MARKS), strands)
    day = FITTED + survey * EVERY_DAYS
    rate = rng.uniform(0.1, 0.5, strands)[which]
    e = 0.1 + rate * survey * EVERY_DAYS * 17 / 1000
    length = SPAN * PITCH * (1 + e / 100) + rng.normal(0, 0.8, e.size)
    slip = rng.random(e.size) if slips else np.full(e.size, 0.5)
    length = np.where(slip < 0.01, length * 21 / 20, np.where(slip > 0.99, length - 12, length))
    marks = np.array([str(mark) for mark in range(1, MARKS + 1)], dtype=object)
    return {
        Feed.MACHINES: wide(Feed.MACHINES, machine.size, machine=machine, planned_hours_per_day=17.0),
        Feed.RUN_HOURS: wide(
            Feed.RUN_HOURS, meter_day.size, machine=meter_machine,
            meter_hours=np.round(1000 + pace * (meter_day - FITTED), 1), **moments("read_at", meter_day),
        ),
        Feed.STRANDS: wide(
            Feed.STRANDS, strands, strand=strand, machine=of_machine, set=of_machine, pitch_mm=PITCH,
            pitches=240.0, construction="bushed_rollerless", takeup_start_mm=16.0, takeup_travel_mm=480.0,
            fitted_on=np.repeat(str(date(1970, 1, 1) + timedelta(days=FITTED)), strands).astype(object),
            fitted_on_day=fitted.astype(float),
        ),
        Feed.ELONGATION_READINGS: wide(
            Feed.ELONGATION_READINGS, e.size, strand=strand[which], mark=np.tile(marks, strands * SURVEYS),
            occasion=np.where(survey == 0, "as_left", "routine").astype(object), pitches=float(SPAN),
            length_mm=np.rint(length), **moments("measured_at", day),
        ),
        Feed.TAKEUP_READINGS: wide(Feed.TAKEUP_READINGS, 0),
    }  # fmt: skip


@contextmanager
def timed(what: str) -> Iterator[None]:
    begin = time.perf_counter()
    yield
    print(f"{what:34s} {time.perf_counter() - begin:7.3f} s")


def told(rows: dict[Feed, pd.DataFrame]) -> pd.DataFrame:
    """The steps of takeup.derive.derivation, each timed."""
    with timed(f"meters, {len(rows[Feed.RUN_HOURS])} rows"):
        book = meters.meter_book(rows[Feed.RUN_HOURS], rows[Feed.MACHINES], SETTINGS)
    with timed("lives"):
        known = lives.register(rows[Feed.STRANDS], book, SETTINGS, FITTED + 1000)
    with timed(f"readings, {len(rows[Feed.ELONGATION_READINGS])} rows"):
        its, _ = readings.readings(rows[Feed.ELONGATION_READINGS], known, book, SETTINGS)
    with timed("rows held against each other"):
        travelled, _ = takeups.travels(rows[Feed.TAKEUP_READINGS], known)
        verdict = checks.judged(its, known, travelled, SETTINGS)
    with timed("surveys"):
        found = surveys.surveys(its, verdict, known, SETTINGS)
    with timed("stuck meters"):
        found, _ = stuck.stuck_meters(found, book, SETTINGS.record)
    print(f"{len(found)} surveys, {len(verdict.asides)} readings set aside")
    return found


def profiled(call: Callable[[], object]) -> None:
    profile = cProfile.Profile()
    profile.runcall(call)
    pstats.Stats(profile).sort_stats("cumulative").print_stats(40)


if __name__ == "__main__":
    given = plant(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
    with timed("all"):
        told(given)
    if "--profile" in sys.argv:
        profiled(lambda: told(given))
