"""Moments: a day stays a day, wall clocks move between zones by their rules, doubtful times are refused."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from tests.feeds.delivery import Site

from takeup.documents.environment import environment
from takeup.documents.sentences import sentence
from takeup.feeds import SourceDialect
from takeup.resources import templates_dir

ZONES = [
    ("Europe/Lisbon", "Europe/Lisbon"),
    ("America/Santiago", "Europe/Berlin"),
    ("Australia/Lord_Howe", "America/St_Johns"),
    ("Africa/Cairo", "Africa/Cairo"),
    ("UTC", "Asia/Kathmandu"),
]


def read_moments(tmp_path, cells, *, zone="", site_zone="Europe/Berlin", date_order="ymd", clock="24"):
    """Per cell (text, day, position) or the reason it was refused."""
    source = SourceDialect(
        "hours", "run_hours", ("*.csv",), time_zone=zone, date_order=date_order, clock=clock
    )
    site = Site(tmp_path, [source], zone=site_zone)
    lines = ["machine,read_at,meter_hours", *(f"row {n:05},{cell},1" for n, cell in enumerate(cells))]
    site.deliver({"hours.csv": "\n".join(lines)}, as_of=datetime(2098, 1, 1, tzinfo=UTC).date())
    rows = site.rows("run_hours", as_of=datetime(2099, 12, 31, tzinfo=UTC).date())
    values = {row.machine: (row.read_at, row.read_at_day, row.read_at_pos) for row in rows.itertuples()}
    reasons = {row.line: row.reason for row in site.store.kept_out()}
    return [reasons.get(n + 2) or values[f"row {n:05}"] for n, _ in enumerate(cells)]


def test_a_day_stays_a_day_at_half_past_its_number(tmp_path):
    (found,) = read_moments(tmp_path, ["2026-03-02"])
    assert found == ("2026-03-02", 20514, 20514.5)


def test_a_time_is_a_wall_clock_and_a_fraction_of_its_day(tmp_path):
    found = read_moments(tmp_path, ["2026-03-02T06:00", "2026-03-02 6:00:00", "2026-03-02T18:00:00.500"])
    assert found[0] == found[1] == ("2026-03-02T06:00:00", 20514, 20514.25)
    assert found[2][0] == "2026-03-02T18:00:00.5"
    assert found[2][2] == pytest.approx(20514.75 + 0.5 / 86400, abs=1e-9)


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("2026-02-30", "no_such_day"),
        ("2026-02-30T06:00", "no_such_day"),
        ("2026-03-02T24:00", "not_a_moment"),
        ("2026-03-02T06:60", "not_a_moment"),
        ("2026-03-02T06", "not_a_moment"),
        ("06:15", "not_a_moment"),
        ("2026-03-02T06:00 CET", "not_a_moment"),
        ("2026-03-02+01:00", "not_a_moment"),
        ("2026-03-02T06:00+25:00", "not_a_moment"),
        ("2026-03-29T02:30", "no_such_time"),
        ("2026-03-29T02:00:00", "no_such_time"),
        ("2026-10-25T02:30", "ambiguous_time"),
        ("2026-10-25T02:00", "ambiguous_time"),
    ],
)
def test_doubtful_moments_are_refused(tmp_path, cell, reason):
    assert read_moments(tmp_path, [cell]) == [reason]


def test_the_edges_of_a_turn_are_not_in_doubt(tmp_path):
    cells = [
        "2026-03-29T01:59:59",
        "2026-03-29T03:00",
        "2026-10-25T01:59:59",
        "2026-10-25T03:00",
        "2026-10-25",
    ]
    assert [found[0][:16] for found in read_moments(tmp_path, cells)] == [cell[:16] for cell in cells]


def test_an_offset_settles_the_doubled_hour_and_stays_in_the_text(tmp_path):
    cells = ["2026-10-25T02:30+02:00", "2026-10-25T02:30+01:00", "2026-10-25T00:30Z", "2026-10-25T01:30:00Z"]
    found = read_moments(tmp_path, cells)
    assert [text for text, _, _ in found] == ["2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"] * 2
    assert {position for _, _, position in found} == {20751 + 2.5 / 24}


def test_an_offset_moves_a_moment_to_the_sites_clock(tmp_path):
    cells = ["2026-03-02T23:30Z", "2026-03-02T23:30:00-0800", "2026-07-01T00:15 +09:30", "2026-03-02T06:00"]
    found = [text for text, _, _ in read_moments(tmp_path, cells)]
    assert found == [
        "2026-03-03T00:30:00",
        "2026-03-03T08:30:00",
        "2026-06-30T16:45:00",
        "2026-03-02T06:00:00",
    ]


@pytest.mark.parametrize(("zone", "site_zone"), ZONES, ids=[f"{a} to {b}" for a, b in ZONES])
def test_wall_clocks_move_between_zones_as_python_moves_them(tmp_path, zone, site_zone):
    draw = random.Random(7)
    start = datetime(1980, 1, 1)  # noqa: DTZ001 - a wall clock
    walls = [start + timedelta(minutes=draw.randrange(60 * 24 * 365 * 60)) for _ in range(1500)]
    walls += [
        turn + timedelta(minutes=minutes) for turn in turns_near(zone) for minutes in range(-150, 151, 30)
    ]
    wanted = [moved(wall, ZoneInfo(zone), ZoneInfo(site_zone)) for wall in walls]
    found = read_moments(
        tmp_path, [wall.isoformat(timespec="minutes") for wall in walls], zone=zone, site_zone=site_zone
    )
    assert [cell if isinstance(cell, str) else cell[0] for cell in found] == wanted


def moved(wall: datetime, zone: ZoneInfo, site_zone: ZoneInfo) -> str:
    """The reference: a wall clock is good when both its readings have one offset."""
    early, late = wall.replace(tzinfo=zone, fold=0), wall.replace(tzinfo=zone, fold=1)
    if early.utcoffset() != late.utcoffset():
        back = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
        return "ambiguous_time" if back == wall else "no_such_time"
    return early.astimezone(site_zone).replace(tzinfo=None).isoformat()


def turns_near(zone: str) -> list[datetime]:
    """Wall clocks near some turns of a zone."""
    from takeup.store.zones import turns

    return [
        (moment + timedelta(seconds=before)).replace(tzinfo=None)
        for moment, before, _ in turns(zone)[-60:-20]
    ]


def test_day_first_moments_read_with_their_time(tmp_path):
    found = read_moments(tmp_path, ["02.03.2026 06:15", "2/3/2026 6:15:30", "2026-03-02"], date_order="dmy")
    assert [cell if isinstance(cell, str) else cell[0] for cell in found] == [
        "2026-03-02T06:15:00",
        "2026-03-02T06:15:30",
        "not_a_moment",
    ]


def test_years_outside_the_zone_tables_are_no_moments(tmp_path):
    assert read_moments(tmp_path, ["1969-12-31T12:00Z", "1969-12-31", "2100-01-01"]) == ["not_a_moment"] * 3


def test_a_declared_twelve_hour_clock_reads_as_the_c_standard_reads_it(tmp_path):
    """%I and %p of strftime, ISO/IEC 9899:2018, 7.27.3.5: hours 01 to 12; every minute of two days."""
    start = datetime(2026, 3, 2)  # noqa: DTZ001 - a wall clock
    walls = [start + timedelta(minutes=minute) for minute in range(0, 2880, 7)]
    walls += [start, start.replace(hour=12), start.replace(hour=12, minute=59), start.replace(minute=59)]
    styles = ("%m/%d/%Y %I:%M %p", "%m/%d/%Y %I:%M:%S %p", "%m-%d-%Y %I:%M%p", "%m/%d/%Y %I:%M:%S\u202f%p")
    cells = [wall.strftime(styles[n % len(styles)]) for n, wall in enumerate(walls)]
    found = read_moments(tmp_path, cells, date_order="mdy", clock="12")
    assert [cell if isinstance(cell, str) else cell[0] for cell in found] == [
        wall.isoformat() for wall in walls
    ]
    position = (walls[5] - datetime(1970, 1, 1)) / timedelta(days=1)  # noqa: DTZ001
    assert found[5][2] == pytest.approx(position, abs=1e-9)


@pytest.mark.parametrize(
    ("cell", "wanted"),
    [
        ("2026-03-02 2:30 PM", "2026-03-02T14:30:00"),
        ("2026-03-02T02:30:15.5 a.m.", "2026-03-02T02:30:15.5"),
        ("2026-03-02", "2026-03-02"),
        ("2026-03-02 2:30 PM -0500", "2026-03-02T20:30:00"),
        ("2026-03-29 2:30 AM", "no_such_time"),
        ("2026-10-25 2:30 AM", "ambiguous_time"),
        ("2026-03-02 14:30", "not_a_moment"),
        ("2026-03-02 14:30 PM", "not_a_moment"),
        ("2026-03-02 0:30 AM", "not_a_moment"),
        ("2026-03-02 2:30", "not_a_moment"),
        ("2026-02-30 2:30 PM", "no_such_day"),
    ],
)
def test_a_clock_of_twelve_hours_wants_am_or_pm_with_every_time(tmp_path, cell, wanted):
    (found,) = read_moments(tmp_path, [cell], clock="12")
    assert (found if isinstance(found, str) else found[0]) == wanted


@pytest.mark.parametrize("cell", ["2026-03-02 2:30 PM", "2026-03-02T11:00:00 am"])
def test_a_clock_of_twelve_hours_is_never_guessed(tmp_path, cell):
    assert read_moments(tmp_path, [cell]) == ["twelve_hour_clock"]


def test_the_refusal_of_a_twelve_hour_time_says_how_to_declare_it():
    env = environment([templates_dir()])
    facts = {"column": "read_at", "found": "2026-03-02 2:30 PM", "wanted": ""}
    assert 'clock = "12"' in sentence(env, "refused", "twelve_hour_clock", facts)


def test_a_day_with_the_midnight_of_a_twelve_hour_clock_is_a_day(tmp_path):
    lives = (
        "strand,machine,fitted_on\nA,EL-1,3/2/2026 12:00:00 AM\nB,EL-1,3/2/2026\nC,EL-1,3/2/2026 12:00 PM\n"
    )
    source = SourceDialect("lives", "strands", ("*.csv",), date_order="mdy", clock="12")
    site = Site(tmp_path / "declared", [source])
    site.deliver({"lives.csv": lives})
    assert site.rows("strands")["fitted_on"].tolist() == ["2026-03-02", "2026-03-02"]
    assert site.reasons() == [("not_a_date", 4, "fitted_on")]
    site = Site(tmp_path / "not", [SourceDialect("lives", "strands", ("*.csv",), date_order="mdy")])
    site.deliver({"lives.csv": lives})
    assert [reason for reason, _, _ in site.reasons()] == ["twelve_hour_clock"] * 2
