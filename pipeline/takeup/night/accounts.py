"""The row accounts of a night as the ledger holds them, and the store's counts that every start checks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from takeup.model import Accounting

#: Tables that hold what is worked out again when it is missing, or the store's own history.
_NOT_COUNTED = ("cache_", "derived_write", "migration")


def accounts(rows: Iterable[Accounting]) -> list[dict[str, Any]]:
    """One record a file, as JSON-able values."""
    return [
        {
            "file": one.file,
            "sha256": one.sha256,
            "feed": one.feed,
            "read": one.read,
            "new": one.new,
            "duplicate": one.duplicate,
            "superseding": one.superseding,
            "refused": one.refused,
            "waiting": one.waiting,
        }
        for one in rows
    ]


def counted(tables: dict[str, int]) -> dict[str, int]:
    """The counts that two stores of the same nights share."""
    return {name: count for name, count in tables.items() if not name.startswith(_NOT_COUNTED)}


def recorded(contents: Mapping[str, tuple[int, str]]) -> dict[str, dict[str, Any]]:
    """What a night wrote into the store, table by table, as JSON-able values."""
    return {table: {"rows": rows, "sha256": sha256} for table, (rows, sha256) in contents.items()}
