"""Small facts frames of the shape derive hands to judgement, so that a case reads as what differs.

The strand by default is the one of the handbook's worked example: pitch 152.4 mm, 240 pitches, 12 teeth at
both ends, take-up 300 of 480 mm, pin 31.75 mm, bushing wall 6.0 mm, certified case; surveys at 1200, 2650,
4100, 5500 h.
"""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from tests.derive.plant import Plant, frame

from takeup.derive.meters import MeterBook, meter_book
from takeup.derive.settings import MeasuringSettings
from takeup.judgement.judging import Judged, judge
from takeup.judgement.rule import Rule
from takeup.judgement.rules import OWN
from takeup.judgement.settings import SECTIONS, JudgementSettings
from takeup.layered import Layered, Override
from takeup.model import Feed, Job, KeptOut, Urgency, Verdict
from takeup.wear.calibration import EMPTY_TABLE, FleetTable

SCHEMA = json.loads((Path(__file__).parents[2] / "schemas" / "strands.json").read_text("utf-8"))
NUMBERS = {item["name"] for item in SCHEMA["fields"] if item["x-cell"] in ("decimal", "whole")}

#: 2026-03-02, a Monday: day of the latest survey, reckoning day and as-of day of the worked example
MONDAY = (date(2026, 3, 2) - date(1970, 1, 1)).days

U_L = np.sqrt((1.1 / np.sqrt(3)) ** 2 + 2 / 12 + 0.8**2 + 0.5**2 + (3.048e3 * 11.5e-6 * 2) ** 2)
U_GEO = 100 * U_L / 3048
U_WEAR = np.sqrt(2) * U_GEO
E_WEAR = 100 * (3098.5 - 3051.2) / 3048
E_GEO = 100 * (3098.5 - 3048.0) / 3048

_STATE: dict[str, Any] = {
    "strand": "BE-1-A", "fitted_on": "2025-03-01", "removed_on": None, "machine": "BE-1", "set": "BE-1",
    "side": "A", "construction": "bushed_rollerless", "pitch_mm": 152.4, "pitches": 240, "teeth_drive": 12,
    "teeth_tail": 12, "attachment_every": 1, "centres_mm": 17373.6, "fixed_centres": "no",
    "strand_spacing_mm": 900, "speed_m_per_s": 0.5, "takeup_travel_mm": 480, "takeup_start_mm": 16,
    "pin_diameter_mm": 31.75, "bushing_bore_mm": 32.15, "bushing_outside_mm": 44.15, "bushing_length_mm": 80,
    "pin_hardening": "induction", "bushing_hardening": "carburised", "pin_case_mm": 3.175,
    "bushing_case_mm": 1.5, "case_certified": "yes", "limit_override_zero": "nominal",
    "lube_plan": "open_conveyor", "lead_time_days": 70,
    "machine_name": "elevator", "kind": "bucket_elevator", "service": "abrasive_bulk", "area": "",
    "registered": True, "life_id": "BE-1-A|2025-03-01", "strand_row": 1, "machine_row": 2,
    "corrosive": "no", "hot": "no", "wet": "no", "dusty": "no", "combustible_dust": "no",
    "confined_space": "no", "stop_cost_per_hour": np.nan, "planned_hours_per_day": 20.4,
    "pitches_now": 240, "teeth_max": 12, "teeth_min": 12,
    "hours_now": 5500, "meter_day": MONDAY, "hours_bridged": False, "hours_per_day_short": 16.0,
    "hours_per_day_usual": 16.8, "hours_per_day_long": 20.4, "reckon_day": MONDAY, "hours_reckoned": 5500,
    "h_middle": 16.8, "h_early": 20.4, "fitted_day": MONDAY - 366, "hours_at_fitting": 0,
    "survey_id": "s4", "survey_day": MONDAY, "survey_hours": 5500, "e_wear_mean": E_WEAR,
    "e_wear_max": E_WEAR + 0.04,
    "e_geo_mean": E_GEO, "e_geo_max": E_GEO + 0.04, "max_mark": "3", "spread": 0.04, "u_wear": U_WEAR,
    "u_geo": U_GEO, "n_marks": 4, "baseline": "as_left", "survey_note": "", "n_surveys": 4,
    "survey_settings": "tape_class tape_2_mm tape_2_mm_per_m step_mm u_repeat_mm u_pull_mm u_temperature_k",
    "last_any_day": MONDAY, "new_limits_reason": "", "zero_shift": E_GEO - E_WEAR, "tolerance_percent": 0.25,
    "takeup_used_mm": 300, "takeup_estimated": False, "takeup_day": MONDAY, "takeup_hours": 5500,
    "takeup_rem_mm": 180,
    "e_takeup": 200 * 284 / 36576, "pitches_removed": 0,
    "lube_last_day": MONDAY - 1, "lube_last_hours": 5490, "lube_quantity_ml_last": 48, "dry_greased": False,
    "lube_row": 90, "lube_blank_quantity_run": 0, "lube_done_hours": [], "lube_newest_day": MONDAY - 1,
    "lube_given_ml": 48.0, "lube_given_some_blank": False, "lube_given_rows": [90],
    "set_aside_count": 0, "set_aside_latest_day": np.nan,
    "sidebar_now_mm": np.nan, "sidebar_day": np.nan, "sidebar_place": "", "sidebar_rows": [],
    "sidebar_hours": np.nan, "clearance_hours": np.nan,
    "clearance_now_mm": np.nan, "clearance_day": np.nan, "clearance_place": "", "clearance_rows": [],
    "survey_rows": [10, 11, 12, 13], "takeup_row": 20, "meter_row": 30,
}  # fmt: skip


