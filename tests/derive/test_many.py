"""Two hundred strands with scatter as the settings state it: what is set aside, and what is not.

Scatter: 0.8 mm of repeat on spans of 20 pitches of 152.4 mm, read to 1 mm; twelve surveys of four marks.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from tests.benchmarks.derive import FITTED, MARKS, SETTINGS, SURVEYS, plant

from takeup.derive.checks import judged
from takeup.derive.lives import register
from takeup.derive.meters import meter_book
from takeup.derive.readings import readings
from takeup.derive.surveys import surveys
from takeup.derive.takeups import travels
from takeup.model import Feed

STRANDS = 200
ROWS = STRANDS * SURVEYS * MARKS


@pytest.fixture(scope="module")
def calm() -> dict:
    return plant(STRANDS, slips=False)


def told(given: dict, length_mm: np.ndarray) -> tuple[dict[int, str], object]:
    """Place of a reading to the reason it was set aside for, and the surveys."""
    rows = given[Feed.ELONGATION_READINGS].assign(length_mm=np.rint(length_mm))
    book = meter_book(given[Feed.RUN_HOURS], given[Feed.MACHINES], SETTINGS)
    known = register(given[Feed.STRANDS], book, SETTINGS, FITTED + 1000)
    its, _ = readings(rows, known, book, SETTINGS)
    travelled, _ = travels(given[Feed.TAKEUP_READINGS], known)
    verdict = judged(its, known, travelled, SETTINGS)
    return {int(its.place[one.place]): str(one.reason) for one in verdict.asides}, surveys(
        its, verdict, known, SETTINGS
    )


def some(share: float, *, after_survey: int = 0) -> np.ndarray:
    """Single readings here and there, at most one a strand."""
    draw = np.random.default_rng(5)
    strands = np.flatnonzero(draw.random(STRANDS) < share)
    survey = draw.integers(after_survey, SURVEYS, strands.size)
    return strands * SURVEYS * MARKS + survey * MARKS + draw.integers(0, MARKS, strands.size)


def test_nothing_of_calm_strands_is_set_aside(calm: dict) -> None:
    found, frame = told(calm, calm[Feed.ELONGATION_READINGS]["length_mm"].to_numpy())
    assert found == {}
    assert len(frame) == STRANDS * SURVEYS
    assert frame["usable"].all()


@pytest.mark.parametrize("factor", [21 / 20, 19 / 20], ids=["one more", "one less"])
def test_every_miscount_is_found_and_nothing_else(calm: dict, factor: float) -> None:
    length = calm[Feed.ELONGATION_READINGS]["length_mm"].to_numpy().copy()
    places = some(0.5)
    length[places] *= factor
    found, _ = told(calm, length)
    assert found == dict.fromkeys(places.tolist(), "whole_pitch_miscount")


@pytest.mark.parametrize("points", [0.5, 1.0, 2.0, 3.0, 4.0, 7.0, 9.0])
def test_no_high_reading_without_the_signature_is_set_aside(calm: dict, points: float) -> None:
    """The last survey of a strand is where an alarm would stand."""
    length = calm[Feed.ELONGATION_READINGS]["length_mm"].to_numpy().copy()
    places = some(0.5, after_survey=SURVEYS - 1)
    length[places] += points / 100 * 3048
    found, frame = told(calm, length)
    assert not set(found) & set(places.tolist())
    last = frame.loc[frame.groupby("strand")["day"].idxmax()]
    assert np.count_nonzero(last["spread"] > points / 2) >= places.size


def test_low_readings_never_stand_for_the_strand(calm: dict) -> None:
    """A single mark low by 0.4 points is taken for new links or a bad reading; the others go on."""
    length = calm[Feed.ELONGATION_READINGS]["length_mm"].to_numpy().copy()
    places = some(0.5, after_survey=4)
    length[places] -= 0.8 / 100 * 3048
    found, _ = told(calm, length)
    assert set(found) == set(places.tolist())
    assert Counter(found.values()).keys() <= {"mark_fell", "negative_wear"}
    assert len(found) < ROWS / 50
