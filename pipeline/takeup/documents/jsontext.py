"""JSON that a program reads at once and a person can compare from night to night."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

#: one value on one line, by the encoder that is written in C; the one that breaks lines is not
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
    deeper, levels = f"{margin} ", levels - 1
    parts: Iterable[str]
    if isinstance(value, dict):
        open_, close = "{}"
        parts = [f"{_on_one_line(name)}: {_broken(part, levels, deeper)}" for name, part in value.items()]
    else:
        open_, close = "[]"
        parts = [_broken(part, levels, deeper) for part in value] if levels else map(_on_one_line, value)
    return f"{open_}{deeper}{f',{deeper}'.join(parts)}{margin}{close}"
