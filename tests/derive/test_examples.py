"""Readings worked by hand, from the row of an export to the survey.

The strand: pitch 152.4 mm, spans of 20 pitches (3048.0 mm when new), a class II tape read to 1 mm, 0.8 mm of
repeat, 0.5 mm of pull and 2 K of temperature; as fitted 3051.2 mm.
"""

from __future__ import annotations

from datetime import date

import pytest
from tests.derive.plant import FITTED, Plant, after, reasons, simple_plant


def measured(plant: Plant, day: date, length_mm: float, **more: object) -> int:
    (row,) = plant.survey(day, 0.0, **({"length_mm": length_mm} | more))
    return row


@pytest.fixture
def plant() -> Plant:
    plant = simple_plant()
    measured(plant, FITTED, 3051.2, occasion="as_left", chain_temperature_c=25, tape_temperature_c=25)
    return plant


def test_as_fitted_zero(plant: Plant) -> None:
    """L 3098.5 mm: e_wear 4730/3048 = 1.552 %, e_geo 5050/3048 = 1.657 %; born 0.105 % long.

    u_L 1.210 mm, so u(e_wear) 0.056 % and u(e_geo) 0.040 %; inside a rate 0.056 %.
    """
    measured(plant, after(5500), 3098.5, chain_temperature_c=25, tape_temperature_c=25)
    survey = plant.derived().surveys.iloc[-1]
    assert survey["e_wear_mean"] == pytest.approx(1.552, abs=0.0005)
    assert survey["e_geo_mean"] == pytest.approx(1.657, abs=0.0005)
    assert survey["zero_shift"] == pytest.approx(0.105, abs=0.0005)
    assert survey["u_wear"] == pytest.approx(0.056, abs=0.0005)
    assert survey["u_geo"] == pytest.approx(0.040, abs=0.0005)
    assert survey["u_rate"] == pytest.approx(0.056, abs=0.0005)
    assert survey["baseline"] == "as_left"


def test_nominal_zero() -> None:
    """The same reading with a tolerance of 0.625 % and no zero: less 0.3125, u 0.185 %, U 0.369 %."""
    plant = simple_plant(new_length_tolerance_percent=0.625)
    measured(plant, after(5500), 3098.5, chain_temperature_c=25, tape_temperature_c=25)
    survey = plant.derived().surveys.iloc[-1]
    assert survey["baseline"] == "nominal"
    assert survey["e_geo_mean"] - survey["e_wear_mean"] == pytest.approx(0.3125, abs=2e-6)
    assert 2 * survey["u_wear"] == pytest.approx(0.369, abs=0.0005)
    assert survey["u_rate"] == pytest.approx(0.056, abs=0.0005)


def test_hot_chain(plant: Plant) -> None:
    """Chain 210 degC, tape 35 degC, L 3110.0 mm: L20 3103.74, e_geo 1.829 % (not 2.034), e_wear 1.724 %."""
    measured(plant, after(5500), 3110.0, chain_temperature_c=210, tape_temperature_c=35)
    survey = plant.derived().surveys.iloc[-1]
    assert survey["e_geo_mean"] == pytest.approx(1.829, abs=0.0005)
    assert survey["e_wear_mean"] == pytest.approx(1.724, abs=0.0005)


@pytest.mark.parametrize(
    ("length_mm", "e_geo", "counted"),
    [(3250.0, 6.627, 21), (2940.5, -3.527, 19)],
    ids=["21 for 20", "19 for 20"],
)
def test_miscount(plant: Plant, length_mm: float, e_geo: float, counted: int) -> None:
    """True 1.550 %, one pitch more or fewer measured: e_geo 6.627 or -3.527 %, 1.550 put right."""
    measured(plant, after(4100), 3090.0)
    row = measured(plant, after(5000), length_mm)
    derived = plant.derived()
    assert reasons(derived) == {row: "whole_pitch_miscount"}
    (kept,) = derived.set_aside
    assert kept.found == f"20 pitches, {e_geo:.3f} %"
    pitches, right = kept.wanted.removesuffix(" %").split(" pitches would make ")
    assert int(pitches) == counted
    assert float(right) == pytest.approx(1.550, abs=0.001)  # the lengths are rounded to 0.1 mm


@pytest.mark.parametrize(("start", "read"), [("outer", 2.182), ("inner", 1.818)])
def test_odd_span(start: str, read: float) -> None:
    """True 2.000 % over 11 pitches of alternate links reads 2.182 or 1.818 % by the starting link."""
    plant = simple_plant()
    measured(plant, FITTED, 11 * 152.4, n=11, occasion="as_left", start_link=start)
    measured(plant, after(5500), 11 * 152.4 * (1 + read / 100), n=11, start_link=start)
    survey = plant.derived().surveys.iloc[-1]
    assert survey["e_wear_mean"] == pytest.approx(2.0, abs=0.0005)
    assert survey["e_geo_mean"] == pytest.approx(2.0, abs=0.0005)
    assert bool(survey["usable"])


