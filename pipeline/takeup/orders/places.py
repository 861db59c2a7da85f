"""Which strand hangs where: from the strands to sets and machines, and what a set takes to renew."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

Names = tuple[str, ...]


@dataclass(frozen=True)
class Places:
    """Strands, sets and machines as the register has them. Names are sorted.

    ``job_hours`` and ``lead_days`` are those of renewing a set, by its name, where they are known.
    """

    set_of: dict[str, str]
    machine_of: dict[str, str]
    strands_in_set: dict[str, Names]
    strands_on: dict[str, Names]
    job_hours: dict[str, float]
    lead_days: dict[str, float]

    def strands(self, kind: str, subject: str) -> Names:
        """The strands behind a subject; a strand the register does not name stands for itself."""
        if kind == "set":
            return self.strands_in_set.get(subject, ())
        if kind == "machine":
            return self.strands_on.get(subject, ())
        return (subject,) if kind == "strand" else ()

    def sets(self, kind: str, subject: str) -> Names:
        """The sets behind a subject; a strand the register does not name is a set of its own."""
        if kind == "set":
            return (subject,)
        return tuple(sorted({self.set_of.get(strand, strand) for strand in self.strands(kind, subject)}))


def places(state: pd.DataFrame) -> Places:
    """The places of all open lives.

    Parameters
    ----------
    state : DataFrame
        Columns ``strand``, ``set``, ``machine``, ``job_hours``, ``lead_days``; one row an open life.
    """
    in_set: dict[str, set[str]] = defaultdict(set)
    on_machine: dict[str, set[str]] = defaultdict(set)
    set_of: dict[str, str] = {}
    machine_of: dict[str, str] = {}
    for strand, name, machine in zip(state["strand"], state["set"], state["machine"], strict=True):
        set_of[strand] = name
        machine_of[strand] = machine
        in_set[name].add(strand)
        on_machine[machine].add(strand)
    return Places(
        set_of,
        machine_of,
        _sorted(in_set),
        _sorted(on_machine),
        _most(state["set"], state["job_hours"]),
        _most(state["set"], state["lead_days"]),
    )


def _most(sets: Iterable[str], values: Iterable[float]) -> dict[str, float]:
    """The largest known value of each set."""
    found: dict[str, float] = {}
    for name, value in zip(sets, values, strict=True):
        if not math.isnan(value):
            found[name] = max(value, found.get(name, value))
    return found


def _sorted(groups: dict[str, set[str]]) -> dict[str, Names]:
    return {name: tuple(sorted(members)) for name, members in groups.items()}
