"""How old what was gauged may be: teeth, sidebars and clearance wear on while nobody stands before them.

A tape tells each survey how far the chain has worn; what is gauged beside it is not measured by itself. So
its age is told in the chain's own measure, the elongation gained since at the strand's rate: a fast chain's
gauging grows old in fewer hours than a slow one's. Past ``findings.gauge_points`` what was found within its
limit says so no more, and is asked for with the next survey, whose steps hold the gauge. What was found at
its limit stays so. That every survey gauges the teeth, and how old is old: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.judgement import reads
from takeup.judgement.facts import METER, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import HOURS, PERCENT, Row, numbers, rounded, words

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from takeup.judgement.settings import JudgementSettings
    from takeup.model import Fact


class Age(NamedTuple):
    """(n,) run hours and points of elongation since a gauging, NaN where not known, and whether it is old."""

    hours: NDArray[np.float64]
    points: NDArray[np.float64]
    old: NDArray[np.bool_]


def age(strands: pd.DataFrame, gauged_hours: NDArray[np.float64], settings: JudgementSettings) -> Age:
    """How old a gauging on each strand is.

    Parameters
    ----------
    strands : DataFrame
        Rows of the prognosis.
    gauged_hours : (n,) float
        Hours of the strand's life at the gauging; below nought before the chain was fitted. [h]
    settings : JudgementSettings
    """
    most = settings.findings.column("gauge_points", words(strands, "machine"), words(strands, "strand"))
    hours = np.maximum(numbers(strands, "hours_reckoned") - gauged_hours, 0.0)
    points = rounded(numbers(strands, "rate") * hours / 1000, PERCENT)
    with np.errstate(invalid="ignore"):
        return Age(rounded(hours, HOURS), points, np.asarray(points > most, dtype=bool))


def age_facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The hours and points since, and the points from which it is old."""
    return (
        *facts_of({"hours_since": row["hours_since"]}, METER),
        *facts_of({"points_since": row["points_since"], "rate": round(row["rate"], 4)}),
        setting_fact("points_old", settings.findings, "gauge_points", row),
    )


def aged(row: Row) -> Iterator[reads.Name]:
    """What the age was reckoned with, in cases that tell it."""
    if row["case"].endswith("_old"):
        yield from reads.survey(row)
        yield from reads.rate(row)
        yield "findings", "gauge_points"
