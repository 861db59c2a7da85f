"""Looking up hours: at a moment, per day, the day they were reached, and as they were known on a day."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from tests.derive.plant import FITTED, Plant, frame

from takeup.derive.meters import MeterBook, meter_book
from takeup.derive.settings import MeasuringSettings
from takeup.errors import SettingsError
from takeup.layered import Layered, Override
from takeup.model import Feed

FIRST = 20150  # day number of FITTED
MIDDAY = FIRST + 0.5


def book(
    *readings: tuple[str, int, float], settings: Layered[MeasuringSettings] | None = None, **planned: float
) -> MeterBook:
    plant = Plant()
    for machine, days, hours in readings:
        plant.add(Feed.RUN_HOURS, machine=machine, read_at=FITTED + timedelta(days=days), meter_hours=hours)
    for machine, plan in planned.items():
        plant.machine(machine, planned_hours_per_day=plan)
    feeds = (frame(feed, plant.given[feed]) for feed in (Feed.RUN_HOURS, Feed.MACHINES))
    return meter_book(*feeds, settings or Layered(MeasuringSettings()))


TWO = (("A", 0, 100.0), ("A", 10, 300.0), ("A", 20, 400.0), ("B", 0, 7.0), ("B", 20, 207.0))


def test_between_readings_of_several_machines() -> None:
    hours, bridged = book(*TWO).hours_at(["A", "B", "A", "C", ""], MIDDAY + np.array([5.0, 5, 20, 5, 5]))
    assert hours[:3].tolist() == [200, 57, 400]
    assert bridged[:3].tolist() == [0, 0, 0]
    assert np.isnan(hours[3:]).all()


def test_after_the_last_reading_at_the_usual_pace() -> None:
    hours, bridged = book(*TWO).hours_at(["A", "B"], [MIDDAY + 30, MIDDAY + 30])
    assert hours.tolist() == [550, 307]
    assert bridged.tolist() == [150, 100]


def test_as_known_on_a_day() -> None:
    """Up to the 10th day 20 hours a day were known; later readings leave that answer alone."""
    hours, _ = book(*TWO).hours_at(["A"], [MIDDAY + 15], known_to=MIDDAY + 14)
    assert hours.tolist() == [400]
    early = book(*TWO[:2])
    assert early.hours_at(["A"], [MIDDAY + 15])[0].tolist() == [400]
    assert book(*TWO).mean_per_day(["A"], [MIDDAY + 15], 90, known_to=MIDDAY + 14).tolist() == [20]


def test_nothing_known_yet_on_that_day() -> None:
    hours, _ = book(*TWO).hours_at(["A"], [MIDDAY - 1], known_to=MIDDAY - 1)
    assert np.isnan(hours).all()


def test_mean_per_day_of_the_last_readings() -> None:
    assert book(*TWO).mean_per_day(["A", "B", "C"], [MIDDAY + 300] * 3, 10).tolist()[:2] == [10, 10]
    assert np.isnan(book(("A", 0, 1), ("A", 3, 60)).mean_per_day(["A"], [MIDDAY + 3], 90)).all()


def test_the_day_hours_were_reached() -> None:
    days = book(*TWO).day_reached(["A", "A", "A", "B"], [100, 301, 401, 107])
    assert days[[0, 1, 3]].tolist() == [FIRST, FIRST + 10, FIRST + 10]
    assert np.isnan(days[2])


def test_last_reading() -> None:
    its = book(*TWO)
    assert its.last_reading_day(["A", "B"]).tolist() == [FIRST + 20, FIRST + 20]
    assert its.last_reading_day(["A"], known_to=MIDDAY + 12).tolist() == [FIRST + 10]
    assert its.row_at(["A", "A", "C"], [MIDDAY + 12, MIDDAY - 1, MIDDAY]).tolist() == [2, -1, -1]


def test_no_meter_anywhere() -> None:
    empty = book()
    hours, bridged = empty.hours_at(["A", ""], [MIDDAY, MIDDAY])
    assert np.isnan(hours).all()
    assert np.isnan(bridged).all()
    assert np.isnan(empty.day_reached(["A"], [5.0])).all()


def test_a_machine_with_a_meter_of_its_own_range() -> None:
    """Four figures on A alone: 9990 h to 50 h is 60 h there and a drop on B."""
    rows = [
        (name, week * 7, hours) for name in "AB" for week, hours in enumerate((890.0, 990.0, 50.0, 150.0))
    ]
    day = FITTED
    short = Override("1000", "three figures", "electrician", day, day, "takeup.toml")
    its = book(*rows, settings=Layered(MeasuringSettings(), machine={"A": {"meter_moduli_hours": short}}))
    assert its.hours_at(["A"], [MIDDAY + 21])[0][0] == pytest.approx(1150)
    assert its.set_aside["subject"].tolist() == ["B"]


@pytest.mark.parametrize("text", ["ten thousand", "10000 -5", "0"])
def test_moduli_that_do_not_read(text: str) -> None:
    with pytest.raises(SettingsError, match="not a list of numbers above nought"):
        book(*TWO, settings=Layered(MeasuringSettings(meter_moduli_hours=text)))


def test_the_readings_around_a_moment() -> None:
    """Rows in the order given: A on days 0, 10, 20 (ids 1 to 3), B on days 0 and 20."""
    meters = book(*TWO)
    ids = {
        machine: meters.rows.loc[meters.rows["machine"] == machine, "row_id"].tolist()
        for machine in ("A", "B")
    }
    machines = ["A", "A", "A", "A", "B", "C"]
    moments = MIDDAY + np.array([5.0, 10, 25, -1, 5, 5])
    before, after = meters.rows_around(machines, moments)
    a, b = ids["A"], ids["B"]
    assert before.tolist() == [a[0], a[1], a[2], -1, b[0], -1]
    assert after.tolist() == [a[1], a[2], -1, a[0], b[1], -1]


def test_a_reading_that_came_later_is_not_around_a_moment() -> None:
    before, after = book(*TWO).rows_around(["A"], MIDDAY + np.array([5.0]), known_to=MIDDAY + 8)
    assert before[0] >= 0
    assert after.tolist() == [-1]


def test_no_meter_has_no_readings_around() -> None:
    before, after = book().rows_around(["A"], np.array([MIDDAY]))
    assert before.tolist() == after.tolist() == [-1]
