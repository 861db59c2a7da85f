"""Lag, skew and the difference inside a set, against figures worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.wear import matching


def test_lag_and_skew_of_a_worked_pair() -> None:
    """Worked by hand: C 30 m, W 0.9 m: 0.05, 0.15, 0.40 points: 15, 45, 120 mm; 0.95, 2.9, 7.6 degrees."""
    lag = matching.lag(30_000.0, [0.05, 0.15, 0.40], 0.0)
    skew = matching.skew(lag, 900.0)
    assert np.round(lag, 6).tolist() == [15.0, 45.0, 120.0]
    assert (round(float(skew[0]), 2), *(round(float(angle), 1) for angle in skew[1:])) == (0.95, 2.9, 7.6)


def test_two_tape_surveys_cannot_settle_the_plan_line() -> None:
    """Worked by hand: U of a difference 0.11 points in e_geo (u 0.040), 0.16 in e_wear (u 0.056)."""
    wide = 2 * matching.difference_uncertainty([0.0397, 0.0561], [0.0397, 0.0561])
    assert np.round(wide, 2).tolist() == [0.11, 0.16]


@given(st.floats(-200, 200), st.floats(1000, 1e6))
def test_a_measured_lag_gives_back_the_difference(lag: float, centres: float) -> None:
    difference = matching.difference_from_lag([lag], centres)
    assert matching.lag(centres, difference, 0.0) == pytest.approx([lag], abs=1e-9)


@given(st.lists(st.lists(st.none() | st.floats(0, 5), max_size=4), max_size=6))
def test_the_difference_of_a_set_is_its_longest_less_its_shortest(sets: list[list[float | None]]) -> None:
    flat = [value for strands in sets for value in strands]
    starts = np.concatenate(([0], np.cumsum([len(strands) for strands in sets], dtype=int)))
    difference, longest, shortest = matching.set_difference(np.array(flat, dtype=float), starts)
    for place, strands in enumerate(sets):
        known = [value for value in strands if value is not None]
        if len(known) < 2:
            assert (np.isnan(difference[place]), longest[place], shortest[place]) == (True, -1, -1)
        else:
            assert difference[place] == max(known) - min(known)
            assert (flat[longest[place]], flat[shortest[place]]) == (max(known), min(known))
            assert starts[place] <= longest[place] < starts[place + 1]
