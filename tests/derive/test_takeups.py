"""The take-up of a life: travel at the screw further out, pitches taken out, lag."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.derive.plant import FITTED, Plant, after, simple_plant


def told(plant: Plant) -> dict[str, Any]:
    (row,) = plant.derived().takeup.to_dict("records")
    return row


def test_the_screw_further_out() -> None:
    plant = simple_plant()
    plant.takeup(after(1200), 100, used_right_mm=104)
    row_id = plant.takeup(after(2400), 180, used_right_mm=171)
    row = told(plant)
    assert (row["used_mm"], row["used_left_mm"], row["used_right_mm"]) == (180, 180, 171)
    assert (row["row_id"], row["start_mm"]) == (row_id, 16)


def test_one_screw() -> None:
    plant = simple_plant()
    plant.takeup(after(1200), 100)
    assert told(plant)["used_mm"] == 100


def test_pitches_removed_add_up_within_the_life() -> None:
    plant = simple_plant()
    plant.takeup(FITTED, 16, pitches_removed=2)  # the register's count is as fitted
    plant.takeup(after(2000), 60, pitches_removed=2)
    plant.takeup(after(4000), 60, pitches_removed=4)
    plant.takeup(after(5000), 90)
    row = told(plant)
    assert row["pitches_removed"] == 6
    assert row["shortened_day"] == (after(4000) - FITTED).days + 20150


def test_a_new_chain_starts_whole() -> None:
    plant = simple_plant()
    plant.takeup(after(2000), 60, pitches_removed=2)
    plant.strand(fitted=after(3000))
    row = told(plant)
    assert row["pitches_removed"] == 0
    assert np.isnan(row["used_mm"])
    assert row["row_id"] == -1


def test_travel_at_fitting_from_the_reading_where_the_register_has_none() -> None:
    plant = simple_plant(takeup_start_mm=float("nan"))
    plant.takeup(FITTED, 22)
    plant.takeup(after(2000), 60)
    assert told(plant)["start_mm"] == 22


def test_the_last_lag_is_remembered_with_its_day() -> None:
    plant = simple_plant()
    row_id = plant.takeup(after(1000), 60, lag_mm=12)
    plant.takeup(after(2000), 90)
    row = told(plant)
    assert np.isnan(row["lag_mm"])
    assert (row["last_lag_mm"], row["last_lag_row_id"]) == (12, row_id)
    assert row["last_lag_day"] == pytest.approx((after(1000) - FITTED).days + 20150)
