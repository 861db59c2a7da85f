"""A site of its own: made, opened, and with values that go before the defaults, layer over layer."""

from __future__ import annotations

import csv
import dataclasses
import json
import tomllib
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.errors import SettingsError, UsageError
from takeup.night import nightly
from takeup.resources import samples_dir
from takeup.site import Site, new_site
from takeup.site.settings import SECTIONS, read_settings

SITE = '[site]\nname = "Works"\ntime_zone = "Europe/Lisbon"\n'


def override(key: str, value: str, who: str) -> str:
    answers = f'reason = "r", by = "{who}", on = 2026-01-05, review_by = 2027-01-05'
    return f"{key} = {{ value = {value}, {answers} }}\n"


# --- made and opened ---------------------------------------------------------------------------------------

NAMES = [
    "Works",
    'The "old" works',
    "Back\\slash",
    "Line\nbreak",
    "Ünïcode ✓",
    "{braces}",
    "'quotes' # none",
    "\x7f\x01",
]


@pytest.mark.parametrize("name", NAMES)
def test_a_new_site_keeps_any_name_as_it_is(tmp_path, name):
    made = new_site(tmp_path / "s", name=name, time_zone="Europe/Lisbon")
    opened = Site.open(tmp_path / "s")
    assert made.settings.name == opened.settings.name == name
    assert tomllib.loads(opened.settings.text)["site"]["name"] == name


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1).filter(str.strip))
def test_no_name_can_be_more_than_a_name(name):
    from takeup.site import NEW_SETTINGS, _toml

    document = tomllib.loads(NEW_SETTINGS.format(name=_toml(name), zone=_toml("Etc/UTC")))
    assert document == {"site": {"name": name, "time_zone": "Etc/UTC"}}


def test_the_settings_of_a_new_site_are_an_example_that_works(tmp_path):
    """What stands there behind comment marks reads, so that a user may begin by removing them."""
    new_site(tmp_path / "s", name="Works", time_zone="Europe/Lisbon")
    lines = (tmp_path / "s" / "takeup.toml").read_text("utf-8").splitlines()
    begun = [
        line.removeprefix("# ")
        for line in lines
        if line.startswith(("# [", "# ")) and ("=" in line or "[" in line)
    ]
    settings = read_settings("\n".join([*(line for line in lines if not line.startswith("#")), *begun]))
    assert settings.sources[0].name == "tape"
    assert settings.sources[0].words == {"occasion": {"R": "routine"}}
    assert list(settings.layers["limits"].machine) == ["EL-11"]


def test_a_new_site_can_tell_its_first_night(tmp_path):
    site = new_site(tmp_path / "s", name="Works", time_zone="Pacific/Auckland")
    assert nightly(site).told


def test_a_second_site_in_one_folder_is_refused(tmp_path):
    new_site(tmp_path / "s", name="Works", time_zone="Europe/Lisbon")
    before = (tmp_path / "s" / "takeup.toml").read_bytes()
    with pytest.raises(UsageError, match="stands here already"):
        new_site(tmp_path / "s", name="Other", time_zone="Europe/Lisbon")
    assert (tmp_path / "s" / "takeup.toml").read_bytes() == before


def test_an_unknown_zone_makes_no_folder(tmp_path):
    with pytest.raises(SettingsError, match="Lissabon") as refused:
        new_site(tmp_path / "s", name="Works", time_zone="Europe/Lissabon")
    assert "takeup.toml" not in str(refused.value)
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize("what", ["nothing", "file", "folder"])
def test_what_is_no_site_is_said_to_be_none(tmp_path, what):
    place = tmp_path / "s"
    if what == "file":
        place.write_text("x")
    if what == "folder":
        place.mkdir()
    with pytest.raises(UsageError, match="not a takeup site") as caught:
        Site.open(place)
    assert str(place) in caught.value.where
    assert "takeup new" in caught.value.todo


