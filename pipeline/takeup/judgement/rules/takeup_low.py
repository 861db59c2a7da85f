"""Little travel left on the take-up: shorten the set, or adjust and watch until a step fits.

The trigger is a part of the whole travel (15 %, proposed for this project, no source). Removing k pitches is
allowed once the travel used is as much as they give back and the slack to join; k is even on chain of
alternate links and a multiple of the attachment spacing, equal on all strands of the set (derived).

A chain whose whole travel is shorter than a step can never be shortened, and one at another limit is not
worth it: then ``limit_coming`` and ``wear_limit`` ask for the chain instead. But only dates make that good:
where the travel may be out before a set can be here and fitted, the work is asked for all the same, so that
the chain stays tight until then. It is not where a limit of strength comes before the end of the travel: a
tight chain would break as well. Source: proposed for this project, no source.

With a rate of its own the work has a day: that on which the travel may be out.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.judgement import reads
from takeup.judgement.facts import REGISTER, known, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.limits import LIMITS
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    HOURS,
    MM,
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
from takeup.judgement.standing import WITHIN
from takeup.judgement.told import takeup_facts, takeup_out_facts
from takeup.model import Fact, Job
from takeup.wear.forecast import projected_day
from takeup.wear.slack import Shortening

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

_DUE = ("shorten", "not_yet", "step_unknown")
_WANTED = {
    "no_travel": ("takeup_travel_mm",),
    "no_reading": ("used_left_mm",),
    "step_unknown": ("attachment_every",),
}


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """Travel left against the trigger, and what can be done about it."""
    strands = situation.strands
    left = rounded(numbers(strands, "takeup_left"), MM)
    trigger = rounded(numbers(strands, "takeup_trigger_mm"), MM)
    answer = numbers(strands, "shortening")
    at_limit = (numbers(strands, "stands") >= WITHIN) & (words(strands, "decides_limit") != "takeup")
    none = yes(strands, "takeup_none")
    why_not = _why_not(strands, at_limit)
    acts = choose(
        (why_not != "", "replace_instead"),
        (answer == Shortening.ALLOWED, "shorten"),
        (answer == Shortening.NOT_YET, "not_yet"),
        otherwise="step_unknown",
    )
    case = choose(
        (none, "no_takeup"),
        (np.isnan(trigger), "no_travel"),
        (np.isnan(left), "no_reading"),
        (left >= trigger, "enough_left"),
        otherwise="",
    )
    case = np.where(case == "", acts, case)
    margin = np.where(none, np.nan, left - trigger)
    grows = 200 * margin / (numbers(strands, "pitches_now") * numbers(strands, "pitch_mm"))
    rate = numbers(strands, "rate")
    hours = numbers(strands, "survey_hours") + 1000 * grows / np.where(rate > 0, rate, np.nan)
    day = projected_day(
        numbers(strands, "reckon_day"),
        hours - numbers(strands, "hours_reckoned"),
        0.0,
        numbers(strands, "h_middle"),
    )
    machines, names = words(strands, "machine"), words(strands, "strand")
    return answers(
        strands,
        case,
        value=left,
        threshold=trigger,
        margin=margin,
        margin_u=settings.limits.column("takeup_u_mm", machines, names),
        unit="mm",
        turns=first_turn(case == "enough_left", situation.as_of, Turns(acts, rounded(hours, HOURS), day)),
        at_limit=np.where(at_limit, words(strands, "decides_limit"), ""),
        why_not=why_not,
        replaced_from_day=_replaced_from(strands),
        need_by_day=np.where(np.isin(case, _DUE) & yes(strands, "own_rate"), _out_early(strands), np.nan),
    )


def _why_not(strands: pd.DataFrame, at_limit: NDArray[np.bool_]) -> NDArray[Any]:
    """Why each chain is replaced rather than shortened, '' for one that is not."""
    out, out_middle = (numbers(strands, f"takeup_{name}") for name in ("day_early", "hours_middle"))
    limit = words(strands, "ahead_limit")
    strength = [name for name, (kind, _) in LIMITS.items() if kind == "strength"]
    sooner = (numbers(strands, "day_early") <= out) & (numbers(strands, "hours_middle") <= out_middle)
    sooner &= yes(strands, "own_rate")  # a borrowed rate refuses no work
    first = (np.isin(limit, strength) & sooner) | np.isin(words(strands, "decides_limit"), strength)
    return choose(
        (yes(strands, "takeup_final"), "never"),
        (at_limit & (_replaced_from(strands) <= out), "in_time"),
        (at_limit & first, "strength"),
        otherwise="",
    )


def _out_early(strands: pd.DataFrame) -> NDArray[np.float64]:
    """The day on which the travel may be out; NaN where none can be named."""
    day = numbers(strands, "takeup_day_early")
    return np.where(np.isfinite(day), day, np.nan)


def _replaced_from(strands: pd.DataFrame) -> NDArray[np.float64]:
    """The day from which the replacement can be counted on: the set is here, its margin run, the work due."""
    here = numbers(strands, "set_here_day") + numbers(strands, "margin_days")
    return np.fmax(here, numbers(strands, "need_by_day"))


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """Travel, step and what removing it gives back."""
    case = row["case"]
    told = takeup_facts(row)
    if known(row["threshold"]):
        told += (
            setting_fact(
                "trigger_mm",
                settings.limits,
                "takeup_left_part",
                row,
                row["threshold"],
                "of the whole travel",
            ),
        )
    if case in ("no_travel", "no_takeup", "no_reading"):
        return told + facts_of({"missing": _WANTED.get(case, ())}, REGISTER)
    step = row["step_pitches"] or None
    told += facts_of(
        {
            "step_pitches": step,
            "returns_mm": None if step is None else round(row["returns_mm"], 1),
            "held_by": row["held_by"],
        }
    )
    told += (setting_fact("joining_slack_mm", settings.limits, "joining_slack_mm", row),)
    if case == "shorten":
        told += facts_of(
            {
                "remove_pitches": step,
                "left_after_mm": round(row["left_after_mm"], 1),
                "pitches_after": row["pitches_after"],
                "takeup_limit_after_percent": round(row["takeup_limit_after"], 3),
            }
        )
    if case == "replace_instead":
        told += facts_of({"why_not": row["why_not"]})
    if row["at_limit"]:
        told += facts_of(
            {
                "at_limit": row["at_limit"],
                "reckoned_on": row["reckon_day"],
                "set_here_on": row["set_here_day"],
                "replaced_from_on": row["replaced_from_day"],
            }
        )
        ahead = row["ahead_limit"]
        if ahead and ahead not in ("takeup", row["at_limit"]):
            told += facts_of({"next_limit": ahead, "early_on": row["day_early"]})
    if row["at_limit"] or known(row["need_by_day"]):
        told += takeup_out_facts(row)
    if case == "step_unknown":
        told += facts_of({"missing": _WANTED[case]}, REGISTER)
    return told


def worn_by_survey(row: Row) -> Iterable[tuple[str, str]]:
    """What the survey was reckoned with, where the travel used was told from it."""
    return reads.survey(row) if row["takeup_is_carried"] or row["takeup_is_estimated"] else ()


RULE = Rule(
    name="takeup_low",
    job=Job.ADJUST_TAKEUP,
    outcomes={
        "shorten": THIS_WEEK,
        "not_yet": THIS_WEEK,
        "step_unknown": THIS_WEEK,
        "replace_instead": CLEAR,
        "enough_left": CLEAR,
        "no_takeup": CLEAR,
        "no_travel": CANNOT,
        "no_reading": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("takeup_row", "survey_rows", "strand_row"),
    beside=("baseline",),
    reads=(reads.takeup, reads.limits, worn_by_survey),
)
