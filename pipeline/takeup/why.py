"""Ask a site why: an order by its number, or a strand by its name."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from takeup.audit.answers import order_answer, strand_answer
from takeup.derive.derivation import derive
from takeup.derive.state import state
from takeup.documents import answers as documents
from takeup.errors import UsageError
from takeup.judgement.judging import explain, judge
from takeup.model import Feed, Order, row_ids
from takeup.night.fleet import recalled_fleet
from takeup.orders import closed_rows, done_days, machines_at_work
from takeup.site import Site
from takeup.site.folders import recall
from takeup.site.reading import reading_store
from takeup.site.settings import read_settings
from takeup.store import Store


@dataclass(frozen=True)
class Why:
    """An answer, for people and for programs."""

    text: Callable[[], str]
    as_dict: Callable[[], dict[str, Any]]


def why(site: Site, subject: str, *, wait_seconds: float | None = None) -> Why:
    """Why an order stands, or what every rule says of a strand, as of the last night.

    The store is opened for reading, and briefly.

    Parameters
    ----------
    site : Site
    subject : str
        An order's number or a strand's name.
    wait_seconds : float, optional
        How long to wait for a writer; by default what the site's settings say. [s]

    Raises
    ------
    UsageError
        If no night was told yet, or neither an order nor a strand is called so.
    LockHeld
        If the site is being written all that time.
    """
    site.nights()  # refused in its own words while none was told
    with reading_store(site.folders, f"why {subject}", site.wait(wait_seconds)) as store:
        nights = site.nights()
        book = {order.number: order for order in store.orders()}
        if subject in book:
            return _order(store, book[subject], site.template_dirs)
        return _strand(site, store, nights[-1], book, subject, site.template_dirs)


def _order(store: Store, order: Order, dirs: Any) -> Why:
    rows = sorted({row for reason in order.reasons for row in row_ids(reason.evidence)})
    answer = order_answer(order, store.order_events([order.number]), store.origins(rows))
    return Why(lambda: documents.order_text(answer, dirs), lambda: documents.order_record(answer))


def _strand(
    site: Site, store: Store, night: dict[str, Any], book: dict[str, Order], strand: str, dirs: Any
) -> Why:
    as_of = date.fromisoformat(night["as_of"])
    settings = read_settings(recall(site.folders.archive, night["settings"]).decode("utf-8"))
    derived = derive(
        store,
        night=night["number"],
        as_of=as_of,
        previous_as_of=as_of,
        settings=settings.measuring,
        lubrication=settings.judgement.lubrication,
    )
    known = sorted(derived.lives["strand"].unique())
    if strand not in known:
        near = difflib.get_close_matches(strand, [*known, *book], n=3)
        raise UsageError(
            f"neither an order nor a strand is called {strand!r}",
            todo=f"Did you mean {', '.join(near)}?" if near else "Names stand in the queue's orders.csv.",
        )
    orders, close_outs = list(book.values()), store.rows(Feed.ORDER_CLOSEOUTS, as_of=as_of)
    judged = judge(
        state(derived, as_of),
        derived,
        recalled_fleet(night["fleet"], site.folders.archive),
        settings.judgement,
        as_of,
        done_days(orders, close_outs),
        closed=closed_rows(orders, close_outs),
        kept_out=store.kept_out(),
        at_work=machines_at_work(book.values()),
    )
    verdicts = explain(strand, judged.situation, settings.judgement)
    rows = sorted({row for verdict in verdicts for row in row_ids(verdict.evidence)})
    answer = strand_answer(strand, as_of, verdicts, book.values(), store.origins(rows))
    return Why(lambda: documents.strand_text(answer, dirs), lambda: documents.strand_record(answer))
