"""Why an order stands, and what every rule says of a strand: to the file and line."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from tests.audit.sums import agrees
from tests.night import plant
from tests.night.told import told

from takeup.judgement.rules import registered
from takeup.site import Site
from takeup.why import Why, why


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Site:
    return told(tmp_path_factory.mktemp("why") / "s", 2)


def orders(site: Site) -> list[dict]:
    return json.loads((site.folders.queue / "current" / "orders.json").read_text("utf-8"))["orders"]


def lines_named(text: str, file: str) -> set[int]:
    """The lines of a file that a text names, runs such as '4 to 9' drawn apart."""
    found: set[int] = set()
    for said in re.findall(rf"{re.escape(file)} lines? ([\d ,toand]+) \(", text):
        for run in re.split(r", | and ", said):
            first, _, last = run.partition(" to ")
            found |= set(range(int(first), int(last or first) + 1))
    return found


def test_every_open_order_answers_to_file_and_line(takeup, site):
    for order in orders(site):
        said = takeup("why", "--site", site.folders.root, order["number"])
        assert said.code == 0
        assert said.out.startswith(f"{order['number']}, revision {order['revision']}: ")
        told_so = takeup("why", "--site", site.folders.root, order["number"], "--json").told
        assert told_so["order"]["number"] == order["number"]
        assert next(event["change"] for event in told_so["events"]) == "raised"
        for reason in order["reasons"]:
            for place in reason["evidence"]:
                assert place["line"] in lines_named(said.out, place["file"])
        assert {(one["file"], one["line"]) for one in told_so["lines"]} == {
            (place["file"], place["line"])
            for rows in (*(reason["evidence"] for reason in order["reasons"]), order["rests_on"])
            for place in rows
        }


def test_the_line_named_is_the_row_as_it_was_delivered(takeup, site):
    (order,) = [one for one in orders(site) if one["job"] == "investigate_fracture"]
    (line,) = takeup("why", "--site", site.folders.root, order["number"], "--json").told["lines"]
    delivered = plant.exports(plant.NIGHTS[1])[line["file"]].decode().splitlines()
    assert "cracked_bushing" in delivered[line["line"] - 1]


def test_every_rule_answers_for_every_strand_with_margins(takeup, site):
    for strand in ("EL-11-A", "EL-11-B", "FE-32-A", "FE-32-B", "SL-61-A", "SL-61-B"):
        told_so = takeup("why", "--site", site.folders.root, strand, "--json").told
        assert told_so["strand"] == strand
        answered = {one["rule"] for one in told_so["verdicts"]}
        assert answered >= {rule.name for rule in registered()} - {"data_unjudged", "sprocket_wear"}
        for one in told_so["verdicts"]:
            if one["answer"] == "clear" and one["threshold"] is not None:
                assert one["margin"] is not None, one
        said = takeup("why", "--site", site.folders.root, strand).out
        assert said.startswith(f"{strand}, as of ")
        assert "margin" in said
        named = [order["number"] for order in orders(site) if strand in order["strands"]]
        assert sorted(told_so["orders"]) == sorted(named)


STRANDS = ("EL-11-A", "FE-32-B", "SL-61-A")
SUM = re.compile(r"^    [A-Z][^:]*(?:: [^=]*)?: ([^=:]+) = ([^=:]+)$", re.MULTILINE)


@pytest.fixture(scope="module")
def told_of(site) -> dict[str, Why]:
    """The answers about some strands and about every order."""
    return {name: why(site, name) for name in (*STRANDS, *(order["number"] for order in orders(site)))}


def test_every_sum_that_is_told_comes_to_its_result(told_of):
    texts = [told.text() for told in told_of.values()]
    sums = [found for text in texts for found in SUM.findall(text)]
    assert len(sums) > 40
    assert sum(text.count(" = ") for text in texts) == len(sums)
    for sum_, result in sums:
        assert agrees(sum_, result), (sum_, result)


def test_a_clear_or_unjudged_answer_says_what_an_order_would_take(told_of):
    for strand in STRANDS:
        verdicts = told_of[strand].as_dict()["verdicts"]
        waiting = [one for one in verdicts if one["answer"] != "due"]
        assert told_of[strand].text().count("an order would take: ") == len(waiting)
        assert all(one["gates"] for one in verdicts if one["answer"] == "due")


def test_a_past_night_is_told_again_as_it_was_said(site):
    """Every strand and every order of every night, against what that night stored and published."""
    for number, day in enumerate(plant.NIGHTS[:2], start=1):
        folder = site.folders.queue / f"night-{number:06d}"
        published = json.loads((folder / "orders.json").read_text("utf-8"))["orders"]
        for strand in STRANDS:
            told = why(site, strand, as_of=day).as_dict()
            assert (told["night"], told["as_of"]) == (number, day.isoformat())
            assert told["told_otherwise_then"] == []
            assert told["orders"] == sorted(one["number"] for one in published if strand in one["strands"])
        for order in published:
            told = why(site, order["number"], as_of=day).as_dict()
            assert told["order"]["revision"] == order["revision"]
            assert [reason["case"] for reason in told["order"]["reasons"]] == [
                reason["case"] for reason in order["reasons"]
            ]


def test_a_day_outside_the_nights_and_an_order_not_yet_raised_are_told_as_such(takeup, site):
    first, second = plant.NIGHTS[:2]
    ask = ("why", "--site", site.folders.root)
    early = takeup(*ask, "EL-11-A", "--as-of", first - timedelta(days=1))
    late = takeup(*ask, "EL-11-A", "--as-of", second + timedelta(days=1))
    for done in (early, late):
        assert done.code == 2
        assert f"The nights told here go from {first} to {second}" in done.err
    (newest,) = [one for one in orders(site) if one["raised_on"] == second.isoformat()]
    done = takeup(*ask, newest["number"], "--as-of", first)
    assert done.code == 2
    assert f"did not stand yet as of {first}: it was raised as of {second}" in done.err


def test_the_page_in_the_queue_says_what_the_command_says(takeup, site, tmp_path):
    """But for the night by which it is known, and the links that only the queue can keep."""
    for order in orders(site)[:2]:
        number = order["number"]
        done = takeup("why", "--site", site.folders.root, number, "--page", tmp_path / "why.html")
        assert done.code == 0
        asked = (tmp_path / "why.html").read_text("utf-8")
        queued = (site.folders.queue / "current" / "why" / f"{number}.html").read_text("utf-8")
        assert bare(asked) == bare(queued)
        assert f'href="../why/{number}.html"' in (
            site.folders.queue / "current" / "orders" / f"{number}.html"
        ).read_text("utf-8")


def bare(page: str) -> list[str]:
    """The words of a page, but for the night it is known by and the links at its foot."""
    page = re.sub(r" · as known by night \d+, told for [^<]*(?=</p>)", "", page)
    page = re.sub(r'<p class="foot screen">.*?</p>', "", page)
    return re.sub(r"<[^>]+>", " ", page).split()


def test_a_page_that_cannot_be_written_says_so(takeup, site, tmp_path):
    done = takeup("why", "--site", site.folders.root, "EL-11-A", "--page", tmp_path / "none" / "why.html")
    assert done.code == 4
    assert "why.html" in done.err


def test_lineage_is_written_for_an_order_and_refused_for_a_strand(takeup, site, tmp_path):
    number = orders(site)[0]["number"]
    done = takeup("why", "--site", site.folders.root, number, "--prov", tmp_path / "order.json", "--json")
    assert done.told == {"prov": str((tmp_path / "order.json").resolve())}
    assert set(json.loads((tmp_path / "order.json").read_text("utf-8"))) > {"prefix", "entity", "activity"}
    done = takeup("why", "--site", site.folders.root, "EL-11-A", "--prov", tmp_path / "strand.json")
    assert done.code == 2
    assert "lineage is told of orders" in done.err
    assert not (tmp_path / "strand.json").exists()


def test_a_machine_is_answered_with_its_strands(takeup, site):
    done = takeup("why", "--site", site.folders.root, "EL-11")
    assert done.code == 2
    assert "EL-11-A" in done.err
    assert "EL-11-B" in done.err


def test_asking_writes_nothing(takeup, site):
    before = plant.told_files(site.folders.root)
    takeup("why", "--site", site.folders.root, "EL-11-A")
    takeup("why", "--site", site.folders.root, "C-0001")
    assert plant.told_files(site.folders.root) == before
