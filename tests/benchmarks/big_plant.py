"""A large invented plant: the exports of 10,000 strands, about a million rows, and a delivery a week later.

    python tests/benchmarks/big_plant.py FOLDER [--strands 10000] [--seed 20260831]

Every number is invented and drawn with a fixed seed. Chains wear by what their joints do while the machine
runs, crews measure more often towards the limit, and most chains are in the middle of their life. Night 1
delivers everything up to a Monday; night 2 the week after it, about one row in a hundred.
"""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[Any]
#: Feed to its rows; ``known`` is the day number on which the plant's system had the row.
Feeds = dict[str, pd.DataFrame]


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return (day - date(1970, 1, 1)).days


AS_OF = (date(2026, 9, 7), date(2026, 9, 14))
FIRST_NIGHT, SECOND_NIGHT = (day_number(day) for day in AS_OF)
WEEKS = 110
FIRST_DAY = SECOND_NIGHT - 7 * WEEKS
MARKS = 4
BORN_LONG_PERCENT = 0.10
BEDDING_PERCENT, BEDDING_HOURS = 0.09, 40.0
TAKEUP_START_MM = 16.0
#: Shares of sets whose chain was changed in the last year, and whose chain nears its end.
CHANGED, LATE = 0.10, 0.06
STILL_RUNS = SECOND_NIGHT + 1
LONGEST_INTERVAL_HOURS = 920.0
STRAIGHT_SIDEBARS = ("bushed_rollerless", "roller_conveyor")
ROLLERS = ("roller_conveyor", "offset_sidebar_roller")
STOPS = ("2024-10-14", "2025-04-14", "2025-10-13", "2026-04-13", "2026-10-12", "2027-01-11", "2027-04-12",
         "2027-07-12", "2027-10-11")  # fmt: skip


class Design(NamedTuple):
    """A chain on a kind of machine, and the elongation at which it is worn out."""

    share: float
    kind: str
    service: str
    construction: str
    pitch_mm: float
    pitches: int
    teeth_drive: int
    teeth_tail: int
    pin_diameter_mm: float
    bushing_bore_mm: float
    bushing_outside_mm: float
    pin_case_mm: float
    bushing_case_mm: float
    takeup_travel_mm: float
    worn_out_percent: float
    sets: int
    strands_in_set: int
    lube_plan: str
    lube_interval_hours: float
    lube_quantity_ml: float


_DRY, _OPEN, _SEALED = "none_by_decision", "open_conveyor", "sealed_greaseable"
_NO = float("nan")
DESIGNS = pd.DataFrame(
    [
        Design(0.20, "bucket_elevator", "abrasive_bulk", "bushed_rollerless", 152.4, 200, 12, 12,
               31.75, 32.15, 44.45, 3.2, 1.5, 480, 1.57, 2, 2, _DRY, _NO, _NO),
        Design(0.15, "bucket_elevator", "abrasive_bulk", "bushed_rollerless", 101.6, 240, 14, 14,
               25.4, 25.8, 38.1, 3.2, 1.5, 480, 2.36, 1, 2, _SEALED, 500, 300),
        Design(0.20, "drag_conveyor", "highly_abrasive", "welded_drag", 152.4, 150, 9, 9,
               31.75, 32.15, 44.45, 3.0, 0.0, 600, 2.65, 1, 2, _DRY, _NO, _NO),
        Design(0.20, "slat_conveyor", "clean", "roller_conveyor", 101.6, 260, 16, 16,
               19.05, 19.4, 28.6, 2.5, 1.2, 480, 1.88, 2, 2, _OPEN, 200, 60),
        Design(0.25, "heavy_drive", "clean", "offset_sidebar_roller", 88.9, 100, 13, 72,
               22.2, 22.5, 31.7, 3.2, 1.5, 160, 2.55, 1, 1, _OPEN, 200, 40),
    ]
)  # fmt: skip


# --- what stands in the plant ------------------------------------------------------------------------------


