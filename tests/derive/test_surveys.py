"""Readings become surveys: grouping, repeats, zeros, means and what may be used for what."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from tests.derive.plant import FITTED, PITCH, Plant, after, reasons, simple_plant

from takeup.model import Feed

#: lengths are written to 0.1 mm in 3048: 0.0016 % at most, on a reading and on its zero
E = 0.0035


class TestGrouping:
    def test_one_survey_a_strand_day_and_occasion(self) -> None:
        plant = simple_plant()
        plant.survey(after(1200), [0.5, 0.6], occasion="as_found")
        plant.survey(after(1200), [0.5, 0.6], occasion="as_left")
        plant.survey(after(2400), [0.9, 1.0])
        surveys = plant.derived().surveys
        assert surveys["occasion"].tolist() == ["as_found", "as_left", "routine"]
        assert surveys["n_marks"].tolist() == [2, 2, 2]
        assert surveys["survey_id"].iloc[2] == f"BE-1-A|{after(2400)}|routine"

    def test_marks_measured_through_a_day_are_one_survey(self) -> None:
        plant = simple_plant()
        day = after(1200)
        plant.survey(day, 0.5, mark="1", measured_at=f"{day}T08:00:00")
        plant.survey(day, 0.6, mark="2", measured_at=f"{day}T10:30:00")
        surveys = plant.derived().surveys
        assert surveys["n_marks"].tolist() == [2]
        assert surveys["pos"].iloc[0] % 1 == pytest.approx(8 / 24)

    def test_mean_greatest_and_spread(self) -> None:
        plant = simple_plant()
        plant.survey(after(1200), [0.50, 0.90, 0.70, 0.50])
        survey = plant.derived().surveys.iloc[0]
        assert survey["e_geo_mean"] == pytest.approx(0.65, abs=E)
        assert survey["e_geo_max"] == pytest.approx(0.90, abs=E)
        assert survey["spread"] == pytest.approx(0.25, abs=E)
        assert survey["max_mark"] == "2"

    def test_more_marks_never_make_a_survey_surer(self) -> None:
        one, four = simple_plant(), simple_plant()
        one.survey(after(1200), 0.5)
        four.survey(after(1200), [0.5, 0.5, 0.5, 0.5])
        surer, unsure = (plant.derived().surveys["u_wear"].iloc[0] for plant in (one, four))
        assert surer == unsure

    def test_the_least_certain_mark_gives_the_uncertainty(self) -> None:
        plant = simple_plant()
        plant.survey(after(1200), 0.5, mark="1")
        plant.survey(after(1200), 0.5, mark="2", method="slack")
        assert plant.derived().surveys["u_geo"].iloc[0] == pytest.approx(0.061, abs=E)


class TestRepeats:
    def test_a_repeat_takes_the_place_and_both_rows_are_kept(self) -> None:
        plant = simple_plant()
        first = plant.survey(after(1200), [0.5, 0.9])
        (again,) = plant.survey(after(1200), 0.6, mark="2", occasion="repeat")
        survey = plant.derived().surveys.iloc[0]
        assert (survey["n_marks"], survey["occasion"]) == (2, "routine")
        assert survey["e_geo_max"] == pytest.approx(0.6, abs=E)
        assert survey["row_ids"] == [first[0], again, first[1]]

    def test_a_repeat_of_as_found_stays_as_found(self) -> None:
        plant = simple_plant()
        plant.survey(after(1200), 0.5, occasion="as_found")
        plant.survey(after(1200), 0.9, occasion="as_left")
        plant.survey(after(1200), 0.6, occasion="repeat")
        surveys = plant.derived().surveys
        assert surveys["occasion"].tolist() == ["as_found", "as_left"]
        assert surveys["e_geo_mean"].tolist() == pytest.approx([0.6, 0.9], abs=E)

    def test_a_repeat_alone_is_a_survey(self) -> None:
        plant = simple_plant()
        plant.survey(after(1200), 0.5, occasion="repeat")
        assert plant.derived().surveys["occasion"].tolist() == ["routine"]

    def test_a_later_reading_of_the_day_counts(self) -> None:
        plant = simple_plant()
        day = after(1200)
        plant.survey(day, 0.9, measured_at=f"{day}T14:00:00")
        plant.survey(day, 0.5, measured_at=f"{day}T08:00:00")
        assert plant.derived().surveys["e_geo_mean"].tolist() == pytest.approx([0.9], abs=E)


class TestZero:
    def test_mark_for_mark(self) -> None:
        plant = simple_plant()
        plant.survey(FITTED, [0.10, 0.20], occasion="as_left")
        plant.survey(after(1200), [0.50, 0.60])
        survey = plant.derived().surveys.iloc[-1]
        assert survey["e_wear_mean"] == pytest.approx(0.40, abs=E)
        assert survey["spread"] == pytest.approx(0.0, abs=E)

    def test_a_mark_not_measured_at_the_fitting_takes_the_mean(self) -> None:
        plant = simple_plant()
        plant.survey(FITTED, [0.10, 0.20], occasion="as_left")
        plant.survey(after(1200), 0.55, mark="7")
        assert plant.derived().surveys["e_wear_mean"].iloc[-1] == pytest.approx(0.40, abs=E)

    def test_scaled_where_the_count_differs(self) -> None:
        plant = simple_plant()
        plant.survey(FITTED, 0.10, n=10, occasion="as_left")
        plant.survey(after(1200), 0.50, n=20)
        survey = plant.derived().surveys.iloc[-1]
        assert survey["e_wear_mean"] == pytest.approx(0.40, abs=0.005)
        assert survey["u_wear"] > 0.08  # the zero's doubt doubles with the span

    def test_an_early_survey_stands_in(self) -> None:
        plant = simple_plant()
        plant.survey(FITTED, 0.1)
        plant.survey(after(1200), 0.5)
        assert plant.derived().surveys["baseline"].tolist() == ["early", "early"]

    def test_as_found_of_a_chain_that_no_register_names(self) -> None:
        plant = simple_plant()
        plant.survey(FITTED, 2.6, occasion="as_found")
        plant.survey(FITTED, 0.1, occasion="as_left")
        derived = plant.derived()
        assert derived.surveys["baseline"].tolist() == ["as_left"]
        assert derived.surveys["zero_shift"].tolist() == pytest.approx([0.1], abs=E)
        assert list(reasons(derived).values()) == ["before_fitting"]

    def test_a_routine_reading_before_as_left_is_of_the_old_chain(self) -> None:
        plant = simple_plant()
        plant.survey(FITTED, 2.6)
        plant.survey(FITTED, 0.1, occasion="as_left")
        derived = plant.derived()
        assert derived.surveys["baseline"].tolist() == ["as_left"]
        assert list(reasons(derived).values()) == ["before_fitting"]

    def test_a_first_survey_after_eight_hours_is_no_zero(self) -> None:
        plant = simple_plant()
        plant.survey(FITTED + timedelta(days=1), 0.2)
        survey = plant.derived().surveys.iloc[0]
        assert survey["baseline"] == "nominal"
        assert survey["e_wear_mean"] == pytest.approx(0.2 - 0.125, abs=E)

    def test_as_left_on_another_day_is_no_zero(self) -> None:
        plant = simple_plant()
        plant.survey(after(1200), 0.5, occasion="as_left")
        assert plant.derived().surveys["baseline"].tolist() == ["nominal"]

    @pytest.mark.parametrize(
        ("construction", "tolerance"), [("roller_drive", 0.15), ("cast_h_mill", 0.625), ("welded_mill", 0.25)]
    )
    def test_default_tolerance_by_construction(self, construction: str, tolerance: float) -> None:
        plant = simple_plant(construction=construction)
        plant.survey(after(1200), 0.5)
        assert plant.derived().surveys["zero_shift"].tolist() == [tolerance / 2]

    def test_a_life_without_hours_has_no_early_zero(self) -> None:
        plant = Plant()
        plant.strand()
        plant.survey(FITTED, 0.1)
        assert plant.derived().surveys["baseline"].tolist() == ["nominal"]


class TestUse:
    def test_without_a_pitch_nothing_is_judged_and_nothing_lost(self) -> None:
        plant = simple_plant(pitch_mm=float("nan"))
        plant.survey(after(1200), [0.5, 0.6])
        survey = plant.derived().surveys.iloc[0]
        assert (survey["note"], survey["usable"], survey["n_marks"]) == ("no_pitch", False, 2)
        assert np.isnan(survey["e_wear_mean"])

    def test_per_cent_speaks_without_a_pitch(self) -> None:
        plant = simple_plant(pitch_mm=float("nan"))
        plant.survey(after(1200), 0.5, elongation_percent=1.3)
        survey = plant.derived().surveys.iloc[0]
        assert (survey["note"], bool(survey["usable"])) == ("percent_only", True)
        assert survey["e_geo_mean"] == pytest.approx(1.3)

    def test_without_a_meter_there_is_no_rate(self) -> None:
        plant = Plant()
        plant.strand()
        plant.survey(after(1200), 0.5)
        survey = plant.derived().surveys.iloc[0]
        assert np.isnan(survey["hours"])
        assert (bool(survey["usable"]), bool(survey["usable_for_rate"])) == (True, False)

    def test_no_readings_at_all(self) -> None:
        derived = simple_plant().derived()
        assert len(derived.surveys) == 0
        assert len(derived.lives) == 1
        assert derived.counters["surveys_derived"] == 0


class TestUnregistered:
    @staticmethod
    def plant() -> Plant:
        plant = Plant(registered=False)
        plant.meter("drag 7", days=200)
        for hours, e in ((0, 0.9), (1200, 1.3), (2400, 1.7)):
            plant.survey(after(hours), e, "drag 7")
        return plant

    def test_strands_come_from_the_readings(self) -> None:
        derived = self.plant().derived(date(2025, 9, 1), pitch_mm=PITCH)
        (life,) = derived.lives.to_dict("records")
        assert (life["strand"], life["machine"], life["registered"]) == ("drag 7", "drag 7", False)
        assert life["fitted_on"] == str(FITTED)
        assert derived.surveys["e_geo_mean"].tolist() == pytest.approx([0.9, 1.3, 1.7], abs=E)
        assert derived.surveys["hours"].tolist() == [0, 1200, 2400]

    def test_the_first_reading_is_no_zero(self) -> None:
        derived = self.plant().derived(date(2025, 9, 1), pitch_mm=PITCH)
        assert set(derived.surveys["baseline"]) == {"nominal"}

    def test_a_worn_chain_is_no_miscount(self) -> None:
        plant = Plant(registered=False)
        plant.survey(FITTED, 5.3, "drag 7")
        assert reasons(plant.derived(pitch_mm=PITCH)) == {}

    def test_without_a_pitch_the_note_says_so(self) -> None:
        derived = self.plant().derived(date(2025, 9, 1))
        assert set(derived.surveys["note"]) == {"no_pitch"}
        assert derived.surveys["usable"].tolist() == [False] * 3


def test_settings_of_a_strand_go_before_those_of_the_site() -> None:
    from takeup.derive.derivation import derive
    from takeup.derive.lubesettings import Lubrication
    from takeup.derive.settings import MeasuringSettings
    from takeup.layered import Layered, Override

    plant = simple_plant()
    plant.strand("BE-1-B")
    for strand in ("BE-1-A", "BE-1-B"):
        plant.survey(after(1200), 0.5, strand)
    day = date(2026, 1, 1)
    rough = Override(3.0, "greasy joints", "steward", day, day, "takeup.toml")
    settings = Layered(MeasuringSettings(), strand={"BE-1-B": {"u_pull_mm": rough}})
    surveys = derive(
        plant,
        night=None,
        as_of=date(2026, 9, 1),
        previous_as_of=None,
        settings=settings,
        lubrication=Layered(Lubrication()),
    ).surveys
    u = dict(zip(surveys["strand"], surveys["u_geo"], strict=True))
    assert u["BE-1-B"] > 2 * u["BE-1-A"]


def test_rows_dated_after_the_day_told_of_wait() -> None:
    plant = simple_plant()
    plant.survey(after(1200), 0.5)
    plant.survey(after(2400), 0.9)
    assert len(plant.derived(after(2400) - timedelta(days=1)).surveys) == 1
    assert Feed.ELONGATION_READINGS in plant.given
