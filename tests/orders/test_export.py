"""What orders.json holds agrees with its published schema (JSON Schema 2020-12, validated by jsonschema)."""

from __future__ import annotations

import json
from copy import deepcopy
from dataclasses import fields, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from jsonschema import Draft202012Validator, FormatChecker
from tests.judgement.test_next_chain import FULL
from tests.orders.plant import MONDAY, SETTINGS, Plant, clear, due

from takeup.errors import OurFault
from takeup.judgement.nextchain import EVIDENCE, Lives, next_chain
from takeup.judgement.options import MECHANISMS, OPTIONS
from takeup.judgement.register import CODES, Lacking
from takeup.judgement.stops import StopLine, StopTable
from takeup.model import Change, Job, Order, OrderState, Urgency
from takeup.orders import export
from takeup.orders.visits import visits

SCHEMA = json.loads((Path(__file__).parents[2] / "schemas" / "orders.json").read_text())
VALIDATOR = Draft202012Validator(SCHEMA, format_checker=FormatChecker())

SHAPES = ("order", "reason", "fact", "row", "event", "next_chain", "option", "hourly_cost", "break_even")

ORIGINS = pd.DataFrame(
    [(1, "elongation_readings", "readings.csv", 4, "a" * 64), (2, "strands", "strands.csv", 2, "b" * 64)],
    columns=["row_id", "feed", "file", "line", "sha256"],
)


def told() -> Plant:
    plant = Plant()
    stop = MONDAY + timedelta(days=60)
    renew = due(
        Job.REPLACE_SET,
        urgency=Urgency.NEXT_SHUTDOWN,
        need_by=stop,
        buy_by=MONDAY,
        evidence=(2, 1),
        limit="case",
        e_percent=float("nan"),
        marks=4,
        estimated=False,
        missing=("pin_case_mm",),
    )
    verdicts = [
        renew,
        due(Job.MEASURE, need_by=stop),
        due(Job.LUBRICATE, "D2-N"),
        due(Job.INVESTIGATE_FRACTURE, "D2-S", Urgency.STOP_NOW),
        due(Job.CORRECT_DATA, "run_hours/rows_refused", kind="source", seen_on=None, evidence=()),
        due(Job.SPROCKETS, "D2-N"),
    ]
    plant.tell(*verdicts)
    gone = next(order for order in plant.book if order.job is Job.SPROCKETS)
    lube = next(order for order in plant.book if order.job is Job.LUBRICATE)
    plant.decide(lube.number, "deferred", until=stop)
    plant.tell(*verdicts[:-1], known=1)
    plant.tell(clear(verdicts[-1]))
    assert plant.order(gone.number).state is OrderState.WITHDRAWN
    return plant


def document(
    plant: Plant,
    origins: pd.DataFrame = ORIGINS,
    stop_costs: dict[str, StopTable] | None = None,
    lacking: dict[str, tuple[Lacking, ...]] | None = None,
    **more: Any,
) -> dict[str, Any]:
    return export.document(
        plant.book,
        site="works",
        as_of=plant.as_of,
        night=plant.night,
        version="0.1.0",
        origins=origins,
        visits=visits(plant.book, as_of=plant.as_of, settings=SETTINGS),
        stop_costs=stop_costs,
        lacking=lacking,
        **more,
    )


def test_the_schema_is_itself_a_schema_and_says_something_about_everything() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    for shape in (SCHEMA, *(SCHEMA["$defs"][name] for name in SHAPES)):
        assert set(shape["required"]) == set(shape["properties"])
        for name, field in shape["properties"].items():
            assert "description" in field or "$ref" in field, name


