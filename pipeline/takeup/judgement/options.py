"""What may be changed about the next chain, as data: what each option cures, what it leaves, how it is seen.

Source: the trade's usual options, common practice, no source; hydrogen: ISO and AS 1789 as quoted by trade
pages. The words stand in ``templates/sentences/option/``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from takeup.judgement.rule import Row

ABRASION, INGRESS, STARVATION, CORROSION = "abrasion", "ingress", "starvation", "corrosion"
CRACKING, FATIGUE, EDGE_WEAR, HEAT = "cracking", "fatigue", "edge_wear", "heat"

#: finding → the way of wearing it speaks of; common practice, no source
MECHANISM_OF = {
    "scratched_joint": ABRASION,
    "packing": INGRESS,
    "seal_missing": INGRESS,
    "seal_crushed": INGRESS,
    "hot_joint": STARVATION,
    "discoloured": STARVATION,
    "rust": CORROSION,
    "pitting": CORROSION,
    "cracked_bushing": CRACKING,
    "cracked_pin": CRACKING,
    "broken_pin": CRACKING,
    "cracked_sidebar": FATIGUE,
    "broken_sidebar": FATIGUE,
    "thin_sidebar": EDGE_WEAR,
}
MECHANISMS = tuple(dict.fromkeys(MECHANISM_OF.values()))

#: register columns by which two chains count as of one build and duty
BUILD = (
    "construction", "pitch_mm", "pin_hardening", "bushing_hardening", "pin_case_mm", "bushing_case_mm",
    "chrome_mm", "finish", "steel", "seals", "pin_diameter_mm", "bushing_bore_mm", "bushing_outside_mm",
    "sidebar_height_mm", "sidebar_hole_mm", "teeth_drive", "teeth_tail", "speed_m_per_s",
)  # fmt: skip
_HARDENING = frozenset({"pin_hardening", "bushing_hardening", "pin_case_mm", "bushing_case_mm"})


@dataclass(frozen=True)
class Option:
    """One thing to change.

    ``slows`` says whether it acts on the wear of the joint, which every limit of elongation comes from;
    ``has`` whether a chain has it; ``columns`` are the register columns it may change. ``price`` is a range
    of multiples, common practice, no source. ``hydrogen``: platings that can crack hard parts; ``heat``:
    bound by a limit of temperature.
    """

    name: str
    cures: frozenset[str]
    leaves: frozenset[str]
    columns: frozenset[str]
    has: Callable[[Row, Row], bool]
    slows: bool = True
    price: tuple[float, float] | None = None
    hydrogen: bool = False
    heat: bool = False


def _is(column: str, *words: str) -> Callable[[Row, Row], bool]:
    return lambda chain, _: chain[column] in words


def _both(*columns: str, word: str) -> Callable[[Row, Row], bool]:
    return lambda chain, _: all(chain[column] == word for column in columns)


def _either(*columns: str, word: str) -> Callable[[Row, Row], bool]:
    return lambda chain, _: any(chain[column] == word for column in columns)


def _some(column: str) -> Callable[[Row, Row], bool]:
    return lambda chain, _: bool(chain[column] > 0)


def _more(*columns: str) -> Callable[[Row, Row], bool]:
    return lambda chain, now: any(bool(chain[column] > now[column]) for column in columns)


def _says(column: str, *parts: str) -> Callable[[Row, Row], bool]:
    return lambda chain, _: any(part in str(chain[column]).casefold() for part in parts)


OPTIONS: tuple[Option, ...] = (
    Option(
        "through_hardened",
        frozenset({CRACKING}),
        frozenset({ABRASION}),
        _HARDENING,
        _both("pin_hardening", "bushing_hardening", word="through"),
        slows=False,
    ),
    Option(
        "induction_pin",
        frozenset({ABRASION}),
        frozenset({CORROSION, CRACKING}),
        frozenset({"pin_hardening", "pin_case_mm"}),
        _is("pin_hardening", "induction"),
    ),
    Option(
        "carburised",
        frozenset({ABRASION}),
        frozenset({CRACKING}),
        _HARDENING,
        _either("pin_hardening", "bushing_hardening", word="carburised"),
    ),
    Option(
        "heavier",
        frozenset({ABRASION, FATIGUE}),
        frozenset({INGRESS}),
        frozenset({"pin_diameter_mm", "bushing_bore_mm", "bushing_outside_mm"}),
        _more("pin_diameter_mm", "bushing_outside_mm"),
    ),
    Option(
        "chrome",
        frozenset({ABRASION, CORROSION}),
        frozenset({CRACKING}),
        frozenset({"chrome_mm", "finish"}),
        _some("chrome_mm"),
        hydrogen=True,
    ),
    Option(
        "zinc",
        frozenset({CORROSION}),
        frozenset({ABRASION}),
        frozenset({"finish"}),
        _says("finish", "zinc", "galvani"),
        slows=False,
        hydrogen=True,
    ),
    Option(
        "stainless",
        frozenset({CORROSION, HEAT}),
        frozenset({ABRASION}),
        _HARDENING | {"steel", "finish"},
        _is("steel", "austenitic_stainless"),
        price=(3.0, 6.0),
        heat=True,
    ),
    Option(
        "seals",
        frozenset({INGRESS, STARVATION}),
        frozenset({HEAT}),
        frozenset({"seals"}),
        _is("seals", "single", "labyrinth"),
        price=(1.3, 2.0),
        heat=True,
    ),
    Option(
        "sidebars",
        frozenset({EDGE_WEAR}),
        frozenset(),
        frozenset({"sidebar_height_mm", "sidebar_hole_mm"}),
        _more("sidebar_height_mm"),
        slows=False,
    ),
    Option(
        "machine",
        frozenset(MECHANISMS),
        frozenset(),
        frozenset({"teeth_drive", "teeth_tail", "speed_m_per_s"}),
        lambda chain, now: bool(
            chain["teeth_drive"] > now["teeth_drive"]
            or chain["teeth_tail"] > now["teeth_tail"]
            or chain["speed_m_per_s"] < now["speed_m_per_s"]
        ),
    ),
)
BY_NAME = {option.name: option for option in OPTIONS}
