"""What must not change an answer: order of rows, unit, the meter's start, deriving only what changed."""

from __future__ import annotations

import random
from datetime import date, timedelta

import pandas as pd
import pytest
from tests.derive.plant import FITTED, Plant, after, reasons

from takeup.derive.derivation import Derived
from takeup.derive.state import METER_ROWS, state
from takeup.model import Feed
from takeup.units import conversion

AS_OF = date(2026, 9, 1)
#: row ids that stand for rows change with their order; everything else must not
ROW_COLUMNS = ["row_ids", "row_id", "last_row_id", "dry_records", "last_lag_row_id"]


def busy_plant(seed: int = 3) -> Plant:
    """Three machines with two strands each, a change of chain, slips and gaps."""
    draw = random.Random(seed)
    plant = Plant()
    for machine in ("BE-1", "BE-2", "DC-3"):
        plant.machine(machine)
        plant.meter(machine, start=draw.uniform(0, 9000))
        for side in "AB":
            strand = f"{machine}-{side}"
            plant.strand(strand, machine=machine, set=machine)
            rate = draw.uniform(0.15, 0.5)
            for number, hours in enumerate((0, 900, 2100, 3300, 4500, 5700, 6900)):
                e = 0.1 + rate * hours / 1000
                marks = [e + draw.gauss(0, 0.03) for _ in range(4)]
                if draw.random() < 0.2:
                    marks[0] = (100 + marks[0]) * 21 / 20 - 100
                if draw.random() < 0.1:
                    marks = [mark - 0.4 for mark in marks]
                word = "as_left" if number == 0 else "routine"
                plant.survey(after(hours), marks, strand, occasion=word)
                plant.takeup(after(hours), 16 + 180 * e, strand)
                plant.lube(after(hours), draw.choice([10, 48, float("nan")]), strand)
    plant.given[Feed.STRANDS][0]["removed_on"] = after(5000)
    plant.strand("BE-1-A", machine="BE-1", set="BE-1", fitted=after(5000))
    plant.survey(after(5000), [0.1, 0.12, 0.1, 0.11], "BE-1-A", occasion="as_left")
    return plant


def frames(derived: Derived) -> dict[str, pd.DataFrame]:
    made = {
        "lives": derived.lives, "surveys": derived.surveys, "lube": derived.lube, "takeup": derived.takeup,
        "set aside": derived.set_aside_rows, "state": state(derived, AS_OF),
    }  # fmt: skip
    return {name: table.reset_index(drop=True) for name, table in made.items()}


def assert_equal(one: Derived, two: Derived, *, without: list[str] = []) -> None:  # noqa: B006
    other = frames(two)
    for name, table in frames(one).items():
        left, right = (
            found.drop(columns=[column for column in without if column in found])
            for found in (table, other[name])
        )
        pd.testing.assert_frame_equal(left, right, check_exact=True, obj=name)


def test_the_order_of_rows() -> None:
    plant = busy_plant()
    before = plant.derived(AS_OF)
    assert before.set_aside
    for rows in plant.given.values():
        random.Random(1).shuffle(rows)
    assert_equal(before, plant.derived(AS_OF))


def test_the_place_of_rows_in_their_file() -> None:
    """The same rows under other ids: everything but the ids themselves is the same."""
    plant = busy_plant()
    before = plant.derived(AS_OF)
    for feed, rows in plant.given.items():
        ids = [row["row_id"] for row in rows]
        random.Random(str(feed)).shuffle(ids)
        for row, row_id in zip(rows, ids, strict=True):
            row["row_id"] = row_id
    told = plant.derived(AS_OF)
    rows = [
        *ROW_COLUMNS,
        "line",
        "strand_row",
        "machine_row",
        "survey_rows",
        "takeup_row",
        "meter_row",
        *METER_ROWS,
        "lube_row",
        "given_rows",
        "lube_given_rows",
    ]
    left, right = frames(before), frames(told)
    for name in ("lives", "surveys", "lube", "takeup", "state"):
        one, two = (
            table[name].drop(columns=[column for column in rows if column in table[name]])
            for table in (left, right)
        )
        pd.testing.assert_frame_equal(one, two, check_exact=True, obj=name)
    assert sorted(reasons(before).values()) == sorted(reasons(told).values())


def test_a_meter_that_started_elsewhere() -> None:
    plant = busy_plant()
    before = plant.derived(AS_OF)
    for row in plant.given[Feed.RUN_HOURS]:
        row["meter_hours"] += 128.5
    assert_equal(before, plant.derived(AS_OF), without=["hours_at_fitting"])


