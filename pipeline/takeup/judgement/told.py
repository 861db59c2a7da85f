"""Facts and cases that several rules about the elongation share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.judgement.facts import (
    FLEET,
    KEPT_OUT,
    METER,
    READING,
    RECKONED,
    REGISTER,
    STOPS,
    SURVEY,
    fact,
    facts,
    known,
    setting_fact,
)
from takeup.judgement.limits import LIMITS
from takeup.judgement.rule import PERCENT, Row, numbers, words
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

PLANNED = "planned hours of the machine"

#: source of a rate that is no setting → where its number comes from
_RATE_ORIGIN: Mapping[str, str] = {
    "own": "reckoned by takeup from the surveys",
    "own_past_case": "reckoned by takeup from the surveys",
    "own_times_factor": "reckoned by takeup from the surveys and the factor past the hardened case",
    "pooled": "rates of chains in the same service at this plant",
}

#: limit → setting behind it, where it is one
_LIMIT_SETTING: Mapping[str, str] = {
    "sprocket": "drive_percent",
    "fixed": "fixed_percent",
    "conveyor": "conveyor_percent",
}


def unjudged(strands: pd.DataFrame) -> tuple[tuple[NDArray[np.bool_], str], ...]:
    """Choices for strands whose elongation is not known, first of all others."""
    no_e = np.isnan(numbers(strands, "e_wear_mean"))
    return (
        (
            no_e & np.isnan(numbers(strands, "pitch_mm")) & ~np.isnan(numbers(strands, "last_any_day")),
            "no_pitch",
        ),
        (no_e, "no_survey"),
    )


def unsure(strands: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether the least limit known may be lower than told, so that being below it says little."""
    least = words(strands, "governing")
    return np.asarray((least != "") & (least == words(strands, "at_most")), dtype=bool)


def why_unjudged(row: Row) -> tuple[Fact, ...]:
    """Facts for a strand that no survey or pitch lets judge; empty for any other."""
    if row["case"] not in ("no_survey", "no_pitch"):
        return ()
    missing = ("pitch_mm",) if row["case"] == "no_pitch" else tuple(row["missing"].split())
    return (
        facts({"survey_on": row["survey_day"]}, SURVEY)
        + facts({"not_judged": tuple(row["not_judged"].split())})
        + facts({"missing": missing, "fitted_on": row["fitted_day"]}, REGISTER)
        + facts({"set_aside_on": row["set_aside_latest_day"]}, KEPT_OUT)
    )


def survey_facts(row: Row, zero: str = "as_fitted") -> tuple[Fact, ...]:
    """Day and marks of the survey; the spread of the marks in the zero that is told."""
    spread = row["e_geo_max"] - row["e_geo_mean"] if zero == "nominal" else row["spread"]
    return facts(
        {
            "survey_on": row["survey_day"],
            "marks": row["n_marks"],
            "spread_points": _step(spread),
            "baseline": row["baseline"],
        },
        SURVEY,
    )


def limit_facts(row: Row, settings: JudgementSettings, which: str) -> tuple[Fact, ...]:
    """The elongation set against one limit; ``which`` is ``decides`` or ``plan``."""
    limit = row[f"{which}_limit"]
    told = survey_facts(row, row[f"{which}_zero"]) + facts(
        {
            "e_percent": _step(row[f"{which}_e"]),
            "uncertainty_percent": _step(row[f"{which}_expanded"]),
            "zero": row[f"{which}_zero"],
            "from_mark": row[f"{which}_from_mark"],
        },
        SURVEY,
    )
    told += facts({"limit": limit, "limit_kind": LIMITS[limit][0]})
    told += (_limit_percent(row, settings, which),)
    told += facts(
        {
            "plan_percent": _step(
                row[f"{which}_limit_percent"]
                * settings.limits.value("plan_part", row["machine"], row["strand"])
            ),
            "not_judged": tuple(row["not_judged"].split()),
            "at_most": row["at_most"],
        }
    )
    told += facts({"missing": tuple(row["missing"].split())}, REGISTER)
    if known(row["bend"]):
        told += (fact("case_percent", _step(row["bend"]), is_default=bool(row["bend_is_default"])),)
        told += _default_case(row, settings)
    return told


