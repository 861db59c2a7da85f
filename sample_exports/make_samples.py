"""Make the sample exports: three years of Brinehollow, a fertiliser works that does not exist.

    python sample_exports/make_samples.py [FOLDER]

Every number is invented and drawn with a fixed seed, so that the same files come out every time. README.md
beside this script says what each file shows. Nothing here is evidence for anything: tests of the main job
look elsewhere.
"""

from __future__ import annotations

import csv
import gzip
import io
import sys
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import numpy as np

SEED = 20260831
FIRST_DAY = date(2023, 9, 1)
#: The days whose nights the demo tells; the first delivers three years at once, the fourth comes after a gap.
NIGHTS = (date(2026, 8, 31), date(2026, 9, 1), date(2026, 9, 2), date(2026, 9, 8), date(2026, 9, 9))
LAST_DAY = NIGHTS[-1]


@dataclass(frozen=True)
class Machine:
    """A machine and how hard it runs."""

    tag: str
    name: str
    kind: str
    service: str
    hours_per_day: float
    area: str
    duty: tuple[str, ...] = ()
    stops_with: str = ""
    stop_cost: int = 1800


@dataclass(frozen=True)
class Chain:
    """One chain design and how it wears here; ``sides`` strands of it run side by side."""

    machine: str
    chain: str
    construction: str
    pitch_mm: float
    pitches: int
    teeth: tuple[int, int]
    rate: float
    """Percent per 1000 run hours, while the case holds."""
    fitted: tuple[date, ...]
    sides: tuple[str, ...] = ("A", "B")
    pin_mm: float = 31.75
    bore_mm: float = 32.15
    outside_mm: float = 44.45
    cases_mm: tuple[float | None, float | None] = (3.2, 1.5)
    certified: bool = False
    attachment_every: int = 4
    lube_plan: str = "open_conveyor"
    lube_hours: float | None = 100
    lube_ml: float | None = 50
    seals: str = "none"
    sidebar_mm: tuple[float, float] | None = None
    """Height of the sidebars when new, and their hole."""
    lead_days: int = 112
    price: int = 28000
    travel_mm: float | None = 480
    fixed: bool = False
    survey_hours: float = 900
    unequal: float = 0.0
    """How much faster the second strand wears, as a fraction."""
    spacing_mm: float = 900
    extra: dict[str, str] = field(default_factory=dict)


MACHINES = (
    Machine(
        "EL-11",
        "Rock elevator",
        "bucket_elevator",
        "highly_abrasive",
        15.5,
        "Rock intake",
        ("dusty",),
        "FE-31",
    ),
    Machine(
        "EL-12",
        "Product elevator north",
        "bucket_elevator",
        "abrasive_bulk",
        14.0,
        "Granulation",
        ("corrosive", "dusty"),
    ),
    Machine(
        "EL-13",
        "Product elevator south",
        "bucket_elevator",
        "abrasive_bulk",
        14.0,
        "Granulation",
        ("corrosive", "dusty"),
    ),
    Machine(
        "EL-14", "Recycle elevator", "bucket_elevator", "abrasive_bulk", 16.0, "Granulation", ("dusty", "hot")
    ),
    Machine(
        "EL-15", "Potash elevator", "bucket_elevator", "abrasive_bulk", 12.0, "Potash store", ("corrosive",)
    ),
    Machine(
        "DR-21",
        "Potash drag",
        "drag_conveyor",
        "highly_abrasive",
        12.0,
        "Potash store",
        ("corrosive", "confined_space"),
    ),
    Machine(
        "DR-22",
        "Salt drag",
        "drag_conveyor",
        "highly_abrasive",
        11.0,
        "Salt store",
        ("corrosive", "wet", "confined_space"),
    ),
    Machine(
        "DR-23", "Dust return drag", "drag_conveyor", "abrasive_bulk", 13.0, "Dedusting", ("dusty",), "", 400
    ),
    Machine(
        "FE-31",
        "Rock apron feeder",
        "apron_feeder",
        "highly_abrasive",
        13.0,
        "Rock intake",
        ("dusty",),
        "EL-11",
        2400,
    ),
    Machine(
        "FE-32",
        "Crusher feeder",
        "apron_feeder",
        "highly_abrasive",
        12.5,
        "Rock intake",
        ("dusty",),
        "",
        2400,
    ),
    Machine(
        "RC-41", "Stockyard reclaimer", "reclaimer", "abrasive_bulk", 10.0, "Stockyard", ("corrosive", "wet")
    ),
    Machine(
        "SC-51", "Harrow scraper", "scraper_conveyor", "abrasive_bulk", 10.0, "Stockyard", ("corrosive",)
    ),
    Machine("SL-61", "Bagging slat conveyor", "slat_conveyor", "clean", 15.0, "Bagging", (), "", 900),
    Machine("SL-62", "Palletising slat conveyor 1", "slat_conveyor", "clean", 15.0, "Bagging", (), "", 900),
    Machine("SL-63", "Palletising slat conveyor 2", "slat_conveyor", "clean", 15.0, "Bagging", (), "", 900),
    Machine("HD-71", "Rotary cooler drive", "heavy_drive", "clean", 17.0, "Granulation", ("hot",), "", 3200),
    Machine("HD-72", "Dryer drive", "heavy_drive", "enclosed_clean", 17.0, "Granulation", ("hot",), "", 3200),
    Machine("HD-73", "Mill drive", "heavy_drive", "clean", 14.0, "Rock intake", ("dusty",), "", 2600),
)

