"""A machine that must not run, and what its meter shows since.

An order to stop is obeyed or not, and the meter knows: hours between two readings after the moment from which
the machine must stand are told with the order. They decide nothing. Source: common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement.facts import METER, facts
from takeup.judgement.rule import HOURS
from takeup.model import Urgency

if TYPE_CHECKING:
    from takeup.derive.meters import Run
    from takeup.judgement.rule import Row, Situation
    from takeup.model import Fact


def run_since(row: Row, situation: Situation) -> Run | None:
    """The run hours since the moment from which the machine must not run, None where there are none.

    Parameters
    ----------
    row : mapping
        The rule's row over its strand's; its column ``stop_pos`` is that moment.
    situation : Situation
    """
    if row["urgency"] != Urgency.STOP_NOW.value or situation.meters is None:
        return None
    run = situation.meters.run_from(row["machine"], float(row.get("stop_pos", np.nan)))
    return run if run is not None and round(run.hours, HOURS) > 0 else None


def running_facts(run: Run | None) -> tuple[Fact, ...]:
    """The hours and the days of the two readings."""
    if run is None:
        return ()
    return facts(
        {
            "run_since_hours": round(run.hours, HOURS),
            "run_from_on": run.from_day,
            "run_to_on": run.to_day,
        },
        METER,
    )
