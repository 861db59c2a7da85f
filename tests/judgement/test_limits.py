"""Which limits a strand has, which of them can ask for a chain, and what is named as not judged."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import E_GEO, E_WEAR, MONDAY, alone, judged, overridden, strand, unmeasured, worn

SHIFT = E_GEO - E_WEAR
NONE = {
    "pin_hardening": "through",
    "bushing_hardening": "through",
    "pin_case_mm": np.nan,
    "bushing_case_mm": np.nan,
}
UNKNOWN = {"pin_case_mm": np.nan, "bushing_case_mm": np.nan, "pin_hardening": "", "bushing_hardening": ""}
NO_TEETH = {"teeth_max": np.nan, "teeth_drive": np.nan, "teeth_tail": np.nan}

FIT: dict[str, tuple[dict[str, Any], str, float]] = {
    "elevator": ({}, "conveyor", 3.0),
    "elevator with many teeth": ({"teeth_max": 100}, "conveyor", 2.0),
    "drive": ({"kind": "heavy_drive"}, "sprocket", 3.0),
    "drive with 80 teeth": ({"kind": "heavy_drive", "teeth_max": 80}, "sprocket", 2.5),
    "drive by its chain": ({"construction": "roller_drive"}, "sprocket", 3.0),
    "fixed centres": ({"fixed_centres": "yes"}, "fixed", 1.5),
    "fixed centres, teeth not known": ({"fixed_centres": "yes"} | NO_TEETH, "fixed", 1.5),
    "override": ({"limit_override_percent": 2.2}, "override", 2.2),
}

#: percent, bend, asks, bends by default; by hand: 100 x 1.5/0.5/152.4 = 1.9685, pin 3.175 mm 4.1667
CASED: dict[str, tuple[dict[str, Any], float, float, bool, bool]] = {
    "both stated and certified": ({}, 1.9685, 1.9685, True, False),
    "not certified counts 0.8": ({"case_certified": "no"}, 1.5748, 1.5748, True, False),
    "pin share 0.3": ({"pin_share": 0.3}, 1.4061, 1.4061, True, False),
    "no depth stated": (UNKNOWN, 1.9685, 1.9685, False, True),
    "bushing not known": ({"bushing_case_mm": np.nan}, 4.1667, 1.9685, True, True),
    "bushing has none": ({"bushing_case_mm": 0}, 4.1667, 4.1667, True, False),
    "both through-hardened": (NONE, np.inf, np.nan, False, False),
    "one through-hardened, one not known": (NONE | {"bushing_hardening": ""}, 1.9685, 1.9685, False, True),
}

WANTING: dict[str, tuple[dict[str, Any], set[str], set[str]]] = {
    "nothing": ({}, set(), set()),
    "teeth": (NO_TEETH, set(), {"teeth_drive", "teeth_tail"}),
    "pin": ({"pin_diameter_mm": np.nan}, {"pin"}, {"pin_diameter_mm"}),
    "bore": ({"bushing_bore_mm": np.nan}, {"bushing"}, {"bushing_bore_mm"}),
    "bore past the outside": ({"bushing_bore_mm": 50.0, "bushing_outside_mm": 44.0}, {"bushing"}, set()),
    "travel": ({"takeup_travel_mm": np.nan}, {"takeup"}, {"takeup_travel_mm"}),
}

OTHERS: dict[str, dict[str, Any]] = {
    "override as fitted": {"limit_override_percent": 2.2, "limit_override_zero": "as_fitted"},
    "no pitch": {"pitch_mm": np.nan} | worn(np.nan),
    "within U": worn(1.5, e_wear_max=1.5 + 0.112),
    "past U": worn(1.5, e_wear_max=1.5 + 0.114),
    "take-up of long ago": {"takeup_used_mm": 200, "takeup_day": MONDAY - 100, "takeup_hours": 3820},
    "take-up of the survey": {"takeup_used_mm": 200},
}


@cache
def prognosis() -> Any:
    """Every strand of this file, judged in one pass."""
    tables = FIT | CASED | WANTING
    rows = [alone(name, **case[0]) for name, case in tables.items()]
    rows += [alone(name, **differs) for name, differs in OTHERS.items()]
    return judged(*rows).prognosis.set_index("strand")


@pytest.mark.parametrize("name", FIT)
def test_one_limit_of_fit_holds_for_a_strand(name: str) -> None:
    _, limit, nominal = FIT[name]
    told = prognosis().loc[name]
    assert told[f"limit_{limit}"] == pytest.approx(nominal - SHIFT)
    others = {"sprocket", "fixed", "conveyor", "override"} - {limit}
    assert all(np.isinf(told[f"limit_{other}"]) for other in others)


def test_an_override_from_the_as_fitted_length_is_not_shifted_and_the_others_still_count() -> None:
    told = prognosis().loc["override as fitted"]
    assert told["limit_override"] == pytest.approx(2.2)
    assert told["governing"] == "case"
    assert np.isfinite(told["limit_pin"])


def test_a_site_may_set_its_conveyors_tighter() -> None:
    told = judged(strand(), settings=overridden("limits", conveyor_percent=1.8)).prognosis.iloc[0]
    assert told["limit_conveyor"] == pytest.approx(1.8 - SHIFT)
    assert told["governing"] == "conveyor"


@pytest.mark.parametrize("name", CASED)
def test_only_a_stated_case_asks_for_a_chain(name: str) -> None:
    _, percent, bend, asks, by_default = CASED[name]
    told = prognosis().loc[name]
    assert told["limit_case"] == pytest.approx(percent, abs=0.0001)
    assert told["bend"] == pytest.approx(bend, abs=0.0001, nan_ok=True)
    assert bool(told["case_is_default"]) == (np.isfinite(percent) and not asks)
    assert bool(told["bend_is_default"]) == by_default
    assert (told["governing"] == "case") == (asks and percent < 2.5)


@pytest.mark.parametrize("name", WANTING)
def test_a_limit_without_its_inputs_is_named_and_the_others_still_judge(name: str) -> None:
    _, not_judged, missing = WANTING[name]
    told = prognosis().loc[name]
    assert set(told["not_judged"].split()) == not_judged
    assert set(told["missing"].split()) == missing
    assert told["governing"] == "case"


def test_without_teeth_the_limit_of_fit_is_taken_as_its_cap_and_said_to_be_at_most_that() -> None:
    """min(3, 200/N) is 3 at most, whatever N: handbook values, common practice, no source, for the cap."""
    told = prognosis().loc["teeth"]
    assert told["limit_conveyor"] == pytest.approx(3.0 - SHIFT)
    assert told["at_most"] == "conveyor"
    assert prognosis().loc["nothing", "at_most"] == ""
    assert prognosis().loc["fixed centres, teeth not known", "at_most"] == ""


def test_without_a_pitch_only_what_is_given_in_per_cent_is_judged() -> None:
    told = prognosis().loc["no pitch"]
    assert set(told["not_judged"].split()) >= {"case", "pin", "bushing", "takeup"}
    assert "pitch_mm" in told["missing"].split()


def test_before_the_first_survey_the_least_limit_governs() -> None:
    assert judged(unmeasured(zero_shift=0.125)).prognosis.iloc[0]["governing"] == "case"


@pytest.mark.parametrize(("name", "by"), [("within U", "mean"), ("past U", "longest")])
def test_the_longest_mark_counts_once_it_is_further_from_the_mean_than_the_uncertainty(
    name: str, by: str
) -> None:
    """U of the wear zero is 0.1123 points."""
    told = prognosis().loc[name]
    assert told["decides_from_mark"] == by
    assert told["decides_e"] == pytest.approx(told["e_wear_max" if by == "longest" else "e_wear_mean"])


def test_a_take_up_read_long_before_the_survey_counts_with_the_wear_since() -> None:
    """Read at 3820 h: 200 mm. Straight from nothing to 1.5518 % at 5500 h it was 1.0778 %, and 36 576 x
    0.4740/200 = 86.7 mm came on top. The elongation at which the travel is out follows: 193.3 mm are left,
    200 x 193.3/36 576 = 1.0571 points.
    """
    told = prognosis().loc["take-up of long ago"]
    assert told["takeup_used"] == pytest.approx(286.7, abs=0.05)
    assert told["limit_takeup"] == pytest.approx(1.5518 + 1.0571, abs=0.0005)
    assert prognosis().loc["take-up of the survey", "takeup_used"] == 200
