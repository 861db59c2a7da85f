"""A joint wants lubricant by run hours; wet and idle, by the calendar too, for rust does not wait for hours.

Due at the interval, overdue past its grace, starved at twice the interval. Intervals under 72 h belong to the
daily round and are asked for only when starved. Chain that is dry by decision is never asked for: oil on slow
open chain in grit becomes a cutting compound (MIL-HDBK-1164 says so of underwater chain). Intervals: common
practice, no source, or the register; grace and the daily round proposed for this project, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement import reads
from takeup.judgement.facts import LUBED, METER, REGISTER, known, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    HOURS,
    PLAN,
    THIS_WEEK,
    Row,
    Rule,
    Situation,
    Turns,
    answers,
    choose,
    first_turn,
    numbers,
    rounded,
    words,
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import lube_interval_fact, lube_plan_facts
from takeup.model import Fact, Job
from takeup.wear.forecast import projected_day
from takeup.wear.lubrication import LubeClock, LubeTurns, lube_clock

if TYPE_CHECKING:
    import pandas as pd


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """Where every strand stands on its interval."""
    strands, as_of = situation.strands, situation.as_of
    machines, names = words(strands, "machine"), words(strands, "strand")

    def column(name: str) -> np.ndarray:
        return settings.lubrication.column(name, machines, names)

    plan, interval = words(strands, "lube_plan"), numbers(strands, "lube_interval")
    now = rounded(numbers(strands, "hours_now"), HOURS)
    turns = LubeTurns(
        *(rounded(numbers(strands, f"lube_{name}_hours"), HOURS) for name in ("due", "overdue", "starved"))
    )
    clock = lube_clock(now, turns)
    last_day = numbers(strands, "lube_last_day")
    last_day = np.where(np.isnan(last_day), numbers(strands, "fitted_day"), last_day)
    days = np.where(yes(strands, "wet"), as_of - last_day, np.nan)
    idle, grace = column("idle_days"), column("grace_part")
    daily = interval < column("daily_round_hours")
    case = choose(
        (plan == "none_by_decision", "dry_by_decision"),
        (plan == "", "no_plan"),
        (clock == LubeClock.STARVED, "starved"),
        (~daily & (clock == LubeClock.OVERDUE), "overdue"),
        (days > np.floor(idle * (1 + grace)), "calendar_overdue"),
        (~daily & (clock == LubeClock.DUE), "due"),
        (days >= idle, "calendar_due"),
        (clock == LubeClock.UNKNOWN, "no_hours"),
        (daily, "daily_round"),
        otherwise="within_interval",
    )
    by_days = np.isin(case, ["calendar_due", "calendar_overdue"])
    wanted = np.where(daily, turns.starved, turns.due)
    waits = np.isin(case, ["within_interval", "daily_round"])
    on_day = np.where(yes(strands, "wet"), last_day + idle, np.nan)
    return answers(
        strands,
        case,
        value=np.where(by_days, days, now),
        threshold=np.where(by_days, idle, wanted),
        margin=np.where(by_days, idle - days, wanted - now),
        unit=np.where(by_days, "d", "h").astype(object),
        turns=first_turn(
            waits,
            as_of,
            Turns(np.where(daily, "starved", "due"), wanted, _about(strands, wanted)),
            Turns("calendar_due", day=on_day),
        ),
        due_read_day=_due_read_day(situation),
        # On a dry strand no record is a lubrication that counts.
        lube_row=np.where(case == "dry_by_decision", -1, numbers(strands, "lube_row")),
    )


def _about(strands: pd.DataFrame, hours: np.ndarray) -> np.ndarray:
    """Day on which the life reaches these hours, at the usual hours per day."""
    ahead = hours - numbers(strands, "hours_reckoned")
    return projected_day(numbers(strands, "reckon_day"), ahead, 0.0, numbers(strands, "h_middle"))


def _due_read_day(situation: Situation) -> np.ndarray:
    """Day on which the meter read the hours at which the work fell due; NaN where it has not yet.

    Straight between the readings before and after, so it stands still once it is passed; a day drawn at the
    mean pace of the last weeks would be another after every spell of standing or of double shifts.
    """
    strands = situation.strands
    if situation.meters is None:
        return np.full(len(strands), np.nan)
    return situation.meters.day_reached(
        words(strands, "machine"), numbers(strands, "lube_due_hours") + numbers(strands, "hours_at_fitting")
    )


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """Plan, interval, the last lubrication and when the work fell due."""
    if row["case"] == "dry_by_decision":
        return facts_of({"lube_plan": row["lube_plan"]}, REGISTER)
    if row["case"] == "no_plan":
        return facts_of({"missing": ("lube_plan",)}, REGISTER)
    told = lube_plan_facts(row, settings) + lube_interval_fact(row, settings)
    told += _lapses(row) + _unwritten(row, settings)
    last_hours = row["lube_last_hours"]
    told += facts_of({"last_lube_on": row["lube_last_day"]}, LUBED)
    told += facts_of({"last_lube_hours": last_hours if known(last_hours) else 0.0}, METER)
    told += facts_of({"fitted_on": row["fitted_day"]}, REGISTER)
    if row["case"].startswith("calendar"):
        began = row["lube_last_day"] if known(row["lube_last_day"]) else row["fitted_day"]
        told += (setting_fact("interval_days", settings.lubrication, "idle_days", row),)
        return told + facts_of({"due_on": began + row["threshold"]})
    told += facts_of(
        {
            "due_hours": row["lube_due_hours"],
            "overdue_hours": row["lube_overdue_hours"],
            "starved_hours": row["lube_starved_hours"],
        }
    )
    if known(row["due_read_day"]):
        return told + facts_of({"due_on": row["due_read_day"]}, METER)
    about = projected_day(
        row["reckon_day"], row["lube_due_hours"] - row["hours_reckoned"], 0.0, row["h_middle"]
    )
    return told + facts_of({"due_about_on": float(about)})


def _lapses(row: Row) -> tuple[Fact, ...]:
    """What running without lubricant cost this strand, where its surveys tell."""
    return facts_of(
        {
            "lapse_hours": row["lapse_hours"],
            "lapse_cost_points": row["lapse_cost"],
            "lapse_uncertainty_points": row["lapse_cost_u"],
            "rate_within_plan": row["rate_within_plan"],
            "rate_beyond_plan": row["rate_beyond_plan"],
        }
    )


def _unwritten(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """How many of the last lubrications have no quantity, from the number at which that is told."""
    run = int(row["lube_blank_quantity_run"])
    least = settings.lubrication.value("blank_records", row["machine"], row["strand"])
    return facts_of({"blank_run": run if run >= least else None}, LUBED)


def turning(row: Row) -> Iterator[tuple[str, str]]:
    """What due, overdue and starved were reckoned with: by the calendar, or by run hours."""
    if row["case"].startswith("calendar"):
        yield from (("lubrication", name) for name in ("idle_days", "grace_part"))
    elif known(row["lube_interval"]):
        names = ("grace_part", "starved_times", "daily_round_hours")
        yield from (("lubrication", name) for name in names)


RULE = Rule(
    name="lube_overdue",
    job=Job.LUBRICATE,
    outcomes={
        "due": PLAN,
        "overdue": THIS_WEEK,
        "starved": THIS_WEEK,
        "calendar_due": PLAN,
        "calendar_overdue": THIS_WEEK,
        "within_interval": CLEAR,
        "daily_round": CLEAR,
        "dry_by_decision": CLEAR,
        "no_plan": CANNOT,
        "no_hours": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("lube_row", "strand_row"),
    beside=("meter", "machine_row"),
    reads=(reads.lube_interval, turning, reads.lube_counted, reads.lapses, reads.usual_hours),
)
