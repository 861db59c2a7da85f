"""How many slips in a plant's rows are seen, and how many are seen where none was made.

Run ``python -m tests.benchmarks.detection``; it takes two minutes and prints for each length of span one line
a kind of slip, a column each for four levels of wear. All is judged on the night on which the latest survey
arrives, by the real derivation and rules; what a later survey would still show is not counted. Shares stand
with their binomial standard error, each slip or clean survey being one trial.

Fast wear set aside is the dearest mistake: the surveys of chains that lost a seal or ran dry, and wore the
faster for it, of which a reading was taken for a slip.
"""

from __future__ import annotations

import itertools
import sys
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from tests.benchmarks.derive import moments, wide
from tests.derive.plant import Plant
from tests.simulators.walks import (
    GREASE_ML,
    GREASED_EVERY_HOURS,
    LAST_DAY,
    MARKS,
    PITCH_MM,
    READING_SLIPS,
    Walks,
    walks,
)

from takeup.contracts import contract
from takeup.derive.derivation import EPOCH, Derived
from takeup.derive.state import state
from takeup.judgement.judging import Judged, judge
from takeup.judgement.rules import OWN
from takeup.judgement.settings import JudgementSettings
from takeup.model import Feed
from takeup.wear.calibration import EMPTY_TABLE

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    import pandas as pd

RATES, SPANS = (0.1, 0.3, 0.8, 2.5), (10, 20, 40)
AS_OF = EPOCH + timedelta(days=LAST_DAY)
#: reason of the readings → the slip that it names
NAMES = {
    "mark miscounted": ("whole_pitch_miscount", "pins_counted"),
    "survey miscounted": ("whole_pitch_miscount", "pins_counted"),
    "strands swapped": ("swapped_strands",),
    "copied": ("copied_survey",),
    "copied from sister": ("copied_survey",),
}


#: kinds of false alarms among readings → a slip of that kind
ALARMS = {"miscount": "mark miscounted", "strands swapped": "strands swapped", "copied": "copied"}
#: reasons of a meter that was reset or changed without a record
FELL = ("meter_dropped", "hours_too_fast")
#: slips between two strands, told by how far these stand apart, in points
OF_TWO, APART = ("strands swapped", "copied from sister"), (0.0, 0.1, 0.2, 0.4, 5.0)


class Share(NamedTuple):
    """So many of so many."""

    hits: int
    trials: int

    def said(self, per: float = 100.0) -> str:
        """The share by ``per`` with its binomial standard error."""
        if not self.trials:
            return "-"
        share = self.hits / self.trials
        error = np.sqrt(share * (1 - share) / self.trials)
        return f"{per * share:.1f}+-{per * error:.1f} ({self.trials})"


class Rows(Plant):
    """The rows of walks, handed over as the store does."""

    def __init__(self, seen: Walks) -> None:
        super().__init__()
        self.frames = frames(seen)
        self.changed = set(self.frames[Feed.STRANDS]["strand"])

    def rows(
        self,
        feed: Feed,
        *,
        as_of: date,
        night: int | None = None,  # noqa: ARG002 - every row is known from the first night
        subjects: Iterable[str] | None = None,
        columns: Iterable[str] | None = None,
        by_key: bool = True,
        checked_by: int = 0,  # noqa: ARG002 - they keep their contracts by their making
    ) -> pd.DataFrame:
        """All rows of a feed: none is dated after the latest walk."""
        if feed not in self.frames:
            return super().rows(feed, as_of=as_of, subjects=subjects, columns=columns, by_key=by_key)
        return self.frames[feed]


class Told(NamedTuple):
    """What was made of some walks."""

    walks: Walks
    derived: Derived
    judged: Judged


