"""Exact factors between the units exports arrive in and the units takeup keeps.

Factors are :class:`decimal.Decimal`, so that 12.375 in is 314.325 mm and not the float beside it.
Temperatures have an offset too. Sources: the inch of 25.4 mm exactly, the pound of 0.45359237 kg and the
foot of 0.3048 m (international yard and pound agreement, 1959; NIST Special Publication 811, appendix B);
US liquid gallon 3.785411784 L and fluid ounce 29.5735295625 mL (the same); the rest by definition of the SI.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from takeup.errors import SettingsError


@dataclass(frozen=True)
class Conversion:
    """``kept = (given + before) * factor``, exact."""

    factor: Decimal
    before: Decimal = Decimal(0)


#: kept unit → given unit → conversion
CONVERSIONS: dict[str, dict[str, Conversion]] = {
    "mm": {
        "mm": Conversion(Decimal(1)),
        "cm": Conversion(Decimal(10)),
        "m": Conversion(Decimal(1000)),
        "in": Conversion(Decimal("25.4")),
        "ft": Conversion(Decimal("304.8")),
    },
    "degC": {
        "degC": Conversion(Decimal(1)),
        "degF": Conversion(Decimal(5) / Decimal(9), Decimal(-32)),
        "K": Conversion(Decimal(1), Decimal("-273.15")),
    },
    "h": {
        "h": Conversion(Decimal(1)),
        "min": Conversion(Decimal(1) / Decimal(60)),
        "s": Conversion(Decimal(1) / Decimal(3600)),
        "d": Conversion(Decimal(24)),
    },
    "mL": {
        "mL": Conversion(Decimal(1)),
        "L": Conversion(Decimal(1000)),
        "US fl oz": Conversion(Decimal("29.5735295625")),
        "US gal": Conversion(Decimal("3785.411784")),
    },
    "m/s": {
        "m/s": Conversion(Decimal(1)),
        "m/min": Conversion(Decimal(1) / Decimal(60)),
        "ft/min": Conversion(Decimal("0.3048") / Decimal(60)),
    },
    "percent": {
        "percent": Conversion(Decimal(1)),
        "fraction": Conversion(Decimal(100)),
        "per mille": Conversion(Decimal("0.1")),
    },
    "d": {"d": Conversion(Decimal(1)), "week": Conversion(Decimal(7))},
}


def conversion(given: str, kept: str) -> Conversion:
    """The exact step from a given unit to the kept one.

    Parameters
    ----------
    given, kept : str
        Unit names as in :data:`CONVERSIONS`; a kept unit unknown there converts from itself only.

    Returns
    -------
    Conversion

    Raises
    ------
    SettingsError
        If no exact conversion is known.

    Examples
    --------
    >>> (Decimal("12.375") + conversion("in", "mm").before) * conversion("in", "mm").factor
    Decimal('314.3250')
    """
    if given == kept:
        return Conversion(Decimal(1))
    known = CONVERSIONS.get(kept, {})
    if given not in known:
        wanted = ", ".join(sorted(known)) or kept
        raise SettingsError(
            f"no conversion from {given!r} to {kept!r} is known; known are {wanted}",
            why="A unit that is guessed would turn into a wrong elongation.",
        )
    return known[given]
