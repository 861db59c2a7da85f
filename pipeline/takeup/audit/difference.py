"""What an audit of a whole site found to differ from what its nights recorded."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Part(StrEnum):
    """A part of a site, in the order in which they rest on each other."""

    LEDGER = "ledger"
    ARCHIVE = "archive"
    STORE = "store"
    QUEUE = "queue"


@dataclass(frozen=True)
class Difference:
    """One place that is not what the nights recorded, or that wants to be known of.

    Attributes
    ----------
    code : str
        The reader's words stand in ``templates/sentences/difference/<code>.txt.j2``.
    part : Part
    where : str
        File, line, table; from the site's folder.
    night : int, optional
        The night it belongs to.
    facts : mapping
        What the sentence needs.
    """

    code: str
    part: Part
    where: str
    night: int | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Audit:
    """A whole site, checked.

    Attributes
    ----------
    nights, decisions : int
        Records of the ledger that read.
    head : str
        The ledger's, as it stands.
    vouched : int or None
        How many records the head that was given vouches for; None where none was given, or it is of another
        ledger.
    archived, rows, published : int
        How many archived files, rows of the store and published files were checked.
    differences : tuple of Difference
        The first bad place first.
    told : tuple of Difference
        What is no difference and wants to be known of: leftovers of a night that was stopped, folders no
        longer kept, what could not be checked.
    head_given : str
    """

    nights: int
    decisions: int
    head: str
    vouched: int | None
    archived: int
    rows: int
    published: int
    differences: tuple[Difference, ...]
    told: tuple[Difference, ...]
    head_given: str = ""

    @property
    def records(self) -> int:
        """Records of the ledger."""
        return self.nights + self.decisions
