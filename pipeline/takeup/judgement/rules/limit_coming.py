"""A chain is ordered in time for the date it *may* be needed, not the date it probably will.

With a rate of its own: from the buy-by date on, which is the early date (or the last planned stop before it)
less lead time and margin. Without one: at once when past the plan line, to be planned. A take-up that is
nearly out on a chain that can never be shortened orders it too. Urgency is the stop the work is planned for:
*next shutdown*, or *plan* for a later one. Source: common practice, no source; the plan line proposed for
this project, no source.

Past the hardened case the dates are those of the limit beyond. Where it may be reached before the next stop
that takes the work, waiting for that stop is no plan: *this week*. So it is where a limit of function or
strength may come within a week and no stop takes the work before: that is what *this week* means, and once
the early date is past, nobody knows any more that the limit is ahead. Source: proposed for this project, no
source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
from takeup.judgement.evidence import BEHIND_WEAR
from takeup.judgement.limits import LIMITS
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    NEXT_SHUTDOWN,
    PERCENT,
    PLAN,
    THIS_WEEK,
    Row,
    Rule,
    Situation,
    Turns,
    answers,
    choose,
    first_turn,
    numbers,
    rounded,
    words,
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import (
    forecast_facts,
    limit_facts,
    stop_facts,
    takeup_facts,
    takeup_out_facts,
    unjudged,
    unsure,
    why_unjudged,
)
from takeup.model import Fact, Job, Urgency

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

#: what *this week* means; definition
WEEK_DAYS = 7

_BEHIND = ("next_limit_before_stop", "next_limit_after_stop")
_DUE = (*_BEHIND, "buy_by_reached", "takeup_running_out", "plan_line_no_rate", "plan_line_no_dates")


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """Whether each strand's chain must be ordered."""
    strands, as_of = situation.strands, situation.as_of
    order_by = numbers(strands, "order_by_day")
    dated = ~np.isnan(order_by)
    own, over = yes(strands, "own_rate"), yes(strands, "over_plan_line")
    running_out = yes(strands, "takeup_final") & (
        rounded(numbers(strands, "takeup_left"), 1) < rounded(numbers(strands, "takeup_trigger_mm"), 1)
    )
    silent = numbers(strands, "hours_now") >= numbers(strands, "silence_hours")
    behind, exposed = yes(strands, "case_behind"), yes(strands, "exposed")
    case = choose(
        *unjudged(strands),
        (own & dated & behind & exposed, "next_limit_before_stop"),
        (own & dated & behind, "next_limit_after_stop"),
        (own & dated & (order_by <= as_of), "buy_by_reached"),
        (running_out, "takeup_running_out"),
        (over & ~own, "plan_line_no_rate"),
        (over & ~dated, "plan_line_no_dates"),
        (silent, "silence"),
        (unsure(strands), "limit_unsure"),
        (over, "past_plan_line"),
        otherwise="below_plan_line",
    )
    e, plan = numbers(strands, "plan_e"), numbers(strands, "plan_percent")
    by_day = own & dated & np.isfinite(order_by) & ~(behind & (order_by > as_of))
    doubt_days = (
        1000
        * numbers(strands, "plan_expanded")
        / (
            numbers(strands, "rate")
            * np.where(numbers(strands, "h_middle") > 0, numbers(strands, "h_middle"), np.nan)
        )
    )
    at_next = yes(strands, "at_next_stop") | ~dated
    due = np.isin(case, _DUE)
    own_dates = due & own & dated
    planned = np.where(due & ~at_next & ~behind & own, Urgency.PLAN.value, "").astype(object)
    waits = np.isin(case, ["past_plan_line", "below_plan_line"])
    return answers(
        strands,
        case,
        value=np.where(by_day, as_of, rounded(e, PERCENT)),
        threshold=np.where(by_day, order_by, rounded(plan, PERCENT)),
        margin=np.where(by_day, order_by - as_of, rounded(plan - e, PERCENT)),
        margin_u=np.where(by_day, np.ceil(doubt_days), rounded(numbers(strands, "plan_expanded"), PERCENT)),
        unit=np.where(by_day, "d", "%").astype(object),
        turns=first_turn(
            waits,
            as_of,
            Turns("buy_by_reached", day=np.where(by_day, order_by, np.nan)),
            Turns("silence", numbers(strands, "silence_hours"), numbers(strands, "silence_day")),
        ),
        urgency=np.where(own_dates & _within_a_week(strands), Urgency.THIS_WEEK.value, planned),
        # Dates on a borrowed rate are shown, but no work is tied to them.
        need_by_day=np.where(own_dates, numbers(strands, "need_by_day"), np.nan),
        buy_by_day=np.where(own_dates, numbers(strands, "buy_by_day"), np.nan),
    )


def _within_a_week(strands: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether a limit of function or strength may come within a week, and no stop takes the work before.

    The week counts from the reckoning day, as the early date does: so that the answer does not change with
    the weekday, and does not fall again while the machine runs.
    """
    ends = [name for name, (kind, _) in LIMITS.items() if kind != "acceleration"]
    near = numbers(strands, "day_early") <= numbers(strands, "reckon_day") + WEEK_DAYS
    return np.asarray(
        np.isin(words(strands, "ahead_limit"), ends) & near & (words(strands, "shutdown") == "")
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The elongation against the plan line, the forecast and the dates."""
    unknown = why_unjudged(row)
    if unknown:
        return unknown
    by_plan_line = row["plan_limit"] and row["case"].startswith("plan_line")
    told = limit_facts(row, settings, "plan" if by_plan_line else "ahead") + forecast_facts(row, settings)
    if row["case"] in _BEHIND:
        told += stop_facts(row) + takeup_facts(row) + takeup_out_facts(row)
    return told + (takeup_facts(row) if row["case"] == "takeup_running_out" else ())


RULE = Rule(
    name="limit_coming",
    job=Job.REPLACE_SET,
    outcomes={
        "next_limit_before_stop": THIS_WEEK,
        "next_limit_after_stop": NEXT_SHUTDOWN,
        "buy_by_reached": NEXT_SHUTDOWN,
        "plan_line_no_rate": PLAN,
        "plan_line_no_dates": PLAN,
        "takeup_running_out": NEXT_SHUTDOWN,
        "past_plan_line": CLEAR,
        "below_plan_line": CLEAR,
        "no_survey": CANNOT,
        "no_pitch": CANNOT,
        "limit_unsure": CANNOT,
        "silence": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "strand_row", "takeup_row"),
    beside=BEHIND_WEAR,
    reads=(
        *reads.FORECAST,
        reads.of("surveying", "silence_times", cases=("silence",)),
        reads.of("limits", "takeup_left_part", cases=("takeup_running_out",)),
    ),
)
