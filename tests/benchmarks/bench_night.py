"""A night of 10,000 strands beside a bare load and a plain script, in one run on one machine.

    python tests/benchmarks/bench_night.py [--strands 10000] [--folder FOLDER]

Each contender works on the same files in a process of its own, so that its peak memory is its own. What
counts are the ratios: seconds belong to the machine, and to whoever else is using it. The aims were set
before anything was measured; a line that misses its aim says so, and fails nothing.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from takeup.site import Site

HERE = Path(__file__).resolve().parent
AS_OF = (date(2026, 8, 31), date(2026, 9, 7))

SETTINGS = """\
[site]
name = "Large works"
time_zone = "Europe/Lisbon"
settle_seconds = 0
"""

#: What has been reached when the night reports a step for the n-th time.
REACHED = {
    ("night", 0): "archived",
    ("night", 1): "taken",
    ("night", 2): "derived",
    ("night", 3): "judged",
    ("night", 4): "ordered",
    ("night", 5): "stored",
    ("pages", 0): "filled",
    ("pages", 1): "drawn",
}


@dataclass(frozen=True)
class Figures:
    """What one contender says of itself: seconds by stage, counts, and what its whole process used."""

    seconds: dict[str, float]
    counts: dict[str, int]
    peak_kb: int
    processor_seconds: float

    @property
    def total(self) -> float:
        """Seconds of all stages."""
        return sum(self.seconds.values())

    def of(self, *stages: str) -> float:
        """Seconds of some stages."""
        return sum(self.seconds[stage] for stage in stages)


# --- the contenders, each in a process of its own ----------------------------------------------------------


def bare(folder: Path) -> dict[str, object]:
    """DuckDB reads every file into a table: nothing is checked, merged or remembered."""
    import duckdb

    begun = time.perf_counter()
    with duckdb.connect(str(folder / "bare.duckdb")) as connection:
        for path in sorted((folder / "night_1").glob("*.csv")):
            feed = path.stem.rsplit("_", 1)[0]
            load = f"CREATE TABLE {feed} AS SELECT * FROM read_csv(?, header = true)"  # noqa: S608 our own names
            connection.execute(load, [str(path)])
    return {"seconds": {"load": time.perf_counter() - begun}, "counts": {}}


def intake(folder: Path) -> dict[str, object]:
    """Takeup archives, parses, validates and merges the same files, and commits."""
    import pandera.pandas  # noqa: F401

    from takeup import feeds
    from takeup.store import Store

    site = _site(folder / "intake", folder / "night_1")
    settings = site.settings
    begun = time.perf_counter()
    with Store.open(site.folders.store) as store:
        archived, _ = feeds.archive(feeds.find(site.inbox, settings.sources), site.folders.archive)
        with store.night(1, AS_OF[0]) as night:
            told = feeds.take(night, archived, settings.sources, site_zone=settings.time_zone)
    spent = time.perf_counter() - begun
    return {"seconds": {"intake": spent}, "counts": {"rows": sum(one.read for one in told)}}


def first_night(folder: Path) -> dict[str, object]:
    """Takeup's whole first night: everything is new."""
    return _night(folder, 0)


def second_night(folder: Path) -> dict[str, object]:
    """Takeup's whole second night, a week later, on the same site."""
    return _night(folder, 1)


def _night(folder: Path, which: int) -> dict[str, object]:
    import pandera.pandas  # noqa: F401

    import takeup.night

    site = _site(folder / "site", folder / f"night_{which + 1}")
    seconds: dict[str, float] = {}
    last = time.perf_counter()

    def progress(step: str, done: int, total: int) -> None:  # noqa: ARG001
        nonlocal last
        now = time.perf_counter()
        seconds[REACHED[step, done]] = now - last
        last = now

    result = takeup.night.nightly(site, as_of=AS_OF[which], progress=progress)
    seconds["committed"] = time.perf_counter() - last
    published = site.folders.queue / "current" / "orders.json"
    orders = json.loads(published.read_text(encoding="utf-8"))["orders"]
    told = {
        "kept_out": result.kept_out,
        "open_orders": result.open_orders,
        "sets_due": len({one["subject"] for one in orders if one["subject_kind"] == "set"}),
        "machines_due": len({one["machine"] for one in orders}),
    }
    return {"seconds": seconds, "counts": {**result.counters, **told}}


def _site(root: Path, delivery: Path) -> Site:
    """The site in a folder, made if need be, with a delivery in its inbox."""
    from takeup.site import Site
    from takeup.site.folders import Folders

    folders = Folders(root)
    folders.make()
    folders.settings.write_text(SETTINGS, encoding="utf-8")
    for path in delivery.glob("*.csv"):
        (folders.inbox / path.name).write_bytes(path.read_bytes())
    return Site.open(root)


