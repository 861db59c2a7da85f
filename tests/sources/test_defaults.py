"""Every default that claims a publication against the figure that is published.

Figures are stated with their citation and worked to the default by what they mean; where a publication prints
a range or a whole number, the default must be what that gives. Defaults that claim none are not held here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import NamedTuple

import pytest
from scipy import stats

from takeup.derive.settings import MeasuringSettings
from takeup.derive.trust import doubt_of
from takeup.judgement.settings import SECTIONS
from takeup.model import Source
from takeup.orders.settings import OrdersSettings


class Published(NamedTuple):
    """What a publication gives for a default: a figure, or the ends between which it must lie."""

    low: float
    high: float
    cited: str
    """A part of the citation that the setting prints."""


def exactly(figure: float, cited: str) -> Published:
    return Published(figure, figure, cited)


def at_rate(write_off_percent: float, life_hours: float) -> float:
    """Wear rate of a chain that is written off at an elongation after a life, in % per 1000 h."""
    return 1000 * write_off_percent / life_hours


# UK SI 2016/1153, Schedule 1I, Table 1, the same as EU directive 2014/32, annex X, MI-008: a + b L, by class.
TAPES = {"1": (0.1, 0.1), "2": (0.3, 0.2), "3": (0.6, 0.4)}
# GOST 12996-90, 2.9: lives of a traction chain in light, medium and highly abrasive bulk. A write-off at 2 to
# 3 % is an assumption, so the rates are derived. Tolerance: the second digit to which ranges are rounded.
LIVES = {"light_bulk": 14_000.0, "abrasive_bulk": 6_800.0, "highly_abrasive": 5_000.0}
ROUNDED = 0.01

PUBLISHED = {
    **{f"measuring.tape_{no}_mm": exactly(a, "MI-008") for no, (a, _) in TAPES.items()},
    **{f"measuring.tape_{no}_mm_per_m": exactly(b, "MI-008") for no, (_, b) in TAPES.items()},
    # JCGM 100:2008, H.1.2: 11.5e-6 for the steel of the end gauge; NIST tutorial, AISI 1050: 11.2 to 11.5.
    "measuring.carbon_um_per_m_k": exactly(11.5, "JCGM 100:2008, H.1"),
    "measuring.tape_um_per_m_k": exactly(11.5, "JCGM 100:2008, H.1"),
    # Table of thermal expansion of steels, AISI 304 annealed, 0 to 100 degC (open engineering table).
    "measuring.stainless_um_per_m_k": exactly(17.2, "stainless 304"),
    # ASME B29.14M-1996, 2.3: 0 to +0.75 in in a measured length of 120 in.
    "measuring.tolerance_cast_percent": exactly(100 * 0.75 / 120, "ASME B29.14M-1996, 2.3"),
    # GOST 21834-87, 2.2.11: 3 % as limit state of a drilling drive chain; US Army TM 10-3930-671-24 has
    # the same for leaf chain.
    "limits.drive_percent": exactly(3.0, "GOST 21834-87, 2.2.11"),
    # Encyclopaedia article "Roller chain", Wear: 3 % where the drive can be adjusted, 1.5 % on fixed centres.
    "limits.fixed_percent": exactly(1.5, "Roller chain"),
    # ISO 10823, scope: 15 000 h; 3 % as the end of that life is from memory.
    "forecast.rate_enclosed_clean_upper": exactly(at_rate(3.0, 15_000), "ISO 10823"),
    **{
        f"forecast.rate_{name}": Published(at_rate(2.0, life), at_rate(3.0, life), "GOST 12996-90, 2.9")
        for name, life in LIVES.items()
    },
    **{
        f"forecast.rate_{name}_upper": Published(
            at_rate(3.0, LIVES[name]) - ROUNDED, at_rate(3.0, LIVES[name]) + ROUNDED, "GOST 12996-90, 2.9"
        )
        for name in ("light_bulk", "highly_abrasive")
    },
    # GOST 12996-90, 2.9: the life in highly abrasive bulk is given up to 0.16 m/s.
    "forecast.slow_m_per_s": exactly(0.16, "GOST 12996-90, 2.9"),
}  # fmt: skip


def defaults() -> Iterator[tuple[str, float, Source, str]]:
    """Name, default, status and citation of every setting of the trade."""
    for section, record in {"measuring": MeasuringSettings, "orders": OrdersSettings, **SECTIONS}.items():
        for item in fields(record):
            if item.metadata:
                yield (
                    f"{section}.{item.name}", item.default, item.metadata["source"], item.metadata["citation"]
                )  # fmt: skip


DEFAULTS = {name: (value, source, citation) for name, value, source, citation in defaults()}


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_default_is_what_its_publication_gives(name: str) -> None:
    value, _, citation = DEFAULTS[name]
    wanted = PUBLISHED[name]
    assert wanted.cited in citation
    assert wanted.low * (1 - 1e-12) <= value <= wanted.high * (1 + 1e-12)


def test_every_default_that_claims_a_publication_stands_here() -> None:
    """Verified or quoted, and beside them only what was worked out from such; all but geometry is cited."""
    seen = (Source.VERIFIED, Source.QUOTED)
    claims = {name for name, (_, source, _) in DEFAULTS.items() if source in seen}
    assert claims <= set(PUBLISHED)
    assert {DEFAULTS[name][1] for name in set(PUBLISHED) - claims} == {Source.DERIVED}
    assert all(citation for _, source, citation in DEFAULTS.values() if source in (*seen, Source.MEMORY))


def test_the_middle_of_a_start_rate_is_that_of_its_range() -> None:
    """Half way between write-off at 2 and at 3 %, to the second digit to which the ranges are rounded."""
    for name, life in LIVES.items():
        assert DEFAULTS[f"forecast.rate_{name}"][0] == pytest.approx(at_rate(2.5, life), abs=ROUNDED), name


def test_twice_the_standard_uncertainty_covers_about_95_per_cent() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 2.5.7: k = 2 for a level of about 95 %.

    scipy.stats.norm gives 95.45 %; two readings of 3 and 4 combine to 5 (JCGM 100:2008, 5.1.2).
    """
    coverage = doubt_of(3.0, 4.0) / 5.0
    assert coverage == 2.0
    assert stats.norm.cdf(coverage) - stats.norm.cdf(-coverage) == pytest.approx(0.95, abs=0.005)
