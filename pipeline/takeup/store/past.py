"""Every version of every row of a feed with the days between which it was known, for nights told in memory.

The same days as :mod:`.visible` under ``rehearsed``: a night's rows are known from its ``as of``, those of a
feed's first load from their own date plus the feed's usual delay.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from takeup.contracts import Field
from takeup.model import Feed
from takeup.store.handover import feed_frame, handed
from takeup.store.quoting import name, names, text

if TYPE_CHECKING:
    import pandas as pd
    from duckdb import DuckDBPyConnection

    from takeup.contracts import Contract

#: day numbers before and after every row
ALWAYS, NEVER = -1_000_000, 1_000_000


def past_rows(
    connection: DuckDBPyConnection, rules: Contract, fields: Sequence[Field], *, by_key: bool
) -> pd.DataFrame:
    """All versions of a feed's rows that were not retractions.

    Returns
    -------
    DataFrame
        ``row_id, file_id, line, known_from``, the frame columns of the fields, ``known_since`` (known and
        dated by then) and ``known_until`` (ended by then; :data:`NEVER` where in force).
    """
    first = f"SELECT min(night) FROM file WHERE feed = {text(rules.feed.value)} AND refused_whole = ''"
    event = f"f.{name(rules.event_day)}" if rules.event else str(ALWAYS)
    early = f"{event} + {rules.usual_delay_days}" if rules.event else str(ALWAYS)
    missing = " AND e.how <> 'missing'" if rules.feed is Feed.ENERGY_SOURCES else ""
    told = feed_frame(
        connection.execute(
            f"SELECT {names(['row_id', 'file_id', 'line', 'known_from'], 'f')}, "
            f"{', '.join(map(handed, fields))}, "
            f"greatest(CASE WHEN f.known_from = ({first}) THEN {early} ELSE {_day('n')} END, {event}) "
            "AS known_since, "
            f"coalesce((SELECT min(CASE WHEN e.night = ({first}) THEN {ALWAYS} ELSE {_day('m')} END) "
            f"FROM ended e JOIN night m ON m.number = e.night WHERE e.row_id = f.row_id{missing}), {NEVER}) "
            "AS known_until "
            f"FROM {name(rules.feed.value)} f JOIN night n ON n.number = f.known_from "
            f"WHERE f.withdrawn <> 'yes' ORDER BY {names(rules.key) if by_key else 'f.row_id'}"
        ),
        rules,
        fields,
    )
    whole = ["known_since", "known_until"]
    told[whole] = told[whole].astype(np.int64)
    return told


def _day(night: str) -> str:
    """The day number of a night's ``as of``."""
    return f"CAST({night}.as_of - DATE '1970-01-01' AS INTEGER)"
