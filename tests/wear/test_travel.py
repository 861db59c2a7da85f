"""Loops and sliding, held to a worked example by hand and to what halves and doubles them."""

from __future__ import annotations

import numpy as np
import pytest

from takeup.errors import WearInputError
from takeup.wear.travel import loops_per_hour, rate_per_km, slide_per_bend, slide_per_hour

#: 240 pitches of 152.4 mm at 0.5 m/s over two sprockets of 12 teeth, pin 31.75 mm
EXAMPLE = {
    "speed_m_per_s": 0.5, "pitches": 240, "pitch_mm": 152.4, "pin_diameter_mm": 31.75, "teeth_one": 12,
    "teeth_two": 12,
}  # fmt: skip


def test_the_worked_example_by_hand() -> None:
    """1800 m over a loop of 36.576 m; a twelfth of the pin's round, 99.75 mm; four of them a loop."""
    assert loops_per_hour(0.5, 240, 152.4) == pytest.approx(1800 / 36.576)
    assert slide_per_bend(31.75, 12) == pytest.approx(31.75 * np.pi / 12)
    assert [
        round(float(each), decimals)
        for each, decimals in (
            (loops_per_hour(0.5, 240, 152.4), 1),
            (slide_per_bend(31.75, 12), 2),
            (slide_per_hour(**EXAMPLE), 2),
        )
    ] == [49.2, 8.31, 1.64]


@pytest.mark.parametrize(
    ("differs", "times"),
    [
        pytest.param({"speed_m_per_s": 1.0}, 2.0, id="double speed doubles"),
        pytest.param({"pitches": 480}, 0.5, id="a loop twice as long halves"),
        pytest.param({"teeth_one": 24, "teeth_two": 24}, 0.5, id="twice the teeth halve"),
        pytest.param({"teeth_two": 24}, 0.75, id="one sprocket of twice the teeth"),
        pytest.param({"pin_diameter_mm": 63.5}, 2.0, id="twice the pin doubles"),
        pytest.param({"speed_m_per_s": 0.0}, 0.0, id="a chain that stands"),
    ],
)
def test_what_sliding_goes_with(differs: dict[str, float], times: float) -> None:
    assert slide_per_hour(**(EXAMPLE | differs)) == pytest.approx(times * slide_per_hour(**EXAMPLE))


def test_a_thousand_hours_at_the_rate_are_the_kilometres_at_the_rate_by_kilometre() -> None:
    slide = slide_per_hour(**EXAMPLE)
    assert rate_per_km(0.2656, slide) * slide * 1000 / 1000 == pytest.approx(0.2656)


def test_what_is_not_known_or_does_not_move_has_no_rate_by_kilometre() -> None:
    assert np.isnan(rate_per_km([0.2, 0.2, np.nan], [np.nan, 0.0, 1.6])).all()


@pytest.mark.parametrize(
    "differs", [{"teeth_one": 2}, {"pin_diameter_mm": 0}, {"pitches": 3}, {"speed_m_per_s": -0.1}]
)
def test_values_outside_the_definition_are_refused(differs: dict[str, float]) -> None:
    with pytest.raises(WearInputError):
        slide_per_hour(**(EXAMPLE | differs))
