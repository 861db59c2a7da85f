"""One contract, three uses: the pandera schema, the check SQL and the documentation agree."""

from __future__ import annotations

import json
import random
from datetime import UTC, datetime

import duckdb
import numpy as np
import pandas as pd
import pytest

from takeup.contracts import (
    FULL_CHECK_ROWS,
    Cell,
    check_sql,
    checks,
    contract,
    documentation,
    failing_cells,
    frame_columns,
    pandera_schema,
    validate,
)
from takeup.errors import InputUnusable
from takeup.model import Feed
from takeup.resources import schemas_dir
from takeup.units import conversion

FEEDS = list(Feed)


def frame(feed: Feed, rows: int, draw: random.Random, *, damaged: float) -> pd.DataFrame:
    """Rows of a feed by the conventions; a share of the cells breaks a limit of the contract, or is blank."""
    rules = contract(feed)
    columns: dict[str, list] = {"row_id": list(range(1, rows + 1))}
    days_of: dict[str, list[float]] = {}
    for field in rules.fields:
        cells = [cell(field, draw, bad=draw.random() < damaged) for _ in range(rows)]
        columns[field.name] = cells
        days = days_of[field.name] = [20514.0 - (draw.random() < damaged) for _ in range(rows)]
        for extra in field.frame_columns[1:]:
            columns[extra] = [day if value else np.nan for day, value in zip(days, cells, strict=True)]
    found = pd.DataFrame(
        {
            name: pd.Series(values, dtype=object if isinstance(values[0], str | None) else None)
            for name, values in columns.items()
        }
    )
    for field in rules.fields:
        if field.is_number:
            found[field.name] = found[field.name].astype(np.float64)
        if field.cell is Cell.MOMENT and field.required:
            found[field.name + "_day"] = np.array(days_of[field.name], dtype=np.int64)
    return found


def cell(field, draw, *, bad):
    if field.is_number:
        low = field.minimum if field.minimum is not None else 0
        high = field.maximum if field.maximum is not None else low + 100
        good = low + (high - low) * draw.random()
        return draw.choice((low - 0.5, high + 0.5, np.nan)) if bad else draw.choice((good, good, low, high))
    if field.words:
        return (
            draw.choice(("", "nonsense", field.words[0].upper() + "x")) if bad else draw.choice(field.words)
        )
    if field.cell is Cell.DATE:
        return None if bad else "2026-03-02"
    if field.cell is Cell.MOMENT:
        return "" if bad else "2026-03-02T06:15:00"
    return (
        draw.choice(("", "é" * (field.max_length + 1))) if bad else draw.choice(("a", "é" * field.max_length))
    )


@pytest.mark.parametrize("feed", FEEDS)
def test_both_engines_name_the_same_failing_cells(feed):
    damaged = frame(feed, 300, random.Random(feed.value), damaged=0.35)
    connection = duckdb.connect()
    connection.register("given", damaged)
    connection.execute("CREATE TABLE rows AS SELECT * FROM given")
    for name in damaged.columns:
        if damaged[name].dtype.kind == "f":  # the store has NULL where a frame has NaN
            connection.execute(f'UPDATE rows SET "{name}" = NULL WHERE isnan("{name}")')  # noqa: S608
    by_sql = {tuple(row) for row in connection.execute(check_sql(feed, "rows")).fetchall()}
    by_pandera = failing_cells(damaged, feed)
    assert by_pandera == by_sql
    assert {name for _, _, name in by_sql} >= {check.name for check in checks(feed)} - {"looks_like_inches"}


STOPS = {
    "the day before": ("2026-03-02", "2026-03-01", True),
    "the same day": ("2026-03-02", "2026-03-02", False),
    "a minute before": ("2026-03-02T06:15:00", "2026-03-02T06:14:00", True),
    "at once": ("2026-03-02T06:15:00", "2026-03-02T06:15:00", False),
    "a day without a time, of a start in the afternoon": ("2026-03-02T18:00:00", "2026-03-02", False),
    "the day before, one with a time": ("2026-03-02T00:00:00", "2026-03-01", True),
    "in the hour told twice": ("2026-10-25T02:45:00+02:00", "2026-10-25T02:15:00+01:00", False),
}


@pytest.mark.parametrize("withdrawn", ["no", "yes"])
def test_both_engines_find_a_stop_that_ends_before_it_starts(withdrawn):
    """The order of two moments; the doubled hour is that of Berlin, 25 October 2026 (IANA tz database)."""
    moments = pd.DataFrame(
        [(*_placed(start), *_placed(end)) for start, end, _ in STOPS.values()],
        columns=[f"{name}{part}" for name in ("starts_at", "ends_at") for part in ("", "_day", "_pos")],
    )
    rows = frame(Feed.SHUTDOWNS, len(STOPS), random.Random(1), damaged=0.0)
    kinds = {"starts_at": object, "ends_at": object, "starts_at_day": np.int64, "ends_at_day": np.int64}
    rows = rows.assign(**moments.astype(kinds))
    rows["withdrawn"] = pd.Series([withdrawn] * len(rows), dtype=object)
    wrong = {row for row, (_, _, is_wrong) in enumerate(STOPS.values(), start=1) if is_wrong}
    wanted = {(row, "ends_at", "ends_before_it_begins") for row in wrong if withdrawn == "no"}
    connection = duckdb.connect()
    connection.register("stop", rows)
    assert {tuple(row) for row in connection.execute(check_sql(Feed.SHUTDOWNS, "stop")).fetchall()} == wanted
    assert failing_cells(rows, Feed.SHUTDOWNS) == wanted


