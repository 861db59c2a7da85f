"""Each kind of cell: what it reads, what it refuses and why. One delivery holds a table of cases."""

from __future__ import annotations

from decimal import Decimal

import pandas as pd
import pytest
from tests.feeds.delivery import Site

from takeup.feeds import SourceDialect


def outcomes(tmp_path, feed: str, column: str, cells: list[str], fixed: dict[str, str], key: str, **dialect):
    """Deliver one row a cell; per cell the value of its column, or the reason it was refused."""
    source = SourceDialect("export", feed, ("export*.csv",), delimiter="|", **dialect)
    site = Site(tmp_path, [source])
    header = [key, column, *fixed]
    lines = ["|".join(header)]
    lines += ["|".join([f"row {number:04}", cell, *fixed.values()]) for number, cell in enumerate(cells)]
    site.deliver({"export.csv": "\n".join(lines) + "\n"})
    rows = site.rows(feed)
    values = {
        who: None if pd.isna(value) else value for who, value in zip(rows[key], rows[column], strict=True)
    }
    reasons = {row.line: row.reason for row in site.store.kept_out()}
    return [reasons.get(number + 2, values.get(f"row {number:04}", "lost")) for number, _ in enumerate(cells)]


def numbers(tmp_path, cells, **dialect):
    return outcomes(
        tmp_path, "lube_records", "quantity_ml", cells, {"done_at": "2026-03-02"}, "strand", **dialect
    )


PLAIN = [
    ("250", 250.0),
    ("250.75", 250.75),
    ("+3.5", 3.5),
    (".5", 0.5),
    ("  12 ", 12.0),
    ("007", 7.0),
    ("0.1", 0.1),
    ("123456.789012345", 123456.789012345),
    ("", None),
    ("3,098", "ambiguous_number"),
    ("3,5", "ambiguous_number"),
    ("1,234.5", "ambiguous_number"),
    ("1 234", "ambiguous_number"),
    ("1e3", "not_a_number"),
    ("0x1F", "not_a_number"),
    ("1_000", "not_a_number"),
    ("nan", "not_a_number"),
    ("inf", "not_a_number"),
    ("5.", "not_a_number"),
    ("--5", "not_a_number"),
    ("12 mm", "not_a_number"),
    ("=1+1", "not_a_number"),
    ("1234567890123456", "not_a_number"),
    ("\u0661\u0662", "not_a_number"),
    ("\u221212", "not_a_number"),
    ("-0.1", "below_minimum"),
    ("1000000.1", "above_maximum"),
]

COMMA = [
    ("3098,5", 3098.5),
    ("3.098,5", 3098.5),
    ("3.098", 3098.0),
    ("12.345.678", "above_maximum"),
    ("30.98", "ambiguous_number"),
    ("3098.5", "ambiguous_number"),
    ("3,098.5", "ambiguous_number"),
    ("3.0985,1", "not_a_number"),
    (",5", 0.5),
]

SPACED = [("1 234,5", 1234.5), ("1\u00a0234", 1234.0), ("1\u202f234,25", 1234.25), ("12 34", "not_a_number")]


@pytest.mark.parametrize(
    ("cases", "dialect"),
    [
        (PLAIN, {}),
        (COMMA, {"decimal": ",", "grouping": "."}),
        (SPACED, {"decimal": ",", "grouping": " "}),
    ],
    ids=["point, no groups", "comma, groups by point", "comma, groups by blank"],
)
def test_a_number_reads_in_the_declared_marks_or_not_at_all(tmp_path, cases, dialect):
    found = numbers(tmp_path, [cell for cell, _ in cases], **dialect)
    assert found == [wanted for _, wanted in cases]


def test_a_whole_number_has_no_fraction(tmp_path):
    cases = [
        ("20", 20.0),
        ("20.0", 20.0),
        ("20.5", "not_whole"),
        ("x", "not_a_number"),
        ("2,0", "ambiguous_number"),
    ]
    cases += [("0", "below_minimum"), ("2001", "above_maximum")]
    fixed = {"measured_at": "2026-03-02", "length_mm": "3098.5"}
    found = outcomes(tmp_path, "elongation_readings", "pitches", [cell for cell, _ in cases], fixed, "strand")
    # 3098.5 over 2000 pitches is no chain, but the row fails on its own cell first
    assert found == [wanted for _, wanted in cases]


def test_units_convert_by_exact_decimals_before_any_float(tmp_path):
    cells = ["12.375", "121.98", "0.1", "3"]
    exact = [float(Decimal(cell) * Decimal("29.5735295625")) for cell in cells]
    assert numbers(tmp_path, cells, units={"quantity_ml": "US fl oz"}) == exact
    assert exact[0] == 365.9724283359375


def test_a_number_that_needs_converting_is_refused_by_the_same_patterns(tmp_path):
    assert numbers(tmp_path, ["3,5", "x", "", "2"], units={"quantity_ml": "L"})[:2] == [
        "ambiguous_number",
        "not_a_number",
    ]


def test_words_read_without_regard_to_case_and_by_the_sites_own_list(tmp_path):
    cases = [
        ("routine", "routine"),
        ("As Found", "as_found"),
        ("AS-LEFT", "as_left"),
        ("", "routine"),
        ("Endmass", "as_left"),
        ("nachher", "unknown_word"),
        ("routine;", "unknown_word"),
    ]
    fixed = {"measured_at": "2026-03-02", "elongation_percent": "1.5"}
    found = outcomes(
        tmp_path,
        "elongation_readings",
        "occasion",
        [cell for cell, _ in cases],
        fixed,
        "strand",
        words={"occasion": {"endmass": "as_left"}},
    )
    assert found == [wanted for _, wanted in cases]


