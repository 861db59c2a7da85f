"""What stands behind an answer: the rows it turns on, and beside them those of its arithmetic."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.judgement.plant import (
    EXAMPLE_SURVEYS,
    MONDAY,
    due,
    judged,
    shutdowns,
    strand,
    surveys,
    verdict,
    worn,
)

from takeup.judgement.rates import IN_RATE, in_rate
from takeup.model import row_ids

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from takeup.judgement.judging import Judged

METER = {
    "meter_survey_before": 31,
    "meter_survey_after": -1,
    "meter_usual_before": 32,
    "meter_usual_after": 33,
}


def zeroed(*points: tuple[float, float]) -> pd.DataFrame:
    """Surveys of the example's life, the first of them its zero; that of number n has row 1000 + n."""
    frame = surveys((EXAMPLE_SURVEYS[0], list(points) or EXAMPLE_SURVEYS[1]))
    return frame.assign(is_zero=frame.index == 0)


def told(told_surveys: pd.DataFrame, meter: dict[str, int] = METER, day: int = MONDAY) -> Judged:
    row = strand(survey_rows=[1005]) | meter
    return judged(
        row, surveys=told_surveys, day=day, shutdowns=shutdowns(("spring", "all", day + 40, day + 42))
    )


FIVE = [(0, 0.0), *EXAMPLE_SURVEYS[1]]


def test_an_order_shows_register_survey_zero_rate_and_meter() -> None:
    coming = due(told(zeroed(*FIVE)), "limit_coming")
    assert {each.part: each.rows for each in coming.evidence} == {
        "register": (1, 2),
        "survey": (1005,),
        "baseline": (1001,),
        "rate": (1002, 1003, 1004),
        "takeup": (20,),
        "meter": (31, 32, 33),
    }


def test_a_row_stands_under_one_part_only() -> None:
    coming = due(told(zeroed(*FIVE)), "limit_coming")
    rows = [row for each in coming.evidence for row in each.rows]
    assert sorted(rows) == sorted(set(rows)) == list(row_ids(coming.evidence))


def test_what_is_shown_beside_the_evidence_makes_none_newer() -> None:
    """Other meter readings and another baseline: shown, yet no order is withdrawn or speaks again by them."""
    first = told(zeroed(*FIVE))
    later = told(zeroed(*FIVE).assign(is_zero=False), METER | {"meter_usual_after": 44})
    assert due(first, "limit_coming").evidence != due(later, "limit_coming").evidence
    assert first.verdicts["evidence_key"].tolist() == later.verdicts["evidence_key"].tolist()
    newer = judged(strand(survey_rows=[1005, 1006]) | METER, surveys=zeroed(*FIVE))
    assert verdict(newer, "limit_coming")["evidence_key"] != verdict(first, "limit_coming")["evidence_key"]


def said(row: Mapping[str, Any], frame: pd.DataFrame) -> list[str]:
    """What each survey says of the rate."""
    columns = (frame[name].tolist() for name in ("hours", "e_wear_mean", "usable_for_rate"))
    return [in_rate(row, hours, e, fit=fit) for hours, e, fit in zip(*columns, strict=True)]


NO_CASE = {"pin_case_mm": 0.0, "bushing_case_mm": 0.0}
TEN = [(1000.0 * n, 0.3 * n) for n in range(1, 11)]
ROSE = [(500, 0.2), (1500, 0.5), (2500, 0.8), (3500, 1.1), (4500, 2.0), (5500, 2.9)]
CASE = [(1000, 0.6), (2000, 1.2), (3000, 1.8), (4000, 2.4), (5000, 3.0), (6000, 3.6)]


@pytest.mark.parametrize(
    ("points", "differs", "wanted"),
    [
        pytest.param(
            [(50, 0.2), *EXAMPLE_SURVEYS[1]], {}, ["run_in", *["taken"] * 4], id="run-in"
        ),
        pytest.param([(0, 0.0), (900, 0.2)], {}, ["run_in", "no_rate"], id="too few for a rate"),
        pytest.param(TEN, NO_CASE, [*["older"] * 2, *["taken"] * 8], id="the last eight"),
        pytest.param(ROSE, NO_CASE, [*["before_change"] * 3, *["taken"] * 3], id="rate rose"),
        pytest.param(CASE, {}, [*["before_case"] * 3, *["taken"] * 3], id="past the case"),
        pytest.param(CASE[:4], {}, [*["taken"] * 3, "after_case"], id="one past the case"),
    ],
)  # fmt: skip
def test_each_survey_says_whether_the_rate_took_it(points, differs, wanted) -> None:
    frame = zeroed(*points)
    hours, e = points[-1]
    now = dict.fromkeys(("survey_hours", "hours_now", "hours_reckoned"), hours)
    found = judged(strand(**(worn(e) | now | differs)), surveys=frame).prognosis.iloc[0]
    assert said(found, frame) == wanted
    assert wanted.count("taken") == (found["rate_surveys"] if found["own_rate"] else 0)
    assert set(wanted) <= set(IN_RATE)


def test_a_survey_that_is_not_fit_for_a_rate_says_so() -> None:
    frame = zeroed(*FIVE)
    frame.loc[2, "usable_for_rate"] = False
    frame.loc[3, "e_wear_mean"] = np.nan
    row = judged(strand(), surveys=frame).prognosis.iloc[0]
    assert said(row, frame)[2:4] == ["not_fit", "not_fit"]
