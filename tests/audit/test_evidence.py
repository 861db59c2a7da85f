"""The evidence of a strand: charts, and the table behind them down to the cell of the export."""

from __future__ import annotations

import base64
import csv
import html
import io
import re
from collections import defaultdict

import pytest
from tests.documents.plant import TEMPLATES, evidence, strand_answer
from tests.documents.reading import read
from tests.night import plant
from tests.night.told import told

from takeup.derive.derivation import strand_marks
from takeup.documents.whypages import strand_page_alone
from takeup.night.lines import text_lines
from takeup.site import Site
from takeup.site.reading import reading_store
from takeup.why import _Known, why

STRANDS = ("EL-11-A", "FE-32-B", "SL-61-A")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return told(tmp_path_factory.mktemp("evidence") / "s", 2)


@pytest.fixture(scope="module")
def pages(site: Site) -> dict[str, str]:
    return {strand: why(site, strand).page() for strand in STRANDS}


def tables(page: str) -> dict[str, list[dict[str, str]]]:
    """The CSV files that a page holds, by the name under which they are saved."""
    found = re.findall(r'download="([^"]+)" href="data:text/csv;charset=utf-8;base64,([^"]+)"', page)
    return {
        name: list(csv.DictReader(io.StringIO(base64.b64decode(text).decode("utf-8"), newline="")))
        for name, text in found
    }


def test_a_mark_in_the_table_is_the_cell_of_the_export(site: Site, pages: dict[str, str]) -> None:
    """Taken from the archive by the SHA-256 and the line that the page names, under its own header."""
    taken = {
        one["file"]: one["sha256"]
        for night in site.nights()
        for one in night["accounting"]
        if one["feed"] == "elongation_readings"
    }
    compared = 0
    for page in pages.values():
        for row in tables(page)["surveys.csv"]:
            if not row["length_mm"] or row["file"].startswith(
                ("tape", "drives")
            ):  # those have headers of their own
                continue
            lines = text_lines(site.folders.archive, taken[row["file"]], ("utf-8",))
            header, cells = (next(csv.reader([text])) for text in (lines[0], lines[int(row["line"]) - 1]))
            delivered = dict(zip(header, cells, strict=True))
            assert float(delivered["length_mm"]) == float(row["length_mm"])
            assert (delivered["strand"], delivered["mark"]) == (row["strand"], row["mark"])
            assert delivered["measured_at"].startswith(row["day"])
            compared += 1
    assert compared > 50


def test_the_marks_of_a_survey_have_its_mean(pages: dict[str, str]) -> None:
    for page in pages.values():
        marks = defaultdict(list)
        rows = tables(page)["surveys.csv"]
        for row in rows:
            if row["mark"] != "mean of the marks" and row["used"] == "yes":
                marks[row["day"], row["occasion"]].append(float(row["elongation_percent"]))
        means = [row for row in rows if row["mark"] == "mean of the marks" and row["used"] == "yes"]
        assert len(means) >= 8
        for row in means:
            told_ = marks[row["day"], row["occasion"]]
            assert sum(told_) / len(told_) == pytest.approx(float(row["elongation_percent"]), abs=1.5e-6)


def test_every_survey_and_event_on_the_page_is_in_the_table(pages: dict[str, str]) -> None:
    for strand, page in pages.items():
        text = read(page).text
        for row in tables(page)["events.csv"]:
            assert row["strand"] == strand
            assert row["what"] in html.unescape(text)
        rows = [row for row in tables(page)["surveys.csv"] if row["mark"] == "mean of the marks"]
        assert sum(row["used"] == "yes" for row in rows) >= 8
        for row in rows:
            if row["elongation_percent"]:
                assert f"{float(row['elongation_percent']):.3f} ±".replace("-", "−") in text
        assert page.count("<svg") == 2


def test_an_order_and_a_finding_of_the_strand_are_among_the_events(pages: dict[str, str]) -> None:
    kinds = {row["kind"] for row in tables(pages["FE-32-B"])["events.csv"]}
    assert {"finding", "order"} <= kinds
    assert "lubrication" in {row["kind"] for row in tables(pages["SL-61-A"])["events.csv"]}


def test_a_past_night_shows_no_later_event(site: Site) -> None:
    first = plant.NIGHTS[0]
    page = why(site, "FE-32-B", as_of=first).page()
    days = [row["day"] for name in ("events.csv", "surveys.csv") for row in tables(page)[name]]
    assert max(days) <= first.isoformat()
    later = why(site, "FE-32-B").page()
    assert max(row["day"] for row in tables(later)["events.csv"]) > first.isoformat()


def test_marks_are_those_that_the_surveys_are_made_of(site: Site) -> None:
    with reading_store(site.folders, "a test", 60) as store:
        nights = site.nights()
        known = _Known(site, store, nights, len(nights) - 1)
        wanted = set(known.derived.surveys["strand"])
        marks = strand_marks(
            store,
            known.derived,
            wanted,
            night=known.night,
            as_of=known.as_of,
            settings=known.settings.measuring,
        )
    standing = marks[marks["stands"]].groupby(["life_id", "day", "occasion"])["e_wear"].agg(["mean", "size"])
    surveys = known.derived.surveys[known.derived.surveys["usable"]].set_index(["life_id", "day", "occasion"])
    both = surveys.join(standing, how="inner")
    assert len(both) == len(surveys) > 50
    assert (both["size"] == both["n_marks"]).all()
    assert (both["mean"] - both["e_wear_mean"]).abs().max() < 1.5e-6


def test_what_people_wrote_stays_text_on_the_page() -> None:
    page = strand_page_alone(strand_answer(), evidence(), [TEMPLATES])
    assert "survey <2026>.csv line 4 to 5" in html.unescape(page)
    assert "<b>" not in page
    told_ = read(page)
    assert told_.open_left == []
    assert len(told_.ids) == len(set(told_.ids))
    assert "Order C-0003 asks for it. " in told_.text
    assert "these rules answer otherwise than that night stored" in told_.text
