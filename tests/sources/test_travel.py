"""Chain travel against lives that a standard gives both in run hours and in kilometres."""

from __future__ import annotations

import pytest

from takeup.wear.travel import loops_per_hour

#: GOST 12996-90, 2.9: bulk carried, fastest speed [m/s], life [h] and the same life [km]
LIVES = {
    "not abrasive": (0.4, 14_000, 20_000),
    "medium abrasive": (0.4, 6_800, 10_000),
    "highly abrasive": (0.16, 5_000, 3_000),
}
LOOP = {"pitches": 240, "pitch_mm": 152.4}


def travelled_km(speed: float, hours: float) -> float:
    """Loops of any chain, times its length: the way that each of its links travels."""
    return float(loops_per_hour(speed, **LOOP)) * LOOP["pitches"] * LOOP["pitch_mm"] / 1e6 * hours


@pytest.mark.parametrize("bulk", LIVES)
def test_hours_and_kilometres_of_one_life_are_one_travel(bulk: str) -> None:
    """GOST 12996-90, 2.9. The standard rounds to whole thousands of kilometres, so half of one is allowed."""
    speed, hours, km = LIVES[bulk]
    assert travelled_km(speed, hours) == pytest.approx(km, abs=500)


def test_the_same_lives_differ_far_more_by_way_than_by_hours() -> None:
    """GOST 12996-90, 2.9: why machines compare by the way and not by the hour."""
    (_, longest, far), _, (_, shortest, near) = LIVES.values()
    assert (longest / shortest, round(far / near, 1)) == (2.8, 6.7)
