"""What the orders room counts by."""

from __future__ import annotations

from dataclasses import dataclass

from takeup.layered import setting
from takeup.model import Source


@dataclass(frozen=True)
class OrdersSettings:
    """How soon and how long jobs are, how they share a stop, and how long a finished one is left alone."""

    this_week_days: int = setting(
        7,
        "d",
        Source.PRACTICE,
        "Days that a job for this week has, from the day it was first asked for.",
        low=1,
        high=14,
        finest="machine",
    )
    bundling_days: int = setting(
        21,
        "d",
        Source.PROPOSED,
        "Jobs on one machine whose need-by lie this near share a visit.",
        low=7,
        high=45,
        finest="machine",
    )
    silence_days: int = setting(
        7,
        "d",
        Source.PROPOSED,
        "Days after a job was done in which its evidence may still arrive before it is asked for.",
        low=1,
        high=60,
        finest="site",
    )
    measure_base_hours: float = setting(
        0.5,
        "h",
        Source.PRACTICE,
        "Hours of a survey beside those at its marks.",
        low=0.0,
        high=24.0,
        finest="machine",
    )
    measure_hours_per_mark: float = setting(
        0.25,
        "h",
        Source.PRACTICE,
        "Hours of a survey for each mark of each strand.",
        low=0.0,
        high=4.0,
        finest="machine",
    )
    measure_marks: int = setting(
        4,
        "marks",
        Source.PRACTICE,
        "Marks of a strand that a survey is planned for.",
        low=1,
        high=20,
        finest="machine",
    )
    lubricate_hours: float = setting(
        1.5,
        "h",
        Source.PRACTICE,
        "The most hours that lubricating takes.",
        low=0.1,
        high=24.0,
        finest="machine",
    )
    adjust_takeup_hours: float = setting(
        8.0,
        "h",
        Source.PRACTICE,
        "The most hours that adjusting or shortening takes.",
        low=0.5,
        high=72.0,
        finest="machine",
    )
    inspect_alignment_hours: float = setting(
        10.0,
        "h",
        Source.PRACTICE,
        "The most hours that inspecting alignment and rub takes.",
        low=0.5,
        high=72.0,
        finest="machine",
    )
    investigate_fracture_hours: float = setting(
        8.0,
        "h",
        Source.PRACTICE,
        "One shift at the machine; the laboratory takes days more.",
        low=1.0,
        high=240.0,
        finest="machine",
    )
    sprocket_hours: float = setting(
        12.0,
        "h",
        Source.PRACTICE,
        "The most hours that one sprocket takes.",
        low=0.5,
        high=72.0,
        finest="machine",
    )
    #: What stands before the running number of an order; it is no value of the trade, so ``[site]`` gives it.
    prefix: str = "C"
