"""JSON that a program reads at once and a person can compare from night to night."""

from __future__ import annotations

import json
from typing import Any

#: One value on one line; the encoder is written in C, other than that for texts that are broken over lines.
_on_one_line = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def laid_out(value: Any, levels: int) -> bytes:
    """A JSON text whose outer levels are broken over lines; what lies deeper stands on one line each.

    Parameters
    ----------
    value : dict, list or plain value
        Keys of a dict are texts.
    levels : int
        How many levels are broken over lines.

    Raises
    ------
    ValueError
        If a number is not finite: JSON has no word for it.

    Examples
    --------
    >>> print(laid_out({"site": "Works", "orders": [{"number": "C-1", "parts": []}]}, 2).decode(), end="")
    {
     "site": "Works",
     "orders": [
      {"number": "C-1", "parts": []}
     ]
    }
    """
    return f"{_broken(value, levels, chr(10))}\n".encode()


def _broken(value: Any, levels: int, margin: str) -> str:
    """The text of a value; ``margin`` is the line end and the indent that it stands behind."""
    if not levels or not value or not isinstance(value, dict | list):
        return _on_one_line(value)
    deeper = f"{margin} "
    if isinstance(value, dict):
        open_, close = "{}"
        parts = [f"{_on_one_line(name)}: {_broken(part, levels - 1, deeper)}" for name, part in value.items()]
    else:
        open_, close = "[]"
        parts = [_broken(part, levels - 1, deeper) for part in value]
    return f"{open_}{deeper}{f',{deeper}'.join(parts)}{margin}{close}"
