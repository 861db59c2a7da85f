"""One night of a small plant: what it takes, what it leaves alone, and what it refuses."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import jsonschema
import pytest
from tests.night import plant
from tests.night.told import ONE, told, told_next

from takeup.errors import InputUnusable, LockHeld, SettingsError, UsageError
from takeup.ledger import Ledger
from takeup.model import Change, Feed
from takeup.night import nightly
from takeup.night.unused import unused_templates
from takeup.resources import schemas_dir
from takeup.site import Site
from takeup.store import Store

FIRST, SECOND = plant.NIGHTS[:2]


def orders(site: Site) -> dict:
    return json.loads((site.folders.queue / "current" / "orders.json").read_text("utf-8"))


def index(site: Site) -> str:
    return (site.folders.queue / "current" / "index.html").read_text("utf-8")


def current(site: Site) -> str:
    return str((site.folders.queue / "current").readlink())


def truth(site: Site) -> dict[str, bytes]:
    """Every byte of the site but those of store, lock and log, and where ``current`` points."""
    root = site.folders.root
    files = plant.told_files(root)
    kept = {
        name: content for name, content in files.items() if not name.startswith(("store/", ".lock", "log/"))
    }
    return kept | {"current": bytes((root / "queue" / "current").readlink())}


def replace_setting(site: Site, old: str, new: str) -> None:
    text = site.folders.settings.read_text("utf-8")
    assert old in text
    site.folders.settings.write_text(text.replace(old, new), "utf-8")


# --- told twice, told again, told out of turn -------------------------------------------------------------


def test_the_same_night_twice_changes_no_byte_and_says_so(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    before = truth(site)
    result = nightly(site, as_of=FIRST)
    assert (result.told, result.number, result.as_of) == (False, 1, FIRST)
    assert "nothing new, nothing changed" in result.headline()
    assert truth(site) == before


def test_told_again_a_night_says_what_stands_as_it_did_the_first_time(tmp_path):
    site = plant.site(tmp_path / "s")
    files = plant.exports(FIRST, ("SL-61",))
    silent = [name for name in files if name.startswith("lube_records")]
    plant.deliver(site, {name: content for name, content in files.items() if name not in silent})
    plant.deliver(
        site,
        {
            "lube_records_x.csv": b"nothing\r\n1\r\n",
            "run_hours_x.csv": b"machine,read_at,hours\r\nSL-61,x,1\r\n",
        },
    )

    def stands(result) -> tuple[object, ...]:
        return (
            result.open_orders,
            result.stop_now,
            result.kept_out,
            result.cannot_judge,
            result.stale_feeds,
            result.refused_files,
            result.wants_attention,
        )

    first, again = nightly(site, as_of=FIRST), nightly(site, as_of=FIRST)
    assert (first.told, again.told) == (True, False)
    assert stands(again) == stands(first)
    assert min(first.open_orders, first.kept_out, len(first.stale_feeds), len(first.refused_files)) > 0
    assert f"{first.open_orders} orders open" in again.headline()


def test_a_new_file_on_the_same_day_makes_a_new_night(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    plant.deliver(site, plant.exports(SECOND, ONE))
    result = nightly(site, as_of=FIRST)
    assert (result.told, result.number, result.as_of) == (True, 2, FIRST)
    assert sum(one.waiting for one in result.accounting) == sum(one.read for one in result.accounting) > 0
    assert current(site) == "night-000002"
    later = nightly(site, as_of=SECOND)  # its rows wait no longer
    assert later.told
    assert any(order["urgency"] == "stop now" for order in orders(site)["orders"])


@pytest.mark.parametrize("day", [FIRST - timedelta(days=1), datetime.now(UTC).date() + timedelta(days=2)])
def test_a_day_before_the_last_or_to_come_is_refused_and_leaves_the_site_alone(tmp_path, day):
    site = told(tmp_path / "s", 1, ONE)
    plant.deliver(site, plant.exports(SECOND, ONE))
    before = truth(site)
    with pytest.raises(UsageError) as refused:
        nightly(site, as_of=day)
    assert str(day) in refused.value.what
    assert refused.value.why
    assert refused.value.todo
    assert truth(site) == before


def test_missed_days_are_one_night_with_the_gap_stated(tmp_path):
    site = told(tmp_path / "s", 2, ONE)
    result = told_next(site, 3, ONE)
    assert (result.number, result.as_of) == (3, plant.NIGHTS[3])
    said = index(site)
    assert "6 days" in said.split('class="lead"')[1].split("</p>")[0], said.split('class="lead"')[1][:400]
    assert "1\u00a0September" in said or "1 Sep 2026" in said


def test_the_first_night_of_an_empty_site_says_what_was_never_delivered(tmp_path):
    site = plant.site(tmp_path / "s")
    result = nightly(site, as_of=FIRST)
    assert (result.told, result.number, result.open_orders) == (True, 1, 0)
    silent = {"run_hours", "elongation_readings", "lube_records", "inspection_findings"}
    assert set(result.stale_feeds) == silent
    assert result.wants_attention
    assert index(site).count("never delivered") == 4


# --- the inbox --------------------------------------------------------------------------------------------


def test_a_missing_inbox_is_said_and_nothing_is_told(tmp_path):
    site = plant.site(tmp_path / "s")
    replace_setting(site, "settle_seconds", 'inbox = "exports"\nsettle_seconds')
    with pytest.raises(InputUnusable) as unusable:
        nightly(tmp_path / "s", as_of=FIRST)
    assert unusable.value.where == str(tmp_path / "s" / "exports")
    assert unusable.value.todo
    assert not site.folders.ledger.exists()


def test_what_nobody_claims_stays_in_the_inbox_and_is_said(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    (site.inbox / "elongation_reading.csv").write_bytes(b"strand\r\nX\r\n")
    (site.inbox / ".run_hours.csv.part").write_bytes(b"machine\r\n")
    (site.inbox / "run_hours.csv").mkdir()
    result = nightly(site, as_of=FIRST)
    assert not result.told
    left = {"elongation_reading.csv": "no_source", "run_hours.csv": "not_a_file"}
    assert dict(result.left_in_inbox) == left
    assert "elongation_reading.csv" in result.text()
    assert result.wants_attention
    assert (site.inbox / "elongation_reading.csv").exists()


SLOW_WRITER = """
import sys, time
with open(sys.argv[1], "a") as file:
    for hour in range(200):
        print(f"FE-32,2026-08-{1 + hour // 24:02}T{hour % 24:02}:00,{hour}", file=file, flush=True)
        time.sleep(0.02)
