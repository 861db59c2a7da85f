"""Five rules of the trade recomputed from raw exports in plain Python, with no line of the package.

It reads the CSV files as a careful person would with a pocket calculator: the formulas are those of the
trade handbook that the package's rules state too (elongation and its uncertainty by GUM, first order; limits
by the least that asks for a chain; lubrication and surveys by run hours; take-up by its travel; teeth by
gauge depth), the defaults are written out below. It knows plain exports only: dates as year-month-day,
millimetres, one register row a life, meters that never reset. Where the trade's rule needs a number that
only a record of past forecasts gives (how near the limit may be), it says so by ``None`` instead of
guessing.
"""

from __future__ import annotations

import csv
from bisect import bisect_right
from collections import defaultdict
from datetime import date, timedelta
from math import ceil, lcm, sqrt
from pathlib import Path
from statistics import median
from typing import NamedTuple

# common practice or proposed, see the sources of the package's settings; here only the numbers
TAPE_A, TAPE_B, STEP, U_REPEAT, U_PULL, ALPHA, U_T, U_NO_T = 0.3, 0.2, 1.0, 0.8, 0.5, 11.5e-6, 2.0, 10.0
RIDE, DRIVE, PIN_SHARE, USABLE_CASE, PIN_KEPT, WALL = 200.0, 3.0, 0.5, 0.8, 0.75, 1 / 3
TAKEUP_LEFT, JOINING, SCREW_U, TOOTH = 0.15, 15.0, 2.0, 0.10
LONGEST, SHORTEST, RUN_IN, DAILY, GRACE, STARVED, BASELINE_HOURS = 1500.0, 100.0, 100.0, 72.0, 0.10, 2.0, 8.0
WINDOW_DAYS, DELAY_DAYS = 90, 1
ALTERNATE = ("bushed_rollerless", "roller_conveyor", "roller_drive")
ON_ROLLERS = ("roller_conveyor", "offset_sidebar_roller", "roller_drive")

Row = dict[str, str]


class Survey(NamedTuple):
    """One strand on one occasion: day, elongations of its marks in per cent, standard uncertainties."""

    day: int
    wear: list[float]
    geo: list[float]
    u_wear: float
    u_geo: float


def day_of(text: str) -> int:
    """Days since 1970-01-01."""
    return (date.fromisoformat(text[:10]) - date(1970, 1, 1)).days


def moment(text: str) -> float:
    """A date stands at midday, a time where it is."""
    if len(text) == 10:
        return day_of(text) + 0.5
    hour, minute = text[11:16].split(":")
    return day_of(text) + (int(hour) + int(minute) / 60) / 24


def number(text: str) -> float | None:
    """A cell's number, None where it is blank."""
    return float(text) if text else None


