"""The book of orders of one rehearsal: every night's answers go in, orders come out as a night raises them.

Orders of a rehearsal have numbers of their own. A real close-out as done ends the rehearsed order that was
open for the same job and subject when it became known; nothing else that people decided is presumed, because
they decided about orders that the rehearsal may never raise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from takeup.derive.derivation import EPOCH
from takeup.model import Job, Order, OrderEvent, Verdict
from takeup.orders import update
from takeup.retell.closed import Closed
from takeup.retell.pastrows import PastRows

if TYPE_CHECKING:
    from takeup.judgement.nights import JudgedNight
    from takeup.orders.asked import Key
    from takeup.retell.nights import ToldNight
    from takeup.site.settings import Settings

_PLACES = ("strand", "set", "machine", "job_hours", "lead_days")


class _Row(NamedTuple):
    """One answer that stands, and the night from which its evidence has been what it is."""

    answer: str
    margin: float
    margin_u: float
    known: int


class RehearsedBook:
    """Orders night after night.

    Attributes
    ----------
    orders : list of Order
        Every order so far.
    events : list of OrderEvent
        What the nights did to them.
    """

    def __init__(self, past: PastRows, settings: Settings) -> None:
        self._past, self._settings = past, settings.orders
        self.orders: list[Order] = []
        self.events: list[OrderEvent] = []
        self._standing: dict[tuple[str, str, str], _Row] = {}
        self._evidence: dict[tuple[str, str, str], tuple[int, int]] = {}
        self._of_group: dict[int, list[tuple[str, str, str]]] = {}
        self._due: dict[int, list[tuple[int, Verdict]]] = {}
        self._places: dict[int, list[tuple[Any, ...]]] = {}
        self._closed: list[dict[str, Any]] = []

    def night(self, number: int, told: ToldNight, closed: Sequence[Closed], shutdowns: pd.DataFrame) -> None:
        """Enter one night.

        Parameters
        ----------
        number : int
            Running number of the night.
        told : ToldNight
        closed : sequence of Closed
            Close-outs that became known on this night.
        shutdowns : DataFrame
            The planned stops known on it.
        """
        for groups, judged in told.anew:
            self._forget(groups.tolist())
            if judged is not None:
                self._take(judged, number)
        self._close(closed, number)
        due = [
            verdict
            for _, _, verdict in sorted(
                ((rule, verdict.subject, verdict) for its in self._due.values() for rule, verdict in its),
                key=lambda one: one[:2],
            )
        ]
        asked = {(each.rule, each.subject) for each in due}
        asked |= {(each.rule, each.subject) for order in self.orders for each in order.reasons}
        as_of = EPOCH + pd.Timedelta(days=told.day).to_pytimedelta()
        updated = update(
            due,
            self._answers(asked),
            self.orders,
            _frame(self._closed),
            state=pd.DataFrame(
                [row for rows in self._places.values() for row in rows], columns=list(_PLACES)
            ),
            shutdowns=shutdowns,
            night=number,
            as_of=as_of,
            settings=self._settings,
        )
        self.orders = updated.orders
        self.events += updated.events

    def _forget(self, groups: Sequence[int]) -> None:
        for group in groups:
            for key in self._of_group.pop(group, ()):
                self._standing.pop(key, None)
            self._due.pop(group, None)
            self._places.pop(group, None)

    def _take(self, judged: JudgedNight, number: int) -> None:
        told = judged.verdicts
        columns = [told[name].tolist() for name in ("rule", "subject_kind", "subject", "machine")]
        values = [told[name].tolist() for name in ("answer", "margin", "margin_u", "evidence_key")]
        for rule, kind, subject, machine, answer, margin, doubt, evidence in zip(
            *columns, *values, strict=True
        ):
            key = (rule, kind, subject)
            before = self._evidence.get(key)
            if before is None or before[0] != evidence:
                before = self._evidence[key] = (evidence, number)
            self._standing[key] = _Row(answer, margin, doubt, before[1])
            group = self._past.group_named(kind, subject, machine)
            self._of_group.setdefault(group, []).append(key)
        for rule_number, verdict in judged.due:
            if verdict.job is not Job.CORRECT_DATA:
                group = self._past.group_named(verdict.subject_kind, verdict.subject, verdict.machine)
                self._due.setdefault(group, []).append((rule_number, verdict))
        places = [judged.prognosis[name].tolist() for name in _PLACES]
        for row in zip(*places, strict=True):
            group = self._past.group_named("strand", row[0], row[2])
            self._places.setdefault(group, []).append(row)

    def _answers(self, asked: set[tuple[str, str]]) -> pd.DataFrame:
        """The answers that stand to the questions asked, as :func:`takeup.orders.update` reads them."""
        rows = [
            (rule, subject, *self._standing[rule, kind, subject])
            for rule, subject in asked
            for kind in ("strand", "machine", "set", "source")
            if (rule, kind, subject) in self._standing
        ]
        told = pd.DataFrame(
            rows, columns=["rule", "subject", "answer", "margin", "margin_u", "evidence_known"]
        )
        return told.astype({"margin": np.float64, "margin_u": np.float64, "evidence_known": np.int64})

    def _close(self, closed: Sequence[Closed], number: int) -> None:
        """Real close-outs under the number of the rehearsed order that was open for the same work."""
        newest: Mapping[Key, Order] = {(order.job, order.subject): order for order in self.orders}
        for each in closed:
            order = newest.get((each.job, each.subject))
            if order is not None:
                self._closed.append(each.row | {"order": order.number, "known_from": number})


def _frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    if rows:
        return pd.DataFrame(rows)
    return pd.DataFrame(
        {name: pd.Series(dtype=object) for name in ("outcome", "recorded_at_pos", "known_from", "row_id")}
    )
