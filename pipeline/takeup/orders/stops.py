"""Planned stops of a machine."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, NamedTuple

from takeup.orders.days import EPOCH

if TYPE_CHECKING:
    import pandas as pd

ALL = "all"


class Stop(NamedTuple):
    """One planned stop of so many hours: sorts by its first day."""

    first: date
    last: date
    name: str
    hours: float


@dataclass(frozen=True)
class Stops:
    """Planned stops by machine; under ``all`` those of every machine."""

    by_machine: dict[str, tuple[Stop, ...]]

    def of(self, machine: str) -> Iterable[Stop]:
        """All stops of a machine, earliest first."""
        return sorted({*self.by_machine.get(machine, ()), *self.by_machine.get(ALL, ())})

    def holding(self, machine: str, day: date, job_hours: float) -> Stop | None:
        """The first stop of the machine that this day falls into and that is as long as the job."""
        return next(
            (stop for stop in self.of(machine) if stop.first <= day <= stop.last and stop.hours >= job_hours),
            None,
        )

    def following(self, machine: str, as_of: date, job_hours: float) -> Stop | None:
        """The next stop of the machine that starts after ``as_of`` and is as long as the job."""
        return next(
            (stop for stop in self.of(machine) if stop.first > as_of and stop.hours >= job_hours), None
        )


def stops(shutdowns: pd.DataFrame) -> Stops:
    """The planned stops of the shutdowns feed.

    Parameters
    ----------
    shutdowns : DataFrame
        Columns ``shutdown``, ``machines`` (names separated by a semicolon, or ``all``), ``starts_at_pos`` and
        ``ends_at_pos`` (day numbers with their fraction).
    """
    if shutdowns.empty:
        return Stops({})
    found: dict[str, list[Stop]] = defaultdict(list)
    columns = (shutdowns[name] for name in ("shutdown", "machines", "starts_at_pos", "ends_at_pos"))
    for name, machines, first, last in zip(*columns, strict=True):
        stop = Stop(
            EPOCH + timedelta(days=int(first)),
            EPOCH + timedelta(days=int(last)),
            name,
            # To the second: a fraction of a day must not lose the last of a stop's hours.
            round(24 * (last - first), 3),
        )
        for machine in machines.split(";"):
            found[machine.strip()].append(stop)
    return Stops({machine: tuple(sorted(each)) for machine, each in found.items()})