CONTENDERS: dict[str, Callable[[Path], dict[str, object]]] = {
    "bare": bare,
    "intake": intake,
    "first_night": first_night,
    "second_night": second_night,
}


def measured(name: str, folder: Path) -> Figures:
    """Run a contender by itself; this process stays small, for a child's peak begins at its parent's."""
    if name == "plain":
        command = [str(HERE / "plain_script.py"), str(folder / "night_1"), str(folder / "plain"), "--as-of"]
        command.append(AS_OF[0].isoformat())
    else:
        command = [str(HERE / "bench_night.py"), "--measure", name, "--folder", str(folder)]
    ran = subprocess.run([sys.executable, *command], check=True, stdout=subprocess.PIPE, text=True)
    return Figures(**json.loads(ran.stdout.splitlines()[-1]))


# --- the report --------------------------------------------------------------------------------------------


def report(told: dict[str, Figures]) -> None:
    """Print ratios first, then what they are made of."""
    bare_load, plain = told["bare"], told["plain"]
    first, second = told["first_night"], told["second_night"]
    rules = first.of("judged", "ordered")
    judging = first.of("derived", "judged", "ordered")

    def line(what: str, ratio: float, aim: str = "", held: bool = True) -> None:
        print(f"  {what:76}{ratio:>8.2f}  {aim}{'' if held else '  NOT REACHED'}")

    print("\nratios")
    ratio = told["intake"].total / bare_load.total
    line("intake: takeup / bare DuckDB load", ratio, "aim: at most 3", ratio <= 3)
    line("intake: takeup / plain script's read_csv and pandera", told["intake"].total / plain.of("intake"))
    ratio = plain.of("judging") / judging
    line("judging: plain script / takeup's derive, judge and orders", ratio, "aim: at least 20", ratio >= 20)
    line("judging: plain script / takeup's rules and orders alone", plain.of("judging") / rules)
    drawn = first.counts["pages_drawn"]
    each = first.of("filled", "drawn") / drawn / (plain.of("pages") / plain.counts["due"])
    line("a page: takeup's, with chart and arithmetic / plain script's", each)
    line("whole first night: takeup / plain script", first.total / plain.total)
    ratio = second.total / first.total
    line("second night / first night", ratio, "aim: a small fraction")
    line("second night: takeup / plain script, which does everything again", second.total / plain.total)
    for name in ("rows_parsed", "surveys_derived", "pages_drawn"):
        line(f"second / first night, {name.replace('_', ' ')}", second.counts[name] / first.counts[name])

    print("\npeak memory in MB; processor seconds with start-up; seconds without it, by what they led to")
    for name, figures in told.items():
        stages = ", ".join(f"{stage} {spent:.2f}" for stage, spent in figures.seconds.items())
        used = f"{figures.peak_kb / 1024:>7.0f}{figures.processor_seconds:>8.2f}{figures.total:>8.2f}"
        print(f"  {name:14}{used}: {stages}")
    print("\ncounts")
    for name, figures in told.items():
        if figures.counts:
            print(f"  {name:14}" + ", ".join(f"{what} {count:,}" for what, count in figures.counts.items()))


def main() -> None:
    """Make the plant, run every contender, print the report."""
    parser = argparse.ArgumentParser(description="A large night beside a plain script.")
    parser.add_argument("--strands", type=int, default=10_000)
    parser.add_argument("--folder", type=Path, help="keep everything there")
    parser.add_argument("--measure", choices=CONTENDERS, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.measure:
        told = CONTENDERS[given.measure](given.folder)
        used = resource.getrusage(resource.RUSAGE_SELF)
        told |= {"peak_kb": used.ru_maxrss, "processor_seconds": used.ru_utime + used.ru_stime}
        print(json.dumps(told))
        return
    with tempfile.TemporaryDirectory(prefix="takeup-bench-") as temporary:
        folder = given.folder or Path(temporary)
        maker = [sys.executable, str(HERE / "big_plant.py"), str(folder), "--strands", str(given.strands)]
        subprocess.run(maker, check=True)
        for path in sorted(folder.glob("night_*/*.csv")):
            path.read_bytes()  # nobody pays for the disk's first read
        print(f"{os.cpu_count()} processors; each contender alone, files in memory")
        order = ("bare", "intake", "plain", "first_night", "second_night")
        report({name: measured(name, folder) for name in order})


if __name__ == "__main__":
    main()
