"""What stands between a rule's answer and an order: one that is out, a silence, rows that are missing."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from takeup.model import Answer, Feed, KeptOut, Order, OrderState, Verdict
from takeup.orders.told import OPEN

#: what can stand between an answer and an order; each has its sentence
CODES = (
    "asked",
    "put_off",
    "declined",
    "part_of",
    "waits",
    "done",
    "no_order",
    "register_lacks",
    "rows_kept_out",
    "feed_silent",
)

_WEAR = (Feed.ELONGATION_READINGS, Feed.RUN_HOURS)

#: rule → the feeds whose silence or lost rows would keep it from knowing better
READS: Mapping[str, tuple[Feed, ...]] = {
    "wear_limit": _WEAR,
    "limit_in_doubt": _WEAR,
    "limit_coming": _WEAR,
    "rate_change": _WEAR,
    "survey_overdue": _WEAR,
    "wear_by_travel": _WEAR,
    "matching": (*_WEAR, Feed.TAKEUP_READINGS),
    "matching_in_doubt": (*_WEAR, Feed.TAKEUP_READINGS),
    "wide_spread": (Feed.ELONGATION_READINGS,),
    "takeup_low": (Feed.TAKEUP_READINGS, *_WEAR),
    "tape_against_takeup": (Feed.TAKEUP_READINGS, Feed.ELONGATION_READINGS),
    "lube_overdue": (Feed.LUBE_RECORDS, Feed.RUN_HOURS),
    "lube_quantity": (Feed.LUBE_RECORDS,),
    "grease_on_dry": (Feed.LUBE_RECORDS,),
    "abnormal_finding": (Feed.INSPECTION_FINDINGS,),
    "corrosion_review": (Feed.INSPECTION_FINDINGS,),
    "sidebar_edge": (Feed.INSPECTION_FINDINGS,),
    "clearance": (Feed.INSPECTION_FINDINGS,),
    "sprocket_wear": (Feed.SPROCKET_CHECKS,),
    "register_loop": (Feed.STRANDS,),
    "register_gap": (Feed.ENERGY_SOURCES,),
}


@dataclass(frozen=True)
class Gate:
    """One thing between an answer and an order; ``code`` names its sentence under ``sentences/gate``."""

    code: str
    facts: Mapping[str, Any]


def gates(
    verdict: Verdict,
    orders: Collection[Order],
    *,
    waits_for: Mapping[str, Collection[str]],
    kept_out: Iterable[KeptOut],
    silent: Mapping[str, Any],
) -> tuple[Gate, ...]:
    """What stands between one answer and an order of its own.

    Parameters
    ----------
    verdict : Verdict
    orders : collection of Order
        All orders, as they stood after the night.
    waits_for : mapping
        Number of an order to the investigations that hold it.
    kept_out : iterable of KeptOut
        Rows kept out that concern the strand, its machine or its set.
    silent : mapping
        Feed to the day of its last delivery (None for never), of feeds that are silent for too long.
    """
    told = list(_orders(verdict, orders, waits_for)) if verdict.answer is Answer.DUE else []
    missing = next((fact.value for fact in verdict.facts if fact.name == "missing"), ())
    if verdict.answer is Answer.CANNOT_JUDGE and missing:
        told.append(Gate("register_lacks", {"missing": missing}))
    feeds = READS.get(verdict.rule, ())
    for feed in feeds:
        rows = [row for row in kept_out if row.feed == feed]
        if rows:
            told.append(Gate("rows_kept_out", {"feed": feed.value, "rows": len(rows)}))
    told += [
        Gate("feed_silent", {"feed": feed.value, "since": silent[feed]}) for feed in feeds if feed in silent
    ]
    return tuple(told)


def _orders(
    verdict: Verdict, orders: Collection[Order], waits_for: Mapping[str, Collection[str]]
) -> Iterable[Gate]:
    """What became of an answer that is due, order by order."""
    asked = [
        order
        for order in orders
        if order.state in OPEN
        and any((reason.rule, reason.subject) == (verdict.rule, verdict.subject) for reason in order.reasons)
    ]
    for order in asked:
        facts = {"order": order.number, "until": order.until, "part_of": order.swallowed_by}
        yield Gate(
            {OrderState.DEFERRED: "put_off", OrderState.DECLINED: "declined"}.get(order.state, "asked"), facts
        )
        if order.swallowed_by:
            yield Gate("part_of", facts)
        if order.number in waits_for:
            yield Gate("waits", facts | {"waits_for": tuple(waits_for[order.number])})
    if asked:
        return
    done = [
        order
        for order in orders
        if order.state is OrderState.DONE
        and order.job == verdict.job
        and any((reason.rule, reason.subject) == (verdict.rule, verdict.subject) for reason in order.reasons)
    ]
    if done:
        yield Gate("done", {"order": max(done, key=lambda order: order.revised_night).number})
    else:
        yield Gate("no_order", {})
