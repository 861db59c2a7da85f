"""A world of incidents: lapses of lubrication, lost seals, shortenings, meters changed; each can be left out.

Between incidents a chain wears evenly but for a slow swing of its duty; half the chains have a case that goes
at one depth. Factors and frequencies are invented, within what the trade tells: grease that reaches the joint
makes two to five lives of one, a good seal one and a half to four.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .fleet import STEP, Fleet, crossing, surveyed
from .wander import autoregression

if TYPE_CHECKING:
    from collections.abc import Collection

    from numpy.typing import ArrayLike

#: Middle rate of each service. [% per 1000 h]
SERVICE_RATES = np.array([0.12, 0.3, 0.7])
#: What may happen to a chain.
INCIDENTS = ("lapse", "seal", "shortening", "meter")


def lives(
    rng: np.random.Generator,
    count: int,
    *,
    changed_early: bool,
    plant: ArrayLike = 1.0,
    as_found: float = 1.0,
    horizon: float = 80_000.0,
    happens: Collection[str] = INCIDENTS,
) -> Fleet:
    """Some lives of this world; changed at 0.6 to 1.0 of the limit if ``changed_early``, else followed to it.

    ``plant`` is how much faster each service wears at one plant than its usual rate says, ``as_found`` the
    share of chains measured a last time when they are changed, ``happens`` which
    of :data:`INCIDENTS` do. What is left out is drawn all the same, so that the chains are the same ones.
    """
    grid = np.arange(0.0, horizon + STEP, STEP)
    steps = grid.size - 1
    service = rng.integers(0, SERVICE_RATES.size, count)
    limit = rng.uniform(1.5, 3.0, count)
    base = (plant * SERVICE_RATES)[service] * np.exp(0.25 * rng.standard_normal(count))
    swing = np.exp(autoregression(rng, count, steps, sd=0.15, hours=2000.0))
    pace = {"lapse": _lapses(rng, count, steps), "seal": _lost_seals(rng, grid, count)}
    growth = base[:, None] * swing * STEP / 1000
    for name, times in pace.items():
        if name in happens:
            growth = growth * times
    has = rng.random(count) < 0.5
    depth = limit * rng.uniform(0.5, 1.2, count)
    factor = rng.uniform(2.0, 5.0, count)
    slow = np.concatenate([np.zeros((count, 1)), np.cumsum(growth, axis=1)], axis=1)
    slow += rng.uniform(0.05, 0.25, count)[:, None] * (1 - np.exp(-grid / 40.0))
    path = np.where(slow > depth[:, None], depth[:, None] + factor[:, None] * (slow - depth[:, None]), slow)
    path = np.where(has[:, None], path, slow)
    path[:, -1] = np.maximum(path[:, -1], 10.0)
    in_register = np.where(has, depth * np.exp(0.10 * rng.standard_normal(count)), np.nan)
    end = crossing(grid, path, limit * (rng.uniform(0.6, 1.0, count) if changed_early else 1.05))
    # Four in ten are shortened once the take-up is drawn: other pitches stand between the marks from then on.
    shortened = crossing(grid, path, limit * rng.uniform(0.3, 0.7, count))
    shortened[rng.random(count) >= 0.4] = np.inf
    # Every third life sees its meter changed. The hours since its last reading are lost: less than a week's,
    # and never so many that the next survey would seem to lie before the last.
    changed = rng.uniform(0, 1, count) * end
    changed[rng.random(count) >= 1 / 3] = np.inf
    as_found = as_found if changed_early else 0.0  # a chain followed to its limit is not changed
    return surveyed(
        rng, grid, path, limit=limit, case=in_register, pitch_mm=rng.choice([101.6, 152.4, 203.2], count),
        service=service, usual_rate=SERVICE_RATES[service], end_hours=end, as_found=as_found,
        shortened_at=shortened if "shortening" in happens else None,
        meter_changed_at=changed if "meter" in happens else None,
    )  # fmt: skip


def _lapses(rng: np.random.Generator, count: int, steps: int):
    """Every 6000 h on the average nobody greases for 300 to 1500 h: 1.5 to 3 times the wear meanwhile."""
    begins = rng.random((count, steps)) < STEP / 6000.0
    lasts = rng.uniform(300.0, 1500.0, (count, steps))
    until = np.where(begins, np.arange(steps) + lasts / STEP, 0.0)
    dry = np.arange(steps) < np.maximum.accumulate(until, axis=1)
    return np.where(dry, rng.uniform(1.5, 3.0, count)[:, None], 1.0)


def _lost_seals(rng: np.random.Generator, grid, count: int):
    """Half the chains are sealed; the seals go after 8000 h on the average: 1.5 to 4 times the wear then."""
    lost_at = np.where(rng.random(count) < 0.5, rng.exponential(8000.0, count), np.inf)
    return np.where(grid[:-1] >= lost_at[:, None], rng.uniform(1.5, 4.0, count)[:, None], 1.0)
