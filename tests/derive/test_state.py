"""The facts frame: one row an open life, with what judgement reads."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from tests.derive.plant import FITTED, PACE, Plant, after, simple_plant
from tests.judgement import plant as judgement_plant

from takeup.contracts import contract
from takeup.derive.state import state
from takeup.model import Feed

TUESDAY = date(2026, 9, 1)
MONDAY = 20696


def told(plant: Plant, as_of: date = TUESDAY) -> dict[str, Any]:
    (row,) = state(plant.derived(as_of), as_of).to_dict("records")
    return row


def measured() -> Plant:
    plant = simple_plant()
    plant.survey(FITTED, [0.1, 0.1], occasion="as_left")
    for hours, e in ((1200, 0.5), (2400, 0.9), (3600, 1.3)):
        plant.survey(after(hours), [e, e + 0.02])
    return plant


def test_every_column_of_the_register_and_of_judgements_own_cases() -> None:
    """Judgement's tests are written against these columns; none may be missing here."""
    row = told(measured())
    register = {field.name for field in contract(Feed.STRANDS).fields} - {"changed_at", "withdrawn"}
    assert register <= row.keys()
    assert judgement_plant.strand().keys() - {"changed_at", "withdrawn"} <= row.keys()


def test_only_open_lives() -> None:
    plant = measured()
    plant.strand(fitted=after(4000))
    row = told(plant)
    assert row["life_id"] == f"BE-1-A|{after(4000)}"
    assert np.isnan(row["e_wear_mean"])
    assert (row["n_surveys"], row["new_limits_reason"], row["survey_rows"]) == (0, "never_measured", [])


class TestReckoningDay:
    def test_the_monday_before(self) -> None:
        row = told(measured())
        assert row["reckon_day"] == MONDAY
        assert row["hours_now"] - row["hours_reckoned"] == pytest.approx(PACE)

    def test_a_survey_since(self) -> None:
        plant = measured()
        plant.survey(TUESDAY, [3.0, 3.02])
        assert told(plant)["reckon_day"] == MONDAY + 1

    def test_a_reading_after_it_changes_nothing_reckoned(self) -> None:
        plant = measured()
        plant.given[Feed.RUN_HOURS] = [
            row for row in plant.given[Feed.RUN_HOURS] if row["read_at"] < TUESDAY - timedelta(days=3)
        ]
        before = told(plant)
        plant.add(Feed.RUN_HOURS, machine="BE-1", read_at=TUESDAY, meter_hours=5000 + PACE * 547 + 15)
        row = told(plant)
        for name in ("reckon_day", "hours_reckoned", "h_middle", "h_early", "hours_per_day_short"):
            assert row[name] == before[name], name
        assert row["hours_now"] != before["hours_now"]
        assert row["meter_day"] == MONDAY + 1

    def test_every_day_of_a_week(self) -> None:
        plant = measured()
        days = [told(plant, TUESDAY + timedelta(days=gone))["reckon_day"] for gone in range(-1, 7)]
        assert days == [MONDAY] * 7 + [MONDAY + 7]


class TestHours:
    def test_utilisation(self) -> None:
        plant = simple_plant()
        plant.given[Feed.RUN_HOURS] = []
        plant.meter(days=364)
        plant.meter(first=FITTED + timedelta(days=371), days=175, start=5000 + 364 * PACE + 70)
        row = told(plant)
        assert row["hours_per_day_short"] == row["hours_per_day_usual"] == PACE
        assert row["hours_per_day_long"] < PACE
        assert (row["h_middle"], row["h_early"]) == (PACE, PACE)

    def test_the_plan_where_the_meter_is_silent(self) -> None:
        plant = Plant()
        plant.machine(planned_hours_per_day=18)
        plant.strand()
        row = told(plant)
        assert (row["h_middle"], row["h_early"]) == (18, 18)
        assert np.isnan(row["hours_per_day_usual"])
        assert np.isnan(row["hours_now"])
        assert row["meter_row"] == -1

    def test_the_plan_may_be_the_most(self) -> None:
        plant = measured()
        plant.given[Feed.MACHINES][0]["planned_hours_per_day"] = 23
        row = told(plant)
        assert (row["h_middle"], row["h_early"]) == (PACE, 23)