def test_odd_span_of_unknown_start() -> None:
    """The error is +e/n or -e/n: e/n is added to the uncertainty, and the survey serves the trend only."""
    plant = simple_plant()
    measured(plant, FITTED, 11 * 152.4, n=11, occasion="as_left")
    measured(plant, after(5500), 11 * 152.4 * 1.02, n=11)
    survey = plant.derived().surveys.iloc[-1]
    assert survey["u_geo"] == pytest.approx(2.0 / 11, rel=0.1)
    assert (survey["note"], survey["usable"], survey["usable_for_rate"]) == ("odd_span", False, True)


def test_odd_span_of_offset_chain() -> None:
    plant = simple_plant(construction="welded_drag")
    measured(plant, FITTED, 11 * 152.4, n=11, occasion="as_left")
    measured(plant, after(5500), 11 * 152.4 * 1.02, n=11)
    survey = plant.derived().surveys.iloc[-1]
    assert (survey["note"], bool(survey["usable"])) == ("", True)
    assert survey["u_geo"] < 0.08


def test_percent_only(plant: Plant) -> None:
    """U 0.5 points whichever zero; the zero's own part comes on top for wear."""
    (row,) = plant.survey(
        after(5500), 0.0, length_mm=float("nan"), pitches=float("nan"), elongation_percent=1.657
    )
    survey = plant.derived().surveys.iloc[-1]
    assert survey["row_ids"] == [row]
    assert 2 * survey["u_geo"] == pytest.approx(0.5)
    assert 2 * survey["u_rate"] == pytest.approx(0.5)
    assert 0.5 < 2 * survey["u_wear"] < 0.51
    assert survey["e_wear_mean"] == pytest.approx(1.552, abs=0.0005)
    assert (survey["note"], bool(survey["percent_only"])) == ("percent_only", True)


@pytest.mark.parametrize(
    ("chain_c", "tape_c", "u_geo", "shift"),
    [
        (25, 25, 0.0397, 0.0),
        (50, None, 0.0397, 0.0),  # up to 60 degC the tape is as warm as the chain
        (210, None, 0.0421, 100 * 11.5e-6 * (40 - 210)),  # hotter: the tape at 40 degC, u 12 K
        (None, None, 0.0413, 0.0),  # nothing written down: no correction, u 10 K
        (None, 35, 0.0413, 0.0),
    ],
    ids=["both", "warm, chain only", "hot, chain only", "neither", "tape only"],
)
def test_temperatures(chain_c: float | None, tape_c: float | None, u_geo: float, shift: float) -> None:
    """u(e_geo) = 100 sqrt(1.2075^2 + (3.0985e3 x 11.5e-6 x u_T)^2) / 3048, by hand."""
    plant = simple_plant()
    known = {
        "chain_temperature_c": float("nan") if chain_c is None else chain_c,
        "tape_temperature_c": float("nan") if tape_c is None else tape_c,
    }
    measured(plant, after(5500), 3098.5, **known)
    survey = plant.derived().surveys.iloc[-1]
    assert survey["u_geo"] == pytest.approx(u_geo, abs=0.00006)
    assert survey["e_geo_mean"] == pytest.approx(1.65682 + shift * 1.0165682, abs=0.0001)


def test_stainless_chain_expands_more() -> None:
    """304 at 60 degC under a carbon steel tape as warm: 100 x (11.5 - 17.2)e-6 x 40 x 1.0166 = -0.0232 %."""
    plant = simple_plant(steel="austenitic_stainless")
    measured(plant, after(5500), 3098.5, chain_temperature_c=60, tape_temperature_c=60)
    assert plant.derived().surveys["e_geo_mean"].iloc[-1] == pytest.approx(1.65682 - 0.02318, abs=0.0001)


@pytest.mark.parametrize("method", ["dirty", "slack", "unknown"])
def test_careless_pull(method: str) -> None:
    """u_pull 1.5 in place of 0.5 mm: u_L = sqrt(1.210^2 - 0.25 + 2.25) = 1.861 mm, 0.0610 %."""
    plant = simple_plant()
    measured(plant, after(5500), 3098.5, method=method)
    assert plant.derived().surveys["u_geo"].iloc[-1] == pytest.approx(0.0610, abs=0.0001)


@pytest.mark.parametrize(("tape", "u_mm"), [("I", 1.070), ("III", 1.635)])
def test_tape_class(tape: str, u_mm: float) -> None:
    """(a + 4 b)/sqrt 3 over 3.1 m, with 1.030 mm of the rest: class I 0.289 mm, class III 1.270 mm."""
    plant = simple_plant()
    measured(plant, after(5500), 3098.5, instrument_class=tape)
    assert plant.derived().surveys["u_geo"].iloc[-1] == pytest.approx(100 * u_mm / 3048, abs=0.0001)
