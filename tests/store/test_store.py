"""The store: opening, locking, damage, nights, forgetting, caches, orders, counts."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.feeds.delivery import AS_OF, EXPORTS, Site, later

import takeup
from takeup.contracts import contract
from takeup.errors import InputUnusable, LockHeld, OurFault, StoreDamaged, StoreError
from takeup.model import Change, Evidence, Fact, Feed, Job, Order, OrderEvent, OrderState, Reason, Urgency
from takeup.store import Store, migrations


def test_a_store_is_made_with_every_step_of_its_tables_once(tmp_path):
    path = tmp_path / "store.duckdb"
    with Store.open(path) as store:
        assert migrations.applied(store.connection) == [number for number, _, _ in migrations.steps()]
        assert store.migrate() == []
        assert store.last_night() == 0
    with Store.open(path, read_only=True) as store:
        assert store.rows("machines", as_of=AS_OF).empty


@pytest.mark.parametrize("feed", list(Feed))
def test_the_tables_hold_the_columns_of_their_contracts(feed):
    with Store.open(None) as store:
        columns = store.query(f"DESCRIBE {feed.value}")["column_name"].tolist()
        own = ["row_id", "file_id", "line", "known_from", "came", "key", "stamp"]
        # Later steps add columns at the end, so that the order tells nothing.
        assert sorted(columns) == sorted([*own, *contract(feed).frame_columns])


def test_a_store_of_a_newer_takeup_is_refused(tmp_path):
    path = tmp_path / "store.duckdb"
    with Store.open(path) as store:
        store.connection.execute("INSERT INTO migration VALUES (9999, 'later')")
    with pytest.raises(StoreError, match="written by a newer takeup: step 9999"):
        Store.open(path)


def test_a_store_of_an_older_takeup_is_not_read_as_it_is(tmp_path):
    path = tmp_path / "store.duckdb"
    with Store.open(path) as store:
        store.connection.execute("DELETE FROM migration WHERE number = 3")
    with pytest.raises(StoreError, match="its tables are of another version"):
        Store.open(path, read_only=True)


def test_a_missing_store_is_said_when_only_read(tmp_path):
    with pytest.raises(StoreError, match="there is no store yet"):
        Store.open(tmp_path / "none.duckdb", read_only=True)


@pytest.mark.parametrize("damage", ["text", "cut", "header"])
def test_a_damaged_file_is_a_store_error_that_names_the_way_out(tmp_path, damage):
    path = tmp_path / "store.duckdb"
    with Store.open(path) as store:
        store.connection.execute("CHECKPOINT")
    whole = path.read_bytes()
    path.write_bytes(
        {"text": b"not a store" * 1000, "cut": whole[:9000], "header": b"\0" * 4096 + whole[4096:]}[damage]
    )
    with pytest.raises(StoreDamaged, match="the store does not read") as caught:
        read_everything(path)
    assert str(path) in str(caught.value)
    assert "takeup rebuild" in caught.value.todo


def read_everything(path: Path) -> None:
    with Store.open(path) as store:
        for feed in Feed:
            store.rows(feed, as_of=AS_OF)


HOLDER = """
import sys
from pathlib import Path
from takeup.store import Store
store = Store.open(Path(sys.argv[1]))
print("open", flush=True)
sys.stdin.read()
"""


def test_a_store_open_elsewhere_names_the_process(tmp_path):
    path = tmp_path / "store.duckdb"
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONPATH": str(Path(takeup.__file__).parents[1])},
    )
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "open\n"
        for read_only in (False, True):
            with pytest.raises(LockHeld, match=f"the store is open in process {holder.pid}"):
                Store.open(path, read_only=read_only)
    finally:
        holder.communicate("")
        holder.stdin and holder.stdin.close()
    Store.open(path).close()


def test_a_night_is_kept_whole_or_not_at_all(tmp_path):
    site = Site(tmp_path)
    site.deliver(EXPORTS)
    before = site.store.counts()
    with pytest.raises(RuntimeError, match="half way"):
        stop_half_way(site.store)
    assert site.store.counts() == before
    site.number = 1
    site.deliver({"run_hours.csv": "machine,read_at,meter_hours\nEL-1,2026-03-03,1\n"})


def stop_half_way(store: Store) -> None:
    with store.night(2, AS_OF) as night:
        night.connection.execute("INSERT INTO ended VALUES (1, 2, NULL, 1, 'missing')")
        raise RuntimeError("half way")


def test_a_mistake_in_sql_inside_a_night_is_a_store_error(tmp_path):
    site = Site(tmp_path)
    with pytest.raises(StoreDamaged, match="nothing_here"), site.store.night(1, AS_OF) as night:
        night.connection.execute("SELECT * FROM nothing_here")
    assert site.store.last_night() == 0


def test_night_numbers_only_rise(tmp_path):
    site = Site(tmp_path)
    site.deliver({})
    with pytest.raises(OurFault, match="night 1 was asked for after night 1"), site.store.night(1, AS_OF):
        pass


def test_forgetting_a_night_leaves_the_store_as_it_was(tmp_path):
    site = Site(tmp_path)
    site.deliver(EXPORTS)
    counts = site.store.counts()
    kept = {feed: site.rows(feed) for feed in Feed}
    changed = {
        name: text.replace("20,3099", "20,3100").replace("North", "West") for name, text in EXPORTS.items()
    }
    changed["machines.csv"] = "machine,kind\nEL-1,other\n"
    site.deliver(changed | {"run_hours.csv": "machine,read_at,meter_hours\nEL-1,2026-03-03,x\n"})
    assert site.store.counts() != counts
    assert site.store.forget_after(1) == 1
    assert site.store.counts() == counts
    for feed in Feed:
        pd.testing.assert_frame_equal(site.rows(feed), kept[feed])
    assert site.store.forget_after(1) == 0


def test_rows_come_sorted_by_key_with_the_declared_types(tmp_path):
    site = Site(tmp_path)
    site.deliver(EXPORTS)
    rows = site.rows("elongation_readings")
    assert rows.index.equals(pd.RangeIndex(3))
    assert rows["strand"].tolist() == ["EL-1 A", "EL-1 A", "EL-1 B"]
    kinds = rows.dtypes.astype(str).to_dict()
    assert {name for name, kind in kinds.items() if kind == "int64"} == {
        "row_id",
        "file_id",
        "line",
        "known_from",
        "measured_at_day",
    }
    assert kinds["length_mm"] == kinds["pitches"] == kinds["measured_at_pos"] == "float64"
    assert kinds["strand"] == kinds["occasion"] == kinds["measured_at"] == "object"
    assert np.isnan(rows["elongation_percent"]).all()
    assert rows["method"].tolist() == ["", "", ""]
    strands = site.rows("strands")
    assert strands["removed_on"].tolist() == [None] * 3
    assert strands["fitted_on_day"].tolist() == [20240.0, 19737.0, 19737.0]


def test_rows_that_no_night_has_read_are_held_against_their_contract(tmp_path):
    site = Site(tmp_path)
    site.deliver(EXPORTS)
    site.deliver({"run_hours.csv": "machine,read_at,meter_hours\nEL-1,2026-03-03,9500\n"})
    spoil = "UPDATE run_hours SET meter_hours = -1 WHERE known_from = ?"
    site.store.connection.execute(spoil, [1])
    assert len(site.rows("run_hours", checked_by=1)) == len(site.rows("run_hours", checked_by=2)) > 1
    with pytest.raises(InputUnusable, match=r"meter_hours: below_minimum, found -1\.0"):
        site.rows("run_hours")
    site.store.connection.execute(spoil, [2])
    with pytest.raises(InputUnusable, match=r"meter_hours: below_minimum, found -1\.0"):
        site.rows("run_hours", checked_by=1)


def test_rows_of_some_subjects_and_columns_only(tmp_path):
    site = Site(tmp_path)
    site.deliver(EXPORTS)
    rows = site.rows("elongation_readings", subjects=["EL-1 B", "nobody"], columns=["strand", "length_mm"])
    assert rows.columns.tolist() == ["row_id", "file_id", "line", "known_from", "strand", "length_mm"]
    assert rows["length_mm"].tolist() == [3097.5]
    assert site.rows("run_hours", subjects=["DC-2"])["meter_hours"].tolist() == [9100]
    assert site.rows("run_hours", subjects=[]).empty


def test_origins_name_file_and_line(tmp_path):
    site = Site(tmp_path)
    site.deliver(EXPORTS)
    row = site.rows("run_hours").iloc[1]
    (origin,) = site.store.origins([row["row_id"], row["row_id"]]).to_dict("records")
    assert (origin["feed"], origin["file"], origin["line"]) == ("run_hours", "run_hours.csv", row["line"])
    assert len(origin["sha256"]) == 64
    assert site.store.origins([]).empty


def test_last_delivery_knows_night_day_and_newest_event(tmp_path):
    site = Site(tmp_path)
    assert site.store.last_delivery("run_hours") is None
    assert not site.store.exported("run_hours")
    site.deliver({"run_hours.csv": EXPORTS["run_hours.csv"]})
    site.deliver({"machines.csv": EXPORTS["machines.csv"], "run_hours.csv": "nonsense\n1\n"}, as_of=later(1))
    assert site.store.last_delivery("run_hours") == (1, AS_OF, 20514)
    assert site.store.last_delivery("machines") == (2, later(1), None)
    assert site.store.last_delivery("machines", night=1) is None
    assert (site.store.first_delivery("run_hours"), site.store.first_delivery("machines")) == (1, 2)
    assert site.store.first_delivery("shutdowns") is None
    assert site.store.exported("run_hours")


def test_a_rehearsal_knows_a_first_load_by_its_own_dates(tmp_path):
    site = Site(tmp_path)
    site.deliver(EXPORTS)
    site.deliver(
        {
            "run_hours.csv": "machine,read_at,meter_hours\n"
            "EL-1,2026-02-23T06:00,14801\nEL-1,2026-02-24,14810\n"
        },
        as_of=later(2),
    )

    def told(day: date) -> list[float]:
        return site.rows("run_hours", as_of=day, rehearsed=True)["meter_hours"].tolist()

    assert told(date(2026, 2, 23)) == [], "the usual delay is a day"
    assert told(date(2026, 2, 24)) == [14800.5]
    assert told(AS_OF) == [9100, 14800.5, 14920.25]
    assert told(later(2)) == [9100, 14801, 14810, 14920.25], "a later night's rows from its own day"
    assert len(site.rows("strands", as_of=date(2025, 1, 1), rehearsed=True)) == 2


def test_a_cache_replaces_the_rows_of_some_strands(tmp_path):
    with Store.open(tmp_path / "store.duckdb") as store:
        assert store.read_cache("survey").empty
        frame = pd.DataFrame(
            {
                "strand": pd.Series(["A", "A", "B"], dtype=object),
                "survey_id": [1, 2, 3],
                "e": [0.1, np.nan, 0.3],
                "note": pd.Series(["", "odd_span", ""], dtype=object),
                "usable": [True, False, True],
                "row_ids": pd.Series([[1, 2], [], [5]], dtype=object),
            }
        )
        with store.night(1, AS_OF):
            store.write_cache("survey", frame, ["A", "B"], 1)
        found = store.read_cache("survey")
        assert found["row_ids"].tolist() == [[1, 2], [], [5]]
        pd.testing.assert_frame_equal(found.drop(columns="row_ids"), frame.drop(columns="row_ids"))
        with store.night(2, AS_OF):
            store.write_cache("survey", frame.iloc[:1].assign(e=0.9), ["A", "C"], 2)
        assert store.read_cache("survey", ["A", "C"])["e"].tolist() == [0.9]
        assert store.read_cache("survey")["e"].tolist() == [0.9, 0.3]
        with pytest.raises(StoreError, match="the columns are others than before: note"):
            store.write_cache("survey", frame.drop(columns="note"), ["A"], 2)
        store.forget_after(1)
        assert store.read_cache("survey").empty, "what a forgotten night replaced is derived again"
        store.write_cache("survey", frame.drop(columns="note"), ["A", "B"], 1)
        store.drop_caches()
        assert store.read_cache("survey").empty


def test_an_empty_frame_clears_its_strands():
    with Store.open(None) as store:
        frame = pd.DataFrame({"strand": pd.Series(["A"], dtype=object), "e": [1.0]})
        store.write_cache("life", frame, ["A"], 1)
        store.write_cache("life", frame.iloc[:0], ["A"], 1)
        assert store.read_cache("life").empty
        assert store.read_cache("life").columns.tolist() == ["strand", "e"]


def test_the_last_verdict_of_each_rule_and_subject_holds():
    frame = pd.DataFrame(
        {
            "rule": ["wear_limit", "wear_limit", "lube_overdue"],
            "subject_kind": ["strand"] * 3,
            "subject": ["A", "B", "A"],
            "answer": ["clear", "due", "cannot judge"],
            "margin": [0.5, -0.1, np.nan],
        }
    )
    with Store.open(None) as store:
        assert store.last_verdicts().empty
        with store.night(1, AS_OF):
            store.write_verdicts(frame, 1)
        with store.night(2, AS_OF):
            store.write_verdicts(frame.iloc[:1].assign(answer="due", margin=-0.2), 2)
        found = store.last_verdicts()
        assert found[["rule", "subject", "answer", "night"]].values.tolist() == [
            ["lube_overdue", "A", "cannot judge", 1],
            ["wear_limit", "A", "due", 2],
            ["wear_limit", "B", "due", 1],
        ]
        assert store.last_verdicts(night=1)["answer"].tolist() == ["cannot judge", "clear", "due"]
        store.forget_after(1)
        assert store.last_verdicts()["night"].tolist() == [1, 1, 1]


def order(number: str, state: OrderState, **more) -> Order:
    reason = Reason(
        "wear_limit",
        "EL-1 A",
        "reached",
        (Fact("e", 3.02, "percent", "run_hours.csv line 2"),),
        (Evidence("survey", (1, 2)),),
        AS_OF,
    )
    values = {
        "job": Job.REPLACE_SET,
        "subject_kind": "set",
        "subject": "EL-1",
        "machine": "EL-1",
        "strands": ("EL-1 A", "EL-1 B"),
        "urgency": Urgency.PLAN,
        "need_by": date(2026, 9, 1),
        "buy_by": None,
        "shutdown": "spring stop",
        "governing": "sprocket",
        "parts": ("chain",),
        "reasons": (reason,),
    }
    return Order(number=number, state=state, **(values | more))


def test_orders_and_events_come_back_as_they_were_written():
    event = OrderEvent(1, AS_OF, "C-0002", 1, Change.RAISED, {}, {"urgency": "plan"}, "", "")
    with Store.open(None) as store:
        with store.night(1, AS_OF):
            store.write_orders(
                [order("C-0002", OrderState.PROPOSED), order("C-10001", OrderState.DONE)], [event], 1
            )
        done = OrderEvent(2, later(1), "C-0002", 1, Change.DONE, by="planner 3")
        with store.night(2, later(1)):
            store.write_orders([order("C-0002", OrderState.DONE)], [done], 2)
        assert store.orders() == [order("C-0002", OrderState.DONE), order("C-10001", OrderState.DONE)]
        assert store.orders(open_only=True) == []
        assert store.orders(open_only=True, night=1) == [order("C-0002", OrderState.PROPOSED)]
        assert store.order_events() == [event, done]
        assert store.order_events(["C-0002"], night=1) == [event]
        store.forget_after(1)
        assert store.order_events() == [event]


def test_names_that_look_like_sql_are_names(tmp_path):
    hostile = "x'); DROP TABLE machines; --"
    site = Site(tmp_path)
    site.deliver({"machines.csv": f'machine,kind\n"{hostile}",other\n'})
    assert site.rows("machines", subjects=[hostile])["machine"].tolist() == [hostile]
    assert site.store.effective_changes(1, AS_OF, None)["machine"] == {hostile}
    with pytest.raises(OurFault, match="a cache is called"):
        site.store.read_cache('survey"; DROP TABLE night; --')


def test_a_year_of_nights_keeps_every_version(tmp_path):
    site = Site(tmp_path)
    for number in range(30):
        day = AS_OF + timedelta(days=number)
        site.deliver(
            {"run_hours.csv": f"machine,read_at,meter_hours\nEL-1,2026-03-01,{100 + number}\n"}, as_of=day
        )
    found = [site.rows("run_hours", night=number + 1)["meter_hours"].tolist() for number in range(30)]
    assert found == [[100.0 + number] for number in range(30)]
