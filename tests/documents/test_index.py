"""The index: most urgent first, nothing silent, every row accounted for."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest
from tests.documents.plant import AS_OF, KEPT_OUT, TEMPLATES, night
from tests.documents.reading import Page, read

from takeup.documents.environment import environment
from takeup.documents.files import CLOSEOUT_COLUMNS
from takeup.documents.forecasts import forecasts_page
from takeup.documents.index import LONGEST_LIST, gap_sentence, grouped, index_page
from takeup.documents.sheets import CalibrationRecord, NightSheet
from takeup.model import Accounting, Answer, Fact, Feed, Urgency, Verdict

ENV = environment([TEMPLATES])


def page_of(sheet: NightSheet) -> Page:
    return read(index_page(ENV, sheet))


PAGE = page_of(night())


def test_the_page_closes_and_names_night_and_day() -> None:
    assert PAGE.open_left == []
    assert "Northbank Works · night 12" in PAGE.text
    assert "Chain work as of Mon 2 Mar 2026" in PAGE.text


def test_a_stop_word_in_a_row_kept_out_stands_at_the_very_top() -> None:
    body = PAGE.text.split("night 12", 1)[1]
    assert body.strip().startswith("Stop now, unread")
    top = PAGE.section("Stop now, unread", "Northbank Works")
    assert '<b>DC-12</b>,DC-12-A,2026-03-02,pin sheared off,head,severe,=HYPERLINK("x")' in top
    assert "round 2026-03-02.csv, line 3" in top
    assert "must not run" in top


def test_without_unread_rows_nothing_of_the_kind_is_shown() -> None:
    assert "unread" not in page_of(replace(night(), unread_stops=())).text


def test_orders_stand_under_their_urgency_most_urgent_first() -> None:
    headings = [" Stop now The machine", " This week ", " Next shutdown ", " Plan To be planned"]
    places = [PAGE.text.index(heading) for heading in headings]
    assert places == sorted(places)
    week = PAGE.text[places[1] : places[2]]
    for number in ("C-0002", "C-0004", "C-0006"):
        assert number in week
    assert "C-0001" in PAGE.text[places[0] : places[1]]


def test_an_urgency_without_orders_has_no_heading() -> None:
    calm = replace(
        night(),
        orders=tuple(one for one in night().orders if one.order.urgency is Urgency.PLAN),
        unread_stops=(),
    )
    page = page_of(calm)
    assert "2 open orders: 2 plan." in page.text
    assert "This week" not in page.text


def test_a_line_says_what_where_why_when_state_and_visit() -> None:
    line = PAGE.section(" Next shutdown ", "C-0007")
    for words in (
        "C-0003",
        "Replace the chain set: BE-31",
        "Meal elevator 3, Raw mill",
        "The chain of BE-31-A is to be ordered now: its limit may come as early as Mon 20 Apr 2026.",
        "And 1 more reason.",
        "Mon 13 Apr 2026",
        "Mon 26 Jan 2026",
        "past; order today, expedite",
        "Proposed",
        "Planned stop Spring stop",
    ):
        assert words in line
    assert "orders/C-0003.html" in PAGE.links


def test_a_register_that_is_incomplete_is_loud_on_the_line_of_the_order_and_blocks_nothing() -> None:
    lines = {line.sheet.order.number: line for group in grouped(ENV, night().orders) for line in group.lines}
    assert lines["C-0001"].lacking  # a machine without sources
    assert not lines["C-0004"].lacking  # a whole register
    assert lines["C-0008"].sheet.reminder is None  # correcting data locks nothing out
    assert not lines["C-0008"].lacking
    loud = "Lockout register incomplete"
    assert PAGE.text.count(loud) == sum(bool(line.lacking) for line in lines.values())
    alone = page_of(replace(night(), orders=(lines["C-0001"].sheet,), changes=())).text
    assert f"{loud}: what it lacks" in alone
    assert loud not in page_of(replace(night(), orders=(lines["C-0004"].sheet,), changes=())).text


def test_an_order_without_a_day_says_what_it_waits_for() -> None:
    sheet = next(one for one in night().orders if one.order.number == "C-0004")
    for urgency, words in (
        (Urgency.PLAN, "with the next stop of this machine"),
        (Urgency.NEXT_SHUTDOWN, "No planned stop that is long enough is known"),
    ):
        undated = replace(sheet, order=replace(sheet.order, need_by=None, urgency=urgency))
        assert words in page_of(replace(night(), orders=(undated,), changes=())).text


def test_an_order_that_is_part_of_another_says_so() -> None:
    assert "Part of C-0003" in PAGE.text.split("C-0005", 2)[2]


def test_what_changed_is_told_in_words_with_who_and_why() -> None:
    changed = PAGE.section("Changed since the last night", "Cannot be judged")
    assert "C-0003 Replace the chain set: BE-31 Revised: need by Mon 4 May 2026 → Mon 13 Apr 2026." in changed
    assert "Done. By shift fitter. “all joints wetted”" in changed
    assert "orders/C-0000.html" not in PAGE.links


def test_what_cannot_be_judged_says_what_is_missing() -> None:
    section = PAGE.section("Silence is not health. No verdict", "Rows kept out")
    assert "AF-02 The last survey of AF-02-A is older than twice its interval." in section
    assert "nothing is known of this chain today. a limit coming and wear limits" in section
    assert "Wanting in the register: the travel of the take-up." in section


def test_strands_that_want_the_same_are_told_in_one_line() -> None:
    """Three without teeth and one without travel are two lines, however many questions they leave open."""
    teeth = (Fact("missing", ("teeth_tail",), "words"),)
    unsure = {"answer": Answer.CANNOT_JUDGE, "reason": "limit_unsure", "facts": teeth}
    asked = [
        Verdict(rule, "strand", strand, machine=strand[:5], **unsure)
        for rule in ("wear_limit", "limit_coming")
        for strand in ("BE-31-A", "BE-31-B", "BE-32-A")
    ]
    other = night().unjudged[-1]
    page = page_of(replace(night(), unjudged=(other, *asked)))
    section = page.section("Silence is not health. No verdict", "Rows kept out")
    assert section.count("3 strands") == 2  # the two rules say it in sentences of their own
    assert "Each of these strands is below the most that its limit of fit can be" in section
    assert "Wanting in the register: the teeth of the tail sprocket." in section
    assert section.count("BE-31-A, BE-31-B, BE-32-A") == 2
    assert section.index("3 strands") < section.index("the travel of the take-up")


def test_every_row_kept_out_stands_with_reason_file_line_and_raw_text() -> None:
    section = PAGE.section("These rows were delivered", "Files of this night")
    for row in KEPT_OUT:
        assert f"{row.file}, line {row.line}" in section
        assert row.raw in section
        assert f"{row.state.capitalize()}." in section


def test_a_long_list_ends_with_where_the_rest_stands() -> None:
    many = tuple(replace(KEPT_OUT[0], line=line) for line in range(1, LONGEST_LIST + 31))
    page = page_of(replace(night(), kept_out=(*many, KEPT_OUT[2])))
    assert f"line {LONGEST_LIST - 1} " in page.text
    assert f"line {LONGEST_LIST} " not in page.text
    assert "And 31 more rows in kept_out.csv." in page.text
    assert "131 rows kept out" in page.text


def test_row_accounting_is_shown_file_by_file() -> None:
    assert "survey 2026-03.csv elongation readings 48 44 1 0 3 0" in PAGE.text


def test_files_refused_closed_keys_and_silent_exports_are_told() -> None:
    assert (
        "strands 2026-03.csv (strand register): This whole export was not used, because it looks cut short: "
        "31 of 120 keys missing, at most one in ten missing." in PAGE.text
    )
    assert 'delivery = "increment"' in PAGE.text
    assert "Machines: HD-05 (machines 2026-03.csv)" in PAGE.text
    assert "Run hours: last delivered with night 9 (as of Fri 20 Feb 2026)" in PAGE.text
    assert "Sprocket checks: never delivered" in PAGE.text
    assert "No order is withdrawn because of silence." in PAGE.text


def test_the_record_of_past_forecasts_is_shown() -> None:
    section = PAGE.section("The record of forecasts", "Files beside this page")
    assert "Table 7, renewed as of Sun 1 Mar 2026, from 48 lives" in section
    assert "forecasts.html" in PAGE.links
    record = night().calibration
    assert record is not None
    page = read(forecasts_page(ENV, record))
    assert page.open_left == []
    assert "Chains with a wear rate of their own" in page.text
    assert "25 to 50 % 212 31 48 0.70 1.62" in page.text
    assert "85 % and more 188 0 44 0.78 1.44" in page.text
    young = page_of(replace(night(), calibration=CalibrationRecord(1, None, 4, True))).text
    assert "4 lives on record: too few" in young


@pytest.mark.parametrize(
    ("previous", "words"),
    [
        (None, "The first night told."),
        (AS_OF, "Told again for the same day"),
        (date(2026, 3, 1), "The day after the last night told."),
        (date(2026, 2, 28), "the day between, Sun 1 Mar 2026, was not told"),
        (
            date(2026, 2, 20),
            "the 9 days between, Sat 21 Feb 2026 to Sun 1 Mar 2026, were not told one by one",
        ),
    ],
    ids=["first", "again", "next", "one missed", "nine missed"],
)
def test_the_gap_since_the_last_night_is_stated(previous: date | None, words: str) -> None:
    assert words in gap_sentence(ENV, replace(night(), previous_as_of=previous))


def test_no_code_of_the_program_reaches_the_index() -> None:
    """Raw rows, column names of an export and names of files are what people look for."""
    text = PAGE.text
    for row in KEPT_OUT:
        text = text.replace(row.raw, "").replace(f"The column {row.column} ", "The column ")
    named = {"closeouts_to_fill.csv", "kept_out.csv", "cannot_judge.csv", *CLOSEOUT_COLUMNS}
    assert set(re.findall(r"\b[a-z]+(?:_[a-z]+)+(?:\.csv)?\b|\bJ[1-8]\b", text)) - named == set()


def test_a_quiet_night_says_so_in_full() -> None:
    text = page_of(NightSheet("Northbank Works", 13, AS_OF, AS_OF)).text
    for words in (
        "No order is open.",
        "Changed since the last night Nothing.",
        "every question had an answer",
        "Rows kept out None.",
        "No file arrived.",
        "Silent exports None.",
    ):
        assert words in text


def test_every_feed_can_be_accounted_for() -> None:
    files = tuple(Accounting(f"{feed}.csv", "0", feed, 1, 1) for feed in Feed)
    text = page_of(replace(night(), accounting=files)).text
    assert all(f"{feed}.csv" in text for feed in Feed)
