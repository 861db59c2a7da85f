"""What the package says of strands on past nights beside what plain Python says from the raw exports.

    python -m tests.audit.compared [--strands 300] [--nights 25] [--each 20] [--seed 1]

A past night is told as it was known: rows of the first load count from their own date plus the feed's delay.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from tests.audit import raw_plant
from tests.audit.independent import Plant, day_of
from tests.retell.plainly import Rehearsed

from takeup.derive.derivation import derive
from takeup.derive.state import state
from takeup.judgement.fleet import fleet_record
from takeup.judgement.judging import explain, judge
from takeup.model import Answer, Verdict
from takeup.site import Site
from takeup.store import Store

LOW = ("shorten", "not_yet", "step_unknown", "replace_instead")
LUBED = {
    "within_interval": "within",
    "daily_round": "within",
    "due": "due",
    "overdue": "overdue",
    "starved": "starved",
    "dry_by_decision": "dry",
}


class Compared(NamedTuple):
    """One question of one strand on one night; ``plain`` is None where plain arithmetic cannot tell."""

    rule: str
    strand: str
    day: date
    plain: Any
    told: Any

    @property
    def agree(self) -> bool:
        """Whether both say the same, as far as plain arithmetic can tell."""
        return self.plain is None or self.plain == self.told


def compared(site: Site, plant: Plant, nights: list[date], each: int, seed: int) -> Iterator[Compared]:
    """Five rules for so many strands drawn for each night."""
    draw = np.random.default_rng(seed)
    settings = site.settings
    with Store.open(site.folders.store, read_only=True) as store:
        for night in nights:
            derived = derive(
                Rehearsed(store),
                night=None,
                as_of=night,
                previous_as_of=None,
                settings=settings.measuring,
                lubrication=settings.judgement.lubrication,
                everything=True,
            )
            fleet = fleet_record(
                1, night.isoformat(), derived.lives, derived.surveys, derived.machines, settings.judgement
            )
            judged = judge(state(derived, night), derived, fleet, settings.judgement, night, {})
            names = judged.prognosis["strand"].to_numpy(dtype=object)
            for strand in draw.choice(names, min(each, names.size), replace=False):
                verdicts = {one.rule: one for one in explain(strand, judged.situation, settings.judgement)}
                yield from _compared(plant, strand, night, verdicts)


def _compared(plant: Plant, strand: str, night: date, told: dict[str, Verdict]) -> Iterator[Compared]:
    day = day_of(night.isoformat())

    def due(rule: str) -> bool:
        return rule in told and told[rule].answer is Answer.DUE

    yield Compared("wear_limit", strand, night, plant.reached(strand, day), due("wear_limit"))
    yield Compared(
        "lube_overdue",
        strand,
        night,
        plant.lubrication(strand, day),
        LUBED.get(told["lube_overdue"].reason, told["lube_overdue"].reason),
    )
    yield Compared("survey_overdue", strand, night, plant.survey_due(strand, day), due("survey_overdue"))
    yield Compared(
        "takeup_low", strand, night, plant.travel_low(strand, day), told["takeup_low"].reason in LOW
    )
    # A tooth within its limit that was gauged long ago is asked for again: that is another question.
    worn = "sprocket_wear" in told and told["sprocket_wear"].reason == "tooth_worn"
    yield Compared("sprocket_wear", strand, night, plant.teeth_worn(strand, day), worn)


def main() -> None:
    """Compare many, print how they were answered and every disagreement."""
    parser = argparse.ArgumentParser(description="The package against plain arithmetic over raw exports.")
    for name, usual in (("strands", 300), ("nights", 25), ("each", 20), ("seed", 1)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        files = raw_plant.exports(Path(folder) / "exports", given.strands, given.seed)
        site = raw_plant.site(Path(folder) / "site", files)
        nights = raw_plant.nights(given.nights, given.seed)
        found = list(compared(site, Plant(files), nights, given.each, given.seed))
    for rule in dict.fromkeys(one.rule for one in found):
        its = [one for one in found if one.rule == rule]
        answers = Counter(str(one.plain) for one in its)
        wrong = [one for one in its if not one.agree]
        print(f"{rule}: {len(its)} asked, plain answers {dict(answers)}, {len(wrong)} disagree")
        for one in wrong:
            print("   ", one)


if __name__ == "__main__":
    main()
