"""What was gauged grows old in the chain's own measure. That it is 0.5 points: common practice, no source."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import (
    EXAMPLE_SURVEYS,
    MONDAY,
    alone,
    checks,
    due,
    fact,
    judged,
    overridden,
    surveys,
    verdict,
)

from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.judging import Judged
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, Urgency
from takeup.resources import templates_dir

SIZES = {"sidebar_height_mm": 76.0, "sidebar_hole_mm": 36.0}
#: thing gauged → rule, case while it stands, case when it is old, case at its limit
THINGS = {
    "teeth": ("sprocket_wear", "tooth_sound", "tooth_old", "tooth_worn"),
    "sidebar": ("sidebar_edge", "below", "below_old", "plan_line_reached"),
    "clearance": ("clearance", "enough", "enough_old", "used_up"),
}


def told(
    thing: str, hours: float, *, worn: bool = False, settings: JudgementSettings | None = None
) -> Judged:
    """The example's strand, of 0.2670 %/1000 h and 5500 h, one thing gauged at some hours of its life."""
    differs: dict[str, Any] = {}
    gauged = []
    if thing == "teeth":
        gauged = [{"strand": "S", "gauge_depth_mm": 5.0 if worn else 1.0, "machine_hours": hours}]
    elif thing == "sidebar":
        differs = SIZES | {
            "sidebar_now_mm": 68.0 if worn else 75.0,
            "sidebar_hours": hours,
            "sidebar_day": MONDAY - 99,
        }
    else:
        now = 8.0 if worn else 30.0
        differs = {"clearance_min_mm": 9.0, "clearance_now_mm": now, "clearance_hours": hours}
        differs["clearance_day"] = MONDAY - 99
    return judged(
        alone("S", **differs),
        surveys=surveys(("S|2025-03-01", EXAMPLE_SURVEYS[1])),
        sprockets=checks(*gauged),
        settings=settings,
        only=(THINGS[thing][0],),
    )


@pytest.mark.parametrize("thing", THINGS)
def test_what_was_gauged_counts_until_the_chain_has_worn_on_by_half_a_point(thing: str) -> None:
    """The median of the example's pairwise slopes is 0.2670 %/1000 h: 0.5 points come in 1873 h."""
    rule, fresh, old, at_limit = THINGS[thing]
    assert verdict(told(thing, 5500 - 1865.0), rule, "S")["reason"] == fresh
    assert verdict(told(thing, np.nan), rule, "S")["reason"] == fresh
    asked = due(told(thing, 5500 - 1885.0), rule, "S")
    assert (asked.reason, asked.job, asked.urgency) == (old, Job.MEASURE, Urgency.PLAN)
    assert fact(asked, "hours_since") == 1885
    assert fact(asked, "points_since") == pytest.approx(0.503, abs=0.0011)
    text = rule_sentence(environment([templates_dir()]), rule, old, "S", asked.facts)
    assert "run 1885 h and gained 0.50 points" in text
    assert "default, common practice, no source" in text
    # What was at its limit has not come back.
    assert due(told(thing, 100.0, worn=True), rule, "S").reason == at_limit


def test_a_site_may_want_it_gauged_more_often() -> None:
    asked = due(
        told("teeth", 4500.0, settings=overridden("findings", gauge_points=0.2)), "sprocket_wear", "S"
    )
    assert asked.reason == "tooth_old"
    (setting,) = [each for each in asked.settings if each.name == "findings.gauge_points"]
    assert setting.value == 0.2


def test_a_tooth_gauged_long_ago_is_told_before_one_gauged_now() -> None:
    gauged = checks(
        {"sprocket": "head", "strand": "S", "gauge_depth_mm": 2.0, "machine_hours": 5490.0},
        {"sprocket": "tail", "strand": "S", "gauge_depth_mm": 1.0, "machine_hours": 900.0},
    )
    asked = due(
        judged(alone("S"), surveys=surveys(("S|2025-03-01", EXAMPLE_SURVEYS[1])), sprockets=gauged),
        "sprocket_wear",
        "S",
    )
    assert fact(asked, "sprocket") == "tail"
