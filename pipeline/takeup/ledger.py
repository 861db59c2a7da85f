"""The append-only record of nights and of people's decisions: one canonical JSON line each, chained by hash.

A line is the RFC 8785 form of one record. Every record carries ``previous``, the SHA-256 of the line before
it (its bytes without the newline), so that a line cannot be changed, dropped or moved without breaking the
chain after it. The *head* is the SHA-256 of the last line. A line counts from the moment its newline is on
the disk: what stands after the last newline was never committed and is cut off at the next start.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import rfc8785

from takeup.errors import LedgerError

#: What ``previous`` says in the first record.
BEGINNING = "0" * 64


class Ledger:
    """One site's ledger file.

    Parameters
    ----------
    path : Path
        The file; it is created with the first record.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def cut_torn_tail(self) -> bool:
        """Cut off what stands after the last newline, left by a stop in the middle of a write.

        Returns
        -------
        bool
            Whether anything was cut.
        """
        if not self.path.exists():
            return False
        content = self.path.read_bytes()
        whole = content.rfind(b"\n") + 1
        if whole == len(content):
            return False
        with self.path.open("r+b") as file:
            file.truncate(whole)
            os.fsync(file.fileno())
        return True

    def lines(self) -> Iterator[tuple[int, bytes]]:
        """Every committed line with its number, from 1."""
        if not self.path.exists():
            return
        with self.path.open("rb") as file:
            for number, line in enumerate(file, start=1):
                if line.endswith(b"\n"):
                    yield number, line[:-1]

    def records(self) -> Iterator[dict[str, Any]]:
        """Every committed record, oldest first, each checked against the chain.

        Raises
        ------
        LedgerError
            Naming the first line that is not canonical, or does not follow from the line before it.
        """
        yield from chained(self.lines(), self.path.name)

    def nights(self) -> list[dict[str, Any]]:
        """The records of told nights, oldest first."""
        return [record for record in self.records() if record["kind"] == "night"]

    @property
    def head(self) -> str:
        """SHA-256 of the last committed line, or :data:`BEGINNING`."""
        last = None
        for _, line in self.lines():
            last = line
        return BEGINNING if last is None else _digest(last)

    def head_with(self, record: dict[str, Any]) -> str:
        """The head that this record will give, for whoever has to print it before the record is committed."""
        return head_of({**record, "previous": self.head})

    def append(self, record: dict[str, Any]) -> str:
        """Commit one record.

        Parameters
        ----------
        record : dict
            JSON-able, without ``previous``.

        Returns
        -------
        str
            The new head.

        Raises
        ------
        LedgerError
            If the disk refused.
        """
        line = _line({**record, "previous": self.head})
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("ab") as file:
                file.write(line + b"\n")
                file.flush()
                os.fsync(file.fileno())
            sync_folder(self.path.parent)
        except OSError as error:
            raise LedgerError(
                f"the record could not be written: {error.strerror}",
                where=str(self.path),
                todo="Make room on the disk or mend the rights of the folder, then run the night again.",
            ) from error
        return _digest(line)


def chained(lines: Iterable[tuple[int, bytes]], name: str) -> Iterator[dict[str, Any]]:
    """The records in lines without their ends, each checked against the chain.

    Parameters
    ----------
    lines : iterable of (number, bytes)
    name : str
        Of the file, for errors.

    Raises
    ------
    LedgerError
        As :meth:`Ledger.records`.
    """
    previous = BEGINNING
    for number, line in lines:
        record = _read(line, where=f"{name} line {number}")
        if record.get("previous") != previous:
            raise LedgerError(
                f"this record follows {record.get('previous')!r}, the line before it is {previous!r}",
                where=f"{name} line {number}",
                why="A line was changed, dropped, moved or added here or just before.",
                todo="Put the ledger back from your backup.",
            )
        previous = _digest(line)
        yield record


def head_of(record: dict[str, Any]) -> str:
    """The head of a ledger that ends with this record, ``previous`` included."""
    return _digest(_line(record))


def grouped(head: str) -> str:
    """A head as people read and type it, in groups of four digits.

    Examples
    --------
    >>> grouped("1d623c47a19a8a75")
    '1d62 3c47 a19a 8a75'
    """
    return " ".join(head[place : place + 4] for place in range(0, len(head), 4))


#: What the archive's one writer has not finished, in the archive's own folder: it counts for nothing.
DRAFT = "incoming.part"


def sync_folder(folder: Path) -> None:
    """Put a folder's own entries on the disk, so that a new name survives a power cut."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _line(record: dict[str, Any]) -> bytes:
    return rfc8785.dumps(record)


def _digest(line: bytes) -> str:
    return hashlib.sha256(line).hexdigest()


def _read(line: bytes, *, where: str) -> dict[str, Any]:
    record: Any = None
    try:
        record = json.loads(line)
        canonical = isinstance(record, dict) and rfc8785.dumps(record) == line
    except (ValueError, RecursionError, rfc8785.CanonicalizationError):
        canonical = False
    if not canonical:
        raise LedgerError(
            "this line is not a record as takeup writes it",
            where=where,
            why="The ledger is the truth that every past night is told from.",
            todo="Put the ledger back from your backup.",
        )
    return dict(record)