D = date
CHAINS = (
    # The case is worn through: the rate triples and the limit comes early.
    Chain(
        "EL-11",
        "bushed rollerless, 6.000 in",
        "bushed_rollerless",
        152.4,
        240,
        (12, 12),
        0.26,
        (D(2023, 9, 11), D(2025, 3, 17)),
        certified=True,
        lube_plan="none_by_decision",
        lube_hours=None,
        lube_ml=None,
    ),
    # Sisters: sealed against unsealed.
    Chain(
        "EL-12",
        "bushed rollerless, 6.000 in, sealed",
        "bushed_rollerless",
        152.4,
        200,
        (12, 12),
        0.055,
        (D(2023, 10, 2),),
        seals="labyrinth",
        lube_plan="sealed_greaseable",
        lube_hours=500,
        lube_ml=300,
        price=41000,
    ),
    Chain(
        "EL-13",
        "bushed rollerless, 6.000 in",
        "bushed_rollerless",
        152.4,
        200,
        (12, 12),
        0.21,
        (D(2023, 10, 2), D(2026, 1, 12)),
        lube_plan="none_by_decision",
        lube_hours=None,
        lube_ml=None,
    ),
    # An uneven pair: strand B wears faster.
    Chain(
        "EL-14",
        "bushed rollerless, 6.000 in",
        "bushed_rollerless",
        152.4,
        180,
        (12, 12),
        0.07,
        (D(2023, 9, 20),),
        unequal=0.38,
        lube_plan="none_by_decision",
        lube_hours=None,
        lube_ml=None,
    ),
    Chain(
        "EL-15",
        "bushed rollerless, 4.000 in",
        "bushed_rollerless",
        101.6,
        260,
        (14, 14),
        0.20,
        (D(2024, 1, 15), D(2026, 1, 19)),
        pin_mm=25.4,
        bore_mm=25.8,
        outside_mm=38.1,
        lube_plan="none_by_decision",
        lube_hours=None,
        lube_ml=None,
    ),
    # Dry by decision, and greased all the same.
    Chain(
        "DR-21",
        "welded drag",
        "welded_drag",
        152.4,
        160,
        (9, 9),
        0.2,
        (D(2023, 9, 5), D(2025, 6, 2)),
        cases_mm=(3.0, 0.0),
        attachment_every=2,
        lube_plan="none_by_decision",
        lube_hours=None,
        lube_ml=None,
        sidebar_mm=(63.5, 31.8),
        price=16500,
    ),
    Chain(
        "DR-22",
        "welded drag",
        "welded_drag",
        152.4,
        140,
        (9, 9),
        0.36,
        (D(2023, 11, 6), D(2025, 2, 10)),
        cases_mm=(3.0, 0.0),
        attachment_every=2,
        lube_plan="none_by_decision",
        lube_hours=None,
        lube_ml=None,
        sidebar_mm=(63.5, 31.8),
        price=15500,
    ),
    # No reading was ever taken here.
    Chain(
        "DR-23",
        "welded mill",
        "welded_mill",
        101.6,
        120,
        (8, 8),
        0.2,
        (D(2025, 4, 7),),
        sides=("",),
        cases_mm=(3.0, 0.0),
        lube_plan="none_by_decision",
        lube_hours=None,
        lube_ml=None,
        survey_hours=float("inf"),
        price=6000,
    ),
    # Nobody knows the case depth of this long-pitch chain.
    Chain(
        "FE-31",
        "roller conveyor, 12 in",
        "roller_conveyor",
        304.8,
        72,
        (8, 8),
        0.055,
        (D(2023, 10, 9),),
        pin_mm=44.45,
        bore_mm=45.0,
        outside_mm=63.5,
        cases_mm=(None, None),
        attachment_every=1,
        lube_ml=120,
        price=52000,
    ),
    # A bushing cracks in the second night.
    Chain(
        "FE-32",
        "roller conveyor, 9 in",
        "roller_conveyor",
        228.6,
        84,
        (8, 8),
        0.045,
        (D(2023, 9, 25),),
        pin_mm=38.1,
        bore_mm=38.6,
        outside_mm=57.15,
        attachment_every=1,
        lube_ml=120,
        price=48000,
    ),
    # The take-up runs out before the chain does.
    Chain(
        "RC-41",
        "offset sidebar, 7 in",
        "offset_sidebar_roller",
        177.8,
        220,
        (10, 10),
        0.185,
        (D(2023, 9, 18),),
        travel_mm=340,
        attachment_every=2,
        cases_mm=(4.0, 2.4),
        certified=True,
        pin_mm=41.3,
        bore_mm=41.8,
        outside_mm=60.0,
        lube_ml=90,
        price=60000,
    ),
    # Inside rub on one side.
    Chain(
        "SC-51",
        "offset sidebar, 6 in",
        "offset_sidebar_roller",
        152.4,
        180,
        (10, 10),
        0.085,
        (D(2023, 12, 4),),
        attachment_every=6,
        pin_mm=34.9,
        bore_mm=35.4,
        outside_mm=52.0,
        lube_ml=70,
    ),
    # A lubrication lapse.
    Chain(
        "SL-61",
        "roller conveyor, 4 in",
        "roller_conveyor",
        101.6,
        300,
        (16, 16),
        0.05,
        (D(2023, 9, 4),),
        pin_mm=19.05,
        bore_mm=19.4,
        outside_mm=28.6,
        cases_mm=(2.5, 1.2),
        lube_ml=60,
        travel_mm=400,
        price=14000,
    ),
    # Readings of these two come from a hand-held tape with decimal commas.
    Chain(
        "SL-62",
        "roller conveyor, 4 in",
        "roller_conveyor",
        101.6,
        280,
        (16, 16),
        0.04,
        (D(2023, 9, 4),),
        pin_mm=19.05,
        bore_mm=19.4,
        outside_mm=28.6,
        cases_mm=(2.5, 1.2),
        lube_ml=60,
        travel_mm=400,
        price=14000,
    ),
    Chain(
        "SL-63",
        "roller conveyor, 4 in",
        "roller_conveyor",
        101.6,
        280,
        (16, 16),
        0.045,
        (D(2023, 9, 4),),
        pin_mm=19.05,
        bore_mm=19.4,
        outside_mm=28.6,
        cases_mm=(2.5, 1.2),
        lube_ml=60,
        travel_mm=400,
        price=14000,
    ),
    # The drives are measured in inches.
    Chain(
        "HD-71",
        "cranked link, 3.5 in",
        "offset_sidebar_roller",
        88.9,
        96,
        (13, 72),
        0.11,
        (D(2023, 10, 16), D(2025, 10, 13)),
        sides=("",),
        pin_mm=22.2,
        bore_mm=22.5,
        outside_mm=31.7,
        lube_plan="manual_drive",
        lube_hours=24,
        lube_ml=40,
        travel_mm=90,
        price=9000,
        lead_days=84,
    ),
    Chain(
        "HD-72",
        "cranked link, 3.5 in",
        "offset_sidebar_roller",
        88.9,
        104,
        (13, 60),
        0.04,
        (D(2023, 10, 16),),
        sides=("",),
        pin_mm=22.2,
        bore_mm=22.5,
        outside_mm=31.7,
        lube_plan="sealed_greaseable",
        lube_hours=500,
        lube_ml=400,
        travel_mm=90,
        price=9800,
        lead_days=84,
    ),
    # Its hour meter was reset, and once rolled over.
    Chain(
        "HD-73",
        "cranked link, 4 in",
        "offset_sidebar_roller",
        101.6,
        88,
        (11, 44),
        0.085,
        (D(2023, 9, 11),),
        sides=("",),
        pin_mm=25.4,
        bore_mm=25.7,
        outside_mm=38.1,
        lube_plan="manual_drive",
        lube_hours=100,
        lube_ml=40,
        travel_mm=None,
        fixed=True,
        price=8700,
        lead_days=98,
        extra={"sprocket_share_cost": "1400"},
    ),
)

