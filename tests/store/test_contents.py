"""What a night wrote is summed up so that any change of any row shows, and nothing else does."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest
from tests.night import plant
from tests.night.told import ONE, told

from takeup.ledger import Ledger
from takeup.night.accounts import recorded
from takeup.site import Site
from takeup.store import Store
from takeup.store.contents import NIGHT_OF


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return told(tmp_path / "s", 2, ONE)


def contents(site: Site) -> dict[int, dict[str, tuple[int, str]]]:
    with Store.open(site.folders.store, read_only=True) as store:
        return store.contents()


def after(site: Site, *statements: str) -> dict[int, dict[str, tuple[int, str]]]:
    with duckdb.connect(str(site.folders.store)) as store:
        for statement in statements:
            store.execute(statement)
    return contents(site)


def test_every_table_that_counts_is_summed_up(site: Site) -> None:
    with Store.open(site.folders.store, read_only=True) as store:
        tables = set(store.counts())
    left_out = {name for name in tables if name.startswith("cache_")} | {"derived_write", "migration"}
    assert set(NIGHT_OF) == tables - left_out


def test_the_ledger_holds_what_each_night_wrote(site: Site) -> None:
    found = contents(site)
    nights = Ledger(site.folders.ledger).nights()
    assert [night["stored"] for night in nights] == [recorded(found[1]), recorded(found[2])]
    assert nights[0]["stored"]["elongation_readings"]["rows"] == len(
        plant.rows_of(plant.exports(plant.NIGHTS[0], ONE)["elongation_readings_2026-08-31.csv"])
    )


def test_a_changed_cell_shows_in_its_table_and_night_only(site: Site) -> None:
    before = contents(site)
    for change in (
        "UPDATE run_hours SET meter_hours = meter_hours + 1e-9 WHERE line = 3 AND known_from = 1",
        "UPDATE run_hours SET read_at = read_at || ' ' WHERE line = 3 AND known_from = 1",
        "UPDATE run_hours SET stamp = 0 WHERE line = 3 AND known_from = 1",
        "UPDATE run_hours SET key = key + 1 WHERE line = 3 AND known_from = 1",
    ):
        changed = after(site, change)
        odd = {
            (night, table)
            for night in before
            for table in before[night]
            if changed[night].get(table) != before[night][table]
        }
        assert odd == {(1, "run_hours")}


def test_neither_the_order_of_rows_nor_a_new_column_shows(site: Site) -> None:
    """A store made again need not hold its rows in the same order, and a migration adds columns."""
    before = contents(site)
    assert before == after(
        site,
        "CREATE TABLE turned AS SELECT * FROM lube_records ORDER BY row_id DESC",
        "DROP TABLE lube_records",
        "ALTER TABLE turned RENAME TO lube_records",
        "ALTER TABLE lube_records ADD COLUMN a_later_measure_mm DOUBLE",
    )
