"""The queue's files for other programs: right columns, harmless cells."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.documents.plant import KEPT_OUT, TEMPLATES, night, orders

from takeup.contracts import contract
from takeup.documents.environment import environment
from takeup.documents.files import (
    CLOSEOUT_COLUMNS,
    CLOSEOUT_WORDS,
    PLAIN_NUMBER,
    changes_csv,
    closeouts_csv,
    harmless,
    kept_out_csv,
    orders_csv,
    table,
    unjudged_csv,
)
from takeup.model import Feed

ENV = environment([TEMPLATES])


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline="")))


def test_orders_are_told_in_words_one_line_each() -> None:
    found = rows(orders_csv(ENV, orders()))
    assert [row["order"] for row in found] == [sheet.order.number for sheet in orders()]
    replace_set = next(row for row in found if row["order"] == "C-0003")
    assert replace_set["job"] == "replace the chain set"
    assert replace_set["urgency"] == "next shutdown"
    assert replace_set["need_by"] == "2026-04-13"
    assert replace_set["strands"] == "BE-31-A; BE-31-B"
    assert replace_set["page"] == "orders/C-0003.html"
    assert replace_set["lockout_reminder"] == "reminders/C-0003.html"
    assert "1.552 ± 0.112 %" in replace_set["why"]
    assert replace_set["lockout_register"].startswith("incomplete: ")
    whole = next(row for row in found if row["order"] == "C-0004")
    assert whole["lockout_register"] == "complete"
    data = next(row for row in found if row["order"] == "C-0008")
    assert data["subject"] == "elongation readings, not a number"
    assert data["lockout_reminder"] == data["lockout_register"] == ""


def test_changes_are_told_field_by_field() -> None:
    found = rows(changes_csv(ENV, night()))
    assert found[0] | {"order": "C-0003", "field": "need by", "before": "Mon 4 May 2026"} == found[0]
    assert (
        found[1] | {"order": "C-0000", "change": "done", "by": "shift fitter", "field": "state"} == found[1]
    )
    assert all(row["field"] and (row["before"] or row["after"]) for row in found)


def test_the_close_out_form_is_the_close_out_feed() -> None:
    """Filled and dropped into the inbox it is the export that the contract describes."""
    assert tuple(field.name for field in contract(Feed.ORDER_CLOSEOUTS).fields) == CLOSEOUT_COLUMNS
    found = rows(closeouts_csv(ENV, night()))
    assert [row["order"] for row in found] == [sheet.order.number for sheet in orders()]
    for row in found:
        assert row["recorded_at"] == "2026-03-02"
        assert all(not row[name] for name in CLOSEOUT_COLUMNS if name not in ("order", "recorded_at"))


def test_the_form_says_beside_each_number_what_is_asked_of_which_machine() -> None:
    found = {row["order"]: row for row in rows(closeouts_csv(ENV, night()))}
    assert tuple(CLOSEOUT_WORDS) == contract(Feed.ORDER_CLOSEOUTS).passed_over
    assert set(CLOSEOUT_WORDS) <= set(found["C-0003"])
    form = found["C-0003"]
    assert form["asked_for"] == "Replace the chain set: BE-31"
    assert (form["urgency"], form["need_by"]) == ("next shutdown", "2026-04-13")
    assert "BE-31" in form["machine"]


def test_every_row_kept_out_and_every_open_question_is_listed() -> None:
    kept = rows(kept_out_csv(ENV, KEPT_OUT))
    assert sorted((row["file"], int(row["line"]), row["raw"]) for row in kept) == sorted(
        (row.file, row.line, harmless(row.raw)) for row in KEPT_OUT
    )
    assert len(rows(unjudged_csv(ENV, night().unjudged))) == 3


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ('=HYPERLINK("http://x")', '\'=HYPERLINK("http://x")'),
        ("+49 30 1234", "'+49 30 1234"),
        ("-1+1", "'-1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\tx", "'\tx"),
        ("\r=1", "'\r=1"),
        ("\uff1d1+1", "'\uff1d1+1"),
        ("-12.5", "-12.5"),
        ("+3", "+3"),
        ("side A", "side A"),
        ("'=1", "'=1"),
        ("", ""),
    ],
)
def test_a_cell_a_spreadsheet_would_run_is_quoted(cell: str, written: str) -> None:
    assert harmless(cell) == written


@given(st.text(max_size=40))
def test_no_text_whatever_begins_as_a_formula(text: str) -> None:
    written = harmless(text)
    assert written == text or written == "'" + text
    assert PLAIN_NUMBER.fullmatch(written) or not written.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_a_hostile_export_cannot_reach_a_spreadsheet_as_a_formula() -> None:
    sheet = orders()[0]
    hostile = replace(sheet, machine=replace(sheet.machine, name="=cmd|' /C calc'!A0", area="@x"))
    row = rows(orders_csv(ENV, [hostile]))[0]
    assert row["machine_name"] == "'=cmd|' /C calc'!A0"
    assert row["area"] == "'@x"


@given(st.lists(st.tuples(st.text(max_size=20), st.text(max_size=20)), max_size=5))
def test_any_text_comes_back_from_the_file_as_it_went_in(pairs: list[tuple[str, str]]) -> None:
    text = table(("a", "b"), pairs).decode("utf-8")
    back = list(csv.reader(io.StringIO(text, newline="")))[1:]
    assert back == [[harmless(cell) for cell in pair] for pair in pairs]