def frames(seen: Walks) -> dict[Feed, pd.DataFrame]:
    """The walks as exports: every row in the columns of its contract."""
    pairs = seen.slip.size
    strand = np.array([f"P{number // 2:05d}-{'AB'[number % 2]}" for number in range(2 * pairs)], dtype=object)
    machine = np.array([f"P{number:05d}" for number in range(pairs)], dtype=object)
    fitted = np.repeat(seen.fitted_day, 2)
    of = np.repeat(seen.survey_strand, MARKS)
    first = np.repeat(seen.survey_day == fitted[seen.survey_strand], MARKS)
    marks = np.tile(np.array([str(mark) for mark in range(1, MARKS + 1)], dtype=object), seen.survey_day.size)
    found = {
        Feed.MACHINES: wide(
            Feed.MACHINES, pairs, machine=machine, planned_hours_per_day=17.0, kind="bucket_elevator",
            service="abrasive_bulk",
        ),
        Feed.STRANDS: wide(
            Feed.STRANDS, 2 * pairs, strand=strand, machine=np.repeat(machine, 2), set=np.repeat(machine, 2),
            pitch_mm=PITCH_MM, pitches=240.0, construction="bushed_rollerless", seals="single",
            lube_plan="sealed_greaseable", lube_interval_hours=GREASED_EVERY_HOURS,
            lube_quantity_ml=GREASE_ML, fitted_on=moments("fitted_on", fitted)["fitted_on"],
            fitted_on_day=fitted.astype(float),
        ),
        Feed.RUN_HOURS: wide(
            Feed.RUN_HOURS, seen.meter_day.size, machine=machine[seen.meter_machine],
            meter_hours=seen.meter_hours, **moments("read_at", seen.meter_day),
        ),
        Feed.ELONGATION_READINGS: wide(
            Feed.ELONGATION_READINGS, of.size, strand=strand[of], mark=marks, pitches=float(seen.pitches),
            occasion=np.where(first, "as_left", "routine").astype(object), length_mm=seen.length_mm.ravel(),
            chain_temperature_c=20.0, tape_temperature_c=20.0,
            **moments("measured_at", np.repeat(seen.survey_day, MARKS)),
        ),
        Feed.LUBE_RECORDS: wide(
            Feed.LUBE_RECORDS, seen.lube_day.size, strand=strand[seen.lube_strand], quantity_ml=seen.lube_ml,
            **moments("done_at", seen.lube_day),
        ),
    }  # fmt: skip
    return {feed: _sorted(feed, rows) for feed, rows in found.items()}


def _sorted(feed: Feed, rows: pd.DataFrame) -> pd.DataFrame:
    return rows.sort_values(list(contract(feed).key), kind="stable", ignore_index=True)


def told(seed: int, pairs: int, rate: float, pitches: int, **world: float) -> Told:
    """Some pairs walked to, and what derivation and judgement make of them."""
    rng = np.random.default_rng([seed, pitches, int(1000 * rate)])
    seen = walks(rng, pairs, rate=rate, pitches=pitches, **world)
    rows = Rows(seen)
    derived = rows.derived(AS_OF, night=1)
    rules = [rule for rule in OWN if rule.name in ("rate_change", "lube_overdue")]
    judged = judge(state(derived, AS_OF), derived, EMPTY_TABLE, JudgementSettings(), AS_OF, {}, rules=rules)
    return Told(seen, derived, judged)


def figures(found: Told) -> dict[str, Share]:
    """For each kind of slip how many were seen."""
    seen = found.walks
    shares: dict[str, Share] = {}
    for name in READING_SLIPS:
        named, its = _pairs_with(found, NAMES[name]), seen.slip == name
        if name not in OF_TWO:
            shares[name] = _share(named, its)
            continue
        for low, high in itertools.pairwise(APART):
            between = its & (seen.apart >= low) & (seen.apart < high)
            shares[f"{name}, {low} to {high}"] = _share(named, between)
    changed, since = _changed(found), np.repeat(seen.since, 2)
    shown = (changed >= 0) & (changed < since)
    for count in range(1, 5):
        name = f"seal lost, {count} survey{'s' if count > 1 else ''} on"
        shares[name] = _share(shown, _first_strand(seen, "seal lost") & (since == count))
    shares["hidden lapse, by the rate"] = _share(shown, _first_strand(seen, "hidden lapse"))
    dropped, joined = _machines_with(found, FELL), _joined(found)
    for name in ("meter reset", "meter changed"):
        shares[name] = _share(dropped, seen.slip == name)
    shares["meter rolled over"] = _share(joined & ~dropped, seen.slip == "meter rolled over")
    asked, overdue = _asked_for_grease(found), seen.ungreased_hours > 1.1 * GREASED_EVERY_HOURS
    for name in ("not greased", "greased thinly"):
        shares[name] = _share(asked, np.repeat(seen.slip == name, 2) & overdue)
    return shares


def alarms(found: Told) -> dict[str, Share]:
    """How often each was seen where it was not."""
    seen = found.walks
    clean, reasons = np.repeat(seen.slip == "", 2), found.derived.set_aside_rows["reason"]
    told = {name: _strands_with(found, NAMES[kind]) for name, kind in ALARMS.items()}
    shares = {name: _share(hit, clean) for name, hit in told.items()}
    shares["change of rate"] = _share(_changed(found) == 0, clean)  # seen with this survey
    overdue = seen.ungreased_hours > 1.1 * GREASED_EVERY_HOURS
    shares["grease overdue"] = _share(_asked_for_grease(found), clean & ~overdue)
    whose = found.derived.set_aside_rows["subject"][reasons.isin(FELL)]
    fell = sum(seen.slip[int(name[1:])] == "" for name in whose)
    shares["meter fell (of readings)"] = Share(fell, int((seen.slip == "")[seen.meter_machine].sum()))
    shares["hours wrong (of meters)"] = _share(~_joined(found), seen.slip == "")
    worn = _first_strand(seen, "seal lost") | _first_strand(seen, "hidden lapse")
    shares["fast wear set aside"] = _share(_strands_with(found, None), worn)
    return shares


