"""When a strand is measured again."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import (
    MONDAY,
    alone,
    due,
    fact,
    findings,
    judged,
    readings,
    unmeasured,
    verdict,
    worn,
)

from takeup.judgement.judging import Judged
from takeup.model import Job, Urgency

WEEK, PLAN = Urgency.THIS_WEEK, Urgency.PLAN
#: on the start rate of clean conveyors: grown by 2 sqrt 2 x 0.0562 = 0.159 points in 794 h at 0.2 %/1000 h
CLEAN = {"service": "clean", "lube_plan": "none_by_decision"} | worn(0.1)

CASES: dict[str, tuple[dict[str, Any], str, Urgency | None]] = {
    "within the interval": (CLEAN | {"hours_now": 6200}, "within_interval", None),
    "the interval has run": (CLEAN | {"hours_now": 6300}, "interval", PLAN),
    "near the limit": (worn(1.9) | {"hours_now": 5601}, "interval_near_limit", WEEK),
    "silent": (CLEAN | {"hours_now": 7100}, "silence", WEEK),
    "the latest set aside": (
        CLEAN | {"set_aside_latest_day": MONDAY + 0.0, "survey_day": MONDAY - 30},
        "last_not_usable",
        WEEK,
    ),
    "marks of the same day set aside": (
        CLEAN | {"set_aside_latest_day": float(MONDAY)},
        "within_interval",
        None,
    ),
    "shortened since": (CLEAN | {"survey_day": MONDAY - 30}, "after_shortening", PLAN),
    "no hours": (CLEAN | {"hours_now": np.nan}, "no_hours", None),
}

NEVER: dict[str, tuple[dict[str, Any], str, Urgency | None]] = {
    "running in": ({"hours_now": 99.9}, "running_in", None),
    "run in": ({"hours_now": 100}, "never_measured", PLAN),
    "long since run in": ({"hours_now": 1500}, "never_measured", WEEK),
    "only set aside": ({"hours_now": 50, "set_aside_latest_day": float(MONDAY - 3)}, "last_not_usable", WEEK),
    "new, no hours": ({"hours_now": np.nan}, "no_hours", None),
}


@cache
def told() -> Judged:
    """Every strand of the tables, judged in one pass."""
    rows = [alone(name, **case[0]) for name, case in CASES.items()]
    rows += [unmeasured(name, machine=name, set="", **case[0]) for name, case in NEVER.items()]
    shortened = readings({"strand": "shortened since", "shortened_day": float(MONDAY - 10)})
    return judged(*rows, takeup=shortened)


@pytest.mark.parametrize("name", CASES | NEVER)
def test_when_a_strand_is_measured(name: str) -> None:
    _, case, urgency = (CASES | NEVER)[name]
    row = verdict(told(), "survey_overdue", name)
    assert row["reason"] == case
    assert row["urgency"] == ("" if urgency is None else urgency.value)
    assert row["job"] == ("" if urgency is None else Job.MEASURE.value)


@pytest.mark.parametrize("name", CASES)
def test_a_survey_wanted_this_week_has_the_day_on_which_it_fell_due(name: str) -> None:
    urgency = CASES[name][2]
    if urgency is None:
        return
    asked = due(told(), "survey_overdue", name)
    days = [each.value for each in asked.facts if each.name in ("next_survey_on", "early_on")]
    wanted = min(days, default=None) if urgency is Urgency.THIS_WEEK else None
    assert asked.need_by == wanted


def test_the_interval_is_when_the_tape_can_see_growth() -> None:
    asked = due(told(), "survey_overdue", "the interval has run")
    assert fact(asked, "interval_hours") == pytest.approx(1000 * 2 * np.sqrt(2) * 0.056157 / 0.2, abs=0.1)
    assert fact(asked, "next_survey_hours") == pytest.approx(5500 + fact(asked, "interval_hours"))


def test_a_set_aside_reading_is_named_by_its_day() -> None:
    asked = due(told(), "survey_overdue", "the latest set aside")
    assert fact(asked, "set_aside_on").isoformat() == "2026-03-02"


@pytest.mark.parametrize(("at", "due_at"), [(0.0, 100.0), (40.0, 140.0), (99.0, 199.0)])
def test_a_life_measured_only_before_the_end_of_its_run_in_is_measured_there(
    at: float, due_at: float
) -> None:
    """Not sooner than 100 h after the last survey, however."""
    row = alone("S", survey_hours=at, hours_now=at, hours_reckoned=at, **(CLEAN | worn(0.0)))
    assert judged(row, only=("survey_overdue",)).prognosis.loc[0, "next_survey_hours"] == due_at


def test_the_turning_point_of_a_new_life_is_the_end_of_its_run_in() -> None:
    assert verdict(told(), "survey_overdue", "running in")["turning_hours"] == 100


@pytest.mark.parametrize(
    ("differs", "case"),
    [
        pytest.param({"spread": 0.3}, "even", id="at-0.3"),
        pytest.param({"spread": 0.301}, "wide", id="past-0.3"),
        pytest.param({"spread": 0.5, "n_marks": 8}, "wide_known", id="measured-at-eight"),
        pytest.param({"spread": 0.0, "n_marks": 1}, "one_mark", id="one-mark"),
    ],
)
def test_one_mark_far_longer_than_the_mean_is_measured_at_more_marks(
    differs: dict[str, Any], case: str
) -> None:
    assert verdict(judged(alone("S", **differs), only=("wide_spread",)), "wide_spread", "S")["reason"] == case


@pytest.mark.parametrize(
    ("differs", "case", "urgency"),
    [
        pytest.param({"e_takeup": 1.26}, "agree", "", id="within-0.3"),
        pytest.param({"e_takeup": 1.24}, "apart", "this week", id="apart-and-past-the-plan-line"),
        pytest.param(worn(0.9) | {"e_takeup": 0.5}, "apart", "plan", id="apart"),
        pytest.param({"e_takeup": 1.24, "u_wear": 0.185}, "agree", "", id="a-nominal-zero-is-allowed-its-U"),
        pytest.param({"takeup_day": MONDAY - 8}, "not_same_day", "", id="a-week-apart"),
        pytest.param({"e_takeup": np.nan}, "no_reading", "", id="not-read"),
        pytest.param({"takeup_estimated": True}, "no_reading", "", id="estimated-never-counts"),
    ],
)
def test_tape_and_take_up_are_held_against_each_other(
    differs: dict[str, Any], case: str, urgency: str
) -> None:
    row = verdict(judged(alone("S", **differs), only=("tape_against_takeup",)), "tape_against_takeup", "S")
    assert (row["reason"], row["urgency"]) == (case, urgency)


SEAL = {"finding": "seal_missing", "strand": "S", "machine": "machine of S", "day": MONDAY - 20}
LOOKED = SEAL | {"finding": "nothing_found", "day": MONDAY - 5}
ALIGN = (Job.INSPECT_ALIGNMENT, 500)


@pytest.mark.parametrize(
    ("seen", "closed", "differs", "halved"),
    [
        pytest.param([SEAL], {}, {}, True, id="missing"),
        pytest.param([SEAL | {"finding": "seal_crushed"}], {}, {}, True, id="crushed"),
        pytest.param([SEAL | {"strand": ""}], {}, {}, True, id="on the machine, strand not said"),
        pytest.param([SEAL | {"strand": "T"}], {}, {}, False, id="on another strand"),
        pytest.param([SEAL | {"finding": "rust"}], {}, {}, False, id="another finding"),
        pytest.param([SEAL, LOOKED], {}, {}, False, id="looked at since, nothing found"),
        pytest.param([SEAL, LOOKED | {"day": MONDAY - 30}], {}, {}, True, id="looked at before"),
        pytest.param([SEAL], {ALIGN: MONDAY - 20.0}, {}, False, id="inspection closed out"),
        pytest.param([SEAL], {ALIGN: MONDAY - 21.0}, {}, True, id="inspection closed out before"),
        pytest.param([SEAL], {}, {"fitted_day": MONDAY - 19}, False, id="a new life"),
        pytest.param([SEAL], {}, {"hours_now": 6200, "lube_plan": "open_conveyor"}, True, id="starved too"),
    ],
)
def test_seals_lost_halve_the_survey_interval_until_an_inspection_or_a_new_life(
    seen: list[dict[str, Any]], closed: dict[Any, float], differs: dict[str, Any], halved: bool
) -> None:
    row = alone("S", **(CLEAN | {"hours_now": 5600} | differs))
    found = judged(row, findings=findings(*seen), closed=closed)
    usual = judged(alone("S", **(CLEAN | {"hours_now": 5600}))).prognosis.loc[0, "survey_interval_hours"]
    interval = found.prognosis.loc[0, "survey_interval_hours"]
    assert interval == pytest.approx(usual / 2 if halved else usual, abs=0.1)


def test_a_survey_asked_for_sooner_says_why() -> None:
    late = alone("S", **(CLEAN | {"hours_now": 6000}))
    asked = due(judged(late, findings=findings(SEAL)), "survey_overdue", "S")
    assert fact(asked, "hastened_by") == ("seals_lost",)
    assert "surveying.hastened_part" in {each.name for each in asked.settings}
    both = late | {"lube_plan": "open_conveyor"}
    asked = due(judged(both, findings=findings(SEAL)), "survey_overdue", "S")
    assert fact(asked, "hastened_by") == ("starved", "seals_lost")


def test_the_shortest_interval_is_not_shortened_and_nothing_is_said_of_it() -> None:
    row = alone("S", **(worn(1.9) | {"hours_now": 5601, "lube_last_hours": 5590}))
    found = judged(row, findings=findings(SEAL))
    assert found.prognosis.loc[0, "survey_interval_hours"] == 100
    assert "hastened_by" not in {each.name for each in due(found, "survey_overdue", "S").facts}
