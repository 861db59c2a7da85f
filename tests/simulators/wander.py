"""A world where the rate of each chain drifts without aim, and steps up once its case is through.

The logarithm of the rate is a random walk plus a slow swing about it (an autoregression of the duty). Past
the depth of the case, which differs from the one in the register, the rate is multiplied by a factor of the
chain's own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .fleet import STEP, Fleet, crossing, surveyed

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: Middle rate of each service. [% per 1000 h]
SERVICE_RATES = np.array([0.2, 0.38, 0.8])


def lives(
    rng: np.random.Generator,
    count: int,
    *,
    changed_early: bool,
    plant: ArrayLike = 1.0,
    as_found: float = 1.0,
    horizon: float = 60_000.0,
) -> Fleet:
    """Some lives of this world; changed at 0.6 to 1.1 of the limit if ``changed_early``, else followed to it.

    ``plant`` is how much faster each service wears at one plant than its usual rate says, ``as_found`` the
    share of chains measured a last time when they are changed.
    """
    grid = np.arange(0.0, horizon + STEP, STEP)
    steps = grid.size - 1
    service = rng.integers(0, SERVICE_RATES.size, count)
    limit = rng.uniform(1.5, 3.0, count)
    base = (plant * SERVICE_RATES)[service] * np.exp(0.35 * rng.standard_normal(count))
    walk = np.cumsum(0.12 * np.sqrt(STEP / 1000) * rng.standard_normal((count, steps)), axis=1)
    walk = np.clip(walk, -1.2, 1.2)
    swing = autoregression(rng, count, steps, sd=0.25, hours=1500.0)
    growth = base[:, None] * np.exp(walk + swing) * STEP / 1000
    # The case: in two of three chains, known to the register within 12 %; the factor past it 1.5 to 6.
    has = rng.random(count) < 2 / 3
    depth = limit * rng.uniform(0.4, 1.3, count)
    factor = np.clip(np.exp(np.log(3.0) + 0.35 * rng.standard_normal(count)), 1.5, 6.0)
    slow = np.concatenate([np.zeros((count, 1)), np.cumsum(growth, axis=1)], axis=1)
    slow += rng.uniform(0.05, 0.25, count)[:, None] * (1 - np.exp(-grid / 40.0))
    path = np.where(slow > depth[:, None], depth[:, None] + factor[:, None] * (slow - depth[:, None]), slow)
    path = np.where(has[:, None], path, slow)
    in_register = np.where(has, depth * np.exp(0.12 * rng.standard_normal(count)), np.nan)
    # Every path reaches its limit, if need be by a last step far beyond every horizon.
    path[:, -1] = np.maximum(path[:, -1], 10.0)
    end = crossing(grid, path, limit * (rng.uniform(0.6, 1.1, count) if changed_early else 1.05))
    as_found = as_found if changed_early else 0.0  # a chain followed to its limit is not changed
    return surveyed(
        rng, grid, path, limit=limit, case=in_register, pitch_mm=rng.choice([101.6, 152.4, 203.2], count),
        service=service, usual_rate=SERVICE_RATES[service], end_hours=end, as_found=as_found,
    )  # fmt: skip


def autoregression(rng: np.random.Generator, count: int, steps: int, *, sd: float, hours: float):
    """A stationary first-order autoregression with a standard deviation and a memory in hours."""
    keep = np.exp(-STEP / hours)
    shocks = sd * np.sqrt(1 - keep**2) * rng.standard_normal((count, steps))
    value = sd * rng.standard_normal(count)
    out = np.empty((count, steps))
    for step in range(steps):
        value = keep * value + shocks[:, step]
        out[:, step] = value
    return out
