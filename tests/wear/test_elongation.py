"""Elongation and its uncertainty against examples worked by hand, every printed digit."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.wear import elongation as el

STEEL = 11.5e-6
PITCH = 152.4
CLASS_II = {"a_mm": 0.3, "b_mm_per_m": 0.2}
CLASS_I = {"a_mm": 0.1, "b_mm_per_m": 0.1}
FIELD = CLASS_II | {
    "step_mm": 1,
    "u_repeat_mm": 0.8,
    "u_pull_mm": 0.5,
    "u_temperature_k": 2,
    "alpha_per_k": STEEL,
}
RECKONED = {"u_known_k": 2, "same_up_to_c": 60, "hot_tape_c": 40, "u_hot_k": 12, "u_unknown_k": 10}


def test_pin_and_bushing_wear_make_the_elongation() -> None:
    """Worked by hand: pin 31.75 to 30.55, bore 32.15 to 33.05 on one side, pitch 152.4: 2.10 mm, 1.378 %."""
    pin, bushing = el.wear_depth([31.75], [30.55], [False]), el.wear_depth([32.15], [33.05], [False])
    wear = el.joint_elongation(pin, bushing, PITCH)
    assert np.round(wear, 3).tolist() == [1.378]
    assert np.round(el.joint_wear(wear, PITCH), 2).tolist() == [2.10]


def test_a_part_that_turned_has_worn_half_as_deep() -> None:
    assert el.wear_depth([31.75], [30.55], [True]) * 2 == el.wear_depth([31.75], [30.55], [False])


def test_the_two_elongations_of_one_reading() -> None:
    """Worked by hand: 20 pitches of 152.4, fitted at 3051.2, now 3098.5, all at 25 degC."""
    length = el.length_at_20c([3098.5], [25.0], [25.0], STEEL, STEEL)
    assert length.tolist() == [3098.5]
    wear, fit = (
        el.wear_elongation(length, [3051.2], [20], PITCH),
        el.geometric_elongation(length, [20], PITCH),
    )
    assert np.round(wear, 3).tolist() == [1.552]
    assert np.round(fit, 3).tolist() == [1.657]
    assert np.round(fit - wear, 3).tolist() == [0.105]


def test_the_uncertainty_budget_part_by_part() -> None:
    """Worked by hand: tape 0.635, two ends 0.408, 0.8, 0.5, temperature 0.070; together 1.210 mm."""
    nothing = dict.fromkeys(FIELD, 0)

    def alone(**parts: float) -> float:
        return round(float(el.length_uncertainty([3048.0], **(nothing | parts))[0]), 3)

    assert alone(**CLASS_II) == 0.635
    assert alone(step_mm=1) == 0.408
    assert alone(u_temperature_k=2, alpha_per_k=STEEL) == 0.070
    assert round(float(el.length_uncertainty([3048.0], **FIELD)[0]), 3) == 1.210


def test_uncertainty_with_the_zero_as_fitted() -> None:
    """Worked by hand: u(e_wear) 0.056 %, U 0.112 %; u(e_geo) 0.040 %, U 0.079 %; in a rate 0.056 %."""
    u = el.length_uncertainty([3048.0], **FIELD)
    wear, fit = el.wear_uncertainty(u, u, [20], PITCH), el.geometric_uncertainty(u, [20], PITCH)
    assert (np.round(wear, 3), np.round(2 * wear, 3)) == (0.056, 0.112)
    assert (np.round(fit, 3), np.round(2 * fit, 3)) == (0.040, 0.079)
    assert np.round(el.rate_uncertainty(u, [20], PITCH), 3) == 0.056


def test_uncertainty_with_the_nominal_zero() -> None:
    """Worked by hand: tolerance 0.625 % wide: bias 0.3125, parts 0.0397 and 0.1804, u 0.185, U 0.369 %."""
    u, u_zero = el.length_uncertainty([3048.0], **FIELD), el.nominal_zero_uncertainty([20], PITCH, 0.625)
    zero = el.nominal_zero([20], PITCH, 0.625)
    bias = el.geometric_elongation([3098.5], [20], PITCH) - el.wear_elongation([3098.5], zero, [20], PITCH)
    assert np.round(bias, 4) == 0.3125
    assert np.round(el.geometric_uncertainty(u, [20], PITCH), 4) == 0.0397
    assert np.round(el.geometric_uncertainty(u_zero, [20], PITCH), 4) == 0.1804
    both = el.wear_uncertainty(u, u_zero, [20], PITCH)
    assert (np.round(both, 3), np.round(2 * both, 3)) == (0.185, 0.369)


@pytest.mark.parametrize(
    ("pitches", "printed"),
    [(4, "0.50"), (6, "0.33"), (10, "0.21"), (16, "0.134"), (20, "0.112"), (30, "0.079"), (40, "0.066")],
)
def test_a_longer_span_is_a_surer_span(pitches: int, printed: str) -> None:
    """Worked by hand for pitch 152.4, as fitted and now with the same tape."""
    u = el.length_uncertainty([pitches * PITCH], **FIELD)
    wide = 2 * float(el.wear_uncertainty(u, u, [pitches], PITCH)[0])
    assert f"{wide:.{len(printed) - 2}f}" == printed


def test_a_hot_chain_under_a_cool_tape() -> None:
    """Worked by hand: 210 degC under 35, read 3110.0: 3103.74, e_geo 1.829 not 2.034, e_wear 1.724."""
    length = el.length_at_20c([3110.0], [210.0], [35.0], STEEL, STEEL)
    assert np.round(length, 2).tolist() == [3103.74]
    assert np.round(length - 3110.0, 2).tolist() == [-6.26]
    assert np.round(el.geometric_elongation(length, [20], PITCH), 3).tolist() == [1.829]
    assert np.round(el.geometric_elongation([3110.0], [20], PITCH), 3).tolist() == [2.034]
    assert np.round(el.wear_elongation(length, [3051.2], [20], PITCH), 3).tolist() == [1.724]


@pytest.mark.parametrize(
    ("chain", "tape", "reckoned"),
    [
        pytest.param(210.0, 35.0, (210.0, 35.0, 2.0), id="both known"),
        pytest.param(60.0, np.nan, (60.0, 60.0, 2.0), id="tape lies on a warm chain"),
        pytest.param(60.1, np.nan, (60.1, 40.0, 12.0), id="tape over a hot chain"),
        pytest.param(np.nan, np.nan, (20.0, 20.0, 10.0), id="nothing known"),
        pytest.param(np.nan, 35.0, (20.0, 20.0, 10.0), id="chain not known"),
    ],
)
def test_temperatures_not_written_down(
    chain: float, tape: float, reckoned: tuple[float, float, float]
) -> None:
    told = el.reckoned_temperatures([chain], [tape], **RECKONED)
    assert tuple(float(value[0]) for value in told) == reckoned


def test_a_span_miscounted_by_one() -> None:
    """Worked by hand: true 1.550 %, 20 written; 21 (3250.0) read 6.627 %, 19 (2940.5) read -3.527 %."""
    read = el.geometric_elongation([3250.0, 2940.5], [20, 20], PITCH)
    assert np.round(read, 3).tolist() == [6.627, -3.527]
    assert np.round(el.with_count(read, [20, 20], [21, 19]), 2).tolist() == [1.55, 1.55]
    assert el.miscount(read, [20, 20], 1.55, 0.056).tolist() == [1, -1]


@given(
    true=st.floats(0, 5),
    expected_off=st.floats(-0.1, 0.1),
    pitches=st.integers(2, 60),
    wrong_by=st.sampled_from([-1, 0, 1]),
)
def test_a_miscount_is_told_whatever_the_span(
    true: float, expected_off: float, pitches: int, wrong_by: int
) -> None:
    read = el.with_count([true], [pitches + wrong_by], [pitches])  # as many were measured, so many written
    found = el.miscount(read, [pitches], [true + expected_off], [0.03])
    assert found.tolist() == [wrong_by]


@pytest.mark.parametrize("off", [-3.0, 3.0])
def test_a_reading_too_unsure_to_tell_a_miscount_from_itself_is_left_as_written(off: float) -> None:
    """With U 2 points a reading 3 points off fits the count as written and the next one, 5 points away."""
    assert el.miscount([1.5 + off], [20], [1.5], [1.0]).tolist() == [0]
    assert abs(el.miscount([1.5 + off], [20], [1.5], [0.6])[0]) == 1


def test_no_miscount_is_told_where_nothing_is_expected_or_the_span_is_one_pitch() -> None:
    assert el.miscount([6.6, -98.0], [20, 1], [np.nan, 2.0], [0.056, 0.056]).tolist() == [0, 0]


@given(
    pitches=st.integers(1, 41),
    starts_outer=st.booleans(),
    joint_mm=st.floats(0, 8),
    pitch=st.floats(20, 400),
)
def test_spans_of_alternate_links_read_what_a_chain_built_link_by_link_shows(
    pitches: int, starts_outer: bool, joint_mm: float, pitch: float
) -> None:
    """The chain is laid out link by link: inner links keep P, outer ones measure P + 2 Delta."""
    outer = np.arange(pitches) % 2 == (0 if starts_outer else 1)
    length = np.where(outer, pitch + 2 * joint_mm, pitch).sum()
    true = 100 * joint_mm / pitch
    read = el.geometric_elongation([length], [pitches], pitch)
    assert el.odd_span_reading([true], [pitches], [starts_outer]) == pytest.approx(read, abs=1e-9)
    assert np.abs(read - true) == pytest.approx(el.odd_span_uncertainty([true], [pitches]), abs=1e-9)
    back = el.odd_span_corrected(read, [pitches], [starts_outer])
    if pitches == 1 and not starts_outer:
        assert np.isnan(back)
    else:
        assert back == pytest.approx([true], abs=1e-7)


def test_the_odd_span_of_eleven() -> None:
    """Worked by hand: at true 2.000 % and 11 pitches 2.182 or 1.818 %."""
    read = el.odd_span_reading([2.0, 2.0], [11, 11], [True, False])
    assert np.round(read, 3).tolist() == [2.182, 1.818]


def test_averaging_marks_lessens_only_reading_and_repeating() -> None:
    """Worked by hand: tape, pull and temperature are left: sqrt(0.635^2 + 0.5^2 + 0.070^2)."""
    u = el.length_uncertainty([3048.0], **FIELD, marks=[1, 4, 10**12])
    assert u[0] > u[1] > u[2]
    assert np.round(u[2], 3) == 0.811


@given(st.lists(st.floats(-1, 10), min_size=1, max_size=8), st.randoms(use_true_random=False))
def test_marks_may_come_in_any_order(marks: list[float], shuffler: np.random.Generator) -> None:
    shuffled = list(marks)
    shuffler.shuffle(shuffled)
    ours, theirs = (el.over_marks(some, [0, len(marks)]) for some in (marks, shuffled))
    assert ours[0] == pytest.approx(theirs[0], abs=1e-12)
    assert ours[1] == theirs[1]
    assert marks[ours[2][0]] == shuffled[theirs[2][0]]


def test_a_survey_does_not_depend_on_its_neighbours() -> None:
    rng = np.random.default_rng(7)
    values = rng.normal(1.5, 0.3, 300)
    values[rng.random(300) < 0.2] = np.nan
    starts = np.concatenate(([0], np.sort(rng.integers(0, 301, 80)), [300]))
    together = el.over_marks(values, starts)
    for survey, (begin, end) in enumerate(pairwise(starts)):
        alone = el.over_marks(values[begin:end], [0, end - begin])
        for whole, part in zip(together[:2], alone[:2], strict=True):
            np.testing.assert_array_equal(whole[survey], part[0])  # to the last bit
        assert together[3][survey] == alone[3][0]


def test_surveys_without_a_known_mark_stay_unknown() -> None:
    mean, greatest, place, count = el.over_marks([np.nan, 1.0], [0, 0, 1, 2])
    assert np.isnan(mean[:2]).all()
    assert np.isnan(greatest[:2]).all()
    assert (place.tolist(), count.tolist()) == ([-1, -1, 1], [0, 0, 1])
    assert el.over_marks([], [0, 0])[2].tolist() == [-1]


def test_a_zero_of_another_count_is_scaled() -> None:
    zero = el.scaled_zero([1525.6], [10], [20])
    assert el.wear_elongation([3098.5], zero, [20], PITCH) == el.wear_elongation(
        [3098.5], [3051.2], [20], PITCH
    )
