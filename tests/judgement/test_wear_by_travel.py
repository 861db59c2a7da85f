"""A strand's own rate by the kilometre slid, beside the middle of its service."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.judgement.plant import EXAMPLE_SURVEYS, alone, fact, judged, surveys, unmeasured

from takeup.judgement.explaining import explain
from takeup.judgement.judging import Judged
from takeup.judgement.settings import JudgementSettings
from takeup.model import Verdict

POINTS = EXAMPLE_SURVEYS[1]

#: name → what differs; three in abrasive bulk are enough for a middle, one in clean service is not
STRANDS: dict[str, dict[str, Any]] = {
    "one": {},
    "twice as fast": {"speed_m_per_s": 1.0},
    "longer loop": {"pitches": 480, "pitches_now": 480},
    "alone": {"service": "clean"},
    "no service": {"service": ""},
    "stands still": {"speed_m_per_s": 0.0, "service": "clean"},
    "no speed": {"speed_m_per_s": np.nan, "pin_diameter_mm": np.nan, "service": "clean"},
}


def told() -> Judged:
    """Every strand with the example's surveys, and one never measured."""
    lives = [(f"{name}|2025-03-01", POINTS) for name in STRANDS]
    rows = [alone(name, **differs) for name, differs in STRANDS.items()]
    return judged(*rows, unmeasured("new", machine="new", set="new"), surveys=surveys(*lives))


def answer(name: str) -> Verdict:
    return next(
        each for each in explain(name, told().situation, JudgementSettings()) if each.rule == "wear_by_travel"
    )


def test_the_example_beside_its_sisters() -> None:
    """0.2670 % per 1000 h at 1.64 m of sliding an hour; the faster machine wears half as fast by the way."""
    one = answer("one")
    assert (one.reason, one.answer.value) == ("beside_others", "clear")
    assert (fact(one, "loops_per_hour"), fact(one, "slide_m_per_h")) == (49.2, 1.64)
    by_km = fact(one, "rate") / (2 * 2 * np.pi / 12 * 31.75 / 1000 * 1800 / 36.576)
    assert fact(one, "rate_per_km") == pytest.approx(by_km, abs=2e-4)
    rates = [fact(answer(name), "rate_per_km") for name in ("one", "twice as fast", "longer loop")]
    assert rates[1] == pytest.approx(rates[0] / 2, abs=1e-4)
    assert rates[2] == pytest.approx(rates[0] * 2, abs=1e-4)
    assert fact(one, "rate_per_km_middle") == rates[0]
    assert fact(one, "sisters") == 3


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("alone", "alone"), ("no service", "alone"), ("stands still", "stands_still"),
        ("no speed", "not_known"), ("new", "no_rate"),
    ],
)  # fmt: skip
def test_why_there_is_nothing_to_compare(name: str, reason: str) -> None:
    assert answer(name).reason == reason


def test_missing_register_values_are_named() -> None:
    assert fact(answer("no speed"), "missing") == ("speed_m_per_s", "pin_diameter_mm")