def strand(name: str = "BE-1-A", **differs: Any) -> dict[str, Any]:
    """One row of the facts frame: the worked example's strand with what differs."""
    blank = {item["name"]: np.nan if item["name"] in NUMBERS else "" for item in SCHEMA["fields"]}
    unknown = differs.keys() - _STATE.keys() - blank.keys()
    assert not unknown, f"not columns of the facts frame: {unknown}"
    row = blank | _STATE | {"strand": name, "life_id": f"{name}|2025-03-01"} | differs
    return row | {"set": row["set"] or name}


def alone(name: str, **differs: Any) -> dict[str, Any]:
    """A strand on a machine of its own, so that a table of cases is judged in one pass."""
    return strand(name, machine=f"machine of {name}", set="", **differs)


def unmeasured(name: str = "BE-1-A", **differs: Any) -> dict[str, Any]:
    """A strand without a survey that may be used."""
    nothing: dict[str, Any] = dict.fromkeys(
        (
            "survey_day",
            "survey_hours",
            "e_wear_mean",
            "e_wear_max",
            "e_geo_mean",
            "e_geo_max",
            "spread",
            "u_wear",
            "u_geo",
            "zero_shift",
            "n_marks",
        ),
        np.nan,
    )
    texts = {
        "survey_id": "",
        "max_mark": "",
        "baseline": "",
        "survey_rows": [],
        "n_surveys": 0,
        "survey_settings": "",
    }
    return strand(name, **(nothing | texts | differs))


def state(*rows: dict[str, Any]) -> pd.DataFrame:
    """The facts frame of these strands."""
    return pd.DataFrame(list(rows) or [strand()]).head(len(rows))


def worn(e_wear: float, **differs: Any) -> dict[str, Any]:
    """Columns for a mean wear elongation, all marks alike, the chain born as long as the example's."""
    shift = E_GEO - E_WEAR
    return {
        "e_wear_mean": e_wear, "e_wear_max": e_wear, "e_geo_mean": e_wear + shift,
        "e_geo_max": e_wear + shift, "spread": 0.0,
    } | differs  # fmt: skip


