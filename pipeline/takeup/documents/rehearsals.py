"""What a rehearsal found, as one page with its charts and as text for a terminal."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from takeup.audit.happened import Outcome
from takeup.contracts import contract
from takeup.documents.environment import environment, own_templates
from takeup.documents.filters import setting_value
from takeup.documents.forecasts import stage_range
from takeup.judgement.settings import says
from takeup.model import Fact, Job

if TYPE_CHECKING:
    from pathlib import Path

    from takeup.audit.forecasts import StageRecord
    from takeup.audit.happened import Judged
    from takeup.audit.rehearsal import Rehearsal

#: most orders listed on the page; the JSON has all
MOST = 60
#: size of a chart in user units, and the plot inside it: left, top, width, height
WIDTH, HEIGHT = 640.0, 230.0
LEFT, TOP, ACROSS, DOWN = 36.0, 10.0, 590.0, 180.0
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


@dataclass(frozen=True)
class Tick:
    """A mark on an axis: where it stands, and what it says."""

    at: float
    says: str


@dataclass(frozen=True)
class Lines:
    """How many orders stood from week to week: points of the two lines, and the axes."""

    present: str
    proposed: str
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


@dataclass(frozen=True)
class Notice:
    """One chain that came off: where its row stands, and where each side's order was out before."""

    y: float
    says: str
    present: float | None
    proposed: float | None


@dataclass(frozen=True)
class Notices:
    """Notice of every chain that came off, in days before it did."""

    rows: tuple[Notice, ...]
    across: tuple[Tick, ...]
    height: float


def rehearsal_page(told: Rehearsal, template_dirs: Sequence[Path]) -> str:
    """The page of a rehearsal, self-contained.

    Parameters
    ----------
    told : Rehearsal
    template_dirs : sequence of Path
        The site's own first, ours last.
    """
    with own_templates(template_dirs):
        return environment(template_dirs).get_template("rehearsal.html.j2").render(**_values(told))


def rehearsal_text(told: Rehearsal, template_dirs: Sequence[Path]) -> str:
    """The same in short, for a terminal."""
    with own_templates(template_dirs):
        text = environment(template_dirs).get_template("text/rehearsal.txt.j2").render(**_values(told))
    return html.unescape(text).strip()


def _values(told: Rehearsal) -> dict[str, Any]:
    moved = told.moved
    return {
        "told": told,
        "changes": [
            {
                "says": says(change.name),
                "name": change.name,
                "whom": change.whom,
                "before": setting_value(Fact(change.name, change.before, change.unit)),
                "after": setting_value(Fact(change.name, change.after, change.unit)),
            }
            for change in told.changes
        ],
        "jobs": told.jobs,
        "moved": moved[:MOST],
        "more": max(0, len(moved) - MOST),
        "outcomes": [
            (outcome, told.present.count(outcome), told.proposed.count(outcome))
            for outcome in Outcome
            if outcome is not Outcome.FALSE
        ],
        "fractures": [
            (
                outcome,
                told.present.count(outcome, fractures=True),
                told.proposed.count(outcome, fractures=True),
            )
            for outcome in (Outcome.CAUGHT, Outcome.LATE, Outcome.MISSED)
        ],
        "chains": list(zip(told.present.chains, told.proposed.chains, strict=True)),
        "broken": list(zip(told.present.fractures, told.proposed.fractures, strict=True)),
        "stages": _stages(told.present.forecasts, told.proposed.forecasts),
        "delays": _delays(told.first_loads),
        "lines": _lines(told),
        "notices": _notices(told.present.chains, told.proposed.chains),
    }


def _stages(present: Sequence[StageRecord], proposed: Sequence[StageRecord]) -> list[dict[str, Any]]:
    """The records of each stage side by side."""
    sides = [{(one.own, one.stage): one for one in side} for side in (present, proposed)]
    keys = sorted({key for side in sides for key in side}, key=lambda key: (not key[0], key[1]))
    return [
        {
            "own": own,
            "stage": stage_range(stage),
            "present": sides[0].get((own, stage)),
            "proposed": sides[1].get((own, stage)),
        }
        for own, stage in keys
    ]


def _delays(feeds: Sequence[str]) -> list[tuple[int, list[str]]]:
    """The feeds by their usual delay in days."""
    found: dict[int, list[str]] = {}
    for feed in feeds:
        found.setdefault(contract(feed).usual_delay_days, []).append(feed)
    return sorted(found.items())


def _lines(told: Rehearsal) -> Lines | None:
    """How many orders to replace a set stood from week to week; None where none ever did."""
    days = told.weeks()
    sides = [side.standing(days, Job.REPLACE_SET) for side in (told.present, told.proposed)]
    most = max(max(side) for side in sides)
    if not most:
        return None
    step = next(each for each in _STEPS if most <= 5 * each)
    top = step * -(-most // step)

    def x(day: date) -> float:
        return LEFT + ACROSS * (day - days[0]).days / max((days[-1] - days[0]).days, 1)

    def y(count: float) -> float:
        return TOP + DOWN * (1 - count / top)

    def points(counts: Sequence[int]) -> str:
        spots: list[str] = []
        for place, (day, count) in enumerate(zip(days, counts, strict=True)):
            if place:
                spots.append(f"{x(day):.1f},{y(counts[place - 1]):.1f}")
            spots.append(f"{x(day):.1f},{y(count):.1f}")
        return " ".join(spots)

    every = max(1, (len(days) * 7) // 200)  # quarters, or rarer over many years
    firsts = [day for day in days if day.day <= 7 and (day.month - 1) % (3 * every) == 0]
    return Lines(
        points(sides[0]),
        points(sides[1]),
        tuple(Tick(x(day), f"{day:%Y-%m}") for day in firsts),
        tuple(Tick(y(count), str(count)) for count in range(0, top + 1, step)),
    )


def _notices(present: Sequence[Judged], proposed: Sequence[Judged]) -> Notices | None:
    """Days of notice of each chain that came off with an order out; None where none had one."""
    both = [
        (one, other)
        for one, other in zip(present, proposed, strict=True)
        if one.order is not None or other.order is not None
    ][:MOST]
    if not both:
        return None
    most = max(one.notice_days or 0 for pair in both for one in pair)
    step = next((each for each in (30, 60, 90, 180, 365) if most <= 6 * each), 730)
    end = step * max(1, -(-most // step))
    left = 180.0

    def x(days: int | None) -> float | None:
        return None if days is None else left + (WIDTH - left - 14) * (1 - days / end)

    rows = tuple(
        Notice(
            24.0 + 18 * place, f"{one.set}, {one.on.isoformat()}", x(one.notice_days), x(other.notice_days)
        )
        for place, (one, other) in enumerate(both)
    )
    ticks = tuple(Tick(x(days) or 0.0, str(days)) for days in range(0, end + 1, step))
    return Notices(rows, ticks, 24.0 + 18 * len(rows) + 26)
