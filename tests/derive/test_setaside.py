"""What other rows decide of a row: each reason where it holds, and the nearest case where it must not.

A row set aside by mistake would hide an alarm, so most cases here are of readings that must stand.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from tests.derive.plant import FITTED, PACE, PITCH, Plant, after, reasons, simple_plant

from takeup.derive.reasons import Reason
from takeup.model import Feed

#: a calm life: hours and elongation over nominal
CALM = ((1200, 0.50), (2650, 0.92), (4100, 1.32), (5500, 1.66))


def calm(marks: int = 1, **more: object) -> Plant:
    """A strand with its baseline and four calm surveys."""
    plant = simple_plant(**more)
    plant.survey(FITTED, [0.10] * marks, occasion="as_left")
    for hours, e in CALM:
        plant.survey(after(hours), [e + 0.01 * mark for mark in range(marks)])
    return plant


def note(plant: Plant, place: int = -1) -> str:
    return str(plant.derived().surveys["note"].iloc[place])


class TestWholePitchMiscount:
    @pytest.mark.parametrize("more", [1, -1], ids=["one more than written", "one less than written"])
    def test_latest_reading_off_by_one_pitch(self, more: int) -> None:
        plant = calm()
        right = 2.0
        (row,) = plant.survey(after(6500), 100 * ((1 + right / 100) * (20 + more) / 20 - 1))
        kept = plant.derived().set_aside
        assert [(one.row_id, one.reason) for one in kept] == [(row, "whole_pitch_miscount")]
        assert kept[0].found.startswith("20 pitches")
        assert kept[0].wanted == f"{20 + more} pitches would make 2.000 %"

    def test_between_two_good_surveys(self) -> None:
        plant = calm()
        (row,) = plant.survey(after(4800), 100 * (1.0148 * 21 / 20 - 1))
        assert reasons(plant.derived()) == {row: "whole_pitch_miscount"}

    def test_on_the_fitting_day_it_never_becomes_the_zero(self) -> None:
        plant = simple_plant()
        (row,) = plant.survey(FITTED, 5.1, occasion="as_left")
        plant.survey(after(1200), 0.6)
        derived = plant.derived()
        assert reasons(derived) == {row: "whole_pitch_miscount"}
        assert derived.surveys["baseline"].tolist() == ["nominal", "nominal"]

    def test_first_survey_against_its_other_marks(self) -> None:
        plant = simple_plant()
        rows = plant.survey(after(1200), [0.50, 0.52, 5.52, 0.49])
        assert reasons(plant.derived()) == {rows[2]: "whole_pitch_miscount"}

    def test_short_count_without_any_neighbour(self) -> None:
        """Shorter than new by a whole pitch: no chain is."""
        plant = simple_plant()
        (row,) = plant.survey(after(1200), 100 * (1.005 * 19 / 20 - 1))
        assert reasons(plant.derived()) == {row: "whole_pitch_miscount"}

    @pytest.mark.parametrize("e", [3.2, 4.4, 5.5, 8.2], ids=lambda e: f"{e} %")
    def test_a_single_jump_without_the_signature_stands(self, e: float) -> None:
        plant = calm()
        plant.survey(after(6500), e)
        derived = plant.derived()
        assert reasons(derived) == {}
        assert derived.surveys["e_geo_max"].iloc[-1] == pytest.approx(e, abs=0.002)
        assert bool(derived.surveys["usable"].iloc[-1])

    def test_a_high_first_survey_with_no_neighbour_stands(self) -> None:
        plant = simple_plant()
        plant.survey(after(1200), 6.6)
        assert reasons(plant.derived()) == {}

    def test_a_jump_that_the_next_survey_confirms_stands(self) -> None:
        plant = calm()
        plant.survey(after(6500), 7.1)
        plant.survey(after(6600), 7.13)
        assert reasons(plant.derived()) == {}

    def test_a_jump_that_a_repeat_confirms_stands(self) -> None:
        plant = calm()
        plant.survey(after(6500), 7.1)
        plant.survey(after(6500), 7.12, occasion="repeat")
        assert reasons(plant.derived()) == {}

    def test_a_copy_confirms_nothing(self) -> None:
        plant = calm(marks=2)
        first = plant.survey(after(6500), [7.1, 7.11])
        second = plant.survey(after(6900), [7.1, 7.11])
        found = reasons(plant.derived())
        assert {found[row] for row in first} == {"whole_pitch_miscount"}
        assert {found[row] for row in second} == {"copied_survey"}

    def test_long_spans_grow_by_a_pitch_in_earnest(self) -> None:
        """On 100 pitches one pitch is one per cent: the mark's own trend says that it grew."""
        plant = simple_plant()
        for hours, e in ((0, 0.1), (1000, 1.1), (2000, 2.1), (3000, 3.1), (4000, 4.12)):
            plant.survey(after(hours), e, n=100, occasion="as_left" if hours == 0 else "routine")
        assert reasons(plant.derived()) == {}

    #: a seal is lost at 2400 h: from then on the chain grows by nearly a pitch of its long span a survey
    FAST = ((0, 0.1), (600, 0.8), (1200, 1.4), (1800, 2.0), (2400, 2.6))

    @pytest.mark.parametrize(
        "then",
        [
            ((3000, 4.2), (3600, 5.9)),
            ((3000, 4.8), (3600, 7.0), (4200, 9.2)),
            ((3000, 5.15), (3600, 7.7)),
            ((3000, 5.15), (3600, 7.7), (4200, 10.2)),
        ],
        ids=["slower than a pitch", "nearly a pitch", "by a pitch, twice", "by a pitch, thrice"],
    )
    def test_fast_wear_on_long_spans_is_no_miscount(self, then: Sequence[tuple[float, float]]) -> None:
        plant = simple_plant()
        for hours, e in (*self.FAST, *then):
            plant.survey(
                after(hours), [e, 1.03 * e, 0.98 * e, e], n=40, occasion="routine" if hours else "as_left"
            )
        assert reasons(plant.derived()) == {}

    def test_a_mark_that_jumps_as_the_others_do_stands(self) -> None:
        """Of four marks that grew by 2.3 to 2.5 points only one bears the signature."""
        plant = simple_plant()
        for hours, e in self.FAST:
            plant.survey(after(hours), [e] * 4, n=40, occasion="routine" if hours else "as_left")
        plant.survey(after(3000), [4.9, 4.9, 4.9, 5.2], n=40)
        assert reasons(plant.derived()) == {}

    def test_a_miscount_after_fast_wear_is_told(self) -> None:
        plant = simple_plant()
        for hours, e in (*self.FAST, (3000, 4.2)):
            plant.survey(after(hours), [e] * 4, n=40, occasion="routine" if hours else "as_left")
        rows = plant.survey(after(3100), [100 * (1.044 * 41 / 40 - 1), 4.4, 4.4, 4.4], n=40)
        assert reasons(plant.derived()) == {rows[0]: "whole_pitch_miscount"}

    def test_pins_counted_for_pitches(self) -> None:
        """21 written, 20 measured: odd, and low by 100/n."""
        plant = calm()
        (row,) = plant.survey(after(6500), 100 * (1.02 * 20 / 21 - 1), n=21)
        assert reasons(plant.derived()) == {row: "pins_counted"}


