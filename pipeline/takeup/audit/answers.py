"""The records that answer *why*: for an order its reasons and history, for a strand every rule's verdict."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from takeup.audit.gates import Gate
from takeup.audit.left_out import LeftOut
from takeup.judgement.evidence import PARTS, by_part
from takeup.model import Answer, Evidence, Order, OrderEvent, Verdict

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class ExportLine:
    """Where one row that was used stands, and the part it plays."""

    row_id: int
    feed: str
    file: str
    line: int
    sha256: str
    part: str


@dataclass(frozen=True)
class CloseOut:
    """One row of the close-outs about an order, as it was delivered; blank where a cell is."""

    recorded_at: str
    outcome: str
    until: str
    done_on: str
    hours_used: float | None
    reason: str
    as_found: str
    as_left: str
    recorded_by: str
    file: str
    line: int
    sha256: str


@dataclass(frozen=True)
class OrderAnswer:
    """Why an order stands: its reasons with facts, the export lines behind it, and what became of it.

    ``lines`` are those of its reasons and those that need-by, stops and costs rest on. ``version`` is the
    takeup whose rules said so, ``settings`` the SHA-256 of the settings they read.
    """

    order: Order
    events: tuple[OrderEvent, ...]
    lines: tuple[ExportLine, ...]
    closeouts: tuple[CloseOut, ...] = ()
    left_out: LeftOut = field(default_factory=LeftOut)
    version: str = ""
    settings: str = ""


@dataclass(frozen=True)
class Answered:
    """What one rule says of a strand, and what stands between it and an order."""

    verdict: Verdict
    gates: tuple[Gate, ...] = ()


@dataclass(frozen=True)
class StrandAnswer:
    """What every rule says of a strand, most pressing first, and the orders open for it.

    ``night`` and ``as_of`` are those of the night it was known by. ``unlike`` names the rules whose answer,
    told again, is not the one that this night stored.
    """

    strand: str
    night: int
    as_of: date
    answers: tuple[Answered, ...]
    orders: tuple[Order, ...]
    lines: tuple[ExportLine, ...]
    left_out: LeftOut = field(default_factory=LeftOut)
    version: str = ""
    settings: str = ""
    unlike: tuple[str, ...] = ()


def close_outs(
    order: str, rows: Iterable[Mapping[str, Any]], origins: Mapping[int, Mapping[Any, Any]]
) -> tuple[CloseOut, ...]:
    """The close-outs of one order, oldest first.

    Parameters
    ----------
    order : str
    rows : iterable of mapping
        Rows of the feed ``order_closeouts``; those whose outcome is blank say nothing.
    origins : mapping
        Row id to ``file``, ``line`` and ``sha256``.
    """
    found = []
    for row in sorted(rows, key=lambda row: (row["recorded_at_pos"], row["row_id"])):
        if row["order"] != order or not row["outcome"]:
            continue
        where = origins[int(row["row_id"])]
        hours = row["hours_used"]
        texts = ("until", "done_on", "reason", "as_found", "as_left", "recorded_by")
        found.append(
            CloseOut(
                recorded_at=row["recorded_at"],
                outcome=row["outcome"],
                hours_used=None if hours is None or math.isnan(hours) else float(hours),
                file=where["file"],
                line=int(where["line"]),
                sha256=where["sha256"],
                **{name: row[name] or "" for name in texts},
            )
        )
    return tuple(found)


def pressing(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """Verdicts by how pressing they are: due first, then what cannot be judged, then clear by margin."""
    rank = {Answer.DUE: 0, Answer.CANNOT_JUDGE: 1, Answer.CLEAR: 2}
    return sorted(
        verdicts,
        key=lambda one: (
            rank[one.answer],
            one.urgency.rank if one.urgency else 9,
            one.margin is None,
            one.margin or 0.0,
            one.rule,
        ),
    )


def export_lines(origins: pd.DataFrame, evidence: Iterable[Evidence]) -> tuple[ExportLine, ...]:
    """Where each row stands, under the first part it plays.

    Parameters
    ----------
    origins : DataFrame
        ``row_id``, ``feed``, ``file``, ``sha256``, ``line`` of the rows in the evidence.
    evidence : iterable of Evidence
    """
    part_of: dict[int, str] = {}
    for part, rows in by_part(evidence).items():
        part_of = dict.fromkeys(rows, part) | part_of
    placed = origins.sort_values(["feed", "file", "line"]).to_dict("records")
    found = [
        ExportLine(
            int(row["row_id"]),
            str(row["feed"]),
            str(row["file"]),
            int(row["line"]),
            str(row["sha256"]),
            part_of[int(row["row_id"])],
        )
        for row in placed
    ]
    return tuple(sorted(found, key=lambda line: PARTS.index(line.part)))
