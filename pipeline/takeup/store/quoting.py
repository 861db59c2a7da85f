"""The one place where a name becomes part of SQL. Values are bound, or pass through :func:`text`."""

from __future__ import annotations

from collections.abc import Iterable


def name(identifier: str) -> str:
    """A column or table name, quoted.

    Examples
    --------
    >>> name('set'), name('a"b')
    ('"set"', '"a""b"')
    """
    return '"' + identifier.replace('"', '""') + '"'


def names(identifiers: Iterable[str], table: str = "") -> str:
    """Column names for a list, each with its table when one is given."""
    before = f"{table}." if table else ""
    return ", ".join(before + name(identifier) for identifier in identifiers)


def text(value: str) -> str:
    """A text constant, quoted.

    Examples
    --------
    >>> text("J. O'Invented")
    "'J. O''Invented'"
    """
    return "'" + value.replace("'", "''") + "'"
