"""The promise that intervals are calibrated, on small fleets; tests/benchmarks/coverage.py has it whole.

Two past the worlds that the shipped factors are tuned on: one where rates wander, one of incidents.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.benchmarks.coverage import KINDS, measured
from tests.simulators import duty, events, wander

from takeup.wear.calibration import STAGES

#: Number of each kind: own rate, stages from a quarter of the limit on.
OWN = [k for k, (own, stage) in enumerate(KINDS) if own and stage > 0]


def three_deviations(share: float, lives: float, past: int, plants: int) -> float:
    """Three standard deviations of a share inside, measured so.

    Binomial for the lives forecast; and each plant's record of K lives has a true share of its own, beta
    distributed with a variance of share (1 - share) / (K + 2), by the theory of order statistics.
    """
    spread = share * (1 - share)
    return 3 * float(np.sqrt(spread / lives + spread / ((past + 2) * plants)))


@pytest.mark.parametrize(
    "world", [pytest.param(world, id=world.__name__.rpartition(".")[2]) for world in (wander, events, duty)]
)
def test_from_thirty_lives_on_nine_in_ten_true_hours_lie_inside(world):
    past, plants = 30, 24
    ours, textbook = (each.sum(axis=0) for each in measured(world, past, plants, 30))
    for (own, stage), (inside, sooner, lives) in zip(KINDS, ours, strict=True):
        kind = own, stage, inside / lives, sooner / lives, lives
        assert inside / lives > 0.87 - three_deviations(0.87, lives, past, plants), kind
        assert sooner / lives < 0.06 + three_deviations(0.06, lives, past, plants), kind
        # A record that says "anywhen" would pass the above. Where a chain without a rate is close to its
        # limit, an early bound of no hours cannot be missed: then 95 % lie inside, of few lives.
        most = 0.95 if not own and stage == len(STAGES) else 0.93
        assert inside / lives < most + three_deviations(most, lives, past, plants), kind
    inside = textbook[OWN, 0].sum() / textbook[OWN, 2].sum()
    assert inside < 0.75


@pytest.mark.parametrize("past", [0, 5, 10])
@pytest.mark.parametrize("world", [pytest.param(wander, id="wander"), pytest.param(events, id="events")])
def test_a_young_fleet_is_never_surer_than_nine_in_ten(world, past):
    plants = 8
    ours = measured(world, past, plants, 40)[0].sum(axis=0)
    for kind, (inside, _, lives) in zip(KINDS, ours, strict=True):
        assert inside / lives > 0.90 - three_deviations(0.90, lives, 10**9, plants), kind
