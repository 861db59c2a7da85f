"""The settings file of a site: read whole, checked whole, every error naming line, table and key."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import time
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from takeup.derive.settings import MeasuringSettings
from takeup.errors import SettingsError
from takeup.feeds.dialect import SourceDialect
from takeup.judgement.settings import SECTIONS as JUDGEMENT_SECTIONS
from takeup.judgement.settings import JudgementSettings
from takeup.layered import Layered
from takeup.orders.settings import OrdersSettings
from takeup.site.overrides import LineFinder, as_table, layered, unknown
from takeup.site.sources import sources

#: Section of the settings file → the record that declares its fields.
SECTIONS: dict[str, type] = {
    "measuring": MeasuringSettings,
    **JUDGEMENT_SECTIONS,
    "orders": OrdersSettings,
}

PLAIN_TABLES = ("site", "source", "machine", "strand")

_PREFIX = re.compile(r"[A-Za-z][A-Za-z0-9]{0,11}")
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")


@dataclass(frozen=True)
class Settings:
    """What a site says of itself."""

    name: str
    time_zone: str
    tell_at: time
    inbox: str
    settle_seconds: float
    wait_seconds: float
    stale_after_days: int
    sources: tuple[SourceDialect, ...]
    layers: Mapping[str, Layered[Any]]
    text: str

    @property
    def zone(self) -> ZoneInfo:
        """The site's civil time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def measuring(self) -> Layered[MeasuringSettings]:
        """How readings are weighed."""
        found: Layered[MeasuringSettings] = self.layers["measuring"]
        return found

    @property
    def judgement(self) -> JudgementSettings:
        """How far things may go."""
        sections = {name: self.layers[name] for name in JUDGEMENT_SECTIONS}
        return JudgementSettings(**sections, measuring=self.measuring)

    @property
    def orders(self) -> Layered[OrdersSettings]:
        """How orders are bundled and silenced."""
        found: Layered[OrdersSettings] = self.layers["orders"]
        return found


def read_settings(text: str, name: str = "takeup.toml") -> Settings:
    """The settings of a site from the text of its file.

    Parameters
    ----------
    text : str
    name : str
        What errors call the file.

    Raises
    ------
    SettingsError
        On the first thing that is wrong.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"at line (\d+)", str(error))
        line = int(at[1]) if at else len(text.splitlines())  # what is open at the end names no line
        raise SettingsError(
            f"the file is not readable TOML: {error}", where=f"{name} line {line}", todo="Mend that line."
        ) from error
    lines = LineFinder(text, name)
    for table in document:
        if table not in (*PLAIN_TABLES, *SECTIONS):
            raise unknown(table, (*PLAIN_TABLES, *SECTIONS), where=lines.place(table), what="table")
    site = _Site(as_table(document.get("site", {}), lines, "site"), lines)
    plant = site.text("name")
    zone = site.text("time_zone")
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise SettingsError(
            f"time_zone = {zone!r} is not a known IANA time zone",
            where=site.place("time_zone"),
            why="Civil days and clock changes depend on it.",
            todo="Write a name such as 'Europe/Lisbon'.",
        ) from error
    layers = layered(document, SECTIONS, lines)
    layers["orders"] = replace(
        layers["orders"], record=OrdersSettings(prefix=site.prefix("order_prefix", "C"))
    )
    settings = Settings(
        name=plant,
        time_zone=zone,
        tell_at=site.clock("tell_at", "02:30"),
        inbox=site.text("inbox", "inbox"),
        settle_seconds=site.number("settle_seconds", 5.0),
        wait_seconds=site.number("wait_seconds", 60.0),
        stale_after_days=int(site.number("stale_after_days", 7.0)),
        sources=sources(as_table(document.get("source", {}), lines, "source"), zone, lines),
        layers=layers,
        text=text,
    )
    site.nothing_else()
    return settings


class _Site:
    """The [site] table, read key by key; what is left over is unknown."""

    def __init__(self, table: Mapping[str, Any], lines: LineFinder) -> None:
        self._table = table
        self._lines = lines
        self._known: set[str] = set()

    def place(self, key: str) -> str:
        return self._lines.place("site", key=key)

    def _get(self, key: str, default: Any, wanted: type | tuple[type, ...], kind: str) -> Any:
        self._known.add(key)
        value = self._table.get(key, default)
        if value is None:
            raise SettingsError(f"{key} is missing", where=self.place(""), todo=f"Add {key} = ... to [site].")
        if not isinstance(value, wanted) or isinstance(value, bool):
            raise SettingsError(f"{key} = {value!r} is not {kind}", where=self.place(key))
        return value

    def text(self, key: str, default: str | None = None) -> str:
        value: str = self._get(key, default, str, "a text")
        if not value.strip():
            raise SettingsError(f"{key} is blank", where=self.place(key), todo="Write it between the quotes.")
        return value

    def number(self, key: str, default: float) -> float:
        value = float(self._get(key, default, (int, float), "a number"))
        if not math.isfinite(value):
            raise SettingsError(f"{key} = {value} is not a number of seconds or days", where=self.place(key))
        if value < 0:
            raise SettingsError(f"{key} = {value} is below 0", where=self.place(key))
        return value

    def clock(self, key: str, default: str) -> time:
        value: str = self._get(key, default, str, "a clock time in quotes, such as '02:30'")
        found = _CLOCK.fullmatch(value)
        if not found:
            raise SettingsError(
                f"{key} = {value!r} is not a clock time such as '02:30'", where=self.place(key)
            )
        return time(int(found[1]), int(found[2]))

    def prefix(self, key: str, default: str) -> str:
        value = self.text(key, default)
        if not _PREFIX.fullmatch(value):
            raise SettingsError(
                f"{key} = {value!r} is not one to twelve letters and digits, a letter first",
                where=self.place(key),
                why="Order numbers name files.",
            )
        return value

    def nothing_else(self) -> None:
        for key in self._table:
            if key not in self._known:
                raise unknown(key, self._known, where=self.place(key))
