"""A world drawn from the ranges that the trade tells, for tuning the shipped factors and nothing else.

No plant is like another here: each has its own level of wear within the range that is told of a service, its
own care for grease, its own material. Ranges are common practice without a source: grease that reaches the
joint makes two to five lives of one, a good seal one and a half to four, corrosion leaves a quarter to seven
tenths of a life, hooked sprockets three to seven tenths, and past its case a chain wears two to ten times as
fast, mostly about three. How often each of these happens is invented.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .fleet import STEP, Fleet, crossing, surveyed

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: Middle rate of each service: clean, abrasive and severe. [% per 1000 h]
SERVICE_RATES = np.array([0.2, 0.375, 2.5])
#: Lower and upper end of what is told of each, over its middle.
SERVICE_RANGES = np.array([[0.5, 1.5], [0.8, 3.2], [0.4, 1.6]])


def lives(
    rng: np.random.Generator,
    count: int,
    *,
    changed_early: bool,
    plant: ArrayLike = 1.0,
    as_found: float = 1.0,
    horizon: float = 80_000.0,
) -> Fleet:
    """Some lives of this world; changed at 0.7 to 1.1 of the limit if ``changed_early``, else followed to it.

    ``plant`` is a chance-like number for each service: the scatter of the benchmark's plants about 1, which
    says where in the range of its service a plant lies. ``as_found`` is the share of chains that are measured
    a last time when they are changed.
    """
    grid = np.arange(0.0, horizon + STEP, STEP)
    steps = grid.size - 1
    service = rng.integers(0, SERVICE_RATES.size, count)
    limit = rng.uniform(1.5, 3.0, count)
    level = np.log(np.broadcast_to(plant, SERVICE_RATES.shape))
    low, high = np.log(SERVICE_RANGES).T
    # One plant in ten lies beyond the ends told: 1.645 deviations are 0.5 in the benchmark's scatter of 0.3.
    told = np.where(level < 0, -low, high) * level / (1.645 * 0.3)
    base = (SERVICE_RATES * np.exp(told))[service] * np.exp(0.2 * rng.standard_normal(count))
    pace = np.ones((count, steps))
    # Material and duty change every 3000 h on the average, and keep the new pace.
    change = rng.random((count, steps)) < STEP / 3000.0
    change[:, 0] = True
    drawn = np.exp(0.25 * rng.standard_normal((count, steps)))
    pace *= np.take_along_axis(drawn, np.maximum.accumulate(np.where(change, np.arange(steps), 0), 1), 1)
    # Two in three are greased; one in twelve of their months passes without.
    greased = rng.random(count) < 2 / 3
    missed = np.repeat(rng.random((count, steps // 10 + 1)) < 1 / 12, 10, axis=1)[:, :steps]
    pace *= np.where(greased[:, None] & missed, rng.uniform(2.0, 5.0, count)[:, None], 1.0)
    growth = base[:, None] * pace * STEP / 1000
    worn = np.concatenate([np.zeros((count, 1)), np.cumsum(growth, axis=1)], axis=1)
    # Later evils begin at an elongation, since wear is what opens seals and hooks sprockets.
    for chance, begins, times in (
        (1 / 4, (0.2, 1.2), (1.5, 4.0)),  # a seal lost
        (1 / 8, (0.0, 1.0), (1 / 0.7, 1 / 0.25)),  # corrosion
        (1 / 8, (0.4, 1.2), (1 / 0.7, 1 / 0.3)),  # sprockets hooked
    ):
        hit = rng.random(count) < chance
        at = limit * rng.uniform(*begins, count)
        worn = bent(worn, np.where(hit, at, np.inf), rng.uniform(*times, count))
    has = rng.random(count) < 0.5
    depth = limit * rng.uniform(0.5, 1.3, count)
    path = bent(worn, np.where(has, depth, np.inf), np.exp(rng.triangular(*np.log([2, 3, 10]), count)))
    path = path + rng.uniform(0.05, 0.25, count)[:, None] * (1 - np.exp(-grid / 40.0))
    in_register = np.where(has, depth * np.exp(0.12 * rng.standard_normal(count)), np.nan)
    path[:, -1] = np.maximum(path[:, -1], 10.0)
    end = crossing(grid, path, limit * (rng.uniform(0.7, 1.1, count) if changed_early else 1.05))
    as_found = as_found if changed_early else 0.0  # a chain followed to its limit is not changed
    return surveyed(
        rng, grid, path, limit=limit, case=in_register, pitch_mm=rng.choice([101.6, 152.4, 203.2], count),
        service=service, usual_rate=SERVICE_RATES[service], end_hours=end, as_found=as_found, blunder=0.03,
    )  # fmt: skip


def bent(path: np.ndarray, level: np.ndarray, times: np.ndarray) -> np.ndarray:
    """A path that goes so many times as fast from a level on."""
    return path + (times[:, None] - 1) * np.maximum(path - level[:, None], 0.0)
