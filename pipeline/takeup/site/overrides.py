"""Values a site puts in place of defaults, read out of its settings file.

A default of the trade is overridden by a table that says who answers for it::

    [limits]
    conveyor_percent = { value = 2.5, reason = "tight casing", by = "chain steward", on = 2026-01-05, ... }

    [machine."EL-14".limits]
    conveyor_percent = { ... }

    [strand."EL-14-A".limits]
    conveyor_percent = { ... }
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any

from takeup.errors import SettingsError
from takeup.layered import Layered, Override

ANSWERABLE = ("value", "reason", "by", "on", "review_by")


def layered(
    document: Mapping[str, Any], sections: Mapping[str, type], lines: LineFinder
) -> dict[str, Layered[Any]]:
    """Every section's record with the overrides of the site, its machines and its strands.

    Parameters
    ----------
    document : mapping
        The settings file as parsed.
    sections : mapping
        Section name to the frozen record that declares its fields.
    lines : LineFinder
        Finds the line of a table and key.

    Raises
    ------
    SettingsError
        Naming table, key and line.
    """
    found: dict[str, Layered[Any]] = {}
    for section, record in sections.items():
        found[section] = Layered(
            record(),
            _overrides(document.get(section, {}), record, section, lines),
            _below(document, "machine", section, record, lines),
            _below(document, "strand", section, record, lines),
        )
    for kind in ("machine", "strand"):
        for name, tables in document.get(kind, {}).items():
            for table in tables:
                if table not in sections:
                    raise unknown(
                        table, sections, where=lines.place(f"{kind}.{name}.{table}"), what="section"
                    )
    return found


class LineFinder:
    """Where a table and key stand in the settings text.

    Parameters
    ----------
    text : str
        The settings file.
    name : str
        What to call it.
    """

    def __init__(self, text: str, name: str = "takeup.toml") -> None:
        self.name = name
        self._lines: dict[tuple[str, str], int] = {}
        table = ""
        for number, line in enumerate(text.splitlines(), start=1):
            bare = line.strip()
            if bare.startswith("["):
                table = bare.strip("[] ").replace('"', "").replace("'", "")
                self._lines.setdefault((table, ""), number)
            elif "=" in bare and not bare.startswith("#"):
                self._lines.setdefault((table, bare.split("=", 1)[0].strip().strip("\"'")), number)

    def place(self, table: str, key: str = "") -> str:
        """File, line, table and key, as far as they are found."""
        line = self._lines.get((table, key)) or self._lines.get((table, ""))
        at = f"{self.name} line {line}" if line else self.name
        return f"{at}, [{table}] {key}".rstrip()


def unknown(word: str, known: Any, *, where: str, what: str = "key") -> SettingsError:
    """The error for a word that is not known here, with the nearest that is."""
    near = difflib.get_close_matches(word, list(known), n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(sorted(known))}"
    return SettingsError(f"{what} {word!r} is not known here; {hint}", where=where)


def _below(
    document: Mapping[str, Any], kind: str, section: str, record: type, lines: LineFinder
) -> dict[str, dict[str, Override]]:
    return {
        name: _overrides(tables[section], record, f"{kind}.{name}.{section}", lines)
        for name, tables in document.get(kind, {}).items()
        if section in tables
    }


def _overrides(table: Mapping[str, Any], record: type, name: str, lines: LineFinder) -> dict[str, Override]:
    known = {item.name: item for item in fields(record)}
    found = {}
    for key, given in table.items():
        where = lines.place(name, key)
        if key not in known:
            raise unknown(key, known, where=where)
        found[key] = _override(given, known[key], where)
    return found


def _override(given: Any, item: Any, where: str) -> Override:
    if not isinstance(given, Mapping) or set(given) != set(ANSWERABLE):
        raise SettingsError(
            f"{given!r} is not a whole override",
            where=where,
            why="A value in place of a default is printed with the order, with who answers for it.",
            todo=f"Write {item.name} = {{ value = ..., reason = '...', by = '...', on = 2026-01-31, "
            "review_by = 2027-01-31 }.",
        )
    value = _value(given["value"], item, where)
    for key in ("on", "review_by"):
        if type(given[key]) is not date:
            raise SettingsError(f"{key} = {given[key]!r} is not a date such as 2026-01-31", where=where)
    for key in ("reason", "by"):
        if not isinstance(given[key], str) or not given[key].strip():
            raise SettingsError(f"{key} is blank", where=where, todo="Say why, and who decided it.")
    return Override(value, given["reason"], given["by"], given["on"], given["review_by"], where)


def _value(value: Any, item: Any, where: str) -> Any:
    wanted = type(item.default)
    if wanted is float and type(value) is int:
        value = float(value)
    if type(value) is not wanted:
        kind = {float: "a number", int: "a whole number", bool: "true or false", str: "a text"}.get(
            wanted, "a table"
        )
        raise SettingsError(f"value = {value!r} is not {kind}", where=where)
    low, high = item.metadata["low"], item.metadata["high"]
    if (low is not None and value < low) or (high is not None and value > high):
        raise SettingsError(
            f"value = {value} lies outside {low} to {high} {item.metadata['unit']}",
            where=where,
            why=item.metadata["says"],
        )
    return value
