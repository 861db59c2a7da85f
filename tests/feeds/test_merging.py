"""Rows of a night join the rows known: new, duplicate, superseding, contradicting, withdrawn, waiting."""

from __future__ import annotations

from datetime import date
from itertools import permutations, product

import pytest
from tests.feeds.delivery import AS_OF, EXPORTS, Site, later

from takeup.feeds import SourceDialect, default_sources

HEAD = "machine,read_at,meter_hours,changed_at,withdrawn\n"


def hours(*rows: str) -> dict[str, str]:
    return {"run_hours.csv": HEAD + "".join(f"{row}\n" for row in rows)}


def ended(rows) -> tuple[int, int, int, int, int]:
    return rows.new, rows.duplicate, rows.superseding, rows.refused, rows.waiting


def meter(site: Site, **more) -> list[float]:
    return site.rows("run_hours", **more)["meter_hours"].tolist()


def test_the_sample_plant_is_taken_whole(tmp_path):
    site = Site(tmp_path)
    accounting = site.deliver(EXPORTS)
    assert [rows.feed for rows in accounting] == [source.feed.value for source in default_sources()]
    assert all(rows.new == rows.read for rows in accounting)
    assert site.store.kept_out() == []
    finding = site.rows("inspection_findings")
    assert finding["remark"].tolist() == ["", '=HYPERLINK("x") seen at the head\nand at the boot']
    assert site.store.origins([int(finding["row_id"][1])])["line"].tolist() == [2]
    assert site.store.origins([int(finding["row_id"][0])])["line"].tolist() == [4]


def test_the_same_files_again_are_duplicates_to_the_row(tmp_path):
    site = Site(tmp_path)
    site.deliver(EXPORTS)
    counts = site.store.counts()
    again = site.deliver(EXPORTS)
    assert all(rows.duplicate == rows.read for rows in again)
    left_alone = {table: n for table, n in site.store.counts().items() if table not in {"night", "file"}}
    assert left_alone == {table: n for table, n in counts.items() if table not in {"night", "file"}}


def test_without_a_stamp_the_later_night_wins_and_the_earlier_is_kept(tmp_path):
    site = Site(tmp_path)
    site.deliver(hours("EL-1,2026-03-01,100,,"))
    (rows,) = site.deliver(hours("EL-1,2026-03-01,101,,"))
    assert ended(rows) == (0, 0, 1, 0, 0)
    assert meter(site) == [101]
    assert meter(site, night=1) == [100]


def test_a_correction_taken_back_is_a_change_again(tmp_path):
    site = Site(tmp_path)
    for value in (100, 101, 100):
        (rows,) = site.deliver(hours(f"EL-1,2026-03-01,{value},,"))
        assert rows.duplicate == 0
        assert meter(site) == [value]
    assert [meter(site, night=number) for number in (1, 2, 3)] == [[100], [101], [100]]


def test_the_later_stamp_wins_whatever_the_order_of_nights(tmp_path):
    site = Site(tmp_path)
    site.deliver(hours("EL-1,2026-03-01,101,2026-03-02T08:00,"))
    (rows,) = site.deliver(hours("EL-1,2026-03-01,100,2026-03-01T08:00,"))
    assert ended(rows) == (0, 0, 1, 0, 0)
    assert meter(site) == [101]
    (rows,) = site.deliver(hours("EL-1,2026-03-01,100,2026-03-01T08:00,"))
    assert ended(rows) == (0, 1, 0, 0, 0)
    (rows,) = site.deliver(hours("EL-1,2026-03-01,102,,"))
    assert meter(site) == [102], "a row without a stamp follows what is known"
    site.deliver(hours("EL-1,2026-03-01,103,2026-03-01T12:00,"))
    assert meter(site) == [102], "a stamp older than the latest known does not win"


def test_of_two_stamped_rows_in_one_night_the_later_wins(tmp_path):
    site = Site(tmp_path)
    (rows,) = site.deliver(
        hours("EL-1,2026-03-01,101,2026-03-02T08:00,", "EL-1,2026-03-01,100,2026-03-01T08:00,")
    )
    assert ended(rows) == (1, 0, 1, 0, 0)
    assert meter(site) == [101]