class TestImpossibleLength:
    def test_length_in_another_unit(self) -> None:
        plant = calm()
        (row,) = plant.survey(after(6500), 2.0, length_mm=122.4)
        kept = plant.derived().set_aside
        assert [(one.row_id, one.reason) for one in kept] == [(row, "impossible_length")]
        assert kept[0].wanted == "between -5 % and 15 %"

    def test_a_chain_worn_out_stands(self) -> None:
        plant = simple_plant()
        plant.survey(after(1200), 14.9)
        assert reasons(plant.derived()) == {}


class TestNegativeWear:
    def test_a_fall_beyond_the_uncertainty(self) -> None:
        plant = calm()
        (row,) = plant.survey(after(6500), 1.50)
        derived = plant.derived()
        assert reasons(derived) == {row: "negative_wear"}
        assert derived.surveys["note"].iloc[-1] == "negative_wear"
        assert not derived.surveys["usable"].iloc[-1]

    def test_a_fall_within_the_uncertainty_stands_with_a_note(self) -> None:
        plant = calm()
        plant.survey(after(6500), 1.57)  # 2 sqrt 2 u is 0.112 points
        derived = plant.derived()
        assert reasons(derived) == {}
        assert derived.surveys["note"].iloc[-1] == "dropped_a_little"
        assert bool(derived.surveys["usable"].iloc[-1])

    def test_a_fall_that_the_next_survey_confirms_stands(self) -> None:
        plant = calm()
        plant.survey(after(6500), 1.40)
        plant.survey(after(7500), 1.52)
        derived = plant.derived()
        assert reasons(derived) == {}
        assert derived.surveys["note"].tolist()[-2:] == ["dropped", ""]

    def test_a_fall_that_the_next_survey_contradicts(self) -> None:
        plant = calm()
        (row,) = plant.survey(after(6500), 1.30)
        plant.survey(after(7500), 2.2)
        assert reasons(plant.derived()) == {row: "negative_wear"}

    def test_a_small_fall_after_a_bad_reading_stands_and_confirms_nothing(self) -> None:
        plant = calm()
        (row,) = plant.survey(after(6500), 1.30)
        plant.survey(after(7500), 1.57)
        derived = plant.derived()
        assert reasons(derived) == {row: "negative_wear"}
        assert bool(derived.surveys["usable"].iloc[-1])

    def test_shorter_than_new(self) -> None:
        plant = simple_plant()
        (row,) = plant.survey(after(1200), -0.9)
        assert reasons(plant.derived()) == {row: "negative_wear"}

    def test_most_marks_fell_and_a_high_one_is_not_hidden(self) -> None:
        plant = calm(marks=4)
        rows = plant.survey(after(6500), [1.3, 1.3, 1.3, 3.4])
        derived = plant.derived()
        assert reasons(derived) == dict.fromkeys(rows[:3], "negative_wear")
        assert derived.surveys["e_geo_max"].iloc[-1] == pytest.approx(3.4, abs=0.002)

    def test_a_new_mark_that_stands_higher_is_not_hidden(self) -> None:
        """All marks known before fell; one painted since is longer than any was."""
        plant = calm(marks=2)
        low = plant.survey(after(6500), [1.3, 1.3])
        (high,) = plant.survey(after(6500), 3.4, mark="new")
        derived = plant.derived()
        assert reasons(derived) == dict.fromkeys(low, "negative_wear")
        assert derived.surveys["row_ids"].iloc[-1] == [high]


