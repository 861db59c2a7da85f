"""Where a strand's rate comes from, and what is carried forward with it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import alone, due, fact, judged, overridden, surveys, verdict, worn

from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.judging import Judged
from takeup.judgement.settings import JudgementSettings
from takeup.model import Verdict
from takeup.resources import templates_dir
from takeup.wear.calibration import FleetTable, PooledRate

ENV = environment([templates_dir()])

POOL = FleetTable(3, "2026-03-01", 12, (), (PooledRate("abrasive_bulk", 12, 0.31),))

#: name → differs, middle and upper start rate of the service, % per 1000 h, as published or common practice
SERVICES: dict[str, tuple[dict[str, Any], float, float]] = {
    "enclosed_clean": ({}, 0.125, 0.2),
    "clean": ({}, 0.2, 0.3),
    "light_bulk": ({}, 0.175, 0.21),
    "abrasive_bulk": ({}, 0.375, 1.2),
    "highly_abrasive": ({"speed_m_per_s": 0.1}, 0.5, 0.6),
    "highly_abrasive fast": ({"speed_m_per_s": 0.3}, 2.5, 4.0),
    "highly_abrasive wet": ({"speed_m_per_s": 0.1, "wet": "yes"}, 2.5, 4.0),
    "highly_abrasive corrosive": ({"speed_m_per_s": 0.1, "corrosive": "yes"}, 2.5, 4.0),
}


def young(fleet: FleetTable | None = None) -> Judged:
    rows = [
        alone(name, **differs, **worn(0.5), service=name.split()[0])
        for name, (differs, _, _) in SERVICES.items()
    ]
    return judged(*rows, **({} if fleet is None else {"fleet": fleet}))


def test_a_strand_without_a_rate_takes_the_middle_of_its_service_and_its_upper_end_for_the_early_bound() -> (
    None
):
    found = young().prognosis.set_index("strand")
    for name, (_, middle, upper) in SERVICES.items():
        row = found.loc[name]
        assert (row["rate_source"], row["rate"]) == ("start", middle)
        # With e + U at the upper end, worked straight to the case at 1.9685 %.
        assert row["hours_middle"] == pytest.approx(1000 * (1.9685 - 0.5) / middle, rel=1e-3)
        assert row["hours_early"] <= 1000 * (1.9685 - 0.5 - 0.1123) / upper + 0.1


def test_the_pooled_rate_of_sisters_goes_before_the_start_rate() -> None:
    found = young(POOL).prognosis.set_index("strand")
    assert (found.loc["abrasive_bulk", "rate_source"], found.loc["abrasive_bulk", "rate"]) == ("pooled", 0.31)
    assert found.loc["clean", "rate_source"] == "start"


def test_without_a_service_there_is_no_rate_and_no_date() -> None:
    row = judged(alone("nowhere", service="", **worn(0.5))).prognosis.iloc[0]
    assert row["rate_source"] == "none"
    assert np.isnan(row[["rate", "hours_middle", "day_early", "buy_by_day"]].astype(float)).all()


@pytest.mark.parametrize(
    ("points", "source", "rate"),
    [
        pytest.param([(50, 0.15), (1500, 0.4), (3500, 0.8), (5500, 1.2)], "own", 0.2, id="run-in-left-out"),
        pytest.param(
            [(1500, 1.0), (3500, 1.4), (5500, 1.8), (6000, 2.2)],
            "own_times_factor",
            0.6,
            id="past-case-times-3",
        ),
        pytest.param(
            [(1500, 1.1), (3500, 1.5), (5500, 1.9), (6500, 2.4), (7500, 2.9), (8500, 3.4)],
            "own_past_case",
            0.5,
            id="own-past-case-from-three",
        ),
    ],
)
def test_the_rate_is_that_of_the_present_phase(
    points: list[tuple[float, float]], source: str, rate: float
) -> None:
    last_hours, last_e = points[-1]
    row = alone("S", survey_hours=last_hours, hours_now=last_hours, hours_reckoned=last_hours, **worn(last_e))
    found = judged(row, surveys=surveys(("S|2025-03-01", points))).prognosis.iloc[0]
    assert (found["rate_source"], found["rate"]) == (source, pytest.approx(rate, rel=0.01))


def past_the_case(settings: JudgementSettings | None = None) -> Verdict:
    """The replacement of a strand at 2.2 %, past a case of 1.969 %, whose rate before was 0.2 %/1000 h."""
    row = alone("S", survey_hours=6000, hours_now=6000, hours_reckoned=6000, **worn(2.2))
    points = [(1500, 1.0), (3500, 1.4), (5500, 1.8), (6000, 2.2)]
    return due(judged(row, surveys=surveys(("S|2025-03-01", points)), settings=settings), "limit_coming", "S")


def test_the_factor_past_the_case_is_told_with_the_rate_it_multiplies_and_whose_it_is() -> None:
    told = past_the_case()
    assert fact(told, "rate_source") == "own_times_factor"
    assert (fact(told, "rate_to_case"), fact(told, "factor_past_case")) == (pytest.approx(0.2), 3)
    assert fact(told, "rate") == pytest.approx(3 * 0.2)
    (factor,) = [each for each in told.facts if each.name == "factor_past_case"]
    assert factor.is_default
    assert factor.origin == "default, common practice, no source"
    told = past_the_case(overridden("forecast", past_case_factor=2.5))
    (factor,) = [each for each in told.facts if each.name == "factor_past_case"]
    assert (factor.value, factor.is_default) == (2.5, False)
    assert "chain steward" in factor.origin
    assert fact(told, "rate") == pytest.approx(2.5 * 0.2)


def test_a_rate_that_rose_asks_for_a_look_and_names_the_likely_cause() -> None:
    points = [(500, 0.2), (1500, 0.5), (2500, 0.8), (3500, 1.1), (4500, 2.0)]
    row = {"survey_hours": 4500, "hours_now": 4500, "hours_reckoned": 4500} | worn(2.0)
    plain = {"pin_case_mm": 0, "bushing_case_mm": 0, "lube_last_hours": 4490} | row
    rows = [
        alone("case", **row),
        alone("lube", **(plain | {"lube_last_hours": 4000})),
        alone("duty", **plain),
        alone("steady", **plain),
    ]
    lives = [(f"{name}|2025-03-01", points) for name in ("case", "lube", "duty")]
    told = judged(
        *rows, surveys=surveys(*lives, ("steady|2025-03-01", [(500, 0.2), (2500, 1.1), (4500, 2.0)]))
    )
    found = {
        name: verdict(told, "rate_change", name)["reason"] for name in ("case", "lube", "duty", "steady")
    }
    assert found == {"case": "near_case", "lube": "lube_overdue", "duty": "duty", "steady": "steady"}
    asked = due(told, "rate_change", "duty")
    assert (fact(asked, "rate_before"), fact(asked, "rate_after")) == (0.3, 0.9)
    assert fact(asked, "change_hours") == 3500


@pytest.mark.parametrize(
    ("last", "rate", "says", "said"),
    [
        pytest.param(2.25, 0.2, "slower", "slower than this; the faster one is kept", id="0.200+0.159<0.6"),
        pytest.param(2.55, 0.5, "agrees", "that agrees with this", id="0.500+0.159>0.6"),
        pytest.param(2.85, 0.8, "faster", "faster than this; three surveys", id="0.800-0.159>0.6"),
    ],
)
def test_what_two_surveys_since_the_case_measured_is_told_beside_the_rate_used(
    last: float, rate: float, says: str, said: str
) -> None:
    """The rate used stays three times 0.2. U = 2000 x 1.414 x 0.05615/1000 h = 0.159 % per 1000 h."""
    points = [(1500, 1.0), (3500, 1.4), (5500, 1.8), (6500, 2.05), (7500, last)]
    differs = dict.fromkeys(("survey_hours", "hours_now", "hours_reckoned"), 7500) | {
        "bushing_outside_mm": 60
    }
    found = judged(alone("S", **worn(last), **differs), surveys=surveys(("S|2025-03-01", points)))
    asked = due(found, "limit_coming", "S")
    assert (fact(asked, "rate_source"), fact(asked, "rate")) == ("own_times_factor", pytest.approx(0.6))
    assert fact(asked, "since_case_surveys") == 2
    assert fact(asked, "since_case_rate") == pytest.approx(rate)
    assert fact(asked, "since_case_uncertainty") == pytest.approx(0.1588, abs=0.0001)
    assert fact(asked, "since_case_agrees") == says
    told = rule_sentence(ENV, asked.rule, asked.reason, asked.subject, asked.facts)
    assert f"since the hardened case wore through measured {rate:.3f} ± 0.159 % per 1000 h" in told
    assert said in told
    assert {1004, 1005} <= {row for part in asked.evidence for row in part.rows}


@pytest.mark.parametrize("past_case", [[(6500, 2.05)], [(6500, 2.4), (7500, 2.9), (8500, 3.4)]])
def test_one_survey_since_the_case_tells_no_rate_and_three_make_it(
    past_case: list[tuple[float, float]],
) -> None:
    points = [(1500, 1.0), (3500, 1.4), (5500, 1.8), *past_case]
    hours = dict.fromkeys(("survey_hours", "hours_now", "hours_reckoned"), points[-1][0])
    found = judged(alone("S", **worn(points[-1][1]), **hours), surveys=surveys(("S|2025-03-01", points)))
    assert not {f.name for each in found.due for f in each.facts if f.name.startswith("since_case")}
