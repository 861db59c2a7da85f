"""Day numbers of the frames and the dates of the records."""

from __future__ import annotations

import math
from datetime import date, timedelta

EPOCH = date(1970, 1, 1)


def to_date(number: float | None) -> date | None:
    """The date of a day number; None for None and NaN.

    Examples
    --------
    >>> to_date(20514.0), to_date(float("nan"))
    (datetime.date(2026, 3, 2), None)
    """
    return None if number is None or math.isnan(number) else EPOCH + timedelta(days=int(number))


def earliest(*days: date | None) -> date | None:
    """The earliest of the days that are known."""
    return min((day for day in days if day is not None), default=None)


def latest(*days: date | None) -> date | None:
    """The latest of the days that are known."""
    return max((day for day in days if day is not None), default=None)