def surveys(*lives: tuple[str, list[tuple[float, float]]], last_day: int = MONDAY) -> pd.DataFrame:
    """The surveys frame of these lives, each as (life hours, wear elongation) pairs, at 16.8 h a day."""
    rows = []
    for life_id, points in lives:
        for number, (hours, e) in enumerate(points, 1):
            rows.append(
                {
                    "survey_id": f"{life_id}-{number}", "life_id": life_id, "strand": life_id.split("|")[0],
                    "machine": "BE-1", "hours": hours,
                    "day": last_day - round((points[-1][0] - hours) / 16.8),
                    "occasion": "routine", "n_marks": 4, "pitches": 20, "e_wear_mean": e, "e_wear_max": e,
                    "e_geo_mean": e + E_GEO - E_WEAR, "e_geo_max": e + E_GEO - E_WEAR, "max_mark": "1",
                    "spread": 0.0, "u_wear": U_WEAR, "u_geo": U_GEO, "u_rate": U_GEO, "baseline": "as_left",
                    "is_zero": False, "percent_only": False, "usable": True, "usable_for_rate": True,
                    "note": "", "row_ids": [1000 + number],
                }
            )  # fmt: skip
    return pd.DataFrame(rows)


#: surveys of the worked example's rate
EXAMPLE_SURVEYS = ("BE-1-A|2025-03-01", [(1200, 0.41), (2650, 0.83), (4100, 1.22), (5500, E_WEAR)])


def shutdowns(*stops: tuple[str, str, float, float]) -> pd.DataFrame:
    """Planned stops as (name, machines, first position, last position)."""
    columns = ["shutdown", "machines", "starts_at_pos", "ends_at_pos"]
    frame = pd.DataFrame(list(stops), columns=columns)
    return frame.assign(
        starts_at_day=frame["starts_at_pos"].astype(float) // 1,
        ends_at_day=frame["ends_at_pos"].astype(float) // 1,
    )


def findings(*seen: dict[str, Any]) -> pd.DataFrame:
    """Findings as derived, each as what differs from a side rub seen on the strand on the as-of day."""
    usual = {
        "machine": "BE-1", "strand": "BE-1-A", "day": MONDAY, "finding": "side_rub", "stop_class": False,
        "severity": "", "abnormal": True, "place": "", "remark": "", "first_load": False, "in_joint": False,
        "site_word": "", "telling_word": "",
    }  # fmt: skip
    rows = []
    for number, differs in enumerate(seen):
        row = {"row_id": 500 + number} | usual | differs
        usual_of = {"pos": row["day"] + 0.5, "raw_finding": row["finding"].replace("_", " ")}
        rows.append(usual_of | {"stated": row["severity"]} | row)
    return pd.DataFrame(rows)


def checks(*gauged: dict[str, Any]) -> pd.DataFrame:
    """Sprocket checks, each as what differs from a sound drive sprocket."""
    usual = {
        "machine": "BE-1", "sprocket": "head", "shaft": "drive", "strand": "BE-1-A", "teeth": 12.0,
        "gauge_depth_mm": 1.0, "reversed": "no", "checked_at_day": MONDAY, "fitted_on_day": np.nan,
        "machine_hours": np.nan,
    }  # fmt: skip
    return pd.DataFrame([{"row_id": 700 + number} | usual | differs for number, differs in enumerate(gauged)])


def readings(*read: dict[str, Any]) -> pd.DataFrame:
    """Take-up readings as derived, one row a life, each as what differs from one without lag."""
    usual = {
        "strand": "BE-1-A", "last_lag_mm": np.nan, "last_lag_day": np.nan, "last_lag_row_id": -1,
        "shortened_day": np.nan, "row_id": 20,
    }  # fmt: skip
    rows = [usual | differs for differs in read]
    return pd.DataFrame([{"life_id": f"{row['strand']}|2025-03-01"} | row for row in rows])


