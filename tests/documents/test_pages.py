"""A work order says what, where, why, when, with what and how, in words; data in it stays data."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from datetime import date
from functools import cache

import pytest
from tests.documents.plant import COMING, TEMPLATES, finding, orders, reason
from tests.documents.plant import order as make_order
from tests.documents.reading import Page, read

from takeup.documents.environment import environment
from takeup.documents.files import CLOSEOUT_COLUMNS
from takeup.documents.pages import evidence_parts, exposure, order_page, seen
from takeup.documents.sheets import EvidenceLine, MachineSheet, OrderSheet, OtherOrder, ReminderSheet
from takeup.errors import OurFault
from takeup.model import Fact, Job, OrderState, Reason, Urgency

ENV = environment([TEMPLATES])
SHEETS = {sheet.order.job: sheet for sheet in orders()}
HOSTILE = "</title><script>alert(1)</script>{{ 7 * 7 }}{% raw %}\"'&lt;"


@cache
def page_of(sheet: OrderSheet) -> Page:
    return read(order_page(ENV, sheet))


@pytest.mark.parametrize("job", list(Job))
def test_every_kind_of_job_has_its_page(job: Job) -> None:
    sheet = SHEETS[job]
    page = page_of(sheet)
    assert page.open_left == []
    assert len(page.ids) == len(set(page.ids))
    headings = ["Why", "Before the work", "What to do", "What it takes", "Good when", "Record at close-out"]
    headings += ["Signatures", "The readings, and what was reckoned from them"][: 2 if sheet.series else 1]
    # What the fitter takes along comes first, what it rests on last.
    places = [page.text.index(f" {heading} ") for heading in (*headings, "What this rests on")]
    assert places == sorted(places)
    assert page.text.startswith(f"{sheet.order.number}: {ENV.filters['word'](job, 'job')}")
    for part in ("People", "Duration", "Signed for", "State of the machine"):
        assert part in page.text


@pytest.mark.parametrize("job", list(Job))
def test_no_code_of_the_program_reaches_a_page(job: Job) -> None:
    """But for names of files and settings, which people look for by those names."""
    named = {"closeouts_to_fill.csv", "energy_sources.csv", "inspection_findings.csv"}
    named |= {"plan_part", "pin_share", "margin_days", *CLOSEOUT_COLUMNS}
    text = page_of(SHEETS[job]).text
    found = set(re.findall(r"\b[a-z]+(?:_[a-z]+)+(?:\.csv)?\b|\bJ[1-8]\b", text)) - named
    assert found == set()


def test_orders_of_one_chain_name_each_other_and_what_holds_them() -> None:
    lube, fracture = SHEETS[Job.LUBRICATE], SHEETS[Job.INVESTIGATE_FRACTURE]
    number = fracture.order.number
    waiting = page_of(replace(lube, waits_for=(number,))).text
    assert f"Not before {number} is closed" in waiting
    assert "dry and unbrushed" in waiting
    assert "Not before" not in page_of(lube).text
    holding = page_of(replace(fracture, holds=(OtherOrder.of(lube.order),))).text
    assert f"Holds {lube.order.number} lubricate" in holding
    also = page_of(replace(lube, same_chain=(OtherOrder.of(SHEETS[Job.REPLACE_SET].order),))).text
    assert f"Same chain see also {SHEETS[Job.REPLACE_SET].order.number} replace" in also


def test_an_early_date_that_is_past_asks_to_stop_and_measure_first() -> None:
    sheet = SHEETS[Job.REPLACE_SET]
    assert "Stop and measure" not in page_of(sheet).text
    text = page_of(replace(sheet, early_past=date(2026, 3, 1))).text
    assert text.index("Stop and measure before it runs on") < text.index("Urgency")
    assert "early date Sun 1 Mar 2026" in text


@pytest.mark.parametrize(
    ("job", "case"), [(Job.CORRECT_DATA, "unread"), (Job.INVESTIGATE_FRACTURE, "unread_stop")]
)
def test_words_nobody_has_read_are_read_with_the_writer_first(job: Job, case: str) -> None:
    facts = (Fact("seen_on", date(2026, 3, 1)), Fact("as_written", "one sidebar cracked??"))
    order = replace(SHEETS[job].order, reasons=(reason("abnormal_finding", "BE-31-A", case, *facts),))
    text = page_of(replace(SHEETS[job], order=order)).text
    steps = text[text.index("What to do") :]
    assert steps.index("with the person who wrote them, and look") < 150
    assert "as_found" in steps[: steps.index("What it takes")]
    assert "with the person who wrote them, and look" not in page_of(SHEETS[job]).text


def test_a_need_by_that_is_over_says_so_and_one_put_off_names_its_day() -> None:
    sheet = SHEETS[Job.REPLACE_SET]
    over = replace(sheet, past=True)
    assert "the work was to be done by then" not in page_of(sheet).text
    assert "past: the work was to be done by then, and is still to be done" in page_of(over).text
    later = replace(sheet.order, state=OrderState.DEFERRED, until=date(2026, 12, 1))
    assert "put off until Tue 1 Dec 2026" in page_of(replace(over, order=later)).text


@pytest.mark.parametrize("job", list(Job))
def test_pages_print_dates_and_no_countdown(job: Job) -> None:
    """A count of days to a date would be wrong the next morning."""
    assert not re.search(
        r"\bin \d+ days\b|days left|days ago|\btomorrow\b|overdue by", page_of(SHEETS[job]).text
    )


def test_the_arithmetic_stands_in_the_why() -> None:
    why = page_of(SHEETS[Job.REPLACE_SET]).section(" Why ", " Strand BE-31-A ")
    for words in (
        "1.552 ± 0.112 %",
        "1.969 %, set by the depth of the hardened case",
        "0.267 % per 1000 h",
        "as early as Mon 20 Apr 2026",
        "70 days lead time and 14 days margin",
    ):
        assert words in why


def test_a_buy_by_that_is_past_says_order_today_and_the_exposure_as_dates() -> None:
    text = page_of(SHEETS[Job.REPLACE_SET]).text
    past = "past before this order was raised, on Fri 27 Feb 2026. Order today, and expedite."
    assert f"Mon 26 Jan 2026: {past}" in text
    # Nobody ordered on the day of raising: the way of a set counts from the day the dates are reckoned from.
    way = (
        "A set ordered on Mon 2 Mar 2026, from which day these dates are reckoned, would arrive about Mon 11"
    )
    assert text.count(way) == 1
    assert text.count("The plant is exposed from Mon 20 Apr 2026 until Mon 11 May 2026.") == 1
    assert text.count("exposed") == 1


def test_a_buy_by_still_ahead_asks_for_no_haste() -> None:
    sheet = SHEETS[Job.REPLACE_SET]
    calm = replace(
        sheet,
        order=replace(
            sheet.order,
            buy_by=date(2026, 3, 26),
            reasons=(reason("limit_coming", "A", "buy_by_reached", *COMING),),
        ),
    )
    text = page_of(calm).text
    assert "Thu 26 Mar 2026: the parts must be ordered by then" in text
    assert "expedite" not in text


def test_forecasts_made_at_a_stage_and_lent_ones_are_counted_apart() -> None:
    text = page_of(SHEETS[Job.REPLACE_SET]).text
    assert text.count("9 made at this stage and 203 lent by the others, of which 95 %") >= 2


def test_the_worst_of_several_exposures_is_told() -> None:
    later = tuple(
        replace(fact, value=date(2026, 9, 1)) if fact.name == "early_on" else fact for fact in COMING
    )
    order = replace(
        SHEETS[Job.REPLACE_SET].order,
        reasons=(Reason("limit_coming", "A", "x", later), Reason("limit_coming", "B", "x", COMING)),
    )
    found = exposure(order)
    assert found is not None
    assert found.early_on == date(2026, 4, 20)
    # Raised again, revised again or told on another night, the days are the same.
    assert exposure(replace(order, revised_as_of=date(2026, 3, 9), set_here_on=date(2026, 9, 1))) == found
    assert exposure(replace(order, reasons=(Reason("limit_coming", "A", "x", COMING[:3]),))) is None
    assert exposure(replace(order, buy_by=order.raised_as_of)) is None


def test_every_default_is_listed_once_with_its_sentence_and_the_status_of_its_source() -> None:
    sheet = SHEETS[Job.REPLACE_SET]
    page = page_of(sheet).section("Defaults used", "The site's own values")
    used = [fact for one in (*sheet.order.reasons, *sheet.series) for fact in one.settings]
    assert any(not fact.is_default for fact in used)
    for fact in used:
        assert page.count(f"({fact.name})") == int(fact.is_default)
    assert (
        "The pin's share of the joint's wear until a joint has been sectioned. (limits.pin_share) 0.5 "
        "proposed for takeup, no source" in page
    )
    assert "Margin on top of the lead time. (planning.margin_days) 14 days common practice, no source" in page


def test_an_override_is_printed_with_reason_by_whom_on_and_review_by() -> None:
    text = page_of(SHEETS[Job.REPLACE_SET]).text
    assert (
        "two spring stops were missed in a row; chain steward, Mon 1 Sep 2025; review by Tue 1 Sep 2026"
        in text
    )


def test_the_rows_behind_an_order_are_named_to_file_and_line() -> None:
    assert "Elongation readings: survey 2026-03.csv, lines 2 to 9" in page_of(SHEETS[Job.REPLACE_SET]).text
    assert "Elongation readings: survey 2026-03.csv, line 2" in page_of(SHEETS[Job.INVESTIGATE_FRACTURE]).text


def test_the_table_beside_the_chart_holds_every_survey_and_limit() -> None:
    sheet = SHEETS[Job.REPLACE_SET]
    text = page_of(sheet).text
    for series in sheet.series:
        assert f"Strand {series.strand}" in text
        for point in series.surveys:
            assert f"{point.hours:.0f} {point.wear_percent:.3f} % ± {point.uncertainty_percent:.3f} %" in text
        for limit in series.limits:
            assert limit.percent is None or f"{limit.percent:.3f} %" in text
    assert "not judged wanting: the thickness of the chrome" in text


def test_other_jobs_of_the_visit_and_swallowed_orders_are_linked() -> None:
    page = page_of(SHEETS[Job.REPLACE_SET])
    assert "C-0005.html" in page.links
    assert "Takes in C-0005 measure the chain" in page.text
    assert "Part of order C-0003" in page_of(SHEETS[Job.MEASURE]).text


def test_an_incomplete_lockout_register_shows_on_the_order_itself() -> None:
    assert "Lockout reminder for this order: incomplete" in page_of(SHEETS[Job.REPLACE_SET]).text
    assert "Lockout reminder for this order. It is" in page_of(SHEETS[Job.ADJUST_TAKEUP]).text


@pytest.mark.parametrize("job", [job for job in Job if job is not Job.CORRECT_DATA])
def test_cautions_defer_to_law_maker_and_authorised_people(job: Job) -> None:
    cautions = page_of(SHEETS[job]).section("Cautions", "What to do")
    assert "Local law, the site's rules, the maker's instructions and authorised people decide" in cautions
    assert "Never stand in line with a chain under pull" in cautions


def test_duty_adds_its_own_permits_and_cautions() -> None:
    assert "Confined-space entry" in page_of(SHEETS[Job.REPLACE_SET]).text
    assert "Combustible dust: no grinding" in page_of(SHEETS[Job.LUBRICATE]).text
    assert "Confined-space entry" not in page_of(SHEETS[Job.LUBRICATE]).text


def test_a_finding_is_told_with_what_not_to_conclude() -> None:
    text = page_of(SHEETS[Job.INSPECT_ALIGNMENT]).text
    assert "Do not conclude: that the chain is of poor quality." in text
    assert seen(SHEETS[Job.INSPECT_ALIGNMENT].order.reasons) == ["side_rub"]


def test_data_never_becomes_markup_or_a_template() -> None:
    """Every text of a sheet that comes from exports, settings or people is put in hostile."""
    sheet = SHEETS[Job.REPLACE_SET]
    machine = MachineSheet(HOSTILE, HOSTILE, "bucket_elevator", HOSTILE, (), (HOSTILE,))
    reminder = sheet.reminder
    assert reminder is not None
    sources = tuple(
        replace(
            source,
            **{field.name: HOSTILE for field in fields(source) if field.name in ("source", "magnitude")},
        )
        for source in reminder.sources
    )
    hostile = replace(
        sheet,
        machine=machine,
        series=tuple(replace(one, strand=HOSTILE, set=HOSTILE) for one in sheet.series[:1]),
        overrides=tuple(
            replace(line, reason=HOSTILE, by=HOSTILE, applies_to=HOSTILE) for line in sheet.overrides
        ),
        evidence=tuple(replace(line, file=HOSTILE) for line in sheet.evidence),
        reminder=ReminderSheet(reminder.order, machine, sources),
        order=replace(
            sheet.order,
            subject=HOSTILE,
            machine=HOSTILE,
            strands=(HOSTILE,),
            shutdown=HOSTILE,
            reasons=(
                reason(
                    "limit_coming",
                    HOSTILE,
                    "buy_by_reached",
                    *COMING,
                    Fact("shutdown", HOSTILE, "word", HOSTILE),
                ),
                reason(
                    "abnormal_finding",
                    HOSTILE,
                    "soon",
                    Fact("finding", "side_rub", "word"),
                    Fact("seen_on", date(2026, 3, 1), "day"),
                    Fact("place", HOSTILE, "word"),
                    Fact("remark", HOSTILE, "word"),
                ),
            ),
        ),
    )
    html = order_page(ENV, hostile)
    page = read(html)
    assert "script" not in page.tags
    assert page.open_left == []
    assert "49" not in re.sub(r"[\d.]*49[\d.]+|[\d.]+49[\d.]*", "", page.section(" Why ", " Signatures "))
    assert page.text.count("<script>alert(1)</script>{{ 7 * 7 }}{% raw %}\"'&lt;") > 20


def test_a_missing_word_stops_the_page_instead_of_showing_a_code() -> None:
    sheet = SHEETS[Job.REPLACE_SET]
    with pytest.raises(OurFault, match="the limit 'rust_depth' has no name"):
        order_page(ENV, replace(sheet, order=replace(sheet.order, governing="rust_depth")))


def test_a_part_that_a_sites_rule_names_in_words_is_printed_as_it_is() -> None:
    sheet = SHEETS[Job.SPROCKETS]
    named = replace(sheet, order=replace(sheet.order, parts=("sprockets", "Shrink disc, size 80")))
    assert "unless they are reversed; Shrink disc, size 80" in page_of(named).text


def test_a_site_may_replace_one_template_and_keep_the_rest(tmp_path) -> None:
    (tmp_path / "cautions.html.j2").write_text("<li>Ask the shift foreman first.</li>\n", encoding="utf-8")
    text = read(order_page(environment([tmp_path, TEMPLATES]), SHEETS[Job.SPROCKETS])).text
    assert "Ask the shift foreman first." in text
    assert "Gauge both faces of the teeth" in text


# ------------------------------------------------------------------------------------ the fracture rule


def test_a_fracture_order_looks_at_the_whole_system_and_ends_with_restart_authority() -> None:
    page = page_of(SHEETS[Job.INVESTIGATE_FRACTURE])
    steps = page.section("What to do", "What it takes")
    for words in (
        "the whole system",
        "overload, impact, alignment",
        "paired strand",
        "dry, unbrushed",
        "sectioned",
    ):
        assert words in steps
    assert steps.strip().endswith("The person with restart authority signs the restart.")
    assert "Restart authority" in page.section("Signed for", "What this rests on")
    assert "not started again before the person with restart authority has signed" in page.text


def test_a_stop_order_whose_meter_runs_on_says_so_before_anything_else() -> None:
    told = page_of(SHEETS[Job.INVESTIGATE_FRACTURE])
    says = "The meter shows 36 run hours since (readings of Sun 1 Mar 2026 and Tue 3 Mar 2026)"
    assert says in told.text.partition("Urgency")[0]
    assert "if this machine runs, stop it, or record who decided that it may run" in told.text
    assert "run hours since" not in page_of(SHEETS[Job.MEASURE]).text.partition("Urgency")[0]


def test_a_temporary_link_is_only_a_signed_step_of_a_fracture_order() -> None:
    for path in TEMPLATES.rglob("*.j2"):
        text = path.read_text(encoding="utf-8")
        if re.search(r"temporary link", text, re.IGNORECASE):
            assert path.name == "investigate_fracture.html.j2"
            assert "only as a step of this order and only signed for by the responsible person" in text


LINK_SWAP = re.compile(
    r"(replace|renew|swap|change|mend|repair|weld)\w* (the |a |one |any )?(broken |cracked |bad |damaged )?"
    r"(link|pin|bushing|sidebar)s?\b",
    re.IGNORECASE,
)


def test_no_template_tells_anybody_to_replace_the_link() -> None:
    for path in TEMPLATES.rglob("*.j2"):
        text = re.sub(r"\{%.*?%\}", " ", path.read_text(encoding="utf-8"))
        assert not LINK_SWAP.search(text), path


@pytest.mark.parametrize("word", ["broken_pin", "cracked_bushing", "slack"])
def test_the_page_of_any_fracture_word_warns_what_not_to_conclude(word: str) -> None:
    sheet = SHEETS[Job.INVESTIGATE_FRACTURE]
    facts = tuple(
        replace(fact, value=word if fact.name == "finding" else (word,))
        if fact.name in ("finding", "findings")
        else fact
        for fact in sheet.order.reasons[0].facts
    )
    changed = replace(
        sheet, order=replace(sheet.order, reasons=(replace(sheet.order.reasons[0], facts=facts),))
    )
    text = page_of(changed).text
    assert "Do not conclude: " in text
    assert "the whole system is looked at before anyone restarts" in text


def test_an_order_without_any_reason_fact_or_series_still_reads() -> None:
    bare = OrderSheet(
        make_order("C-0009", Job.MEASURE, "M", MachineSheet("M"), Urgency.PLAN), MachineSheet("M")
    )
    page = page_of(bare)
    assert page.open_left == []
    assert "None" not in page.text


def test_the_rows_behind_an_order_stand_by_file_and_two_of_one_name_are_told_apart() -> None:
    def line(number: int, sha256: str = "a" * 64, file: str = "run_hours.csv") -> EvidenceLine:
        return EvidenceLine(number, "run_hours", file, number, sha256)

    def rows(*lines: EvidenceLine) -> list[tuple[str, str, str]]:
        (part,) = evidence_parts(lines)
        return [(one.file, one.sha256[0], one.lines) for one in part.rows]

    assert rows(line(4), line(5), line(9)) == [("run_hours.csv", "a", "4 to 5 and 9")]
    assert rows(line(4), line(4, "b" * 64), line(0, "c" * 64, "torn.csv")) == [
        ("run_hours.csv", "a", "4"),
        ("run_hours.csv", "b", "4"),
        ("torn.csv", "c", ""),
    ]


def test_the_rows_behind_an_order_stand_by_the_part_they_play() -> None:
    def line(number: int, feed: str, part: str) -> EvidenceLine:
        return EvidenceLine(number, feed, f"{feed}.csv", number, "a" * 64, part)

    lines = [
        line(7, "run_hours", "meter"),
        line(5, "elongation_readings", "baseline"),
        line(3, "elongation_readings", "survey"),
        line(2, "strands", "register"),
    ]
    assert [part.name for part in evidence_parts(lines)] == ["register", "survey", "baseline", "meter"]
    sheet = replace(SHEETS[Job.REPLACE_SET], evidence=tuple(lines))
    text = page_of(sheet).text
    assert text.count(f"(SHA-256 {'a' * 12})") == len(lines)
    assert "The archive keeps every file as it came, under its SHA-256" in text
    for said in ("Baseline survey", "Latest survey", "Meter readings between which hours are reckoned"):
        assert said in text


def test_an_order_to_lubricate_says_how_much_of_what_for_each_strand() -> None:
    sheet = SHEETS[Job.LUBRICATE]
    (late,) = sheet.order.reasons
    kept = tuple(fact for fact in late.facts if not fact.name.endswith("_ml"))
    other = replace(late, subject="HD-07-B", facts=kept)
    text = page_of(replace(sheet, order=replace(sheet.order, reasons=(late, other)))).text
    assert "ISO VG 220 mineral oil, 48.0 mL planned" in text
    assert "ISO VG 220 mineral oil, quantity not in the register" in text
    assert "Between 24.0 mL and 96.0 mL went into HD-07-A." in text
    assert "went into HD-07-B" not in text
    assert "at the last 3 lubrications: they count as done, with low confidence" in text


def test_an_order_to_lubricate_for_what_was_seen_on_a_machine_leaves_the_plan_to_each_strand() -> None:
    sheet = SHEETS[Job.LUBRICATE]
    seen = reason("abnormal_finding", "HD-07", "soon", *finding("hot_joint", "hot joint", "HD-07", "soon"))
    text = page_of(replace(sheet, order=replace(sheet.order, reasons=(seen,)))).text
    assert "kind and quantity as planned for each strand" in text
