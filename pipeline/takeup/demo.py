"""The main job on the invented plant of the sample exports: five nights, told one after the other.

Before each night its exports arrive in the inbox, and the planner's decisions are filled into the form that
the night before left in the queue, as a person would fill it.
"""

from __future__ import annotations

import csv
import json
import shutil
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from takeup.errors import OurFault, UsageError
from takeup.night import NightResult, nightly
from takeup.night.progress import Progress, unwatched
from takeup.resources import samples_dir
from takeup.site import Site

#: A folder with this file was made by the demo and may be made anew.
MARKER = ".takeup-demo"


@dataclass(frozen=True)
class DemoResult:
    """What the demo told."""

    folder: Path
    nights: tuple[NightResult, ...]

    @property
    def page(self) -> Path:
        """The queue's first page."""
        return self.folder.resolve() / "queue" / "current" / "index.html"

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {"page": str(self.page), "nights": [night.as_dict() for night in self.nights]}

    def text(self) -> str:
        """For people."""
        return "\n".join(
            [*(night.headline() for night in self.nights), "", f"The planning queue lies at {self.page}"]
        )


def demo(folder: Path, *, progress: Progress = unwatched) -> DemoResult:
    """Tell the nights of the invented plant in a folder of its own.

    Raises
    ------
    UsageError
        If the folder holds something that the demo did not make.
    """
    if folder.is_file() or (folder.exists() and any(folder.iterdir())):
        if not (folder / MARKER).exists():
            raise UsageError(
                "this folder holds something the demo did not make",
                where=str(folder),
                todo="Name a new folder: takeup demo FOLDER",
            )
        shutil.rmtree(folder)
    plant = samples_dir() / "plant"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / MARKER).write_text("This folder was made by 'takeup demo', which may make it anew.\n")
    shutil.copyfile(plant / "takeup.toml", folder / "takeup.toml")
    decisions = _decisions(plant / "decisions.csv")
    told = []
    for exports in sorted((plant / "nights").iterdir()):
        as_of = date.fromisoformat(exports.name)
        site = Site.open(folder)
        for export in sorted(exports.iterdir()):
            shutil.copy(export, site.inbox / export.name)
        _fill_form(site, as_of, [row for row in decisions if row["as_of"] == exports.name])
        told.append(nightly(site, as_of=as_of, progress=progress))
    return DemoResult(folder, tuple(told))


def _decisions(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _fill_form(site: Site, as_of: date, decisions: list[dict[str, str]]) -> None:
    """Fill the form in the queue with what was decided, and drop it into the inbox."""
    if not decisions:
        return
    current = site.folders.queue / "current"
    orders = json.loads((current / "orders.json").read_text(encoding="utf-8"))["orders"]
    numbers = {(order["job"], order["subject"]): order["number"] for order in orders}
    wanted = {}
    for decision in decisions:
        number = numbers.get((decision["job"], decision["subject"]))
        if number is None:
            raise OurFault(
                f"the demo decides about {decision['job']} of {decision['subject']}: there is no such order",
                where=f"decisions.csv, {decision['as_of']}",
            )
        wanted[number] = decision
    with (current / "closeouts_to_fill.csv").open(encoding="utf-8", newline="") as file:
        form = list(csv.DictReader(file))
    filled = [row | wanted.get(row["order"], {}) for row in form]
    path = site.inbox / f"closeouts_filled_{as_of.isoformat()}.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, form[0].keys(), extrasaction="ignore", lineterminator="\r\n")
        writer.writeheader()
        writer.writerows(filled)