def test_its_words_are_those_of_the_records() -> None:
    order = SCHEMA["$defs"]["order"]["properties"]
    assert set(order["job"]["enum"]) == set(Job)
    assert order["urgency"]["enum"] == list(Urgency)
    assert set(order["state"]["enum"]) == set(OrderState) - {OrderState.DONE, OrderState.WITHDRAWN}
    shapes = {name: SCHEMA["$defs"][name]["properties"] for name in SHAPES}
    assert set(shapes["event"]["change"]["enum"]) == set(Change) - {Change.REFRESHED}
    options = [option.name for option in OPTIONS]
    assert shapes["option"]["option"]["enum"] == shapes["next_chain"]["fitted"]["items"]["enum"] == options
    for name in ("mechanisms", "sectioned"):
        assert shapes["next_chain"][name]["items"]["enum"] == list(MECHANISMS)
    for shape in ("next_chain", "option"):
        assert shapes[shape]["evidence_missing"]["items"]["enum"] == list(EVIDENCE)


def test_a_night_of_every_kind_of_order_is_valid_and_keeps_to_json() -> None:
    made = document(told())
    assert list(VALIDATOR.iter_errors(made)) == []
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    assert list(made["orders"][0]) == SCHEMA["$defs"]["order"]["required"]


def test_open_orders_stand_by_urgency_and_say_what_they_are_part_of() -> None:
    orders = document(told())["orders"]
    assert [order["job"] for order in orders] == [
        "investigate_fracture",
        "replace_set",
        "measure",
        "correct_data",
        "lubricate",
    ]
    renew, measure = orders[1], orders[2]
    assert measure["part_of"] == renew["number"]
    assert renew["includes"] == [measure["number"]]
    assert renew["visit"] == measure["visit"] == "elevator 1 2026-05-01"
    assert orders[3]["visit"] == orders[4]["visit"] == ""
    assert orders[4]["until"] == "2026-05-01"


def test_a_reason_names_its_facts_and_the_lines_behind_them() -> None:
    reason = document(told())["orders"][1]["reasons"][0]
    values = {fact["name"]: fact["value"] for fact in reason["facts"]}
    assert values == {
        "limit": "case",
        "e_percent": None,
        "marks": 4,
        "estimated": False,
        "missing": ["pin_case_mm"],
        "seen_on": "2026-03-02",
    }
    assert reason["evidence"] == [
        {"part": "survey", "file": "strands.csv", "line": 2, "sha256": "b" * 64},
        {"part": "survey", "file": "readings.csv", "line": 4, "sha256": "a" * 64},
    ]


def test_the_document_does_not_depend_on_the_order_of_the_book() -> None:
    plant = told()
    made = document(plant)
    plant.book.reverse()
    assert document(plant) == made


def test_the_stops_of_a_replacement_are_told_and_other_jobs_have_none() -> None:
    plant = told()
    number = next(order.number for order in plant.book if order.job is Job.REPLACE_SET)
    lines = (
        StopLine("spring", MONDAY, MONDAY, 0.25, 9.0, 40.0, 3.0, 12.0, before_delivery=True),
        StopLine("", MONDAY, None, 0.05, 36.0, 10.0, 1.0, 37.0, before_delivery=False),
    )
    for table in (
        StopTable("D1-N", "case", "acceleration", lines, chains=2, chains_cost=8.0, labour_cost=1.0),
        StopTable("D1-N", "case", "acceleration", missing=("chain_price",)),
    ):
        made = document(plant, stop_costs={number: table})
        VALIDATOR.validate(made)
        by_job = {order["job"]: order["stop_costs"] for order in made["orders"]}
        assert [stop["expected_cost"] for stop in by_job.pop("replace_set")["stops"]] == [
            line.expected_cost for line in table.lines
        ]
        assert set(by_job.values()) == {None}


def test_the_register_stands_beside_an_order_that_locks_a_machine_out() -> None:
    assert SCHEMA["$defs"]["lockout_register"]["properties"]["lacking"]["items"]["properties"]["what"][
        "enum"
    ] == list(CODES)
    plant = told()
    lacks = (Lacking("no_procedure"), Lacking("no_magnitude", "main drive motor"))
    made = document(plant, lacking={"C-0001": lacks, "C-0002": ()})
    assert list(VALIDATOR.iter_errors(made)) == []
    by_number = {order["number"]: order["lockout_register"] for order in made["orders"]}
    assert by_number["C-0001"] == {
        "complete": False,
        "lacking": [
            {"what": "no_procedure", "source": ""},
            {"what": "no_magnitude", "source": "main drive motor"},
        ],
    }
    assert by_number["C-0002"] == {"complete": True, "lacking": []}
    assert by_number["C-0003"] is None