def _default_case(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The default depth whose case the mean reaches, alone or with U; it never asks for a chain."""
    e, expanded, bend = row["e_wear_mean"], 2 * row["u_wear"], row["bend"]
    if not row["bend_is_default"] or not round(e + expanded, PERCENT) >= round(bend, PERCENT):
        return ()
    reached = "past" if round(e, PERCENT) >= round(bend, PERCENT) else "within"
    told = facts({"default_case": reached, "case_part": row["bend_part"]})
    return (
        *told,
        setting_fact("case_default_mm", settings.limits, f"{row['bend_part']}_case_mm", row),
    )


def forecast_facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """Rate, hours, dates and what made their bounds."""
    told = facts(
        {"rate_source": row["rate_source"], "rate_surveys": row["rate_surveys"] if row["own_rate"] else None}
    )
    if known(row["rate"]):
        told += (_rate(row, settings),)
    if known(row["past_case_factor"]):
        told += (_rate_to_case(row, settings),)
        told += (setting_fact("factor_past_case", settings.forecast, "past_case_factor", row),)
    if row["since_case_agrees"]:
        told += facts(
            {
                "since_case_surveys": row["since_case_surveys"],
                "since_case_rate": row["since_case_rate"],
                "since_case_uncertainty": row["since_case_expanded"],
                "since_case_agrees": row["since_case_agrees"],
            },
            _RATE_ORIGIN["own"],
        )
    told += facts({"reckoned_on": row["reckon_day"]})
    for name, column in (("hours_per_day", "h_middle"), ("hours_per_day_early", "h_early")):
        planned = row[column] == row["planned_hours_per_day"]
        told += facts({name: _step(row[column], 1)}, PLANNED if planned else METER)
    told += facts(
        {
            "hours_early": row["hours_early"],
            "hours_middle": row["hours_middle"],
            "hours_late": row["hours_late"],
            "early_on": row["day_early"],
            "middle_on": row["day_middle"],
            "late_on": row["day_late"],
            "bounds_basis": row["bounds_basis"],
        }
    )
    told += facts(
        {
            "fleet_number": row["fleet_number"],
            "fleet_forecasts": row["fleet_forecasts"],
            "fleet_lent": row["fleet_lent"],
            "fleet_lives": row["fleet_lives"],
            "factor_low": _step(row["factor_low"], 2),
            "factor_high": _step(row["factor_high"], 2),
        },
        FLEET,
    )
    told += facts(
        {"factor_early": _step(row["factor_early"], 2), "factor_late": _step(row["factor_late"], 2)},
        f"{RECKONED}: the record's factor, the doubt of the tape and that of the zero",
    )
    told += facts({"need_by_on": row["need_by_day"], "buy_by_on": row["buy_by_day"]})
    told += facts({"shutdown": row["shutdown"]}, STOPS)
    told += facts(
        {"job_hours": _step(row["job_hours"], 1)}, REGISTER if row["job_hours_stated"] else RECKONED
    )
    if row["lead_is_default"]:
        told += (setting_fact("lead_days", settings.planning, "lead_days", row),)
    else:
        told += (fact("lead_days", row["lead_days"], REGISTER),)
    return (*told, setting_fact("margin_days", settings.planning, "margin_days", row))


def _rate_to_case(row: Row, settings: JudgementSettings) -> Fact:
    source = row["rate_source"].removesuffix("_times_factor")
    if source in _RATE_ORIGIN:
        return fact("rate_to_case", _step(row["rate_to_bend"], 4), _RATE_ORIGIN[source])
    return setting_fact("rate_to_case", settings.forecast, f"rate_{row['wearing_service']}", row)


def _rate(row: Row, settings: JudgementSettings) -> Fact:
    rate = _step(row["rate"], 4)
    if row["rate_source"] in _RATE_ORIGIN:
        return fact("rate", rate, _RATE_ORIGIN[row["rate_source"]])
    setting = f"rate_{row['wearing_service']}"
    start = settings.forecast.value(setting, row["machine"], row["strand"])
    if rate == _step(start, 4):
        return setting_fact("rate", settings.forecast, setting, row)
    of = f"times the start rate of the service, {start:.6g} % per 1000 h, past the hardened case"
    return setting_fact("rate", settings.forecast, "past_case_factor", row, rate, of)


def next_limit_facts(row: Row) -> tuple[Fact, ...]:
    """The limit the forecast runs to, where the case that decides is behind; empty for any other."""
    limit = row["ahead_limit"]
    if not row["case_behind"] or LIMITS[row["decides_limit"]][0] != "acceleration":
        return ()
    return facts(
        {
            "next_limit": limit,
            "next_limit_kind": LIMITS[limit][0],
            "next_limit_percent": _step(row["ahead_level"]),
        }
    )


def stop_facts(row: Row) -> tuple[Fact, ...]:
    """The next planned stop that takes a replacement, and when a set ordered now is here."""
    stop = facts({"next_stop": row["next_stop"], "next_stop_on": row["next_stop_day"]}, STOPS)
    return stop + facts({"set_here_on": row["set_here_day"]})


def takeup_out_facts(row: Row) -> tuple[Fact, ...]:
    """When the travel of the take-up is out."""
    return facts(
        {
            "takeup_limit_percent": _step(row["limit_takeup"]),
            "takeup_out_hours_early": row["takeup_hours_early"],
            "takeup_out_hours_middle": row["takeup_hours_middle"],
            "takeup_out_hours_late": row["takeup_hours_late"],
            "takeup_out_early_on": row["takeup_day_early"],
            "takeup_out_middle_on": row["takeup_day_middle"],
            "takeup_out_late_on": row["takeup_day_late"],
        }
    )


def takeup_facts(row: Row) -> tuple[Fact, ...]:
    """The take-up as read, as brought forward to a later survey, or as estimated where it was never read."""
    used = _step(row["takeup_used"], 1)
    if row["takeup_is_estimated"]:
        told = facts({"takeup_basis": "estimated", "used_mm": used}, RECKONED)
    elif row["takeup_is_carried"]:
        told = read_takeup_facts(row, "read_used_mm") + facts(
            {
                "takeup_basis": "brought_forward",
                "forward_to_on": row["survey_day"],
                "e_then_percent": _step(row["takeup_e_then"]),
                "used_mm": used,
            },
            RECKONED,
        )
        told += facts({"e_forward_percent": _step(row["e_wear_mean"])}, SURVEY)
        told += facts({"chain_now_mm": _step(row["pitches_now"] * row["pitch_mm"], 1)}, REGISTER)
    else:
        told = read_takeup_facts(row) + facts({"takeup_basis": "read" if known(used) else None}, READING)
    told += facts({"left_mm": _step(row["takeup_left"], 1)})
    return told + facts({"travel_mm": row["takeup_travel_mm"]}, REGISTER)


def read_takeup_facts(row: Row, name: str = "used_mm") -> tuple[Fact, ...]:
    """The take-up as it was read, and on which day; nothing where it never was."""
    if row["takeup_is_estimated"]:
        return ()
    return facts({"takeup_on": row["takeup_day"], name: _step(row["takeup_used_mm"], 1)}, READING)


def _limit_percent(row: Row, settings: JudgementSettings, which: str) -> Fact:
    limit, percent = row[f"{which}_limit"], _step(row[f"{which}_limit_percent"])
    if limit == "override":
        origin = f"{REGISTER}: {row['limit_override_reason']}" if row["limit_override_reason"] else REGISTER
        return fact("limit_percent", percent, origin)
    setting = _LIMIT_SETTING.get(limit)
    if setting is None:
        return fact("limit_percent", percent)
    found = settings.limits.sourced(setting, row["machine"], row["strand"])
    if percent == _step(found.value):
        return fact("limit_percent", percent, found.origin, is_default=found.is_default)
    of = f"/ {row['teeth_max']:.0f} teeth of the largest sprocket"
    return setting_fact("limit_percent", settings.limits, "ride_percent", row, percent, of)


def _step(value: Any, decimals: int = 3) -> Any:
    return round(float(value), decimals) if known(value) else value


def lube_interval_fact(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The interval of lubrication in force, from the register or the default of its plan."""
    if row["lube_interval_is_default"]:
        return (setting_fact("interval_hours", settings.lubrication, f"{row['lube_plan']}_hours", row),)
    return facts({"interval_hours": row["lube_interval"]}, REGISTER)


def lube_bounds(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """How little and how much of the planned quantity is accepted, where one is planned."""
    plan = row["lube_quantity_ml"]
    if not (known(plan) and plan > 0):
        return ()
    place = (row["machine"], row["strand"])
    return tuple(
        setting_fact(
            name,
            settings.lubrication,
            field,
            row,
            round(plan * float(settings.lubrication.value(field, *place)), 3),
            "of the planned quantity",
        )
        for name, field in (("least_ml", "least_part"), ("most_ml", "most_times"))
    )


def lube_plan_facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """Plan, lubricant, planned quantity and how much of it is accepted."""
    told = facts(
        {
            "lube_plan": row["lube_plan"],
            "quantity_ml": row["lube_quantity_ml"],
            "lubricant": row["lubricant"],
        },
        REGISTER,
    )
    return told + lube_bounds(row, settings)