def test_settings_that_are_not_utf_8_are_said_to_be_so(tmp_path):
    (tmp_path / "takeup.toml").write_bytes(SITE.replace("Works", "Wörks").encode("cp1252"))
    with pytest.raises(SettingsError, match="not UTF-8") as caught:
        Site.open(tmp_path)
    assert caught.value.todo


# --- overrides ---------------------------------------------------------------------------------------------

LAYERS = (
    SITE
    + "[limits]\n"
    + override("conveyor_percent", "2.6", "site")
    + '[machine."EL-11".limits]\n'
    + override("conveyor_percent", "2.4", "machine")
    + override("drive_percent", "1.2", "machine")
    + '[strand."EL-11-A".limits]\n'
    + override("conveyor_percent", "2.2", "strand")
)


def test_the_nearest_override_goes_first():
    limits = read_settings(LAYERS).layers["limits"]
    default = dataclasses.asdict(limits.record)
    assert limits.value("conveyor_percent", "EL-11", "EL-11-A") == 2.2
    assert limits.value("conveyor_percent", "EL-11", "EL-11-B") == 2.4
    assert limits.value("conveyor_percent", "EL-12", "EL-12-A") == 2.6
    assert limits.value("drive_percent", "EL-11", "EL-11-A") == 1.2
    assert limits.value("drive_percent", "EL-12", "EL-12-A") == default["drive_percent"]
    machines, strands = ["EL-11", "EL-11", "EL-12"], ["EL-11-A", "EL-11-B", "EL-12-A"]
    assert limits.column("conveyor_percent", machines, strands).tolist() == [2.2, 2.4, 2.6]


def test_an_override_says_where_it_stands_and_who_answers_for_it():
    limits = read_settings(LAYERS).layers["limits"]
    sourced = limits.sourced("conveyor_percent", "EL-11", "EL-11-A")
    assert (sourced.value, sourced.is_default) == (2.2, False)
    for part in (
        "takeup.toml line 10",
        "[strand.EL-11-A.limits] conveyor_percent",
        "r; strand, 2026-01-05",
        "2027",
    ):
        assert part in sourced.origin
    plain = limits.sourced("plan_part", "EL-11", "EL-11-A")
    assert plain.is_default
    assert plain.origin.startswith("default, ")


def test_an_order_prints_the_override_it_used(tmp_path):
    """The sample plant lowers the limit of EL-14, and its orders say so."""
    from tests.night import plant
    from tests.night.told import told_next

    site = plant.site(tmp_path / "s")
    told_next(site, 0, ("EL-14",))
    queue = site.folders.queue / "current"
    with (queue / "orders.csv").open(encoding="utf-8-sig", newline="") as file:
        numbers = [
            row["order"]
            for row in csv.DictReader(file)
            if row["job"] == "replace_set" or "replace" in str(row)
        ]
    pages = [(queue / "orders" / f"{number}.html").read_text("utf-8") for number in numbers]
    assert pages
    assert all("paired strands in a tight casing" in page and "chain steward" in page for page in pages)


#: Settings that only a site can know, with a value to try.
WITHOUT_DEFAULT = {"pitch_mm": 152.4}


def test_every_setting_of_every_section_can_be_overridden():
    for section, record in SECTIONS.items():
        for item in dataclasses.fields(record):
            if not item.metadata:
                continue
            value = WITHOUT_DEFAULT.get(item.name, item.default)
            text = SITE + f"[{section}]\n" + override(item.name, json.dumps(value), "x")
            layer = read_settings(text).layers[section]
            assert layer.override(item.name).on == date(2026, 1, 5)
            assert layer.value(item.name) == value


def test_the_sample_plants_settings_read():
    settings = read_settings((samples_dir() / "plant" / "takeup.toml").read_text("utf-8"))
    assert {source.name for source in settings.sources} >= {"tape", "drives", "run_hours", "order_closeouts"}
    assert settings.layers["limits"].value("conveyor_percent", "EL-14", "EL-14-A") == 2.0