def test_yes_and_no_are_not_guessed_from_ones_and_crosses(tmp_path):
    cases = [
        ("yes", "yes"),
        ("No", "no"),
        ("", "no"),
        ("1", "not_yes_or_no"),
        ("x", "not_yes_or_no"),
        ("J", "yes"),
    ]
    found = outcomes(
        tmp_path,
        "machines",
        "hot",
        [cell for cell, _ in cases],
        {"kind": "other"},
        "machine",
        words={"hot": {"j": "yes"}},
    )
    assert found == [wanted for _, wanted in cases]


TEXTS = [
    '=HYPERLINK("x")',
    "+SUM(A1)",
    "@cmd",
    "-2",
    "<script>alert(1)</script>",
    "{{ 7 * 7 }}",
    "'; DROP TABLE machines; --",
    "..\\..\\etc",
    "1e5",
    "0x1F",
    "\u202etxt",
    "e\u0301",
    "NULL",
    "nan",
    "None",
]


def test_text_stays_text_whatever_it_looks_like(tmp_path):
    assert outcomes(tmp_path, "machines", "area", TEXTS, {"kind": "other"}, "machine") == TEXTS


def test_text_longer_than_the_contract_is_refused_by_characters_not_bytes(tmp_path):
    cells = ["\u00e9" * 200, "x" * 201]
    assert outcomes(tmp_path, "machines", "area", cells, {"kind": "other"}, "machine") == [
        cells[0],
        "too_long",
    ]


def test_of_a_huge_cell_only_the_beginning_is_kept_with_its_refusal(tmp_path):
    site = Site(tmp_path)
    site.deliver({"machines.csv": f"machine,kind\n{'x' * 50_000},other\n"})
    (row,) = site.store.kept_out()
    assert (row.reason, len(row.found), len(row.raw)) == ("too_long", 300, 10_000)


DAYS = {
    "ymd": [
        ("2026-03-02", "2026-03-02"),
        ("2026/3/2", "2026-03-02"),
        ("2026.03.02", "2026-03-02"),
        ("20260302", "2026-03-02"),
        ("2026-03-02 00:00:00", "2026-03-02"),
        ("2024-02-29", "2024-02-29"),
        ("2026-02-29", "no_such_day"),
        ("2026-13-01", "no_such_day"),
        ("02.03.2026", "not_a_date"),
        ("26-03-02", "not_a_date"),
        ("2026-03-02 06:15", "not_a_date"),
        ("2026-03/02", "not_a_date"),
        ("epoch", "not_a_date"),
        ("46083", "not_a_date"),
        ("0202-03-01", "not_a_date"),
    ],
    "dmy": [
        ("02.03.2026", "2026-03-02"),
        ("2/3/2026", "2026-03-02"),
        ("31-12-2026", "2026-12-31"),
        ("12/31/2026", "no_such_day"),
        ("2026-03-02", "not_a_date"),
        ("02.03.26", "not_a_date"),
    ],
    "mdy": [("03/02/2026", "2026-03-02"), ("12/31/2026", "2026-12-31"), ("31/12/2026", "no_such_day")],
}


@pytest.mark.parametrize("order", list(DAYS))
def test_a_day_reads_in_the_declared_order_or_not_at_all(tmp_path, order):
    cases = DAYS[order]
    started = {"ymd": "2020-01-01", "dmy": "01.01.2020", "mdy": "01/01/2020"}[order]
    found = outcomes(
        tmp_path,
        "strands",
        "removed_on",
        [cell for cell, _ in cases],
        {"fitted_on": started, "machine": "EL-1"},
        "strand",
        date_order=order,
    )
    assert found == [wanted for _, wanted in cases]


def test_required_cells_groups_and_ratios_are_asked_for(tmp_path):
    site = Site(tmp_path)
    site.deliver(
        {
            "elongation_readings.csv": "strand,measured_at,pitches,length_mm,elongation_percent\n"
            ",2026-03-02,20,3098.5,\n"
            "A,,20,3098.5,\n"
            "A,2026-03-02,20,,\n"
            "A,2026-03-02,,3098.5,\n"
            "B,2026-03-02,,,1.5\n"
            "C,2026-03-02,20,121.98,\n"
            "D,2026-03-02,20,3098.5,\n"
        }
    )
    assert site.reasons() == [
        ("required_blank", 2, "strand"),
        ("required_blank", 3, "measured_at"),
        ("none_of_group_filled", 4, "length_mm"),
        ("none_of_group_filled", 5, "length_mm"),
        ("looks_like_inches", 7, "length_mm"),
    ]
    assert list(site.rows("elongation_readings")["strand"]) == ["B", "D"]


def test_a_row_kept_out_says_column_value_wanted_subject_and_its_text(tmp_path):
    site = Site(tmp_path)
    site.deliver({"run_hours.csv": 'machine,read_at,meter_hours\nEL-1,2026-03-02,"14,920"\n'})
    (row,) = site.store.kept_out()
    assert (row.state, row.reason, row.line) == ("refused", "ambiguous_number", 2)
    assert (row.column, row.found, row.wanted) == ("meter_hours", "14,920", "a number with decimal point")
    assert (row.subject, row.raw, row.file) == ("EL-1", 'EL-1,2026-03-02,"14,920"', "run_hours.csv")
    assert row.row_id is not None
