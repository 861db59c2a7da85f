"""The chance told for a stop, between the bounds too; tests/benchmarks/chances.py has it whole."""

from __future__ import annotations

import numpy as np
import pytest
from tests.benchmarks.chances import CHANCES, passed
from tests.benchmarks.coverage import KINDS
from tests.simulators import duty, wander

#: Number of each kind: own rate, stages from a quarter of the limit on.
OWN = [k for k, (own, stage) in enumerate(KINDS) if own and stage > 0]


@pytest.mark.parametrize("world", [pytest.param(wander, id="wander"), pytest.param(duty, id="duty")])
def test_from_thirty_lives_on_chances_come_about_as_often_as_told(world):
    """No stage is further off than ten points and three standard deviations, binomial for the lives.

    Ten points is what a choice between stops can bear: it moves an expected cost by a tenth of a stop.
    """
    for row in passed(world, past=30, plants=24, lives=30)[OWN]:
        for told, came in zip(CHANCES, row[1:], strict=True):
            assert abs(came - told) < 0.10 + 3 * np.sqrt(told * (1 - told) / row[0]), (told, came)