def _first_strand(seen: Walks, slip: str) -> np.ndarray:
    """The strands that a slip befell, of pairs in which it befell one."""
    its = np.repeat(seen.slip == slip, 2)
    its[1::2] = False
    return its


def _strands_with(found: Told, reasons: tuple[str, ...] | None) -> np.ndarray:
    """Strands of which a reading of the latest survey was set aside, for one of these reasons or for any."""
    rows = found.derived.set_aside_rows
    rows = rows[(rows["day"] == LAST_DAY) & (rows["feed"] == "elongation_readings")]
    if reasons is not None:
        rows = rows[rows["reason"].isin(reasons)]
    hit = np.zeros(2 * found.walks.slip.size, dtype=bool)
    hit[[_number(name) for name in rows["strand"]]] = True
    return hit


def _pairs_with(found: Told, reasons: tuple[str, ...]) -> np.ndarray:
    return _strands_with(found, reasons).reshape(-1, 2).any(axis=1)


def _machines_with(found: Told, reasons: tuple[str, ...]) -> np.ndarray:
    hit = np.zeros(found.walks.slip.size, dtype=bool)
    rows = found.derived.set_aside_rows
    rows = rows[rows["reason"].isin(reasons) & (rows["feed"] == "run_hours")]
    hit[[int(name[1:]) for name in rows["subject"]]] = True
    return hit


def _joined(found: Told) -> np.ndarray:
    """Machines whose hours since fitting are right within the rounding of the meter."""
    seen = found.walks
    last = np.append(np.flatnonzero(np.diff(seen.meter_machine)), seen.meter_machine.size - 1)
    first = np.append(0, last[:-1] + 1)
    names = [f"P{number:05d}" for number in range(seen.slip.size)]
    at = [found.derived.meters.hours_at(names, seen.meter_day[place] + 0.5)[0] for place in (first, last)]
    ran = seen.run_hours[last] - seen.run_hours[first]
    return np.abs(at[1] - at[0] - ran) <= 1.0


def _changed(found: Told) -> np.ndarray:
    """For each strand how many surveys ago the newest change of its rate was seen; -1 where none."""
    seen, strands = found.walks, found.judged.prognosis
    ago = np.full(2 * seen.slip.size, -1)
    hit = strands["change_found"].to_numpy(dtype=bool)
    for name, day in zip(strands["strand"][hit], strands["change_seen_day"][hit], strict=True):
        strand = _number(name)
        begin, end = np.searchsorted(seen.survey_strand, [strand, strand + 1])
        ago[strand] = (seen.survey_day[begin:end] > day).sum()
    return ago


def _number(strand: str) -> int:
    return 2 * int(strand[1:6]) + (strand[-1] == "B")


def _asked_for_grease(found: Told) -> np.ndarray:
    verdicts = found.judged.verdicts[found.judged.verdicts["rule"] == "lube_overdue"]
    asked = np.zeros(2 * found.walks.slip.size, dtype=bool)
    late = verdicts["reason"].isin(["overdue", "starved"])
    asked[[_number(name) for name in verdicts["subject"][late]]] = True
    return asked


def _share(hit: np.ndarray, among: np.ndarray) -> Share:
    return Share(int((hit & among).sum()), int(among.sum()))


def report(pairs: int = 3000) -> None:
    """Print the tables."""
    for span in SPANS:
        cells = [told(1, pairs, rate, span) for rate in RATES]
        heads = "".join(f"{f'{rate} %/1000 h':>22}" for rate in RATES)
        print(f"\nspan of {span} pitches; seen on the night it arrives, % +- standard error (slips)")
        print(f"{'':>32}{heads}")
        _print([figures(cell) for cell in cells], 100.0)
        print("seen where it was not, in 1,000 clean surveys (strands, where nothing else is said)")
        _print([alarms(cell) for cell in cells], 1000.0)


def _print(cells: list[dict[str, Share]], per: float) -> None:
    for name in cells[0]:
        print(f"{name:>32}" + "".join(f"{cell[name].said(per):>22}" for cell in cells))


if __name__ == "__main__":
    report(*(int(word) for word in sys.argv[1:]))
