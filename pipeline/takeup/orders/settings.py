"""What the orders room counts by."""

from __future__ import annotations

from dataclasses import dataclass

from takeup.layered import setting
from takeup.model import Source


@dataclass(frozen=True)
class OrdersSettings:
    """How jobs share a stop, how long a finished one is left alone, and how orders are numbered."""

    bundling_days: int = setting(
        21,
        "d",
        Source.PROPOSED,
        "Jobs on one machine whose need-by lie this near share a visit.",
        low=7,
        high=45,
    )
    silence_days: int = setting(
        7,
        "d",
        Source.PROPOSED,
        "Days after a job was done in which its evidence may still arrive before it is asked for.",
        low=1,
        high=60,
    )
    #: What stands before the running number of an order; it is no value of the trade, so ``[site]`` gives it.
    prefix: str = "C"