class TestMarkFell:
    def test_one_mark_of_four(self) -> None:
        plant = calm(marks=4)
        rows = plant.survey(after(6500), [1.99, 2.0, 0.2, 2.02])
        derived = plant.derived()
        assert reasons(derived) == {rows[2]: "mark_fell"}
        assert derived.surveys["n_marks"].iloc[-1] == 3
        assert derived.surveys["note"].iloc[-1] == "marks_left_out"
        assert rows[2] not in derived.surveys["row_ids"].iloc[-1]

    def test_a_mark_that_falls_by_less_than_three_u_stands(self) -> None:
        """3 U is 0.238 points; of many marks some fall by two sigma now and then."""
        plant = calm(marks=4)
        plant.survey(after(6500), [1.99, 2.0, 1.48, 2.02])
        derived = plant.derived()
        assert reasons(derived) == {}
        assert derived.surveys["n_marks"].iloc[-1] == 4

    def test_after_two_surveys_the_mark_is_out_for_good(self) -> None:
        plant = calm(marks=4)
        rows = [
            plant.survey(after(hours), [e, e + 0.01, low, e + 0.03])[2]
            for hours, e, low in ((6500, 2.0, 0.2), (7500, 2.3, 0.5), (8500, 2.6, 2.7))
        ]
        assert reasons(plant.derived()) == dict.fromkeys(rows, "mark_fell")

    def test_a_mark_read_badly_once_comes_back(self) -> None:
        plant = calm(marks=4)
        (_, _, low, _) = plant.survey(after(6500), [2.0, 2.01, 1.2, 2.03])
        plant.survey(after(7500), [2.3, 2.31, 2.32, 2.33])
        assert reasons(plant.derived()) == {low: "mark_fell"}