@pytest.mark.parametrize(
    "rows",
    [
        ("EL-1,2026-03-01,100,,", "EL-1,2026-03-01,101,,"),
        ("EL-1,2026-03-01,100,2026-03-01,", "EL-1,2026-03-01,101,2026-03-01,"),
        ("EL-1,2026-03-01,100,2026-03-01,", "EL-1,2026-03-01,101,,"),
    ],
    ids=["no stamps", "one stamp twice", "one stamped"],
)
def test_two_different_rows_of_a_key_in_a_night_contradict_each_other(tmp_path, rows):
    site = Site(tmp_path)
    (found,) = site.deliver(hours(*rows, "EL-1,2026-03-02,120,,"))
    assert ended(found) == (1, 0, 0, 2, 0)
    assert meter(site) == [120]
    assert [(row.reason, row.line, row.raw) for row in site.store.kept_out()] == [
        ("contradicts_itself", 2, rows[0]),
        ("contradicts_itself", 3, rows[1]),
    ]


def test_a_contradiction_across_files_of_a_night_is_one_too_and_a_later_night_settles_it(tmp_path):
    site = Site(tmp_path)
    site.deliver(hours("EL-1,2026-03-01,99,,"))
    site.deliver(
        {
            "run_hours_a.csv": HEAD + "EL-1,2026-03-01,100,,\n",
            "run_hours_b.csv": HEAD + "EL-1,2026-03-01,101,,\n",
        }
    )
    assert meter(site) == [99], "what was known before stays"
    assert len(site.store.kept_out()) == 2
    site.deliver(hours("EL-1,2026-03-01,101,,"))
    assert meter(site) == [101]
    assert site.store.kept_out() == []
    assert len(site.store.kept_out(2)) == 2


def test_the_same_row_twice_in_a_night_is_one_row_and_a_duplicate(tmp_path):
    site = Site(tmp_path)
    (rows,) = site.deliver(hours("EL-1,2026-03-01,100,,", "EL-1, 2026-03-01 ,100.0,,no"))
    assert ended(rows) == (1, 1, 0, 0, 0)


def test_arrival_order_within_a_night_does_not_matter(tmp_path):
    files = {f"run_hours_{n}.csv": HEAD + f"EL-1,2026-03-0{n},{100 + n},,\n" for n in (1, 2, 3)}
    one, other = Site(tmp_path / "one"), Site(tmp_path / "other")
    one.deliver(files)
    renamed = {f"run_hours_{9 - n}.csv": files[f"run_hours_{n}.csv"] for n in (1, 2, 3)}
    other.deliver(renamed)
    assert one.rows("run_hours").equals(other.rows("run_hours"))


def test_a_withdrawn_row_is_asked_for_its_key_only_and_retracts_it(tmp_path):
    site = Site(tmp_path)
    site.deliver(hours("EL-1,2026-03-01,100,,"))
    (rows,) = site.deliver(hours("EL-1,2026-03-01,,,yes", "EL-2,,,,yes"))
    assert ended(rows) == (0, 0, 1, 1, 0)
    assert meter(site) == []
    assert meter(site, night=1) == [100]
    (rows,) = site.deliver(hours("EL-1,2026-03-01,100,,"))
    assert ended(rows) == (0, 0, 1, 0, 0)
    assert meter(site) == [100]


def test_the_stamp_of_a_file_name_orders_its_rows(tmp_path):
    source = SourceDialect(
        "hours",
        "run_hours",
        ("hours_*.csv",),
        stamp_pattern=r"hours_(?P<year>\d{4})(?P<month>\d\d)(?P<day>\d\d)\.csv",
    )
    site = Site(tmp_path, [source])
    site.deliver({"hours_20260302.csv": HEAD + "EL-1,2026-03-01,101,,\n"})
    site.deliver({"hours_20260301.csv": HEAD + "EL-1,2026-03-01,100,,\n"})
    assert meter(site) == [101]
    (rows,) = site.deliver({"hours_20263001.csv": HEAD + "EL-1,2026-03-01,100,,\n"})
    assert ended(rows) == (0, 0, 0, 1, 0)
    (row,) = site.store.kept_out()
    assert (row.reason, row.line, row.found) == ("name_without_stamp", 0, "hours_20263001.csv")


