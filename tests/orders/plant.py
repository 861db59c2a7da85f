"""A small invented plant told night by night, for the tests of this room.

elevator 1 carries the set E1 of the strands E1-A and E1-B; drag 2 carries two sets of one strand each.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Any

import pandas as pd

from takeup import orders
from takeup.layered import Layered
from takeup.model import Answer, Change, Evidence, Fact, Job, Order, Urgency, Verdict
from takeup.orders import OrdersSettings, Updated
from takeup.orders.days import EPOCH

MONDAY = date(2026, 3, 2)
SETTINGS = Layered(OrdersSettings())

#: what a set of the plant takes to renew: nothing is stated of the elevator's, so that tests can say so
STATE = pd.DataFrame(
    [
        ("E1-A", "E1", "elevator 1", float("nan"), float("nan")),
        ("E1-B", "E1", "elevator 1", float("nan"), float("nan")),
        ("D2-N", "D2-N", "drag 2", 24.3, 112.0),
        ("D2-S", "D2-S", "drag 2", 24.3, 112.0),
    ],
    columns=["strand", "set", "machine", "job_hours", "lead_days"],
)
MACHINE_OF = dict(zip(STATE["strand"], STATE["machine"], strict=True)) | {"E1": "elevator 1"}


def day_number(day: date) -> int:
    return (day - EPOCH).days


def due(
    job: Job,
    subject: str = "E1-A",
    urgency: Urgency = Urgency.PLAN,
    *,
    rule: str | None = None,
    kind: str = "strand",
    seen_on: date | None = MONDAY,
    need_by: date | None = None,
    buy_by: date | None = None,
    case: str = "case",
    evidence: tuple[int, ...] = (1,),
    **facts: Any,
) -> Verdict:
    """A due verdict; its rule is named after the job unless said otherwise."""
    given = tuple(Fact(name, value) for name, value in facts.items())
    if seen_on is not None:
        given = (*given, Fact("seen_on", seen_on, "day"))
    machine = subject if kind == "machine" else MACHINE_OF.get(subject, "")
    return Verdict(
        rule=rule or f"{job.value}_rule",
        subject_kind=kind,
        subject=subject,
        answer=Answer.DUE,
        machine=machine,
        job=job,
        urgency=urgency,
        need_by=need_by,
        buy_by=buy_by,
        reason=case,
        evidence=(Evidence("survey", evidence),) if evidence else (),
        facts=given,
    )


def clear(verdict: Verdict) -> Verdict:
    """The same question, answered clear."""
    return replace(verdict, answer=Answer.CLEAR, job=None, urgency=None)


def cannot_judge(verdict: Verdict) -> Verdict:
    """The same question that cannot be judged."""
    return replace(verdict, answer=Answer.CANNOT_JUDGE, job=None, urgency=None)


def frame(answers: list[Verdict], known: int, margin: float = float("nan")) -> pd.DataFrame:
    """The verdicts frame; the evidence of all of them is known from one night."""
    rows = [
        {
            "rule": each.rule,
            "subject_kind": each.subject_kind,
            "subject": each.subject,
            "answer": each.answer.value,
            "margin": margin,
            "evidence_known": known,
        }
        for each in answers
    ]
    return pd.DataFrame(
        rows, columns=["rule", "subject_kind", "subject", "answer", "margin", "evidence_known"]
    )


def closeout_frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    columns = [
        "row_id",
        "line",
        "known_from",
        "order",
        "recorded_at_day",
        "recorded_at_pos",
        "outcome",
        "until_day",
        "done_on_day",
        "hours_used",
        "as_found",
        "as_left",
        "recorded_by",
        "reason",
    ]
    return pd.DataFrame(rows, columns=columns)


def shutdown_frame(
    *rows: tuple[str, str, date, date], begins_h: float = 6.0, ends_h: float = 18.0
) -> pd.DataFrame:
    """Planned stops from an hour of their first day to an hour of their last."""
    return pd.DataFrame(
        [
            (name, machines, day_number(first) + begins_h / 24, day_number(last) + ends_h / 24)
            for name, machines, first, last in rows
        ],
        columns=["shutdown", "machines", "starts_at_pos", "ends_at_pos"],
    )


@dataclass
class Plant:
    """The book of the plant, told one night after the other; every night is told twice and must agree."""

    book: list[Order] = field(default_factory=list)
    decisions: list[dict[str, Any]] = field(default_factory=list)
    night: int = 0
    as_of: date = MONDAY - timedelta(days=1)
    shutdowns: pd.DataFrame = field(default_factory=shutdown_frame)
    settings: Layered[OrdersSettings] = SETTINGS
    state: pd.DataFrame = field(default_factory=lambda: STATE)

    def tell(
        self, *answers: Verdict, days: int = 1, known: int | None = None, margin: float = float("nan")
    ) -> Updated:
        """One night; the evidence of its answers is new unless ``known`` names an earlier night."""
        night = self.night + 1 if known is None else known
        return self.tell_each([(each, night) for each in answers], days=days, margin=margin)

    def tell_each(
        self, answers: list[tuple[Verdict, int]], *, days: int = 1, margin: float = float("nan")
    ) -> Updated:
        """One night; each answer with the night from which its evidence is known."""
        self.night += 1
        self.as_of += timedelta(days=days)
        asked = [each for each, _ in answers]
        verdicts = frame(asked, self.night, margin).assign(evidence_known=[known for _, known in answers])
        first = self._once(asked, verdicts)
        self.book = first.orders
        again = self._once(asked, verdicts)
        assert again.events == []
        assert again.orders == first.orders
        return first

    def decide(
        self,
        number: str,
        outcome: str,
        *,
        until: date | None = None,
        done_on: date | None = None,
        recorded_on: date | None = None,
        by: str = "planner 1",
        as_found: str = "as expected",
        as_left: str = "in order",
        **said: Any,
    ) -> None:
        """A close-out recorded on the next civil day and known from the next night.

        What is done says all that a close-out may have to say, the day of recording as that of the work;
        ``said`` overwrites any column.
        """
        recorded = recorded_on or self.as_of + timedelta(days=1)
        if outcome == "done":
            done_on = done_on or recorded
        row_id = len(self.decisions) + 100
        self.decisions.append(
            {
                "row_id": row_id,
                "line": row_id,
                "known_from": self.night + 1,
                "order": number,
                "recorded_at_day": day_number(recorded),
                "recorded_at_pos": day_number(recorded) + 0.5,
                "outcome": outcome,
                "until_day": float("nan") if until is None else float(day_number(until)),
                "done_on_day": float("nan") if done_on is None else float(day_number(done_on)),
                "hours_used": float("nan"),
                "as_found": as_found,
                "as_left": as_left,
                "recorded_by": by,
                "reason": "as agreed",
            }
            | said
        )

    def order(self, number: str) -> Order:
        return next(order for order in self.book if order.number == number)

    def _once(self, answers: list[Verdict], verdicts: pd.DataFrame) -> Updated:
        return orders.update(
            [each for each in answers if each.answer is Answer.DUE],
            verdicts,
            self.book,
            closeout_frame(self.decisions),
            state=self.state,
            shutdowns=self.shutdowns,
            night=self.night,
            as_of=self.as_of,
            settings=self.settings,
        )


def changes(updated: Updated) -> list[Change]:
    return [event.change for event in updated.events]
