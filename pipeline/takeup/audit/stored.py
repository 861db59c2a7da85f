"""The store checked: what every night wrote into every table, the order book, and what is derived."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.audit.difference import Difference, Part

if TYPE_CHECKING:
    import pandas as pd

    from takeup.model import Order

#: What a night wrote into one table: rows and hash.
Wrote = tuple[int, str]


def contents_differences(
    nights: Sequence[Mapping[str, Any]], found: Mapping[int, Mapping[str, Wrote]], where: str
) -> Iterator[Difference]:
    """Compare what the store holds of every night with what the ledger recorded, by night and table.

    Parameters
    ----------
    nights : sequence of mapping
        The ledger's records.
    found : mapping
        Night to table to rows and hash, as ``Store.contents`` gives them.
    where : str
        The store's file.
    """
    for night in nights:
        number = night["number"]
        held, wrote = found.get(number, {}), night["stored"]
        if not held:
            yield Difference("store_behind", Part.STORE, where, number, {"night": number})
            return
        for table in sorted(held.keys() | wrote.keys()):
            rows, sha256 = held.get(table, (0, ""))
            one = wrote.get(table, {"rows": 0, "sha256": ""})
            if (rows, sha256) != (one["rows"], one["sha256"]):
                code = "store_rows" if rows != one["rows"] else "store_contents"
                facts = {"table": table, "night": number, "found": rows, "wanted": one["rows"]}
                yield Difference(code, Part.STORE, f"{where}, table {table}, night {number}", number, facts)
    told = nights[-1]["number"] if nights else 0
    for number in sorted(set(found) - {night["number"] for night in nights}):
        facts = {"night": number, "last": told}
        yield Difference("store_beyond", Part.STORE, where, number, facts)


def book_differences(
    nights: Iterable[Mapping[str, Any]],
    events: Sequence[Mapping[str, Any]],
    orders: Iterable[Order],
    where: str,
) -> Iterator[Difference]:
    """Compare the order book with the order events of the ledger.

    Parameters
    ----------
    nights : iterable of mapping
    events : sequence of mapping
        Those of the store, in their order.
    orders : iterable of Order
        As the store holds them after the last night.
    where : str
    """
    recorded = [event for night in nights for event in night["events"]]
    for place in range(max(len(recorded), len(events))):
        wanted, found = (each[place] if place < len(each) else None for each in (recorded, events))
        if _text(wanted) != _text(found):
            event = wanted or found or {}
            facts = {"order": event["order"], "night": event["night"]}
            yield Difference("store_events", Part.STORE, f"{where}, table order_event", event["night"], facts)
            return
    revisions = {event["order"]: (event["revision"], event["night"]) for event in recorded}
    book = {order.number: order.revision for order in orders}
    for number in sorted(revisions.keys() | book.keys()):
        revision, night = revisions.get(number, (0, None))
        if book.get(number, 0) != revision:
            facts = {"order": number, "found": book.get(number, 0), "wanted": revision}
            yield Difference("store_book", Part.STORE, f"{where}, table order_book", night, facts)


def derived_differences(
    table: str, found: pd.DataFrame, again: pd.DataFrame, where: str
) -> Iterator[Difference]:
    """Compare a derived table with what its rows give when they are derived again.

    Parameters
    ----------
    table : str
    found : DataFrame
        As stored, by strand.
    again : DataFrame
        Derived again, with the same columns.
    where : str
    """
    wanted = again.sort_values("strand", kind="stable", ignore_index=True)
    strand = _first_unlike(found, wanted)
    if strand is not None:
        facts = {"table": table, "strand": strand}
        yield Difference("store_derived", Part.STORE, f"{where}, table {table}", None, facts)


def _first_unlike(found: pd.DataFrame, wanted: pd.DataFrame) -> str | None:
    """The first strand whose rows differ; None where all are the same."""
    if list(found.columns) != list(wanted.columns):
        return "" if len(found) or len(wanted) else None
    common = min(len(found), len(wanted))
    unlike = np.zeros(common, dtype=bool)
    for name in found.columns:
        one, two = (frame[name].iloc[:common] for frame in (found, wanted))
        same = [left == right for left, right in zip(one, two, strict=True)]
        unlike |= ~(np.array(same, dtype=bool) | (one.isna().to_numpy() & two.isna().to_numpy()))
    if unlike.any():
        return str(wanted["strand"].iloc[int(unlike.argmax())])
    longer = found if len(found) > common else wanted
    return str(longer["strand"].iloc[common]) if len(longer) > common else None


def _text(event: Mapping[str, Any] | None) -> str:
    return json.dumps(event, sort_keys=True)