class TestSurvey:
    def test_the_latest_that_may_be_used(self) -> None:
        plant = measured()
        last = plant.survey(after(4800), [1.7, 1.72])
        low = plant.survey(after(6000), [1.0, 1.0])
        row = told(plant)
        assert row["survey_rows"] == last
        assert row["survey_hours"] == 4800
        assert row["last_any_day"] == (after(6000) - date(1970, 1, 1)).days
        assert (row["set_aside_count"], row["set_aside_latest_day"]) == (len(low), row["last_any_day"])
        assert row["new_limits_reason"] == "negative_wear"

    def test_calm(self) -> None:
        row = told(measured())
        assert (row["new_limits_reason"], row["set_aside_count"], row["n_surveys"]) == ("", 0, 4)
        assert row["zero_shift"] == pytest.approx(row["e_geo_mean"] - row["e_wear_mean"], abs=2e-6)

    def test_rows_set_aside_of_a_life_before_do_not_count(self) -> None:
        plant = measured()
        plant.survey(after(4200), [0.5, 0.5])
        plant.strand(fitted=after(5000))
        assert told(plant)["set_aside_count"] == 0


class TestTakeup:
    def test_a_reading(self) -> None:
        """M 240, P 152.4: e = 200 x (300 - 16)/36576 = 1.5529 %."""
        plant = measured()
        plant.takeup(after(3600), 300)
        row = told(plant)
        assert row["takeup_hours"] == pytest.approx(3600, abs=24), "the meter at midday of that day"
        assert row["e_takeup"] == pytest.approx(1.5529, abs=0.0001)
        assert (row["takeup_rem_mm"], row["takeup_estimated"], row["pitches_now"]) == (180, False, 240)

    def test_shortened(self) -> None:
        """Two pitches out: (145.2 - 16 + 152.4) x 200/(238 x 152.4) = 1.5527 %."""
        plant = measured()
        plant.takeup(after(3600), 145.2, pitches_removed=2)
        row = told(plant)
        assert row["e_takeup"] == pytest.approx(1.5527, abs=0.0001)
        assert (row["pitches_now"], row["pitches_removed"]) == (238, 2)

    def test_estimated_where_it_was_never_read(self) -> None:
        """16 + 36576 x e/200, and no elongation is made of an estimate."""
        row = told(measured())
        assert row["takeup_estimated"]
        assert row["takeup_used_mm"] == pytest.approx(16 + 36576 * row["e_wear_mean"] / 200, abs=0.001)
        assert np.isnan(row["e_takeup"])

    def test_nothing_to_estimate_by(self) -> None:
        row = told(simple_plant())
        assert not row["takeup_estimated"]
        assert np.isnan(row["takeup_used_mm"])


def test_a_dry_chain_that_was_greased() -> None:
    plant = simple_plant(lube_plan="none_by_decision")
    assert not told(plant)["dry_greased"]
    row_id = plant.lube(after(1200), 40)
    row = told(plant)
    assert row["dry_greased"]
    assert (row["lube_row"], row["lube_last_hours"]) == (row_id, 1200)


def test_machine_facts() -> None:
    plant = simple_plant()
    plant.given[Feed.MACHINES][0] |= {"wet": "yes", "stop_cost_per_hour": 2400}
    row = told(plant)
    assert (row["machine_name"], row["kind"], row["wet"]) == ("elevator", "bucket_elevator", "yes")
    assert (row["stop_cost_per_hour"], row["machine_row"]) == (2400, 1)


def test_a_machine_no_register_names() -> None:
    plant = Plant()
    plant.strand()
    row = told(plant)
    assert (row["machine_name"], row["kind"], row["machine_row"]) == ("", "", -1)


def test_no_open_life_at_all() -> None:
    frame = state(Plant().derived(TUESDAY), TUESDAY)
    assert len(frame) == 0
    assert "e_wear_mean" in frame.columns
