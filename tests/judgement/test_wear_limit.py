"""What reaching a limit asks for, by the kind of the limit and by how surely it is reached."""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.judgement.plant import (
    E_GEO,
    E_WEAR,
    alone,
    due,
    fact,
    judged,
    surveys,
    unmeasured,
    verdict,
    worn,
)

from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.explaining import explain
from takeup.judgement.judging import Judged
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, Urgency
from takeup.resources import templates_dir

if TYPE_CHECKING:
    import pandas as pd

ENV = environment([templates_dir()])

#: no case and a thick bushing, so that the limit of function (2.895 on the wear zero) comes first
NO_CASE = {"pin_case_mm": 0, "bushing_case_mm": 0, "bushing_outside_mm": 60}
#: a bushing wall of 4 mm: limit of strength 100 x 4/3/0.5/152.4 = 1.750 %
THIN = NO_CASE | {"bushing_outside_mm": 40.15}
STRENGTH = 100 * (4 / 3) / 0.5 / 152.4
CASE = 300 / 152.4
U = 0.11231459106775468
UNKNOWN = {"pin_case_mm": np.nan, "bushing_case_mm": np.nan, "pin_hardening": "", "bushing_hardening": ""}
NO_LIMIT = UNKNOWN | {
    "teeth_max": np.nan, "teeth_drive": np.nan, "teeth_tail": np.nan,
    "takeup_travel_mm": np.nan, "pin_diameter_mm": np.nan, "bushing_bore_mm": np.nan,
}  # fmt: skip
SOON, NEXT, STOP = Urgency.THIS_WEEK, Urgency.NEXT_SHUTDOWN, Urgency.STOP_NOW

KINDS: dict[str, tuple[dict[str, Any], str, Urgency | None]] = {
    "case below": (worn(CASE - U - 0.002), "below", None),
    "case within": (worn(CASE - U), "acceleration_within", NEXT),
    "case reached": (worn(CASE), "acceleration_reached", NEXT),
    "function below": (NO_CASE | worn(2.814), "below", None),
    "function within": (NO_CASE | worn(2.817), "function_within", NEXT),
    "function reached": (NO_CASE | worn(2.8951), "function_reached", SOON),
    "strength below": (THIN | worn(STRENGTH - U - 0.002), "below", None),
    "strength within": (THIN | worn(STRENGTH - U), "strength_reached", SOON),
    "strength past": (THIN | worn(STRENGTH), "strength_past", STOP),
    "function and case past": (worn(2.9) | {"bushing_outside_mm": 60}, "function_reached", SOON),
    "all of them past": (worn(2.9), "strength_past", STOP),
}


def shallow(left: float) -> dict[str, Any]:
    """A take-up of 160 mm: less than the 154.8 mm that two pitches give back and 15 mm to join."""
    return {"takeup_travel_mm": 160, "takeup_used_mm": 160 - left, "takeup_rem_mm": left} | worn(0.8)


OTHERS: dict[str, dict[str, Any]] = {
    "teeth not known": NO_LIMIT,
    "teeth not known, within the cap": NO_LIMIT | worn(2.85),
    "teeth not known, past the cap": NO_LIMIT | worn(2.9),
    "teeth not known, another limit first": {"teeth_max": np.nan},
    "silent": {"hours_now": 7000},
    "silent and past": {"hours_now": 9000} | worn(2.1),
    "default case": UNKNOWN | worn(2.2),
    "screw 3 mm": shallow(3.0),
    "screw 1.9 mm": shallow(1.9),
    "screw out": shallow(0.0),
    "doubt before": NO_CASE | worn(2.85),
    "clear before": NO_CASE | worn(2.85),
    "plain": {},
}


@cache
def told() -> Judged:
    """Every strand of this file, judged in one pass."""
    rows = [alone(name, **case[0]) for name, case in KINDS.items()]
    rows += [alone(name, **differs) for name, differs in OTHERS.items()]
    rows += [unmeasured("never", machine="never", set="", last_any_day=np.nan)]
    rows += [unmeasured("pitch not known", machine="pitch not known", set="", pitch_mm=np.nan)]
    history = surveys(
        ("doubt before|2025-03-01", [(4100, 2.84), (5500, 2.85)]),
        ("clear before|2025-03-01", [(4100, 2.5), (5500, 2.85)]),
    )
    return judged(*rows, surveys=history)


