"""The world of incidents: each does what it says. How a record serves there: test_calibration_coverage."""

from __future__ import annotations

import numpy as np
import pytest
from tests.simulators import events


def some(*happens: str):
    return events.lives(np.random.default_rng(4), 120, changed_early=True, happens=happens)


@pytest.mark.parametrize("incident", ["lapse", "seal"])
def test_a_lapse_or_a_lost_seal_brings_the_limit_sooner_never_later(incident):
    even, hit = some(), some(incident)
    assert (hit.limit_hours <= even.limit_hours + 1e-6).all()
    assert 0.2 < np.mean(hit.limit_hours < 0.95 * even.limit_hours) < 0.95


def test_a_changed_meter_loses_hours_and_never_runs_backwards():
    even, hit = some(), some("meter")
    np.testing.assert_array_equal(hit.run_hours, even.hours)
    lost = np.round(hit.run_hours - hit.hours, 6)
    assert lost.min() == 0
    assert 100 < lost.max() < 145
    for begin, end in zip(hit.starts[:-1], hit.starts[1:], strict=True):
        assert (np.diff(lost[begin:end]) >= 0).all()
        assert (np.diff(hit.hours[begin:end]) > 0).all()


def test_a_shortening_changes_what_is_measured_and_not_the_chain():
    even, hit = some(), some("shortening")
    np.testing.assert_array_equal(hit.limit_hours, even.limit_hours)
    np.testing.assert_array_equal(hit.hours, even.hours)
    moved = hit.e != even.e
    assert 0.05 < moved.mean() < 0.5
    for begin, end in zip(hit.starts[:-1], hit.starts[1:], strict=True):
        # Once moved, moved for good.
        assert (np.diff(moved[begin:end].astype(int)) >= 0).all()
