"""Strands that carry one bucket between them, and the sprockets under them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import (
    MONDAY,
    checks,
    due,
    fact,
    judged,
    overridden,
    readings,
    strand,
    verdict,
    worn,
)

from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.explaining import explain
from takeup.judgement.judging import Judged
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, Urgency
from takeup.resources import templates_dir

MATCHING = ("matching", "matching_in_doubt")
#: short centres, so that the points govern: 3 degrees on 3 m of spacing and 9 m are 1.75 points
SHORT = {"centres_mm": 9000.0, "strand_spacing_mm": 3000.0, "pin_case_mm": 0, "bushing_case_mm": 0}


def pair(
    difference: float, lag: dict[str, Any] | None = None, b: dict[str, Any] | None = None, **both: Any
) -> Judged:
    rows = (
        strand(**(SHORT | both | worn(0.8 + difference))),
        strand("BE-1-B", set="BE-1", **(SHORT | both | worn(0.8) | (b or {}))),
    )
    return judged(*rows, takeup=readings(lag) if lag else readings(), only=MATCHING)


@pytest.mark.parametrize(
    ("difference", "limit", "doubt"),
    [
        pytest.param(0.03, "within", "settled", id="0.03+0.112<0.15"),
        pytest.param(0.04, "within", "alert_within", id="0.04+0.112>0.15"),
        pytest.param(0.18, "within", "alert_within", id="0.18+0.112<0.30"),
        pytest.param(0.19, "within", "limit_within", id="0.19+0.112>0.30"),
        pytest.param(0.299, "within", "limit_within", id="0.299"),
        pytest.param(0.3, "difference_at_limit", "settled", id="0.30"),
        pytest.param(-0.3, "difference_at_limit", "settled", id="the-other-way-round"),
    ],
)
def test_a_tape_difference_settles_only_the_limit(difference: float, limit: str, doubt: str) -> None:
    """U of a difference of two surveys: 2 sqrt 2 x 0.0397 = 0.112 points."""
    told = pair(difference)
    assert verdict(told, "matching", "BE-1")["reason"] == limit
    assert verdict(told, "matching_in_doubt", "BE-1")["reason"] == doubt


def test_what_each_answer_asks_for() -> None:
    renew = due(pair(0.3), "matching", "BE-1")
    assert (renew.subject_kind, renew.job, renew.urgency) == ("set", Job.REPLACE_SET, Urgency.THIS_WEEK)
    assert (fact(renew, "strand_long"), fact(renew, "strand_short")) == ("BE-1-A", "BE-1-B")
    assert fact(renew, "difference_points") == pytest.approx(0.3)
    near = due(pair(0.2), "matching_in_doubt", "BE-1")
    assert (near.job, near.urgency) == (Job.MEASURE, Urgency.THIS_WEEK)
    assert due(pair(0.1), "matching_in_doubt", "BE-1").urgency is Urgency.PLAN


@pytest.mark.parametrize(
    ("difference", "case"),
    [
        pytest.param(0.15, "within", id="2.86-degrees"),
        pytest.param(0.158, "skew_at_limit", id="3.01-degrees"),
    ],
)
def test_on_a_long_machine_the_angle_governs(difference: float, case: str) -> None:
    """C 30 m, W 0.9 m: 0.15 points lag 45 mm and skew 2.86 degrees; 3 degrees are 0.1572 points."""
    told = pair(difference, centres_mm=30_000.0, strand_spacing_mm=900.0)
    row = verdict(told, "matching", "BE-1")
    assert row["reason"] == case
    assert row["threshold"] == pytest.approx(0.157)


def test_the_lag_and_skew_of_the_worked_example() -> None:
    """0.40 points on 30 m and 0.9 m: 120 mm, 7.6 degrees."""
    renew = due(pair(0.40, centres_mm=30_000.0, strand_spacing_mm=900.0), "matching", "BE-1")
    assert fact(renew, "lag_by_tape_mm") == pytest.approx(120.0)
    assert fact(renew, "skew_degrees") == pytest.approx(7.6, abs=0.05)


@pytest.mark.parametrize(
    ("lag", "limit", "doubt"),
    [
        pytest.param(9.0, "within", "settled", id="9-mm-0.10-points"),
        pytest.param(18.0, "within", "lag_known", id="18-mm-0.20-points"),
        pytest.param(-27.0, "difference_at_limit", "settled", id="27-mm-0.30-points"),
    ],
)
def test_a_measured_lag_goes_before_the_tape(lag: float, limit: str, doubt: str) -> None:
    told = pair(0.2, {"last_lag_mm": lag, "last_lag_day": float(MONDAY), "last_lag_row_id": 21})
    assert verdict(told, "matching", "BE-1")["reason"] == limit
    assert verdict(told, "matching_in_doubt", "BE-1")["reason"] == doubt


def test_a_lag_of_before_the_survey_settles_nothing() -> None:
    told = pair(0.2, {"last_lag_mm": 1.0, "last_lag_day": float(MONDAY - 8), "last_lag_row_id": 21})
    assert verdict(told, "matching_in_doubt", "BE-1")["reason"] == "limit_within"


def test_a_strand_not_measured_leaves_its_set_unjudged() -> None:
    told = pair(0.0, b=worn(np.nan) | {"survey_day": np.nan})
    assert verdict(told, "matching", "BE-1")["reason"] == "strand_not_measured"


@pytest.mark.parametrize(
    ("difference", "days", "case"),
    [
        pytest.param(0.36, 7, "difference_at_limit", id="a-week-is-one-survey"),
        pytest.param(0.36, 12, "within", id="brought-to-0.285"),
        pytest.param(0.38, 12, "difference_at_limit", id="brought-to-0.305"),
    ],
)
def test_a_survey_of_before_is_carried_forward_at_its_rate(difference: float, days: int, case: str) -> None:
    """200 h at the start rate of 0.375 %/1000 h are 0.075 points on the strand measured earlier."""
    earlier = {"survey_day": MONDAY - days, "survey_hours": 5300.0}
    told = pair(difference, b=earlier)
    assert verdict(told, "matching", "BE-1")["reason"] == case
    if days > 7:
        row = verdict(told, "matching", "BE-1")
        assert row["value"] == pytest.approx(difference - 0.075)
        assert row["margin_u"] == pytest.approx(np.hypot(0.1123, 0.075), abs=0.0006)


def test_a_survey_that_cannot_be_carried_is_not_compared() -> None:
    earlier = {"survey_day": MONDAY - 12, "hours_now": np.nan}
    assert verdict(pair(0.36, b=earlier), "matching", "BE-1")["reason"] == "not_same_day"


def test_a_strand_that_is_a_set_of_its_own_has_nothing_to_match() -> None:
    told = judged(strand())
    assert told.verdicts[told.verdicts["rule"].str.startswith("matching")].empty


def test_a_site_may_allow_more() -> None:
    rows = strand(**(SHORT | worn(1.15))), strand("BE-1-B", set="BE-1", **(SHORT | worn(0.8)))
    told = judged(*rows, settings=overridden("limits", match_limit_points=0.5))
    assert verdict(told, "matching", "BE-1")["reason"] == "within"


@pytest.mark.parametrize(
    ("check", "differs", "case"),
    [
        pytest.param({"gauge_depth_mm": 4.3}, {}, "tooth_sound", id="barrel-4.3"),
        pytest.param({"gauge_depth_mm": 4.4}, {}, "tooth_worn", id="barrel-4.4"),
        pytest.param(
            {"gauge_depth_mm": 7.9},
            {"construction": "roller_conveyor", "roller_diameter_mm": 80.0},
            "tooth_sound",
            id="roller-7.9",
        ),
        pytest.param(
            {"gauge_depth_mm": 8.0},
            {"construction": "roller_conveyor", "roller_diameter_mm": 80.0},
            "tooth_worn",
            id="roller-8.0",
        ),
        pytest.param(
            {"gauge_depth_mm": 4.4}, {"bushing_outside_mm": np.nan}, "no_diameter", id="no-diameter"
        ),
    ],
)
def test_a_tooth_is_worn_at_a_tenth_of_what_meets_it(
    check: dict[str, Any], differs: dict[str, Any], case: str
) -> None:
    """Barrel 44.15 mm: 4.4 mm; roller 80 mm: 8.0 mm."""
    told = judged(strand(**differs), sprockets=checks(check), only=("sprocket_wear",))
    assert verdict(told, "sprocket_wear")["reason"] == case


@pytest.mark.parametrize(
    "later",
    [
        pytest.param({"gauge_depth_mm": np.nan, "reversed": "yes"}, id="reversed since"),
        pytest.param({"gauge_depth_mm": np.nan, "fitted_on_day": MONDAY - 5.0}, id="renewed since"),
    ],
)
def test_a_depth_gauged_before_a_sprocket_was_reversed_or_renewed_asks_for_nothing(
    later: dict[str, Any],
) -> None:
    """The face it was gauged on no longer works; common practice, no source."""
    worn = {"gauge_depth_mm": 9.0, "checked_at_day": MONDAY - 20}
    assert due(judged(strand(), sprockets=checks(worn)), "sprocket_wear")
    told = judged(strand(), sprockets=checks(worn, later), only=("sprocket_wear",))
    assert not len(told.verdicts)


def test_the_newest_check_counts_and_the_worst_sprocket_speaks() -> None:
    gauged = checks(
        {"sprocket": "head", "gauge_depth_mm": 9.0, "checked_at_day": MONDAY - 300},
        {"sprocket": "head", "gauge_depth_mm": 1.0},
        {"sprocket": "tail", "gauge_depth_mm": 5.0, "reversed": "yes"},
        {"sprocket": "boot", "gauge_depth_mm": 6.0, "strand": ""},
        {"sprocket": "elsewhere", "gauge_depth_mm": 20.0, "strand": "", "machine": "BE-9"},
    )
    told = judged(strand(), sprockets=gauged)
    worn_tooth = due(told, "sprocket_wear")
    assert (fact(worn_tooth, "sprocket"), fact(worn_tooth, "turned")) == ("tail", True)
    assert (worn_tooth.job, worn_tooth.urgency) == (Job.SPROCKETS, Urgency.NEXT_SHUTDOWN)
    assert due(told, "sprocket_wear", "BE-1").subject_kind == "machine"
    assert "BE-9" not in set(told.verdicts["subject"])


LONG = {"centres_mm": 30_000.0, "strand_spacing_mm": 900.0}


def sentence_of(told: Judged, rule: str) -> str:
    row = next(each for each in explain("BE-1-A", told.situation, JudgementSettings()) if each.rule == rule)
    return rule_sentence(environment([templates_dir()]), rule, row.reason, row.subject, row.facts)


@pytest.mark.parametrize(
    ("difference", "both", "rule", "said"),
    [
        pytest.param(
            0.03, LONG, "matching_in_doubt", "the plan line of 1.5° of skew (0.079 points on this set)"
        ),
        pytest.param(0.1, LONG, "matching_in_doubt", "the limit of 3.0° of skew (0.157 points on this set)"),
        pytest.param(0.1, LONG, "matching", "below the limit of 3.0° of skew (0.157 points on this set)"),
        pytest.param(0.2, LONG, "matching", "3.0° of skew (0.157 points on this set) is the most allowed"),
        pytest.param(0.1, {}, "matching_in_doubt", "the plan line of 0.150 points is reached"),
        pytest.param(0.2, {}, "matching_in_doubt", "the limit of 0.300 points lies"),
        pytest.param(0.1, {}, "matching", "below the limit of 0.300 points."),
    ],
)
def test_the_line_that_is_told_is_the_one_that_governs(
    difference: float, both: dict[str, Any], rule: str, said: str
) -> None:
    """W tan(angle)/C: 900 x 0.02619/30 000 = 0.0786 and 900 x 0.05241/30 000 = 0.1572 points."""
    assert said in sentence_of(pair(difference, **both), rule)