class TestFallsToNew:
    def test_back_to_new_without_a_new_life(self) -> None:
        plant = calm(marks=2)
        plant.takeup(after(5500), 300)
        first = plant.survey(after(6500), [0.12, 0.10])
        plant.takeup(after(6500), 20)
        second = plant.survey(after(7500), [0.45, 0.44])
        third = plant.survey(after(8500), [0.75, 0.76])
        assert reasons(plant.derived()) == dict.fromkeys(first + second + third, "falls_to_new")

    def test_back_on_the_old_line_it_was_a_bad_reading(self) -> None:
        """After that a fall is judged afresh, and one that is no new chain is negative wear."""
        plant = calm()
        (first,) = plant.survey(after(6500), 0.12)
        plant.survey(after(7500), 2.3)
        (second,) = plant.survey(after(8500), 1.9)
        assert reasons(plant.derived()) == {first: "falls_to_new", second: "negative_wear"}

    def test_the_take_up_contradicts(self) -> None:
        plant = calm()
        (row,) = plant.survey(after(6500), 0.12)
        plant.takeup(after(6500), 310)
        assert reasons(plant.derived()) == {row: "negative_wear"}

    def test_with_marks_painted_anew(self) -> None:
        plant = calm(marks=2)
        rows = [*plant.survey(after(6500), 0.1, mark="head"), *plant.survey(after(6500), 0.12, mark="tail")]
        assert reasons(plant.derived()) == dict.fromkeys(rows, "falls_to_new")

    def test_marks_painted_anew_on_the_same_chain_stand(self) -> None:
        plant = calm(marks=2)
        plant.survey(after(6500), 1.9, mark="head")
        plant.survey(after(6500), 1.92, mark="tail")
        assert reasons(plant.derived()) == {}

    def test_a_registered_change_of_chain_stands(self) -> None:
        plant = calm()
        plant.strand(fitted=after(6400))
        plant.survey(after(6400), 0.12, occasion="as_left")
        plant.survey(after(7400), 0.4)
        derived = plant.derived()
        assert reasons(derived) == {}
        assert derived.lives["is_open"].tolist() == [False, True]


class TestCopiedSurvey:
    def test_all_marks_equal_to_the_millimetre(self) -> None:
        plant = calm(marks=3)
        rows = plant.survey(after(6500), [1.66, 1.67, 1.68])
        derived = plant.derived()
        assert reasons(derived) == dict.fromkeys(rows, "copied_survey")
        assert derived.surveys["note"].iloc[-1] == "copied_survey"

    def test_one_mark_another_millimetre(self) -> None:
        plant = calm(marks=3)
        plant.survey(after(6500), [1.66, 1.67, 1.72])
        assert reasons(plant.derived()) == {}

    def test_a_single_mark_may_repeat(self) -> None:
        plant = calm()
        plant.survey(after(6500), 1.66)
        assert reasons(plant.derived()) == {}

    def test_measured_again_before_the_chain_ran(self) -> None:
        plant = calm(marks=3)
        plant.survey(after(5500) + timedelta(days=1), [1.66, 1.67, 1.68])
        assert reasons(plant.derived()) == {}

    def test_fewer_marks_than_before_are_no_copy(self) -> None:
        plant = calm(marks=3)
        plant.survey(after(6500), [1.66, 1.67])
        assert reasons(plant.derived()) == {}


