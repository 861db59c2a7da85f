"""How many hours of a stop a job needs.

Source: bases for planning, common practice, no source; a site's own value goes before each. A replacement's
hours are judgement's: the register's, else by the metres of the set.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from takeup.layered import Layered
from takeup.model import Job
from takeup.orders.asked import Asked
from takeup.orders.places import Places
from takeup.orders.settings import OrdersSettings


def job_hours(
    group: Sequence[Asked], machine: str, places: Places, settings: Layered[OrdersSettings]
) -> float:
    """Hours for which the job of these verdicts keeps the machine.

    Parameters
    ----------
    group : sequence of Asked
        All that is asked for one job on one subject.
    machine : str
    places : Places
    settings : Layered of OrdersSettings

    Returns
    -------
    float
        0 for correcting data, and for a replacement whose length nobody states, so that no stop is too short
        for it. [h]
    """
    job, subject = group[0].job, group[0].subject
    if job is Job.REPLACE_SET:
        hours = places.job_hours.get(subject, math.nan)
        return 0.0 if math.isnan(hours) else hours
    if job is Job.CORRECT_DATA:
        return 0.0
    if job is Job.MEASURE:
        strands = len({strand for each in group for strand in each.strands})
        marks = strands * int(settings.value("measure_marks", machine))
        per_mark = float(settings.value("measure_hours_per_mark", machine))
        return float(settings.value("measure_base_hours", machine)) + marks * per_mark
    if job is Job.SPROCKETS:
        return len({each.question for each in group}) * float(settings.value("sprocket_hours", machine))
    return float(settings.value(f"{job.value}_hours", machine))
