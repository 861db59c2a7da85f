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
import math
import tomllib
from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any

from takeup.errors import SettingsError
from takeup.layered import Layered, Override

#: from the widest layer to the finest
FINENESS = ("site", "machine", "strand")
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
    below = {
        kind: {
            name: as_table(tables, lines, kind, name)
            for name, tables in as_table(document.get(kind, {}), lines, kind).items()
        }
        for kind in ("machine", "strand")
    }
    for kind, named in below.items():
        for name, tables in named.items():
            for table in tables:
                if table not in sections:
                    where = lines.place(kind, name, table)
                    raise unknown(table, sections, where=where, what="section")
    for section, record in sections.items():
        machine, strand = (
            {
                name: _overrides(tables[section], record, lines, kind, name, section)
                for name, tables in named.items()
                if section in tables
            }
            for kind, named in below.items()
        )
        site = _overrides(document.get(section, {}), record, lines, section)
        found[section] = Layered(record(), site, machine, strand)
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
        self._lines: dict[tuple[str, ...], int] = {}
        table: tuple[str, ...] = ()
        for number, line in enumerate(text.splitlines(), start=1):
            bare = line.strip()
            if bare.startswith("["):
                path = table = _path(bare)
            else:
                path = (*table, *_path(bare.partition("=")[0] + "= 0"))
            self._lines.setdefault(path, number)

    def place(self, *table: str, key: str = "") -> str:
        """File, line, table and key; the line is that of the nearest table around them that has one."""
        path = (*table, key) if key else table
        known = (path[:length] for length in range(len(path), 0, -1))
        line = next((self._lines[part] for part in known if part in self._lines), None)
        at = f"{self.name} line {line}" if line else self.name
        return f"{at}, [{'.'.join(table)}] {key}".rstrip()


def _path(line: str) -> tuple[str, ...]:
    """The names that one line of TOML opens; none where it does not read alone."""
    try:
        found: Any = tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return ()
    path: list[str] = []
    while isinstance(found, dict) and found:
        ((name, found),) = found.items()
        path.append(name)
    return tuple(path)


def as_table(given: Any, lines: LineFinder, *path: str) -> Mapping[str, Any]:
    """A value that must be a table.

    Raises
    ------
    SettingsError
        If it is none.
    """
    if not isinstance(given, Mapping):
        *table, key = path
        raise SettingsError(f"{key} = {given!r} is not a table", where=lines.place(*table, key=key))
    return given


def unknown(word: str, known: Any, *, where: str, what: str = "key") -> SettingsError:
    """The error for a word that is not known here, with the nearest that is."""
    near = difflib.get_close_matches(word, list(known), n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(sorted(known))}"
    return SettingsError(f"{what} {word!r} is not known here; {hint}", where=where)


def _overrides(given: Any, record: type, lines: LineFinder, *path: str) -> dict[str, Override]:
    known = {item.name: item for item in fields(record) if item.metadata}
    found = {}
    for key, value in as_table(given, lines, *path).items():
        where = lines.place(*path, key=key)
        if key not in known:
            raise unknown(key, known, where=where)
        _refuse_too_fine(key, known[key].metadata["finest"], path, where)
        found[key] = _override(value, known[key], where)
    return found


def _refuse_too_fine(key: str, finest: str, path: tuple[str, ...], where: str) -> None:
    """A value that nobody would read must not look as if it counted."""
    layer = path[0] if len(path) > 1 else "site"
    if FINENESS.index(layer) <= FINENESS.index(finest):
        return
    *_, section = path
    table = f"[{section}]" if finest == "site" else f"[{section}] or [machine.NAME.{section}]"
    raise SettingsError(
        f"{key} cannot be set for a {layer}: it holds for the whole {finest}",
        where=where,
        why="It would be read for nobody, and look as if it counted.",
        todo=f"Put it under {table}.",
    )


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
    if wanted is float and not math.isfinite(value):
        raise SettingsError(f"value = {value} is not a finite number", where=where)
    low, high = item.metadata["low"], item.metadata["high"]
    if (low is not None and value < low) or (high is not None and value > high):
        raise SettingsError(
            f"value = {value} lies outside {low} to {high} {item.metadata['unit']}",
            where=where,
            why=item.metadata["says"],
        )
    return value
