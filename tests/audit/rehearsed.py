"""A rehearsal of another limit of conveyors beside plain arithmetic over the raw exports, and what it costs.

    python -m tests.audit.rehearsed [--strands 100] [--days 120] [--every 1]

Prints the table of limits passed and whether plain arithmetic agrees, nights told a second and peak memory.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

from tests.audit import raw_plant
from tests.audit.independent import Plant, as_date, day_of

from takeup.audit.rehearsal import Rehearsal, Side
from takeup.retell import rehearse


class Compared(NamedTuple):
    """Chains at a limit by either settings as plain arithmetic has them, and where the rehearsal differs."""

    present: int
    proposed: int
    different: list[str]


def against_raw(told: Rehearsal, files: Path) -> Compared:
    """Hold every chain's first day at a limit against the raw exports, under 3.0 and under 2.5 %."""
    different: list[str] = []
    counts = []
    for percent, side in ((3.0, told.present), (2.5, told.proposed)):
        found = _by_hand(Plant(files, percent), told)
        counts.append(len(found))
        different += _different(percent, found, side)
    return Compared(counts[0], counts[1], different)


def _by_hand(plant: Plant, told: Rehearsal) -> dict[tuple[str, str], str]:
    begins, ends = day_of(told.begins.isoformat()), day_of(told.ends.isoformat())
    found = {}
    for strand, lives in plant.lives.items():
        for life in lives:
            on = plant.first_at_limit(strand, life, begins, ends, told.every)
            if on is not None:
                found[strand, life["fitted_on"]] = as_date(on).isoformat()
    return found


def _different(percent: float, found: dict[tuple[str, str], str], side: Side) -> list[str]:
    rehearsed = {(one.strand, one.fitted_on.isoformat()): one.on.isoformat() for one in side.reached}
    return [
        f"{percent} %: {' fitted '.join(key)}: by hand {found.get(key)}, rehearsed {rehearsed.get(key)}"
        for key in sorted(found.keys() | rehearsed.keys())
        if found.get(key) != rehearsed.get(key)
    ]


def main() -> None:
    """Rehearse, compare, and print."""
    parser = argparse.ArgumentParser(description="A rehearsal against plain arithmetic over raw exports.")
    for name, usual in (("strands", 100), ("days", 120), ("every", 1), ("weeks", 110), ("seed", 5)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files = raw_plant.exports(folder / "exports", given.strands, given.seed, weeks=given.weeks, drag=0.6)
        site = raw_plant.site(folder / "site", files)
        changed = folder / "changed.toml"
        changed.write_text(raw_plant.SETTINGS + raw_plant.OTHER_LIMIT, encoding="utf-8")
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        clock, cpu = time.perf_counter(), time.process_time()
        begins = raw_plant.AS_OF - timedelta(days=given.days - 1)
        told = rehearse(site, settings=changed, begins=begins, every=given.every)
        clock, cpu = time.perf_counter() - clock, time.process_time() - cpu
        compared = against_raw(told, files)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{given.strands} strands, {told.nights} nights under two settings, history of {given.weeks} weeks")
    print(f"  {told.judged} of {told.strand_nights} strand-nights judged")
    print(
        f"  {clock:.0f} s by the clock, {cpu:.0f} s of the processor, {told.nights / cpu:.2f} nights a second"
    )
    print(f"  peak memory {peak // 1024} MB ({before // 1024} MB after the first night, which loaded it all)")
    print(f"  chains at a limit: {compared.present} under 3.0 %, {compared.proposed} under 2.5 %; ", end="")
    print(f"earlier {told.passed.earlier}, by {told.passed.median_earlier} days in the middle")
    print(f"  {len(compared.different)} differ from plain arithmetic")
    for line in compared.different:
        print("   ", line)


if __name__ == "__main__":
    main()
