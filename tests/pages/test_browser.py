"""The pages in a real browser: nothing fetched, nothing wrong, readable on a telephone and on paper."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from tests.documents.plant import TEMPLATES, evidence, head, night, strand_answer

from takeup.documents.publish import publish
from takeup.documents.whypages import strand_page_alone

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize

#: the index, an order with charts, a fracture, one about records only, a reminder with gaps, why two stand,
#: a strand as it is told on demand, pages to look up
PAGES = (
    "index.html",
    "orders/C-0001.html",
    "orders/C-0003.html",
    "orders/C-0008.html",
    "reminders/C-0003.html",
    "why/C-0003.html",
    "why/C-0008.html",
    "strand.html",
    "forecasts.html",
    "glossary.html",
)
PHONE: ViewportSize = {"width": 360, "height": 740}
DESK: ViewportSize = {"width": 1200, "height": 900}


@pytest.fixture(scope="module")
def queue(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("queue") / "12"
    publish(night(), folder, None, [TEMPLATES], head)
    page = strand_page_alone(strand_answer(), evidence(), [TEMPLATES])
    (folder / "strand.html").write_text(page, encoding="utf-8")
    return folder


@pytest.fixture(scope="module", params=[True, False], ids=["script allowed", "no script"])
def context(browser: Browser, request: pytest.FixtureRequest) -> Iterator[BrowserContext]:
    context = browser.new_context(java_script_enabled=request.param, viewport=DESK)
    yield context
    context.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    page = context.new_page()
    yield page
    page.close()


@pytest.fixture(scope="module")
def measured(browser: Browser) -> Iterator[Page]:
    """A page in which the tests, not the page, run script; our pages' own policy allows none."""
    page = browser.new_page(bypass_csp=True)
    yield page
    page.close()


@pytest.mark.parametrize("name", PAGES)
def test_a_page_opens_without_a_request_or_an_error(page: Page, queue: Path, name: str) -> None:
    requests: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto((queue / name).as_uri())
    assert requests == [(queue / name).as_uri()]
    assert complaints == []
    assert page.locator("h1").count() == 1
    assert page.locator("h1").inner_text()


@pytest.mark.parametrize("name", PAGES)
def test_every_link_of_a_page_leads_somewhere_in_the_queue(page: Page, queue: Path, name: str) -> None:
    page.goto((queue / name).as_uri())
    for link in page.locator("a").all():
        target = link.get_attribute("href") or ""
        path, _, place = target.partition("#")
        if path.startswith("data:text/csv;"):
            assert link.get_attribute("download").endswith(".csv")
        elif path:
            assert ((queue / name).parent / path).resolve().is_relative_to(queue.resolve())
            assert ((queue / name).parent / path).is_file(), target
        else:
            assert page.locator(f"#{place}").count() == 1


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["telephone", "desk"])
def test_no_page_breaks_a_rule_of_accessibility(
    measured: Page, queue: Path, name: str, viewport: ViewportSize
) -> None:
    """All rules of axe, the open checker, in the version that the lock pins."""
    measured.set_viewport_size(viewport)
    measured.goto((queue / name).as_uri())
    found = Axe().run(measured)
    assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("name", PAGES)
def test_no_page_scrolls_sideways_and_text_stays_readable(measured: Page, queue: Path, name: str) -> None:
    measured.goto((queue / name).as_uri())
    for width in (360, 480, 704, 705, 1200):
        measured.set_viewport_size({"width": width, "height": 740})
        assert measured.evaluate("document.documentElement.scrollWidth") <= width
        # A table wider than the screen scrolls inside its own frame, which the keyboard reaches.
        assert measured.evaluate(TABLES_OUT_OF_FRAME) == 0
        assert measured.evaluate(SMALLEST_TEXT) >= 13


TABLES_OUT_OF_FRAME = """
    [...document.querySelectorAll('table')].filter(
        table => table.getBoundingClientRect().right > innerWidth + 1 && !table.closest('.wide[tabindex="0"]')
    ).length
"""
SMALLEST_TEXT = """
    Math.min(...[...document.querySelectorAll('p, li, td, th, dd, dt, h1, h2, h3, figcaption')]
        .filter(element => element.innerText.trim())
        .map(element => parseFloat(getComputedStyle(element).fontSize)))
"""
#: what reaches past the paper, or is cut by a box of its own
CUT_OFF = """
    width => [...document.querySelectorAll('table, th, td, p, li, dd, svg, h1, h2, h3, code, .raw')]
        .filter(element => element.getBoundingClientRect().right > width + 1
            || (element.tagName !== 'svg' && element.clientWidth > 0
                && element.scrollWidth > element.clientWidth + 1))
        .map(element => element.tagName + ': ' + element.innerText.slice(0, 60))
"""
COLOURS = (
    "[...new Set([...document.querySelectorAll('body *')].map(element => getComputedStyle(element).color))]"
)

#: paper and its width in CSS pixels, 96 to the inch; the print rules leave 15 mm on either side
PAPERS = {"A4": 210 / 25.4 * 96, "Letter": 8.5 * 96}
MARGINS = 2 * 15 / 25.4 * 96


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_cut_off_on_paper(browser: Browser, queue: Path, name: str) -> None:
    """Laid out for print between the margins, nothing reaches past them, and ink is black or grey."""
    page = browser.new_page()
    try:
        page.emulate_media(media="print")
        page.goto((queue / name).as_uri())
        for paper, across in PAPERS.items():
            width = int(across - MARGINS)
            page.set_viewport_size({"width": width, "height": 1000})
            assert page.evaluate(CUT_OFF, width) == []
            assert page.pdf(format=paper).startswith(b"%PDF")
        for colour in page.evaluate(COLOURS):
            assert len(set(colour.removeprefix("rgb(").removesuffix(")").split(", "))) == 1, colour
    finally:
        page.close()


BEGINNING = """
    () => { let rest = false; for (const part of [...document.querySelector('main').children]) {
        rest ||= part.matches('#readings'); if (rest) part.remove() } }
"""


def test_what_the_fitter_takes_along_is_one_sheet_of_paper(measured: Page, queue: Path) -> None:
    """Of a set's replacement: why, state, permits, cautions, steps, parts, signatures. Its charts follow."""
    measured.goto((queue / "orders/C-0003.html").as_uri())
    whole = sides(measured.pdf(format="A4"))
    measured.evaluate(BEGINNING)
    assert measured.get_by_role("heading", name="Signatures").count() == 1
    assert measured.locator("svg").count() == 0
    assert sides(measured.pdf(format="A4")) == 2 < whole


def sides(pdf: bytes) -> int:
    """How many pages a PDF has."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))