Row = dict[str, str]
Rows = dict[str, list[tuple[date, Row]]]
"""Feed name to (day on which the plant's system knew it, row)."""


#: The salt drag gets its new set on the last day: the register's export of that night says so.
NEW_SET = ("DR-22", LAST_DAY)


def main(folder: Path) -> None:
    """Write every sample file under a folder."""
    rows = plant(np.random.default_rng(SEED))
    previous = date.min
    for night in NIGHTS:
        _write_night(folder / "plant" / "nights" / night.isoformat(), rows, previous, night)
        previous = night
    _write_dirty(folder / "dirty")


def plant(draw: np.random.Generator) -> Rows:
    """Every row the plant's system ever knew, told machine by machine."""
    rows: Rows = {feed: [] for feed in FEEDS}
    hours = {machine.tag: _run_hours(machine, draw) for machine in MACHINES}
    for machine in MACHINES:
        _register(machine, rows)
        _meter(machine, hours[machine.tag], rows)
    for chain in CHAINS:
        _lives(chain, hours[chain.machine], draw, rows)
    _shutdowns(rows)
    _stories(rows, hours)
    return rows


# --- what happened ---


def _run_hours(machine: Machine, draw: np.random.Generator) -> np.ndarray:
    """Cumulative run hours at noon of every day from FIRST_DAY on."""
    days = (LAST_DAY - FIRST_DAY).days + 1
    daily = np.clip(draw.normal(machine.hours_per_day, 1.6, days), 0, 23.5)
    for shutdown in SHUTDOWNS:
        first, last = ((day - FIRST_DAY).days for day in shutdown[1:3])
        daily[max(first, 0) : max(last + 1, 0)] = 0.0
    return np.cumsum(daily)


def _elongation(chain: Chain, life_hours: np.ndarray, faster: float, duty: np.ndarray) -> np.ndarray:
    """True wear elongation of one strand at every day of a life, in percent; a set shares its duty."""
    case = 100 * min(c / 0.5 for c in chain.cases_mm if c) / chain.pitch_mm if any(chain.cases_mm) else np.inf
    steps = np.diff(life_hours, prepend=0.0)
    worn = np.zeros(life_hours.size)
    level = 0.0
    for day, step in enumerate(steps):
        rate = chain.rate * (1 + faster) * duty[day]
        if level > case:
            rate *= 3
        level += rate * step / 1000
        worn[day] = level
    return worn + 0.09 * (1 - np.exp(-life_hours / 40))


def _lives(chain: Chain, hours: np.ndarray, draw: np.random.Generator, rows: Rows) -> None:
    for number, fitted in enumerate(chain.fitted):
        removed = chain.fitted[number + 1] if number + 1 < len(chain.fitted) else None
        first = (fitted - FIRST_DAY).days
        last = ((removed or LAST_DAY) - FIRST_DAY).days
        life = hours[first : last + 1] - hours[first]
        duty = np.clip(np.exp(np.cumsum(draw.normal(0, 0.012, life.size)) - 0.03), 0.7, 1.4)
        surveyed = _survey_days(chain, life, draw, removed is not None)
        steady = _elongation(chain, life, 0.0, duty)
        for position, side in enumerate(chain.sides):
            strand = f"{chain.machine}-{side}" if side else chain.machine
            rows["strands"].append((fitted, _strand_row(chain, strand, side, fitted, removed)))
            worn = _elongation(chain, life, chain.unequal, duty) if position else steady
            behind = worn - steady if position else None
            _surveys(chain, strand, fitted, surveyed, worn, behind, draw, rows)
            if removed is None:
                _lube(chain, strand, fitted, life, draw, rows)


def _survey_days(
    chain: Chain, life: np.ndarray, draw: np.random.Generator, ended: bool
) -> list[tuple[int, str]]:
    """Days of a life on which its strands are measured, all on the same day, and the occasion."""
    found: list[tuple[int, str]] = []
    due = 0.0
    for day in range(life.size if np.isfinite(chain.survey_hours) else 0):
        last = ended and day == life.size - 1
        if life[day] < due and not last:
            continue
        found.append((day, "as_left" if day == 0 else "as_found" if last else "routine"))
        due = life[day] + chain.survey_hours * draw.uniform(0.85, 1.15) if day else 100.0
    return found


