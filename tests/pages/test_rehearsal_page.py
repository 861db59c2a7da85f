"""The page of a rehearsal in a real browser: nothing fetched, readable on a telephone and on paper."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from tests.audit import raw_plant
from tests.documents.plant import TEMPLATES
from tests.pages.test_browser import CUT_OFF, DESK, MARGINS, PAPERS, PHONE, SMALLEST_TEXT, TABLES_OUT_OF_FRAME

from takeup.documents.rehearsals import rehearsal_page
from takeup.retell import rehearse

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, ViewportSize


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A rehearsal of a year, week by week, so that chains came off in it."""
    folder = tmp_path_factory.mktemp("rehearsal")
    site = raw_plant.site(folder / "site", raw_plant.exports(folder / "exports", 30, 5))
    changed = folder / "changed.toml"
    changed.write_text(raw_plant.SETTINGS + raw_plant.OTHER_LIMIT, encoding="utf-8")
    told = rehearse(site, settings=changed, begins=date(2025, 9, 1), every=28)
    page = folder / "page.html"
    page.write_text(rehearsal_page(told, [TEMPLATES]), encoding="utf-8")
    return page


@pytest.fixture
def measured(browser: Browser) -> Iterator[Page]:
    page = browser.new_page(bypass_csp=True)
    yield page
    page.close()


def test_it_opens_without_a_request_or_an_error(measured: Page, written: Path) -> None:
    requests: list[str] = []
    complaints: list[str] = []
    measured.on("request", lambda request: requests.append(request.url))
    measured.on("console", lambda message: complaints.append(message.text))
    measured.goto(written.as_uri())
    assert (requests, complaints) == ([written.as_uri()], [])
    assert measured.locator("svg").count() >= 1


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["telephone", "desk"])
def test_it_breaks_no_rule_of_accessibility(measured: Page, written: Path, viewport: ViewportSize) -> None:
    """All rules of axe, the open checker, in the version that the lock pins."""
    measured.set_viewport_size(viewport)
    measured.goto(written.as_uri())
    found = Axe().run(measured)
    assert found.violations_count == 0, found.generate_report()


def test_it_never_scrolls_sideways(measured: Page, written: Path) -> None:
    measured.goto(written.as_uri())
    for width in (360, 480, 704, 705, 1200):
        measured.set_viewport_size({"width": width, "height": 740})
        assert measured.evaluate("document.documentElement.scrollWidth") <= width
        assert measured.evaluate(TABLES_OUT_OF_FRAME) == 0
        assert measured.evaluate(SMALLEST_TEXT) >= 13


def test_nothing_is_cut_off_on_paper(measured: Page, written: Path) -> None:
    measured.emulate_media(media="print")
    measured.goto(written.as_uri())
    for paper, across in PAPERS.items():
        width = int(across - MARGINS)
        measured.set_viewport_size({"width": width, "height": 1000})
        assert measured.evaluate(CUT_OFF, width) == []
        assert measured.pdf(format=paper).startswith(b"%PDF")
