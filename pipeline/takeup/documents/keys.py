"""Keys of what a page or a chart shows: the same key, the same bytes."""

from __future__ import annotations

import hashlib
import json
from dataclasses import is_dataclass
from datetime import date
from typing import Any

from takeup.errors import OurFault


def content_key(shows: Any, drawn_by: str) -> str:
    """SHA-256 over everything that decides how a page or a chart looks.

    Parameters
    ----------
    shows : dataclass instance or list of str
        The sheet, or what else is shown.
    drawn_by : str
        What draws it: versions, and for a page the templates in force.

    Raises
    ------
    OurFault
        If a value has no canonical text.
    """
    canonical = json.dumps(shows, default=_plain, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(f"{drawn_by} {canonical}".encode()).hexdigest()


def _plain(value: Any) -> Any:
    """A record by its kind and values, a day as a text; everything else in a sheet is plain already."""
    if is_dataclass(value):
        return [type(value).__name__, *vars(value).values()]
    if isinstance(value, date):
        return value.isoformat()
    raise OurFault(f"a sheet holds {value!r}, a {type(value).__name__}; only plain values have one text")