def answer(name: str, rule: str = "wear_limit") -> pd.Series:
    return verdict(told(), rule, name)


@pytest.mark.parametrize("name", KINDS)
def test_urgency_goes_by_kind(name: str) -> None:
    """Function counts in its own zero: 3 % over nominal with its U of 0.079, not the wear zero's 0.112."""
    _, case, urgency = KINDS[name]
    row = answer(name)
    assert row["reason"] == case
    assert row["urgency"] == ("" if urgency is None else urgency.value)
    assert row["job"] == ("" if urgency is None else Job.REPLACE_SET.value)
    certain = {"strength_past", "function_reached", "acceleration_reached"}
    assert (row["margin"] <= 0) == (case in certain)
    assert (row["margin"] > row["margin_u"]) == (case == "below")


def test_a_limit_within_the_uncertainty_also_asks_for_a_survey_this_week() -> None:
    asked = due(told(), "limit_in_doubt", "function within")
    assert (asked.reason, asked.job, asked.urgency) == ("within", Job.MEASURE, Urgency.THIS_WEEK)
    assert fact(asked, "limit") == "conveyor"
    assert fact(asked, "limit_percent") == 3.0
    assert fact(asked, "uncertainty_percent") == pytest.approx(0.079, abs=0.0005)
    assert answer("function below", "limit_in_doubt")["reason"] == "settled"


@pytest.mark.parametrize(("name", "case"), [("clear before", "within"), ("doubt before", "asked_already")])
def test_the_same_doubt_is_not_asked_about_twice_running(name: str, case: str) -> None:
    assert answer(name, "limit_in_doubt")["reason"] == case


@pytest.mark.parametrize(
    ("name", "case"),
    [
        ("never", "no_survey"),
        ("pitch not known", "no_pitch"),
        ("teeth not known", "limit_unsure"),
        ("silent", "silence"),
    ],
)
def test_what_cannot_be_judged_says_so(name: str, case: str) -> None:
    assert answer(name)["answer"] == "cannot judge"
    assert answer(name)["reason"] == case


def test_a_chain_past_the_most_its_limit_can_be_is_due_whatever_the_teeth() -> None:
    """The cap of 3 % is 2.895 % on the wear zero; U there is 0.079."""
    past, within = answer("teeth not known, past the cap"), answer("teeth not known, within the cap")
    assert (past["answer"], past["reason"]) == ("due", "function_reached")
    assert (within["answer"], within["reason"]) == ("due", "function_within")
    asked = due(told(), "wear_limit", "teeth not known, past the cap")
    assert (fact(asked, "limit_percent"), fact(asked, "at_most")) == (3.0, "conveyor")
    assert "teeth_drive" in fact(asked, "missing")


def test_below_the_most_its_limit_can_be_no_chain_is_called_sound() -> None:
    for rule in ("wear_limit", "limit_coming", "limit_in_doubt"):
        found = answer("teeth not known", rule)
        assert (found["answer"], found["reason"]) == ("cannot judge", "limit_unsure")
    assert answer("teeth not known, another limit first")["reason"] == "below"


def test_a_chain_past_its_limit_stays_due_however_long_the_silence() -> None:
    assert answer("silent and past")["answer"] == "due"


def test_the_default_case_never_asks_for_a_chain_but_asks_for_its_depth() -> None:
    assert answer("default case")["reason"] == "below"
    asked = due(told(), "data_unjudged", "strands/bushing_case_mm")
    assert (asked.reason, asked.urgency) == ("case_depth_missing", Urgency.PLAN)
    assert fact(asked, "default_mm") == 1.5
    assert "default case" in fact(asked, "strands")