class TestCopiedFromASister:
    """Two strands of a set that wore apart, measured on one day at four marks."""

    COPY = (1.61, 1.64, 1.67, 1.70)

    @staticmethod
    def pair(
        b: Sequence[float], *, before: float = 1.2, sets: str = "BE-1", marks: int = 4, **more: Any
    ) -> tuple[Plant, list[int]]:
        """Strand A goes from 1.5 to 1.66 %, strand B from ``before`` to ``b``."""
        plant = Plant()
        plant.machine()
        plant.meter()
        for name, its_set, e in (("BE-1-A", "BE-1", 1.5), ("BE-1-B", sets, before)):
            plant.strand(name, set=its_set)
            plant.survey(after(0), [0.10, 0.11, 0.12, 0.13], name, occasion="as_left")
            plant.survey(after(4500), [e, e + 0.03, e + 0.05, e + 0.08], name)
        rows = plant.survey(after(5500), TestCopiedFromASister.COPY[:marks], "BE-1-A")
        return plant, rows + plant.survey(after(5500), b, "BE-1-B", **more)

    def test_neither_is_used_since_nobody_can_tell_which_is_the_copy(self) -> None:
        plant, rows = self.pair(self.COPY)
        derived = plant.derived()
        assert reasons(derived) == dict.fromkeys(rows, "copied_survey")
        found = {one.row_id: one.found for one in derived.set_aside}
        assert found[rows[0]].endswith("mm, as on BE-1-B that day")
        assert found[rows[-1]].endswith("mm, as on BE-1-A that day")

    @pytest.mark.parametrize(
        ("b", "more"),
        [
            pytest.param([1.61, 1.64, 1.67, 1.75], {}, id="one-mark-another-millimetre"),
            pytest.param([1.61, 1.64, 1.67], {}, id="fewer-marks"),
            pytest.param([1.61, 1.64, 1.67, 1.70], {"sets": "BE-2"}, id="strands-of-two-sets"),
            pytest.param([1.61, 1.64, 1.67, 1.70], {"occasion": "as_found"}, id="another-occasion"),
        ],
    )
    def test_what_is_no_copy_stands(self, b: list[float], more: dict[str, Any]) -> None:
        plant, _ = self.pair(b, **more)
        assert reasons(plant.derived()) == {}

    def test_two_chains_just_fitted_or_worn_alike_may_be_equal(self) -> None:
        """Alike as left in every test of this class; here also 1000 h before."""
        plant, _ = self.pair(self.COPY, before=1.45)
        assert reasons(plant.derived()) == {}

    def test_three_marks_are_too_few_between_sisters(self) -> None:
        plant, _ = self.pair(self.COPY[:3], marks=3)
        assert reasons(plant.derived()) == {}

    def test_a_repeat_that_says_the_same_confirms_a_survey(self) -> None:
        plant, _ = self.pair(self.COPY)
        for name in "AB":
            plant.survey(after(5500), self.COPY, f"BE-1-{name}", occasion="repeat")
        assert reasons(plant.derived()) == {}

    def test_chance_makes_four_marks_equal_about_once_in_65_surveys(self) -> None:
        """Handbook values, derived with s = 0.8 mm: a third a mark, and 1 in 65 at the most for four."""
        draw = np.random.default_rng(8)
        true = draw.uniform(3000, 3100, (400_000, 4, 1))
        one, other = np.moveaxis(np.rint(true + draw.normal(0, 0.8, (400_000, 4, 2))), 2, 0)
        assert (one == other).mean() == pytest.approx(1 / 3, abs=0.005)  # a third, to two figures
        assert 65 < 1 / (one == other).all(axis=1).mean() < 100


