"""Limits no tape tells, sidebar edge and clearance; and the register's pitches against its shaft centres.

Sidebar of the worked loss: 76 mm high, hole 36 mm, so 40 mm of section; the gauge is good for 1 mm, or 2.5 %
of it. Limit 25 % is 66.0 mm, plan line 15 % is 70.0 mm.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import MONDAY, alone, due, fact, findings, judged, overridden, strand, verdict

from takeup.judgement.evidence import by_part
from takeup.judgement.judging import Judged
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, Urgency

SIZES = {"sidebar_height_mm": 76.0, "sidebar_hole_mm": 36.0}
STOP, WEEK, PLAN = Urgency.STOP_NOW, Urgency.THIS_WEEK, Urgency.PLAN
SET, SPROCKETS = Job.REPLACE_SET, Job.SPROCKETS


def gauged(height: float) -> dict[str, Any]:
    return {
        "sidebar_now_mm": height, "sidebar_day": float(MONDAY - 3), "sidebar_place": "mark 3",
        "sidebar_rows": [801],
    }  # fmt: skip


DRAG = {"kind": "drag_conveyor"}

#: name → strand differs, case, job, urgency, margin
EDGE: dict[str, tuple[dict[str, Any], str, Job | None, Urgency | None, float]] = {
    "as new": (SIZES | gauged(76.0), "below", None, None, 15.0),
    "a little taller than new": (SIZES | gauged(77.0), "below", None, None, 17.5),
    "taller than new": (SIZES | gauged(77.1), "taller_than_new", None, None, np.nan),
    "above the plan line": (SIZES | gauged(70.1), "below", None, None, 0.25),
    "at the plan line": (SIZES | gauged(70.0), "plan_line_reached", SPROCKETS, PLAN, 0.0),
    "short of within": (SIZES | gauged(67.1), "plan_line_reached", SPROCKETS, PLAN, -7.25),
    "within": (SIZES | gauged(67.0), "limit_within", SET, WEEK, 2.5),
    "at the limit": (SIZES | gauged(66.0), "limit_reached", SET, STOP, 0.0),
    "past the limit": (SIZES | gauged(50.0), "limit_reached", SET, STOP, -40.0),
    "turned over since": (SIZES | gauged(69.0), "plan_line_again", SET, PLAN, -2.5),
    "gauged before it was turned": (SIZES | gauged(69.0), "plan_line_reached", SPROCKETS, PLAN, -2.5),
    "turned over and at the limit": (SIZES | gauged(66.0), "limit_reached", SET, STOP, 0.0),
    "the chain before was turned over": (
        SIZES | gauged(69.0),
        "plan_line_reached",
        SPROCKETS,
        PLAN,
        -2.5,
    ),
    "nobody asks": ({}, "not_asked", None, None, np.nan),
    "drag conveyor": (DRAG | SIZES, "not_gauged", None, None, np.nan),
    "drag conveyor, no sizes": (DRAG, "not_gauged", None, None, np.nan),
    "thin ones seen": (SIZES, "not_gauged", None, None, np.nan),
    "no hole registered": (gauged(70.0) | {"sidebar_height_mm": 76.0}, "no_sizes", None, None, np.nan),
    "hole as high as the bar": (
        gauged(70.0) | SIZES | {"sidebar_hole_mm": 76.0},
        "no_sizes",
        None,
        None,
        np.nan,
    ),
}


@cache
def edges() -> Judged:
    """Every case of the table on a strand of its own."""
    seen = {"finding": "thin_sidebar", "strand": "thin ones seen", "machine": "machine of thin ones seen"}
    turned = {
        "turned over since": MONDAY - 60.0,
        "gauged before it was turned": MONDAY - 1.0,
        "turned over and at the limit": MONDAY - 60.0,
        "the chain before was turned over": MONDAY - 400.0,
    }
    return judged(
        *(alone(name, **case[0]) for name, case in EDGE.items()),
        findings=findings(seen),
        history={(SPROCKETS, name): day for name, day in turned.items()},
    )


@pytest.mark.parametrize("name", EDGE)
def test_sidebar_edges_against_plan_line_and_limit(name: str) -> None:
    _, case, job, urgency, margin = EDGE[name]
    row = verdict(edges(), "sidebar_edge", name)
    assert row["reason"] == case
    assert np.isnan(margin) or row["margin"] == pytest.approx(margin)
    if job is not None:
        asked = due(edges(), "sidebar_edge", name)
        assert (asked.job, asked.urgency) == (job, urgency)
        assert by_part(asked.evidence) == {"register": (1,), "gauged": (801,)}


def test_what_cannot_be_judged_names_what_is_missing() -> None:
    from takeup.judgement.explaining import explain

    told = {
        name: next(
            each
            for each in explain(name, edges().situation, JudgementSettings())
            if each.rule == "sidebar_edge"
        )
        for name in ("drag conveyor, no sizes", "no hole registered", "drag conveyor")
    }
    assert fact(told["drag conveyor, no sizes"], "missing") == ("sidebar_height_mm", "sidebar_hole_mm")
    assert fact(told["no hole registered"], "missing") == ("sidebar_hole_mm",)
    assert all(each.name != "missing" for each in told["drag conveyor"].facts)
    assert {each.answer.value for each in told.values()} == {"cannot judge"}


def test_the_facts_carry_the_number_and_its_two_lines() -> None:
    told = due(edges(), "sidebar_edge", "within")
    names = (
        "loss_percent",
        "loss_u_percent",
        "loss_plan_percent",
        "loss_limit_percent",
        "limit",
        "limit_kind",
    )
    assert [fact(told, name) for name in names] == [22.5, 2.5, 15.0, 25.0, "sidebar", "strength"]


def test_a_sites_own_limit_goes_first() -> None:
    own = overridden("limits", sidebar_limit_part=0.4)
    found = judged(strand(**(SIZES | gauged(64.0))), settings=own)
    assert verdict(found, "sidebar_edge")["reason"] == "plan_line_reached"


def test_sizes_wanting_where_a_sidebar_was_gauged_are_asked_for() -> None:
    found = judged(strand(**gauged(70.0)), strand("BE-1-B"))
    for value in ("sidebar_height_mm", "sidebar_hole_mm"):
        asked = due(found, "data_unjudged", f"strands/{value}")
        assert fact(asked, "strands") == ("BE-1-A",)


#: clearance gauged, drawing's → case
CLEARANCES = {
    "not stated": (12.0, np.nan, "not_stated"),
    "not gauged": (np.nan, 15.0, "not_gauged"),
    "more than asked": (15.1, 15.0, "enough"),
    "just what is asked": (15.0, 15.0, "used_up"),
    "less than asked": (4.0, 15.0, "used_up"),
    "touching": (0.0, 0.0, "used_up"),
}


@cache
def clearances() -> Judged:
    """Every clearance of the table on a strand of its own."""
    return judged(
        *(
            alone(
                name, clearance_now_mm=now, clearance_min_mm=least, clearance_day=float(MONDAY),
                clearance_rows=[] if np.isnan(now) else [810],
            )
            for name, (now, least, _) in CLEARANCES.items()
        )
    )  # fmt: skip


@pytest.mark.parametrize("name", CLEARANCES)
def test_clearance_against_the_sites_drawing(name: str) -> None:
    now, least, case = CLEARANCES[name]
    row = verdict(clearances(), "clearance", name)
    assert row["reason"] == case
    if case == "used_up":
        asked = due(clearances(), "clearance", name)
        assert (asked.job, asked.urgency, asked.margin) == (SET, WEEK, pytest.approx(now - least))
        assert fact(asked, "limit_kind") == "function"


#: two sprockets of 12 teeth on 17 373.6 mm need 240 pitches of 152.4 mm; the chain was born 0.105 % long
LOOPS = {
    "agrees": ({}, "agree"),
    "one pitch more": ({"pitches": 241}, "agree"),
    "three pitches more": ({"pitches": 243}, "loop_apart"),
    "three pitches less": ({"pitches": 237}, "loop_apart"),
    "centres of the other machine": ({"centres_mm": 16000.0}, "loop_apart"),
    "no centres": ({"centres_mm": np.nan}, "not_known"),
    "no teeth": ({"teeth_tail": np.nan}, "not_known"),
}


@cache
def loops() -> Judged:
    """Every register of the table on a strand of its own."""
    return judged(*(alone(name, **differs) for name, (differs, _) in LOOPS.items()))


@pytest.mark.parametrize("name", LOOPS)
def test_pitches_against_shaft_centres(name: str) -> None:
    _, case = LOOPS[name]
    row = verdict(loops(), "register_loop", name)
    assert row["reason"] == case
    if case == "loop_apart":
        assert due(loops(), "register_loop", name).job is Job.CORRECT_DATA
        assert row["margin"] < 0


def test_both_lengths_are_told() -> None:
    told = due(loops(), "register_loop", "three pitches more")
    shift = (50.5 - 47.3) / 3048  # born long: 3051.2 mm over twenty pitches
    pitch = 152.4 * (1 + shift)
    assert fact(told, "chain_mm") == pytest.approx(243 * pitch, abs=0.06)
    assert fact(told, "loop_mm") == pytest.approx(2 * 17373.6 + 12 * pitch, abs=0.06)
    assert fact(told, "loop_limit_mm") == pytest.approx(2 * pitch, abs=0.06)