def _placed(moment: str) -> tuple[str, float, float]:
    """A moment as a frame has it: its text, its day number, its position by the wall clock."""
    clock = datetime.fromisoformat(moment).replace(tzinfo=UTC)
    position = clock.timestamp() / 86400 if "T" in moment else clock.timestamp() / 86400 + 0.5
    return moment, clock.timestamp() // 86400, position


@pytest.mark.parametrize("feed", FEEDS)
def test_good_rows_pass_and_keep_their_frame(feed):
    good = frame(feed, 50, random.Random(1), damaged=0.0)
    if feed is Feed.ELONGATION_READINGS:
        good["length_mm"] = good["pitches"] * 152.4
        good.loc[good["length_mm"] > 200_000, ["pitches", "length_mm"]] = [20.0, 3098.5]
    assert failing_cells(good, feed) == set()
    assert validate(good, feed) is not None


def test_a_broken_hand_over_names_column_check_and_value():
    bad = frame(Feed.RUN_HOURS, 5, random.Random(1), damaged=0.0)
    bad.loc[3, "meter_hours"] = -1.0
    with pytest.raises(InputUnusable, match=r"meter_hours: below_minimum, found -1\.0"):
        validate(bad, Feed.RUN_HOURS)


def test_a_big_frame_is_still_checked_for_columns_types_and_keys():
    rows = FULL_CHECK_ROWS + 1
    big = pd.concat([frame(Feed.RUN_HOURS, 1, random.Random(1), damaged=0.0)] * rows, ignore_index=True)
    assert len(validate(big, Feed.RUN_HOURS)) == rows
    with pytest.raises(InputUnusable, match="machine: required_blank"):
        validate(big.assign(machine=pd.Series("", index=big.index, dtype=object)), Feed.RUN_HOURS)
    with pytest.raises(InputUnusable, match="meter_hours"):
        validate(big.assign(meter_hours="x"), Feed.RUN_HOURS)
    with pytest.raises(InputUnusable, match="read_at_day"):
        validate(big.drop(columns="read_at_day"), Feed.RUN_HOURS)


@pytest.mark.parametrize("feed", FEEDS)
def test_the_documentation_names_every_column_limit_and_word(feed):
    table = documentation(feed)
    for field in contract(feed).fields:
        assert f"| `{field.name}` |" in table
        assert all(word in table for word in field.words)
    for check in checks(feed):
        assert check.wanted in table


@pytest.mark.parametrize("feed", FEEDS)
def test_a_schema_file_holds_together(feed):
    rules = contract(feed)
    names = [field.name for field in rules.fields]
    assert len(set(names)) == len(names)
    assert set(rules.key) <= set(names)
    assert set(rules.refers) <= set(names)
    assert {name for group in rules.any_of for name in group} <= set(names)
    assert {name for span in rules.spans for name in (span.begins, span.ends)} <= set(names)
    assert names[-2:] == ["changed_at", "withdrawn"]
    assert not set(rules.passed_over) & {*names, *(word for field in rules.fields for word in field.synonyms)}
    assert all(f"`{name}`" in documentation(feed) for name in rules.passed_over)
    assert rules.delivery in {"whole", "increment"}
    assert not rules.event or rules.field(rules.event).required
    synonyms = [word for field in rules.fields for word in field.synonyms]
    assert len(set(synonyms)) == len(synonyms)
    assert not set(synonyms) & set(names)
    for field in rules.fields:
        assert field.title
        if field.is_number:
            assert conversion(field.unit, field.unit).factor == 1
        if field.default and field.words:
            assert field.default in field.words
        if field.cell in {Cell.WORD, Cell.YES_NO}:
            assert field.words
        if field.cell is Cell.TEXT:
            assert field.max_length, f"{field.name} may be of any length"


@pytest.mark.parametrize("feed", FEEDS)
def test_a_schema_file_is_a_table_schema_any_reader_takes(feed):
    """Frictionless Table Schema: types and constraint names are the standard's own, ours stand under x-."""
    schema = json.loads((schemas_dir() / f"{feed.value}.json").read_text(encoding="utf-8"))
    for field in schema["fields"]:
        assert field["type"] in {"string", "number", "integer", "date"}
        assert set(field.get("constraints", {})) <= {"required", "minimum", "maximum", "enum", "maxLength"}
        assert {key for key in field if not key.startswith("x-")} <= {
            "name",
            "type",
            "title",
            "description",
            "constraints",
        }
    assert set(schema["primaryKey"]) <= {field["name"] for field in schema["fields"]}


def test_frame_columns_split_moments_and_dates():
    fields = {field.name: field for field in contract(Feed.STRANDS).fields}
    assert frame_columns([fields["fitted_on"], fields["changed_at"], fields["pitch_mm"]]) == (
        "fitted_on",
        "fitted_on_day",
        "changed_at",
        "changed_at_day",
        "changed_at_pos",
        "pitch_mm",
    )


def test_the_schema_is_built_once():
    assert pandera_schema(Feed.STRANDS) is pandera_schema(Feed.STRANDS)
