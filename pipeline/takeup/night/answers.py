"""Why each order stands, filled from what a night knows: for the page beside it, and for who asks later."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from takeup.audit.answers import ExportLine, OrderAnswer, close_outs
from takeup.audit.left_out import LeftOutRecord
from takeup.derive.derivation import Derived
from takeup.model import Feed, KeptOut, Order, OrderEvent

if TYPE_CHECKING:
    from datetime import date

    from takeup.store import Store


class Answers:
    """What the answers of one night share.

    Parameters
    ----------
    store : Store
    derived : Derived
        As of the night.
    kept_out : sequence of KeptOut
        Every row refused, waiting or set aside by then, by people too.
    events : iterable of OrderEvent
        What the nights up to then did to the orders that will be asked about.
    night : int
    as_of : date
    version : str
        Of the takeup that told the night.
    settings : str
        SHA-256 of the settings in force.
    subjects : collection of str
        Every strand, machine and order number that will be asked about.
    """

    def __init__(
        self,
        store: Store,
        derived: Derived,
        kept_out: Sequence[KeptOut],
        events: Iterable[OrderEvent],
        *,
        night: int,
        as_of: date,
        version: str,
        settings: str,
        subjects: Iterable[str],
    ) -> None:
        self.version, self.settings = version, settings
        asked = {subject for subject in subjects if subject}
        lives = derived.lives
        running = lives.loc[lives["is_open"] & lives["strand"].isin(asked), "life_id"]
        surveys = derived.surveys
        ended = store.ended(asked, night)
        self._close_outs: Sequence[Mapping[Any, Any]] = store.rows(
            Feed.ORDER_CLOSEOUTS, as_of=as_of, night=night
        ).to_dict("records")
        self._events: dict[str, list[OrderEvent]] = {}
        for event in events:
            self._events.setdefault(event.order, []).append(event)
        rows = {int(row[name]) for row in ended for name in ("row_id", "by_row")}
        rows |= {int(row["row_id"]) for row in self._close_outs}
        self._origins: dict[int, dict[Any, Any]] = {
            int(row["row_id"]): row for row in store.origins(rows - {-1}).to_dict("records")
        }

        whose = {self._place(row["row_id"]): row["subject"] for row in ended}
        self.left_out = LeftOutRecord(
            # What people set aside is known by file and line; whom it concerns, its row in the store says.
            (replace(row, subject=row.subject or whose.get((row.sha256, row.line), "")) for row in kept_out),
            surveys[surveys["life_id"].isin(set(running))],
            ended,
            self._origins,
        )

    def _place(self, row_id: int) -> tuple[str, int]:
        """The SHA-256 and line of a row."""
        where = self._origins[int(row_id)]
        return where["sha256"], int(where["line"])

    def of(self, order: Order, lines: Iterable[ExportLine]) -> OrderAnswer:
        """Why one order stands.

        Parameters
        ----------
        order : Order
        lines : iterable of ExportLine
            The rows it rests on.
        """
        return OrderAnswer(
            order=order,
            events=tuple(self._events.get(order.number, ())),
            lines=tuple(lines),
            closeouts=close_outs(order.number, self._close_outs, self._origins),
            left_out=self.left_out.of((*order.strands, order.machine, order.number)),
            version=self.version,
            settings=self.settings,
        )
