"""What an answer leaves out: rows that people set aside, and rows that newer ones replaced."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.night import plant
from tests.night.told import ONE, told, told_next

from takeup.quarantine import set_aside
from takeup.site import Site
from takeup.why import why

STRAND = "FE-32-A"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """One machine: before its second night one reading is distrusted, another is delivered again."""
    site = told(tmp_path_factory.mktemp("left out") / "s", 1, ONE)
    ((file, rows),) = [
        (name, plant.rows_of(content))
        for name, content in plant.exports(plant.NIGHTS[0], ONE).items()
        if name.startswith("elongation_readings")
    ]
    sha256 = next(
        one["sha256"] for night in site.nights() for one in night["accounting"] if one["file"] == file
    )
    mine = [place for place, row in enumerate(rows) if row["strand"] == STRAND]
    set_aside(site, f"{sha256}:{mine[-1] + 2}", reason="tape was torn", by="chain steward")
    corrected = rows[mine[-2]] | {"length_mm": str(float(rows[mine[-2]]["length_mm"]) + 1)}
    plant.deliver(site, {"elongation_readings_again.csv": plant.csv_of([corrected])})
    told_next(site, 1, ONE)
    return site


def test_a_row_that_a_person_set_aside_is_told_with_who_and_why(site: Site) -> None:
    answer = why(site, STRAND)
    (row,) = [one for one in answer.as_dict()["left_out"]["kept_out"] if one["reason"] == "by_a_person"]
    assert (row["by"], row["remark"], row["subject"]) == ("chain steward", "tape was torn", STRAND)
    assert "chain steward" in answer.text()
    assert "tape was torn" in answer.page()


def test_a_row_that_a_newer_one_replaced_is_told_with_the_file_that_did(site: Site) -> None:
    answer = why(site, STRAND)
    (row,) = answer.as_dict()["left_out"]["ended"]
    assert row["how"] == "superseded"
    assert row["by_file"] == "elongation_readings_again.csv"
    assert row["on"] == plant.NIGHTS[1].isoformat()
    assert (
        f"line {row['line']} (elongation readings): replaced by elongation_readings_again.csv"
        in answer.text()
    )


def test_the_night_before_knew_of_neither(site: Site) -> None:
    before = why(site, STRAND, as_of=plant.NIGHTS[0]).as_dict()["left_out"]
    assert before["ended"] == []
    assert [one for one in before["kept_out"] if one["reason"] == "by_a_person"] == []


def test_asking_of_a_past_night_writes_nothing(site: Site, tmp_path: Path) -> None:
    before = plant.told_files(site.folders.root)
    answer = why(site, STRAND, as_of=plant.NIGHTS[0])
    (tmp_path / "page.html").write_text(answer.page(), encoding="utf-8")
    assert plant.told_files(site.folders.root) == before