class Plant:
    """The exports of a plant, read once; every answer takes the civil day as a day number.

    Parameters
    ----------
    folder : Path
        Files named ``FEED_DATE.csv``.
    conveyor_percent : float
        The cap of the limit of fit of conveyors and elevators.
    """

    def __init__(self, folder: Path, conveyor_percent: float = 3.0) -> None:
        self.conveyor = conveyor_percent
        self.machines = {row["machine"]: row for row in _rows(folder, "machines")}
        self.lives = _by(_rows(folder, "strands"), "strand")
        self.readings = _by(_rows(folder, "elongation_readings"), "strand")
        self.takeup = _by(_rows(folder, "takeup_readings"), "strand")
        self.lube = _by(_rows(folder, "lube_records"), "strand")
        self.checks = _by(_rows(folder, "sprocket_checks"), "machine")
        self.meters = {
            name: sorted((moment(row["read_at"]), float(row["meter_hours"])) for row in rows)
            for name, rows in _by(_rows(folder, "run_hours"), "machine").items()
        }

    def life(self, strand: str, day: int) -> Row | None:
        """The chain that runs on a strand, None where none does."""
        fitted = [row for row in self.lives[strand] if day_of(row["fitted_on"]) <= day]
        last = max(fitted, key=lambda row: row["fitted_on"], default=None)
        ended = last and last.get("removed_on") and day_of(last["removed_on"]) <= day
        return None if last is None or ended else last

    # --- run hours ------------------------------------------------------------------------------------

    def hours(self, machine: str, at: float, day: int) -> float:
        """Hours of the meter at a moment, by the readings known on a day."""
        known = self.meters[machine]
        known = known[: bisect_right(known, day - DELAY_DAYS + 1.0, key=lambda one: one[0])]
        last_at, last = known[-1]
        if at > last_at:
            window = self._straight(known, last_at - WINDOW_DAYS)
            return last + (at - last_at) * (last - window) / WINDOW_DAYS
        return self._straight(known, at)

    @staticmethod
    def _straight(known: list[tuple[float, float]], at: float) -> float:
        place = min(max(bisect_right(known, at, key=lambda one: one[0]), 1), len(known) - 1)
        (a, low), (b, high) = known[place - 1], known[place]
        return low + (at - a) * (high - low) / (b - a)

    # --- surveys --------------------------------------------------------------------------------------

    def surveys(self, strand: str, life: Row, day: int) -> list[Survey]:
        """The surveys of a life that were known on a day, oldest first, from the zero of the fitting day."""
        fitted = day_of(life["fitted_on"])
        ended = day_of(life["removed_on"]) if life.get("removed_on") else 10**6
        shared = any(
            row is not life and row.get("removed_on") == life["fitted_on"] for row in self.lives[strand]
        )
        groups: dict[tuple[int, str], list[Row]] = defaultdict(list)
        for row in self.readings[strand]:
            seen, occasion = day_of(row["measured_at"]), row["occasion"] or "routine"
            old = seen == fitted and occasion != "as_left" and (shared or occasion == "as_found")
            new = seen == ended and occasion == "as_left"
            if fitted <= seen <= ended and not old and not new and seen + DELAY_DAYS <= day:
                groups[seen, occasion].append(row)
        zero = {row["mark"]: row for row in groups.get((fitted, "as_left"), ())}
        if not zero:
            return []
        pitch = float(life["pitch_mm"])
        found = []
        for (seen, _), rows in sorted(groups.items()):
            wear, geo, u_wear, u_geo = [], [], [], []
            for row in rows:
                n, length = int(row["pitches"]), float(row["length_mm"])
                begun = float(zero[row["mark"]]["length_mm"])
                u, u0 = _u_length(length, row), _u_length(begun, zero[row["mark"]])
                wear.append(100 * (length - begun) / (n * pitch))
                geo.append(100 * (length - n * pitch) / (n * pitch))
                u_wear.append(100 * sqrt(u**2 + u0**2) / (n * pitch))
                u_geo.append(100 * u / (n * pitch))
            found.append(Survey(seen, wear, geo, max(u_wear), max(u_geo)))
        return found

    # --- the five rules -------------------------------------------------------------------------------

    def reached(self, strand: str, day: int) -> bool | None:
        """Whether the latest survey shows a limit that asks for a chain reached, e + U at or past it."""
        life = self.life(strand, day)
        told = self.surveys(strand, life, day) if life else []
        if life is None or not told:
            return None
        last = told[-1]
        return any(
            round(_counts(marks, u) + 2 * u, 3) >= round(limit, 3)
            for limit, marks, u in self.limits(life, last)
        ) or self._travel_out(strand, life, last, day)

    def limits(self, life: Row, last: Survey) -> list[tuple[float, list[float], float]]:
        """Each limit of fit, case and strength with the elongations in its own zero and their uncertainty."""
        pitch = float(life["pitch_mm"])
        teeth = max(int(life["teeth_drive"]), int(life["teeth_tail"]))
        drive = self.machines[life["machine"]]["kind"].endswith("drive")
        fit = min(DRIVE if drive else self.conveyor, RIDE / teeth)
        found = [(fit, last.geo, last.u_geo)]
        wear, u = last.wear, last.u_wear
        depths = [
            USABLE_CASE * depth / share
            for depth, share in (
                (float(life["pin_case_mm"] or 0), PIN_SHARE),
                (float(life["bushing_case_mm"] or 0), 1 - PIN_SHARE),
            )
            if depth > 0
        ]
        if depths:
            found.append((100 * min(depths) / pitch, wear, u))
        pin = float(life["pin_diameter_mm"]) * (1 - PIN_KEPT ** (1 / 3))
        found.append((100 * pin / (PIN_SHARE * pitch), wear, u))
        wall = (float(life["bushing_outside_mm"]) - float(life["bushing_bore_mm"])) / 2
        found.append((100 * WALL * wall / ((1 - PIN_SHARE) * pitch), wear, u))
        return found

    def _travel_out(self, strand: str, life: Row, last: Survey, day: int) -> bool:
        """Whether a take-up that can never give back a step is out, within the doubt of its screws."""
        used = self._used(strand, life, day)
        if used is None:
            return False
        travel, pitch, pitches = (float(life[name]) for name in ("takeup_travel_mm", "pitch_mm", "pitches"))
        mean = sum(last.wear) / len(last.wear)
        spacing = int(life["attachment_every"] or 1)
        step = lcm(2 if life["construction"] in ALTERNATE else 1, spacing)
        if travel >= step * pitch * (1 + mean / 100) / 2 + JOINING:
            return False
        limit = mean + 200 * max(travel - used, 0.0) / (pitches * pitch)
        return round(mean + 200 * SCREW_U / (pitches * pitch), 3) >= round(limit, 3)

    def lubrication(self, strand: str, day: int) -> str | None:
        """``within``, ``due``, ``overdue`` or ``starved`` by run hours; ``dry`` where it is so decided."""
        life = self.life(strand, day)
        if life is None:
            return None
        if life["lube_plan"] == "none_by_decision":
            return "dry"
        machine, fitted = life["machine"], day_of(life["fitted_on"])
        interval = float(life["lube_interval_hours"])
        done = [
            moment(row["done_at"])
            for row in self.lube[strand]
            if fitted <= day_of(row["done_at"]) <= day - DELAY_DAYS
        ]
        begun = self.hours(machine, max(done, default=fitted + 0.5), day)
        since = round(round(self.hours(machine, day + 0.5, day), 3) - begun, 1)
        for share, word in ((STARVED, "starved"), (1 + GRACE, "overdue"), (1.0, "due")):
            if since >= round(share * interval, 1) and (word == "starved" or interval >= DAILY):
                return word
        return "within"

    def survey_due(self, strand: str, day: int) -> bool | None:
        """Whether a strand wants measuring; None where only a record of past forecasts could tell."""
        life = self.life(strand, day)
        told = self.surveys(strand, life, day) if life else []
        if life is None or not told:
            return None
        machine, fitted = life["machine"], day_of(life["fitted_on"]) + 0.5
        begun = self.hours(machine, fitted, day)
        at = [self.hours(machine, one.day + 0.5, day) - begun for one in told]
        since = self.hours(machine, day + 0.5, day) - begun - at[-1]
        if at[-1] < RUN_IN:
            return round(since, 1) >= SHORTEST
        if since < SHORTEST - 0.1:
            return False
        most = LONGEST
        steady = [(h, sum(one.wear) / len(one.wear)) for h, one in zip(at, told, strict=True) if h > RUN_IN]
        slope = _slope(steady[-8:], sqrt(2) * told[-1].u_geo)
        if slope is not None and not _changed(steady, sqrt(2) * told[-1].u_geo):
            most = min(most, 1000 * 2 * sqrt(2) * sqrt(2) * told[-1].u_geo / slope)
        if self.lubrication(strand, day) == "starved":
            most /= 2
        return True if since >= max(most, SHORTEST) + 0.1 else None

    def travel_low(self, strand: str, day: int) -> bool | None:
        """Whether less than the trigger part of the take-up's travel is left."""
        life = self.life(strand, day)
        used = self._used(strand, life, day) if life else None
        if life is None or used is None:
            return None
        travel = float(life["takeup_travel_mm"])
        return round(max(travel - used, 0.0), 1) < round(TAKEUP_LEFT * travel, 1)

    def _used(self, strand: str, life: Row, day: int) -> float | None:
        """Travel used at the screw further out, by the last reading of this life."""
        fitted = day_of(life["fitted_on"])
        read = [
            row for row in self.takeup[strand] if fitted <= day_of(row["measured_at"]) <= day - DELAY_DAYS
        ]
        if not read:
            return None
        last = max(read, key=lambda row: row["measured_at"])
        return max(float(last["used_left_mm"]), float(last["used_right_mm"]))

    def teeth_worn(self, strand: str, day: int) -> bool | None:
        """Whether a sprocket of the strand's machine is worn to the gauge's limit."""
        life = self.life(strand, day)
        checks = (
            [row for row in self.checks[life["machine"]] if day_of(row["checked_at"]) + DELAY_DAYS <= day]
            if life
            else []
        )
        if life is None or not checks:
            return None
        by_sprocket = {row["sprocket"]: row for row in sorted(checks, key=lambda row: row["checked_at"])}
        meets = "roller_diameter_mm" if life["construction"] in ON_ROLLERS else "bushing_outside_mm"
        limit = round(TOOTH * float(life[meets]), 1)
        return any(round(float(row["gauge_depth_mm"]), 1) >= limit for row in by_sprocket.values())

    # --- over the whole history -----------------------------------------------------------------------

    def first_at_limit(self, strand: str, life: Row, begins: int, ends: int, every: int = 1) -> int | None:
        """The first of nights, so many days apart, on which a running chain was known to be at a limit.

        What is known changes only with a survey or a reading of the take-up, so the nights after each are
        asked, and the first of all.
        """
        fitted = day_of(life["fitted_on"])
        ended = day_of(life["removed_on"]) if life.get("removed_on") else ends + 1
        read = (*self.readings[strand], *self.takeup[strand])
        known = {day_of(row["measured_at"]) + DELAY_DAYS for row in read}
        nights = {begins + every * max(0, ceil((day - begins) / every)) for day in known | {begins}}
        for day in sorted(nights):
            runs = max(begins, fitted) <= day <= min(ends, ended - 1)
            if runs and self.life(strand, day) is life and self.reached(strand, day):
                return day
        return None


