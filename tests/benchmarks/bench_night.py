"""A night of 10,000 strands beside a bare load and a plain script, in one run on one machine.

    python tests/benchmarks/bench_night.py [--strands 10000] [--folder FOLDER]

Each contender works on the same files in a process of its own, so that its peak memory is its own. What
counts are the ratios: seconds belong to the machine, and to whoever else is using it. By the clock they say
what a reader waits for; by processor time they hold on a busy machine too. The aims were set before anything
was measured; a line that misses its aim says so, and fails nothing.
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
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from takeup.site import Site

HERE = Path(__file__).resolve().parent
AS_OF = (date(2026, 9, 7), date(2026, 9, 14), date(2026, 9, 15))

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

Spent = dict[str, tuple[float, float]]
"""Stage to seconds by the clock and of the processor."""


@dataclass
class Stopwatch:
    """Seconds since the stage before, by the clock and of all the process's threads together."""

    stages: Spent = field(default_factory=dict)
    last: tuple[float, float] = field(default_factory=lambda: (time.perf_counter(), time.process_time()))

    def reached(self, stage: str) -> None:
        """A stage has ended."""
        now = (time.perf_counter(), time.process_time())
        self.stages[stage] = (now[0] - self.last[0], now[1] - self.last[1])
        self.last = now


@dataclass(frozen=True)
class Figures:
    """What one contender says of itself."""

    stages: Spent
    counts: dict[str, int]
    peak_kb: int

    def of(self, *stages: str) -> tuple[float, float]:
        """Seconds of some stages, or of all."""
        chosen = [self.stages[stage] for stage in stages or self.stages]
        return sum(clock for clock, _ in chosen), sum(processor for _, processor in chosen)


Said = tuple[Spent, dict[str, int]]

# --- the contenders, each in a process of its own ----------------------------------------------------------


def bare(folder: Path) -> Said:
    """DuckDB reads every file into a table: nothing is checked, merged or remembered."""
    import duckdb

    watch = Stopwatch()
    with duckdb.connect(str(folder / "bare.duckdb")) as connection:
        for path in sorted((folder / "night_1").glob("*.csv")):
            feed = path.stem.rsplit("_", 1)[0]
            load = f"CREATE TABLE {feed} AS SELECT * FROM read_csv(?, header = true)"  # noqa: S608 our own names
            connection.execute(load, [str(path)])
    watch.reached("load")
    return watch.stages, {}


def intake(folder: Path) -> Said:
    """Takeup archives, parses, validates and merges the same files, and commits."""
    import pandera.pandas  # noqa: F401

    from takeup import feeds
    from takeup.store import Store

    site = _site(folder / "intake", folder / "night_1")
    settings = site.settings
    watch = Stopwatch()
    with Store.open(site.folders.store) as store:
        archived, _ = feeds.archive(feeds.find(site.inbox, settings.sources), site.folders.archive)
        with store.night(1, AS_OF[0]) as night:
            told = feeds.take(night, archived, settings.sources, site_zone=settings.time_zone)
    watch.reached("intake")
    return watch.stages, {"rows": sum(one.read for one in told)}


def first_night(folder: Path) -> Said:
    """Takeup's whole first night: everything is new."""
    return _night(folder, 0)


def second_night(folder: Path) -> Said:
    """Takeup's whole second night, a week later, on the same site."""
    return _night(folder, 1)


def quiet_night(folder: Path) -> Said:
    """Takeup's third night, a day after the second: nothing has arrived."""
    return _night(folder, 2)


def _night(folder: Path, which: int) -> Said:
    import pandera.pandas  # noqa: F401

    import takeup.night

    site = _site(folder / "site", folder / f"night_{which + 1}")
    watch = Stopwatch()
    result = takeup.night.nightly(
        site, as_of=AS_OF[which], progress=lambda step, done, _: watch.reached(REACHED[step, done])
    )
    watch.reached("committed")
    published = site.folders.queue / "current" / "orders.json"
    orders = json.loads(published.read_text(encoding="utf-8"))["orders"]
    told = {
        "kept_out": result.kept_out,
        "open_orders": result.open_orders,
        "machines_with_orders": len({one["machine"] for one in orders}),
    }
    return watch.stages, {**result.counters, **told}


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


