"""A book of orders driven at random beside a small model of what the rules say, written independently.

The model knows one question a job; it is told the same nights and decisions and must agree on every state,
urgency and number. Promises checked on the way: never two open orders for one job and subject, a night told
twice changes nothing (:meth:`Plant.tell`), *stop now* is never silenced, *cannot judge* never withdraws.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from tests.orders.plant import MONDAY, Plant, cannot_judge, clear, due

from takeup.model import Job, Order, OrderState, Urgency, Verdict
from takeup.orders.told import OPEN

RANK = {word: place for place, word in enumerate(("stop now", "this week", "next shutdown", "plan"))}

ANSWERS = st.sampled_from(
    ["next shutdown", "clear", "this week", "cannot judge", "plan", "clear", "this week", "stop now"]
)


@dataclass
class Question:
    """What is true in the plant: the answer, and the day and night of its newest evidence."""

    answer: str = "cannot judge"  # or "clear", or an urgency
    on: date = MONDAY
    known: int = 1


@dataclass
class Model:
    """What the newest order of one job should be."""

    state: str = "none"
    urgency: str = ""
    until: date | None = None
    rests_on: date | None = None
    known: int = 0
    done_on: date | None = None
    orders: int = 0

    def decide(self, outcome: str, until: date | None, done_on: date) -> None:
        """A decision that is known tonight, its day still ahead."""
        if outcome == "done":
            self.state, self.until, self.done_on = "done", None, done_on
        elif outcome == "accepted":
            self.state, self.until = "accepted", None
        elif self.urgency != "stop now" and (until is not None or outcome == "declined"):
            self.state, self.until = outcome, until

    def tell(self, job: Job, question: Question, as_of: date) -> None:
        """One night."""
        is_due = question.answer in RANK
        if self.state in {"none", "done", "withdrawn"}:
            if is_due and (self.state == "withdrawn" or self._speaks(job, question, as_of)):
                self.orders += self.state != "withdrawn"
                self.state = "proposed"
                self._say(question)
        elif question.answer == "clear" and question.known > self.known:
            if self.state != "accepted" and self.urgency != "stop now":
                self.state, self.until = "withdrawn", None
        elif self._held(question, as_of):
            if is_due:
                self.known, self.rests_on = max(self.known, question.known), question.on
        else:
            self.state, self.until = ("accepted" if self.state == "accepted" else "proposed"), None
            if is_due:
                stops = self.urgency == "stop now"
                self._say(question)
                self.urgency = "stop now" if stops else self.urgency

    def _held(self, question: Question, as_of: date) -> bool:
        rises = question.answer in RANK and RANK[question.answer] < RANK[self.urgency]
        on_hold = self.state in {"deferred", "declined"} and (self.until is None or as_of < self.until)
        return on_hold and not rises

    def _speaks(self, job: Job, question: Question, as_of: date) -> bool:
        if self.done_on is None or question.answer == "stop now" or question.on > self.done_on:
            return True
        of_the_day = question.on == self.done_on and question.on != self.rests_on
        return of_the_day and (job is Job.LUBRICATE or (as_of - self.done_on).days >= 7)

    def _say(self, question: Question) -> None:
        self.urgency, self.rests_on, self.known = question.answer, question.on, question.known


class Book(RuleBasedStateMachine):
    """Evidence, decisions and nights of one job in any order."""

    @initialize(
        job=st.sampled_from([Job.REPLACE_SET, Job.LUBRICATE, Job.INSPECT_ALIGNMENT]),
        urgency=st.sampled_from(["next shutdown", "plan", "this week", "stop now"]),
    )
    def start(self, job: Job, urgency: str) -> None:
        """A first night on which the job is due."""
        self.job = job
        self.plant = Plant()
        self.question = Question(urgency)
        self.model = Model()
        self.tell(1)

    @rule(answer=ANSWERS, days_old=st.integers(0, 3))
    def evidence(self, answer: str, days_old: int) -> None:
        """A row arrives that changes what the rule answers."""
        on = max(self.question.on, self.plant.as_of + timedelta(days=1 - days_old))
        self.question = Question(answer, on, self.plant.night + 1)
        self.tell(1)

    @rule(answer=ANSWERS)
    def thought_again(self, answer: str) -> None:
        """The answer changes without new evidence: a setting, a feed gone stale."""
        self.question = Question(answer, self.question.on, self.question.known)
        self.tell(1)

    @rule(days=st.integers(1, 7))
    def time_passes(self, days: int) -> None:
        """A night some days later, nothing new."""
        self.tell(days)

    @precondition(lambda self: self.model.state in OPEN)
    @rule(outcome=st.sampled_from(["deferred", "done", "declined", "accepted"]), days=st.integers(0, 6))
    def decide(self, outcome: str, days: int) -> None:
        """A planner decides about the newest order, without a day or until a day that may be past."""
        tomorrow = self.plant.as_of + timedelta(days=1)
        until = tomorrow + timedelta(days=days) if days else None
        self.plant.decide(self._orders()[-1].number, outcome, until=until, done_on=tomorrow)
        if until is None or until > tomorrow or outcome in {"accepted", "done"}:
            self.model.decide(outcome, until, tomorrow)
        self.tell(1)

    def tell(self, days: int) -> None:
        """One night, for the plant and for the model."""
        before = {order.number: order.state for order in self.plant.book}
        self.plant.tell_each([(self._verdict(), self.question.known)], days=days)
        self.model.tell(self.job, self.question, self.plant.as_of)
        if self.question.answer == "cannot judge":
            withdrawn = [each.number for each in self._orders() if each.state is OrderState.WITHDRAWN]
            assert all(before[number] is OrderState.WITHDRAWN for number in withdrawn)
        if self.question.answer == "stop now":
            newest = self._orders()[-1]
            assert newest.state in {OrderState.PROPOSED, OrderState.ACCEPTED}
            assert newest.urgency is Urgency.STOP_NOW

    @invariant()
    def the_model_agrees(self) -> None:
        """State, day and urgency of the newest order, and the count of orders, are those of the model."""
        orders = self._orders()
        assert len(orders) == self.model.orders
        if orders:
            assert (orders[-1].state.value, orders[-1].until) == (self.model.state, self.model.until)
            if self.model.state in OPEN:
                assert orders[-1].urgency.value == self.model.urgency

    @invariant()
    def never_two_open_orders(self) -> None:
        """One open order a job and subject; no number twice."""
        keys = [(order.job, order.subject) for order in self.plant.book if order.state in OPEN]
        assert len(keys) == len(set(keys))
        numbers = [order.number for order in self.plant.book]
        assert len(numbers) == len(set(numbers))

    def _verdict(self) -> Verdict:
        if self.question.answer in RANK:
            return due(self.job, "E1-A", Urgency(self.question.answer), seen_on=self.question.on)
        asked = due(self.job, "E1-A", seen_on=self.question.on)
        return clear(asked) if self.question.answer == "clear" else cannot_judge(asked)

    def _orders(self) -> list[Order]:
        return [order for order in self.plant.book if order.job is self.job]


TestBook = Book.TestCase
TestBook.settings = settings(max_examples=70, stateful_step_count=15, deadline=None)
