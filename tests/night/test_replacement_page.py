"""What a replacement order of a real night knows of its sprockets, its hours and its surveys."""

from __future__ import annotations

import json

import pytest
from tests.documents.reading import Page, read
from tests.night import plant

from takeup.night import nightly

CHECKS = b"""machine,sprocket,checked_at,shaft,strand,teeth,gauge_depth_mm,reversed,fitted_on
EL-11,head left,2026-08-20,drive,EL-11-A,12,4.6,no,2023-09-11
EL-11,head right,2026-08-20,drive,EL-11-B,12,1.2,no,2025-03-17
EL-11,boot left,2024-05-01,tail,EL-11-A,12,1.0,no,
"""


@pytest.fixture(scope="module")
def page(tmp_path_factory) -> Page:
    """The order that replaces the set of EL-11, its sprockets gauged but for one that nobody recorded."""
    site = plant.site(tmp_path_factory.mktemp("plant") / "site")
    night = plant.NIGHTS[0]
    plant.deliver(site, plant.exports(night, ("EL-11",)) | {f"sprocket_checks_{night}.csv": CHECKS})
    nightly(site, as_of=night)
    current = site.folders.queue / "current"
    (number,) = [
        one["number"]
        for one in json.loads((current / "orders.json").read_text("utf-8"))["orders"]
        if one["job"] == "replace_set"
    ]
    return read((current / "orders" / f"{number}.html").read_text("utf-8"))


def test_each_sprocket_is_told_by_its_checks_and_the_lives_of_the_register(page):
    """Barrel 44.45 mm: a tenth is 4.4 mm. The present chains are of 17 March 2025, as is the right head."""
    table = page.section("by their record", "The limit is a part")
    gauged = "12 teeth {} on Thu 20 Aug 2026; limit 4.4 mm"
    for words in (
        "Boot left (tail shaft), under EL-11-A, 12 teeth 1.0 mm on Wed 1 May 2024; limit 4.4 mm not known",
        "not on record no Unproved: it was gauged before this chain ran on it",
        f"Head left (drive shaft), under EL-11-A, {gauged.format('4.6 mm')} 2, since Mon 11 Sep 2023 no At",
        f"Head right (drive shaft), under EL-11-B, {gauged.format('1.2 mm')} 1, since Mon 17 Mar 2025 no Bel",
        "Tail sprocket of EL-11-B, 12 teeth no depth on record; limit 4.4 mm not known not known Unproved",
    ):
        assert words in table
    takes = page.section(" What it takes ", " Good when ")
    assert "At the limit: head left (drive shaft)." in takes
    assert "to be gauged before the set is fitted: boot left (tail shaft), tail sprocket of EL-11-B." in takes


def test_its_hours_come_with_the_metres_of_both_strands(page):
    """240 pitches of 152.4 mm are 36.576 m; 6 + 0.25 x 73.152 = 24.288 h (common practice, no source)."""
    assert "24.3 h = 6.00 h + 0.25 h per m × 73.2 m (EL-11-A 36.6 m, EL-11-B 36.6 m)" in page.text


def test_it_says_when_each_strand_is_to_be_measured_next(page):
    top = page.section("Work order", " Why ")
    assert top.count("run hours of this chain") == 2
    assert "Measure next EL-11-A on" in top


def test_a_set_to_be_replaced_on_an_old_survey_asks_for_the_measurement_first(tmp_path):
    """The meter runs on and nobody measures: by the interval the survey is too old, and the page says so."""
    site = plant.site(tmp_path / "site")
    first, last = plant.NIGHTS[0], plant.NIGHTS[3]
    plant.deliver(site, plant.exports(first, ("EL-11",)))
    nightly(site, as_of=first)
    later = plant.exports(last, ("EL-11",))
    plant.deliver(site, {name: rows for name, rows in later.items() if name.startswith("run_hours")})
    nightly(site, as_of=last)
    orders = json.loads((site.folders.queue / "current" / "orders.json").read_text("utf-8"))["orders"]
    of = {one["job"]: one["number"] for one in orders}
    top = read((site.folders.queue / "current" / "orders" / f"{of['replace_set']}.html").read_text("utf-8"))
    overdue = [
        reason["subject"]
        for one in orders
        if one["job"] == "measure"
        for reason in one["reasons"]
        if reason["rule"] == "survey_overdue"
    ]
    assert overdue
    asked = top.section("Measure first", " Why ")
    assert all(strand in asked for strand in overdue)
    assert f"order {of['measure']}." in asked
