"""Asked every few minutes, every civil day is due exactly once, whatever the clocks do."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from takeup.schedule import due_day

#: With an hour, half an hour or a day skipped or repeated, at midnight too, and with odd offsets.
ZONES = (
    "Europe/Berlin",
    "Europe/Lisbon",
    "America/New_York",
    "America/St_Johns",
    "America/Sao_Paulo",
    "America/Havana",
    "Africa/Casablanca",
    "Asia/Beirut",
    "Asia/Kathmandu",
    "Asia/Tehran",
    "Australia/Sydney",
    "Australia/Lord_Howe",
    "Antarctica/Troll",
    "Pacific/Apia",
    "Pacific/Chatham",
    "Pacific/Kiritimati",
    "Etc/UTC",
)
ASKED_EVERY = timedelta(minutes=5)


def told(zone: ZoneInfo, begin: datetime, days: int, tell_at: time) -> list[tuple[datetime, date]]:
    """What a schedule tells that is asked every five minutes: the instant, and the day told."""
    found: list[tuple[datetime, date]] = []
    last = None
    now = begin
    while now < begin + timedelta(days=days):
        day = due_day(now, zone, tell_at, last)
        if day is not None:
            found.append((now, day))
            last = day
        now += ASKED_EVERY
    return found


def may_be_told(local: datetime, tell_at: time, day: date) -> bool:
    """Whether the day is over and its telling time has come, by the wall clock."""
    return (local.date() > day and local.time() >= tell_at) or local.date() > day + timedelta(days=1)


moments = st.integers(0, 48 * 365 * 24 * 60).map(
    lambda minutes: datetime(1990, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)


@given(st.sampled_from(ZONES), moments, st.times())
@example("Europe/Berlin", datetime(2026, 3, 27, 12, tzinfo=UTC), time(2, 30))  # an hour that is not
@example("Europe/Berlin", datetime(2026, 10, 23, 12, tzinfo=UTC), time(2, 30))  # an hour that is twice
@example("America/New_York", datetime(2026, 3, 6, 12, tzinfo=UTC), time(2, 30))
@example("America/New_York", datetime(2026, 10, 30, 12, tzinfo=UTC), time(1, 30))
@example("Australia/Sydney", datetime(2026, 4, 3, 12, tzinfo=UTC), time(2, 30))
@example("Australia/Sydney", datetime(2026, 10, 2, 12, tzinfo=UTC), time(2, 30))
@example("America/Sao_Paulo", datetime(2018, 11, 2, 12, tzinfo=UTC), time(0, 0))  # a midnight that is not
@example("Asia/Beirut", datetime(2026, 10, 23, 12, tzinfo=UTC), time(0, 0))  # a midnight that is twice
@example("Pacific/Apia", datetime(2011, 12, 28, 12, tzinfo=UTC), time(2, 30))  # a day that is not
def test_every_civil_day_is_told_once_in_its_order_and_as_soon_as_it_may(name, begin, tell_at):
    zone = ZoneInfo(name)
    nights = told(zone, begin, 5, tell_at)
    days = [day for _, day in nights]
    assert len(days) >= 5
    assert days == [days[0] + timedelta(days=number) for number in range(len(days))]
    assert all(may_be_told(now.astimezone(zone), tell_at, day) for now, day in nights)
    for now, day in nights[1:]:
        asked_before = (now - ASKED_EVERY).astimezone(zone)
        assert not may_be_told(asked_before, tell_at, day), "it was told late"


@pytest.mark.parametrize(
    ("now", "last", "due"),
    [
        (
            "2026-09-02 02:29",
            None,
            date(2026, 8, 31),
        ),  # yesterday's telling time has not come
        ("2026-09-02 02:30", None, date(2026, 9, 1)),
        ("2026-09-02 02:29", date(2026, 8, 31), None),
        ("2026-09-02 02:30", date(2026, 8, 31), date(2026, 9, 1)),
        ("2026-09-02 23:59", date(2026, 9, 1), None),
        ("2026-09-09 12:00", date(2026, 9, 1), date(2026, 9, 8)),  # missed days are one night
        ("2026-09-02 12:00", date(2026, 9, 5), None),  # told by hand beyond it
    ],
)
def test_the_last_complete_day_is_due_once_its_telling_time_has_come(now, last, due):
    zone = ZoneInfo("Europe/Lisbon")
    instant = datetime.fromisoformat(now).replace(tzinfo=zone)
    assert due_day(instant, zone, time(2, 30), last) == due
    assert due_day(instant.astimezone(UTC), zone, time(2, 30), last) == due
