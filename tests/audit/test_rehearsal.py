"""A rehearsal of another limit against plain arithmetic over the raw exports; its tables on small cases."""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest
from tests.audit import raw_plant
from tests.audit.rehearsed import against_raw
from tests.documents.plant import TEMPLATES

from takeup.audit.happened import (
    ChainEnd,
    Fracture,
    Outcome,
    Worn,
    chain_ends_judged,
    false_orders,
    fractures_judged,
)
from takeup.audit.rehearsal import record
from takeup.audit.spells import Spell, by_job, paired
from takeup.documents.rehearsals import rehearsal_page, rehearsal_text
from takeup.model import Job
from takeup.retell import rehearse

DAY = date(2026, 3, 2)


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory):
    """The limit of conveyors moved from 3.0 to 2.5 % on thirty strands, every day of three months."""
    folder = tmp_path_factory.mktemp("limit")
    files = raw_plant.exports(folder / "exports", 30, 11, drag=0.8)
    site = raw_plant.site(folder / "site", files)
    changed = folder / "changed.toml"
    changed.write_text(raw_plant.SETTINGS + raw_plant.OTHER_LIMIT, encoding="utf-8")
    told = rehearse(site, settings=changed, begins=date(2026, 6, 1), ends=date(2026, 9, 1))
    return told, files


def test_limits_are_passed_on_the_days_that_plain_arithmetic_gives(rehearsed):
    told, files = rehearsed
    compared = against_raw(told, files)
    assert compared.different == []
    assert compared.present > 3
    assert compared.proposed > compared.present


def test_what_is_changed_is_named(rehearsed):
    told, _ = rehearsed
    (change,) = told.changes
    assert (change.name, change.before, change.after) == ("limits.conveyor_percent", 3.0, 2.5)


def test_the_page_says_that_a_first_load_counts_from_its_own_dates(rehearsed):
    page = rehearsal_page(rehearsed[0], [TEMPLATES])
    assert "A first load" in page or "a first load brought much at once" in page
    assert "elongation readings" in page


def test_page_text_and_json_tell_the_same_counts(rehearsed):
    told, _ = rehearsed
    plain = json.loads(json.dumps(record(told)))
    assert sum(one["present"] for one in plain["jobs"]) == len(told.present.spells)
    assert sum(one["proposed"] for one in plain["jobs"]) == len(told.proposed.spells)
    assert f"{told.passed.proposed} under the proposed ones" in rehearsal_page(told, [TEMPLATES])
    assert "limits.conveyor_percent: 3 % → 2.5 %" in rehearsal_text(told, [TEMPLATES])


# --- tables ---------------------------------------------------------------------------------------------


def _spell(
    raised: int, *, subject="EL-11 chain", need_by=60, ended=None, job=Job.REPLACE_SET, withdrawn=False
):
    needed = None if need_by is None else DAY + timedelta(days=need_by)
    return Spell(
        job,
        subject,
        "EL-11",
        DAY + timedelta(days=raised),
        "plan",
        needed,
        None,
        needed,
        None if ended is None else DAY + timedelta(days=ended),
        withdrawn,
    )


def test_an_order_pairs_with_the_one_that_stood_at_the_same_time():
    present = [_spell(10, ended=40), _spell(100)]
    proposed = [_spell(3, ended=40), _spell(60, ended=80), _spell(104)]
    (line,) = by_job(paired(present, proposed))
    assert (line.present, line.proposed, line.earlier, line.later, line.never, line.extra) == (
        2,
        3,
        1,
        1,
        0,
        1,
    )
    assert (line.median_earlier, line.median_later) == (7, 4)


def _end(on: int, as_found: float | None = 2.9):
    return ChainEnd("EL-11 chain", "EL-11", DAY + timedelta(days=on), as_found, 3.0, 0.75, 56, 9000.0, 1000.0)


@pytest.mark.parametrize(
    ("raised", "end", "outcome"),
    [
        pytest.param(100, _end(156), Outcome.CAUGHT, id="as long before as it takes to buy"),
        pytest.param(101, _end(156), Outcome.LATE, id="a day less"),
        pytest.param(None, _end(156), Outcome.MISSED, id="no order, and worn"),
        pytest.param(None, _end(156, None), Outcome.MISSED, id="no order, and never measured"),
        pytest.param(None, _end(156, 2.2), Outcome.NOT_WORN, id="no order, below the plan line"),
        pytest.param(None, _end(40), Outcome.TOO_NEAR, id="too soon for any order"),
        pytest.param(157, _end(156), Outcome.MISSED, id="raised after it"),
    ],
)
def test_a_chain_that_came_off_is_caught_late_or_missed(raised, end, outcome):
    told = [] if raised is None else [_spell(raised)]
    (judged,) = chain_ends_judged([end], told, DAY)
    assert judged.outcome is outcome


@pytest.mark.parametrize(
    ("need_by", "outcome"),
    [(50, Outcome.CAUGHT), (70, Outcome.LATE), (None, Outcome.LATE)],
    ids=["needed before", "needed after", "without a day"],
)
def test_a_fracture_is_caught_by_work_needed_by_its_day(need_by, outcome):
    broke = Fracture("EL-11 chain", "EL-11", DAY + timedelta(days=60), "broken_pin")
    (judged,) = fractures_judged([broke], [_spell(10, need_by=need_by)])
    assert judged.outcome is outcome


def test_a_fracture_on_the_day_of_its_own_order_is_missed():
    broke = Fracture("EL-11 chain", "EL-11", DAY, "broken_pin")
    (judged,) = fractures_judged([broke], [_spell(0)])
    assert judged.outcome is Outcome.MISSED


@pytest.mark.parametrize(
    ("spell", "share", "false"),
    [
        pytest.param(_spell(0, need_by=30), 0.9, True, id="measured short of it after need-by"),
        pytest.param(_spell(0, need_by=30), 1.1, False, id="measured past it after need-by"),
        pytest.param(_spell(0, need_by=60), 0.9, False, id="within the days that make one stop"),
        pytest.param(_spell(0, ended=20, withdrawn=True), 0.9, True, id="withdrawn while it ran on"),
        pytest.param(_spell(0, ended=20), 0.9, False, id="done"),
    ],
)
def test_an_order_is_false_where_its_chain_had_more_life(spell, share, false):
    survey = Worn("EL-11 chain", DAY + timedelta(days=70), share)
    assert bool(false_orders([spell], [_end(200)], [survey], 21)) is false