STAMPED = SourceDialect(
    "hours", "run_hours", ("hours_*.csv",), stamp_pattern=r"hours_(?P<year>\d{4})(?P<month>\d\d)(?P<day>\d\d)"
)
#: every way in which four exports, a day apart, may tell one reading as 100 or 101 hours
TOLD = list(product((100, 101), repeat=4))


#: in which order they arrive, and how many a night
ARRIVALS = [(order, (1, 1, 1, 1)) for order in permutations(range(4))]
ARRIVALS += [(order, (2, 2)) for order in ((0, 3, 1, 2), (1, 2, 0, 3), (2, 3, 0, 1))]


@pytest.mark.parametrize(("order", "nights"), ARRIVALS, ids=str)
def test_the_newest_export_wins_in_any_order_of_arrival_even_where_it_only_repeats(tmp_path, order, nights):
    """A row that a newer export repeats is newer than a correction from between the two."""
    site = Site(tmp_path, [STAMPED])
    left = iter(order)
    for many in nights:
        days = [next(left) for _ in range(many)]
        accounting = site.deliver(
            {
                f"hours_2026030{day + 1}.csv": HEAD
                + "".join(f"M{n:02},2026-03-01,{told[day]},,\n" for n, told in enumerate(TOLD))
                for day in days
            }
        )
        assert all(ended(rows)[3:] == (0, 0) for rows in accounting)
    held = site.rows("run_hours")
    assert held["machine"].is_unique
    assert held["meter_hours"].tolist() == [told[-1] for told in TOLD]


def test_what_a_night_confirmed_is_forgotten_with_it(tmp_path):
    site = Site(tmp_path, [STAMPED])
    site.deliver({"hours_20260301.csv": HEAD + "EL-1,2026-03-01,100,,\n"})
    before = site.store.counts()
    (rows,) = site.deliver({"hours_20260303.csv": HEAD + "EL-1,2026-03-01,100,,\n"})
    assert ended(rows) == (0, 1, 0, 0, 0)
    assert site.store.counts()["confirmed"] == 1
    site.store.forget_after(1)
    assert site.store.counts() == before


READINGS = """\
strand,measured_at,elongation_percent
EL-1 A,2026-03-02,1.5
EL-9,2026-03-02,1.5
EL-1 A,2026-03-20,1.6
"""


def test_rows_wait_for_their_parents_and_their_day_and_come_in_by_themselves(tmp_path):
    site = Site(tmp_path)
    site.deliver({name: EXPORTS[name] for name in ("machines.csv", "strands.csv")})
    (rows,) = site.deliver({"elongation_readings.csv": READINGS})
    assert ended(rows) == (1, 0, 0, 0, 2)
    assert [(row.reason, row.found, row.raw) for row in site.store.kept_out()] == [
        ("strand_unknown", "EL-9", "EL-9,2026-03-02,1.5"),
        ("dated_later", "2026-03-20", "EL-1 A,2026-03-20,1.6"),
    ]
    assert len(site.rows("elongation_readings")) == 1
    more = EXPORTS["strands.csv"] + "EL-9,2026-02-01,,EL-1,,,152.4,240,,\n"
    site.deliver({"strands.csv": more}, as_of=date(2026, 3, 21))
    assert site.store.kept_out() == []
    assert len(site.rows("elongation_readings", as_of=date(2026, 3, 21))) == 3
    assert len(site.rows("elongation_readings", as_of=date(2026, 3, 21), night=2)) == 2
    assert [row.reason for row in site.store.kept_out(2)] == ["strand_unknown", "dated_later"]


def test_without_any_register_every_strand_is_known(tmp_path):
    site = Site(tmp_path)
    (rows,) = site.deliver({"elongation_readings.csv": READINGS})
    assert ended(rows) == (2, 0, 0, 0, 1)
    assert site.rows("elongation_readings")["strand"].tolist() == ["EL-1 A", "EL-9"]


def test_a_strand_that_waits_for_its_machine_makes_its_readings_wait(tmp_path):
    site = Site(tmp_path)
    site.deliver(
        {
            "machines.csv": "machine,kind\nEL-1,bucket_elevator\n",
            "strands.csv": "strand,fitted_on,machine\nDC-2,2025-06-01,DC-2\n",
            "elongation_readings.csv": "strand,measured_at,elongation_percent\nDC-2,2026-03-02,1.5\n",
        }
    )
    assert [row.reason for row in site.store.kept_out()] == ["machine_unknown", "strand_unknown"]
    assert site.rows("elongation_readings").empty


