"""Whatever happens to an export on its way, every row is accounted for and nothing ends in a traceback."""

from __future__ import annotations

import random
from collections import Counter

from tests.feeds.delivery import EXPORTS, Site
from tests.feeds.mutations import mutated

NIGHTS = 4
#: Damaged copies of each export a night; the widest contracts are the dearest to read.
COPIES = dict.fromkeys(EXPORTS, 35) | {
    "machines.csv": 70,
    "energy_sources.csv": 90,
    "run_hours.csv": 90,
    "strands.csv": 10,
}


def test_every_row_of_two_thousand_damaged_files_is_accounted_for(tmp_path):
    draw = random.Random(20260302)
    site = Site(tmp_path, on_disk=True)
    outcomes: Counter[str] = Counter()
    files = 0
    for _ in range(NIGHTS):
        batch = {
            f"{name.removesuffix('.csv')}_{number}.csv": mutated(draw, content.encode())
            for name, content in EXPORTS.items()
            for number in range(COPIES[name])
        }
        accounting = site.deliver(batch)
        assert len(accounting) == len(batch)
        files += len(batch)
        for rows in accounting:
            assert rows.balances(), rows
            assert rows.read <= most_rows(batch[rows.file]), rows
            for outcome in ("new", "duplicate", "superseding", "refused", "waiting"):
                outcomes[outcome] += getattr(rows, outcome)
    assert files >= 2_000
    assert all(outcomes[outcome] > 0 for outcome in outcomes), outcomes
    stored = sum(site.store.counts()[feed.feed.value] for feed in site.sources)
    assert stored == outcomes["new"] + outcomes["superseding"] + outcomes["waiting"]
    alone = site.store.query("SELECT count(*) AS n FROM refused WHERE line > 0")["n"][0]
    with_file = site.store.query("SELECT sum(rows_refused) AS n FROM file WHERE refused_whole <> ''")["n"][0]
    assert alone + with_file == outcomes["refused"]


def most_rows(data: bytes) -> int:
    """No file has more rows than lines."""
    return data.count(b"\n") + data.count(b"\r") + 1
