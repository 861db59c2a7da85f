"""What really happened, and whether the orders of a rehearsal would have come in time for it.

A chain that came off worn past its plan line wanted an order as long before as its set takes to buy: then it
is *caught*; with an order out, but later, it is *late*; with none, *missed*. A fracture is caught where work
that would have renewed or looked at its chain was needed by its day, late where the order stood but allowed
more time. An order is *false* where it was withdrawn while the same chain ran on, or where the first survey
after its need-by day, and the days that still make one stop, showed the chain short of its limit by the
present settings. Source: proposed for this project, no source; what an audit of alarms asks is common
practice.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import NamedTuple

from takeup.audit.spells import Spell
from takeup.model import Job


class Outcome(StrEnum):
    """How an order came for what happened."""

    CAUGHT = "caught"
    LATE = "late"
    MISSED = "missed"
    FALSE = "false"
    NOT_WORN = "not worn"
    TOO_NEAR = "too near the beginning"


@dataclass(frozen=True)
class ChainEnd:
    """A set that came off on a day: how worn it was found, and what it cost.

    ``as_found`` and ``limit`` are elongations on the wear zero in per cent, of the strand nearest its limit;
    None where not known. ``cost`` is the price of all strands and the labour, None without a price.
    """

    set: str
    machine: str
    on: date
    as_found: float | None
    limit: float | None
    plan_part: float
    lead_days: int
    hours: float | None
    cost: float | None

    @property
    def worn(self) -> bool:
        """Whether it was found at its plan line or past it; unknown counts as worn."""
        if self.as_found is None or self.limit is None:
            return True
        return self.as_found >= self.plan_part * self.limit


@dataclass(frozen=True)
class Fracture:
    """A break that was found, by the first finding of its day and chain."""

    set: str
    machine: str
    on: date
    finding: str


class Worn(NamedTuple):
    """How much of its limit a survey showed a set to have used, by the strand nearest its limit."""

    set: str
    on: date
    share: float


class Judged(NamedTuple):
    """One event, or one order without an event, and how it came out."""

    outcome: Outcome
    on: date
    set: str
    machine: str
    order: Spell | None
    chain: ChainEnd | None = None
    fracture: Fracture | None = None

    @property
    def notice_days(self) -> int | None:
        """How long before the event the order was out."""
        return None if self.order is None else (self.on - self.order.raised_on).days


def chain_ends_judged(ends: Iterable[ChainEnd], told: Sequence[Spell], begins: date) -> list[Judged]:
    """Each chain that came off against the orders to replace it.

    Parameters
    ----------
    ends : iterable of ChainEnd
    told : sequence of Spell
    begins : date
        First night of the rehearsal; what came off within its lead time after it cannot be judged.
    """
    orders = [spell for spell in told if spell.job is Job.REPLACE_SET]
    return [_of_chain(end, orders, begins) for end in ends]


def _of_chain(end: ChainEnd, orders: Sequence[Spell], begins: date) -> Judged:
    stood = [each for each in orders if each.subject == end.set and each.stood_on(end.on)]
    order = min(stood, key=lambda each: each.raised_on, default=None)
    if order is None:
        outcome = Outcome.MISSED if end.worn else Outcome.NOT_WORN
    elif (end.on - order.raised_on).days >= end.lead_days:
        outcome = Outcome.CAUGHT
    else:
        outcome = Outcome.LATE
    if outcome is not Outcome.CAUGHT and (end.on - begins).days < end.lead_days:
        outcome = Outcome.TOO_NEAR
    return Judged(outcome, end.on, end.set, end.machine, order, chain=end)


def fractures_judged(found: Iterable[Fracture], told: Sequence[Spell]) -> list[Judged]:
    """Each fracture against the orders that stood for its chain or machine the day before."""
    looked = (Job.INVESTIGATE_FRACTURE, Job.INSPECT_ALIGNMENT)
    judged = []
    for one in found:
        before = one.on - timedelta(days=1)
        stood = [
            each
            for each in told
            if each.stood_on(before)
            and (
                (each.job is Job.REPLACE_SET and each.subject == one.set)
                or (each.job in looked and each.machine == one.machine)
            )
        ]
        order = min(stood, key=lambda each: each.need_by or date.max, default=None)
        if order is None:
            outcome = Outcome.MISSED
        else:
            in_time = order.need_by is not None and order.need_by <= one.on
            outcome = Outcome.CAUGHT if in_time else Outcome.LATE
        judged.append(Judged(outcome, one.on, one.set, one.machine, order, fracture=one))
    return judged


def false_orders(
    told: Iterable[Spell], ends: Sequence[ChainEnd], wear: Iterable[Worn], grace_days: int
) -> list[Judged]:
    """Orders to replace a chain that turned out to have more life.

    Parameters
    ----------
    told : iterable of Spell
    ends : sequence of ChainEnd
        The sets that came off.
    wear : iterable of Worn
        What surveys showed of every set, by day.
    grace_days : int
        Days after need-by that still make one stop.
    """
    surveys: dict[str, list[Worn]] = defaultdict(list)
    for one in wear:
        surveys[one.set].append(one)
    judged = []
    for order in told:
        if order.job is not Job.REPLACE_SET:
            continue
        off = min(
            (each.on for each in ends if each.set == order.subject and each.on >= order.raised_on),
            default=date.max,
        )
        shown_on = _shown_short(order, surveys[order.subject], off, grace_days)
        if shown_on is not None:
            judged.append(Judged(Outcome.FALSE, shown_on, order.subject, order.machine, order))
    return judged


def _shown_short(order: Spell, surveys: Sequence[Worn], off: date, grace_days: int) -> date | None:
    """The day that showed an order false, None where none did."""
    if order.withdrawn and order.ended_on is not None and order.ended_on < off:
        return order.ended_on
    if order.last_need_by is None:
        return None
    past = order.last_need_by + timedelta(days=grace_days)
    after = next((each for each in surveys if past < each.on < off), None)
    return after.on if after is not None and after.share < 1 else None


class GivenUp(NamedTuple):
    """What would have been thrown away had every chain come off on the day its first order named.

    ``chains`` of ``of`` that came off have a price, an order and hours; ``hours`` and ``cost`` are sums.
    """

    chains: int
    of: int
    hours: float
    cost: float


def given_up(judged: Iterable[Judged], hours_left: Sequence[float | None]) -> GivenUp:
    """Run hours and money between each order's need-by day and the day the chain really came off.

    Cost = (price + labour) x hours given up / hours of the life. Source: definition of cost by the run hour.

    Parameters
    ----------
    judged : iterable of Judged
        Of chains that came off.
    hours_left : sequence of float
        Run hours of each from its order's need-by day to its end, None where not known.
    """
    of, chains, hours, cost = 0, 0, 0.0, 0.0
    for one, left in zip(judged, hours_left, strict=True):
        of += 1
        if (
            one.chain is None
            or one.order is None
            or left is None
            or one.chain.cost is None
            or not one.chain.hours
        ):
            continue
        chains += 1
        hours += max(left, 0.0)
        cost += one.chain.cost * max(left, 0.0) / one.chain.hours
    return GivenUp(chains, of, round(hours, 1), round(cost, 2))
