"""Every case of every rule is reached, and can be put into words with the facts it gives."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement import (
    plant,
    test_corrosion_review,
    test_edges,
    test_gauging,
    test_lube_quantity,
    test_lubrication,
    test_register_gap,
    test_surveys_due,
    test_takeup_low,
    test_wear_by_travel,
    test_wear_limit,
)
from tests.judgement import test_abnormal_finding as finding
from tests.judgement import test_limit_coming as coming

from takeup.documents.environment import environment
from takeup.documents.words import rule_sentence
from takeup.judgement.answered import answered
from takeup.judgement.cases import CASES
from takeup.judgement.explaining import verdicts
from takeup.judgement.judging import Judged
from takeup.judgement.rules import OWN
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, KeptOut, Verdict
from takeup.resources import templates_dir

ENV = environment([templates_dir()])


ROSE = [(500, 0.2), (1500, 0.5), (2500, 0.8), (3500, 1.1), (4500, 2.0)]
NO_CASE = {"pin_case_mm": 0, "bushing_case_mm": 0}
PAIRS: dict[str, tuple[float, dict[str, Any], dict[str, Any]]] = {
    "skew": (0.3, {"centres_mm": 30_000.0, "strand_spacing_mm": 900.0}, {}),
    "points": (0.4, {}, {}),
    "limit within": (0.2, {}, {}),
    "plan line within": (0.1, {}, {}),
    "not measured": (0.1, {}, plant.worn(np.nan) | {"survey_day": np.nan}),
    "days apart": (0.1, {}, {"survey_day": plant.MONDAY - 30, "hours_now": np.nan}),
    "lag known": (0.2, {}, {}),
}


def pairs() -> Judged:
    """Sets of two, each with its own difference."""
    rows = []
    for name, (difference, both, other) in PAIRS.items():
        wide = NO_CASE | {"machine": name, "set": name, "centres_mm": 9000.0, "strand_spacing_mm": 3000.0}
        rows.append(plant.strand(f"{name} A", **(wide | both | plant.worn(0.8 + difference))))
        rows.append(plant.strand(f"{name} B", **(wide | both | plant.worn(0.8) | other)))
    lag = {"strand": "lag known A", "last_lag_mm": 18.0, "last_lag_day": float(plant.MONDAY)}
    return plant.judged(*rows, takeup=plant.readings(lag))


def rising() -> Judged:
    """Strands whose rate rose, each for another reason."""
    hours = dict.fromkeys(("survey_hours", "hours_now", "hours_reckoned"), 4500)
    row = NO_CASE | hours | {"lube_last_hours": 4490} | plant.worn(2.0)
    rows = [plant.alone(name, **row) for name in ("duty", "seal", "rust", "looked into")]
    rows.append(plant.alone("case", **(row | {"pin_case_mm": 3.175, "bushing_case_mm": 1.5})))
    rows.append(plant.alone("lube", **(row | {"lube_last_hours": 4000})))
    seen = [{"strand": "seal", "finding": "seal_missing"}, {"strand": "rust", "finding": "rust"}]
    return plant.judged(
        *rows,
        surveys=plant.surveys(*((f"{each['strand']}|2025-03-01", ROSE) for each in rows)),
        findings=plant.findings(*seen),
        history={(Job.MEASURE, "machine of looked into"): float(plant.MONDAY + 1)},
    )


def several() -> Judged:
    """Cases that other tests reach one at a time."""
    kept = (
        KeptOut("refused", "not_a_number", "elongation_readings", "m.csv", "ab", 7, "x"),
        KeptOut("refused", "no_header", "elongation_readings", "n.csv", "cd", 0, ""),
        KeptOut("waiting", "strand_unknown", "elongation_readings", "m.csv", "ab", 8, "x", subject="ZZ-1"),
        KeptOut("set aside", "copied_survey", "elongation_readings", "m.csv", "ab", 9, "x", subject="wide"),
    )
    dry = {"lube_plan": "none_by_decision", "dry_greased": True}
    greased = {"dry_records": [5]}
    return plant.judged(
        plant.alone("wide", spread=0.5),
        plant.alone("wide, known", spread=0.5, n_marks=8),
        plant.alone("one mark", n_marks=1),
        plant.alone("not registered", registered=False, hours_now=np.nan),
        plant.alone("no barrel", bushing_outside_mm=np.nan),
        plant.alone("greased", **dry),
        plant.alone("answered", **dry),
        plant.alone("renewed", fitted_day=plant.MONDAY - 300),
        plant.alone("looked at"),
        sprockets=plant.checks(
            {"sprocket": "worn", "strand": "wide", "gauge_depth_mm": 9.0},
            {"sprocket": "sound", "strand": "one mark"},
            {"sprocket": "not known", "strand": "no barrel"},
        ),
        lube=plant.lubed(
            greased | {"strand": "greased", "last_day": plant.MONDAY - 1.0},
            greased | {"strand": "answered", "last_day": plant.MONDAY - 9.0},
        ),
        findings=plant.findings({"strand": "looked at", "day": plant.MONDAY - 9}),
        history={
            (Job.CORRECT_DATA, "lube_records/greased"): plant.MONDAY - 5.0,
            (Job.REPLACE_SET, "renewed"): plant.MONDAY - 20.0,
        },
        closed={(Job.INSPECT_ALIGNMENT, 500): plant.MONDAY - 2.0},
        kept_out=kept,
    )


def plants() -> list[Judged]:
    """The plants of the other tests, and those above."""
    return [
        test_wear_limit.told(),
        coming.told(),
        coming.beyond(),
        test_takeup_low.told(),
        test_lubrication.told(),
        test_lube_quantity.told(),
        test_surveys_due.told(),
        finding.told(),
        pairs(),
        rising(),
        several(),
        test_register_gap.gaps(),
        test_corrosion_review.told(),
        test_edges.edges(),
        test_edges.clearances(),
        test_edges.loops(),
        test_wear_by_travel.told(),
        *(test_gauging.told(thing, 900.0) for thing in test_gauging.THINGS),
    ]


@cache
def answers() -> tuple[Verdict, ...]:
    """Every answer of every plant, due or asked for."""
    told: dict[tuple[str, str], Verdict] = {}
    for judged in plants():
        for each in answered(judged.situation, JudgementSettings(), OWN):
            first = each.answers.drop_duplicates("case").index.tolist()
            told |= {
                (verdict.rule, verdict.reason): verdict
                for verdict in verdicts(each, first, judged.situation, JudgementSettings())
            }
    return tuple(told.values())


@pytest.mark.parametrize("rule", CASES)
def test_the_facts_of_an_answer_suffice_for_its_sentence(rule: str) -> None:
    mine = [each for each in answers() if each.rule == rule]
    assert {each.reason for each in mine} == set(CASES[rule])
    for each in mine:
        assert rule_sentence(ENV, rule, each.reason, each.subject, each.facts)


def test_every_turning_point_says_to_which_case_of_its_rule_and_has_words_for_it() -> None:
    seen = set()
    for one in plants():
        for each in answered(one.situation, JudgementSettings(), OWN):
            to = each.answers["turning_to"].fillna("").to_numpy(object)
            dated = each.answers[["turning_hours", "turning_day"]].notna().any(axis=1).to_numpy()
            assert ((to != "") == dated).all(), each.rule.name
            assert set(to[dated]) <= set(each.rule.outcomes), each.rule.name
            seen |= set(to[dated])
    assert seen >= {"silence", "acceleration_within", "due", "interval", "never_measured"}
    kinds = ("due: ", "cannot be judged: ", "clear still: ")
    assert all(
        ENV.filters["word"](code, "turning_to").startswith(kinds) for code in seen | {"buy_by_reached"}
    )
