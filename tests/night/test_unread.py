"""Findings that could not be read and may mean a break stand first on the index, whatever kept them out."""

from __future__ import annotations

import gzip

import pytest
from tests.night import plant

from takeup.feeds import SourceDialect
from takeup.model import Feed, KeptOut
from takeup.night import nightly
from takeup.night.unread import unread_stops
from takeup.site import Site
from takeup.site.folders import keep

FIRST = plant.NIGHTS[0]
HEADER = "machine,strand,seen_at,finding,place,remark\r\n"
CRACK = "FE-32,,soon,cracked_pin,head,\r\n"
QUIET = "FE-32,,2026-08-30,nothing found,,\r\n"


def findings(content: bytes | str) -> dict[str, bytes]:
    data = content if isinstance(content, bytes) else content.encode()
    return {"inspection_findings_x.csv": data}


#: what arrives, and the line that holds the word
UNREAD = {
    "a row refused": (HEADER + QUIET + CRACK, 3),
    "a row that waits": (HEADER + ",ZZ-1,2026-08-30,cracked_pin,,\r\n", 2),
    "a row in words of its own": (HEADER + "FE-32,,soon,looks broken at the hole,,\r\n", 2),
    "a file without a column": ((HEADER + QUIET + CRACK).replace("seen_at", "when"), 3),
    "a file in another encoding": ((HEADER + QUIET + CRACK).encode("utf-16"), 3),
    "a packed file without a column": (
        gzip.compress((HEADER + CRACK).replace("seen_at", "when").encode()),
        2,
    ),
}


@pytest.fixture(scope="module")
def sites(tmp_path_factory) -> Site:
    """A site of one machine, with its register."""
    site = plant.site(tmp_path_factory.mktemp("unread") / "s")
    names = ("machines_", "strands_")
    exports = plant.exports(FIRST, ("FE-32",))
    plant.deliver(site, {name: content for name, content in exports.items() if name.startswith(names)})
    nightly(site, as_of=FIRST)
    return site


def test_all_of_them_stand_first_on_the_index(sites):
    texts = {f"inspection_findings_{number}.csv": item for number, item in enumerate(UNREAD.values())}
    for name, (content, _) in texts.items():
        (sites.inbox / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    nightly(sites, as_of=FIRST)
    page = (sites.folders.queue / "current" / "index.html").read_text("utf-8")
    first = page.split("<h1>")[0]
    assert "Stop now, unread" in first
    for name, (_, line) in texts.items():
        assert f"{name}, line {line};" in first, name


def test_a_word_of_the_sites_own_counts_and_quiet_rows_do_not(tmp_path):
    german = SourceDialect(
        "rundgang",
        Feed.INSPECTION_FINDINGS,
        ("rundgang*.csv",),
        words={"finding": {"Riss im Bolzen": "cracked_pin", "Rost": "rust"}},
    )
    rows = [
        KeptOut("refused", "not_a_date", "inspection_findings", "r.csv", "0" * 64, line, raw)
        for line, raw in enumerate(
            ("FE-32;;gestern;riss im bolzen", "FE-32;;gestern;Rost", "FE-32;;gestern;"), 2
        )
    ]
    assert [row.line for row in unread_stops(rows, [german], tmp_path)] == [2]
    others = [KeptOut("refused", "not_a_date", "lube_records", "l.csv", "0" * 64, 2, "cracked")]
    assert list(unread_stops(others, [german], tmp_path)) == []


def test_a_packed_file_that_is_torn_is_passed_by(tmp_path):
    sha256 = keep(gzip.compress(CRACK.encode())[:-9], tmp_path)
    torn = KeptOut("refused", "not_unpacked", "inspection_findings", "t.csv.gz", sha256, 0, "")
    assert list(unread_stops([torn], [], tmp_path)) == []
