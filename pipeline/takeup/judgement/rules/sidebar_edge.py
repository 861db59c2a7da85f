"""Edges worn on pan or casing take the sidebar's strength, and no elongation tells of it.

The share of the net section gone is (height new - height now) / (height new - hole), at the thinnest place of
the latest day gauged. At the plan line the chain is turned over, or its replacement planned; at the limit the
machine stops. It is a limit of strength: within the uncertainty of the gauge the set is replaced this week,
as for every such limit. Drag chain built symmetrical is turned over when one side is worn (UFGS 15502N,
2.11.3.1). Source: the formula derived, limit 0.25 and plan line 0.15 common practice, no source.

A chain gauged at its plan line after that work was closed out in its life has been turned, or could not be:
then its replacement is planned.

Below the plan line it says so until the chain has worn on so far that the gauging is old.

A strand is asked about where it wears its edges: in a drag conveyor, where thin sidebars were seen, and where
somebody gauged one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
from takeup.judgement.edges import EDGES, sizes_missing
from takeup.judgement.facts import REGISTER, SEEN, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.gauging import age, age_facts, aged
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    PERCENT,
    PLAN,
    STOP_NOW,
    THIS_WEEK,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    numbers,
    rounded,
    words,
)
from takeup.judgement.seen import found_in_life
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact, Job

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

_OF = "of the net section"
_JUDGED = ("limit_reached", "limit_within", "plan_line_reached", "plan_line_again", "below", "below_old")


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """The worst sidebar of every strand against plan line and limit."""
    strands = situation.strands
    loss, expanded = numbers(strands, "sidebar_loss"), numbers(strands, "sidebar_loss_u")
    limit, plan = numbers(strands, "sidebar_limit"), numbers(strands, "sidebar_plan")
    gauged = ~np.isnan(numbers(strands, "sidebar_now_mm"))
    wanted = (words(strands, "kind") == "drag_conveyor") | found_in_life(situation, ("thin_sidebar",))
    with np.errstate(invalid="ignore"):
        since = age(strands, numbers(strands, "sidebar_hours"), settings)
        case = choose(
            (~gauged & ~wanted, "not_asked"),
            (~gauged, "not_gauged"),
            (np.isnan(loss), "no_sizes"),
            (loss < -expanded, "taller_than_new"),
            (loss >= limit, "limit_reached"),
            (rounded(loss + expanded, PERCENT) >= limit, "limit_within"),
            ((loss >= plan) & _turned(situation), "plan_line_again"),
            (loss >= plan, "plan_line_reached"),
            (since.old, "below_old"),
            otherwise="below",
        )
    line = np.where(
        np.isin(case, ("below", "below_old", "plan_line_reached", "plan_line_again")), plan, limit
    )
    line[np.isnan(loss)] = np.nan
    return answers(
        strands,
        case,
        value=loss,
        threshold=line,
        margin=rounded(line - loss, PERCENT),
        margin_u=expanded,
        unit="%",
        job=choose(
            (case == "plan_line_reached", Job.SPROCKETS.value),
            (case == "below_old", Job.MEASURE.value),
            otherwise="",
        ),
        hours_since=since.hours,
        points_since=since.points,
    )


def _turned(situation: Situation) -> NDArray[np.bool_]:
    """Whether the work at the plan line was closed out in this life, and a sidebar gauged after it."""
    strands = situation.strands
    done = situation.done_on(Job.SPROCKETS, words(strands, "set"))
    with np.errstate(invalid="ignore"):
        return np.asarray(
            (done > numbers(strands, "fitted_day")) & (done < numbers(strands, "sidebar_day")), dtype=bool
        )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """What was gauged, what the register says, and the share gone against plan line and limit."""
    case = row["case"]
    if case == "not_asked":
        return ()
    gauged = {
        "height_now_mm": row["sidebar_now_mm"],
        "gauged_on": row["sidebar_day"],
        "place": row["sidebar_place"],
    }
    told = facts_of(gauged, SEEN) + facts_of(
        {"height_mm": row["sidebar_height_mm"], "hole_mm": row["sidebar_hole_mm"]}, REGISTER
    )
    if case == "no_sizes" or (case == "not_gauged" and np.isnan(row["sidebar_loss_u"])):
        told += facts_of({"missing": sizes_missing(row)}, REGISTER)
    if case in ("no_sizes", "not_gauged"):
        return told
    told += (setting_fact("gauge_u_mm", settings.limits, "gauge_u_mm", row),)
    if case == "taller_than_new":
        return told
    if case == "below_old":
        told += age_facts(row, settings)
    return (
        *told,
        *facts_of({"limit": "sidebar", "limit_kind": EDGES["sidebar"][0]}),
        *facts_of({"loss_percent": row["sidebar_loss"], "loss_u_percent": row["sidebar_loss_u"]}),
        setting_fact(
            "loss_plan_percent", settings.limits, "sidebar_plan_part", row, row["sidebar_plan"], _OF
        ),
        setting_fact(
            "loss_limit_percent", settings.limits, "sidebar_limit_part", row, row["sidebar_limit"], _OF
        ),
    )


RULE = Rule(
    name="sidebar_edge",
    job=Job.REPLACE_SET,
    outcomes={
        "limit_reached": STOP_NOW,
        "limit_within": THIS_WEEK,
        "plan_line_reached": PLAN,
        "plan_line_again": PLAN,
        "below_old": PLAN,
        "below": CLEAR,
        "not_asked": CLEAR,
        "not_gauged": CANNOT,
        "no_sizes": CANNOT,
        "taller_than_new": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("sidebar_rows",),
    beside=("strand_row",),
    reads=(
        aged,
        reads.of("limits", "gauge_u_mm", cases=(*_JUDGED, "taller_than_new")),
        reads.of("limits", "sidebar_plan_part", "sidebar_limit_part", cases=_JUDGED),
    ),
)
