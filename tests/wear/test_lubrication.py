"""Volumes, records that count and the clock, against figures worked by hand."""

from __future__ import annotations

from itertools import chain, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.errors import WearInputError
from takeup.wear import lubrication as lube
from takeup.wear.lubrication import LubeClock


def test_volumes_of_a_worked_strand() -> None:
    """Worked by hand: bore 32.15, pin 31.75, length 80: 1.606 mL, 385 mL for 240 joints; film 48 mL."""
    joint = lube.joint_volume([32.15], [31.75], [80.0])
    assert (np.round(joint, 3), np.round(240 * joint)) == (1.606, 385)
    assert lube.film_volume([240], edges=4, drop_ml=0.05) == pytest.approx([48.0])
    with pytest.raises(WearInputError, match="bore_mm less pin_mm"):
        lube.joint_volume([31.0], [31.75], [80.0])


def test_the_clock_turns_at_interval_grace_and_twice_the_interval() -> None:
    """Worked by hand: last at 1000 h, every 100 h, grace 10 %: 1100, past 1110, from 1200."""
    turns = lube.lube_turns([1000.0], [100.0], grace_share=0.1, starved_intervals=2)
    assert [at.tolist() for at in turns] == [[1100.0], [1110.0], [1200.0]]
    answers = {
        1099.9: "CLEAR",
        1100: "DUE",
        1110: "DUE",
        1110.1: "OVERDUE",
        1199.9: "OVERDUE",
        1200: "STARVED",
    }
    told = lube.lube_clock(list(answers), turns)
    assert [LubeClock(at).name for at in told] == list(answers.values())


def test_a_clock_without_hours_or_interval_is_not_known() -> None:
    turns = lube.lube_turns(
        [1000.0, np.nan, 1000.0], [100.0, 100.0, np.nan], grace_share=0.1, starved_intervals=2
    )
    assert lube.lube_clock([np.nan, 1500.0, 1500.0], turns).tolist() == [LubeClock.UNKNOWN] * 3


@pytest.mark.parametrize(
    ("plan", "hours", "quantity", "counts"),
    [
        pytest.param(48, [0], [24], [True], id="half the plan is enough"),
        pytest.param(48, [0], [23.9], [False], id="less is not"),
        pytest.param(48, [0, 99], [12, 12], [False, True], id="two within one interval are summed"),
        pytest.param(48, [0, 100], [12, 12], [False, False], id="two an interval apart are not"),
        pytest.param(
            48, [0, 60, 120], [5, 12, 12], [False, False, True], id="the interval that ends with a record"
        ),
        pytest.param(
            0.8, [0.1, 50.1, 100.1], [0.1, 0.1, 0.3], [False, False, True], id="tenths are not lost"
        ),
        pytest.param(48, [0, 10], [48, 1], [True, False], id="what counted once does not count again"),
        pytest.param(48, [0, 10], [np.nan, 0], [True, False], id="blank is not nought"),
        pytest.param(np.nan, [0, 10], [1, 0], [True, False], id="without a plan anything but nought counts"),
    ],
)
def test_which_records_reset_the_clock(
    plan: float, hours: list[float], quantity: list[float], counts: list[bool]
) -> None:
    told, _ = lube.resets_clock(
        hours, quantity, [0, len(hours)], plan_ml=[plan], interval_hours=[100], least_share=0.5
    )
    assert told.tolist() == counts


