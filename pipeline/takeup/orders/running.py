"""The run hours of a machine that an open order wants stopped."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from takeup.model import Order


class RunSince(NamedTuple):
    """Hours that the meter shows since the machine must not run, and the days of its two readings."""

    hours: float
    from_on: date
    to_on: date


def run_since(order: Order) -> RunSince | None:
    """The most hours that any reason of the order tells, None where none tells any."""
    told = []
    for reason in order.reasons:
        said: dict[str, Any] = {fact.name: fact.value for fact in reason.facts}
        if "run_since_hours" in said:
            told.append(RunSince(said["run_since_hours"], said["run_from_on"], said["run_to_on"]))
    return max(told, default=None)
