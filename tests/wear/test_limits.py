"""The limits of wear against examples worked by hand, every printed digit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.errors import WearInputError
from takeup.wear import limits as lim
from takeup.wear.elongation import joint_elongation, joint_wear

PITCHES = [66.27, 76.2, 101.6, 152.4, 203.2, 304.8]


def test_the_governing_limit_of_a_worked_strand() -> None:
    """Worked by hand: P 152.4, M 240, N 12/12, travel 480 used 300, pin 31.75, wall 6.0, e 1.552."""
    table = [
        lim.as_wear(lim.sprocket_limit([12], cap_percent=3, ride_percent=200), [True], [0.105]),
        lim.takeup_limit([1.552], [480.0 - 300.0], [240], 152.4),
        lim.case_limit(152.4, [3.175], [1.5], 0.5, 1.0),
        lim.pin_limit(152.4, [31.75], 0.75, 0.5),
        lim.bushing_limit(152.4, [6.0], [0.0], 1 / 3, 0.5),
    ]
    assert [round(float(limit[0]), 3) for limit in table[:3]] == [2.895, 2.536, 1.969]
    assert [round(float(limit[0]), 2) for limit in table[3:]] == [3.81, 2.62]
    assert round(float(lim.pin_depth_allowed([31.75], 0.75)[0]), 2) == 2.90
    index, value = lim.least(table)
    assert (index.tolist(), np.round(value, 3).tolist()) == ([2], [1.969])


def test_the_take_up_limit_after_shortening() -> None:
    """Worked by hand: 334.8 mm left on 238 pitches: 3.398 %; the loop is 36 271 mm."""
    assert round(238 * 152.4) == 36271
    assert np.round(lim.takeup_limit([1.552], [334.8], [238], 152.4), 3).tolist() == [3.398]


@pytest.mark.parametrize(
    ("usable", "printed"),
    [
        (1.0, ["4.53", "3.94", "2.95", "1.97", "1.48", "0.98"]),
        (0.8, ["3.62", "3.15", "2.36", "1.57", "1.18", "0.79"]),
    ],
)
def test_the_longer_the_pitch_the_sooner_the_case_is_gone(usable: float, printed: list[str]) -> None:
    """Worked by hand: pin case 3.175, bushing case 1.5, shares even."""
    limit = lim.case_limit(PITCHES, 3.175, 1.5, 0.5, usable)
    assert [f"{value:.2f}" for value in limit] == printed


def test_what_the_pin_takes_moves_the_case_limit() -> None:
    """Worked by hand: 1.41, 1.97 and 2.98 % at shares 0.3, 0.5 and 0.7."""
    limit = lim.case_limit(152.4, 3.175, 1.5, [0.3, 0.5, 0.7], 1.0)
    assert np.round(limit, 2).tolist() == [1.41, 1.97, 2.98]


def test_three_per_cent_on_twelve_inches_is_three_times_the_case() -> None:
    """Worked by hand: 9.1 mm of joint wear at 3 %, 3.0 mm allowed by the case."""
    case = joint_wear(lim.case_limit([304.8], 3.175, 1.5, 0.5, 1.0), 304.8)
    assert (np.round(joint_wear([3.0], 304.8), 1), np.round(case, 1)) == (9.1, 3.0)


@pytest.mark.parametrize(
    ("pin", "bushing", "expected"),
    [
        pytest.param(3.175, 0.0, 100 * 3.175 / 0.5 / 152.4, id="bushing through hardened"),
        pytest.param(0.0, 1.5, 100 * 1.5 / 0.5 / 152.4, id="pin through hardened"),
        pytest.param(0.0, 0.0, np.inf, id="no case at all"),
        pytest.param(0.0, np.nan, np.nan, id="the one case not known"),
        pytest.param(3.175, np.nan, np.nan, id="one of two not known"),
    ],
)
def test_parts_without_a_case_and_depths_not_known(pin: float, bushing: float, expected: float) -> None:
    limit = lim.case_limit(152.4, [pin], [bushing], 0.5, 1.0)
    np.testing.assert_allclose(limit, [expected], rtol=1e-12)


def test_a_case_worn_through_is_the_joint_wear_of_its_depth() -> None:
    """At the limit the governing part has lost exactly its depth: the inverse of the joint's elongation."""
    limit = lim.case_limit([152.4], 3.175, 1.5, 0.4, 1.0)
    pin, bushing = 0.4 * joint_wear(limit, 152.4), 0.6 * joint_wear(limit, 152.4)
    assert bushing == pytest.approx(1.5)
    assert (pin < 3.175).all()
    assert joint_elongation(pin, bushing, 152.4) == pytest.approx(limit)


