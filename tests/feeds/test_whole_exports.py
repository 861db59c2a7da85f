"""Whole exports: what they no longer hold ends, unless too much is missing."""

from __future__ import annotations

from datetime import date

from tests.feeds.delivery import AS_OF, EXPORTS, Site

from takeup.feeds import SourceDialect

MACHINES = "machine,kind\n" + "".join(f"M-{n:02},other\n" for n in range(20))


def without(text: str, *names: str) -> str:
    return "".join(line for line in text.splitlines(keepends=True) if line.split(",")[0] not in names)


def machines(site: Site, **more) -> set[str]:
    return set(site.rows("machines", **more)["machine"])


def test_a_missing_key_ends_and_is_listed(tmp_path):
    site = Site(tmp_path)
    site.deliver({"machines.csv": MACHINES})
    (rows,) = site.deliver({"machines.csv": without(MACHINES, "M-03", "M-04")})
    assert rows.duplicate == 18
    assert len(machines(site)) == 18
    assert len(machines(site, night=1)) == 20
    assert [(gone.feed, gone.subject, gone.file) for gone in site.store.closed(2)] == [
        ("machines", "M-03", "machines.csv"),
        ("machines", "M-04", "machines.csv"),
    ]
    assert site.store.closed(1) == []
    with_gone = site.rows("machines", missing=True)
    assert with_gone[~with_gone["exported"]]["machine"].tolist() == ["M-03", "M-04"]


def test_a_key_that_comes_back_holds_again(tmp_path):
    site = Site(tmp_path)
    site.deliver({"machines.csv": MACHINES})
    site.deliver({"machines.csv": without(MACHINES, "M-03")})
    (rows,) = site.deliver({"machines.csv": MACHINES})
    assert (rows.superseding, rows.duplicate) == (1, 19)
    assert len(machines(site)) == 20
    assert len(machines(site, night=2)) == 19


def test_more_than_a_tenth_missing_of_ten_or_more_refuses_the_file(tmp_path):
    site = Site(tmp_path)
    site.deliver({"machines.csv": MACHINES})
    (rows,) = site.deliver({"machines.csv": without(MACHINES, "M-03", "M-04", "M-05")})
    assert (rows.read, rows.refused) == (17, 17)
    assert len(machines(site)) == 20
    (row,) = site.store.kept_out()
    assert (row.reason, row.line, row.found) == ("too_many_missing", 0, "3 of 20 keys missing")
    site.deliver({"machines.csv": MACHINES})
    assert site.store.kept_out() == [], "the next whole export answers it"


def test_a_small_set_may_lose_more_but_never_everything_at_once(tmp_path):
    site = Site(tmp_path)
    site.deliver({"machines.csv": EXPORTS["machines.csv"]})
    site.deliver({"machines.csv": without(EXPORTS["machines.csv"], "DC-2")})
    assert machines(site) == {"EL-1"}
    site.deliver({"machines.csv": "machine,kind\n"})
    assert machines(site) == {"EL-1"}
    assert [row.reason for row in site.store.kept_out()] == ["too_many_missing"]


def test_an_unreadable_row_holds_the_endings_back(tmp_path):
    site = Site(tmp_path)
    site.deliver({"machines.csv": MACHINES})
    site.deliver({"machines.csv": MACHINES.replace("M-03,other", 'M-03,"other')})
    assert len(machines(site)) == 20
    assert '"endings_held_back": 1' in site.store.files(2)["notes"][0]


def test_a_refused_row_with_a_readable_key_is_not_missing(tmp_path):
    site = Site(tmp_path)
    site.deliver({"machines.csv": MACHINES})
    (rows,) = site.deliver({"machines.csv": MACHINES.replace("M-03,other", "M-03,rocket")})
    assert (rows.duplicate, rows.refused) == (19, 1)
    assert len(machines(site)) == 20


def test_energy_sources_stay_and_are_marked(tmp_path):
    site = Site(tmp_path)
    site.deliver({"energy_sources.csv": EXPORTS["energy_sources.csv"]})
    fewer = "".join(EXPORTS["energy_sources.csv"].splitlines(keepends=True)[:2])
    site.deliver({"energy_sources.csv": fewer})
    rows = site.rows("energy_sources")
    assert dict(zip(rows["source"], rows["exported"], strict=True)) == {
        "loaded buckets": False,
        "main drive motor": True,
    }
    site.deliver({"energy_sources.csv": EXPORTS["energy_sources.csv"]})
    assert site.rows("energy_sources")["exported"].all()


def test_each_source_speaks_only_for_its_own_keys(tmp_path):
    north = SourceDialect("north", "machines", ("north*.csv",))
    south = SourceDialect("south", "machines", ("south*.csv",))
    site = Site(tmp_path, [north, south])
    site.deliver(
        {"north.csv": "machine,kind\nA,other\nB,other\n", "south.csv": "machine,kind\nC,other\nD,other\n"}
    )
    site.deliver({"north.csv": "machine,kind\nA,other\n"})
    assert machines(site) == {"A", "C", "D"}


def test_a_set_split_over_files_of_one_night_is_one_set(tmp_path):
    site = Site(tmp_path)
    site.deliver({"machines_1.csv": "machine,kind\nA,other\n", "machines_2.csv": "machine,kind\nB,other\n"})
    site.deliver(
        {"machines_1.csv": "machine,kind\nA,other\n", "machines_2.csv": "machine,kind\nB,heavy_drive\n"}
    )
    assert machines(site) == {"A", "B"}


def test_a_planned_stop_that_is_over_leaves_by_itself(tmp_path):
    stops = "shutdown,machines,starts_at,ends_at\n"
    past = "".join(f"past {n},EL-1,2026-02-0{n + 1},2026-02-0{n + 2}\n" for n in range(8))
    ahead = "".join(f"ahead {n},EL-1,2026-05-0{n + 1},2026-05-0{n + 2}\n" for n in range(4))
    site = Site(tmp_path)
    site.deliver({"shutdowns.csv": stops + past + ahead}, as_of=date(2026, 1, 31))
    (rows,) = site.deliver({"shutdowns.csv": stops + ahead}, as_of=AS_OF)
    assert rows.duplicate == 4
    assert site.store.closed(2) == []


def test_an_older_whole_export_is_refused(tmp_path):
    source = SourceDialect(
        "register", "machines", ("*.csv",), stamp_pattern=r"(?P<year>\d{4})-(?P<month>\d\d)-(?P<day>\d\d)"
    )
    site = Site(tmp_path, [source])
    site.deliver({"m_2026-03-02.csv": "machine,kind\nA,other\nB,other\n"})
    (rows,) = site.deliver({"m_2026-03-01.csv": "machine,kind\nA,heavy_drive\n"})
    assert (rows.read, rows.refused) == (1, 1)
    assert machines(site) == {"A", "B"}
    assert [row.reason for row in site.store.kept_out()] == ["older_export"]


def test_increments_end_nothing_and_a_source_may_declare_its_delivery(tmp_path):
    source = SourceDialect("register", "machines", ("*.csv",), delivery="increment")
    site = Site(tmp_path, [source])
    site.deliver({"m.csv": "machine,kind\nA,other\nB,other\n"})
    site.deliver({"m.csv": "machine,kind\nC,other\n"})
    assert machines(site) == {"A", "B", "C"}