CONTENDERS: dict[str, Callable[[Path], Said]] = {
    "bare": bare,
    "intake": intake,
    "first_night": first_night,
    "second_night": second_night,
    "quiet_night": quiet_night,
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
    bare_load, ours, plain = told["bare"], told["intake"], told["plain"]
    first, second, quiet = told["first_night"], told["second_night"], told["quiet_night"]

    def line(
        what: str, one: tuple[float, float], other: tuple[float, float], aim: str = "", reached: bool = True
    ) -> None:
        ratios = [f"{a / b:>12.2f}" for a, b in zip(one, other, strict=True)]
        print(f"  {what:66}{''.join(ratios)}  {aim}{'' if reached else ': NOT REACHED'}".rstrip())

    print(f"\n  {'ratios':66}{'clock':>12}{'processor':>12}")
    load, judging = bare_load.of(), plain.of("judging")
    line("intake: takeup / bare DuckDB load", ours.of(), load, "aim: at most 3", ours.of()[0] <= 3 * load[0])
    line("intake: takeup / plain script's read_csv and pandera", ours.of(), plain.of("intake"))
    whole = first.of("derived", "judged", "ordered")
    line(
        "judging: plain script / takeup's derive, judge and orders",
        judging,
        whole,
        "aim: at least 20",
        judging[0] >= 20 * whole[0],
    )
    line("judging: plain script / takeup's judge and orders alone", judging, first.of("judged", "ordered"))
    line("whole first night: takeup / plain script", first.of(), plain.of())
    line("whole second night: takeup / plain script, again over everything", second.of(), plain.of())
    line("second night / first night", second.of(), first.of(), "aim: a small fraction")
    line("quiet night / first night", quiet.of(), first.of(), "aim: a smaller one")

    for name, night in (("second", second), ("quiet", quiet)):
        print(f"\n  counted: {name} night / first night")
        for what in ("rows_parsed", "surveys_derived", "pages_drawn", "charts_drawn"):
            some, all_ = night.counts[what], first.counts[what]
            print(f"  {what.replace('_', ' '):66}{some / all_:>12.3f}  {some:,} of {all_:,}")

    print(f"\n  {'peak memory in MB, seconds':42}{'MB':>12}{'':12}{'clock':>12}{'processor':>12}")
    for name, figures in told.items():
        clock, processor = figures.of()
        print(f"  {name:42}{figures.peak_kb / 1024:>12.0f}{'':12}{clock:>12.2f}{processor:>12.2f}")
        for stage, (waited, worked) in figures.stages.items():
            print(f"      {stage:62}{waited:>12.2f}{worked:>12.2f}")
        for what, count in figures.counts.items():
            print(f"      {what.replace('_', ' '):38}{count:>12,}")


def main() -> None:
    """Make the plant, run every contender, print the report."""
    parser = argparse.ArgumentParser(description="A large night beside a plain script.")
    parser.add_argument("--strands", type=int, default=10_000)
    parser.add_argument("--folder", type=Path, help="keep everything there")
    parser.add_argument("--measure", choices=CONTENDERS, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.measure:
        stages, counts = CONTENDERS[given.measure](given.folder)
        peak_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(json.dumps({"stages": stages, "counts": counts, "peak_kb": peak_kb}))
        return
    with tempfile.TemporaryDirectory(prefix="takeup-bench-") as temporary:
        folder = given.folder or Path(temporary)
        maker = [sys.executable, str(HERE / "big_plant.py"), str(folder), "--strands", str(given.strands)]
        subprocess.run(maker, check=True)
        for path in sorted(folder.glob("night_*/*.csv")):
            path.read_bytes()  # nobody pays for the disk's first read
        print(f"{os.cpu_count()} processors, {os.getloadavg()[0]:.1f} processes at work before the start")
        order = ("bare", "intake", "plain", "first_night", "second_night", "quiet_night")
        report({name: measured(name, folder) for name in order})


if __name__ == "__main__":
    main()
