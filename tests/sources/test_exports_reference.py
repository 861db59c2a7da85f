"""Cells, moments and units of exports against published standards."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from tests.feeds.delivery import Site

from takeup.feeds.lines import cells_of
from takeup.store.zones import turns
from takeup.units import conversion

#: RFC 4180, Common Format and MIME Type for CSV Files, October 2005, section 2: the examples of rules 4 to 7.
RFC_4180 = [
    ("aaa,bbb,ccc", ["aaa", "bbb", "ccc"]),
    ('"aaa","bbb","ccc"', ["aaa", "bbb", "ccc"]),
    ('"aaa","b\r\nbb","ccc"', ["aaa", "b\r\nbb", "ccc"]),
    ('"aaa","b""bb","ccc"', ["aaa", 'b"bb', "ccc"]),
]


@pytest.mark.parametrize(("record", "cells"), RFC_4180)
def test_records_read_as_in_rfc_4180(record, cells):
    assert cells_of(record, ",") == cells


#: RFC 3339, Date and Time on the Internet, July 2002, section 5.8: the examples within the years that zones
#: cover, with the same moment in UTC as the section states it (the leap second is no time of a wall clock).
RFC_3339 = [
    ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52"),
    ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57"),
    ("1990-12-31T23:59:60Z", "not_a_moment"),
    ("1990-12-31T15:59:60-08:00", "not_a_moment"),
]


def test_moments_with_offsets_read_as_in_rfc_3339(tmp_path):
    site = Site(tmp_path, zone="UTC")
    lines = [f"M-{number},{text},1" for number, (text, _) in enumerate(RFC_3339)]
    site.deliver({"run_hours.csv": "machine,read_at,meter_hours\n" + "\n".join(lines)})
    read = dict(site.rows("run_hours")[["machine", "read_at"]].itertuples(index=False))
    reasons = {f"M-{row.line - 2}": row.reason for row in site.store.kept_out()}
    assert read | reasons == {f"M-{number}": wanted for number, (_, wanted) in enumerate(RFC_3339)}


def test_the_clocks_of_the_union_turn_as_its_directive_says():
    """Directive 2000/84/EC, articles 2 and 3: at 1.00 a.m. Greenwich Mean Time on the last Sundays of March
    and October."""
    for zone in ("Europe/Berlin", "Europe/Lisbon", "Europe/Helsinki", "Europe/Dublin"):
        for year in (2002, 2010, 2018, 2025):
            found = [moment for moment, _, _ in turns(zone) if moment.year == year]
            assert found == [
                datetime(year, month, last_sunday(year, month), 1, tzinfo=UTC) for month in (3, 10)
            ]


def last_sunday(year: int, month: int) -> int:
    return max(day for day in range(25, 32) if date(year, month, day).weekday() == 6)


def test_the_inch_and_the_us_fluid_ounce_are_nists():
    """NIST Special Publication 811 (2008), appendix B.8: inch 2.54 E-02 m exactly; fluid ounce (US)
    2.957 353 E-05 m3, rounded there to seven digits."""
    assert conversion("in", "mm").factor == Decimal("25.4")
    assert round(conversion("US fl oz", "mL").factor, 5) == Decimal("29.57353")
