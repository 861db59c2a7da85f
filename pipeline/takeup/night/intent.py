"""What a night sets out to do, written down first, so that a stop at any instant is made good.

The order of commitment: exports archived → intent on the disk → inbox cleared → rows inserted in one
transaction → queue staged → ledger line on the disk, *which is the commit* → queue switched → intent removed.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from takeup.ledger import sync_folder


@dataclass(frozen=True)
class TakenFile:
    """An archived export that a night takes: its name in the inbox, its bytes' SHA-256, its source.

    ``read_again`` marks one that an earlier night took and a person asked to read again under new settings.
    """

    name: str
    sha256: str
    source: str
    size: int
    read_again: bool = False


@dataclass(frozen=True)
class SetAsideRow:
    """A row that a person does not trust: the line of an archived export, who said so, and why."""

    sha256: str
    line: int
    file: str = ""
    by: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Intent:
    """A night to be told. With the archive, it is all that telling it again needs."""

    number: int
    as_of: date
    previous_as_of: date | None
    files: tuple[TakenFile, ...]
    set_aside: tuple[SetAsideRow, ...]
    settings: str
    templates: tuple[tuple[str, str], ...]
    fleet: str | None
    afresh: bool
    """Derive every strand: the settings or the versions are not those of the night before."""

    def record(self) -> dict[str, Any]:
        """As JSON-able values, for the intent file and the ledger."""
        return {
            "number": self.number,
            "as_of": self.as_of.isoformat(),
            "previous_as_of": self.previous_as_of.isoformat() if self.previous_as_of else None,
            "files": [asdict(file) for file in self.files],
            "set_aside": [asdict(row) for row in self.set_aside],
            "settings": self.settings,
            "templates": dict(self.templates),
            "fleet_before": self.fleet,
            "afresh": self.afresh,
        }

    @classmethod
    def of(cls, record: dict[str, Any]) -> Intent:
        """From :meth:`record`, or from a night's ledger record."""
        before = record["previous_as_of"]
        return cls(
            number=record["number"],
            as_of=date.fromisoformat(record["as_of"]),
            previous_as_of=date.fromisoformat(before) if before else None,
            files=tuple(TakenFile(**file) for file in record["files"]),
            set_aside=tuple(SetAsideRow(**row) for row in record["set_aside"]),
            settings=record["settings"],
            templates=tuple(sorted(record["templates"].items())),
            fleet=record["fleet_before"],
            afresh=record["afresh"],
        )


def write(intent: Intent, path: Path) -> None:
    """Put the intent on the disk, whole or not at all."""
    draft = path.with_suffix(".part")
    with draft.open("w", encoding="utf-8") as file:
        json.dump(intent.record(), file, indent=1, sort_keys=True)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
    sync_folder(path.parent)


def read(path: Path) -> Intent | None:
    """The open intent, if a night was stopped before it ended."""
    if not path.exists():
        return None
    return Intent.of(json.loads(path.read_text(encoding="utf-8")))


def remove(path: Path) -> None:
    """The night has ended: nothing is left to be made good."""
    path.unlink(missing_ok=True)
    sync_folder(path.parent)