def test_inches_and_millimetres() -> None:
    """Lengths and pitch given in inches reach this room in millimetres, to the last bit of the float."""
    inch = conversion("in", "mm").factor
    plant, metric = busy_plant(), busy_plant()
    for row, other in zip(
        plant.given[Feed.ELONGATION_READINGS], metric.given[Feed.ELONGATION_READINGS], strict=True
    ):
        inches = round(row["length_mm"] / 25.4, 3)
        row["length_mm"] = float(type(inch)(str(inches)) * inch)
        other["length_mm"] = float(f"{inches * 25.4:.6f}")
    assert_equal(plant.derived(AS_OF), metric.derived(AS_OF), without=["raw"])


class TestOnlyWhatChanged:
    def told(self, plant: Plant, as_of: date = AS_OF) -> Derived:
        derived = plant.derived(as_of, night=2)
        plant.keep(derived)
        return derived

    def test_nothing_new_derives_nothing(self) -> None:
        plant = busy_plant()
        first = self.told(plant)
        second = self.told(plant)
        assert first.counters["strands_touched"] == 6
        assert second.counters["strands_touched"] == second.counters["surveys_derived"] == 0
        assert_equal(first, second)

    def test_one_survey_derives_its_set(self) -> None:
        plant = busy_plant()
        self.told(plant)
        plant.survey(after(8000), [3.9, 3.9, 3.9, 3.9], "BE-2-B")
        told = self.told(plant)
        assert told.touched_strands == {"BE-2-A", "BE-2-B"}
        assert told.counters["surveys_derived"] == 15
        assert_equal(told, plant.derived(AS_OF, everything=True))

    def test_a_meter_reading_that_moves_a_survey_derives_its_strands(self) -> None:
        """Surveys after the last reading stand on reckoned hours until the meter is read again."""
        plant = busy_plant()
        readings = plant.given[Feed.RUN_HOURS]
        cut = [row for row in readings if row["machine"] == "DC-3" and row["read_at"] > after(6000)]
        plant.given[Feed.RUN_HOURS] = [row for row in readings if row not in cut]
        self.told(plant)
        for row in cut:
            row["meter_hours"] += 40
        plant.given[Feed.RUN_HOURS] += cut
        told = self.told(plant)
        assert told.touched_strands == {"DC-3-A", "DC-3-B"}
        assert_equal(told, plant.derived(AS_OF, everything=True))

    def test_a_meter_reading_after_the_last_survey_derives_nothing(self) -> None:
        plant = busy_plant()
        self.told(plant)
        plant.add(Feed.RUN_HOURS, machine="BE-1", read_at=AS_OF, meter_hours=2e4)
        assert self.told(plant).counters["surveys_derived"] == 0

    def test_a_life_that_the_register_takes_back(self) -> None:
        plant = busy_plant()
        self.told(plant)
        plant.given[Feed.STRANDS].pop()
        plant.given[Feed.STRANDS][0]["removed_on"] = None
        plant.changed.add("BE-1-A")
        told = self.told(plant)
        assert_equal(told, plant.derived(AS_OF, everything=True))

    @pytest.mark.parametrize("seed", range(2))
    def test_night_by_night_is_all_at_once(self, seed: int) -> None:
        whole = busy_plant(seed)
        plant = Plant()
        for feed, rows in whole.given.items():
            if feed is not Feed.ELONGATION_READINGS:
                plant.given[feed] = rows
        told = None
        for gone in range(0, 400, 90):
            until = FITTED + timedelta(days=gone)
            for row in whole.given[Feed.ELONGATION_READINGS]:
                if until - timedelta(days=90) < row["measured_at"] <= until:
                    plant.given[Feed.ELONGATION_READINGS].append(row)
                    plant.changed.add(row["strand"])
            told = self.told(plant)
        assert told is not None
        assert told.set_aside
        assert_equal(told, whole.derived(AS_OF))


@pytest.mark.parametrize("seed", range(3))
def test_no_reading_is_lost(seed: int) -> None:
    """Every row stands behind a survey, or is set aside with a reason."""
    plant = busy_plant(seed)
    for e in (0.5, 5.6):  # a repeat that stands, and one that is set aside with the reading it replaced
        plant.survey(after(1500 + 1000 * e), 0.6, "BE-2-A")
        plant.survey(after(1500 + 1000 * e), e, "BE-2-A", occasion="repeat")
    derived = plant.derived(AS_OF)
    behind = {row for rows in derived.surveys["row_ids"] for row in rows}
    given = {row["row_id"] for row in plant.given[Feed.ELONGATION_READINGS]}
    assert behind | reasons(derived).keys() >= given
    standing = {row for rows in derived.surveys.loc[derived.surveys["usable"], "row_ids"] for row in rows}
    assert not standing & reasons(derived).keys()
