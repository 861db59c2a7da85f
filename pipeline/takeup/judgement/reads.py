"""Which settings entered the numbers behind an answer, so that an order can list them and no others.

Each function here names, for one group of numbers, the settings that *this* strand's were reckoned with: a
default that the register's own value replaced is not among them. Rules name the groups they tell
(:attr:`takeup.judgement.rule.Rule.reads`). A test changes every setting in turn and says that whatever moves
an answer's numbers is listed with it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

import numpy as np

from takeup.derive.lengths import READ
from takeup.derive.meters import WINDOWS
from takeup.judgement.facts import known
from takeup.judgement.settings import SECTIONS, JudgementSettings
from takeup.model import Fact

Row = Mapping[str, Any]
#: section of the settings and field
Name = tuple[str, str]
#: settings of measuring that are named with what they entered
_MEASURED = frozenset(
    {
        *READ,
        *(f"tolerance_{width}_percent" for width in ("roller", "cast", "other")),
        "latest_baseline_hours",
        *WINDOWS.values(),
        "utilisation_least_days",
    }
)
Reads = Callable[[Row], Iterable[Name]]


def settings_read(reads: Iterable[Reads], row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The settings that some groups of numbers were reckoned with, each once, as facts ``section.field``.

    Parameters
    ----------
    reads : iterable of callable
    row : mapping
        The strand's row of the prognosis, with the rule's own row over it.
    settings : JudgementSettings
    """
    names = dict.fromkeys(name for group in reads for name in group(row))
    machine, strand = str(row.get("machine", "")), str(row.get("strand", ""))
    return tuple(settings.told(section, name, machine, strand) for section, name in names)


def survey(row: Row) -> Iterator[Name]:
    """What the latest survey and its zero were reckoned with."""
    for name in row["survey_settings"].split():
        yield "measuring", name


def least(row: Row) -> Iterator[Name]:
    """What the limits were that can ask for a chain, of which the least governs."""
    fit = (("fixed", "fixed_percent"), ("sprocket", "drive_percent"), ("conveyor", "conveyor_percent"))
    for limit, name in fit:
        if np.isfinite(row[f"limit_{limit}"]):
            yield "limits", name
            if limit != "fixed" and known(row["teeth_max"]):
                yield "limits", "ride_percent"
    if any(np.isfinite(row[f"limit_{name}"]) for name in ("chrome", "pin", "bushing")):
        yield from _share(row)
    for limit, name in (("pin", "pin_strength_kept"), ("bushing", "bushing_wall_part")):
        if np.isfinite(row[f"limit_{limit}"]):
            yield "limits", name
    if known(row["bend"]) and not row["case_is_default"]:
        yield from _case(row)
    if np.isfinite(row["limit_takeup"]):
        yield from brought_forward(row)


def limits(row: Row) -> Iterator[Name]:
    """What all limits were, with the hardened case past which wear goes on faster."""
    yield from least(row)
    if known(row["bend"]):
        yield from _case(row)
    if np.isfinite(row["limit_takeup"]) and not row["takeup_is_estimated"]:
        yield "limits", "takeup_u_mm"


def plan_line(row: Row) -> Iterator[Name]:
    """What the plan line was."""
    if row["plan_limit"] or row["governing"]:
        yield "limits", "plan_part"


def _case(row: Row) -> Iterator[Name]:
    yield from _share(row)
    if row["case_certified"] != "yes":
        yield "limits", "usable_case_part"
    for part in ("pin", "bushing"):
        if not known(row[f"{part}_case_mm"]) and row[f"{part}_hardening"] != "through":
            yield "limits", f"{part}_case_mm"


def _share(row: Row) -> Iterator[Name]:
    if not known(row["pin_share"]):
        yield "limits", "pin_share"


def rate(row: Row) -> Iterator[Name]:
    """What the wear rate was, and how it is carried past the hardened case."""
    service = row["wearing_service"]
    if row["own_rate"]:
        yield from (("forecast", name) for name in ("run_in_hours", "phase_ratio", "slope_surveys"))
    elif row["rate_source"] in ("pooled", "start") and service:
        if row["rate_source"] == "start":
            yield "forecast", f"rate_{service}"
        yield "forecast", f"rate_{service}_upper"
        by_word = row["wet"] == "yes" or row["corrosive"] == "yes"
        if service in ("highly_abrasive", "severe") and known(row["speed_m_per_s"]) and not by_word:
            yield "forecast", "slow_m_per_s"
    bent = known(row["bend"]) and (row["ahead_level"] > row["bend"] or row["e_wear_mean"] > row["bend"])
    if bent and row["rate_source"] not in ("own_past_case", "none"):
        yield "forecast", "past_case_factor"


