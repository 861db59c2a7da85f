"""The promise that intervals are calibrated, on small fleets; tests/benchmarks/coverage.py has it whole."""

from __future__ import annotations

import numpy as np
import pytest
from tests.benchmarks.coverage import KINDS, measured
from tests.simulators import duty, wander

from takeup.wear.calibration import STAGES

WORLDS = [pytest.param(wander, id="wander"), pytest.param(duty, id="duty")]
#: Number of each kind: own rate, stages from a quarter of the limit on.
OWN = [k for k, (own, stage) in enumerate(KINDS) if own and stage > 0]


def three_deviations(share: float, lives: float, past: int, plants: int) -> float:
    """Three standard deviations of a share inside, measured so.

    Binomial for the lives forecast; and each plant's record of K lives has a true share of its own, beta
    distributed with a variance of share (1 - share) / (K + 2), by the theory of order statistics.
    """
    spread = share * (1 - share)
    return 3 * float(np.sqrt(spread / lives + spread / ((past + 2) * plants)))


@pytest.mark.parametrize("world", WORLDS)
def test_from_thirty_lives_on_nine_in_ten_true_hours_lie_inside(world):
    past, plants = 30, 24
    ours, textbook = measured(world, past, plants, 30)
    for k in OWN:
        inside, sooner, lives = ours[k] / [ours[k, 2], ours[k, 2], 1]
        assert inside > 0.87 - three_deviations(0.87, lives, past, plants), KINDS[k]
        assert sooner < 0.06 + three_deviations(0.06, lives, past, plants), KINDS[k]
        # A record that says "anywhen" would pass the above. Close to the limit 98 % are seen, since an early
        # bound of no hours cannot be missed; elsewhere 95 %.
        most = 0.98 if KINDS[k][1] == len(STAGES) else 0.955
        assert inside < most + three_deviations(most, lives, past, plants), KINDS[k]
    inside = textbook[OWN, 0].sum() / textbook[OWN, 2].sum()
    assert inside < 0.75


@pytest.mark.parametrize("past", [0, 5, 10, 20])
@pytest.mark.parametrize("world", WORLDS)
def test_a_young_fleet_is_never_surer_than_nine_in_ten(world, past):
    plants = 8
    ours, _ = measured(world, past, plants, 40)
    for kind, (inside, sooner, lives) in zip(KINDS, ours, strict=True):
        assert inside / lives > 0.90 - three_deviations(0.90, lives, 10**9, plants), kind
        assert sooner / lives < 0.06 + three_deviations(0.06, lives, 10**9, plants), kind