"""


def test_a_file_that_still_grows_waits_for_the_next_night(tmp_path):
    site = plant.site(tmp_path / "s")
    replace_setting(site, "settle_seconds = 0", "settle_seconds = 0.5")
    path = site.inbox / "run_hours_1.csv"
    path.write_bytes(b"machine,read_at,meter_hours\r\n")
    writer = subprocess.Popen([sys.executable, "-c", SLOW_WRITER, str(path)])
    try:
        result = nightly(tmp_path / "s", as_of=FIRST)
    finally:
        writer.kill()
        writer.wait()
    assert dict(result.left_in_inbox) == {"run_hours_1.csv": "growing"}
    assert result.accounting == ()
    assert path.exists()


#: Root may read and write everywhere; without these powers it minds rights like everybody else.
POWERS = "-dac_override,-dac_read_search"
AS_ANYBODY = ["setpriv", "--bounding-set", POWERS, "--inh-caps", POWERS]

TWO_NIGHTS = """
import sys
from datetime import date
sys.path[:0] = {path!r}
from takeup.night import nightly
for _ in range(2):
    print(nightly({root!r}, as_of=date.fromisoformat({day!r})).headline())
"""


def test_what_a_read_only_inbox_gave_is_remembered(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    plant.deliver(site, plant.exports(SECOND, ONE))
    site.inbox.chmod(0o555)
    script = TWO_NIGHTS.format(path=sys.path, root=str(site.folders.root), day=str(SECOND))
    command = [*(AS_ANYBODY if os.geteuid() == 0 else []), sys.executable, "-c", script]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    site.inbox.chmod(0o755)
    assert done.returncode == 0, done.stderr
    first, again = done.stdout.splitlines()
    assert first.startswith("Night 2")
    assert again.startswith(f"Night 2, as of {SECOND}: nothing new, nothing changed")
    assert sorted(path.name for path in site.inbox.iterdir()) == sorted(plant.exports(SECOND, ONE))


# --- a dry run, other settings ----------------------------------------------------------------------------


def test_a_dry_run_leaves_every_byte_of_the_site_and_tells_the_same(tmp_path):
    site = told(tmp_path / "s", 1)
    plant.deliver(site, plant.exports(SECOND))
    before, log = plant.told_files(tmp_path / "s"), site.folders.log.read_bytes()
    tried = nightly(site, as_of=SECOND, dry_run=True)
    assert plant.told_files(tmp_path / "s") == before
    assert site.folders.log.read_bytes() == log
    assert current(site) == "night-000001"
    assert tried.dry_run
    assert "dry run" in tried.headline()
    assert "planning queue" not in tried.text()  # the one there is tells of another night
    told_for_good = nightly(site, as_of=SECOND)
    assert tried.number == told_for_good.number == 2
    assert tried.events == told_for_good.events
    assert tried.accounting == told_for_good.accounting
    assert tried.counters == told_for_good.counters


def test_other_settings_make_a_new_night_that_derives_afresh(tmp_path):
    site = told(tmp_path / "s", 2)
    with site.folders.settings.open("a", encoding="utf-8") as file:
        file.write(
            '\n[machine."FE-32".limits]\nconveyor_percent = { value = 1.0, reason = "trial", by = "steward", '
            "on = 2026-09-01, review_by = 2027-09-01 }\n"
        )
    result = nightly(tmp_path / "s", as_of=SECOND)
    assert (result.told, result.number) == (True, 3)
    with Store.open(site.folders.store, read_only=True) as store:
        surveys = store.query("SELECT count(*) AS n FROM cache_survey")["n"][0]
    assert result.counters["surveys_derived"] == surveys > 50
    again = nightly(tmp_path / "s", as_of=SECOND)
    assert not again.told


# --- rows that come again, are corrected or taken back ----------------------------------------------------


def test_yesterdays_files_again_are_duplicates_and_change_no_order(tmp_path):
    site = told(tmp_path / "s", 1)
    before = orders(site)["orders"]
    plant.deliver(site, plant.exports(FIRST))
    result = nightly(site, as_of=SECOND)
    assert result.told
    assert [one for one in result.accounting if one.read != one.duplicate] == []
    assert sum(one.duplicate for one in result.accounting) > 1000
    assert result.events == ()
    assert orders(site)["orders"] == before
    assert result.counters["surveys_derived"] == 0


def readings(**where: str) -> list[dict[str, str]]:
    """Delivered readings of the first night with these cells."""
    rows = plant.rows_of(plant.exports(FIRST)["elongation_readings_2026-08-31.csv"])
    return [row for row in rows if all(row[name] == cell for name, cell in where.items())]


def test_a_corrected_row_supersedes_and_its_survey_is_derived_again(tmp_path):
    site = told(tmp_path / "s", 1)
    row = readings(strand="EL-11-A")[-1]
    corrected = row | {"length_mm": str(int(row["length_mm"]) + 1)}
    plant.deliver(site, {"elongation_readings_fix.csv": plant.csv_of([corrected])})
    result = nightly(site, as_of=SECOND)
    (one,) = result.accounting
    assert (one.read, one.superseding) == (1, 1)
    with Store.open(site.folders.store, read_only=True) as store:
        rows = store.rows(Feed.ELONGATION_READINGS, as_of=SECOND)
        was = store.rows(Feed.ELONGATION_READINGS, as_of=FIRST, night=1)
    key = ["strand", "measured_at", "mark"]
    for frame, wanted in ((rows, corrected), (was, row)):
        (length,) = frame.loc[(frame[key] == [row[name] for name in key]).all(axis=1), "length_mm"]
        assert length == float(wanted["length_mm"])
    assert len(rows) == len(was)
    assert 0 < result.counters["surveys_derived"] < 60


def test_a_retracted_finding_no_longer_counts(tmp_path):
    site = told(tmp_path / "s", 2)
    assert any(order["job"] == "investigate_fracture" for order in orders(site)["orders"])
    (name, content), *_ = (
        (name, content) for name, content in plant.exports(SECOND).items() if "findings" in name
    )
    plant.deliver(site, {name: plant.csv_of([row | {"withdrawn": "yes"} for row in plant.rows_of(content)])})
    result = nightly(site, as_of=plant.NIGHTS[2])
    assert [(one.superseding, one.new) for one in result.accounting] == [(1, 0)]
    with Store.open(site.folders.store, read_only=True) as store:
        held = store.rows(Feed.INSPECTION_FINDINGS, as_of=plant.NIGHTS[2])
    assert not held["finding"].str.contains("cracked").any()
    # A stop-now order ends only by close-out, whatever becomes of its evidence.
    assert any(order["job"] == "investigate_fracture" for order in orders(site)["orders"])


def test_a_key_missing_from_a_whole_export_ends_and_is_listed(tmp_path):
    site = told(tmp_path / "s", 1)
    stops = plant.rows_of(plant.exports(FIRST)["shutdowns_2026-08-31.csv"])
    plant.deliver(site, {"shutdowns_2026-09-01.csv": plant.csv_of(stops[:-1])})
    result = nightly(site, as_of=SECOND)
    (one,) = result.accounting
    assert (one.read, one.duplicate) == (len(stops) - 1, len(stops) - 1)
    gone = stops[-1]["shutdown"]
    listed = index(site).split("No longer in a whole export")[1].split("</ul>")[0]
    assert gone in listed
    with Store.open(site.folders.store, read_only=True) as store:
        assert gone not in set(store.rows(Feed.SHUTDOWNS, as_of=SECOND)["shutdown"])


def test_every_row_of_every_file_is_accounted_for(tmp_path):
    site = told(tmp_path / "s", 2)
    for number, day in enumerate(plant.NIGHTS[:2]):
        files = plant.exports(day)
        record = Ledger(site.folders.ledger).nights()[number]
        assert {one["file"] for one in record["accounting"]} == set(files)
        for one in record["accounting"]:
            ended = [one[state] for state in ("new", "duplicate", "superseding", "refused", "waiting")]
            assert one["read"] == sum(ended) == len(plant.rows_of(files[one["file"]])), one


# --- what a night writes ----------------------------------------------------------------------------------


def test_the_orders_keep_their_published_schema(tmp_path):
    site = told(tmp_path / "s", 2)
    schema = json.loads((schemas_dir() / "orders.json").read_text("utf-8"))
    validator = jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker())
    validator.check_schema(schema)
    document = orders(site)
    assert [error.message for error in validator.iter_errors(document)] == []
    assert len(document["orders"]) >= 5
    document["orders"][0]["urgency"] = "soon"
    assert not validator.is_valid(document)


def test_an_incremental_night_draws_and_derives_what_it_touches(tmp_path):
    site = told(tmp_path / "s", 2)
    result = told_next(site, 2)  # three meter readings
    assert result.counters["rows_parsed"] == 3
    assert result.counters["surveys_derived"] == 0
    assert result.counters["strands_touched"] == 0
    queue = site.folders.queue
    orders = json.loads((queue / "night-000003" / "orders.json").read_bytes())["orders"]
    # A machine that should stand still is told of by its meter, on its order and why it stands, and by
    # nothing else that came.
    stopped = [one["number"] for one in orders if one["urgency"] == "stop now"]
    assert len(stopped) == 1
    told_of = [f"{folder}/{number}.html" for number in stopped for folder in ("orders", "why")]
    assert result.counters["pages_drawn"] == len(told_of)
    pages = [
        path.relative_to(queue / "night-000003").as_posix()
        for folder in ("orders", "reminders", "why")
        for path in (queue / "night-000003" / folder).iterdir()
    ]
    assert len(pages) >= 10
    for page in pages:
        same = (queue / "night-000003" / page).samefile(queue / "night-000002" / page)
        assert same is (page not in told_of), page


def test_a_lube_record_derives_no_survey_and_counts_all_the_same(tmp_path):
    site = told(tmp_path / "s", 2, ONE)
    with Store.open(site.folders.store) as store:
        lubed = store.rows(Feed.LUBE_RECORDS, as_of=SECOND)["strand"].iloc[0]
        before = store.read_cache("survey")
    plant.deliver(site, {"lube_records_again.csv": f"strand,done_at\r\n{lubed},{SECOND}\r\n".encode()})
    result = nightly(site, as_of=SECOND + timedelta(days=1))
    assert result.counters["rows_parsed"] == 1
    assert result.counters["surveys_derived"] == result.counters["strands_touched"] == 0
    with Store.open(site.folders.store) as store:
        again = store.rows(Feed.LUBE_RECORDS, as_of=SECOND, subjects=[lubed])
        assert SECOND.isoformat() in set(again["done_at"])
        assert store.read_cache("survey").equals(before)


def test_a_week_later_without_a_new_reading_pages_are_drawn_again_and_no_chart_is(tmp_path):
    """The reckoning day moves to the next Monday, and with it every date and the meter; a chart stays."""
    site = told(tmp_path / "s", 2, ONE)
    for weeks in (1, 2):
        before = charted(site)
        result = nightly(site, as_of=SECOND + timedelta(days=7 * weeks))
        assert result.counters["rows_parsed"] == result.counters["surveys_derived"] == 0
        assert result.counters["charts_drawn"] == 0
        assert result.counters["pages_drawn"] > 0
        assert [name for name, page in charted(site).items() if before.get(name) not in (None, page)]


def test_only_strands_that_no_page_of_the_last_night_showed_are_drawn(tmp_path):
    site = told(tmp_path / "s", 2)
    before = charted(site)
    result = nightly(site, as_of=SECOND + timedelta(days=7))  # an order is raised for a set without one
    new = strands(charted(site)) - strands(before)
    assert result.counters["charts_drawn"] == len(new) > 0


def charted(site: Site) -> dict[str, str]:
    """The order pages with a chart, by name."""
    pages = {path.name: path.read_text("utf-8") for path in (site.folders.queue / "current/orders").iterdir()}
    return {name: page for name, page in pages.items() if "<svg" in page}


def strands(pages: dict[str, str]) -> set[str]:
    """The strands whose charts stand on some pages."""
    return {found for page in pages.values() for found in re.findall(r"<title [^>]*>([^<]+)</title>", page)}


def test_a_night_touches_the_strands_its_rows_name(tmp_path):
    site = told(tmp_path / "s", 1)
    result = told_next(site, 1)  # a finding of one strand of a pair, and three meter readings
    assert result.counters["strands_touched"] <= 2
    assert result.counters["surveys_derived"] < 60
    raised = [event for event in result.events if event.change is Change.RAISED]
    assert len(raised) == 1
    assert result.counters["pages_drawn"] <= 3 * (len(result.events) + 1)


# --- one writer at a time ---------------------------------------------------------------------------------

HOLD = """
import sys, time
sys.path[:0] = {path!r}
from pathlib import Path
{hold}
    print("held", flush=True)
    sys.stdin.read()
