"""The record of a row set aside: which, why, what was found and what would have been believed.

Every check of this room answers with a list of :class:`Aside`; a row set aside by one check is no evidence
for the next.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from takeup.derive.frames import TEXT, WHOLE, typed
from takeup.derive.reasons import Reason
from takeup.model import Feed, KeptOut

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

#: columns and types of the frame of rows set aside
COLUMNS = {
    "row_id": WHOLE, "feed": TEXT, "reason": TEXT, "strand": TEXT, "subject": TEXT, "day": WHOLE,
    "column": TEXT, "found": TEXT, "wanted": TEXT, "raw": TEXT,
}  # fmt: skip

#: the cells of a row that a reader needs to see it, by feed
SHOWN = {
    Feed.ELONGATION_READINGS: [
        "strand", "measured_at", "mark", "occasion", "pitches", "length_mm", "elongation_percent",
        "chain_temperature_c", "tape_temperature_c", "start_link", "method", "measured_by",
    ],
    Feed.TAKEUP_READINGS: ["strand", "measured_at", "used_left_mm", "used_right_mm", "pitches_removed"],
    Feed.LUBE_RECORDS: ["strand", "done_at", "lubricant", "quantity_ml", "method", "done_by"],
    Feed.RUN_HOURS: ["machine", "read_at", "meter_hours", "meter_event"],
}  # fmt: skip


class Aside(NamedTuple):
    """One row set aside; ``place`` is its place in the arrays of the check."""

    place: int
    reason: Reason
    column: str
    found: str
    wanted: str


class Origins(Protocol):
    """Whoever knows the file and line of a row."""

    def origins(self, row_ids: list[int]) -> pd.DataFrame:
        """Columns row_id, feed, file, sha256, line."""


def standing(stands: NDArray[np.bool_], asides: Iterable[Aside]) -> NDArray[np.bool_]:
    """The rows that still stand after more were set aside."""
    left = stands.copy()
    left[[aside.place for aside in asides]] = False
    return left


def outside_lives(
    rows: pd.DataFrame, column: str, early: NDArray[np.bool_], late: NDArray[np.bool_]
) -> list[Aside]:
    """Rows dated before the first fitting of their strand, or after a removal and before another fitting."""
    return [
        Aside(place, reason, column, str(rows[column].iat[place]), wanted)
        for flags, reason, wanted in (
            (early, Reason.BEFORE_FITTING, "a day on or after the fitting"),
            (late, Reason.AFTER_REMOVAL, "a day on or before the removal"),
        )
        for place in np.flatnonzero(flags).tolist()
    ]


def percent(value: float) -> str:
    """A percentage as text, to a thousandth.

    Examples
    --------
    >>> percent(6.62703), percent(-0.00004)
    ('6.627 %', '0.000 %')
    """
    return f"{round(value, 3) + 0.0:.3f} %"


def frame(
    asides: list[Aside],
    rows: pd.DataFrame,
    feed: str,
    day: NDArray[np.int64],
    strand: NDArray[np.object_],
    subject: NDArray[np.object_] | None = None,
) -> pd.DataFrame:
    """Asides of one feed as a frame, with their rows as text; the same row and reason once.

    Parameters
    ----------
    asides : list of Aside
        Places count in ``rows``.
    rows : DataFrame
        Rows of the feed as the store gives them.
    day, strand, subject : (n,)
        Of each row; the subject is the strand unless given.

    Returns
    -------
    DataFrame
        :data:`COLUMNS`, sorted by row and reason.
    """
    seen = {(aside.place, aside.reason): aside for aside in asides}
    chosen = [seen[key] for key in sorted(seen)]
    places = np.array([aside.place for aside in chosen], dtype=np.int64)
    told = typed(
        {
            "row_id": rows["row_id"].to_numpy()[places],
            "feed": [feed] * len(chosen),
            "reason": [str(aside.reason) for aside in chosen],
            "strand": strand[places],
            "subject": (strand if subject is None else subject)[places],
            "day": day[places],
            "column": [aside.column for aside in chosen],
            "found": [aside.found for aside in chosen],
            "wanted": [aside.wanted for aside in chosen],
            "raw": _as_text(rows.iloc[places], feed),
        },
        COLUMNS,
    )
    return told.sort_values(["row_id", "reason"], ignore_index=True)


def kept_out(told: pd.DataFrame, store: Origins) -> list[KeptOut]:
    """The records of rows set aside, with file and line.

    Parameters
    ----------
    told : DataFrame
        From :func:`frame`.
    store
        Anything with ``origins(row_ids)``.
    """
    if told.empty:
        return []
    origins = store.origins(sorted({int(row) for row in told["row_id"]}))
    where = {int(row["row_id"]): row for row in origins.to_dict("records")}
    found = []
    for row in told.to_dict("records"):
        row_id = int(row["row_id"])
        place = where[row_id]
        found.append(
            KeptOut(
                state="set aside",
                reason=str(row["reason"]),
                feed=str(row["feed"]),
                file=str(place["file"]),
                sha256=str(place["sha256"]),
                line=int(str(place["line"])),
                raw=str(row["raw"]),
                column=str(row["column"]),
                found=str(row["found"]),
                wanted=str(row["wanted"]),
                subject=str(row["subject"]),
                row_id=row_id,
            )
        )
    return found


def _as_text(rows: pd.DataFrame, feed: str) -> list[str]:
    """The filled cells of each row, as taken in: a file's own text stays in the archive."""
    shown = SHOWN[Feed(feed)]
    return ["; ".join(_cells(shown, cells)) for cells in rows[shown].itertuples(index=False, name=None)]


def _cells(columns: list[str], cells: tuple[object, ...]) -> list[str]:
    filled = []
    for column, cell in zip(columns, cells, strict=True):
        text = f"{cell:.10g}" if isinstance(cell, float) else str(cell)
        if text not in {"", "nan", "None"}:
            filled.append(f"{column} {text}")
    return filled
