"""How many hours of a stop a job needs, and the sum they come from.

Source: bases for planning, common practice, no source; a site's own value goes before each. A replacement's
hours are judgement's: the register's, else by the metres of the set.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from takeup.layered import Layered
from takeup.model import Job
from takeup.orders.asked import Asked
from takeup.orders.places import Places
from takeup.orders.settings import OrdersSettings


@dataclass(frozen=True)
class Basis:
    """Hours of a job: ``base``, and ``each`` for ``count`` things; ``origins`` say whose values those are."""

    base: float
    each: float
    count: int
    origins: tuple[str, ...]
    is_default: bool

    @property
    def hours(self) -> float:
        """The sum of the two, in hours."""
        return self.base + self.each * self.count


def basis(
    job: Job, machine: str, strands: int, questions: int, settings: Layered[OrdersSettings]
) -> Basis | None:
    """What the hours of a job are planned by.

    Parameters
    ----------
    job : Job
    machine : str
    strands : int
        Strands to be measured.
    questions : int
        Subjects asked about: for sprockets, one for each strand or machine whose worst one is worn.
    settings : Layered of OrdersSettings

    Returns
    -------
    Basis or None
        None for correcting data, which keeps no machine, and for a replacement.

    Examples
    --------
    Two strands of four marks: half an hour, and a quarter of an hour for each of eight marks.

    >>> found = basis(Job.MEASURE, "M", 2, 1, Layered(OrdersSettings()))
    >>> found.base, found.each, found.count, found.hours
    (0.5, 0.25, 8, 2.5)
    """
    if job in (Job.CORRECT_DATA, Job.REPLACE_SET):
        return None
    base, each, count = f"{job.value}_hours", "", 0
    if job is Job.MEASURE:
        base, each = "measure_base_hours", "measure_hours_per_mark"
        count = strands * int(settings.value("measure_marks", machine))
    if job is Job.SPROCKETS:
        base, each, count = "", "sprocket_hours", questions
    said = [settings.sourced(name, machine) for name in (base, each) if name]
    return Basis(
        base=float(settings.value(base, machine)) if base else 0.0,
        each=float(settings.value(each, machine)) if each else 0.0,
        count=count,
        origins=tuple(dict.fromkeys(one.origin for one in said)),
        is_default=all(one.is_default for one in said),
    )


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
    strands = len({strand for each in group for strand in each.strands})
    found = basis(job, machine, strands, len({each.question for each in group}), settings)
    return 0.0 if found is None else found.hours