def _rows(folder: Path, feed: str) -> list[Row]:
    found: list[Row] = []
    for path in sorted(folder.glob(f"{feed}_*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            found += csv.DictReader(file)
    return found


def _by(rows: list[Row], name: str) -> defaultdict[str, list[Row]]:
    found: defaultdict[str, list[Row]] = defaultdict(list)
    for row in rows:
        found[row[name]].append(row)
    return found


def _u_length(length: float, row: Row) -> float:
    """Standard uncertainty of one span: tape, two ends, repeat, pull, temperature."""
    tape = (TAPE_A + TAPE_B * ceil(length / 1000)) / sqrt(3)
    end = STEP / (2 * sqrt(3))
    warm = length * ALPHA * (U_T if row["chain_temperature_c"] else U_NO_T)
    return sqrt(tape**2 + 2 * end**2 + U_REPEAT**2 + U_PULL**2 + warm**2)


def _counts(marks: list[float], u: float) -> float:
    """The mean of the marks; the longest where it is further from the mean than the uncertainty."""
    mean, most = sum(marks) / len(marks), max(marks)
    return most if round(most - mean, 3) > round(2 * u, 3) else mean


def _slope(points: list[tuple[float, float]], u: float) -> float | None:
    """Median of pairwise slopes in per cent per 1000 h; None without three surveys or three u of growth."""
    if len(points) < 3 or max(e for _, e in points) - min(e for _, e in points) < 3 * u:
        return None
    slopes = [
        1000 * (e2 - e1) / (h2 - h1)
        for i, (h1, e1) in enumerate(points)
        for h2, e2 in points[i + 1 :]
        if h2 > h1
    ]
    found = median(slopes)
    return found if found > 0 else None


def _changed(points: list[tuple[float, float]], u: float) -> bool:
    """Whether the last rate may be another phase: far above the earlier one, whatever its doubt."""
    if len(points) < 4:
        return True
    first, last = _slope(points[:-2], u), points[-1][1] - points[-3][1]
    span = points[-1][0] - points[-3][0]
    return first is None or span <= 0 or 1000 * last / span > 1.3 * first


def as_date(day: int) -> date:
    """The civil day of a day number."""
    return date(1970, 1, 1) + timedelta(days=day)
