"""The work of a night grows with what is due, not with its square; counted in calls, not by the clock."""

from __future__ import annotations

import sys
from datetime import timedelta
from types import FrameType
from typing import Any

import pandas as pd
from tests.orders.plant import MONDAY, SETTINGS, closeout_frame, due, frame, shutdown_frame

from takeup import orders
from takeup.model import Job, Order, Urgency

JOBS = (Job.REPLACE_SET, Job.MEASURE, Job.LUBRICATE, Job.ADJUST_TAKEUP)
URGENCIES = (Urgency.PLAN, Urgency.NEXT_SHUTDOWN, Urgency.THIS_WEEK)


def night(size: int, book: list[Order], number: int) -> orders.Updated:
    """Due verdicts of many strands: two make a set, four a machine."""
    strands = range(size)
    state = pd.DataFrame(
        {
            "strand": [f"strand {n}" for n in strands],
            "set": [f"set {n // 2}" for n in strands],
            "machine": [f"machine {n // 4}" for n in strands],
            "job_hours": [24.3 for _ in strands],
            "lead_days": [112.0 for _ in strands],
        }
    )
    asked = [
        due(JOBS[n % 4], f"strand {n}", URGENCIES[n % 3], need_by=MONDAY + timedelta(days=n % 300))
        for n in strands
    ]
    return orders.update(
        asked,
        frame(asked, 1),
        book,
        closeout_frame([]),
        state=state,
        shutdowns=shutdown_frame(),
        night=number,
        as_of=MONDAY,
        settings=SETTINGS,
    )


def calls(size: int) -> int:
    """Python calls of a night that raises nothing and changes nothing."""
    book = night(size, [], 1).orders
    count = 0

    def counted(_frame: FrameType, event: str, _argument: Any) -> None:
        nonlocal count
        count += event == "call"

    sys.setprofile(counted)
    try:
        again = night(size, book, 2)
    finally:
        sys.setprofile(None)
    assert again.events == []
    assert len(again.orders) == size
    return count


def test_the_work_grows_in_proportion() -> None:
    small, large = calls(400), calls(1200)
    assert large < 3.1 * small