def _surveys(
    chain: Chain,
    strand: str,
    fitted: date,
    surveyed: list[tuple[int, str]],
    worn: np.ndarray,
    behind: np.ndarray | None,
    draw: np.random.Generator,
    rows: Rows,
) -> None:
    pitches = 20 if chain.pitch_mm < 200 else 10
    nominal = pitches * chain.pitch_mm
    birth = 1 + draw.normal(0.10, 0.02, 4) / 100
    local = draw.normal(0, 0.02, 4)
    centres = (chain.pitches - sum(chain.teeth) / 2) * chain.pitch_mm / 2
    for day, occasion in surveyed:
        when = fitted + timedelta(days=day)
        length = nominal * birth + nominal * (worn[day] * (1 + local)) / 100 + draw.normal(0, 0.8, 4)
        for mark in range(4):
            rows["elongation_readings"].append(
                (
                    when,
                    {
                        "strand": strand,
                        "measured_at": when.isoformat(),
                        "mark": str(mark + 1),
                        "occasion": occasion,
                        "pitches": str(pitches),
                        "length_mm": f"{length[mark]:.0f}",
                        "chain_temperature_c": f"{draw.normal(21, 4):.0f}",
                        "instrument_class": "II",
                        "start_link": "inner"
                        if chain.construction in ("bushed_rollerless", "roller_conveyor")
                        else "",
                        "method": "clean_tensioned",
                        "measured_by": "chain crew",
                    },
                )
            )
        if chain.travel_mm:
            used = 16 + chain.pitches * chain.pitch_mm * worn[day] / 200
            rows["takeup_readings"].append(
                (
                    when,
                    {
                        "strand": strand,
                        # On a changing day the old chain is read before the new one.
                        "measured_at": f"{when.isoformat()}T{'15' if day == 0 else '07'}:30",
                        "used_left_mm": f"{min(used + draw.normal(0, 1), chain.travel_mm):.0f}",
                        "used_right_mm": f"{min(used + draw.normal(0, 1), chain.travel_mm):.0f}",
                        "lag_mm": ""
                        if behind is None
                        else f"{centres * behind[day] / 100 + draw.normal(0, 1):.0f}",
                    },
                )
            )


def _lube(
    chain: Chain, strand: str, fitted: date, life: np.ndarray, draw: np.random.Generator, rows: Rows
) -> None:
    if not chain.lube_hours or not chain.lube_ml:
        return
    due, start = chain.lube_hours, max(0, (date(2025, 9, 1) - fitted).days)
    due += life[min(start, life.size - 1)]
    for day in range(start, life.size):
        if life[day] < due:
            continue
        when = fitted + timedelta(days=day)
        due = life[day] + chain.lube_hours * draw.uniform(0.8, 0.98)
        if chain.machine == "SL-61" and LUBE_LAPSE[0] <= when <= LUBE_LAPSE[1]:
            continue
        quantity = chain.lube_ml * draw.uniform(0.85, 1.15)
        rows["lube_records"].append(
            (
                when,
                {
                    "strand": strand,
                    "done_at": f"{when.isoformat()}T09:{draw.integers(0, 60):02d}",
                    "lubricant": "chain oil, ISO VG 220",
                    "quantity_ml": f"{quantity:.0f}",
                    "method": "can and brush",
                    "done_by": "lubrication round",
                },
            )
        )


LUBE_LAPSE = (date(2026, 8, 18), date(2026, 9, 6))
#: Lapses of SL-63 in the years before: together its surveys tell what they cost. Now it runs dry again.
OLD_LAPSES = (
    (date(2024, 3, 4), date(2024, 4, 1)),
    (date(2024, 8, 5), date(2024, 9, 2)),
    (date(2025, 1, 6), date(2025, 2, 3)),
    (date(2025, 6, 2), date(2025, 6, 30)),
)
DRY_SINCE = date(2026, 8, 14)
#: What dry joints wear there, in percent per 1000 run hours, above what they wear by plan.
DRY_RATE = 0.25


# --- what the register says ---


def _register(machine: Machine, rows: Rows) -> None:
    row = {
        "machine": machine.tag,
        "name": machine.name,
        "kind": machine.kind,
        "area": machine.area,
        "service": machine.service,
        "stops_with": machine.stops_with,
        "stop_cost_per_hour": str(machine.stop_cost),
        "planned_hours_per_day": f"{machine.hours_per_day + 1:.1f}",
    }
    row |= dict.fromkeys(machine.duty, "yes")
    rows["machines"].append((FIRST_DAY, row))
    for source in _energies(machine):
        rows["energy_sources"].append((FIRST_DAY, {"machine": machine.tag, **source}))


