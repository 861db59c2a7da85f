"""A chain at its wear limit is replaced, as a set; how soon goes by what the limit means.

Past an acceleration point (the hardened case) at the next shutdown; past a limit of function this week; past
a limit of strength this week from e + U on and *stop now* once e itself is past. A limit of function within
the uncertainty (e below it, e + U not) orders the chain for the next shutdown and never stops a machine. Each
limit is met in its own zero with the uncertainty of that zero. Source: proposed for this project, no source;
the limits' own sources stand in :mod:`takeup.wear.limits`.
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
    STOP_NOW,
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
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.standing import PAST, WITHIN
from takeup.judgement.told import (
    forecast_facts,
    limit_facts,
    next_limit_facts,
    unjudged,
    unsure,
    why_unjudged,
)
from takeup.model import Fact, Job

if TYPE_CHECKING:
    import pandas as pd


#: kind of the limit ahead → the case that its early bound may bring
_REACHED = {
    "acceleration": "acceleration_within",
    "function": "function_within",
    "strength": "strength_reached",
}


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """Where every strand stands against the limit whose reaching is most urgent."""
    strands = situation.strands
    stands = numbers(strands, "stands")
    kinds = np.array(
        [LIMITS[name][0] if name else "" for name in words(strands, "decides_limit")], dtype=object
    )
    past, within = stands == PAST, stands == WITHIN
    silent = numbers(strands, "hours_now") >= numbers(strands, "silence_hours")
    case = choose(
        *unjudged(strands),
        (past & (kinds == "strength"), "strength_past"),
        (within & (kinds == "strength"), "strength_reached"),
        (past & (kinds == "function"), "function_reached"),
        (within & (kinds == "function"), "function_within"),
        (past, "acceleration_reached"),
        (within, "acceleration_within"),
        (silent, "silence"),
        (unsure(strands), "limit_unsure"),
        otherwise="below",
    )
    e, limit = numbers(strands, "decides_e"), numbers(strands, "decides_limit_percent")
    ahead = [LIMITS[name][0] if name else "" for name in words(strands, "ahead_limit")]
    return answers(
        strands,
        case,
        value=rounded(e, PERCENT),
        threshold=rounded(limit, PERCENT),
        margin=rounded(limit - e, PERCENT),
        margin_u=rounded(numbers(strands, "decides_expanded"), PERCENT),
        unit="%",
        stop_pos=numbers(strands, "survey_day") + 0.5,
        turns=first_turn(
            case == "below",
            situation.as_of,
            Turns(
                np.array([_REACHED.get(kind, "") for kind in ahead], dtype=object),
                numbers(strands, "survey_hours") + numbers(strands, "hours_early"),
                numbers(strands, "day_early"),
            ),
            Turns("silence", numbers(strands, "silence_hours"), numbers(strands, "silence_day")),
        ),
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The elongation, the limit and what is to come."""
    return why_unjudged(row) or limit_facts(row, settings, "decides") + next_limit_facts(
        row
    ) + forecast_facts(row, settings)


RULE = Rule(
    name="wear_limit",
    job=Job.REPLACE_SET,
    outcomes={
        "strength_past": STOP_NOW,
        "strength_reached": THIS_WEEK,
        "function_reached": THIS_WEEK,
        "function_within": NEXT_SHUTDOWN,
        "acceleration_reached": NEXT_SHUTDOWN,
        "acceleration_within": NEXT_SHUTDOWN,
        "below": CLEAR,
        "no_survey": CANNOT,
        "no_pitch": CANNOT,
        "limit_unsure": CANNOT,
        "silence": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "strand_row", "takeup_row"),
    beside=BEHIND_WEAR,
    reads=(*reads.FORECAST, reads.of("surveying", "silence_times", cases=("silence",))),
)
