"""Why an order stands, and what every rule says of a strand: to the file and line."""

from __future__ import annotations

import json
import re

import pytest
from tests.night import plant
from tests.night.told import told

from takeup.judgement.rules import registered
from takeup.site import Site


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
            (place["file"], place["line"]) for reason in order["reasons"] for place in reason["evidence"]
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