"""
LOCK = "from takeup.site.lock import writing\nwith writing(Path({root!r}) / '.lock', 'a long rebuild'):"
READ = (
    "from takeup.store import Store\n"
    "with Store.open(Path({root!r}) / 'store' / 'takeup.duckdb', read_only=True):"
)


@pytest.mark.parametrize(("hold", "says"), [(LOCK, "a long rebuild"), (READ, "")], ids=["writing", "reading"])
def test_a_night_does_not_begin_while_another_process_holds_the_site(tmp_path, hold, says):
    site = told(tmp_path / "s", 1, ONE)
    plant.deliver(site, plant.exports(SECOND, ONE))
    before = truth(site)
    script = HOLD.format(path=sys.path, hold=hold.format(root=str(site.folders.root)))
    with subprocess.Popen(
        [sys.executable, "-c", script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        try:
            assert other.stdout.readline() == "held\n"
            with pytest.raises(LockHeld) as held:
                nightly(site, as_of=SECOND, wait_seconds=0)
        finally:
            other.stdin.close()
    assert str(other.pid) in held.value.what
    assert says in held.value.what
    assert held.value.exit_code == 4
    assert truth(site) == before
    assert nightly(site, as_of=SECOND).told


def test_the_last_complete_day_is_told_if_none_is_named(tmp_path):
    site = plant.site(tmp_path / "s")
    before = datetime.now(UTC).astimezone(site.zone).date()
    result = nightly(site)
    after = datetime.now(UTC).astimezone(site.zone).date()
    assert result.as_of in {before - timedelta(days=1), after - timedelta(days=1)}
    assert isinstance(result.as_of, date)
    assert Path(result.page).exists()


# --- templates of the site's own ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "broken",
    ["{% for order in orders %}", "{{ nothing.at.all }}", '{% include "none.j2" %}'],
    ids=["syntax", "no such value", "no such template"],
)
def test_a_broken_template_is_named_and_mending_it_ends_the_night(tmp_path, broken):
    site = told(tmp_path / "s", 1, ONE)
    own = site.folders.templates / "index.html.j2"
    own.write_text(f"<p>ours</p>\n{broken}\n", "utf-8")
    plant.deliver(site, plant.exports(SECOND, ONE))
    with pytest.raises(SettingsError) as caught:
        nightly(site, as_of=SECOND)
    assert caught.value.where == "templates/index.html.j2 line 2"
    assert current(site) == "night-000001"
    own.write_text("<p>ours, mended</p>\n", "utf-8")
    result = nightly(site, as_of=SECOND)
    assert (result.told, result.number) == (True, 2)
    assert index(site).strip() == "<p>ours, mended</p>"
    assert list(site.inbox.iterdir()) == []


# --- what is wrong with a call, a template or rights -------------------------------------------------------


@pytest.mark.parametrize("day", ["2026-08-31", datetime(2026, 8, 31, 12, tzinfo=UTC), 20260831])
def test_what_is_no_date_is_refused_as_one(tmp_path, day):
    with pytest.raises(UsageError, match="is not a date"):
        nightly(plant.site(tmp_path / "s"), as_of=day)


def test_a_template_in_another_encoding_is_named_and_mending_it_ends_the_night(tmp_path):
    site = told(tmp_path / "s", 1, ONE)
    own = site.folders.templates / "cautions.html.j2"
    own.write_bytes("<p>Größte Vorsicht</p>".encode("latin-1"))
    with pytest.raises(SettingsError) as refused:
        nightly(site, as_of=FIRST)
    assert refused.value.exit_code == 2
    assert refused.value.where == "templates/cautions.html.j2"
    own.write_text("<p>Größte Vorsicht</p>", "utf-8")
    assert nightly(site, as_of=FIRST).told


@pytest.mark.parametrize("locked", ["folder", "file"])
def test_wanting_rights_to_the_store_are_said_and_nothing_is_made_again(tmp_path, locked):
    site = told(tmp_path / "s", 1, ONE)
    path = site.folders.store if locked == "file" else site.folders.store.parent
    before, mode = truth(site), path.stat().st_mode
    path.chmod(0o444 if locked == "file" else 0o000)
    command = [
        sys.executable,
        "-m",
        "takeup",
        "nightly",
        "--site",
        str(site.folders.root),
        "--as-of",
        str(FIRST),
    ]
    done = subprocess.run(
        [*(AS_ANYBODY if os.geteuid() == 0 else []), *command], capture_output=True, text=True, check=False
    )
    path.chmod(mode)
    assert done.returncode == 4, done.stderr
    assert "Mend the rights" in done.stderr
    assert "made again" not in done.stderr
    assert truth(site) == before


def test_a_last_line_that_does_not_end_is_taken_and_said(tmp_path):
    site = plant.site(tmp_path / "s")
    (site.inbox / "run_hours_1.csv").write_bytes(b"machine,read_at,meter_hours\r\nFE-32,2026-08-30,1687")
    (site.inbox / "run_hours_2.csv").write_bytes(b"machine,read_at,meter_hours\r\nFE-33,2026-08-30,1687\r\n")
    result = nightly(site, as_of=FIRST)
    assert (result.open_ended, result.refused_files) == (("run_hours_1.csv",), ())
    assert "does not end" in result.text()
    assert "run_hours_1.csv: the last line does not end" in index(site)
    assert "run_hours_2.csv: the last line" not in index(site)


def test_a_template_of_the_site_that_another_one_imports_is_no_unused_one():
    own = {
        "hazards.html.j2": '{% include "ours/crane.html.j2" %}',
        "ours/crane.html.j2": "<li>the crane</li>",
        "sentences/rule/our_rule__slack.txt.j2": '{% import "sentences/ours.txt.j2" as say %}',
        "sentences/ours.txt.j2": "{% macro slack() %}Slack.{% endmacro %}",
        "sentences/rulebook/our_rule.txt.j2": "{% broken",
        "ours/old.html.j2": '{% include "ours/older.html.j2" %}',
        "ours/older.html.j2": "",
    }
    assert unused_templates(own) == ("ours/old.html.j2", "ours/older.html.j2")


def test_an_override_and_a_template_that_nothing_uses_are_named(tmp_path):
    who = 'value = 2.0, reason = "tight", by = "steward", on = 2026-01-05, review_by = 2027-01-05'
    tables = [f'\n[machine."{name}".limits]\nconveyor_percent = {{ {who} }}\n' for name in ("FE-32", "EL-99")]
    site = plant.site(tmp_path / "s")
    keys = '[site]\nname = "Works"\ntime_zone = "Europe/Lisbon"\nsettle_seconds = 0\n'
    site.folders.settings.write_text(keys + "".join(tables), "utf-8")
    (site.folders.templates / "caution.html.j2").write_text("<p>Look.</p>", "utf-8")
    (site.folders.templates / "words.toml").write_text("", "utf-8")
    (site.inbox / "machines.csv").write_bytes(b"machine,name,kind\r\nFE-32,Feeder,apron_feeder\r\n")
    first, again = nightly(site.folders.root, as_of=FIRST), nightly(site.folders.root, as_of=FIRST)
    assert first.unused == again.unused == ('[machine."EL-99".limits]', "templates/caution.html.j2")
    assert 'nothing uses it: [machine."EL-99".limits]' in first.text()
