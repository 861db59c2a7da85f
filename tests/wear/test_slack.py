"""Take-up and shortening against examples worked by hand and against chain laid out exactly."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.wear import slack
from takeup.wear.slack import Shortening

STRAND = {
    "used_mm": 300.0,
    "travel_mm": 480.0,
    "pitches": 240,
    "pitch_mm": 152.4,
    "wear_percent": 1.552,
    "joining_slack_mm": 15.0,
}


def test_shortening_of_a_worked_strand() -> None:
    """Worked by hand: k 2 returns 154.8 mm and leaves 334.8 on 238 pitches; k 4 returns 309.5: not yet."""
    told = slack.shortening([2, 4], **STRAND)
    assert told.answer.tolist() == [Shortening.ALLOWED, Shortening.NOT_YET]
    assert np.round(told.returned_mm, 1).tolist() == [154.8, 309.5]
    assert np.round(told.needed_mm, 1).tolist() == [169.8, 324.5]
    assert np.round(told.remaining_after_mm[0], 1) == 334.8
    assert told.pitches_after[0] == 238


@pytest.mark.parametrize(
    ("changed", "answer"),
    [
        pytest.param({"used_mm": 169.7}, Shortening.NOT_YET, id="just short of room to join"),
        pytest.param({"used_mm": 169.8}, Shortening.ALLOWED, id="room to join"),
        pytest.param({"travel_mm": 169.7}, Shortening.NEVER, id="travel holds no step"),
        pytest.param(
            {"travel_mm": 169.7, "used_mm": np.nan}, Shortening.NEVER, id="never, wherever it stands"
        ),
        pytest.param({"used_mm": np.nan}, Shortening.UNKNOWN, id="travel not read"),
        pytest.param({"wear_percent": np.nan}, Shortening.UNKNOWN, id="elongation not known"),
        pytest.param({"pitches_out": 0}, Shortening.UNKNOWN, id="step not known"),
    ],
)
def test_when_two_pitches_may_be_taken_out(changed: dict[str, float], answer: Shortening) -> None:
    told = slack.shortening(**({"pitches_out": 2} | STRAND | changed))
    assert told.answer == answer


def test_steps_fit_links_and_attachments() -> None:
    """Worked by hand: pairs on alternate links, one on offset sidebars, always whole attachment spacings."""
    alternate, every = [True, True, True, True, False, False], [1, 2, 3, 4, 1, 3]
    assert slack.shortening_step(alternate, every).tolist() == [2, 2, 6, 4, 1, 3]


def test_growth_and_the_screw() -> None:
    """Worked by hand: M 240, P 152.4: 1 mm of screw is 0.0055 %; 3 % is 7.2 pitches; factor 1.05 on 12/12."""
    assert np.round(slack.takeup_elongation([17.0], [16.0], [0], [240], 152.4), 4).tolist() == [0.0055]
    assert np.round(slack.loop_growth([240], 152.4, 3.0) / 152.4, 1).tolist() == [7.2]
    assert np.round(slack.ride_out_factor([240], 12, 12), 2).tolist() == [1.05]


@given(
    pitches=st.integers(40, 400),
    pitch=st.floats(25, 300),
    wear=st.floats(0, 5),
    removed=st.integers(0, 10),
    removed_at=st.floats(0, 1),
    start=st.floats(0, 100),
)
def test_the_take_up_tells_the_elongation_of_a_chain_laid_out_exactly(
    pitches: int, pitch: float, wear: float, removed: int, removed_at: float, start: float
) -> None:
    """Two equal sprockets, no ride-out: the loop is 2 C + N P, at whatever wear pitches were taken out."""
    teeth_mm = 12 * pitch

    def centres(count: int, percent: float) -> float:
        return (count * pitch * (1 + percent / 100) - teeth_mm) / 2

    then = wear * removed_at
    moved_before = centres(pitches, then) - centres(pitches, 0)
    returned = centres(pitches, then) - centres(pitches - removed, then)
    assert slack.returned_by([removed], pitch, then) == pytest.approx(returned, abs=1e-6)
    moved_after = centres(pitches - removed, wear) - centres(pitches - removed, then)
    used = start + moved_before - returned + moved_after
    start, used = start + 2000, used + 2000  # the screw never stands below nought
    told = slack.takeup_elongation([used], [start], [removed], [pitches - removed], pitch)
    assert told == pytest.approx([wear], abs=1e-6)
    if not removed:
        assert slack.estimated_travel(start, pitches, pitch, wear) == pytest.approx(used)


@given(
    one=st.integers(6, 40), two=st.integers(6, 40), pitch=st.floats(25, 300), in_pitches=st.floats(60, 500)
)
def test_the_loop_on_two_sprockets_is_the_exact_one_to_second_order(
    one: int, two: int, pitch: float, in_pitches: float
) -> None:
    """Exact belt geometry on the circles N P / (2 pi); the first term left out is of fourth order."""
    centres = in_pitches * pitch
    radii = [teeth * pitch / (2 * math.pi) for teeth in (one, two)]
    step = abs(radii[1] - radii[0])
    lean = math.asin(step / centres)
    exact = 2 * math.sqrt(centres**2 - step**2) + math.pi * sum(radii) + 2 * lean * step
    assert slack.loop_length([centres], pitch, one, two) == pytest.approx(
        [exact], abs=step**4 / (10 * centres**3) + 1e-9 * centres
    )


def test_a_register_whose_pitches_and_centres_disagree() -> None:
    disagrees, over = slack.register_disagrees(
        [240, 242, 243, 240], [17373.6, 17373.6, 17373.6, np.nan], 152.4, 12, 12, tolerance_pitches=2
    )
    assert np.round(over[:3], 6).tolist() == [0.0, 2.0, 3.0]
    assert disagrees.tolist()[2:] == [True, False]
    assert not disagrees[0]
