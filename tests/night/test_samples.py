"""The invented plant of the sample exports: made again to the byte, told to its end, every defect seen."""

from __future__ import annotations

import csv
import hashlib
import importlib.util
import json
import re
import sys
from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from tests.documents import reading
from tests.night import plant

from takeup.demo import DemoResult, demo
from takeup.errors import UsageError
from takeup.ledger import Ledger
from takeup.model import Feed
from takeup.resources import samples_dir
from takeup.retell import rebuild
from takeup.site import Site
from takeup.store import Store
from takeup.why import why

NIGHTS = samples_dir() / "plant" / "nights"


def makers():
    """The script that makes the samples, as a module."""
    spec = importlib.util.spec_from_file_location("make_samples", samples_dir() / "make_samples.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # its dataclasses look themselves up by name
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> DemoResult:
    return demo(tmp_path_factory.mktemp("demo") / "plant")


@pytest.fixture(scope="module")
def site(told) -> Site:
    return Site.open(told.folder)


@pytest.fixture(scope="module")
def kept_out(site) -> list[dict[str, str]]:
    with (site.folders.queue / "current" / "kept_out.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def rows(site: Site, feed: Feed):
    with Store.open(site.folders.store, read_only=True) as store:
        return store.rows(feed, as_of=plant.NIGHTS[-1])


def surveys(site: Site):
    with Store.open(site.folders.store, read_only=True) as store:
        return store.read_cache("survey")


def orders(site: Site, night: int) -> dict[tuple[str, str], dict]:
    """The open orders of a night by job and subject."""
    path = site.folders.queue / f"night-{night:06d}" / "orders.json"
    return {(one["job"], one["subject"]): one for one in json.loads(path.read_text("utf-8"))["orders"]}


# --- made -------------------------------------------------------------------------------------------------


def test_the_script_makes_the_committed_exports_to_the_byte(tmp_path):
    makers().main(tmp_path)
    assert plant.told_files(tmp_path / "plant" / "nights") == plant.told_files(NIGHTS)


# --- told -------------------------------------------------------------------------------------------------


def test_the_demo_tells_five_nights_one_behind_a_gap(told):
    assert [night.as_of for night in told.nights] == list(plant.NIGHTS)
    assert all(night.told for night in told.nights)
    assert told.page.exists()
    assert "planning queue lies at" in told.text()
    assert json.dumps(told.as_dict())


def test_no_row_of_the_samples_is_refused_and_each_is_accounted_for(told):
    for night, folder in zip(told.nights, sorted(NIGHTS.iterdir()), strict=True):
        read = {one.file: one.read for one in night.accounting}
        delivered = plant.exports(night.as_of, machines=())
        for name, content in delivered.items():
            packed = (folder / f"{name}.gz").exists()
            assert read[f"{name}.gz" if packed else name] == content.count(b"\n") - 1
        assert all(one.balances() and one.refused == 0 for one in night.accounting)


def test_orders_are_raised_revised_withdrawn_accepted_and_done(told):
    changes = Counter(event.change.value for night in told.nights for event in night.events)
    for change in ("raised", "revised", "withdrawn", "accepted", "done"):
        assert changes[change] >= 1, changes
    assert told.nights[-1].stop_now >= 1


def test_a_decided_order_bears_what_the_planner_wrote(site):
    accepted = orders(site, 3)["replace_set", "DR-22 chain"]
    assert accepted["state"] == "accepted"
    assert ("replace_set", "DR-22 chain") not in orders(site, 5)
    answer = why(site, accepted["number"])
    events = [(event["change"], event["by"]) for event in answer.as_dict()["events"]]
    assert [change for change, _ in events][-1] == "done"
    assert ("accepted", "planner") in events


def test_three_pages_lead_back_to_the_bytes_of_the_export(site):
    """By hand: what a page says, the file it names by SHA-256 in the archive, the line, the cell."""
    queue = site.folders.queue / "current"

    def page(job, subject):
        number = orders(site, 5)[job, subject]["number"]
        order, told_why = (
            reading.read((queue / f"{at}/{number}.html").read_text("utf-8")) for at in ("orders", "why")
        )
        assert f"../why/{number}.html" in order.links
        return order.text, told_why.text

    def cells(text, file):
        """The rows of one file that a page names, read from the archive by nothing but the page."""
        said = re.search(rf"{re.escape(file)} ((?:\d+|to|and|,|\s)+) ([0-9a-f]{{64}})", text)
        numbers = []
        for run in re.split(r", | and ", said[1].strip()):
            first, _, last = run.partition(" to ")
            numbers += range(int(first), int(last or first) + 1)
        content = (site.folders.archive / said[2][:2] / said[2]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == said[2]
        lines = content.decode("utf-8").splitlines()
        header = next(csv.reader([lines[0]]))
        return [dict(zip(header, next(csv.reader([lines[number - 1]])), strict=True)) for number in numbers]

    said, told_why = page("investigate_fracture", "FE-32")
    (row,) = cells(told_why.split("Inspection findings: ")[-1], "inspection_findings_2026-09-01.csv")
    assert (row["strand"], row["finding"]) == ("FE-32-B", "cracked_bushing")
    assert f"({row['place']}): “{row['remark']}”" in said

    said, told_why = page("adjust_takeup", "RC-41 chain")
    (row,) = cells(told_why.split("Take-up readings: ")[-1], "takeup_readings_2026-08-31.csv")
    used = max(float(row["used_left_mm"]), float(row["used_right_mm"]))
    assert row["strand"] == "RC-41-A"
    assert f"Travel used {used:.1f} mm" in said

    said, told_why = page("correct_data", "lube_records/too_much")
    text = told_why.split("Lubrication records: ")
    rows_ = [row for part in text[1:] for row in cells(part, part.split()[0])]
    for strand in ("SL-61-A", "SL-61-B"):
        given = sum(float(row["quantity_ml"]) for row in rows_ if row["strand"] == strand)
        assert f"{strand} got {given:.1f} mL" in said


def test_told_again_every_night_comes_out_as_recorded(site):
    before = plant.told_files(site.folders.queue / "current")
    result = rebuild(site)
    assert (result.nights, result.different) == (5, ())
    assert plant.told_files(site.folders.queue / "current") == before
    assert len(Ledger(site.folders.ledger).nights()) == 5


def test_the_demo_makes_its_own_folder_anew_and_no_other(tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear planner")
    with pytest.raises(UsageError, match="did not make"):
        demo(tmp_path / "mine")
    assert (tmp_path / "mine" / "letter.txt").read_text() == "dear planner"


def test_a_limit_between_two_shutdowns_has_its_stops_weighed(site):
    """The mill drive: in time in autumn, on its own at the early date, or late in spring."""
    order = orders(site, 5)["replace_set", "HD-73"]
    table = order["stop_costs"]
    assert order["shutdown"] == "Autumn 2026"
    autumn, own, spring = [stop["shutdown"] for stop in table["stops"]][:3]
    assert (autumn, own, spring) == ("Autumn 2026", "", "Spring 2027")
    page = (site.folders.queue / "current" / "orders" / f"{order['number']}.html").read_text("utf-8")
    assert "What each stop may cost" in page
    assert "The next chain" in page
    assert "No other chain is recommended" in page


def test_a_machine_without_energy_sources_is_loud_everywhere_and_its_order_stands(site):
    """DR-23 was never entered in the register; SC-51 lacks how its stored energy is relieved."""
    told = orders(site, 1)
    measure, register = told["measure", "DR-23"], told["correct_data", "energy_sources/incomplete"]
    assert measure["state"] == "proposed"
    assert measure["lockout_register"] == {
        "complete": False,
        "lacking": [{"what": "no_sources", "source": ""}, {"what": "no_procedure", "source": ""}],
    }
    assert (register["urgency"], register["lockout_register"]) == ("this week", None)
    assert [reason["subject"] for reason in register["reasons"]] == ["DR-23"]
    later = orders(site, 5)["correct_data", "energy_sources/incomplete"]
    assert [reason["subject"] for reason in later["reasons"]] == ["DR-23", "SC-51"]
    folder = site.folders.queue / "night-000001"
    assert "Lockout register incomplete" in (folder / "index.html").read_text("utf-8")
    with (folder / "orders.csv").open(encoding="utf-8", newline="") as file:
        said = {row["order"]: row["lockout_register"] for row in csv.DictReader(file)}
    assert said[measure["number"]].startswith("incomplete: The register names no energy source")
    assert said[told["measure", "EL-11"]["number"]] == "complete"


def test_every_urgent_order_has_a_day_that_no_later_night_moves(site):
    first = orders(site, 1)
    for night in range(1, 6):
        for (job, subject), order in orders(site, night).items():
            if order["urgency"] in ("stop now", "this week"):
                assert order["need_by"], (night, job, subject)
    for key, order in orders(site, 3).items():
        if order["urgency"] == "this week" and key in first and not order["buy_by"]:
            # A week from 31 August, or an earlier day of its own.
            assert order["need_by"] == first[key]["need_by"] <= "2026-09-07"


# --- the trade's mess -------------------------------------------------------------------------------------


def test_a_miscounted_survey_row_is_set_aside_with_its_arithmetic(kept_out, site):
    (row,) = [row for row in kept_out if row["state"] == "set aside" and "EL-13-B" in row["raw"]]
    assert "21 pitches" in row["wanted"]
    assert "pitch" in row["why"]
    asked = orders(site, 1)["correct_data", "elongation_readings"]
    assert {reason["subject"].partition("/")[2] for reason in asked["reasons"]} == {
        "copied_survey",
        "whole_pitch_miscount",
    }


def test_a_survey_copied_from_the_one_before_is_no_new_evidence_and_the_chain_is_measured_again(
    kept_out, site
):
    copied = [row for row in kept_out if row["state"] == "set aside" and "FE-31-B" in row["raw"]]
    assert len(copied) == 4
    assert all("as on the last survey" in row["found"] and "repeat" in row["why"] for row in copied)
    assert "FE-31-B" in orders(site, 1)["correct_data", "elongation_readings"]["strands"]
    assert "FE-31-B" in orders(site, 1)["measure", "FE-31"]["strands"]


def test_a_survey_copied_from_a_sister_strand_leaves_neither_of_them_as_evidence(kept_out):
    """The two had stood 0.3 points apart; nobody can tell which of the two was copied."""
    copied = {
        strand: [row for row in kept_out if row["state"] == "set aside" and strand in row["raw"]]
        for strand in ("EL-14-A", "EL-14-B")
    }
    assert [len(found) for found in copied.values()] == [4, 4]
    assert all("as on EL-14-B that day" in row["found"] for row in copied["EL-14-A"])
    assert all("as on EL-14-A that day" in row["found"] for row in copied["EL-14-B"])


def test_sprockets_past_the_gauge_are_ordered_and_old_gaugings_asked_for_again(site):
    """A tenth of a barrel of 44.45 mm is 4.4 mm; EL-12 was gauged in 2023, some 0.6 points of wear ago."""
    told = orders(site, 1)
    worn = told["sprockets", "EL-14 chain"]
    assert (worn["urgency"], worn["shutdown"]) == ("next shutdown", "Autumn 2026")
    assert {reason["case"] for reason in worn["reasons"]} == {"tooth_worn"}
    again = told["measure", "EL-12"]
    assert {(reason["rule"], reason["case"]) for reason in again["reasons"]} == {
        ("sprocket_wear", "tooth_old")
    }
    assert ("sprockets", "EL-13 chain") not in told
    record = (
        site.folders.queue
        / "night-000001"
        / "orders"
        / f"{told['replace_set', 'EL-14 chain']['number']}.html"
    ).read_text("utf-8")
    assert "at its limit: reverse it" in " ".join(record.split()).lower()


def test_what_lapses_of_lubrication_cost_is_told_from_the_surveys(site):
    """Drawn at 0.25 % per 1000 h, and some 1550 h lie beyond the plan: 0.39 points, within what is told."""
    order = orders(site, 1)["lubricate", "SL-63"]
    for reason in order["reasons"]:
        found = {fact["name"]: fact["value"] for fact in reason["facts"]}
        assert abs(found["lapse_cost_points"] - 0.39) < found["lapse_uncertainty_points"]
        assert found["lapse_cost_points"] > found["lapse_uncertainty_points"]
    page = (site.folders.queue / "night-000001" / "orders" / f"{order['number']}.html").read_text("utf-8")
    assert "run hours without lubricant cost about" in " ".join(page.split())


def test_readings_of_a_strand_that_no_register_names_wait(kept_out, site):
    waiting = [row for row in kept_out if row["state"] == "waiting"]
    assert len(waiting) == 4
    assert all("ZZ-99-A" in row["raw"] and "ZZ-99-A" in row["why"] for row in waiting)
    assert "ZZ-99-A" not in set(rows(site, Feed.ELONGATION_READINGS)["strand"])


def test_centimetres_with_decimal_commas_and_days_first_are_read_exactly(site):
    found = rows(site, Feed.ELONGATION_READINGS).set_index(["strand", "measured_at", "mark"])
    delivered = 0
    for path in sorted(NIGHTS.glob("*/tape_*.csv")):
        for row in csv.DictReader(path.read_text("utf-8").splitlines(), delimiter=";"):
            day, month, year = row["Datum"].split(".")
            key = (row["Kette"], f"{year}-{month}-{day}", row["Messstelle"])
            if row["Anlass"] != "vor Ausbau":
                assert found.loc[[key], "length_mm"].tolist() == [float(row["Laenge"].replace(",", ""))]
                delivered += 1
    assert delivered > 50


def test_inches_and_fahrenheit_are_converted(site):
    """25.4 mm to the inch, exactly, and (F - 32) / 1.8: NIST Special Publication 811 (2008), Appendix B."""
    found = rows(site, Feed.ELONGATION_READINGS).set_index(["strand", "measured_at", "mark", "occasion"])
    delivered = 0
    for path in sorted(NIGHTS.glob("*/drives_*.csv")):
        for row in csv.DictReader(path.read_text("utf-8").splitlines()):
            key = (row["strand"], row["measured_at"], row["mark"], row["occasion"])
            (read,) = found.loc[[key]].to_dict("records")
            assert read["length_mm"] == pytest.approx(float(row["length_in"]) * 25.4, abs=1e-9)
            assert read["chain_temperature_c"] == pytest.approx(
                (float(row["chain_temp_f"]) - 32) / 1.8, abs=1e-9
            )
            delivered += 1
    assert delivered > 50


@pytest.mark.parametrize("machine", ["HD-73", "RC-41"], ids=["a meter exchanged", "a meter rolled over"])
def test_run_hours_go_on_over_an_exchanged_or_rolled_over_meter(site, machine):
    """A survey's hours lie between what the machine truly ran at the readings before and after it.

    What it ran between the last reading of an old meter and the first of a new one nobody knows.
    """
    script = makers()
    draw = np.random.default_rng(script.SEED)
    truth = {one.tag: script._run_hours(one, draw) for one in script.MACHINES}[machine]
    readings = rows(site, Feed.RUN_HOURS)
    epoch = (script.FIRST_DAY - date(1970, 1, 1)).days
    read = np.sort(readings.loc[readings["machine"] == machine, "read_at_day"].to_numpy()) - epoch
    exchanges = readings[(readings["machine"] == machine) & (readings["meter_event"] == "new_meter")]
    exchanged = int(exchanges["read_at_day"].max()) - epoch if len(exchanges) else len(truth)
    told = surveys(site)
    own = told[told["strand"].str.startswith(machine)]
    assert len(own) > 8
    for row in own.to_dict("records"):
        fitted = (date.fromisoformat(row["life_id"].split("|")[1]) - script.FIRST_DAY).days
        day = int(row["day"]) - epoch
        least = truth[read[read <= day].max()] - truth[read[read >= fitted].min()]
        most = truth[read[read >= day].min()] - truth[read[read <= fitted].max()]
        unknown = 7 * 24 if fitted < exchanged <= day else 0.1  # a meter shows tenths
        assert least - unknown <= row["hours"] <= most + unknown


def test_grease_on_a_chain_that_runs_dry_by_decision_is_asked_about(site):
    (order,) = [
        one
        for (job, _), one in orders(site, 1).items()
        if "DR-21" in str(one["strands"]) and job == "correct_data"
    ]
    assert any(reason["rule"] == "grease_on_dry" for reason in order["reasons"])


def test_a_fracture_stops_the_machine_and_is_investigated(site):
    order = orders(site, 2)["investigate_fracture", "FE-32"]
    assert order["urgency"] == "stop now"
    page = (site.folders.queue / "night-000002" / "orders" / f"{order['number']}.html").read_text("utf-8")
    assert "crack right across" in page


@pytest.mark.parametrize(("night", "what"), [(4, "EL-11"), (5, "EL-11"), (5, "HD-73")])
def test_every_sentence_of_an_order_tells_one_day_of_ordering_a_set(site, night, what):
    order = next(
        one
        for (job, _), one in orders(site, night).items()
        if job == "replace_set" and one["machine"] == what
    )
    page = (site.folders.queue / f"night-{night:06d}" / "orders" / f"{order['number']}.html").read_text(
        "utf-8"
    )
    text = " ".join(re.sub(r"<[^>]+>", "", page).split())
    ways = re.findall(
        r"[Aa] set ordered on (\w+ \d+ \w+ \d+).{0,60}?(?:about|here on) (\w+ \d+ \w+ \d+)", text
    )
    assert len(ways) > 1
    assert set(ways) == {ways[0]}


def test_the_planned_stop_and_the_lives_behind_a_cost_are_rows_of_the_order(site):
    made = [one for (job, _), one in orders(site, 5).items() if job == "replace_set"]
    dated = [one for one in made if one["shutdown"]]
    assert dated
    for one in dated:
        (file, line, sha256), *_ = [
            (row["file"], row["line"], row["sha256"]) for row in one["rests_on"] if row["part"] == "stop"
        ]
        kept = (site.folders.archive / sha256[:2] / sha256).read_text("utf-8").splitlines()
        stops = [kept[row["line"] - 1] for row in one["rests_on"] if row["part"] == "stop"]
        assert any(one["shutdown"] in text for text in stops), (file, line)
        page = (site.folders.queue / "night-000005" / "orders" / f"{one['number']}.html").read_text("utf-8")
        assert f"(SHA-256 {sha256[:12]})" in page
    lives = [row["file"] for one in made for row in one["rests_on"] if row["part"] == "life"]
    assert any(file.startswith("strands") for file in lives)
    assert any(file.startswith("elongation") for file in lives)


@pytest.mark.parametrize(("machine", "hours"), [("FE-32", 100), ("EL-13", 15)])
def test_a_machine_that_runs_on_after_a_stop_is_told_on_order_index_and_files(site, machine, hours):
    order = orders(site, 5)["investigate_fracture", machine]
    ran = order["runs_on"]
    assert ran["to_on"] == "2026-09-09"
    assert round(ran["hours"]) == hours
    assert any(row["part"] == "meter" for reason in order["reasons"] for row in reason["evidence"])
    folder = site.folders.queue / "night-000005"
    page = (folder / "orders" / f"{order['number']}.html").read_text("utf-8")
    lines = (folder / "index.html").read_text("utf-8").partition(f"orders/{order['number']}.html")[2]
    row = next(
        line for line in (folder / "orders.csv").read_text("utf-8").splitlines() if order["number"] in line
    )
    for text in (page, lines, row):
        assert f"The meter shows {hours} run hours since" in text
    # The hours refresh the order; what it asks for is the same.
    assert order["revision"] == orders(site, 4)["investigate_fracture", machine]["revision"]


def test_a_crack_in_words_of_its_own_stops_the_machine_too(site):
    order = orders(site, 4)["investigate_fracture", "EL-13"]
    assert order["urgency"] == "stop now"
    page = (site.folders.queue / "night-000004" / "orders" / f"{order['number']}.html").read_text("utf-8")
    assert "one sidebar cracked at the hole??" in page


def test_a_finding_in_words_without_a_stop_asks_for_the_right_word(site):
    told_so = [
        one
        for (job, _), one in orders(site, 1).items()
        if job == "correct_data" and one["strands"] == ["EL-15-B"]
    ]
    assert len(told_so) == 1


def test_a_strand_without_readings_is_listed_as_not_judged_and_asked_for(site):
    with (site.folders.queue / "current" / "cannot_judge.csv").open(encoding="utf-8-sig", newline="") as file:
        unjudged = {(row["subject"], row["question"]) for row in csv.DictReader(file)}
    assert ("DR-23", "wear limits") in unjudged
    assert ("measure", "DR-23") in orders(site, 1)


def test_an_uneven_pair_is_replaced_as_a_set(site):
    order = orders(site, 5)["replace_set", "EL-14 chain"]
    assert order["strands"] == ["EL-14-A", "EL-14-B"]


def test_past_its_case_a_chain_is_dated_by_the_limit_beyond_and_shortened_until_its_set_is_here(site):
    """EL-11-A, by hand: 2.362 % at 3 x 0.296 %/1000 h; the case of 3.0/152.4 = 1.969 % is through.

    The bushing wall, 2.690 %, is 370 h on, the end of the take-up 200 x 32/36 576 = 0.175 % and 197 h; a set
    takes 112 days. At 15.6 h a day 370 h are 23 days: the stop of 12 October comes too late.
    """
    replaced, shortened = (orders(site, 5)[job, "EL-11 chain"] for job in ("replace_set", "adjust_takeup"))
    assert (replaced["urgency"], replaced["governing_limit"]) == ("this week", "bushing")
    (coming,) = [
        {fact["name"]: fact["value"] for fact in reason["facts"]}
        for reason in replaced["reasons"]
        if (reason["rule"], reason["subject"]) == ("limit_coming", "EL-11-A")
    ]
    assert coming["rate_source"] == "own_times_factor"
    assert coming["rate"] == pytest.approx(3 * coming["rate_to_case"], abs=0.0002)
    way = coming["limit_percent"] - coming["e_percent"]
    assert coming["hours_middle"] == pytest.approx(1000 * way / coming["rate"], abs=2)
    assert coming["takeup_out_hours_middle"] == pytest.approx(
        1000 * 200 * coming["left_mm"] / (240 * 152.4) / coming["rate"], abs=2
    )
    assert coming["middle_on"] == "2026-09-30"
    assert coming["need_by_on"] == coming["early_on"] < coming["next_stop_on"] == "2026-10-12"
    assert coming["set_here_on"] == "2026-12-28"
    assert shortened["urgency"] == "this week"
    assert "the travel may be out as early as" in why(site, shortened["number"]).text()


def test_a_corrected_mark_supersedes_the_one_before(told):
    (night,) = [night for night in told.nights if night.as_of == date(2026, 9, 2)]
    superseding = {one.file: one.superseding for one in night.accounting if one.superseding}
    assert superseding == {"elongation_readings_2026-09-02.csv": 1}


def test_a_machine_without_energy_sources_gets_no_reminder_that_looks_complete(site):
    number = orders(site, 5)["measure", "DR-23"]["number"]
    page = (site.folders.queue / "current" / "reminders" / f"{number}.html").read_text("utf-8")
    assert "not" in page.split("<h1")[1][:2000]
    whole = orders(site, 5)["replace_set", "EL-14 chain"]["number"]
    other = (site.folders.queue / "current" / "reminders" / f"{whole}.html").read_text("utf-8")
    assert "isolator" in other
    assert "isolator" not in page


def test_the_script_beside_the_samples_is_the_only_code_there():
    assert [path.name for path in Path(samples_dir()).glob("*.py")] == ["make_samples.py"]
