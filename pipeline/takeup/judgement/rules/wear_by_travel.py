"""Sister machines compare by the kilometre their joints slide, not by the hour.

Tells a strand's own wear rate by the kilometre slid, next to the middle of the strands in the same service.
It asks for nothing: pressure, lubricant and abrasive still differ, and people decide what is a lot. Source:
derived, :mod:`takeup.wear.travel`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from takeup.judgement import reads
from takeup.judgement.evidence import BEHIND_WEAR
from takeup.judgement.facts import REGISTER, fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CLEAR,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    numbers,
    words,
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact, Job
from takeup.wear.calibration import FEWEST_FOR_POOLED
from takeup.wear.travel import loops_per_hour, rate_per_km, slide_per_hour

if TYPE_CHECKING:
    from numpy.typing import NDArray

_WANTED = ("speed_m_per_s", "pitches", "pitch_mm", "pin_diameter_mm", "teeth_drive", "teeth_tail")
_STEP = 4


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """Every strand's own rate by the kilometre, and the middle of its service."""
    strands = situation.strands
    speed, pitch, pin = (numbers(strands, name) for name in ("speed_m_per_s", "pitch_mm", "pin_diameter_mm"))
    pitches = numbers(strands, "pitches_now")
    slide = slide_per_hour(
        speed, pitches, pitch, pin, numbers(strands, "teeth_drive"), numbers(strands, "teeth_tail")
    )
    own = np.where(yes(strands, "own_rate"), numbers(strands, "rate"), np.nan)
    by_km = np.round(rate_per_km(own, slide), _STEP)
    middle, sisters = _middle(words(strands, "service"), by_km)
    case = choose(
        (np.isnan(own), "no_rate"),
        (np.isnan(slide), "not_known"),
        (np.isnan(by_km), "stands_still"),
        (np.isnan(middle), "alone"),
        otherwise="beside_others",
    )
    return answers(
        strands,
        case,
        value=by_km,
        unit="%/km",
        loops=np.round(loops_per_hour(speed, pitches, pitch), 1),
        slide=np.round(slide, 2),
        middle=middle,
        sisters=sisters,
    )


def _middle(
    service: NDArray[np.object_], by_km: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The middle rate by the kilometre of each strand's service, and of how many strands; NaN of too few."""
    known = pd.Series(by_km).where(service != "").groupby(service)
    count = known.transform("count").to_numpy(dtype=np.int64)
    middle = np.round(known.transform("median").to_numpy(dtype=np.float64), _STEP)
    return np.where(count >= FEWEST_FOR_POOLED, middle, np.nan), count


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:  # noqa: ARG001
    """Loops and sliding by the hour, the rate by hour and by kilometre, and the middle of the service."""
    case = row["case"]
    told: tuple[Fact, ...] = () if case == "no_rate" else (fact("rate", round(row["rate"], _STEP)),)
    missing = tuple(name for name in _WANTED if np.isnan(row[name]))
    if case in ("no_rate", "not_known"):
        return told + facts_of({"missing": missing}, REGISTER)
    told += facts_of({"loops_per_hour": row["loops"], "slide_m_per_h": row["slide"]})
    told += facts_of({"rate_per_km": row["value"]})
    if case == "beside_others":
        told += facts_of({"rate_per_km_middle": row["middle"], "sisters": row["sisters"]})
    return told


RULE = Rule(
    name="wear_by_travel",
    job=Job.MEASURE,
    outcomes={
        "beside_others": CLEAR,
        "alone": CLEAR,
        "stands_still": CLEAR,
        "not_known": CLEAR,
        "no_rate": CLEAR,
    },
    judge=judge,
    facts=facts,
    evidence=("survey_rows", "strand_row"),
    beside=BEHIND_WEAR,
    reads=(reads.survey, reads.rate),
)
