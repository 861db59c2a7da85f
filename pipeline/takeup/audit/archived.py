"""The archive checked: every file the ledger names is there as it came, and no other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from takeup.audit.difference import Difference, Part


@dataclass(frozen=True)
class Named:
    """An archived file as the ledger names it first.

    ``kind`` is ``export``, ``settings``, ``template`` or ``forecasts`` (a table of past ones).
    """

    kind: str
    name: str
    night: int


def named(nights: Iterable[Mapping[str, Any]]) -> dict[str, Named]:
    """Every file that nights took or were told by, by SHA-256.

    Parameters
    ----------
    nights : iterable of mapping
        Records, or the intent of one that was not told to its end.
    """
    found: dict[str, Named] = {}
    for night in nights:
        number = night["number"]
        for file in night["files"]:
            found.setdefault(file["sha256"], Named("export", file["name"], number))
        found.setdefault(night["settings"], Named("settings", "takeup.toml", number))
        for name, sha256 in sorted(night["templates"].items()):
            found.setdefault(sha256, Named("template", f"templates/{name}", number))
        for table in (night["fleet_before"], night.get("fleet")):
            if table is not None:
                found.setdefault(table, Named("forecasts", "", number))
    return found


def place(sha256: str) -> str:
    """Where a file lies in the archive."""
    return f"{sha256[:2]}/{sha256}"


def archive_differences(wanted: Mapping[str, Named], found: Mapping[str, str]) -> Iterator[Difference]:
    """Compare the archive with what the ledger names, by night.

    Parameters
    ----------
    wanted : mapping
        From :func:`named`.
    found : mapping
        Path of every file from the archive's folder to the SHA-256 of its bytes.
    """
    for sha256, one in sorted(wanted.items(), key=lambda item: (item[1].night, item[1].name, item[0])):
        where = place(sha256)
        if found.get(where) != sha256:
            code = "archive_changed" if where in found else "archive_gone"
            facts = {"kind": one.kind, "name": one.name, "night": one.night}
            yield Difference(code, Part.ARCHIVE, f"archive/{where}", one.night, facts)
    for path in sorted(found.keys() - {place(sha256) for sha256 in wanted}):
        yield Difference("archive_unknown", Part.ARCHIVE, f"archive/{path}")
