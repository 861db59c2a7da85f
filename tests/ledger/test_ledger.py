"""The ledger keeps every committed line, in order, and notices when one was touched."""

import json

import pytest

from takeup.errors import LedgerError
from takeup.ledger import BEGINNING, Ledger


@pytest.fixture
def ledger(tmp_path):
    ledger = Ledger(tmp_path / "ledger" / "ledger.jsonl")
    for number in (1, 2, 3):
        ledger.append({"kind": "night", "number": number, "as_of": f"2026-01-0{number}"})
    return ledger


def test_records_come_back_in_order_and_chained(ledger):
    records = list(ledger.records())
    assert [record["number"] for record in records] == [1, 2, 3]
    assert records[0]["previous"] == BEGINNING


def test_an_empty_ledger_has_a_beginning_and_no_records(tmp_path):
    ledger = Ledger(tmp_path / "none.jsonl")
    assert ledger.head == BEGINNING
    assert list(ledger.records()) == []


def test_a_line_cut_by_a_stop_was_never_committed(ledger):
    head = ledger.head
    with ledger.path.open("ab") as file:
        file.write(b'{"kind":"night","num')
    assert ledger.head == head
    assert ledger.cut_torn_tail()
    assert not ledger.cut_torn_tail()
    assert len(list(ledger.records())) == 3


def _edited(lines):
    record = json.loads(lines[1])
    record["as_of"] = "2027-01-01"
    return [lines[0], json.dumps(record, sort_keys=True, separators=(",", ":")), lines[2]]


@pytest.mark.parametrize(
    "damage",
    [
        pytest.param(_edited, id="edited"),
        pytest.param(lambda lines: [lines[0], lines[2]], id="dropped"),
        pytest.param(lambda lines: [lines[1], lines[0], lines[2]], id="swapped"),
        pytest.param(lambda lines: [lines[0], lines[0], lines[1], lines[2]], id="doubled"),
        pytest.param(lambda lines: [lines[0], lines[1][:-4], lines[2]], id="cut"),
        pytest.param(lambda lines: [lines[0], lines[1].replace(":", ": ", 1), lines[2]], id="respaced"),
    ],
)
def test_a_touched_line_is_named(ledger, damage):
    lines = ledger.path.read_text().splitlines()
    ledger.path.write_text("\n".join(damage(lines)) + "\n")
    with pytest.raises(LedgerError, match=r"ledger\.jsonl line [123]"):
        list(ledger.records())
