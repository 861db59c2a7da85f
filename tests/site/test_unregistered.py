"""The three feeds a plant begins with: readings, lubrication, run hours. No register was ever delivered."""

from __future__ import annotations

import csv
import io
import json
import shutil

import pytest
from tests.night import plant

from takeup.night import nightly
from takeup.site import Site
from takeup.store import Store
from takeup.why import why

FEEDS = ("elongation_readings", "lube_records", "run_hours")
READINGS = plant.exports(plant.NIGHTS[0])["elongation_readings_2026-08-31.csv"]
STRANDS = sorted({row["strand"] for row in plant.rows_of(READINGS)})
#: What a site may say of a strand that no register names, by name of its machine.
PITCHES = {"EL-11": 152.4, "FE-32": 228.6, "SL-61": 101.6}
WHO = 'reason = "stamped on the link", by = "chain steward", on = 2026-08-01, review_by = 2027-08-01'


def stated(strand: str) -> str:
    machine = strand.rpartition("-")[0]
    return (
        f'\n[strand."{strand}".measuring]\npitch_mm = {{ value = {PITCHES[machine]}, {WHO} }}\n'
        f'machine = {{ value = "{machine}", {WHO} }}\n'
    )


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Site:
    """The first night of the three feeds, with nothing said in the settings."""
    site = plant.site(tmp_path_factory.mktemp("unregistered") / "s")
    exports = plant.exports(plant.NIGHTS[0])
    plant.deliver(site, {name: content for name, content in exports.items() if name.startswith(FEEDS)})
    nightly(site, as_of=plant.NIGHTS[0])
    return site


@pytest.fixture(scope="module")
def told_more(site, tmp_path_factory) -> Site:
    """The same, with pitch and machine of every strand in the settings."""
    root = tmp_path_factory.mktemp("stated") / "s"
    shutil.copytree(site.folders.root, root, symlinks=True)
    with (root / "takeup.toml").open("a", encoding="utf-8") as file:
        file.writelines(stated(strand) for strand in STRANDS)
    nightly(root, as_of=plant.NIGHTS[0])
    return Site.open(root)


def unjudged(site: Site) -> dict[tuple[str, str], str]:
    """What is missing, by subject and question."""
    text = (site.folders.queue / "current" / "cannot_judge.csv").read_text("utf-8-sig")
    rows = csv.DictReader(io.StringIO(text, newline=""))
    return {(row["subject"], row["question"]): row["what_is_missing"] for row in rows}


def answers(site: Site, strand: str) -> dict[str, str]:
    return {one["rule"]: one["answer"] for one in why(site, strand).as_dict()["verdicts"]}


def test_nothing_waits_for_a_register_that_never_came(site):
    with Store.open(site.folders.store, read_only=True) as store:
        assert store.kept_out() == []


def test_every_strand_that_was_read_is_listed_as_not_judged_with_what_is_missing(site):
    missing = unjudged(site)
    for strand in STRANDS:
        assert "pitch of its chain is not known" in missing[strand, "wear limits"]
        assert missing[strand, "lubrication"].startswith("The register has no lubrication plan")
        assert answers(site, strand)["wear_limit"] == "cannot judge"
    said = (site.folders.queue / "current" / "index.html").read_text("utf-8")
    assert "Silence is not health" in said


def test_the_register_is_asked_for(site):
    orders = json.loads((site.folders.queue / "current" / "orders.json").read_text("utf-8"))["orders"]
    reasons = [reason for order in orders if order["job"] == "correct_data" for reason in order["reasons"]]
    facts = [{fact["name"]: fact["value"] for fact in reason["facts"]} for reason in reasons]
    assert {"feed": "strands", "strands": STRANDS, "hides_alert": False} in facts


def test_a_meter_is_not_called_silent_where_nobody_said_whose_it_is(site):
    orders = json.loads((site.folders.queue / "current" / "orders.json").read_text("utf-8"))["orders"]
    asked = {(reason["subject"], reason["case"]) for order in orders for reason in order["reasons"]}
    assert ("strands/not_registered", "not_registered") in asked
    assert "hours_missing" not in {case for _, case in asked}


def test_three_feeds_and_the_pitches_order_the_chains_that_are_far_gone(told_more):
    """EL-11's strands stand at 2.2 % against a limit of 3.0 % at most, with years of readings behind."""
    orders = json.loads((told_more.folders.queue / "current" / "orders.json").read_text("utf-8"))["orders"]
    found = {order["subject"]: order for order in orders if order["job"] == "replace_set"}
    assert {"EL-11-A", "EL-11-B"} <= set(found)
    facts = {one["name"]: one["value"] for one in found["EL-11-A"]["reasons"][0]["facts"]}
    assert facts["at_most"] == "conveyor"
    assert "teeth_drive" in facts["missing"]
    assert found["EL-11-A"]["buy_by"] is not None


def test_pitch_and_machine_in_the_settings_let_more_be_judged(site, told_more):
    for strand in STRANDS:
        before, after = answers(site, strand), answers(told_more, strand)
        assert before["wide_spread"] == "cannot judge"
        assert after["wide_spread"] != "cannot judge"
        assert after["survey_overdue"] != "cannot judge"
    assert len(unjudged(told_more)) < len(unjudged(site))


def test_what_the_pitch_alone_cannot_tell_still_says_so(told_more):
    missing = unjudged(told_more)
    for strand in STRANDS:
        said = missing[strand, "doubt about a limit"]
        assert said.startswith(f"{strand} is below the most that its limit of fit can be.")
        assert "plan" in missing[strand, "lubrication"]


def test_no_answer_speaks_of_a_subject_without_a_name(site):
    for strand in STRANDS:
        assert "for in this life" not in why(site, strand).text()
