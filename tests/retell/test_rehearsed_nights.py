"""The way of a rehearsal, which skips, against every night told plainly by the night's own functions."""

from __future__ import annotations

from datetime import date

import pytest
from tests.audit import raw_plant
from tests.night.told import told
from tests.retell.plainly import plainly, said

from takeup.derive.derivation import EPOCH
from takeup.judgement.rules import registered
from takeup.model import Feed
from takeup.retell.book import RehearsedBook
from takeup.retell.closed import closed_orders, known_on
from takeup.retell.nights import Counts, Variant, told_nights
from takeup.retell.pastrows import READ, PastRows
from takeup.store import Store


def _days(first: date, last: date) -> list[int]:
    return list(range((first - EPOCH).days, (last - EPOCH).days + 1))


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    """A few machines of the sample plant after all its nights: dirty exports, close-outs, a first load."""
    site = told(tmp_path_factory.mktemp("sample") / "site", 5)
    return site, _days(date(2026, 8, 27), date(2026, 9, 9))


@pytest.fixture(scope="module")
def worn(tmp_path_factory):
    """Two dozen strands of which much is due, over the turn of a month with a planned stop."""
    folder = tmp_path_factory.mktemp("worn")
    files = raw_plant.exports(folder / "exports", 24, 5)
    return raw_plant.site(folder / "site", files), _days(date(2026, 3, 26), date(2026, 4, 16))


def _rehearsed(site, nights, *, skip):
    with Store.open(site.folders.store, read_only=True) as store:
        past, orders = PastRows(store), store.orders()
    closed = closed_orders(past, orders, nights[-1])
    book, counts, before = RehearsedBook(past, site.settings), Counts(), -1
    told_by = told_nights(
        past,
        nights,
        [Variant(site.settings, registered())],
        known_on(closed, nights),
        skip=skip,
        counts=counts,
    )
    for number, (night,) in enumerate(told_by, start=1):
        since = [one for one in closed if before < one.known_day <= night.day]
        book.night(number, night, since, past.frame(Feed.SHUTDOWNS, night.day))
        before = night.day
    return said(book.events), counts, closed


@pytest.mark.parametrize("plant", ["sample", "worn"])
def test_skipping_changes_no_order_of_any_night(plant, request):
    site, nights = request.getfixturevalue(plant)
    skipping, counts, closed = _rehearsed(site, nights, skip=True)
    with Store.open(site.folders.store, read_only=True) as store:
        plain = said(plainly(store, site.settings, nights, known_on(closed, nights), closed))
    assert skipping == plain
    assert len(plain) > 10
    assert counts.judged < counts.strand_nights


@pytest.mark.parametrize("plant", ["sample", "worn"])
def test_a_past_day_in_memory_holds_the_rows_that_the_store_gives_for_it(plant, request):
    site, nights = request.getfixturevalue(plant)
    with Store.open(site.folders.store, read_only=True) as store:
        past = PastRows(store)
        for day in (nights[0] - 400, nights[0], nights[-1]):
            as_of = date.fromordinal(EPOCH.toordinal() + day)
            for feed in Feed:
                read = READ.get(feed)
                held = store.rows(feed, as_of=as_of, rehearsed=True, columns=read, by_key=read is None)
                rows = past.frame(feed, day)
                assert rows["row_id"].tolist() == held["row_id"].tolist(), (feed, as_of)
