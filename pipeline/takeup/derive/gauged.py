"""What inspections gauge beside the tape: the height left of sidebars, the clearance left.

Edges wear on pans and casings that no elongation tells of. The strand is as good as its worst place, so the
least of the latest day counts; what was gauged of a chain since renewed does not.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from takeup.derive.frames import NUMBER, ROWS, TEXT, typed
from takeup.derive.lives import EITHER, Register

#: what is gauged, and its column of the feed
GAUGED = {"sidebar": "sidebar_height_now_mm", "clearance": "clearance_now_mm"}


def gauged(rows: pd.DataFrame, register: Register) -> pd.DataFrame:
    """The least value of the latest day of each thing gauged.

    Parameters
    ----------
    rows : DataFrame
        Rows of the feed inspection_findings. One about a whole machine counts for each of its strands.
    register : Register

    Returns
    -------
    DataFrame
        One row an open life, sorted as the lives; for each of :data:`GAUGED` ``<name>_now_mm``,
        ``<name>_day`` (NaN where never gauged), ``<name>_place`` and ``<name>_rows``.
    """
    lives = register.lives
    open_lives = np.flatnonzero(lives["is_open"].to_numpy(dtype=bool))
    columns: dict[str, Any] = {}
    types: dict[str, str] = {}
    for name, column in GAUGED.items():
        least, rows_of = _least(rows.loc[rows[column].notna()], column, register)
        least = least.reindex(open_lives)
        columns |= {
            f"{name}_now_mm": least[column].to_numpy(np.float64),
            f"{name}_day": least["seen_at_day"].to_numpy(np.float64),
            f"{name}_place": least["place"].fillna("").to_numpy(dtype=object),
            f"{name}_rows": [rows_of.get(life, []) for life in open_lives.tolist()],
        }
        types |= dict(
            zip(
                (f"{name}_{part}" for part in ("now_mm", "day", "place", "rows")),
                (NUMBER, NUMBER, TEXT, ROWS),
                strict=True,
            )
        )
    return typed(columns, types)


def _least(rows: pd.DataFrame, column: str, register: Register) -> tuple[pd.DataFrame, dict[int, list[int]]]:
    """The row of the least value of each life's latest day, by life; and all row ids of that day."""
    lives = register.lives
    strands = lives.loc[lives["is_open"].to_numpy(dtype=bool), ["machine", "strand"]]
    its = rows[["row_id", "machine", "strand", "seen_at_day", "place", column]]
    whole = its.loc[its["strand"] == ""].drop(columns="strand").merge(strands, on="machine")
    its = pd.concat([its.loc[its["strand"] != ""], whole], ignore_index=True)
    life, _, _ = register.life_of(
        its["strand"].to_numpy(dtype=object), its["seen_at_day"].to_numpy(np.int64), EITHER
    )
    its = its.assign(life=life).loc[life >= 0]
    its = its.loc[its["seen_at_day"] == its.groupby("life")["seen_at_day"].transform("max")]
    its = its.sort_values(["life", column, "row_id"], kind="stable")
    rows_of: dict[int, list[int]] = {}
    for place, row in zip(its["life"].tolist(), its["row_id"].tolist(), strict=True):
        rows_of.setdefault(place, []).append(row)
    return its.drop_duplicates("life").set_index("life"), rows_of