class TestSwappedStrands:
    @staticmethod
    def pair(a: float, b: float, hours_at: float = 7000) -> tuple[Plant, int, int]:
        """Strand A at 2.00 % and B at 1.30 % after 6000 h, then one survey more."""
        plant = Plant()
        plant.machine()
        plant.meter()
        for name in "AB":
            plant.strand(f"BE-1-{name}", set="BE-1")
        for hours, first, second in ((0, 0.1, 0.1), (2000, 0.8, 0.5), (4000, 1.4, 0.9), (6000, 2.0, 1.3)):
            word = "as_left" if hours == 0 else "routine"
            plant.survey(after(hours), first, "BE-1-A", occasion=word)
            plant.survey(after(hours), second, "BE-1-B", occasion=word)
        day = after(hours_at)
        return plant, *plant.survey(day, a, "BE-1-A"), *plant.survey(day, b, "BE-1-B")

    def test_both_jump_crosswise(self) -> None:
        plant, a, b = self.pair(1.45, 2.25)
        assert reasons(plant.derived()) == {a: "swapped_strands", b: "swapped_strands"}

    #: after 9000 h strand A should stand at 2.95 %, strand B at 1.90 %
    @pytest.mark.parametrize(
        ("a", "b", "swapped"),
        [(1.94, 2.97, True), (2.07, 3.02, True), (2.95, 3.4, False), (2.47, 2.95, False), (2.5, 2.2, False)],
        ids=["level", "no fall", "B overtook", "at half the duty", "slower"],
    )
    def test_after_a_long_time_neither_falls(self, a: float, b: float, swapped: bool) -> None:
        plant, one, other = self.pair(a, b, 9000)
        assert reasons(plant.derived()) == (dict.fromkeys((one, other), "swapped_strands") if swapped else {})

    def test_it_stays_set_aside_when_the_next_survey_is_right(self) -> None:
        plant, one, other = self.pair(2.07, 3.02, 9000)
        plant.survey(after(10_000), 3.3, "BE-1-A")
        plant.survey(after(10_000), 2.15, "BE-1-B")
        assert reasons(plant.derived()) == dict.fromkeys((one, other), "swapped_strands")

    def test_only_one_falls(self) -> None:
        plant, a, _ = self.pair(1.45, 1.45)
        assert reasons(plant.derived()) == {a: "negative_wear"}

    def test_both_rise(self) -> None:
        plant, _, _ = self.pair(2.3, 1.9)
        assert reasons(plant.derived()) == {}

    def test_strands_of_different_sets(self) -> None:
        plant, a, _ = self.pair(1.45, 2.25)
        for row in plant.given[Feed.STRANDS]:
            row["set"] = row["strand"]
        assert reasons(plant.derived()) == {a: "negative_wear"}

    def test_two_surveys_crosswise_stand(self) -> None:
        plant, _, _ = self.pair(1.45, 2.25)
        plant.survey(after(8000), 1.65, "BE-1-A")
        plant.survey(after(8000), 2.5, "BE-1-B")
        assert reasons(plant.derived()) == {}


class TestOutsideLives:
    def test_before_the_fitting(self) -> None:
        plant = calm()
        (tape,) = plant.survey(FITTED - timedelta(days=1), 1.4)
        screw, oil = plant.takeup(FITTED - timedelta(days=9), 300), plant.lube(FITTED - timedelta(days=9), 40)
        assert reasons(plant.derived()) == dict.fromkeys((tape, screw, oil), "before_fitting")

    def test_after_the_removal(self) -> None:
        plant = simple_plant(removed_on=after(5600))
        plant.survey(after(5600), 1.7)
        (row,) = plant.survey(after(5620), 1.7)
        assert reasons(plant.derived()) == {row: "after_removal"}

    def test_on_the_day_of_the_change(self) -> None:
        plant = simple_plant(removed_on=after(5600))
        plant.strand(fitted=after(5600))
        plant.survey(after(5600), 2.6, occasion="as_found")
        plant.survey(after(5600), 0.1, occasion="as_left")
        derived = plant.derived()
        assert reasons(derived) == {}
        assert derived.surveys["life_id"].tolist() == [f"BE-1-A|{FITTED}", f"BE-1-A|{after(5600)}"]

    def test_a_routine_reading_on_the_day_of_the_change_is_of_the_old_chain(self) -> None:
        plant = simple_plant(removed_on=after(5600))
        plant.strand(fitted=after(5600))
        plant.survey(after(5600), 2.6)
        assert plant.derived().surveys["life_id"].tolist() == [f"BE-1-A|{FITTED}"]