@pytest.mark.parametrize(
    ("name", "case"),
    [("screw 3 mm", "below"), ("screw 1.9 mm", "function_within"), ("screw out", "function_reached")],
)
def test_a_take_up_that_can_never_be_shortened_is_a_limit_with_the_uncertainty_of_its_screws(
    name: str, case: str
) -> None:
    assert answer(name)["reason"] == case
    assert answer(name, "takeup_low")["reason"] == "replace_instead"
    assert due(told(), "limit_coming", name).reason == "takeup_running_out"


@pytest.mark.parametrize(
    ("points", "to"),
    [
        pytest.param([(1500, 0.3), (3500, 0.7), (5500, 1.1)], "silence", id="far-from-the-case"),
        pytest.param([(1500, 0.83), (3500, 1.33), (5500, 1.83)], "acceleration_within", id="close-to-it"),
    ],
)
def test_the_turning_point_is_the_early_limit_or_the_silence_whichever_comes_first(
    points: list[tuple[float, float]], to: str
) -> None:
    """Hours and day are those of the one event that is named; near the case it comes first."""
    found = judged(alone("S", **worn(points[-1][1])), surveys=surveys(("S|2025-03-01", points)))
    answers = explain("S", found.situation, JudgementSettings())
    (told,) = [each for each in answers if each.rule == "wear_limit"]
    strand = found.prognosis.iloc[0]
    hours = {"silence": strand["silence_hours"], "acceleration_within": 5500 + strand["hours_early"]}
    day = {"silence": strand["silence_day"], "acceleration_within": strand["day_early"]}
    assert min(day, key=lambda event: day[event]) == to
    assert (told.turning_to, told.turning_hours) == (to, hours[to])
    assert told.turning_on == date(1970, 1, 1) + timedelta(days=int(day[to]))


@pytest.mark.parametrize(
    ("e", "stands"),
    [(1.45, None), (1.5, "within"), (1.58, "past")],
)
def test_a_case_of_default_depth_that_is_behind_is_told_with_its_status(e: float, stands: str | None) -> None:
    """Bushing 100 x 1.5 mm x 0.8/0.5/152.4 mm = 1.5748 %, with U of 0.112 points."""
    default = {"bushing_case_mm": np.nan, "pin_case_mm": 0, "case_certified": "no"}
    found = judged(alone("S", **worn(e), **default), only=("wear_limit", "limit_coming"))
    answers = {each.rule: each for each in explain("S", found.situation, JudgementSettings())}
    below = answers["wear_limit"]
    assert below.reason == "below"
    told = {each.name: each for each in below.facts}
    said = rule_sentence(ENV, below.rule, below.reason, below.subject, below.facts)
    if stands is None:
        assert "default_case" not in told
        assert "nobody stated" not in said
        return
    assert (told["default_case"].value, told["case_part"].value) == (stands, "bushing")
    assert (told["case_default_mm"].value, told["case_default_mm"].is_default) == (1.5, True)
    assert "of the bushings" in said
    assert "by a depth of 1.5 mm that nobody stated (default, common practice, no source)" in said
    assert "a depth stated by register or maker would make the case a limit" in said


def test_the_spread_told_is_that_of_the_zero_it_is_told_from() -> None:
    """Fixed centres count from nominal: there the longest mark stands out by 0.137, past U 0.079."""
    marks = {"e_geo_max": 1.0 + E_GEO - E_WEAR + 0.137, "e_wear_max": 1.098, "spread": 0.098}
    found = judged(alone("S", fixed_centres="yes", pin_case_mm=0, bushing_case_mm=0, **worn(1.0, **marks)))
    answers = {each.rule: each for each in explain("S", found.situation, JudgementSettings())}
    assert fact(answers["wear_limit"], "zero") == "nominal"
    assert fact(answers["wear_limit"], "from_mark") == "longest"
    assert fact(answers["wear_limit"], "spread_points") == pytest.approx(0.137)
    assert fact(answers["wide_spread"], "spread_points") == pytest.approx(0.098)
    assert answers["tape_against_takeup"].reason == "no_takeup"
