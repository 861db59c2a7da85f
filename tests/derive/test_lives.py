"""Lives from the register: which chain was on a strand on a day, and its hours."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from tests.derive.plant import FITTED, PACE, Plant, after, reasons, simple_plant

from takeup.model import Feed

DAY = timedelta(days=1)


def test_a_strand_fitted_twice_ends_the_first_life() -> None:
    plant = simple_plant()
    plant.strand(fitted=after(4000))
    lives = plant.derived().lives
    assert lives["is_open"].tolist() == [False, True]
    assert lives["removed_day"].iloc[0] == lives["fitted_day"].iloc[1]


def test_a_removal_planned_for_later_has_not_happened() -> None:
    plant = simple_plant(removed_on=date(2026, 12, 24))
    assert plant.derived(date(2026, 9, 1)).lives["is_open"].tolist() == [True]
    assert plant.derived(date(2026, 12, 24)).lives["is_open"].tolist() == [False]


def test_a_fitting_planned_for_later_is_no_life() -> None:
    plant = simple_plant()
    plant.strand(fitted=date(2026, 12, 24))
    assert plant.derived(date(2026, 9, 1)).lives["is_open"].tolist() == [True]


def test_a_strand_alone_is_its_own_set() -> None:
    plant = simple_plant()
    plant.strand("BE-1-B", set="pair")
    assert plant.derived().lives["set"].tolist() == ["BE-1-A", "pair"]


def test_hours_count_from_midday_of_the_fitting() -> None:
    plant = simple_plant(fitted=FITTED + 70 * DAY)
    plant.survey(FITTED + 80 * DAY, 0.5)
    derived = plant.derived()
    assert derived.lives["hours_at_fitting"].tolist() == [5000 + 70 * PACE]
    assert derived.surveys["hours"].tolist() == [10 * PACE]
    assert derived.lives["hours_bridged"].tolist() == [False]


def test_a_reading_before_midday_of_the_fitting_stands_at_nought() -> None:
    plant = simple_plant()
    plant.survey(FITTED, 0.1, occasion="as_left", measured_at=f"{FITTED}T06:00:00")
    assert plant.derived().surveys["hours"].tolist() == [0]


def test_a_chain_older_than_its_meter_has_reckoned_hours() -> None:
    """100 days before the first reading, at the mean of the first 90 days."""
    plant = simple_plant(fitted=FITTED - 100 * DAY)
    plant.survey(FITTED + 10 * DAY, 0.5)
    derived = plant.derived()
    assert derived.surveys["hours"].iloc[0] == pytest.approx(110 * PACE)
    assert derived.surveys["bridged_hours"].iloc[0] == pytest.approx(100 * PACE)
    assert derived.lives["hours_bridged"].tolist() == [True]


def test_the_plan_stands_in_where_a_meter_was_read_once() -> None:
    plant = Plant()
    plant.machine(planned_hours_per_day=16)
    plant.strand()
    plant.add(Feed.RUN_HOURS, machine="BE-1", read_at=FITTED, meter_hours=4000)
    plant.survey(FITTED + 30 * DAY, 0.5)
    derived = plant.derived()
    assert derived.surveys["hours"].tolist() == [480]
    assert derived.surveys["bridged_hours"].tolist() == [480]


def test_without_meter_and_plan_hours_are_not_known() -> None:
    plant = Plant()
    plant.strand()
    plant.survey(FITTED + 30 * DAY, 0.5)
    assert np.isnan(plant.derived().surveys["hours"].iloc[0])


def test_strands_of_other_names_are_kept_apart() -> None:
    """Names that sort next to each other, with the same fitting day."""
    plant = simple_plant()
    plant.strand("BE-1-A ")
    plant.strand("BE-1-AA", fitted=FITTED - 400 * DAY)
    for name, e in (("BE-1-A", 0.5), ("BE-1-A ", 0.7), ("BE-1-AA", 0.9)):
        plant.survey(after(1200), e, name)
    surveys = plant.derived().surveys
    assert surveys["strand"].tolist() == ["BE-1-A", "BE-1-A ", "BE-1-AA"]
    assert surveys["e_geo_mean"].tolist() == pytest.approx([0.5, 0.7, 0.9], abs=0.002)


def test_a_removal_before_its_fitting_leaves_no_reading_lost() -> None:
    """A register that contradicts itself: readings are listed as outside, never dropped."""
    plant = simple_plant(removed_on=FITTED - 10 * DAY)
    rows = plant.survey(after(1200), [0.5, 0.5])
    assert reasons(plant.derived()) == dict.fromkeys(rows, "after_removal")


def test_an_empty_register_has_no_lives() -> None:
    plant = Plant()
    plant.machine()
    derived = plant.derived()
    assert len(derived.lives) == 0
    assert len(derived.lube) == len(derived.takeup) == 0