def _energies(machine: Machine) -> list[Row]:
    number = f"LP-{machine.tag}"
    panel = f"motor control room, panel {machine.tag}"

    def source(
        name: str, kind: str, magnitude: str, point: str, isolated: str, released: str, verified: str
    ) -> Row:
        return {
            "source": name,
            "kind": kind,
            "magnitude": magnitude,
            "isolation_point": point,
            "isolated_how": isolated,
            "released_how": released,
            "verified_how": verified,
            "procedure_number": number,
        }

    listed = [
        source(
            "main drive motor",
            "electrical",
            "690 V, 55 kW",
            f"{panel}, isolator 1",
            "isolator off, padlock",
            "wait 5 min for the drive's capacitors",
            "try the local start button, then back to off",
        ),
        source(
            "control and interlock supply",
            "electrical",
            "230 V",
            f"{panel}, isolator 2",
            "isolator off, padlock",
            "none stored",
            "panel lamp test shows dead",
        ),
    ]
    if machine.kind == "bucket_elevator":
        listed += [
            source(
                "loaded leg running back",
                "gravity",
                "up to 9 t of filled buckets",
                "head platform",
                "empty the leg first; clamp both runs to the casing",
                "chain clamps set and load shown on clamps",
                "no movement when the brake is eased in small steps",
            ),
            source(
                "feed chute above the boot",
                "material",
                "about 2 m3",
                f"{machine.tag} inlet slide gate",
                "gate closed, pinned and padlocked",
                "chute raked out",
                "look through the inspection door",
            ),
        ]
    elif machine.kind in ("drag_conveyor", "scraper_conveyor"):
        listed += [
            source(
                "material on the incline",
                "gravity",
                "up to 4 t",
                "tail end",
                "run empty before stopping",
                "block flights at the tail",
                "look: trough empty",
            ),
            source(
                "tension held in the chain",
                "mechanical",
                "about 20 kN",
                "take-up frame",
                "slack off both screws",
                "screws slack, catenary hangs free",
                "chain moves by hand bar",
            ),
        ]
    elif machine.kind == "apron_feeder":
        listed += [
            source(
                "hopper load on the pans",
                "material",
                "up to 60 t",
                "hopper gate",
                "gate closed, spile bars in",
                "pans run empty",
                "look from the inspection platform",
            ),
            source(
                "take-up grease cylinders",
                "hydraulic",
                "180 bar",
                "tail shaft, grease valves",
                "valves shut, tagged",
                "bleed to zero at the relief screw",
                "gauge reads zero",
            ),
        ]
    elif machine.kind == "reclaimer":
        listed += [
            source(
                "harrow and boom winches",
                "gravity",
                "harrow 6 t",
                "winch deck",
                "harrow lowered to stops, pinned",
                "ropes slack",
                "look: ropes slack on both drums",
            ),
            source(
                "travel drive",
                "electrical",
                "690 V, 2 x 15 kW",
                f"{panel}, isolator 3",
                "isolator off, padlock",
                "rail clamps set",
                "try travel from the cabin, then back to off",
            ),
        ]
    elif machine.kind == "heavy_drive":
        listed.append(
            source(
                "driven drum turning back",
                "gravity",
                "out-of-balance drum",
                "pier 2, barring gear",
                "drum parked heavy side down, chocks and pin set",
                "wait until the drum rests",
                "pin carries no load, drum does not move",
            )
        )
    if machine.tag == "SC-51":
        for row in listed[2:]:
            row["released_how"] = ""
    return [] if machine.tag == "DR-23" else listed


def _centres(chain: Chain) -> float:
    """Centres on which two sprockets need just this many pitches, to second order in their difference."""
    straight = (chain.pitches - sum(chain.teeth) / 2) * chain.pitch_mm
    apart = (chain.teeth[1] - chain.teeth[0]) * chain.pitch_mm / (2 * np.pi)
    return float(straight + np.sqrt(straight**2 - 8 * apart**2)) / 4


def _strand_row(chain: Chain, strand: str, side: str, fitted: date, removed: date | None) -> Row:
    def text(value: float | int | None) -> str:
        return "" if value is None else f"{value:g}"

    return {
        "strand": strand,
        "fitted_on": fitted.isoformat(),
        "removed_on": removed.isoformat() if removed else "",
        "machine": chain.machine,
        "set": f"{chain.machine} chain" if len(chain.sides) > 1 else "",
        "side": {"A": "left", "B": "right"}.get(side, ""),
        "chain": chain.chain,
        "construction": chain.construction,
        "pitch_mm": text(chain.pitch_mm),
        "pitches": str(chain.pitches),
        "teeth_drive": str(chain.teeth[0]),
        "teeth_tail": str(chain.teeth[1]),
        "attachment_every": str(chain.attachment_every),
        "centres_mm": f"{_centres(chain):.0f}",
        "fixed_centres": "yes" if chain.fixed else "no",
        "strand_spacing_mm": text(chain.spacing_mm) if len(chain.sides) > 1 else "",
        "speed_m_per_s": "0.5",
        "takeup_travel_mm": text(chain.travel_mm),
        "takeup_start_mm": "16" if chain.travel_mm else "",
        "pin_diameter_mm": text(chain.pin_mm),
        "bushing_bore_mm": text(chain.bore_mm),
        "bushing_outside_mm": text(chain.outside_mm),
        "bushing_length_mm": "80",
        "sidebar_height_mm": text(chain.sidebar_mm[0]) if chain.sidebar_mm else "",
        "sidebar_hole_mm": text(chain.sidebar_mm[1]) if chain.sidebar_mm else "",
        "pin_hardening": "induction" if chain.cases_mm[0] != 0 else "through",
        "bushing_hardening": "carburised" if chain.cases_mm[1] != 0 else "through",
        "pin_case_mm": text(chain.cases_mm[0]),
        "bushing_case_mm": text(chain.cases_mm[1]),
        "case_certified": "yes" if chain.certified else "no",
        "seals": chain.seals,
        "lube_plan": chain.lube_plan,
        "lube_interval_hours": text(chain.lube_hours),
        "lube_quantity_ml": text(chain.lube_ml),
        "lubricant": "chain oil, ISO VG 220" if chain.lube_hours else "",
        "lead_time_days": str(chain.lead_days),
        "chain_price": str(chain.price),
        "replacement_labour_cost": "9500",
        **chain.extra,
    }


def _meter(machine: Machine, hours: np.ndarray, rows: Rows) -> None:
    """Weekly readings, daily in the last 120 days; one meter is reset, one rolls over."""
    offset, modulus, event_day = 2150.0, None, None
    if machine.tag == "HD-73":
        event_day = date(2025, 1, 20)
    if machine.tag == "RC-41":
        offset, modulus = 400.0, 10_000.0
    zero = 0.0
    for day in range(hours.size):
        when = FIRST_DAY + timedelta(days=day)
        event = ""
        if when == event_day:
            zero, event = offset + hours[day], "new_meter"
        daily = day >= hours.size - 120
        if not (daily or when.weekday() == 0 or event):
            continue
        reading = offset + hours[day] - zero
        if modulus:
            reading %= modulus
        rows["run_hours"].append(
            (
                when,
                {
                    "machine": machine.tag,
                    "read_at": f"{when.isoformat()}T12:00",
                    "meter_hours": f"{reading:.1f}",
                    "meter_event": event,
                },
            )
        )