def test_large_sprockets_tighten_the_limit() -> None:
    """Worked by hand: N 80, 100, 120 give 2.50, 2.00, 1.667 %; up to 66 teeth 3 % holds."""
    limit = lim.sprocket_limit([6, 66, 67, 80, 100, 120], cap_percent=3, ride_percent=200)
    assert np.round(limit, 3).tolist() == [3.0, 3.0, 2.985, 2.5, 2.0, 1.667]


def test_ride_up_is_the_same_at_the_limit_of_any_large_sprocket() -> None:
    """Worked by hand: e = 200/N is a ride-up of 2/(2 pi) = 0.318 P; 3 % on 6 to 12 teeth 0.03 to 0.06 P."""
    teeth = np.array([80, 100, 150, 400])
    ride = lim.ride_up(1.0, teeth, lim.sprocket_limit(teeth, cap_percent=3, ride_percent=200))
    assert np.round(ride, 3).tolist() == [0.318] * 4
    assert np.round(lim.ride_up(1.0, [6, 12], 3.0), 2).tolist() == [0.03, 0.06]


def test_one_limit_of_fit_holds_for_a_strand() -> None:
    caps = {"drive_cap_percent": 3, "fixed_percent": 1.5, "conveyor_cap_percent": 2.5, "ride_percent": 200}
    drive, fixed = [True, True, False, False], [False, True, False, True]
    assert lim.fit_limit([10] * 4, drive, fixed, **caps).tolist() == [3.0, 1.5, 2.5, 1.5]
    assert np.isnan(lim.fit_limit([np.nan], [True], [False], **caps)).all()


def test_chrome_and_sidebars() -> None:
    assert np.round(lim.chrome_limit(152.4, [0.15], 0.5), 3).tolist() == [0.197]
    assert lim.sidebar_loss([76.0, 76.0], [76.0, 66.0], [36.0, 36.0]).tolist() == [0.0, 0.25]
    with pytest.raises(WearInputError, match="height_mm less hole_mm"):
        lim.sidebar_loss([36.0], [30.0], [36.0])


def test_take_up_never_started_beyond_its_travel() -> None:
    with pytest.raises(WearInputError, match="travel_mm less start_mm"):
        lim.whole_travel_limit([16.0], [480.0], [240], 152.4)


def test_the_share_of_the_pin_is_a_share() -> None:
    with pytest.raises(WearInputError, match=r"pin_share: 1\.0 at place 0 of 1, wanted above 0 and below 1"):
        lim.case_limit(152.4, 3.175, 1.5, [1.0], 1.0)


@given(st.lists(st.sampled_from([1.5, 2.0, 3.0, np.inf, np.nan]), min_size=1, max_size=7))
def test_the_least_is_the_least_of_those_judged(limits: list[float]) -> None:
    index, value = lim.least(np.array(limits)[:, None])
    judged = [limit for limit in limits if np.isfinite(limit)]
    if judged:
        assert value[0] == min(judged)
        assert index[0] == limits.index(min(judged))
    else:
        assert (index[0], np.isnan(value[0])) == (-1, True)
