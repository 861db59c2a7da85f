"""The table of past forecasts in force: kept for a month, renewed by the next one or by another version."""

from __future__ import annotations

import json

import pytest
from tests.night import plant
from tests.night.told import ONE, told, told_next

from takeup.errors import WearInputError
from takeup.ledger import Ledger
from takeup.night import fleet
from takeup.site.folders import recall
from takeup.wear import calibration


def tables(site) -> list[dict]:
    """The table each night judged by, as archived."""
    nights = Ledger(site.folders.ledger).nights()
    return [json.loads(recall(site.folders.archive, night["fleet"])) for night in nights]


def test_a_table_is_kept_within_a_month_and_renewed_by_the_first_night_of_the_next(tmp_path):
    site = told(tmp_path / "site", 5, ONE)
    assert [day.month for day in plant.NIGHTS] == [8, 9, 9, 9, 9]
    assert [table["number"] for table in tables(site)] == [1, 2, 2, 2, 2]
    assert {table["form"] for table in tables(site)} == {calibration.FORM}


def test_a_table_of_another_form_is_refused_and_renewed_by_the_next_night(tmp_path, monkeypatch):
    site = told(tmp_path / "site", 2, ONE)
    for room in (calibration, fleet):
        monkeypatch.setattr(room, "FORM", calibration.FORM + 1)
    table = tables(site)[-1]
    with pytest.raises(WearInputError, match="this version reads form 3"):
        calibration.FleetTable.from_dict(table)
    told_next(site, 2, ONE)
    assert [(table["number"], table["form"]) for table in tables(site)] == [(1, 2), (2, 2), (3, 3)]
