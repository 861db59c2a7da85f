"""The ``[source.…]`` tables of a settings file: how each source of a site writes its exports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields
from typing import Any

from takeup.errors import SettingsError
from takeup.feeds.dialect import SourceDialect, default_sources
from takeup.model import Feed
from takeup.site.overrides import LineFinder, as_table, unknown

#: What a table may say; the fallback is ours alone.
_KNOWN = {item.name: item for item in fields(SourceDialect) if item.name not in ("name", "fallback")}


def sources(tables: Mapping[str, Any], zone: str, lines: LineFinder) -> tuple[SourceDialect, ...]:
    """The site's sources, then for every feed a source of plain exports.

    One of the site's that bears a feed's name stands in the place of the plain one.

    Parameters
    ----------
    tables : mapping
        Source name to its table.
    zone : str
        The site's time zone, for sources that name none.
    lines : LineFinder

    Raises
    ------
    SettingsError
        Naming line, table and key.
    """
    own = [
        _source(name, as_table(table, lines, "source", name), zone, lines) for name, table in tables.items()
    ]
    return (*own, *(source for source in default_sources() if source.name not in tables))


def _source(name: str, table: Mapping[str, Any], zone: str, lines: LineFinder) -> SourceDialect:
    for key, value in table.items():
        where = lines.place("source", name, key=key)
        if key not in _KNOWN:
            raise unknown(key, _KNOWN, where=where)
        wanted = _not_kind(key, value)
        if wanted:
            raise SettingsError(f"{key} = {value!r} is not {wanted}", where=where)
    missing = [
        key
        for key, item in _KNOWN.items()
        if key not in table and item.default is MISSING and item.default_factory is MISSING
    ]
    if missing:
        raise SettingsError(f"{', '.join(missing)} must be given", where=lines.place("source", name))
    feeds = [feed.value for feed in Feed]
    if table["feed"] not in feeds:
        raise unknown(table["feed"], feeds, where=lines.place("source", name, key="feed"), what="feed")
    try:
        return SourceDialect(name=name, **{"time_zone": zone, **table})
    except SettingsError as problem:  # it knows the key, and not the line
        where = lines.place("source", name, key=problem.where.rpartition(", ")[2])
        raise SettingsError(problem.what, where=where, why=problem.why, todo=problem.todo) from None


def _not_kind(key: str, value: Any) -> str:
    """What the value of a key must be, where it is not; '' where it is."""
    if key == "files":
        return "" if isinstance(value, list) and _texts(value) else "a list of texts"
    if key in ("headers", "units"):
        return "" if isinstance(value, Mapping) and _texts(value.values()) else "a table of texts"
    if key == "words":
        inner = value.values() if isinstance(value, Mapping) else [None]
        whole = all(isinstance(words, Mapping) and _texts(words.values()) for words in inner)
        return "" if whole else "a table of tables of texts"
    return "" if isinstance(value, str) else "a text"


def _texts(values: Any) -> bool:
    return all(isinstance(value, str) for value in values)