def sources(*machines: str, **differs: Any) -> pd.DataFrame:
    """The register of energy sources as derived: one whole row for each of these machines."""
    usual = {
        "source": "main drive motor", "kind": "electrical", "magnitude": "690 V",
        "isolation_point": "panel 1", "isolated_how": "isolator off, padlock", "released_how": "none stored",
        "verified_how": "try the start button", "procedure_number": "LP-1", "exported": True,
    }  # fmt: skip
    rows = [
        {"row_id": 900 + number, "machine": machine} | usual | differs
        for number, machine in enumerate(machines)
    ]
    return pd.DataFrame(rows, columns=["row_id", "machine", *usual])


def metered(*readings: tuple[int, float], machine: str = "machine of S") -> MeterBook:
    """The meter of one machine, each reading as (day number, hours)."""
    plant = Plant()
    plant.machine(machine)
    for day, hours in readings:
        read_at = date(1970, 1, 1) + timedelta(days=day)
        plant.add(Feed.RUN_HOURS, machine=machine, read_at=read_at, meter_hours=hours)
    feeds = (frame(feed, plant.given[feed]) for feed in (Feed.RUN_HOURS, Feed.MACHINES))
    return meter_book(*feeds, Layered(MeasuringSettings()))


def lubed(*records: dict[str, Any]) -> pd.DataFrame:
    """Lube records as derived, one row a life."""
    usual = {"strand": "BE-1-A", "dry_records": [], "last_day": np.nan, "last_lubricant": "",
        "last_method": "", "last_by": "", "quantity_sum_ml": np.nan,
    }  # fmt: skip
    rows = [usual | differs for differs in records]
    return pd.DataFrame([{"life_id": f"{row['strand']}|2025-03-01"} | row for row in rows])


def judged(
    *rows: dict[str, Any],
    day: int = MONDAY,
    history: dict[tuple[Job, str], float] | None = None,
    closed: dict[tuple[Job, int], float] | None = None,
    kept_out: tuple[KeptOut, ...] = (),
    settings: JudgementSettings | None = None,
    fleet: FleetTable = EMPTY_TABLE,
    only: tuple[str, ...] = (),
    at_work: dict[str, Urgency] | None = None,
    rules: tuple[Rule, ...] = OWN,
    **frames: Any,
) -> Judged:
    """All rules (or only some) on these strands, with nothing else known but what is handed over."""
    machines = sorted({row["machine"] for row in rows} - {""})
    given = {"shutdowns": shutdowns(), "set_aside": [], "meters": None, "sources": sources(*machines)}
    nothing = {name: pd.DataFrame() for name in ("surveys", "findings", "lube", "takeup", "sprockets")}
    derived = SimpleNamespace(**(nothing | given | frames))
    as_of = date(1970, 1, 1) + timedelta(days=day)
    return judge(
        state(*rows),
        derived,
        fleet,
        settings or JudgementSettings(),
        as_of,
        history or {},
        closed=closed,
        kept_out=kept_out,
        at_work=at_work,
        rules=tuple(rule for rule in rules if not only or rule.name in only),
    )


def verdict(told: Judged, rule: str, subject: str = "BE-1-A") -> Any:
    """The one row of the verdicts frame for a rule and subject."""
    rows = told.verdicts[(told.verdicts["rule"] == rule) & (told.verdicts["subject"] == subject)]
    assert len(rows) == 1, f"{len(rows)} rows for {rule} of {subject}"
    return rows.iloc[0]


def due(told: Judged, rule: str, subject: str = "BE-1-A") -> Verdict:
    """The due verdict for a rule and subject."""
    return next(each for each in told.due if each.rule == rule and each.subject == subject)


def fact(told: Verdict, name: str) -> Any:
    """The value of a fact."""
    return next(each.value for each in told.facts if each.name == name)


def overridden(section: str, **values: Any) -> JudgementSettings:
    """Settings of a site that put values in place of defaults of one section."""
    on = date(2026, 1, 5)
    own = {
        name: Override(value, "tight casing", "chain steward", on, date(2027, 1, 5), "takeup.toml")
        for name, value in values.items()
    }
    return JudgementSettings(**{section: Layered(SECTIONS[section](), own)})
