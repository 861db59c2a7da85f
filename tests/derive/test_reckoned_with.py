"""A survey names every setting of measuring that entered its numbers, and no other.

Every such setting is changed in turn and the survey derived again.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from tests.derive.plant import FITTED, Plant, after, simple_plant

from takeup.derive.lengths import READ
from takeup.derive.settings import MeasuringSettings

ZERO = (
    "tolerance_roller_percent",
    "tolerance_cast_percent",
    "tolerance_other_percent",
    "latest_baseline_hours",
)
FIGURES = ["e_wear_mean", "e_wear_max", "e_geo_mean", "u_wear", "u_geo", "zero_shift"]
BOTH = {"chain_temperature_c": 25.0, "tape_temperature_c": 22.0}
CHAIN = {"tape_temperature_c": ""}
PERCENT = {"length_mm": "", "pitches": "", "elongation_percent": 0.9}

#: name → strand, the first survey (None: none), the survey asked for
CASES: dict[str, tuple[dict[str, Any], dict[str, Any] | None, dict[str, Any]]] = {
    "as left": ({}, BOTH | {"occasion": "as_left"}, BOTH),
    "early": ({}, BOTH | {"measured_at": f"{FITTED}T18:00:00"}, BOTH),
    "nominal": ({}, None, BOTH),
    "nominal, roller drive": ({"construction": "roller_drive"}, None, BOTH),
    "nominal, cast": ({"construction": "cast_h_mill"}, None, BOTH),
    "tolerance stated": ({"new_length_tolerance_percent": 0.2}, None, BOTH),
    "class stated": ({}, None, BOTH | {"instrument_class": "III"}),
    "zero by another tape": ({}, BOTH | {"occasion": "as_left", "instrument_class": "I"}, BOTH),
    "slack": ({}, None, BOTH | {"method": "slack"}),
    "warm, tape not written": ({}, None, CHAIN | {"chain_temperature_c": 45.0}),
    "hot, tape not written": ({}, None, CHAIN | {"chain_temperature_c": 150.0}),
    "no temperature": ({}, None, CHAIN | {"chain_temperature_c": ""}),
    "stainless": ({"steel": "austenitic_stainless"}, None, BOTH),
    "per cent only": ({}, None, PERCENT),
}


def plant_of(name: str) -> Plant:
    strand, first, asked = CASES[name]
    plant = simple_plant(**strand)
    if first is not None:
        plant.survey(FITTED, 0.1, **first)
    plant.survey(after(1200), 0.9, **asked)
    return plant


def figures(plant: Plant, **settings: Any) -> list[float]:
    survey = plant.derived(date(2026, 1, 1), everything=True, **settings).surveys.iloc[-1]
    return survey[FIGURES].fillna(-1.0).tolist()


def changes(name: str) -> list[Any]:
    """Values a setting is changed to: near its default, and the ends of its range."""
    item = MeasuringSettings.__dataclass_fields__[name]
    if isinstance(item.default, str):
        return ["I", "III"]
    return [item.default * 1.1, item.metadata["low"], item.metadata["high"]]


@pytest.mark.parametrize("case", CASES)
def test_what_moves_a_survey_is_named_by_it_and_what_it_names_moves_it(case: str) -> None:
    plant = plant_of(case)
    named = set(plant.derived(date(2026, 1, 1)).surveys.iloc[-1]["reckoned_with"].split())
    before = figures(plant)
    moved = {
        name
        for name in (*READ, *ZERO)
        if any(figures(plant, **{name: value}) != before for value in changes(name))
    }
    # That no early survey stands in for the zero decides which zero holds, and enters no number.
    assert moved - named - {"latest_baseline_hours"} == set()
    assert named - moved == set()
