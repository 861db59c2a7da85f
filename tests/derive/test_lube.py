"""Which lube record counts: sums within an interval, blanks, and chain that is dry by decision."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from tests.derive.plant import FITTED, PACE, Plant, after, simple_plant

BLANK = float("nan")


def told(
    *records: tuple[float, float], plan: float = 48.0, interval: float = 100.0, **strand: Any
) -> dict[str, Any]:
    """The open life's row after records of (life hours, quantity)."""
    plant = simple_plant(
        lube_plan="open_conveyor", lube_quantity_ml=plan, lube_interval_hours=interval, **strand
    )
    for hours, quantity in records:
        plant.lube(after(hours), quantity)
    (row,) = plant.derived(date(2026, 1, 1)).lube.to_dict("records")
    return row


def test_the_last_whole_one_counts() -> None:
    row = told((200, 50), (300, 40))
    assert (row["last_hours"], row["quantity_sum_ml"], row["n_records"]) == (300, 40, 2)


@pytest.mark.parametrize(
    ("records", "counts_at", "with_ml"),
    [
        (((200, 50), (300, 20)), 200, 50),  # less than half the plan
        (((200, 50), (300, 0)), 200, 50),  # nought
        (((200, 50), (300, 24)), 300, 24),  # half the plan to the drop
        (((200, 50), (260, 14), (300, 14)), 300, 28),  # two within one interval make half
        (((200, 50), (240, 14), (360, 14)), 200, 50),  # too far apart
        (((200, 50), (260, 14), (300, 14), (340, 14)), 300, 28),  # what counted once is not summed again
        (((200, 14),), np.nan, np.nan),
        ((), np.nan, np.nan),
    ],
)
def test_quantities(records: tuple[tuple[float, float], ...], counts_at: float, with_ml: float) -> None:
    row = told(*records)
    assert [row["last_hours"], row["quantity_sum_ml"]] == pytest.approx([counts_at, with_ml], nan_ok=True)


def test_a_blank_quantity_counts_with_little_confidence() -> None:
    row = told((200, 50), (300, BLANK), (400, BLANK))
    assert (row["last_hours"], row["blank_quantity_run"]) == (400, 2)
    assert np.isnan(row["quantity_sum_ml"])
    assert told((300, BLANK), (400, 50))["blank_quantity_run"] == 0


def test_without_a_plan_any_quantity_but_nought_counts() -> None:
    assert told((200, 1), plan=BLANK)["last_hours"] == 200
    assert np.isnan(told((200, 0), plan=BLANK)["last_hours"])


def test_small_ones_are_summed_within_the_interval_of_the_plan_where_the_register_states_none() -> None:
    """Open conveyor chain: 100 h."""
    row = told((200, 50), (260, 14), (340, 14), interval=BLANK)
    assert (row["last_hours"], row["quantity_sum_ml"]) == (340, 28)


def test_what_the_last_round_got() -> None:
    row = told((200, 50), (260, 14), (300, BLANK), (340, 60))
    assert (row["given_ml"], row["given_some_blank"], len(row["given_rows"])) == (74, True, 3)
    assert row["done_hours"] == [200, 300, 340]
    row = told((200, 50), (280, 55))  # on time, a little early
    assert (row["given_ml"], len(row["given_rows"])) == (55, 1)
    row = told((200, 50), (340, BLANK))
    assert np.isnan(row["given_ml"])
    assert told()["given_rows"] == []


def test_a_dry_chain_is_never_lubricated_and_the_record_is_shown() -> None:
    plant = simple_plant(lube_plan="none_by_decision")
    first, last = plant.lube(after(200), 50), plant.lube(after(300), BLANK, lubricant="grease", method="gun")
    (row,) = plant.derived().lube.to_dict("records")
    assert (row["dry_records"], row["last_row_id"]) == ([first, last], last)
    assert row["done_hours"] == []
    assert (row["last_lubricant"], row["last_method"], row["last_by"]) == ("grease", "gun", "")


def test_records_of_the_chain_before_do_not_count() -> None:
    plant = simple_plant()
    plant.lube(after(200), 50)
    plant.strand(fitted=after(400))
    (row,) = plant.derived().lube.to_dict("records")
    assert (row["n_records"], row["last_row_id"]) == (0, -1)


def test_a_record_of_the_fitting_day_is_the_new_chains() -> None:
    plant = simple_plant()
    row_id = plant.lube(FITTED, 50)
    (row,) = plant.derived().lube.to_dict("records")
    assert (row["last_row_id"], row["last_hours"]) == (row_id, 0)


def test_without_a_meter_the_day_is_known() -> None:
    plant = Plant()
    plant.strand()
    plant.lube(FITTED + timedelta(days=5), 10)
    (row,) = plant.derived().lube.to_dict("records")
    assert row["last_day"] == 20155
    assert np.isnan(row["last_hours"])
    assert PACE > 0
