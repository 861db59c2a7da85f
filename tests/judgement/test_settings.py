"""Every default of the rules is sensible, sourced, and read from the layer that holds."""

from __future__ import annotations

from dataclasses import Field, fields
from datetime import date

import numpy as np
import pytest
from tests.judgement.plant import alone, due, fact, judged, worn

from takeup.judgement.settings import SECTIONS, JudgementSettings, Limits
from takeup.layered import Layered, Override
from takeup.model import Source

FIELDS = [(section, item) for section, record in SECTIONS.items() for item in fields(record)]


@pytest.mark.parametrize(
    ("section", "item"), FIELDS, ids=[f"{section}.{item.name}" for section, item in FIELDS]
)
def test_a_default_lies_in_its_range_and_says_its_source(section: str, item: Field[object]) -> None:
    about = item.metadata
    assert about["low"] < item.default < about["high"], section
    assert isinstance(about["source"], Source)
    assert about["says"].endswith(".")
    if about["source"] in (Source.VERIFIED, Source.MEMORY):
        assert about["citation"]


def test_the_sections_are_those_of_the_settings() -> None:
    # What a survey was measured with stands with its readings; judgement only names it.
    assert {*SECTIONS, "measuring"} == {item.name for item in fields(JudgementSettings)}


#: symbol in the trade's table of defaults, section, field, default; their sources stand with the fields
TABLE = [
    ("e_sp", "limits", "drive_percent", 3.0),
    ("e_fix", "limits", "fixed_percent", 1.5),
    ("e_conv", "limits", "conveyor_percent", 3.0),
    ("q_alert", "limits", "plan_part", 0.75),
    ("t_p", "limits", "pin_case_mm", 3.2),
    ("t_b", "limits", "bushing_case_mm", 1.5),
    ("s_p", "limits", "pin_share", 0.5),
    ("f", "limits", "usable_case_part", 0.8),
    ("kappa", "forecast", "past_case_factor", 3.0),
    ("R", "limits", "pin_strength_kept", 0.75),
    ("bushing wall", "limits", "bushing_wall_part", 1 / 3),
    ("tooth face", "findings", "tooth_wear_part", 0.10),
    ("T_low", "limits", "takeup_left_part", 0.15),
    ("T_join", "limits", "joining_slack_mm", 15.0),
    ("strands", "limits", "match_limit_points", 0.30),
    ("strands, plan", "limits", "match_plan_points", 0.15),
    ("skew", "limits", "skew_limit_degrees", 3.0),
    ("skew, plan", "limits", "skew_plan_degrees", 1.5),
    ("spread", "findings", "spread_points", 0.3),
    ("tape, take-up", "findings", "takeup_apart_points", 0.3),
    ("h_ri", "forecast", "run_in_hours", 100.0),
    ("j", "forecast", "phase_ratio", 1.5),
    ("I_m", "surveying", "longest_hours", 1500.0),
    ("I_m, shortest", "surveying", "shortest_hours", 100.0),
    ("early hours", "surveying", "early_part", 0.25),
    ("LT", "planning", "lead_days", 112.0),
    ("MG", "planning", "margin_days", 14.0),
    ("I_l, drive", "lubrication", "manual_drive_hours", 8.0),
    ("I_l, conveyor", "lubrication", "open_conveyor_hours", 100.0),
    ("I_l, sealed", "lubrication", "sealed_greaseable_hours", 500.0),
    ("I_cal", "lubrication", "idle_days", 30.0),
    ("g", "lubrication", "grace_part", 0.10),
    ("starved", "lubrication", "starved_times", 2.0),
    ("quantity, least", "lubrication", "least_part", 0.5),
    ("quantity, most", "lubrication", "most_times", 2.0),
    ("replacement", "planning", "replacement_base_hours", 6.0),
    ("replacement, per m", "planning", "replacement_hours_per_m", 0.25),
]


@pytest.mark.parametrize(("symbol", "section", "name", "default"), TABLE, ids=[row[0] for row in TABLE])
def test_the_defaults_are_those_of_the_trades_table(
    symbol: str, section: str, name: str, default: float
) -> None:
    assert getattr(SECTIONS[section](), name) == pytest.approx(default), symbol


def override(value: float) -> Override:
    return Override(
        value, "tight casing", "chain steward", date(2026, 1, 5), date(2027, 1, 5), "takeup.toml line 4"
    )


def test_a_strands_value_goes_before_its_machines_and_the_machines_before_the_sites() -> None:
    layered = Layered(
        Limits(),
        {"plan_part": override(0.7)},
        {"machine of B": {"plan_part": override(0.6)}, "machine of C": {"plan_part": override(0.6)}},
        {"C": {"plan_part": override(0.5)}},
    )
    rows = [alone(name, **worn(1.3)) for name in "ABC"]
    told = judged(*rows, settings=JudgementSettings(limits=layered), only=("limit_coming",))
    limit = 100 * 1.5 / 0.5 / 152.4
    found = told.prognosis["plan_percent"].to_numpy()
    np.testing.assert_allclose(found, [0.7 * limit, 0.6 * limit, 0.5 * limit])
    assert fact(due(told, "limit_coming", "C"), "plan_percent") == pytest.approx(0.5 * limit, abs=0.001)


def test_a_default_is_shown_as_a_default_and_a_sites_value_with_who_answers_for_it() -> None:
    told = judged(alone("A", lead_time_days=np.nan, **worn(1.6)), only=("limit_coming",))
    by_name = {each.name: each for each in due(told, "limit_coming", "A").facts}
    assert (by_name["lead_days"].value, by_name["lead_days"].is_default) == (112.0, True)
    assert by_name["lead_days"].origin == "default, common practice, no source"
    site = JudgementSettings(limits=Layered(Limits(), {"conveyor_percent": override(1.2)}))
    told = judged(alone("A", **worn(1.3)), settings=site, only=("wear_limit",))
    limit = next(each for each in due(told, "wear_limit", "A").facts if each.name == "limit_percent")
    assert (limit.value, limit.is_default) == (1.2, False)
    assert "chain steward" in limit.origin
