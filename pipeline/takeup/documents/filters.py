"""How values are written for people: plain functions, used by the templates as filters.

Numbers keep a fixed count of decimals for each unit, so that columns align and the arithmetic of a sentence
can be followed; days name their weekday and month, so that no reader mistakes one for the other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from typing import Any

from takeup.documents.sheets import OverrideLine
from takeup.model import Fact, Sourced

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

#: unit → (decimals, how the unit is written); other units are written as they are, with up to three decimals
UNITS: dict[str, tuple[int, str]] = {
    "percent": (3, "%"),
    "%": (3, "%"),
    "points": (3, "points"),
    "%/1000 h": (3, "% per 1000 h"),
    "%/km": (3, "% per km slid"),
    "loops/h": (1, "loops per hour"),
    "m/h": (2, "m per hour"),
    "mm": (1, "mm"),
    "mm/m": (1, "mm per m"),
    "h/m": (2, "h per m"),
    "m": (1, "m"),
    "m/s": (2, "m/s"),
    "h": (0, "h"),
    "h/d": (1, "h per day"),
    "d": (0, "days"),
    "mL": (1, "mL"),
    "K": (1, "K"),
    "degC": (1, "°C"),
    "degree": (1, "°"),
    "pitch": (0, "pitches"),
    "kN": (1, "kN"),
    "µm/(m K)": (1, "µm per m and K"),
    "1": (3, ""),
    "": (3, ""),
    "day": (0, ""),
    "word": (0, ""),
    "words": (0, ""),
    "yes/no": (0, ""),
}

#: counted things: no decimals, and one of them loses its s
COUNTS = ("marks", "surveys", "forecasts", "lives", "strands", "rows", "pitches", "days")
SINGULAR = {"lives": "life", "pitches": "pitch"}

MISSING = "not known"


def is_known(value: Any) -> bool:
    """Whether there is a value: neither None nor NaN."""
    return value is not None and not (isinstance(value, float) and math.isnan(value))


def number(value: float | None, decimals: int = 3) -> str:
    """A number with so many decimals, a true minus sign, and no negative zero.

    Examples
    --------
    >>> number(-0.0001, 3), number(-3.5, 1), number(None)
    ('0.000', '−3.5', 'not known')
    """
    if not is_known(value):
        return MISSING
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def quantity(value: Any, unit: str | None = None) -> str:
    """A fact, a sourced value or a bare one in words, with its unit.

    Parameters
    ----------
    value : Fact, Sourced, number, date, str, bool, tuple or None
    unit : str, optional
        Needed for a bare number that has one.

    Examples
    --------
    >>> quantity(Fact("e", 1.5517, "percent")), quantity(12.0, "pitches"), quantity(date(2026, 4, 20))
    ('1.552 %', '12 pitches', 'Mon 20 Apr 2026')
    """
    if isinstance(value, Fact | Sourced):
        value, unit = value.value, value.unit if unit is None else unit
    if not is_known(value):
        return MISSING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return day(value)
    if isinstance(value, tuple | list):
        return listed(quantity(item, unit) for item in value)
    if not isinstance(value, int | float):
        return str(value)
    unit = unit or ""
    decimals, written = UNITS.get(unit, (0 if unit in COUNTS else 3, unit))
    if written in COUNTS and value == 1:
        written = SINGULAR.get(written, written.removesuffix("s"))
    text = number(value, 0 if isinstance(value, int) else decimals)
    if unit in ("", "1") and "." in text:
        text = text.rstrip("0").rstrip(".")
    space = "" if written in ("", "°") else " "
    return f"{text}{space}{written}"


def setting_value(fact: Fact | OverrideLine) -> str:
    """The value of a setting with its unit, with the digits that it has, no more and no fewer.

    Examples
    --------
    >>> setting_value(Fact("measuring.carbon_um_per_m_k", 11.5, "µm/(m K)"))
    '11.5 µm per m and K'
    >>> setting_value(Fact("limits.conveyor_percent", 3.0, "%"))
    '3 %'
    """
    if isinstance(fact.value, str) or not is_known(fact.value):
        return quantity(fact.value)
    digits = max(0, 3 - math.floor(math.log10(abs(fact.value)))) if fact.value else 0
    text = f"{fact.value:.{digits}f}"
    written = UNITS.get(fact.unit, (0, fact.unit))[1]
    space = "" if written in ("", "°") else " "
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text}{space}{written}"


def bare(value: Any) -> Any:
    """The value inside a fact or sourced value, for comparisons in a template."""
    return value.value if isinstance(value, Fact | Sourced) else value


def day(value: Any) -> str:
    """A civil day that cannot be misread.

    Examples
    --------
    >>> day(date(2026, 4, 20)), day(None)
    ('Mon 20 Apr 2026', 'not known')
    """
    value = bare(value)
    if value is None:
        return MISSING
    return f"{WEEKDAYS[value.weekday()]} {value.day} {MONTHS[value.month - 1]} {value.year}"


def listed(items: Iterable[Any] | Fact) -> str:
    """Items as a phrase, each once; blank ones are passed over.

    Examples
    --------
    >>> listed(["A"]), listed(["A", "B"]), listed(["A", "B", "C"]), listed(["A", "", "A"])
    ('A', 'A and B', 'A, B and C', 'A')
    """
    texts = list(dict.fromkeys(str(item) for item in bare(items) if str(item)))
    return " and ".join([*([", ".join(texts[:-1])] if texts[:-1] else []), *texts[-1:]])


def capital(text: str) -> str:
    """The text with its first letter large, the rest as it was.

    Examples
    --------
    >>> capital("side rub on strand A")
    'Side rub on strand A'
    """
    return text[:1].upper() + text[1:]


def counted(number_of: int, one: str, many: str = "") -> str:
    """A count with its noun.

    Examples
    --------
    >>> counted(1, "row"), counted(3, "row"), counted(2, "survey of", "surveys of")
    ('1 row', '3 rows', '2 surveys of')
    """
    return f"{number_of} {one if number_of == 1 else many or one + 's'}"
