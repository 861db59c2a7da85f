"""A world of campaigns and jolts: duty changes, grease is forgotten, the case goes joint by joint.

Wear comes in gamma-distributed portions. Each machine changes between light, usual and hard campaigns;
lubrication lapses now and then for some hundred hours; rust adds its share by season. The joints of a strand
lose their case one after the other, so the mean rate rises over a stretch and not at a point.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .fleet import STEP, Fleet, crossing, surveyed

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: Middle rate of each service. [% per 1000 h]
SERVICE_RATES = np.array([0.15, 0.45, 1.1])
#: Rate of light, usual and hard campaigns, as a multiple.
CAMPAIGNS = np.array([0.55, 1.0, 1.7])


def lives(
    rng: np.random.Generator,
    count: int,
    *,
    changed_early: bool,
    plant: ArrayLike = 1.0,
    as_found: float = 1.0,
    horizon: float = 60_000.0,
) -> Fleet:
    """Some lives of this world; changed past 0.7 of the limit if ``changed_early``, else followed to it.

    ``plant`` is how much faster each service wears at one plant than its usual rate says, ``as_found`` the
    share of chains measured a last time when they are changed.
    """
    grid = np.arange(0.0, horizon + STEP, STEP)
    steps = grid.size - 1
    service = rng.integers(0, SERVICE_RATES.size, count)
    limit = rng.choice([1.5, 2.0, 3.0], count)
    base = (plant * SERVICE_RATES)[service] * rng.gamma(9.0, 1 / 9.0, count)
    campaign = stays(rng, count, steps, hours=900.0, choices=CAMPAIGNS.size)
    lapse = stays(rng, count, steps, hours=500.0, choices=8) == 0
    neglect = rng.uniform(1.3, 2.2, count)[:, None]
    season = 1 + 0.15 * np.sin(2 * np.pi * (grid[:-1] / 6000.0 + rng.random(count)[:, None]))
    mean = base[:, None] * CAMPAIGNS[campaign] * np.where(lapse, neglect, 1.0) * season * STEP / 1000
    # Gamma portions with a coefficient of variation of 0.8 in 50 h.
    portions = mean * rng.gamma(1.5, 1 / 1.5, (count, steps))
    has = rng.random(count) < 0.6
    depth = limit * rng.uniform(0.5, 1.4, count)
    factor = rng.uniform(1.8, 4.5, count)
    width = 0.10 * depth  # how far the joints of one strand lie apart
    slow = np.concatenate([np.zeros((count, 1)), np.cumsum(portions, axis=1)], axis=1)
    slow += rng.uniform(0.05, 0.25, count)[:, None] * np.minimum(grid / 100.0, 1.0)
    through = np.logaddexp(0.0, (slow - depth[:, None]) / width[:, None]) * width[:, None]
    path = np.where(has[:, None], slow + (factor[:, None] - 1) * through, slow)
    in_register = np.where(has, depth * rng.uniform(0.85, 1.15, count), np.nan)
    path[:, -1] = np.maximum(path[:, -1], 10.0)
    end = crossing(grid, path, limit * (0.7 if changed_early else 1.05))
    if changed_early:
        # The next planned stop comes anywhere within the next 5000 h, but nobody runs past 1.2 of the limit.
        end = np.minimum(end + rng.uniform(0, 5000, count), crossing(grid, path, 1.2 * limit))
    as_found = as_found if changed_early else 0.0  # a chain followed to its limit is not changed
    return surveyed(
        rng, grid, path, limit=limit, case=in_register, pitch_mm=rng.choice([76.2, 152.4, 304.8], count),
        service=service, usual_rate=SERVICE_RATES[service], end_hours=end, as_found=as_found, blunder=0.04,
    )  # fmt: skip


def stays(rng: np.random.Generator, count: int, steps: int, *, hours: float, choices: int):
    """States that last some hours on the average and then change to any of the choices."""
    changes = rng.random((count, steps)) < STEP / hours
    changes[:, 0] = True
    drawn = rng.integers(0, choices, (count, steps))
    last_change = np.maximum.accumulate(np.where(changes, np.arange(steps), 0), axis=1)
    return np.take_along_axis(drawn, last_change, axis=1)
