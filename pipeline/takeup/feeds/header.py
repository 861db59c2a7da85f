"""The header line: read by us, and each contract column found in it or missed by name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from takeup.contracts import Contract
from takeup.feeds.dialect import SourceDialect
from takeup.feeds.preflight import FileProblem
from takeup.store.reasons import FileRefusal


@dataclass(frozen=True)
class Header:
    """Where a file has each contract column.

    Attributes
    ----------
    names : tuple of str
        As the file has them.
    positions : dict
        Contract column to position, from 0.
    unread : tuple of str
        Columns of the file that nobody asked for and the contract does not pass over; each with the nearest
        absent contract column, if near.
    """

    names: tuple[str, ...]
    positions: dict[str, int]
    unread: tuple[str, ...]


def plain(header: str) -> str:
    """A column header as it is compared: lower case, blanks and hyphens as underscores.

    Examples
    --------
    >>> plain(" Length-mm ")
    'length_mm'
    """
    return "_".join(header.replace("-", " ").replace("_", " ").lower().split())


def read_header(names: Sequence[str], dialect: SourceDialect, contract: Contract) -> Header:
    """Find the contract's columns.

    The site's own headers go first, then the contract's names, then its published synonyms.

    Raises
    ------
    FileProblem
        If a column is there twice, or one that the feed cannot do without is missing.
    """
    ours = {name: field.name for field in contract.fields for name in (field.name, *field.synonyms)}
    mapped = {plain(theirs): column for theirs, column in dialect.headers.items()}
    taken = set(mapped.values())
    known = {theirs: column for theirs, column in ours.items() if column not in taken} | mapped
    positions: dict[str, int] = {}
    unread: list[int] = []
    for position, header in enumerate(names):
        column = known.get(plain(header))
        if column is None:
            if plain(header) not in contract.passed_over:
                unread.append(position)
        elif column in positions:
            twice = f"{names[positions[column]]!r} and {header!r}"
            raise FileProblem(FileRefusal.COLUMN_TWICE, twice, "one column", column)
        else:
            positions[column] = position
    missing = _missing(contract, positions)
    if missing:
        others = [names[position] for position in unread]
        raise FileProblem(
            FileRefusal.COLUMN_MISSING, _nearest(missing, others), missing, missing.split(" ")[0]
        )
    absent = [column for column in known if known[column] not in positions]
    return Header(tuple(names), positions, tuple(_near(names[position], absent) for position in unread))


def _missing(contract: Contract, positions: dict[str, int]) -> str:
    """The first column, or choice of columns, that a row of this feed cannot do without."""
    for field in contract.fields:
        if field.required and field.name not in positions:
            return field.name
    if contract.any_of and not any(all(name in positions for name in group) for group in contract.any_of):
        return " or ".join(" with ".join(group) for group in contract.any_of)
    return ""


def _nearest(missing: str, others: list[str]) -> str:
    """The unread header nearest to a missing column, or all of them."""
    plainly = {plain(header): header for header in others}
    near = get_close_matches(missing.split(" ", maxsplit=1)[0], plainly, n=1, cutoff=0.5)
    return plainly[near[0]] if near else ", ".join(others)


def _near(header: str, absent: list[str]) -> str:
    near = get_close_matches(plain(header), absent, n=1, cutoff=0.75)
    return f"{header} (near {near[0]})" if near else header
