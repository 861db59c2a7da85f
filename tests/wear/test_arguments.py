"""What the calculations refuse, and how they say it."""

from __future__ import annotations

import numpy as np
import pytest

from takeup.errors import WearInputError
from takeup.wear.arguments import numbers, offsets
from takeup.wear.elongation import geometric_elongation, length_uncertainty


def test_a_value_outside_the_definition_is_named_with_place_found_and_wanted() -> None:
    with pytest.raises(
        WearInputError, match=r"pitch_mm: 0\.0 at place 1 of 3, wanted above 0\. .* Keep the row out"
    ):
        numbers([152.4, 0.0, np.nan], "pitch_mm", above=0)


@pytest.mark.parametrize(
    ("bounds", "inside", "outside"),
    [
        pytest.param({"above": 0}, 1e-9, 0.0, id="above"),
        pytest.param({"at_least": 0}, 0.0, -1e-9, id="at least"),
        pytest.param({"below": 1}, 0.999, 1.0, id="below"),
        pytest.param({"at_most": 1}, 1.0, 1.001, id="at most"),
    ],
)
def test_each_bound_holds_on_its_own_side(bounds: dict[str, float], inside: float, outside: float) -> None:
    assert numbers([inside, np.nan], "x", **bounds)[0] == inside
    with pytest.raises(WearInputError, match=f"wanted {next(iter(bounds)).replace('_', ' ')}"):
        numbers([outside], "x", **bounds)


@pytest.mark.parametrize("starts", [[], [1, 3], [0, 2], [0, 2, 1, 3], [[0, 3]]], ids=str)
def test_offsets_that_would_cut_groups_wrongly_are_refused(starts: list[int]) -> None:
    with pytest.raises(WearInputError, match=r"starts: .* does not lead from 0 to 3"):
        offsets(starts, 3)


def test_a_count_of_no_pitches_is_refused_and_an_unknown_one_stays_unknown() -> None:
    with pytest.raises(WearInputError, match=r"pitches: 0\.0 at place 0 of 1, wanted at least 1"):
        geometric_elongation([3098.5], [0], 152.4)
    assert np.isnan(geometric_elongation([3098.5, np.nan], [np.nan, 20], 152.4)).all()


def test_a_negative_part_of_an_uncertainty_is_refused() -> None:
    parts = {"a_mm": 0.3, "b_mm_per_m": 0.2, "step_mm": 1, "u_repeat_mm": -0.8, "u_pull_mm": 0.5}
    with pytest.raises(WearInputError, match="u_repeat_mm"):
        length_uncertainty([3048.0], **parts, u_temperature_k=2, alpha_per_k=11.5e-6)