def test_effective_changes_name_who_a_night_touches(tmp_path):
    site = Site(tmp_path)
    site.deliver({name: EXPORTS[name] for name in ("machines.csv", "strands.csv")})
    assert site.store.effective_changes(1, AS_OF, None) == {
        "strand": {"EL-1 A", "EL-1 B", "DC-2"},
        "machine": {"EL-1", "DC-2"},
    }
    site.deliver({"elongation_readings.csv": READINGS})
    assert site.store.effective_changes(2, AS_OF, AS_OF)["strand"] == {"EL-1 A", "EL-9"}
    site.deliver({})
    assert site.store.effective_changes(3, AS_OF, AS_OF) == {"strand": set(), "machine": set()}
    site.deliver({}, as_of=date(2026, 3, 20))
    assert site.store.effective_changes(4, date(2026, 3, 20), AS_OF)["strand"] == {"EL-1 A"}
    more = EXPORTS["strands.csv"] + "EL-9,2026-02-01,,EL-1,,,152.4,240,,\n"
    site.deliver({"strands.csv": more}, as_of=date(2026, 3, 20))
    assert site.store.effective_changes(5, date(2026, 3, 20), date(2026, 3, 20))["strand"] == {"EL-9"}
    site.deliver({"machines.csv": EXPORTS["machines.csv"].replace("North", "West")}, as_of=later(20))
    assert site.store.effective_changes(6, later(20), date(2026, 3, 20))["machine"] == {"EL-1"}


def test_the_first_register_touches_every_strand_with_rows(tmp_path):
    site = Site(tmp_path)
    site.deliver({"elongation_readings.csv": READINGS})
    site.deliver({"strands.csv": "strand,fitted_on,machine\nDC-2,2025-06-01,DC-2\n"})
    assert site.store.effective_changes(2, AS_OF, AS_OF)["strand"] == {"EL-1 A", "EL-9", "DC-2"}


def test_the_same_nights_told_again_give_the_same_rows_and_row_ids(tmp_path):
    nights = [
        EXPORTS,
        {name: text.replace("20,3099", "20,3100") for name, text in reversed(EXPORTS.items())},
        {
            "elongation_readings.csv": READINGS,
            "run_hours.csv": HEAD + "EL-1,2026-03-01,x,,\nEL-1,2026-03-02,1,,\n",
        },
    ]
    one, other = Site(tmp_path / "one"), Site(tmp_path / "other", on_disk=True)
    for site in (one, other):
        for number, files in enumerate(nights):
            site.deliver(files, as_of=later(number))
    assert one.store.counts() == other.store.counts()
    for table in one.store.counts():
        everything = f"FROM {table} ORDER BY ALL"
        told, again = (site.store.connection.execute(everything).fetchall() for site in (one, other))
        assert told == again, table


def test_a_stop_that_ends_before_it_starts_and_a_chain_removed_before_it_was_fitted_are_refused(tmp_path):
    site = Site(tmp_path)
    stops = "shutdown,machines,starts_at,ends_at\n"
    stops += "spring,all,2026-04-13T06:00,2026-04-17\nautumn,all,2026-10-13T06:00,2026-10-12T18:00\n"
    lives = "strand,machine,fitted_on,removed_on\nEL-1 A,EL-1,2024-01-15,2023-01-15\n"
    lives += "EL-1 B,EL-1,2024-01-15,2024-01-15\n"
    accounting = site.deliver({"shutdowns.csv": stops, "strands.csv": lives})
    assert [ended(rows) for rows in accounting] == [(1, 0, 0, 1, 0)] * 2
    assert sorted((row.reason, row.line, row.column, row.found) for row in site.store.kept_out()) == [
        ("ends_before_it_begins", 2, "removed_on", "2023-01-15"),
        ("ends_before_it_begins", 3, "ends_at", "2026-10-12T18:00"),
    ]


def test_a_folder_whose_name_looks_like_a_pattern_is_a_folder(tmp_path):
    site = Site(tmp_path / "plant [north] *")
    (rows,) = site.deliver(hours("EL-1,2026-03-01,100,,"))
    assert ended(rows) == (1, 0, 0, 0, 0)