class TestMeters:
    @staticmethod
    def read(*hours: float, **more: object) -> tuple[Plant, list[int]]:
        plant = Plant()
        plant.machine()
        plant.strand()
        rows = [
            plant.add(
                Feed.RUN_HOURS, machine="BE-1", read_at=FITTED + timedelta(days=7 * week), meter_hours=value,
                **(more if week == len(hours) - 1 else {}),
            )
            for week, value in enumerate(hours)
        ]  # fmt: skip
        return plant, rows

    def test_faster_than_the_clock(self) -> None:
        plant, rows = self.read(1000, 1140, 1480, 1420)
        kept = plant.derived().set_aside
        assert [(one.row_id, one.reason, one.subject) for one in kept] == [
            (rows[2], "hours_too_fast", "BE-1")
        ]
        assert kept[0].wanted == "at most 1309 h, 1140 h and 24 h a day since"

    def test_as_fast_as_the_clock(self) -> None:
        plant, _ = self.read(1000, 1168, 1336)
        assert reasons(plant.derived()) == {}

    def test_a_drop_without_a_record(self) -> None:
        plant, rows = self.read(1000, 1140, 20, 160)
        derived = plant.derived()
        assert reasons(derived) == {rows[2]: "meter_dropped"}
        hours, bridged = derived.meters.hours_at(["BE-1"], [derived.lives["fitted_day"][0] + 21.5])
        assert hours[0] - 1000 == pytest.approx(140 * 3)
        assert bridged[0] == pytest.approx(140)

    def test_a_single_low_reading(self) -> None:
        plant, rows = self.read(1000, 1140, 128, 1420)
        assert reasons(plant.derived()) == {rows[2]: "meter_dropped"}

    def test_a_recorded_reset(self) -> None:
        plant, _ = self.read(1000, 1140, 20, meter_event="reset")
        assert reasons(plant.derived()) == {}

    def test_a_roll_over(self) -> None:
        plant, _ = self.read(9821, 9961, 101)
        assert reasons(plant.derived()) == {}

    @staticmethod
    def stuck(e: float) -> tuple[Plant, list[int]]:
        """The meter stands at 2400 h from the 120th day on; surveys on days 118 and 160."""
        plant = Plant()
        plant.machine()
        plant.strand()
        rows = [
            plant.add(
                Feed.RUN_HOURS, machine="BE-1", read_at=FITTED + timedelta(days=gone),
                meter_hours=min(PACE * gone, 2400),
            )
            for gone in range(0, 200, 8)
        ]  # fmt: skip
        plant.survey(FITTED, 0.1, occasion="as_left")
        plant.survey(FITTED + timedelta(days=118), 1.0)
        plant.survey(FITTED + timedelta(days=160), e)
        return plant, rows

    def test_a_meter_that_stands_while_the_chain_wears(self) -> None:
        plant, rows = self.stuck(1.4)
        derived = plant.derived(date(2025, 12, 1))
        assert reasons(derived) == {rows[20]: "meter_stuck"}
        assert derived.surveys["usable_for_rate"].tolist() == [True, True, False]
        assert bool(derived.surveys["usable"].iloc[-1])

    def test_a_machine_that_stands(self) -> None:
        plant, _ = self.stuck(1.05)
        assert reasons(plant.derived(date(2025, 12, 1))) == {}


def test_every_reason_of_this_room_is_driven_here() -> None:
    """A reason without a case above would be a promise nobody checks."""
    text = __import__("pathlib").Path(__file__).read_text(encoding="utf-8")
    assert [reason for reason in Reason if f'"{reason}"' not in text] == []


def test_the_row_is_shown_with_file_line_and_cells() -> None:
    plant = calm()
    (row,) = plant.survey(after(6500), 1.2, measured_by="night shift")
    (kept,) = plant.derived().set_aside
    assert (kept.state, kept.feed, kept.subject) == ("set aside", "elongation_readings", "BE-1-A")
    assert (kept.file, kept.line, kept.row_id) == ("made.csv", row, row)
    assert f"length_mm {round(20 * PITCH * 1.012, 1)}" in kept.raw
    assert "measured_by night shift" in kept.raw