def positions(strands: int, draw: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Machines, sets and strands; exactly so many strands, about four machines to ten of them."""
    designs = draw.choice(len(DESIGNS), strands, p=DESIGNS["share"].to_numpy())
    per_machine = (DESIGNS["sets"] * DESIGNS["strands_in_set"]).to_numpy()[designs]
    count = int(np.searchsorted(np.cumsum(per_machine), strands)) + 1
    machines = DESIGNS.iloc[designs[:count]].reset_index(drop=True)
    machines["machine"] = [f"M-{number:05d}" for number in range(1, count + 1)]
    machines["hours_per_day"] = draw.uniform(9.0, 17.0, count)
    machines["place"] = np.arange(count)
    sets = machines.loc[np.repeat(machines.index, machines["sets"])].reset_index(drop=True)
    within = sets.groupby("machine").cumcount() + 1
    sets["set"] = sets["machine"] + " chain " + within.astype(str)
    each = sets.loc[np.repeat(sets.index, sets["strands_in_set"])]
    each = each.rename_axis("set_place").reset_index().iloc[:strands].copy()
    side = each.groupby("set_place").cumcount()
    each["side"] = np.where(each["strands_in_set"] > 1, np.where(side == 0, "left", "right"), "")
    each["strand"] = each["set"].str.replace(" chain ", "-", regex=False) + np.where(side == 0, "A", "B")
    each["wears"] = draw.normal(1.0, 0.008, strands)
    return machines, sets, each.reset_index(drop=True)


def set_lives(sets: pd.DataFrame, draw: np.random.Generator) -> pd.DataFrame:
    """One row a chain of a set: fitted, ended, and how far through its life it is then or now."""
    count = len(sets)
    first = SECOND_NIGHT - draw.integers(500, 760, count)
    changed = np.where(draw.random(count) < CHANGED, SECOND_NIGHT - draw.integers(90, 400, count), STILL_RUNS)
    late = draw.random(count) < LATE
    spent = np.where(late, draw.uniform(0.6, 1.02, count), draw.uniform(0.12, 0.55, count))
    again = changed < STILL_RUNS
    told = sets[["place", "worn_out_percent"]].rename_axis("set_place").reset_index()
    before = told[again].assign(
        fitted=first[again], ended=changed[again], spent=draw.uniform(0.85, 1, again.sum())
    )
    now = told.assign(fitted=np.where(again, changed, first), ended=STILL_RUNS, spent=spent)
    return pd.concat([before, now], ignore_index=True)


def run_hours(machines: pd.DataFrame, draw: np.random.Generator) -> Array:
    """Cumulative run hours of each machine at 06:00 of every Monday, (machines, WEEKS + 1)."""
    usual = 7 * machines["hours_per_day"].to_numpy()[:, None]
    weekly = usual * draw.normal(1.0, 0.06, (len(machines), WEEKS))
    stopped = (np.array(STOPS, dtype="datetime64[D]").astype(int) - FIRST_DAY) // 7
    weekly[:, stopped[(stopped >= 0) & (stopped < WEEKS)]] = 0.0
    started = draw.uniform(500, 4000, (len(machines), 1))
    return np.hstack([started, started + np.cumsum(weekly, axis=1)])


def hours_at(hours: Array, machine: Array, position: Array) -> Array:
    """Run hours of machines at positions in days, in a straight line from one Monday to the next."""
    weeks = np.clip((position - 0.25 - FIRST_DAY) / 7, 0, WEEKS)
    week = np.minimum(weeks.astype(int), WEEKS - 1)
    return hours[machine, week] + (weeks - week) * (hours[machine, week + 1] - hours[machine, week])


def day_reached(hours: Array, machine: Array, target: Array) -> Array:
    """The first day at whose noon a machine has run so many hours; far in the future where it has not."""
    week = (hours[machine] <= target[:, None]).sum(axis=1) - 1
    inside = np.clip(week, 0, WEEKS - 1)
    low, high = hours[machine, inside], hours[machine, inside + 1]
    day = np.ceil(FIRST_DAY + 0.25 + 7 * (inside + (target - low) / np.maximum(high - low, 1e-9)) - 0.5)
    return np.where(week >= WEEKS, SECOND_NIGHT + 1000, day).astype(int)


# --- what is measured --------------------------------------------------------------------------------------


def surveys(lives: pd.DataFrame, hours: Array, draw: np.random.Generator) -> pd.DataFrame:
    """Every survey of every set, one after the other for all at once.

    Columns ``set_place``, ``day``, ``occasion`` and ``worn``, in percent, of an ordinary strand.
    """
    machine, start, end = (lives[name].to_numpy() for name in ("place", "fitted", "ended"))
    count = len(lives)
    zero = hours_at(hours, machine, start + 0.5)
    length = np.maximum(hours_at(hours, machine, np.minimum(end, SECOND_NIGHT) + 0.5) - zero, 1.0)
    worn_out = lives["worn_out_percent"].to_numpy()
    rate = lives["spent"].to_numpy() * worn_out / length
    day, ran, worn = start, np.zeros(count), np.zeros(count)
    target = np.full(count, 90.0)
    told = pd.DataFrame({"set_place": lives["set_place"], "day": start, "occasion": "as_left", "worn": 0.0})
    found = [told]
    going = np.ones(count, dtype=bool)
    while going.any():
        day = np.maximum(day_reached(hours, machine, zero + target), day + 1)
        last = going & (day >= end) & (end < STILL_RUNS)
        day = np.where(last, end, day)
        going &= day <= SECOND_NIGHT
        now = hours_at(hours, machine, day + 0.5) - zero
        worn = worn + rate * (now - ran) * np.exp(draw.normal(0, 0.08, count))
        ran = now
        bedding = BEDDING_PERCENT * (1 - np.exp(-ran / BEDDING_HOURS))
        told = told.assign(day=day, occasion=np.where(last, "as_found", "routine"), worn=worn + bedding)
        found.append(told[going])
        going &= ~last
        left = np.maximum(worn_out - worn, 0) / rate
        interval = np.clip(np.minimum(0.12 * left, 0.13 / rate), 110, LONGEST_INTERVAL_HOURS)
        target = ran + interval * draw.uniform(0.85, 1.0, count)
    return pd.concat(found, ignore_index=True)


def _of_strands(told: pd.DataFrame, strands: pd.DataFrame) -> pd.DataFrame:
    """The sets' surveys, one row a strand, sorted by day and strand."""
    chain = ["construction", "pitch_mm", "pitches", "takeup_travel_mm"]
    chosen = (
        strands[["set_place", "strand", "side", "wears", *chain]].rename_axis("strand_place").reset_index()
    )
    each = told.merge(chosen, on="set_place")
    each["worn"] = each["worn"] * each["wears"]
    return each.sort_values(["day", "strand_place"], ignore_index=True)


def elongation_readings(each: pd.DataFrame, strands: int, draw: np.random.Generator) -> pd.DataFrame:
    """Four marks a survey, read to whole millimetres."""
    count = len(each)
    born = draw.normal(BORN_LONG_PERCENT, 0.02, (strands, MARKS))
    local = draw.normal(1.0, 0.015, (strands, MARKS))
    strand = each["strand_place"].to_numpy()
    nominal = 20 * each["pitch_mm"].to_numpy()[:, None]
    percent = born[strand] + each["worn"].to_numpy()[:, None] * local[strand]
    length = nominal * (1 + percent / 100) + draw.normal(0, 0.6, (count, MARKS))
    rows = each.loc[np.repeat(each.index, MARKS)].reset_index(drop=True)
    return pd.DataFrame(
        {
            "known": rows["day"],
            "strand": rows["strand"],
            "measured_at": days(rows["day"]),
            "mark": np.tile(np.arange(1, MARKS + 1), count),
            "occasion": rows["occasion"],
            "pitches": 20,
            "length_mm": np.rint(length).astype(int).ravel(),
            "chain_temperature_c": np.repeat(np.rint(draw.normal(21, 4, count)).astype(int), MARKS),
            "instrument_class": "II",
            "start_link": np.where(rows["construction"].isin(STRAIGHT_SIDEBARS), "inner", ""),
            "method": "clean_tensioned",
            "measured_by": "chain crew",
        }
    )


def takeup_readings(each: pd.DataFrame, draw: np.random.Generator) -> pd.DataFrame:
    """Screws left and right, and how far one strand of a pair lags."""
    each = each[each["occasion"] != "as_found"]  # by then the screws stand where the new chain wants them
    used = TAKEUP_START_MM + each["pitches"] * each["pitch_mm"] * each["worn"] / 200
    read = used.to_numpy()[:, None] + draw.normal(0, 0.8, (len(each), 2))
    both = np.rint(np.clip(read, 0, each["takeup_travel_mm"].to_numpy()[:, None])).astype(int)
    paired = each["side"] != ""
    return pd.DataFrame(
        {
            "known": each["day"],
            "strand": each["strand"],
            "measured_at": days(each["day"]),
            "used_left_mm": both[:, 0],
            "used_right_mm": both[:, 1],
            "lag_mm": np.where(paired, np.rint(_lag(each)).astype(int).astype(str), ""),
        }
    )


def _lag(each: pd.DataFrame) -> pd.Series:
    """How far apart the strands of a pair run at the far shaft, read with a square."""
    worn = each.groupby(["set_place", "day"])["worn"]
    return (worn.transform("max") - worn.transform("min")) * each["pitches"] * each["pitch_mm"] / 200


def lube_records(strands: pd.DataFrame, draw: np.random.Generator) -> pd.DataFrame:
    """Half a year of rounds, each a little before it was due; one strand in fifty was then forgotten."""
    oiled = strands[strands["lube_interval_hours"].notna()].reset_index(drop=True)
    every = 0.88 * (oiled["lube_interval_hours"] / oiled["hours_per_day"]).to_numpy()
    first = SECOND_NIGHT - 187
    rounds = int(187 / (0.85 * every.min())) + 2
    gaps = every[:, None] * draw.uniform(0.85, 1.0, (len(oiled), rounds))
    moment = first + draw.uniform(0, 1, (len(oiled), 1)) * every[:, None] + np.cumsum(gaps, axis=1) - gaps
    forgotten = np.where(draw.random(len(oiled)) < 0.02, FIRST_NIGHT - 1.6 * every, np.inf)
    kept = moment < np.minimum(SECOND_NIGHT + 1, forgotten)[:, None]
    row, _ = np.nonzero(kept)
    day = np.floor(moment[kept]).astype(int)
    planned = oiled["lube_quantity_ml"].to_numpy()
    minute = draw.integers(7 * 60, 15 * 60, row.size)
    time = pd.Series(minute // 60).map("T{:02d}".format) + pd.Series(minute % 60).map(":{:02d}".format)
    told = pd.DataFrame(
        {
            "known": day,
            "strand": oiled["strand"].to_numpy()[row],
            "done_at": days(pd.Series(day)) + time,
            "lubricant": "chain oil, ISO VG 220",
            "quantity_ml": np.rint(planned[row] * draw.uniform(0.85, 1.15, row.size)),
            "method": "can and brush",
            "done_by": "lubrication round",
        }
    )
    return told.drop_duplicates(["strand", "done_at"]).sort_values(["known", "strand"], ignore_index=True)


def inspection_findings(
    machines: pd.DataFrame, strands: pd.DataFrame, draw: np.random.Generator
) -> pd.DataFrame:
    """A look at every machine each month, and on one strand in three hundred something that is not wear."""
    months = np.arange(FIRST_NIGHT - 5, FIRST_NIGHT - 120, -30)
    looks = pd.DataFrame(
        {
            "known": np.repeat(months, len(machines)),
            "machine": np.tile(machines["machine"], months.size),
            "strand": "",
            "finding": "nothing found",
            "place": "",
            "remark": "monthly look, locked out",
        }
    )
    hit = np.flatnonzero(draw.random(len(strands)) < 1 / 300)
    words = ["side_rub", "cracked_bushing", "hooked_teeth", "rust", "missing_retainer"]
    odd = pd.DataFrame(
        {
            "known": SECOND_NIGHT - draw.integers(0, 40, hit.size),
            "machine": "",
            "strand": strands["strand"].to_numpy()[hit],
            "finding": draw.choice(words, hit.size, p=[0.35, 0.1, 0.2, 0.25, 0.1]),
            "place": "mark 2",
            "remark": "seen on the round",
        }
    )
    told = pd.concat([looks, odd], ignore_index=True)
    told.insert(3, "seen_at", days(told["known"]))
    told["seen_by"] = "shift round"
    return told


# --- what the register says --------------------------------------------------------------------------------


def register(
    machines: pd.DataFrame, strands: pd.DataFrame, lives: pd.DataFrame, draw: np.random.Generator
) -> Feeds:
    """Machines, energies, strands, sprocket checks and planned stops, all known from the first night on."""
    told = pd.DataFrame(
        {
            "known": FIRST_NIGHT,
            "machine": machines["machine"],
            "name": machines["kind"].str.replace("_", " ") + " " + machines["machine"].str[2:],
            "kind": machines["kind"],
            "area": "hall " + (machines["place"] // 100 + 1).astype(str),
            "service": machines["service"],
            "dusty": np.where(machines["kind"] == "bucket_elevator", "yes", "no"),
            "stop_cost_per_hour": draw.choice([400, 900, 1800, 2400], len(machines)),
            "planned_hours_per_day": (machines["hours_per_day"] + 1).round(1),
        }
    )
    checks = pd.DataFrame(
        {
            "known": FIRST_NIGHT,
            "machine": machines["machine"],
            "sprocket": "drive 1",
            "checked_at": days(pd.Series(FIRST_NIGHT - draw.integers(10, 300, len(machines)))),
            "shaft": "drive",
            "teeth": machines["teeth_drive"],
            "gauge_depth_mm": draw.uniform(0.1, 1.2, len(machines)).round(1),
        }
    )
    begin = pd.Series(np.array(STOPS, dtype="datetime64[D]").astype(int))
    stops = pd.DataFrame(
        {
            "known": FIRST_NIGHT,
            "shutdown": "stop of " + days(begin),
            "machines": "all",
            "starts_at": days(begin) + "T06:00",
            "ends_at": days(begin + 6) + "T18:00",
        }
    )
    return {
        "machines": told,
        "energy_sources": _energies(machines),
        "strands": _strands(strands, lives, draw),
        "sprocket_checks": checks,
        "shutdowns": stops,
    }


def _energies(machines: pd.DataFrame) -> pd.DataFrame:
    kinds = pd.DataFrame(
        {
            "source": ["main drive motor", "control and interlock supply", "loaded run moving by gravity"],
            "kind": ["electrical", "electrical", "gravity"],
            "magnitude": ["690 V, 55 kW", "230 V", "up to 9 t"],
            "isolation_point": ["panel, isolator 1", "panel, isolator 2", "head platform"],
            "isolated_how": ["isolator off, padlock", "isolator off, padlock", "run empty; clamp both runs"],
            "released_how": ["wait 5 min", "none stored", "load shown on clamps"],
            "verified_how": ["try the start button, then back to off", "lamp test shows dead", "no movement"],
        }
    )
    told = machines[["machine"]].merge(kinds, how="cross")
    told["procedure_number"] = "LP-" + told["machine"]
    told.insert(0, "known", FIRST_NIGHT)
    return told


def _strands(strands: pd.DataFrame, lives: pd.DataFrame, draw: np.random.Generator) -> pd.DataFrame:
    """One row a life of a strand."""
    same = ["strand", "machine", "set", "side", "construction", "pitch_mm", "pitches", "teeth_drive"]
    parts = ["pin_diameter_mm", "bushing_bore_mm", "bushing_outside_mm", "pin_case_mm", "bushing_case_mm"]
    plan = ["teeth_tail", "takeup_travel_mm", "lube_plan", "lube_interval_hours", "lube_quantity_ml"]
    told = strands[["set_place", *same, *parts, *plan]].copy()
    rollers = strands["construction"].isin(ROLLERS)
    told["roller_diameter_mm"] = (1.6 * strands["bushing_outside_mm"]).round(1).where(rollers)
    told["centres_mm"] = _centres(strands).round()
    told["fixed_centres"] = "no"
    told["strand_spacing_mm"] = np.where(strands["side"] != "", "900", "")
    told["speed_m_per_s"] = 0.5
    told["takeup_start_mm"] = TAKEUP_START_MM
    told["attachment_every"] = np.where(strands["kind"] == "heavy_drive", "", "4")
    told["lubricant"] = np.where(strands["lube_interval_hours"].notna(), "chain oil, ISO VG 220", "")
    told["lead_time_days"] = draw.choice([56, 84, 112], len(strands))
    told["chain_price"] = draw.choice([9000, 16000, 28000], len(strands))
    each = told.merge(lives[["set_place", "fitted", "ended"]], on="set_place")
    each["fitted_on"] = days(each["fitted"])
    each["removed_on"] = days(each["ended"]).where(each["ended"] < STILL_RUNS, "")
    each.insert(0, "known", FIRST_NIGHT)
    return each.drop(columns=["set_place", "fitted", "ended"])


def _centres(strands: pd.DataFrame) -> pd.Series:
    """Centres on which two sprockets need just this many pitches: the register agrees with itself."""
    drive, tail, pitch = (strands[name] for name in ("teeth_drive", "teeth_tail", "pitch_mm"))
    straight = (strands["pitches"] - (drive + tail) / 2) * pitch
    apart = (tail - drive) * pitch / (2 * np.pi)
    return (straight + np.sqrt(straight**2 - 8 * apart**2)) / 4


def meter_readings(machines: pd.DataFrame, hours: Array) -> pd.DataFrame:
    """The cumulative meter of every machine, Mondays at 06:00."""
    mondays = FIRST_DAY + 7 * np.arange(WEEKS + 1)
    return pd.DataFrame(
        {
            "known": np.repeat(mondays, len(machines)),
            "machine": np.tile(machines["machine"], mondays.size),
            "read_at": days(pd.Series(np.repeat(mondays, len(machines)))) + "T06:00",
            "meter_hours": hours.T.ravel().round(1),
        }
    )


# --- writing exports ---------------------------------------------------------------------------------------


def days(numbers: pd.Series) -> pd.Series:
    """Day numbers as ISO dates."""
    kinds, place = np.unique(numbers.to_numpy(), return_inverse=True)
    return pd.Series(kinds.astype("datetime64[D]").astype(str).astype(object)[place], index=numbers.index)


def plant(strands: int, seed: int) -> Feeds:
    """Every row the plant's system had on the second night."""
    draw = np.random.default_rng(seed)
    machines, sets, each = positions(strands, draw)
    hours = run_hours(machines, draw)
    lives = set_lives(sets, draw)
    told = _of_strands(surveys(lives, hours, draw), each)
    return {
        **register(machines, each, lives, draw),
        "run_hours": meter_readings(machines, hours),
        "elongation_readings": elongation_readings(told, strands, draw),
        "takeup_readings": takeup_readings(told, draw),
        "lube_records": lube_records(each, draw),
        "inspection_findings": inspection_findings(machines, each, draw),
    }


def write(folder: Path, feeds: Feeds) -> list[int]:
    """Write the two deliveries, one file a feed; the rows of each."""
    counts = []
    for number, (after, until) in enumerate(((-1, FIRST_NIGHT), (FIRST_NIGHT, SECOND_NIGHT)), start=1):
        delivery = folder / f"night_{number}"
        delivery.mkdir(parents=True, exist_ok=True)
        rows = 0
        for feed, told in feeds.items():
            chosen = told[(told["known"] > after) & (told["known"] <= until)].drop(columns="known")
            if len(chosen):
                path = delivery / f"{feed}_{AS_OF[number - 1]}.csv"
                chosen.to_csv(path, index=False, lineterminator="\r\n")
            rows += len(chosen)
        counts.append(rows)
    return counts


def main() -> None:
    """Write the plant, and say how large it is."""
    parser = argparse.ArgumentParser(description="A large invented plant, for benchmarks.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--strands", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=20260831)
    given = parser.parse_args()
    feeds = plant(given.strands, given.seed)
    first, second = write(given.folder, feeds)
    for feed, told in feeds.items():
        print(f"{feed:22}{len(told):>10,}")
    print(f"night 1: {first:,} rows; night 2: {second:,} rows, {100 * second / first:.2f} %")


if __name__ == "__main__":
    main()