SHUTDOWNS = (
    ("Autumn 2023", date(2023, 10, 16), date(2023, 10, 20)),
    ("Spring 2024", date(2024, 4, 15), date(2024, 4, 24)),
    ("Autumn 2024", date(2024, 10, 14), date(2024, 10, 18)),
    ("Spring 2025", date(2025, 4, 14), date(2025, 4, 23)),
    ("Autumn 2025", date(2025, 10, 13), date(2025, 10, 17)),
    ("Spring 2026", date(2026, 4, 13), date(2026, 4, 22)),
    ("Autumn 2026", date(2026, 10, 12), date(2026, 10, 16)),
    ("Spring 2027", date(2027, 4, 12), date(2027, 4, 21)),
    ("Autumn 2027", date(2027, 10, 11), date(2027, 10, 15)),
)


def _shutdowns(rows: Rows) -> None:
    for name, first, last in SHUTDOWNS:
        rows["shutdowns"].append(
            (
                FIRST_DAY,
                {
                    "shutdown": name,
                    "machines": "all",
                    "starts_at": f"{first.isoformat()}T06:00",
                    "ends_at": f"{last.isoformat()}T18:00",
                },
            )
        )


# --- the trade's mess, and the stories of the nights ---


def _stories(rows: Rows, hours: dict[str, np.ndarray]) -> None:
    def find(
        when: date,
        finding: str,
        severity: str,
        place: str,
        remark: str,
        *,
        strand: str = "",
        machine: str = "",
        height_mm: str = "",
    ) -> None:
        rows["inspection_findings"].append(
            (
                when,
                {
                    "machine": machine,
                    "strand": strand,
                    "seen_at": when.isoformat(),
                    "finding": finding,
                    "place": place,
                    "severity": severity,
                    "remark": remark,
                    "sidebar_height_now_mm": height_mm,
                    "seen_by": "shift round",
                },
            )
        )

    for month in range(8):
        when = date(2026, 1 + month, 14)
        for machine in MACHINES:
            find(when, "nothing found", "", "", "monthly look, locked out", machine=machine.tag)
    for strand, heights in (("DR-21-A", (59.5, 59.0, 58.5, 59.5)), ("DR-21-B", (60.5, 60.0, 59.5, 60.0))):
        for mark, height in enumerate(heights, 1):
            place = f"mark {mark}"
            find(date(2026, 8, 26), "nothing found", "", place, "", strand=strand, height_mm=str(height))
    find(
        date(2026, 9, 1),
        "cracked_bushing",
        "",
        "mark 3, loaded run",
        "crack right across, hair line on the next link too",
        strand="FE-32-B",
    )
    find(
        date(2026, 9, 2),
        "side rub",
        "soon",
        "head, inside of left sidebars",
        "bright inside, tooth sides polished",
        strand="SC-51-A",
    )
    find(date(2026, 8, 27), "rust", "note", "return run", "brown after the wet week", strand="DR-22-A")
    find(date(2026, 8, 28), "looks a bit tired", "", "tail", "hard to say", strand="EL-15-B")
    find(date(2026, 9, 8), "one sidebar cracked at the hole??", "", "mark 2", "please look", strand="EL-13-A")
    # Greased though the register says dry by decision.
    rows["lube_records"].append(
        (
            date(2026, 8, 30),
            {
                "strand": "DR-21-A",
                "done_at": "2026-08-30T10:20",
                "lubricant": "grease",
                "quantity_ml": "400",
                "method": "gun",
                "done_by": "relief crew",
            },
        )
    )
    # The lapse on SL-61 ends.
    for strand in ("SL-61-A", "SL-61-B"):
        rows["lube_records"].append(
            (
                date(2026, 9, 7),
                {
                    "strand": strand,
                    "done_at": "2026-09-07T08:40",
                    "lubricant": "chain oil, ISO VG 220",
                    "quantity_ml": "62",
                    "method": "can and brush",
                    "done_by": "lubrication round",
                },
            )
        )
    _old_lapses(rows, hours["SL-63"])
    _miscount_and_correction(rows)
    _copied_survey(rows)
    _copied_from_sister(rows)
    _sprockets(rows)
    for strand, grown in (("EL-11-A", 6), ("EL-11-B", 5)):
        lengths = _lengths(rows, strand, _latest(rows, strand))
        _survey(rows, strand, date(2026, 9, 7), tuple(length + grown for length in lengths))
    _new_set(rows)
    _survey(rows, "ZZ-99-A", date(2026, 9, 1), (3050, 3051, 3050, 3052))


def _new_set(rows: Rows) -> None:
    """The new chain of the last day: two lives end, two begin, and the new ones are measured as left."""
    machine, when = NEW_SET
    nominal = 20 * 152.4
    for known, row in list(rows["strands"]):
        if row["machine"] != machine or row["removed_on"]:
            continue
        ended = replace_cells(row, removed_on=when.isoformat())
        begun = replace_cells(row, fitted_on=when.isoformat())
        rows["strands"].remove((known, row))
        rows["strands"] += [(known, row | {"until": when.isoformat()}), (when, ended), (when, begun)]
        _survey(
            rows,
            row["strand"],
            when,
            tuple(round(nominal * 1.001) + place for place in (0, 1, 0, 1)),
            "as_left",
        )
        rows["takeup_readings"].append(
            (
                when,
                {
                    "strand": row["strand"],
                    "measured_at": f"{when.isoformat()}T15:30",
                    "used_left_mm": "16",
                    "used_right_mm": "17",
                },
            )
        )


def _lengths(rows: Rows, strand: str, when: date) -> tuple[int, ...]:
    """The lengths of one survey, mark by mark."""
    return tuple(
        int(row["length_mm"])
        for known, row in rows["elongation_readings"]
        if row["strand"] == strand and known == when and not row.get("changed_at")
    )


def _survey(rows: Rows, strand: str, when: date, lengths: tuple[int, ...], occasion: str = "routine") -> None:
    for mark, length in enumerate(lengths, start=1):
        rows["elongation_readings"].append(
            (
                when,
                {
                    "strand": strand,
                    "measured_at": when.isoformat(),
                    "mark": str(mark),
                    "occasion": occasion,
                    "pitches": "20",
                    "length_mm": str(length),
                    "chain_temperature_c": "21",
                    "instrument_class": "II",
                    "start_link": "inner",
                    "method": "clean_tensioned",
                    "measured_by": "chain crew",
                },
            )
        )