def usual_hours(row: Row) -> Iterator[Name]:
    """What the run hours per day were that turn hours into days."""
    if known(row["h_middle"]) and known(row["hours_per_day_usual"]):
        yield "measuring", "utilisation_days"
        yield "measuring", "utilisation_least_days"
    for window in ("short", "long"):
        if known(row[f"hours_per_day_{window}"]):
            yield "measuring", f"utilisation_{window}_days"


def planning(row: Row) -> Iterator[Name]:
    """What need-by and buy-by were reckoned with."""
    if row["lead_is_default"]:
        yield "planning", "lead_days"
    yield "planning", "margin_days"
    if known(row["job_hours"]) and not row["job_hours_stated"]:
        yield "planning", "replacement_base_hours"
        yield "planning", "replacement_hours_per_m"


def takeup(row: Row) -> Iterator[Name]:
    """What the take-up's trigger and the sum of a shortening were reckoned with."""
    if known(row["takeup_trigger_mm"]):
        yield "limits", "takeup_left_part"
        yield "limits", "joining_slack_mm"
    yield from brought_forward(row)


def brought_forward(row: Row) -> Iterator[Name]:
    """From how old a take-up reading on it is brought forward to the survey."""
    if row["takeup_is_carried"]:
        yield "surveying", "same_survey_days"


def next_survey(row: Row) -> Iterator[Name]:
    """What the interval to the next survey was reckoned with."""
    if not known(row["survey_day"]):
        yield "forecast", "run_in_hours"
        return
    yield from (("surveying", name) for name in ("longest_hours", "shortest_hours", "early_part"))
    if row["survey_hours"] < row["run_in_hours"]:
        yield "forecast", "run_in_hours"
    if row["starved"] or row["seals_lost"]:
        yield "surveying", "hastened_part"
    if row["starved"]:
        yield from lube_interval(row)
        yield "lubrication", "starved_times"


def lube_interval(row: Row) -> Iterator[Name]:
    """What the interval of lubrication was."""
    if row["lube_interval_is_default"] and row["lube_plan"] != "none_by_decision":
        yield "lubrication", f"{row['lube_plan']}_hours"


def lube_overdue(row: Row) -> Iterator[Name]:
    """What the hours were at which lubrication counts as overdue."""
    if known(row["lube_interval"]):
        yield from lube_interval(row)
        yield "lubrication", "grace_part"


def lube_counted(row: Row) -> Iterator[Name]:
    """What decided which lube records count, what is accepted, and how many blank ones are told."""
    if known(row["lube_quantity_ml"]) and row["lube_quantity_ml"] > 0:
        yield "lubrication", "least_part"
        yield "lubrication", "most_times"
    if row["lube_blank_quantity_run"]:
        yield "lubrication", "blank_records"


def lapses(row: Row) -> Iterator[Name]:
    """What the cost of lapses of lubrication was reckoned with, where one is told."""
    if known(row["lapse_cost"]):
        yield from survey(row)
        yield "forecast", "run_in_hours"
        yield "lubrication", "grace_part"
        if known(row["bend"]):
            yield from _case(row)


def always_told(section: str, name: str) -> bool:
    """Whether a setting is none of those named here: it decides what is set aside, asked or bundled."""
    return section not in SECTIONS and not (section == "measuring" and name in _MEASURED)


def of(section: str, *names: str, cases: tuple[str, ...] = ()) -> Reads:
    """A group of settings that a rule reads whatever the strand; in some of its cases only, if named."""

    def read(row: Row) -> Iterator[Name]:
        if not cases or row["case"] in cases:
            yield from ((section, name) for name in names)

    return read


#: what an answer about a limit that comes was reckoned with
FORECAST: tuple[Reads, ...] = (survey, limits, plan_line, rate, usual_hours, planning)
#: what the chart and tables of a strand on an order show
SERIES: tuple[Reads, ...] = (survey, limits, plan_line, rate, usual_hours, next_survey)
