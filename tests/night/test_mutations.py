"""Whole nights of damaged exports: no traceback, every row accounted for, the same again from the archive."""

from __future__ import annotations

import json
import random
from datetime import timedelta
from pathlib import Path

import jsonschema
from tests.feeds.mutations import mutated
from tests.feeds.test_mutations import most_rows
from tests.night import plant
from tests.night.told import ONE, told

from takeup.night import NightResult, nightly
from takeup.resources import schemas_dir
from takeup.retell import rebuild
from takeup.site import Site

SEED, NIGHTS, A_NIGHT = 20260909, 4, 16
SCHEMA = jsonschema.Draft202012Validator(json.loads((schemas_dir() / "orders.json").read_text("utf-8")))


def damaged(draw: random.Random, count: int) -> dict[str, bytes]:
    """Exports of the plant's nights, damaged, under names that keep them apart."""
    whole = [item for night in plant.NIGHTS for item in plant.exports(night, ONE).items()]
    found = {}
    for number in range(count):
        name, content = draw.choice(whole)
        found[f"{name.removesuffix('.csv')}_{number}.csv"] = mutated(draw, content)
    return found


def a_night_of(files: dict[str, bytes], site: Site, days: int) -> NightResult:
    """Deliver and tell; whatever is raised here is a failure."""
    plant.deliver(site, files)
    result = nightly(site, as_of=plant.NIGHTS[0] + timedelta(days=days))
    assert {one.file for one in result.accounting} == set(files)
    for one in result.accounting:
        assert one.balances(), one
        assert one.read <= most_rows(files[one.file])
    return result


def test_nights_of_damaged_files_are_told_and_told_again_alike(tmp_path: Path) -> None:
    draw = random.Random(SEED)
    site = told(tmp_path / "s", 1, ONE)
    kept_out = refused_whole = 0
    for days in range(1, NIGHTS + 1):
        result = a_night_of(damaged(draw, A_NIGHT), site, days)
        kept_out, refused_whole = kept_out + result.kept_out, refused_whole + len(result.refused_files)
        document = json.loads((site.folders.queue / "current" / "orders.json").read_text("utf-8"))
        assert [error.message for error in SCHEMA.iter_errors(document)] == []
    assert kept_out > 0
    assert refused_whole > 0
    before = plant.told_files(site.folders.queue / "current")
    result = rebuild(site)
    assert (result.nights, result.different) == (NIGHTS + 1, ())
    assert plant.told_files(site.folders.queue / "current") == before