def _miscount_and_correction(rows: Rows) -> None:
    """A survey of EL-13-B counted 21 pitches for 20; one mark of EL-12-A is corrected a night later."""
    latest = _latest(rows, "EL-13-B")
    for index, (when, row) in enumerate(rows["elongation_readings"]):
        if row["strand"] == "EL-13-B" and when == latest and row["mark"] == "2":
            rows["elongation_readings"][index] = (
                when,
                replace_cells(row, length_mm=f"{float(row['length_mm']) + 153:.0f}"),
            )
    latest = _latest(rows, "EL-12-A")
    for when, row in list(rows["elongation_readings"]):
        if row["strand"] == "EL-12-A" and when == latest and row["mark"] == "4":
            corrected = replace_cells(row, length_mm=f"{float(row['length_mm']) - 1:.0f}")
            corrected["changed_at"] = "2026-09-02T07:30"
            rows["elongation_readings"].append((date(2026, 9, 2), corrected))


def _copied_survey(rows: Rows) -> None:
    """The newest survey of FE-31-B holds the lengths of the one before, to the millimetre."""
    latest = _latest(rows, "FE-31-B")
    before = max(
        when for when, row in rows["elongation_readings"] if row["strand"] == "FE-31-B" and when < latest
    )
    lengths = _lengths(rows, "FE-31-B", before)
    for index, (when, row) in enumerate(rows["elongation_readings"]):
        if row["strand"] == "FE-31-B" and when == latest:
            copied = f"{lengths[int(row['mark']) - 1]:.0f}"
            rows["elongation_readings"][index] = (when, replace_cells(row, length_mm=copied))


def _copied_from_sister(rows: Rows) -> None:
    """An older survey of EL-14-B holds the lengths of EL-14-A, which wears more slowly."""
    days = sorted({when for when, row in rows["elongation_readings"] if row["strand"] == "EL-14-A"})
    before = days[-5]
    lengths = _lengths(rows, "EL-14-A", before)
    for index, (when, row) in enumerate(rows["elongation_readings"]):
        if row["strand"] == "EL-14-B" and when == before:
            copied = f"{lengths[int(row['mark']) - 1]:.0f}"
            rows["elongation_readings"][index] = (when, replace_cells(row, length_mm=copied))


def _old_lapses(rows: Rows, hours: np.ndarray) -> None:
    """SL-63 was lubricated to plan from its fitting on, but for lapses in which its joints ran dry.

    With a generator of its own, so that nothing else of the plant is drawn otherwise.
    """
    (chain,) = [chain for chain in CHAINS if chain.machine == "SL-63"]
    draw = np.random.default_rng(SEED + 1)
    fitted = chain.fitted[0]
    life = hours[(fitted - FIRST_DAY).days :] - hours[(fitted - FIRST_DAY).days]
    until, round_hours = (date(2025, 9, 1) - fitted).days, 0.0
    dry = np.zeros(life.size)
    for day in range(1, until):
        when = fitted + timedelta(days=day)
        dry[day] = dry[day - 1]
        if any(first <= when <= last for first, last in OLD_LAPSES):
            dry[day] += DRY_RATE * (life[day] - life[day - 1]) / 1000
            continue
        if life[day] - round_hours < 0.85 * (chain.lube_hours or 0.0):
            continue
        round_hours = life[day]
        for side in chain.sides:
            rows["lube_records"].append(
                (
                    when,
                    {
                        "strand": f"{chain.machine}-{side}",
                        "done_at": f"{when.isoformat()}T08:{draw.integers(0, 60):02d}",
                        "lubricant": "chain oil, ISO VG 220",
                        "quantity_ml": f"{(chain.lube_ml or 0.0) * draw.uniform(0.9, 1.1):.0f}",
                        "method": "can and brush",
                        "done_by": "lubrication round",
                    },
                )
            )
    dry[until:] = dry[until - 1]
    rows["lube_records"] = [
        (when, row)
        for when, row in rows["lube_records"]
        if when < DRY_SINCE or not row["strand"].startswith("SL-63")
    ]
    for feed, columns, per_percent in (
        ("elongation_readings", ("length_mm",), 20 * chain.pitch_mm / 100),
        ("takeup_readings", ("used_left_mm", "used_right_mm"), chain.pitches * chain.pitch_mm / 200),
    ):
        for index, (when, row) in enumerate(rows[feed]):
            if row["strand"].startswith("SL-63"):
                more = per_percent * dry[(when - fitted).days]
                cells = {name: f"{float(row[name]) + more:.0f}" for name in columns}
                rows[feed][index] = (when, replace_cells(row, **cells))


def _sprockets(rows: Rows) -> None:
    """The gauge on the teeth of three elevators: one pair past it, the rest within, one gauged long ago."""
    for machine, sprocket, shaft, side, depth, when, fitted in (
        ("EL-14", "head left", "drive", "A", 4.7, date(2026, 8, 19), "2023-09-20"),
        ("EL-14", "head right", "drive", "B", 5.1, date(2026, 8, 19), "2023-09-20"),
        ("EL-14", "boot left", "tail", "A", 1.9, date(2026, 8, 19), "2023-09-20"),
        ("EL-14", "boot right", "tail", "B", 2.3, date(2026, 8, 19), "2023-09-20"),
        ("EL-13", "head left", "drive", "A", 1.2, date(2026, 8, 20), "2026-01-12"),
        ("EL-13", "head right", "drive", "B", 1.3, date(2026, 8, 20), "2026-01-12"),
        ("EL-12", "head left", "drive", "A", 0.8, date(2023, 12, 6), "2023-10-02"),
        ("EL-12", "head right", "drive", "B", 0.9, date(2023, 12, 6), "2023-10-02"),
    ):
        rows["sprocket_checks"].append(
            (
                when,
                {
                    "machine": machine,
                    "sprocket": sprocket,
                    "checked_at": when.isoformat(),
                    "shaft": shaft,
                    "strand": f"{machine}-{side}",
                    "teeth": "12",
                    "gauge_depth_mm": f"{depth:.1f}",
                    "reversed": "no",
                    "fitted_on": fitted,
                },
            )
        )


