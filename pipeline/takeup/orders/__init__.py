"""Verdicts become orders: raised, amended, held, withdrawn, reopened, and put together for one stop."""

from takeup.orders.answers import evidence_known
from takeup.orders.book import Updated, closed_rows, done_days, machines_at_work, update, without_effect
from takeup.orders.settings import OrdersSettings

__all__ = [
    "OrdersSettings",
    "Updated",
    "closed_rows",
    "done_days",
    "evidence_known",
    "machines_at_work",
    "update",
    "without_effect",
]
