"""What inspections gauge: the least of the latest day, of the chain that runs."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
from tests.derive.plant import FITTED, Plant, after, simple_plant

from takeup.derive.state import state

TUESDAY = date(2026, 9, 1)


def told(plant: Plant, strand: str = "BE-1-A") -> dict[str, Any]:
    rows = state(plant.derived(TUESDAY), TUESDAY).to_dict("records")
    return next(row for row in rows if row["strand"] == strand)


def gauge(plant: Plant, day: date, height: float, place: str, **more: Any) -> int:
    row = {"strand": "BE-1-A", "place": place, "sidebar_height_now_mm": height}
    return plant.finding("nothing found", day, **(row | more))


def test_nothing_gauged() -> None:
    row = told(simple_plant())
    assert np.isnan(row["sidebar_now_mm"])
    assert np.isnan(row["clearance_day"])
    assert (row["sidebar_place"], row["sidebar_rows"]) == ("", [])


def test_the_least_of_the_latest_day_counts() -> None:
    plant = simple_plant()
    gauge(plant, after(1000), 60.0, "mark 1")
    rows = [gauge(plant, after(2000), *one) for one in ((71.0, "mark 1"), (69.5, "mark 2"), (70.0, "mark 3"))]
    plant.finding("thin sidebar", after(3000), strand="BE-1-A", place="mark 2")
    row = told(plant)
    assert (row["sidebar_now_mm"], row["sidebar_place"], sorted(row["sidebar_rows"])) == (
        69.5,
        "mark 2",
        rows,
    )
    assert row["sidebar_day"] == (after(2000) - date(1970, 1, 1)).days


def test_height_and_clearance_are_told_apart() -> None:
    plant = simple_plant()
    gauge(plant, after(1000), 70.0, "mark 1")
    plant.finding("nothing found", after(2000), strand="BE-1-A", place="boot", clearance_now_mm=0)
    row = told(plant)
    assert (row["sidebar_now_mm"], row["clearance_now_mm"]) == (70.0, 0.0)


def test_a_new_chain_has_not_been_gauged() -> None:
    plant = simple_plant()
    gauge(plant, after(3000), 60.0, "mark 1")
    plant.strand(fitted=after(4000))
    assert np.isnan(told(plant)["sidebar_now_mm"])


def test_on_a_fitting_day_it_was_the_old_chain_if_one_ended() -> None:
    plant = simple_plant()
    plant.strand(fitted=after(4000))
    gauge(plant, after(4000), 60.0, "mark 1")
    assert np.isnan(told(plant)["sidebar_now_mm"])


def test_a_row_about_the_whole_machine_counts_for_each_of_its_strands() -> None:
    plant = simple_plant()
    plant.strand("BE-1-B")
    plant.machine("BE-2")
    plant.strand("BE-2-A", machine="BE-2")
    plant.finding("nothing found", after(2000), machine="BE-1", place="boot", clearance_now_mm=12)
    gauge(plant, FITTED, 76.0, "mark 1")
    assert [told(plant, name)["clearance_now_mm"] for name in ("BE-1-A", "BE-1-B")] == [12.0, 12.0]
    assert np.isnan(told(plant, "BE-2-A")["clearance_now_mm"])
