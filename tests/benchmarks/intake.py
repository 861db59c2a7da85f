"""A million rows of mixed feeds taken in, beside a bare load of the same files by the same database.

    python tests/benchmarks/intake.py [--rows 1000000] [--rounds 3] [--folder FOLDER]

Each contender works in a process of its own, so that its peak memory is its own; they take turns in one run,
and the best round of each counts. What matters is the ratio: seconds belong to the machine, and to whoever
else is using it. The aim, set before anything was measured, is three times the bare load at most.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

AIM = 3.0
AS_OF = date(2026, 8, 31)
#: Share of the rows by feed; what is left goes to the registers.
SHARES = {
    "elongation_readings": 0.55,
    "run_hours": 0.25,
    "lube_records": 0.10,
    "takeup_readings": 0.05,
    "inspection_findings": 0.03,
}


HEADERS = {
    "machines": "machine,name,kind,area",
    "strands": "strand,fitted_on,machine,set,pitch_mm,pitches",
    "elongation_readings": "strand,measured_at,mark,occasion,pitches,length_mm,chain_temperature_c,"
    "tape_temperature_c,instrument_class,measured_by",
    "run_hours": "machine,read_at,meter_hours,meter_event",
    "lube_records": "strand,done_at,lubricant,quantity_ml,method",
    "takeup_readings": "strand,measured_at,used_left_mm,used_right_mm,pitches_removed",
    "inspection_findings": "machine,strand,seen_at,finding,place,severity,remark",
}


class Plant:
    """An invented plant's rows: mostly readings, with texts and quotes among them; no key comes twice."""

    def __init__(self, rows: int) -> None:
        self.draw = random.Random(1)
        self.machines = [f"M-{number:04}" for number in range(max(2, rows // 2_000))]
        self.strands = [f"{machine} {side}" for machine in self.machines for side in "AB"]
        self.days = [(date(2016, 1, 1) + timedelta(days=number)).isoformat() for number in range(3_800)]

    def _turn(self, number: int, names: list[str]) -> tuple[str, str, int]:
        """Name, day and round of the n-th row."""
        rest, at = divmod(number, len(names))
        again, day = divmod(rest, len(self.days))
        return names[at], self.days[day], again

    def row(self, feed: str, number: int) -> str:
        """The n-th row of a feed."""
        draw = self.draw
        if feed == "machines":
            return f"{self.machines[number]},Elevator {number},bucket_elevator,North"
        if feed == "strands":
            strand = self.strands[number]
            return f"{strand},2015-06-01,{strand[:-2]},{strand[:-2]},152.4,240"
        who, day, again = self._turn(number, self.machines if feed == "run_hours" else self.strands)
        warm = f"{draw.randint(10, 40)},{draw.randint(10, 40)}"
        rest = {
            "run_hours": f"{day}T06:00:00,{1000 + number // len(self.machines) * 21.5:.2f},none",
            "lube_records": f"{day},EP oil 220,{draw.randint(100, 400)},brush",
            "takeup_readings": f"{day},{draw.random() * 300:.1f},{draw.random() * 300:.1f},0",
            "inspection_findings": f'{who},{day}T07:30,side rub,head,soon,"at the ""left"", run {number}"',
            "elongation_readings": f"{day},{again + 1},routine,20,{3048 + draw.random() * 80:.1f},"
            f"{warm},II,inspector {number % 7}",
        }[feed]
        return f"{who[:-2] if feed == 'inspection_findings' else who},{rest}"


def write_exports(folder: Path, rows: int) -> None:
    """Exports with that many rows in all."""
    plant = Plant(rows)
    counts = {"machines": len(plant.machines), "strands": len(plant.strands)}
    counts |= {feed: int(rows * share) for feed, share in SHARES.items()}
    counts["elongation_readings"] += rows - sum(counts.values())
    for feed, count in counts.items():
        lines = [HEADERS[feed], *(plant.row(feed, number) for number in range(count))]
        (folder / f"{feed}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def bare(exports: Path, folder: Path) -> dict[str, object]:
    """The database alone: every file into a table of its own, types told, nothing checked or merged."""
    import duckdb

    from takeup.contracts import contract

    begun, rows = time.perf_counter(), 0
    with duckdb.connect(str(folder / "bare.duckdb")) as connection:
        for path in sorted(exports.glob("*.csv")):
            rules = contract(path.stem)
            kinds = {
                name: "DOUBLE" if rules.field(name).is_number else "VARCHAR"
                for name in HEADERS[path.stem].split(",")
            }
            loaded = connection.read_csv(
                str(path), columns=kinds, header=False, skiprows=1, auto_detect=False
            )
            loaded.create(path.stem)
            rows += len(connection.table(path.stem))
    return {"seconds": time.perf_counter() - begun, "rows": rows}


def intake(exports: Path, folder: Path) -> dict[str, object]:
    """The same files found, archived, parsed, checked, merged and accounted for."""
    from takeup import feeds
    from takeup.store import Store

    begun = time.perf_counter()
    sources = feeds.default_sources()
    taken, _ = feeds.archive(feeds.find(exports, sources), folder / "archive")
    archived = time.perf_counter()
    with Store.open(folder / "store.duckdb") as store, store.night(1, AS_OF) as night:
        accounting = feeds.take(night, taken, sources, site_zone="Europe/Lisbon")
    ended = time.perf_counter()
    assert all(rows.balances() and rows.new == rows.read for rows in accounting), accounting
    return {
        "seconds": ended - begun,
        "archive": archived - begun,
        "rows": sum(rows.read for rows in accounting),
    }


def nightly(exports: Path, folder: Path) -> dict[str, object]:
    """A second night on the full store: one row more, and the registers again."""
    from takeup import feeds
    from takeup.store import Store

    sources = feeds.default_sources()
    inbox = folder / "inbox"
    inbox.mkdir()
    for feed in ("machines", "strands"):
        shutil.copy(exports / f"{feed}.csv", inbox)
    one_row = "machine,read_at,meter_hours\nM-0000,2026-08-31,99999\n"
    (inbox / "run_hours.csv").write_text(one_row, encoding="utf-8")
    begun = time.perf_counter()
    taken, _ = feeds.archive(feeds.find(inbox, sources), folder / "archive")
    with Store.open(folder / "store.duckdb") as store:
        with store.night(store.last_night() + 1, AS_OF) as night:
            accounting = feeds.take(night, taken, sources, site_zone="Europe/Lisbon")
        took = time.perf_counter()
        readings = store.rows("elongation_readings", as_of=AS_OF)
        read = time.perf_counter()
    return {
        "seconds": took - begun,
        "rows": sum(rows.read for rows in accounting),
        "hand_over": read - took,
        "handed": len(readings),
    }


def alone(contender: str, exports: Path, folder: Path) -> dict[str, float]:
    """One contender in a process of its own."""
    told = subprocess.run(
        [sys.executable, __file__, "--contender", contender, str(exports), str(folder)],
        check=True,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / "pipeline")},
    )
    return json.loads(told.stdout)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--contender", nargs=3)
    given = parser.parse_args()
    if given.contender:
        which, exports, folder = given.contender
        result = {"bare": bare, "intake": intake, "nightly": nightly}[which](Path(exports), Path(folder))
        used = resource.getrusage(resource.RUSAGE_SELF)
        spent = {"peak_mb": used.ru_maxrss / 1024, "cpu": used.ru_utime + used.ru_stime}
        print(json.dumps(result | spent))
        return
    with tempfile.TemporaryDirectory(dir=given.folder) as work:
        exports = Path(work) / "exports"
        exports.mkdir()
        write_exports(exports, given.rows)
        size = sum(path.stat().st_size for path in exports.iterdir()) / 1e6
        print(f"{given.rows:,} rows in {len(HEADERS)} files, {size:.0f} MB; {os.cpu_count()} cores")
        found: dict[str, list[dict[str, float]]] = {"bare": [], "intake": []}
        folder = Path(work)
        for number in range(given.rounds):
            for contender, results in found.items():
                folder = Path(work) / f"{contender}_{number}"
                folder.mkdir()
                results.append(alone(contender, exports, folder))
        best = {name: min(results, key=lambda one: one["seconds"]) for name, results in found.items()}
        for name, one in best.items():
            print(
                f"{name:8} {one['seconds']:7.2f} s   {one['cpu']:6.2f} s of processor   "
                f"{one['peak_mb']:6.0f} MB at most   {one['rows']:,.0f} rows"
            )
        ratio = best["intake"]["seconds"] / best["bare"]["seconds"]
        print(f"archiving is {best['intake']['archive']:.2f} s of it")
        print(f"intake / bare load = {ratio:.2f} (aim {AIM:g}){'' if ratio <= AIM else ': missed'}")
        again = alone("nightly", exports, folder)
        print(
            f"next night: {again['rows']:,.0f} rows in {again['seconds']:.2f} s; "
            f"{again['handed']:,.0f} readings handed over in {again['hand_over']:.2f} s; "
            f"{again['peak_mb']:.0f} MB at most"
        )


if __name__ == "__main__":
    main()
