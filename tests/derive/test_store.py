"""The invented plant's exports through the real intake and store, night after night."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from takeup.derive.derivation import Derived, derive
from takeup.derive.lubesettings import Lubrication
from takeup.derive.settings import MeasuringSettings
from takeup.derive.state import state
from takeup.feeds.archive import archive
from takeup.feeds.dialect import default_sources
from takeup.feeds.inbox import find
from takeup.feeds.intake import take
from takeup.layered import Layered
from takeup.site.settings import read_settings
from takeup.store.store import Store

PLANT = Path(__file__).parents[2] / "sample_exports" / "plant"
FRAMES = ("lives", "surveys", "lube", "takeup", "findings", "set_aside_rows")


def night(
    store: Store, number: int, inbox: Path, as_of: date, previous: date | None, **how: object
) -> Derived:
    """One night as far as this room: take the files, derive, write the caches."""
    settings = how.get("settings", Layered(MeasuringSettings()))
    sources = how.get("sources", default_sources())
    archived, _ = archive(find(inbox, sources), inbox.parent / "archive")
    with store.night(number, as_of) as open_night:
        take(open_night, archived, sources, site_zone=str(how.get("zone", "Europe/Lisbon")))
        derived = derive(
            store,
            night=number,
            as_of=as_of,
            previous_as_of=previous,
            settings=settings,
            lubrication=Layered(Lubrication()),
        )
        for table, frame in derived.caches.items():
            store.write_cache(table, frame, derived.touched_strands, number)
    return derived


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "store.duckdb") as opened:
        yield opened


def assert_equal(one: Derived, two: Derived, as_of: date) -> None:
    for name in FRAMES:
        left, right = (getattr(told, name).reset_index(drop=True) for told in (one, two))
        pd.testing.assert_frame_equal(left, right, check_exact=True, obj=name)
    pd.testing.assert_frame_equal(state(one, as_of), state(two, as_of), check_exact=True)
    assert one.set_aside == two.set_aside


def test_nights_of_the_invented_plant(store: Store, tmp_path: Path) -> None:
    """Deriving only what changed gives, to the last bit, what deriving everything gives."""
    settings = read_settings((PLANT / "takeup.toml").read_text(encoding="utf-8"))
    previous, derived = None, None
    for number, folder in enumerate(sorted((PLANT / "nights").iterdir())[:3], 1):
        as_of = date.fromisoformat(folder.name)
        inbox = shutil.copytree(folder, tmp_path / folder.name)
        how = {"settings": settings.measuring, "sources": settings.sources, "zone": settings.time_zone}
        derived = night(store, number, inbox, as_of, previous, **how)
        whole = derive(
            store,
            night=number,
            as_of=as_of,
            previous_as_of=previous,
            settings=settings.measuring,
            lubrication=Layered(Lubrication()),
            everything=True,
        )
        assert_equal(derived, whole, as_of)
        if previous is not None:
            assert 0 < derived.counters["strands_touched"] < len(set(derived.lives["strand"]))
        previous = as_of
    assert derived is not None
    for kept in derived.set_aside:
        path = tmp_path / "archive" / kept.sha256[:2] / kept.sha256
        line = path.read_text(encoding="utf-8").splitlines()[kept.line - 1]
        assert kept.subject in line, "a row set aside is found in the archive by hash and line"


def test_the_three_first_feeds_alone(store: Store, tmp_path: Path) -> None:
    """No register was ever delivered: strands come from the readings, and what is missing says so."""
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    (inbox / "run_hours.csv").write_text(
        "machine,read_at,meter_hours\nDC-1,2026-01-05,1000\nDC-1,2026-03-05,2000\n", encoding="utf-8"
    )
    (inbox / "lube_records.csv").write_text(
        "strand,done_at,quantity_ml\nDC-1,2026-01-20,40\n", encoding="utf-8"
    )
    (inbox / "elongation_readings.csv").write_text(
        "strand,measured_at,mark,pitches,length_mm\nDC-1,2026-01-10,1,20,3060\nDC-1,2026-02-10,1,20,3066\n",
        encoding="utf-8",
    )
    as_of = date(2026, 3, 6)
    derived = night(store, 1, inbox, as_of, None)
    (row,) = state(derived, as_of).to_dict("records")
    assert (row["registered"], row["machine"], row["new_limits_reason"]) == (False, "DC-1", "no_pitch")
    assert row["n_surveys"] == 0

    told = derive(
        store,
        night=1,
        as_of=as_of,
        previous_as_of=None,
        settings=Layered(MeasuringSettings(pitch_mm=152.4)),
        lubrication=Layered(Lubrication()),
    )
    (row,) = state(told, as_of).to_dict("records")
    assert row["e_geo_mean"] == pytest.approx(100 * (3066 / 3048 - 1), abs=1e-6)
    assert row["survey_hours"] == pytest.approx(31 * 1000 / 59, abs=0.001)
    assert row["lube_last_day"] == (date(2026, 1, 20) - date(1970, 1, 1)).days
