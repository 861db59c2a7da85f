"""The records that answer *why*: for an order its reasons and history, for a strand every rule's verdict."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from takeup.judgement.evidence import PARTS, by_part
from takeup.model import Answer, Evidence, Order, OrderEvent, Verdict
from takeup.orders.told import OPEN

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
class OrderAnswer:
    """Why an order stands: its reasons with facts, the export lines behind them, and what became of it."""

    order: Order
    events: tuple[OrderEvent, ...]
    lines: tuple[ExportLine, ...]


@dataclass(frozen=True)
class StrandAnswer:
    """What every rule says of a strand, most pressing first, and the orders open for it."""

    strand: str
    as_of: date
    verdicts: tuple[Verdict, ...]
    orders: tuple[Order, ...]
    lines: tuple[ExportLine, ...]


def order_answer(order: Order, events: Iterable[OrderEvent], origins: pd.DataFrame) -> OrderAnswer:
    """Why an order stands.

    Parameters
    ----------
    order : Order
    events : iterable of OrderEvent
        Of any orders.
    origins : DataFrame
        ``row_id``, ``feed``, ``file``, ``sha256``, ``line`` of the rows in its reasons.
    """
    return OrderAnswer(
        order,
        tuple(event for event in events if event.order == order.number),
        _lines(origins, (each for reason in order.reasons for each in reason.evidence)),
    )


def strand_answer(
    strand: str, as_of: date, verdicts: Sequence[Verdict], orders: Iterable[Order], origins: pd.DataFrame
) -> StrandAnswer:
    """What every rule says of a strand: due first, then what cannot be judged, then clear by margin."""
    rank = {Answer.DUE: 0, Answer.CANNOT_JUDGE: 1, Answer.CLEAR: 2}
    ordered = sorted(
        verdicts,
        key=lambda one: (
            rank[one.answer],
            one.urgency.rank if one.urgency else 9,
            one.margin is None,
            one.margin or 0.0,
            one.rule,
        ),
    )
    named = tuple(order for order in orders if strand in order.strands and order.state in OPEN)
    lines = _lines(origins, (each for verdict in verdicts for each in verdict.evidence))
    return StrandAnswer(strand, as_of, tuple(ordered), named, lines)


def _lines(origins: pd.DataFrame, evidence: Iterable[Evidence]) -> tuple[ExportLine, ...]:
    """Where each row stands, under the first part it plays."""
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