@given(
    st.lists(
        st.tuples(
            st.lists(
                st.tuples(st.integers(0, 60), st.sampled_from([np.nan, 0.0, 5.0, 20.0, 48.0])), max_size=6
            ),
            st.sampled_from([np.nan, 20.0, 48.0]),
            st.sampled_from([np.nan, 50.0, 100.0]),
        ),
        max_size=5,
    )
)
def test_strands_told_together_read_as_told_alone(
    strands: list[tuple[list[tuple[int, float]], float, float]],
) -> None:
    gaps = [[gap for gap, _ in records] for records, _, _ in strands]
    hours = [list(np.cumsum(some)) for some in gaps]
    amounts = [[amount for _, amount in records] for records, _, _ in strands]
    starts = np.concatenate(([0], np.cumsum([len(some) for some in hours], dtype=int)))
    plan, interval = [plan for _, plan, _ in strands], [every for _, _, every in strands]
    flat_hours, flat_amounts = list(chain(*hours)), list(chain(*amounts))
    counts, sums = lube.resets_clock(
        flat_hours, flat_amounts, starts, plan_ml=plan, interval_hours=interval, least_share=0.5
    )
    given = lube.given_in_round(
        flat_hours, flat_amounts, starts, counts=counts, interval_hours=interval, round_share=0.5
    )
    for place, (begin, end) in enumerate(pairwise(starts)):
        alone = ([*hours[place]], [*amounts[place]], [0, end - begin])
        counts_alone, sums_alone = lube.resets_clock(
            *alone,
            plan_ml=plan[place : place + 1],
            interval_hours=interval[place : place + 1],
            least_share=0.5,
        )
        assert counts[begin:end].tolist() == counts_alone.tolist()
        np.testing.assert_array_equal(sums[begin:end], sums_alone)
        for at, now in enumerate(hours[place]):
            near = [k for k in range(at + 1) if k == at or now - hours[place][k] < interval[place]]
            opened = next(k for k in (*near, at) if counts_alone[k] or k == at)
            if opened < at and now - hours[place][opened] > interval[place] / 2:
                near = [k for k in near if k > opened]
            back = [amounts[place][k] for k in near]
            expected = np.nan if np.isnan(back).all() else np.nansum(back)
            np.testing.assert_allclose(given.ml[begin + at], expected)
            assert given.some_blank[begin + at] == np.isnan(back).any()
            assert given.first[begin + at] == begin + near[0]
        np.testing.assert_array_equal(
            counts_alone, _by_hand(hours[place], amounts[place], plan[place], interval[place])
        )


@pytest.mark.parametrize(
    ("hours", "quantity", "given"),
    [
        pytest.param([0, 90], [55, 55], 55, id="a little early is a round of its own"),
        pytest.param([0, 50], [55, 55], 110, id="after half the interval it is the same"),
        pytest.param([0, 50.1], [55, 55], 55, id="a little later it is not"),
        pytest.param([0, 60], [14, 14], 28, id="small ones make one, however far apart within the interval"),
        pytest.param([0, 90], [48, 10], 10, id="a little, on top of the round before, is little"),
        pytest.param([0, 10], [48, 1], 49, id="and a touch soon after is of the same"),
        pytest.param([0, 30, 60, 90], [48, 48, 48, 48], 144, id="three times as often is too much"),
        pytest.param([0, 100], [48, 55], 55, id="an interval apart"),
    ],
)
def test_what_one_round_got(hours: list[float], quantity: list[float], given: float) -> None:
    """Plan 48 mL every 100 h."""
    bounds = [0, len(hours)]
    counts, _ = lube.resets_clock(
        hours, quantity, bounds, plan_ml=[48], interval_hours=[100], least_share=0.5
    )
    told = lube.given_in_round(hours, quantity, bounds, counts=counts, interval_hours=[100], round_share=0.5)
    assert told.ml[-1] == given


def _by_hand(hours: list[float], amounts: list[float], plan: float, interval: float) -> list[bool]:
    """One record after the other: what came since the last that counted, one interval back."""
    counts: list[bool] = []
    for at, (now, amount) in enumerate(zip(hours, amounts, strict=True)):
        last = max((k for k in range(at) if counts[k]), default=-1)
        near = [k for k in range(last + 1, at + 1) if k == at or now - hours[k] < interval]
        total = np.nansum([amounts[k] for k in near])
        enough = total > 0 and (np.isnan(plan) or total >= plan / 2)
        counts.append(bool(np.isnan(amount) or enough))
    return counts
