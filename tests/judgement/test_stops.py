"""What each candidate stop of a replacement may cost, told from the forecast and the register's costs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from tests.judgement.plant import EXAMPLE_SURVEYS, MONDAY, judged, shutdowns, strand, surveys, worn

from takeup.judgement.stops import StopTable, stop_table

COSTS = {"chain_price": 28000, "replacement_labour_cost": 9500, "stop_cost_per_hour": 2400}
DAY = date(2026, 3, 2)
#: the job of the example strand: 6 h and a quarter of an hour for each of 36.576 m
JOB_HOURS = 15.1
#: inside the fleet's first month, the middle, and far behind the late bound
STOPS = shutdowns(
    ("near", "BE-1", MONDAY + 20.25, MONDAY + 22.25),
    ("short", "BE-1", MONDAY + 30.25, MONDAY + 30.75),
    ("another machine's", "BE-2", MONDAY + 31.25, MONDAY + 35.25),
    ("spring", "all", MONDAY + 90.25, MONDAY + 95.25),
    ("autumn", "BE-1; BE-2", MONDAY + 400.25, MONDAY + 405.25),
    ("next year", "all", MONDAY + 700.25, MONDAY + 705.25),
)


def table(*rows, as_of: int = MONDAY, stops=STOPS) -> StopTable | None:
    rows = rows or (strand(**COSTS),)
    told = judged(*rows, surveys=surveys(EXAMPLE_SURVEYS), shutdowns=stops)
    return stop_table(told.prognosis.to_dict("records"), stops, as_of)


def test_the_candidates_are_the_stops_that_take_the_job_and_one_at_the_early_date():
    """A stop too short or of another machine is none, nor is any after one that surely comes too late."""
    found = table()
    assert {line.shutdown for line in found.lines} == {"near", "spring", "autumn", ""}
    assert [line.starts_on for line in found.lines] == sorted(line.starts_on for line in found.lines)
    assert found.line("near").starts_on == DAY + timedelta(days=20)
    assert found.line("near").ends_on == DAY + timedelta(days=22)


def test_a_stop_that_has_begun_is_no_candidate():
    assert table(as_of=MONDAY + 21).line("near") is None


def test_the_early_date_stands_at_5_percent_and_the_middle_date_at_50():
    told = judged(strand(**COSTS), surveys=surveys(EXAMPLE_SURVEYS), shutdowns=STOPS)
    row = told.prognosis.to_dict("records")[0]
    at_middle = shutdowns(("middle", "all", row["day_middle"] + 0.25, row["day_middle"] + 5.25))
    found = table(stops=at_middle)
    # A date is a whole day: up to a day of run, 16.8 of 1569 h, is cut off.
    assert found.line("").chance == pytest.approx(0.05, abs=0.005)
    assert found.line("middle").chance == pytest.approx(0.50, abs=0.01)
    assert found.line("").chance <= 0.05
    assert found.line("middle").chance <= 0.50


def test_each_line_adds_up_and_later_stops_risk_more_and_waste_less():
    found = table()
    unplanned = JOB_HOURS * 2400
    assert found.stop_hours == JOB_HOURS
    planned = [line for line in found.lines if line.shutdown]
    for line in found.lines:
        assert line.expected_cost == line.stop_cost + line.thrown_away_cost
    for line in planned:
        assert line.stop_cost == pytest.approx(line.chance * unplanned, abs=0.0006 * unplanned)
    assert found.line("").stop_cost == unplanned
    assert np.diff([line.chance for line in planned]).min() > 0
    assert np.diff([line.thrown_away_cost for line in planned]).max() <= 0


def test_thrown_away_is_the_part_of_the_whole_life_of_chain_and_labour():
    found = table()
    near = found.line("near")
    # 20 days at 16.8 h run since the survey; the life is 5500 h and the middle of the forecast.
    middle = near.hours_thrown_away + 20 * 16.8
    assert found.life_hours == pytest.approx(5500 + middle, abs=1)
    assert near.thrown_away_cost == pytest.approx(
        37500 * near.hours_thrown_away / found.life_hours, abs=37500 / found.life_hours
    )


def test_a_set_pays_all_its_chains_and_its_labour_once():
    pair = [strand(f"BE-1-{side}", set="BE-1", side=side, **COSTS) for side in "AB"]
    found = table(*pair)
    assert (found.chains, found.chains_cost, found.labour_cost) == (2, 56000, 9500)


def test_the_share_of_the_sprockets_is_part_of_the_life_where_the_register_tells_it_of_every_strand():
    """Chain, share and labour, 28 000 + 3000 + 9500: what a life costs is common practice, no source."""
    share = COSTS | {"sprocket_share_cost": 3000}
    one, near = table(strand(**share)), table().line("near")
    assert one.sprockets_cost == 3000
    assert one.line("near").thrown_away_cost == pytest.approx(near.thrown_away_cost * 40500 / 37500, abs=1.5)
    pair = strand(set="BE-1", **share), strand("BE-1-B", set="BE-1", **COSTS)
    assert table(*pair).sprockets_cost is None


def test_the_strand_whose_early_date_is_nearest_leads():
    slow = strand("BE-1-B", set="BE-1", side="B", **COSTS, **worn(0.2))
    found = table(strand(set="BE-1", **COSTS), slow)
    assert found.strand == "BE-1-A"


@pytest.mark.parametrize(
    ("blank", "wanted"),
    [
        ({"chain_price": np.nan}, ("chain_price",)),
        ({"replacement_labour_cost": np.nan}, ("replacement_labour_cost",)),
        ({"stop_cost_per_hour": np.nan}, ("stop_cost_per_hour",)),
        ({"pitches": np.nan}, ("replacement_hours",)),
        (dict.fromkeys(COSTS, np.nan), tuple(COSTS)),
    ],
    ids=["price", "labour", "stop cost", "length of the job", "all"],
)
def test_a_cost_the_register_lacks_is_named_and_no_line_is_told(blank, wanted):
    found = table(strand(**(COSTS | blank)))
    assert found.missing == wanted
    assert found.lines == ()
    assert found.cheapest is None


def test_one_strand_without_a_price_leaves_the_set_without_one():
    pair = strand(set="BE-1", **COSTS), strand("BE-1-B", set="BE-1", **(COSTS | {"chain_price": np.nan}))
    assert table(*pair).missing == ("chain_price",)


def test_at_the_limit_already_no_stop_is_weighed():
    found = table(strand(**COSTS, **worn(2.7)))
    assert found.passed
    assert found.lines == ()


def test_without_a_forecast_there_is_no_table():
    assert table(strand(**COSTS, h_middle=np.nan, h_early=np.nan)) is None


def test_a_stop_before_a_set_ordered_today_arrives_says_so():
    """Lead time 70 days from the reckoning day."""
    found = table()
    assert {line.shutdown for line in found.lines if line.before_delivery} == {"near", ""}
    assert found.arrives_on == DAY + timedelta(days=70)


def test_the_cheapest_stop_depends_on_what_a_stop_costs():
    """Cheap stops are risked, dear ones are not."""
    cheap = table(strand(**(COSTS | {"stop_cost_per_hour": 50})))
    dear = table(strand(**(COSTS | {"stop_cost_per_hour": 50000})))
    assert cheap.cheapest.starts_on > dear.cheapest.starts_on
    assert dear.cheapest.shutdown == "near"


def test_past_a_limit_of_strength_no_later_stop_is_called_cheapest():
    found = table(strand(**(COSTS | {"stop_cost_per_hour": 50})))
    assert found.cheapest.starts_on > found.line("").starts_on
    strong = replace(found, limit_kind="strength")
    assert strong.cheapest.starts_on <= strong.line("").starts_on
    assert strong.lines == found.lines


def test_of_equal_costs_the_earliest_stop_is_the_cheapest():
    """Nothing is risked and nothing wasted where neither chain, labour nor stop costs anything."""
    free = table(strand(**dict.fromkeys(COSTS, 0.0)))
    assert free.cheapest == free.lines[0]