def _latest(rows: Rows, strand: str) -> date:
    return max(
        when for when, row in rows["elongation_readings"] if row["strand"] == strand and when <= NIGHTS[0]
    )


def replace_cells(row: Row, **cells: str) -> Row:
    """The same row with other cells."""
    return {**row, **cells}


# --- writing exports ---

FEEDS = (
    "machines",
    "energy_sources",
    "strands",
    "run_hours",
    "elongation_readings",
    "takeup_readings",
    "lube_records",
    "inspection_findings",
    "sprocket_checks",
    "shutdowns",
)
WHOLE = ("machines", "energy_sources", "strands", "shutdowns")


def _write_night(folder: Path, rows: Rows, after: date, until: date) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    day = until.isoformat()
    for feed in FEEDS:
        if feed in WHOLE:
            if until != NIGHTS[0] and not (feed == "strands" and until == NEW_SET[1]):
                continue
            chosen = [row for known, row in rows[feed] if known <= until and row.get("until", "9999") > day]
            chosen = [{name: cell for name, cell in row.items() if name != "until"} for row in chosen]
        else:
            chosen = [row for known, row in rows[feed] if after < known <= until]
        if feed == "elongation_readings":
            commas = [row for row in chosen if row["strand"].startswith(("SL-62", "SL-63"))]
            inches = [row for row in chosen if row["strand"].startswith("HD-")]
            _write_commas(folder / f"tape_{day}.csv", commas)
            _write_inches(folder / f"drives_{day}.csv", inches)
            chosen = [row for row in chosen if row not in commas and row not in inches]
        if chosen:
            _write(folder / f"{feed}_{day}.csv", chosen, packed=feed == "run_hours" and until == NIGHTS[0])


READING = "EL-11-A,2026-08-20,{mark},routine,20,{length}"
HEADER = "strand,measured_at,mark,occasion,pitches,length_mm"

#: Exports that are wrong in one way each, by file name; README.md says in which.
DIRTY: dict[str, bytes] = {
    name: ("\r\n".join(lines) + "\r\n").encode(encoding)
    for name, encoding, lines in (
        (
            "elongation_readings_decimal_comma.csv",
            "utf-8",
            [HEADER, READING.format(mark=1, length='"3098,5"'), READING.format(mark=2, length="3098.0")],
        ),
        (
            "elongation_readings_inches.csv",
            "utf-8",
            [HEADER, READING.format(mark=1, length="121.98"), READING.format(mark=2, length="3098.0")],
        ),
        (
            "elongation_readings_lone_quote.csv",
            "utf-8",
            [HEADER, READING.format(mark='"1', length="3098.0"), READING.format(mark=2, length="3098.0")],
        ),
        (
            "elongation_readings_cells.csv",
            "utf-8",
            [HEADER, READING.format(mark=1, length="3098.0,extra"), READING.format(mark=2, length="3098.0")],
        ),
        (
            "elongation_readings_days.csv",
            "utf-8",
            [
                HEADER,
                READING.format(mark=1, length="3098.0").replace("2026-08-20", "03/04/2026"),
                READING.format(mark=2, length="3098.0").replace("2026-08-20", "2026-02-30"),
                READING.format(mark=3, length="3098.0"),
            ],
        ),
        (
            "elongation_readings_two_truths.csv",
            "utf-8",
            [HEADER, READING.format(mark=1, length="3098.0"), READING.format(mark=1, length="3099.0")],
        ),
        (
            "elongation_readings_encoding.csv",
            "cp1252",
            [HEADER + ",measured_by", READING.format(mark=1, length="3098.0") + ",J\u00fcrgen"],
        ),
        (
            "elongation_readings_header.csv",
            "utf-8",
            [HEADER.replace("strand", "strnad"), READING.format(mark=1, length="3098.0")],
        ),
        (
            "run_hours_clock_change.csv",
            "utf-8",
            ["machine,read_at,meter_hours", "EL-11,2026-03-29T01:30,20000", "EL-11,2025-10-26T01:30,19000"],
        ),
    )
}


def _write_dirty(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in DIRTY.items():
        (folder / name).write_bytes(content)


def _write(path: Path, rows: list[Row], *, packed: bool = False, delimiter: str = ",") -> None:
    names = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, names, restval="", delimiter=delimiter, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    content = text.getvalue().encode("utf-8")
    if packed:
        path.with_suffix(".csv.gz").write_bytes(gzip.compress(content, 9, mtime=0))
    else:
        path.write_bytes(content)


def _write_commas(path: Path, rows: list[Row]) -> None:
    """The hand-held tape's own headers, semicolons, decimal commas and day-first dates."""
    if not rows:
        return
    told = [
        {
            "Kette": row["strand"],
            "Datum": date.fromisoformat(row["measured_at"]).strftime("%d.%m.%Y"),
            "Messstelle": row["mark"],
            "Anlass": {"routine": "Regel", "as_left": "neu", "as_found": "vor Ausbau"}[row["occasion"]],
            "Teilungen": row["pitches"],
            "Laenge": f"{float(row['length_mm']) / 10:.1f}".replace(".", ","),
            "Temperatur": row["chain_temperature_c"],
        }
        for row in rows
    ]
    _write(path, told, delimiter=";")


def _write_inches(path: Path, rows: list[Row]) -> None:
    """The drives' fitters read the tape to a sixteenth of an inch, written as a decimal."""
    if not rows:
        return
    told = [
        {
            "strand": row["strand"],
            "measured_at": row["measured_at"],
            "mark": row["mark"],
            "occasion": row["occasion"],
            "pitches": row["pitches"],
            "length_in": f"{round(float(row['length_mm']) / 25.4 * 16) / 16:.4f}",
            "chain_temp_f": f"{float(row['chain_temperature_c']) * 1.8 + 32:.0f}",
        }
        for row in rows
    ]
    _write(path, told)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
