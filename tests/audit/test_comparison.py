"""What differs between a night told again and its record is named: file, order, field, or record."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from takeup.audit.replay import ABSENT, Kind, compared

ORDERS: dict[str, Any] = {
    "site": "Works",
    "as_of": "2026-03-02",
    "night": 7,
    "takeup": "0.1.0",
    "orders": [
        {
            "number": "C-0001",
            "need_by": "2026-05-04",
            "parts": ["chain"],
            "runs_on": None,
            "reasons": [
                {
                    "rule": "wear_limit",
                    "subject": "E1-A",
                    "case": "at_limit",
                    "facts": [{"name": "e_wear", "value": 2.5}, {"name": "limit", "value": 2.36}],
                    "evidence": [{"part": "survey", "file": "tape.csv", "line": 4}],
                }
            ],
        },
        {"number": "C-0002", "need_by": None, "parts": [], "runs_on": None, "reasons": []},
    ],
}

RECORD: dict[str, Any] = {
    "kind": "night",
    "number": 7,
    "as_of": "2026-03-02",
    "versions": {"takeup": "0.1.0", "numpy": "2.4.6"},
    "accounting": [{"file": "tape.csv", "new": 4, "refused": 0}],
    "events": [{"order": "C-0001", "revision": 2, "change": "revised"}],
    "orders": "aa",
    "counts": {"verdict": 12},
    "fleet": "bb",
    "previous": "cc",
    "queue": "night-000007",
    "wrote": {"index.html": "11", "orders.json": "22"},
}


def other(record: dict[str, Any] = RECORD, **changed: Any) -> dict[str, Any]:
    return copy.deepcopy(record) | changed


def orders(change: Any) -> dict[str, Any]:
    document = copy.deepcopy(ORDERS)
    change(document)
    return document


def named(result: Any) -> list[tuple[str, str, str, Any, Any]]:
    return [(one.kind.value, one.order, one.name, one.recorded, one.told) for one in result.differences]


def test_what_is_the_same_has_no_difference() -> None:
    result = compared(RECORD, other(previous="of another ledger"), ORDERS, copy.deepcopy(ORDERS))
    assert (result.equal, result.files, result.by_field, result.other_versions) == (True, 2, True, ())


@pytest.mark.parametrize(
    ("told", "wanted"),
    [
        pytest.param({"wrote": {"index.html": "12", "orders.json": "22"}},
                     [("file", "", "index.html", "11", "12")], id="another byte"),
        pytest.param({"wrote": {"orders.json": "22"}},
                     [("file", "", "index.html", "11", ABSENT)], id="a file less"),
        pytest.param({"wrote": RECORD["wrote"] | {"new.html": "33"}},
                     [("file", "", "new.html", ABSENT, "33")], id="a file more"),
        pytest.param({"accounting": [{"file": "tape.csv", "new": 3, "refused": 1}]},
                     [("record", "", "accounting[1].new", 4, 3),
                      ("record", "", "accounting[1].refused", 0, 1)],
                     id="row accounts"),
        pytest.param({"events": []},
                     [("record", "", "events[1]", RECORD["events"][0], ABSENT)], id="what became of orders"),
        pytest.param({"orders": "ab"}, [("record", "", "orders", "aa", "ab")], id="the book of orders"),
        pytest.param({"counts": {"verdict": 13}}, [("record", "", "counts.verdict", 12, 13)], id="counts"),
        pytest.param({"fleet": "bd"}, [("record", "", "fleet", "bb", "bd")], id="past forecasts"),
    ],
)  # fmt: skip
def test_under_the_same_versions_every_file_and_word_of_the_record_counts(told, wanted) -> None:
    assert named(compared(RECORD, other(**told), ORDERS, ORDERS)) == wanted


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        pytest.param(lambda d: d["orders"][0].update(need_by=None),
                     ("field", "C-0001", "need_by", "2026-05-04", None), id="a date that is not known now"),
        pytest.param(lambda d: d["orders"][0].pop("runs_on"),
                     ("field", "C-0001", "runs_on", None, ABSENT), id="no field is not null"),
        pytest.param(lambda d: d["orders"][0]["parts"].append("sprockets"),
                     ("field", "C-0001", "parts[2]", ABSENT, "sprockets"), id="a part more"),
        pytest.param(lambda d: d["orders"][0]["reasons"][0]["facts"][0].update(value=2.6),
                     ("field", "C-0001", "reasons[wear_limit E1-A at_limit].facts[e_wear].value", 2.5, 2.6),
                     id="a fact by its name"),
        pytest.param(lambda d: d["orders"][0]["reasons"][0]["facts"][1].update(value=2),
                     ("field", "C-0001", "reasons[wear_limit E1-A at_limit].facts[limit].value", 2.36, 2),
                     id="another kind of number"),
        pytest.param(lambda d: d["orders"][0]["reasons"][0]["evidence"][0].update(line=5),
                     ("field", "C-0001",
                      "reasons[wear_limit E1-A at_limit].evidence[survey tape.csv 4]",
                      ORDERS["orders"][0]["reasons"][0]["evidence"][0], ABSENT), id="another row"),
        pytest.param(lambda d: d["orders"].pop(),
                     ("order", "", "C-0002", ORDERS["orders"][1], ABSENT), id="an order less"),
        pytest.param(lambda d: d["orders"].append({"number": "C-0003"}),
                     ("order", "", "C-0003", ABSENT, {"number": "C-0003"}), id="an order more"),
        pytest.param(lambda d: d["orders"].reverse(),
                     ("field", "", "orders (sequence)", ["C-0001", "C-0002"], ["C-0002", "C-0001"]),
                     id="another sequence"),
        pytest.param(lambda d: d["orders"][0]["reasons"][0]["facts"].reverse(),
                     ("field", "C-0001", "reasons[wear_limit E1-A at_limit].facts (sequence)",
                      ["e_wear", "limit"], ["limit", "e_wear"]), id="facts in another sequence"),
        pytest.param(lambda d: d.update(site="Other works"),
                     ("field", "", "site", "Works", "Other works"), id="the head of the document"),
    ],
)  # fmt: skip
def test_under_other_versions_orders_are_held_field_by_field(change, wanted) -> None:
    told = other(
        versions={"takeup": "0.2.0", "numpy": "2.4.6"}, wrote={"index.html": "9", "orders.json": "8"}
    )
    result = compared(RECORD, told, ORDERS, orders(change))
    assert [(one.package, one.then, one.now) for one in result.other_versions] == [
        ("takeup", "0.1.0", "0.2.0")
    ]
    assert wanted in named(result)
    assert all(one.kind is not Kind.FILE for one in result.differences), "pages may be drawn otherwise"


def test_another_version_by_itself_is_no_difference() -> None:
    told = other(
        versions={"takeup": "0.2.0", "numpy": "2.4.6"}, wrote={"index.html": "9", "orders.json": "8"}
    )
    assert compared(RECORD, told, ORDERS, orders(lambda d: d.update(takeup="0.2.0"))).equal


@pytest.mark.parametrize(
    "versions", [{"takeup": "0.1.0"}, {"takeup": "0.1.0", "numpy": "2.4.6", "rules": "1"}]
)
def test_a_package_that_came_or_went_is_another_version(versions) -> None:
    (one,) = compared(RECORD, other(versions=versions), ORDERS, ORDERS).other_versions
    assert {one.then, one.now} & {""}


def test_without_the_orders_then_the_digest_of_the_book_stands_for_them() -> None:
    told = other(versions={"takeup": "0.2.0"}, orders="ab", wrote={"index.html": "9", "orders.json": "8"})
    result = compared(RECORD, told, None, ORDERS)
    assert not result.by_field
    assert named(result) == [("record", "", "orders", "aa", "ab")]


def test_row_accounts_and_events_are_compared_under_any_version() -> None:
    told = other(versions={"takeup": "0.2.0"}, accounting=[], counts={"verdict": 99})
    assert [one[2] for one in named(compared(RECORD, told, ORDERS, ORDERS))] == ["accounting[1]"]


def test_an_item_named_twice_goes_by_its_place() -> None:
    """Two facts of one name: neither may hide the other."""
    twice = {"name": "e_wear", "value": 1.0}

    def doubled(value: float) -> dict[str, Any]:
        return orders(
            lambda d: d["orders"][0]["reasons"][0].update(facts=[twice, {"name": "e_wear", "value": value}])
        )

    told = other(wrote={"index.html": "11", "orders.json": "23"})
    names = [one[2] for one in named(compared(RECORD, told, doubled(2.0), doubled(3.0)))]
    assert names == ["orders.json", "reasons[wear_limit E1-A at_limit].facts[2].value"]
