"""The trade's worked examples on limits, shortening and dates, worked by hand, told through all rules.

Strand: pitch 152.4 mm, 240 pitches, 12 teeth, e 1.552 %, born 0.105 % long, take-up 300 of 480 mm.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from tests.judgement.plant import (
    E_WEAR,
    EXAMPLE_SURVEYS,
    MONDAY,
    due,
    fact,
    judged,
    shutdowns,
    strand,
    surveys,
    verdict,
)

from takeup.model import Urgency
from takeup.wear.calibration import Cell, FleetTable


def day(year: int, month: int, number: int) -> int:
    return (date(year, month, number) - date(1970, 1, 1)).days


@pytest.mark.parametrize(
    ("limit", "percent"),
    [("conveyor", 2.895), ("takeup", 2.536), ("case", 1.969), ("pin", 3.81), ("bushing", 2.625)],
)
def test_the_governing_limit_is_the_least_of_all(limit: str, percent: float) -> None:
    """Sprocket 3.000 over nominal is 2.895 from the as-fitted length; the case governs."""
    row = judged(strand(), surveys=surveys(EXAMPLE_SURVEYS)).prognosis.iloc[0]
    assert row[f"limit_{limit}"] == pytest.approx(percent, abs=0.0005)
    assert row["governing"] == "case"
    assert row["level"] == row["limit_case"]


def test_removing_two_pitches_leaves_335_mm_and_a_limit_of_3_398() -> None:
    told = judged(strand(takeup_used_mm=409, takeup_rem_mm=71), surveys=surveys(EXAMPLE_SURVEYS))
    shortened = due(told, "takeup_low")
    assert shortened.reason == "shorten"
    assert fact(shortened, "remove_pitches") == 2
    assert fact(shortened, "returns_mm") == pytest.approx(154.8, abs=0.05)
    assert fact(shortened, "pitches_after") == 238
    row = judged(strand(), surveys=surveys(EXAMPLE_SURVEYS)).prognosis.iloc[0]
    assert row["left_after_mm"] == pytest.approx(334.8, abs=0.05)
    assert row["takeup_limit_after"] == pytest.approx(3.398, abs=0.0005)
    assert row["governing"] == "case"


def test_buckets_every_fourth_pitch_cannot_be_shortened_yet_and_the_order_says_so() -> None:
    told = judged(
        strand(attachment_every=4, takeup_used_mm=300, takeup_travel_mm=350), surveys=surveys(EXAMPLE_SURVEYS)
    )
    waiting = due(told, "takeup_low")
    assert waiting.reason == "not_yet"
    assert fact(waiting, "step_pitches") == 4
    assert fact(waiting, "returns_mm") == pytest.approx(309.5, abs=0.05)
    assert fact(waiting, "held_by") == "BE-1-A"


def fleet_that_says(low: float, high: float) -> FleetTable:
    """A fleet of 40 lives whose every cell holds these factors."""
    cells = tuple(Cell(own, stage, 212, 0, 40, low, high) for own in (True, False) for stage in range(5))
    return FleetTable(7, "2026-03-01", 40, cells, ())


def test_dates_of_the_case_and_a_buy_by_that_is_already_past() -> None:
    """Middle 1569 h by least squares; the median of slopes, 0.2673 and not 0.2656 %/1000 h, gives 1559 h.

    16.8 h a day: 92.8 days after 2026-03-02. The early date is 1012 h where the fleet's record says so.
    """
    hours = 1000 * (100 * 3 / 152.4 - E_WEAR) / 0.267254534
    doubt = 2 * 1000 * np.sqrt(2) * 0.0397095 / 0.267254534  # the tape's, worked by hand from u_L 1.210 mm
    low = (1012.0 + doubt) / (hours + doubt)
    # The record does not know the error of the zero; it is joined as a square: u(L0) is u(L) here.
    told = judged(strand(), surveys=surveys(EXAMPLE_SURVEYS), fleet=fleet_that_says(low, 2.0))
    coming = due(told, "limit_coming")
    assert fact(coming, "rate") == pytest.approx(0.2673, abs=0.00005)
    assert fact(coming, "hours_middle") == pytest.approx(hours, abs=0.1)
    assert fact(coming, "middle_on") == date(2026, 6, 2)
    assert fact(coming, "hours_early") <= 1012
    assert fact(coming, "fleet_number") == 7
    # The record's factor is told as the record has it; what doubt makes of it is told as reckoned.
    assert fact(coming, "factor_low") == round(low, 2)
    assert fact(coming, "factor_early") == round(fact(coming, "hours_early") / hours, 2) < round(low, 2)
    origin = {one.name: one.origin for one in coming.facts}
    assert origin["factor_low"] == "the record of past forecasts"
    assert origin["factor_early"].startswith("reckoned by takeup")
    assert coming.reason == "buy_by_reached"
    assert coming.buy_by is not None
    assert coming.buy_by < date(2026, 3, 2)


def test_the_take_up_lies_past_the_case_and_comes_sooner_than_a_straight_line_says() -> None:
    """Handbook: 1569 + 712 = 2281 h at 0.2656 by least squares, 3706 h without a case.

    Orders use the median of slopes, 0.267254534 %/1000 h: 1559 + 708 = 2267 h.
    """
    rate = 0.267254534
    case, out = 100 * 3 / 152.4, E_WEAR + 200 * 180 / 36576
    assert 1000 * (case - E_WEAR) / 0.265604 + 1000 * (out - case) / (3 * 0.265604) == pytest.approx(
        2281, abs=1
    )
    row = judged(strand(), surveys=surveys(EXAMPLE_SURVEYS)).prognosis.iloc[0]
    by_hand = 1000 * (case - E_WEAR) / rate + 1000 * (out - case) / (3 * rate)
    assert row["takeup_hours_middle"] == pytest.approx(by_hand, abs=0.1)
    assert by_hand == pytest.approx(2267, abs=0.5)
    # Below the case, and where two pitches can be taken out, the case alone dates the chain.
    assert (row["ahead_limit"], bool(row["case_behind"])) == ("case", False)
    assert row["takeup_hours_early"] <= 1642


def test_without_a_record_the_early_date_is_no_later_than_the_handbook_bound() -> None:
    """Early bound by hand: (0.416667 - 0.112315)/0.300604 = 1012 h with the rate by least squares."""
    row = judged(strand(), surveys=surveys(EXAMPLE_SURVEYS)).prognosis.iloc[0]
    assert row["bounds_basis"] == "shipped"
    assert 0 < row["hours_early"] <= 1012
    assert row["hours_middle"] <= row["hours_late"]


def test_need_by_is_the_last_stop_before_the_early_date_and_the_job_24_hours_long() -> None:
    """Two strands of 36.6 m: 6 h + 0.25 h for each metre of both is 24.3 h."""
    stops = shutdowns(
        ("SD-1", "BE-1", day(2026, 3, 4), day(2026, 3, 4) + 0.5),
        ("SD-2", "BE-1; BE-2", day(2026, 3, 9), day(2026, 3, 10) + 0.1),
        ("SD-3", "all", day(2026, 9, 1), day(2026, 9, 8)),
    )
    pair = strand(), strand("BE-1-B", set="BE-1")
    other = (f"BE-1-B|{EXAMPLE_SURVEYS[0].split('|')[1]}", EXAMPLE_SURVEYS[1])
    told = judged(*pair, surveys=surveys(EXAMPLE_SURVEYS, other), shutdowns=stops)
    row = told.prognosis.iloc[0]
    assert row["job_hours"] == pytest.approx(24.3, abs=0.05)
    assert row["shutdown"] == "SD-2"
    coming = due(told, "limit_coming")
    assert coming.need_by == date(2026, 3, 9)
    assert coming.buy_by == date(2025, 12, 15)  # 70 days lead and 14 days margin earlier
    # The stop of half a day before it is too short for the job: this is the next one that takes it.
    assert coming.urgency is Urgency.NEXT_SHUTDOWN


def test_the_next_survey_is_no_sooner_than_100_hours_and_no_later_than_a_quarter_of_the_early_hours() -> None:
    row = judged(strand(), surveys=surveys(EXAMPLE_SURVEYS)).prognosis.iloc[0]
    assert row["survey_interval_hours"] == pytest.approx(max(100.0, row["hours_early"] / 4), abs=0.06)
    assert row["next_survey_hours"] == 5500 + row["survey_interval_hours"]
    assert row["next_survey_day"] == MONDAY + row["survey_interval_hours"] // 16.8


def test_nothing_is_due_on_the_strand_but_the_chain() -> None:
    told = judged(strand(), surveys=surveys(EXAMPLE_SURVEYS))
    assert [each.rule for each in told.due] == ["limit_coming"]
    assert verdict(told, "wear_limit")["margin"] == pytest.approx(0.417)
