"""Every fact of every rule says where its value comes from, and says it rightly."""

from __future__ import annotations

from collections import defaultdict

import pytest
from tests.judgement.plant import MONDAY, due, judged, overridden, strand, worn
from tests.judgement.test_facts_suffice import answers

from takeup.judgement import facts as origins
from takeup.judgement.facts import FACTS
from takeup.judgement.told import PLANNED
from takeup.model import Fact

_SETTING = "default, "
_REGISTER, _SURVEY, _READING, _RECKONED = (
    origins.REGISTER, origins.SURVEY, origins.READING, origins.RECKONED,
)  # fmt: skip

#: origin → facts that may say so; a fact of several lines is told differently in different cases
SAYS: dict[str, str] = {
    _REGISTER: """fitted_on missing travel_mm lead_days job_hours lube_plan quantity_ml lubricant
        interval_hours meshes_on mesh_diameter_mm limit_percent feed strands hides_alert value
        lacking lacking_of height_mm hole_mm clearance_min_mm pitches pitch_mm centres_mm teeth_drive
        teeth_tail chain_now_mm""",
    _SURVEY: """survey_on marks spread_points baseline longest_mark e_percent uncertainty_percent zero
        from_mark e_long_percent e_short_percent apart_limit_points e_forward_percent""",
    _READING: "takeup_on used_mm read_used_mm takeup_basis shortened_on lag_mm lag_on e_takeup_percent",
    origins.METER: "hours_per_day hours_per_day_early last_survey_hours last_lube_hours change_hours due_on"
    " run_since_hours run_from_on run_to_on hours_since",
    origins.LUBED: "last_lube_on greased_on greased_with greased_ml greased_how greased_by given_on"
    " given_ml blank_run rows",
    origins.SEEN: "finding findings as_written remark place severity seen_on rows inspections"
    " height_now_mm clearance_mm gauged_on",
    origins.VOCABULARY_SAYS: "severity",
    origins.WORDS_SAY: "severity",
    origins.GAUGED: "sprocket depth_mm checked_on turned",
    f"{origins.RECKONED}: the record's factor, the doubt of the tape and that of the zero": """factor_early
        factor_late""",
    origins.STOPS: "shutdown next_stop next_stop_on",
    origins.CLOSED: "replaced_on",
    origins.KEPT_OUT: "set_aside_on feed strands hides_alert reason rows lines",
    origins.FLEET: "fleet_number fleet_forecasts fleet_lent fleet_lives factor_low factor_high",
    PLANNED: "hours_per_day hours_per_day_early",
    "rates of chains in the same service at this plant": "rate rate_to_case",
    "reckoned by takeup from the surveys": """rate rate_to_case since_case_surveys since_case_rate
        since_case_uncertainty since_case_agrees""",
    "reckoned by takeup from the surveys and the factor past the hardened case": "rate",
    _SETTING: """lead_days margin_days joining_slack_mm limit_percent interval_days interval_hours rate
        spread_limit_points marks_wanted apart_limit_points match_limit_points match_plan_points
        skew_limit_degrees skew_plan_degrees default_mm case_default_mm trigger_mm depth_limit_mm
        rate_to_case factor_past_case least_ml most_ml
        gauge_u_mm loss_plan_percent loss_limit_percent loop_limit_mm points_old""",
    _RECKONED: """limit limit_kind limit_percent plan_percent case_percent not_judged rate_source at_most
         rate_surveys rate loops_per_hour slide_m_per_h rate_per_km rate_per_km_middle sisters
        reckoned_on hours_early hours_middle hours_late early_on middle_on late_on bounds_basis need_by_on
        buy_by_on job_hours takeup_basis forward_to_on e_then_percent used_mm left_mm step_pitches returns_mm
        held_by remove_pitches left_after_mm pitches_after takeup_limit_after_percent why_not apart_points
        hides_alert due_hours overdue_hours starved_hours due_on due_about_on interval_hours next_survey_hours
        next_survey_on rate_before rate_after strand_long strand_short difference_points uncertainty_points
        lag_by_tape_mm skew_degrees skew_limit_points skew_plan_points default_case case_part
        next_limit next_limit_kind next_limit_percent set_here_on at_limit
        replaced_from_on takeup_limit_percent takeup_out_hours_early takeup_out_hours_middle
        joint_ml joints_ml film_ml hastened_by
        lapse_hours lapse_cost_points lapse_uncertainty_points rate_within_plan rate_beyond_plan
        takeup_out_hours_late takeup_out_early_on takeup_out_middle_on takeup_out_late_on
        loss_percent loss_u_percent
        chain_mm loop_mm loop_apart_mm points_since""",
}  # fmt: skip


def kind(fact: Fact) -> str:
    """The line of :data:`SAYS` under which a fact's origin falls."""
    if _SETTING in fact.origin:
        return _SETTING
    return next((said for said in SAYS if fact.origin == said), fact.origin)


def test_no_fact_says_another_origin_than_its_own() -> None:
    told = defaultdict(set)
    for answer in answers():
        for fact in answer.facts:
            told[kind(fact)].add(fact.name)
    assert {origin: names - set(SAYS.get(origin, "").split()) for origin, names in told.items()} == {
        origin: set() for origin in told
    }


def test_every_origin_in_the_table_is_one_of_a_fact() -> None:
    assert set(" ".join(SAYS.values()).split()) <= FACTS.keys()


@pytest.mark.parametrize(
    ("name", "rule", "differs", "section", "setting", "value"),
    [
        ("trigger_mm", "takeup_low", {"takeup_used_mm": 450.0}, "limits", "takeup_left_part", 0.2),
        (
            "apart_limit_points",
            "tape_against_takeup",
            {"e_takeup": 2.5},
            "findings",
            "takeup_apart_points",
            0.2,
        ),
    ],
)
def test_a_threshold_of_the_site_names_who_answers_for_it(
    name: str, rule: str, differs: dict[str, float], section: str, setting: str, value: float
) -> None:
    row = strand(**worn(0.8), **differs, takeup_day=MONDAY)
    for settings, wanted in ((None, "default, "), (overridden(section, **{setting: value}), "chain steward")):
        found = next(fact for fact in due(judged(row, settings=settings), rule).facts if fact.name == name)
        assert wanted in found.origin
        assert found.is_default == (settings is None)
