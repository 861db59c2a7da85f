"""Plain exports of an invented plant in which much is due: for checks against raw exports."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import numpy as np
from tests.benchmarks import big_plant

from takeup.night import nightly
from takeup.site import Site

AS_OF = big_plant.AS_OF[0]
SETTINGS = '[site]\nname = "Large works"\ntime_zone = "Europe/Lisbon"\nsettle_seconds = 0\n'
#: the limit of conveyors and elevators as it might be
OTHER_LIMIT = """
[limits]
conveyor_percent = {value = 2.5, reason = "tried", by = "steward", on = 2026-09-01, review_by = 2027-09-01}
"""


def exports(
    folder: Path, strands: int, seed: int, *, weeks: int | None = None, drag: float | None = None
) -> Path:
    """Write the first delivery of a plant whose chains are often late; the folder of its files.

    Parameters
    ----------
    weeks : int, optional
        How many weeks before the last night the history begins, instead of the plant's 110.
    drag : float, optional
        Part of the machines that are drag conveyors, whose chains the limit of conveyors governs.
    """
    late, designs = big_plant.LATE, big_plant.DESIGNS
    length, first = big_plant.WEEKS, big_plant.FIRST_DAY
    big_plant.LATE = 0.35
    big_plant.DESIGNS = designs.assign(worn_out_percent=1.25 * designs["worn_out_percent"])
    if drag is not None:
        is_drag = designs["kind"] == "drag_conveyor"
        others = designs["share"] * (1 - drag) / designs["share"][~is_drag].sum()
        big_plant.DESIGNS["share"] = others.where(~is_drag, drag)
    if weeks is not None:
        big_plant.WEEKS, big_plant.FIRST_DAY = weeks, big_plant.SECOND_NIGHT - 7 * weeks
    try:
        feeds = big_plant.plant(strands, seed)
    finally:
        big_plant.LATE, big_plant.DESIGNS = late, designs
        big_plant.WEEKS, big_plant.FIRST_DAY = length, first
    draw = np.random.default_rng(seed)
    checks, lives = feeds["sprocket_checks"], feeds["strands"]
    checks["gauge_depth_mm"] = draw.uniform(0.1, 6.0, len(checks)).round(1)
    travel = dict(zip(lives["set"].unique(), draw.uniform(0.45, 1.0, lives["set"].nunique()), strict=True))
    lives["takeup_travel_mm"] = (lives["takeup_travel_mm"] * lives["set"].map(travel)).round()
    big_plant.write(folder, feeds)
    return folder / "night_1"


def site(root: Path, files: Path, settings: str = "") -> Site:
    """A site whose first night took those files at once, years of them."""
    root.mkdir(parents=True)
    (root / "takeup.toml").write_text(SETTINGS + settings, encoding="utf-8")
    opened = Site.open(root)
    for path in files.iterdir():
        shutil.copy(path, opened.inbox)
    nightly(opened, as_of=AS_OF)
    return opened


def nights(many: int, seed: int) -> list[date]:
    """Nights of the last four hundred days, one drawn from each of so many equal parts, in order."""
    parts = np.arange(many) + np.random.default_rng(seed).random(many)
    days = big_plant.FIRST_NIGHT - 400 + np.floor(400 * parts / many)
    return [date.fromordinal(date(1970, 1, 1).toordinal() + int(day)) for day in days]
