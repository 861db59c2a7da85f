"""The table of candidate stops on a replacement order: it informs, and says what is missing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from tests.documents.plant import TEMPLATES, orders
from tests.documents.reading import read

from takeup.documents.environment import environment
from takeup.documents.pages import order_page
from takeup.judgement.stops import StopLine, StopTable
from takeup.model import Job

ENV = environment([TEMPLATES])
SHEET = next(sheet for sheet in orders() if sheet.order.job is Job.REPLACE_SET)

SPRING = StopLine("Spring", date(2026, 4, 13), date(2026, 4, 17), 0.004, 173, 900, 4100, 4273, True)
OWN = StopLine("", date(2026, 4, 20), None, 0.05, 43200, 780, 3550, 46750, False)
AUTUMN = StopLine("Autumn", date(2026, 10, 12), date(2026, 10, 16), 0.97, 41904, 0, 0, 41904, False)
TABLE = StopTable(
    strand="BE-31-A",
    limit="case",
    limit_kind="acceleration",
    lines=(SPRING, OWN, AUTUMN),
    chains=2,
    chains_cost=56000,
    labour_cost=9500,
    stop_hours=24.0,
    stop_cost_per_hour=1800,
    life_hours=11000,
    ordered_on=date(2026, 3, 2),
    arrives_on=date(2026, 5, 11),
)


def text(table: StopTable | None, shutdown: str = "Spring") -> str:
    order = replace(SHEET.order, shutdown=shutdown)
    return read(order_page(ENV, replace(SHEET, order=order, stop_costs=table))).text


def test_a_line_tells_stop_days_chance_and_costs():
    found = text(TABLE)
    assert "Spring (this order's) Mon 13 Apr 2026 to Fri 17 Apr 2026; only with a set ordered before" in found
    assert "under 1 % 173 900 h 4100 4273" in found
    assert "A stop of its own at the early date Mon 20 Apr 2026 5 % 43200 780 h 3550 46750" in found
    assert "97 % 41904 0 h 0 41904" in found


def test_the_reckoning_is_told_with_its_source_and_what_it_leaves_out():
    found = text(TABLE)
    assert "24.0 h at 1800 an hour, 43200" in found
    assert "a life of 11000 h, of 2 chains (56000) and labour (9500)" in found
    assert "proposed for takeup, no source" in found
    assert "Not counted: what a chain that jumps or breaks does to people and machine" in found
    assert "it ends the slow wear" in found


def test_a_limit_of_function_is_not_called_one_that_only_ends_slow_wear():
    assert "it ends the slow wear" not in text(replace(TABLE, limit_kind="function"))


def test_the_orders_own_stop_stands_where_none_is_cheaper():
    assert "No other stop is cheaper by this table than the one this order is dated for." in text(TABLE)


def test_a_cheaper_stop_is_named_and_decides_nothing():
    found = text(replace(TABLE, lines=(SPRING, OWN, replace(AUTUMN, expected_cost=2000))))
    assert "changing in Autumn on Mon 12 Oct 2026 would be cheaper: 2000 against 4273" in found
    assert "a 97 % chance that the limit comes first" in found
    assert "The table informs; it decides nothing." in found


def test_past_a_limit_of_strength_no_stop_is_a_choice_by_cost():
    cheap = replace(AUTUMN, expected_cost=2000)
    found = text(replace(TABLE, limit_kind="strength", lines=(SPRING, OWN, cheap)))
    # A cheaper one after the early date stands in the table, so the sentence says which stops it weighs.
    assert (
        "Of the stops up to the early date of this limit of strength, no other stop is cheaper by this table "
        "than the one this order is dated for." in found
    )
    assert "Past it a chain may break under load and hurt people." in found
    assert "told for what it risks, never as a choice" in found
    assert "break under load" not in text(TABLE)


def test_an_order_without_a_planned_stop_hears_which_is_cheapest():
    found = text(TABLE, shutdown="")
    assert "the least cost is expected in Spring on Mon 13 Apr 2026: 4273." in found
    assert "(this order's)" not in found


def test_the_register_values_missing_are_named_in_one_sentence():
    missing = ("chain_price", "stop_cost_per_hour")
    found = text(StopTable("BE-31-A", "case", "acceleration", missing=missing))
    assert "cannot be told: the register lacks price of one strand of new chain and cost of one hour" in found
    assert "Candidate stops" not in found


def test_a_limit_passed_weighs_no_stop():
    found = text(StopTable("BE-31-A", "case", "acceleration", passed=True))
    assert "is at the limit already: no stop is weighed against another" in found


def test_an_order_without_a_table_has_no_heading_for_it():
    assert "What each stop may cost" not in text(None)


def test_a_name_of_a_stop_stays_data():
    hostile = replace(SPRING, shutdown="<script>alert(1)</script>{{ 7 * 7 }}")
    page = read(order_page(ENV, replace(SHEET, stop_costs=replace(TABLE, lines=(hostile, OWN)))))
    assert "script" not in page.tags
    assert "{{ 7 * 7 }}" in page.text