def test_the_next_chain_is_told_with_the_evidence_that_is_missing() -> None:
    """The full case of the seals is recommended; one life and no joint cut open leave all of it wanting."""
    plant = told()
    number = next(order.number for order in plant.book if order.job is Job.REPLACE_SET)
    found = {}
    for known in (FULL, replace(FULL, sectioned=(), own_surveys=0, now=Lives(), trials={})):
        made = document(plant, next_chains={number: next_chain(known)})
        VALIDATOR.validate(made)
        by_job = {order["job"]: order["next_chain"] for order in made["orders"]}
        found[known.sectioned] = by_job.pop("replace_set")
        assert set(by_job.values()) == {None}
    seals = next(each for each in found["ingress",]["options"] if each["option"] == "seals")
    assert (seals["recommended"], seals["evidence_missing"]) == (True, [])
    assert seals["cost_trial"]["hours"] == 39000
    assert found[()]["evidence_missing"] == ["lives", "sectioned", "trial"]
    assert not any(each["recommended"] for each in found[()]["options"])


def test_an_order_names_the_investigation_it_waits_for_and_what_became_of_it() -> None:
    crack = due(Job.INVESTIGATE_FRACTURE, "D2-S", Urgency.STOP_NOW, evidence=(1,))
    lube = due(Job.LUBRICATE, "D2-S", evidence=(2,))
    plant, happened = Plant(), []
    happened += plant.tell(crack, lube).events
    number = plant.book[1].number
    plant.decide(number, "deferred", until=MONDAY + timedelta(days=9), by="planner 2", reason="no oil here")
    happened += plant.tell(crack, lube, known=1).events
    happened += plant.tell(crack, due(Job.LUBRICATE, "D2-S", evidence=(2,), seen_on=MONDAY)).events
    made = document(plant, events=happened)
    VALIDATOR.validate(made)
    witness, waits = made["orders"]
    assert (witness["waits_for"], waits["waits_for"]) == ([], [witness["number"]])
    assert [(each["change"], each["on"], each["by"]) for each in waits["history"]] == [
        ("raised", "2026-03-02", ""),
        ("deferred", "2026-03-03", "planner 2"),
    ]
    assert waits["history"][1]["note"] == "no oil here"


def test_a_row_without_origin_is_our_own_fault() -> None:
    with pytest.raises(OurFault, match=r"order C-0002, replace_set_rule for E1-A: .*row 2"):
        document(told(), ORIGINS.iloc[:1])


@pytest.mark.parametrize(
    "harm",
    [
        {"urgency": "soon"},
        {"state": "done"},
        {"need_by": "20.04.2026"},
        {"need_by": "2026-02-30"},
        {"reasons": []},
        {"number": "7"},
        {"colour": "red"},
    ],
    ids=str,
)
def test_the_schema_refuses_what_is_not_an_order(harm: dict[str, Any]) -> None:
    made = deepcopy(document(told()))
    made["orders"][0].update(harm)
    assert list(VALIDATOR.iter_errors(made)) != []


def test_every_field_of_an_order_is_published_but_what_only_the_book_needs() -> None:
    renamed = {
        "governing": "governing_limit",
        "swallowed_by": "part_of",
        "raised_as_of": "raised_on",
        "revised_as_of": "revised_on",
    }
    inner = {"raised_night", "revised_night", "newest_known", "urgent_since", "set_here_on"}
    ours = {renamed.get(item.name, item.name) for item in fields(Order)} - inner
    assert ours <= set(SCHEMA["$defs"]["order"]["properties"])
