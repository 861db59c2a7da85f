"""What a world hands out: the surveys people would have taken, and the truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: Step on which the true elongation is laid down. [h]
STEP = 50.0
#: Fewest hours between two surveys of a strand.
LEAST_HOURS = 150.0
#: Elongation at which a rule of thumb takes every chain off, whatever its limit. [%]
FLAT_RULE = 3.0
#: Pitches in a span and marks on a strand.
SPAN_PITCHES, MARKS = 20, 4


@dataclass(frozen=True)
class Fleet:
    """Lives with their surveys, ragged; and for each life what was true.

    ``hours`` are those the meter tells, ``run_hours`` those the chain ran. ``limit_hours`` are the true life
    hours at which the true elongation reached the limit, known to the simulator even where the chain was
    changed before; ``flat_hours`` those at which it reached :data:`FLAT_RULE`.
    """

    hours: NDArray[np.float64]
    run_hours: NDArray[np.float64]
    e: NDArray[np.float64]
    starts: NDArray[np.int64]
    limit: NDArray[np.float64]
    case: NDArray[np.float64]
    u: NDArray[np.float64]
    u_zero: NDArray[np.float64]
    service: NDArray[np.int64]
    usual_rate: NDArray[np.float64]
    limit_hours: NDArray[np.float64]
    flat_hours: NDArray[np.float64]

    def __len__(self) -> int:
        return self.limit.size

    def take(self, lives: NDArray[np.int64]) -> Fleet:
        """Some of the lives, in the order asked for."""
        size = np.diff(self.starts)[lives]
        starts = np.concatenate([[0], np.cumsum(size)])
        rows = np.arange(starts[-1]) - np.repeat(starts[:-1], size) + np.repeat(self.starts[lives], size)
        return Fleet(
            self.hours[rows], self.run_hours[rows], self.e[rows], starts, self.limit[lives], self.case[lives],
            self.u[lives], self.u_zero[lives], self.service[lives], self.usual_rate[lives],
            self.limit_hours[lives], self.flat_hours[lives],
        )  # fmt: skip

    def kept(self, rows: NDArray[np.bool_]) -> Fleet:
        """The same lives with some of their surveys."""
        counts = np.add.reduceat(np.append(rows, False).astype(np.int64), self.starts[:-1])
        counts[np.diff(self.starts) == 0] = 0
        return Fleet(
            self.hours[rows], self.run_hours[rows], self.e[rows], np.concatenate([[0], np.cumsum(counts)]),
            self.limit, self.case, self.u, self.u_zero, self.service, self.usual_rate, self.limit_hours,
            self.flat_hours,
        )  # fmt: skip


def crossing(grid: NDArray[np.float64], path: NDArray[np.float64], level: NDArray[np.float64]):
    """Hours at which each rising path first reaches its level, between grid points by proportion."""
    reached = path >= level[:, None]
    if not reached[:, -1].all():
        raise ValueError("a simulated path ends before its level: lengthen the grid")
    at = np.maximum(reached.argmax(axis=1), 1)
    row = np.arange(level.size)
    below, above = path[row, at - 1], path[row, at]
    return grid[at - 1] + (grid[at] - grid[at - 1]) * (level - below) / (above - below)


def surveyed(
    rng: np.random.Generator,
    grid: NDArray[np.float64],
    path: NDArray[np.float64],
    *,
    limit: NDArray[np.float64],
    case: NDArray[np.float64],
    pitch_mm: NDArray[np.float64],
    service: NDArray[np.int64],
    end_hours: NDArray[np.float64],
    usual_rate: NDArray[np.float64],
    interval: tuple[float, float] = (300.0, 1500.0),
    blunder: float = 0.02,
    as_found: float = 0.0,
    shortened_at: NDArray[np.float64] | None = None,
    meter_changed_at: NDArray[np.float64] | None = None,
) -> Fleet:
    """Walk to every strand with a tape, at irregular intervals, until its chain is changed.

    The next survey comes after some hours drawn from ``interval``, sooner where a quarter of the hours left
    at the service's usual rate is less, but never within 150 h. A reading of one mark errs by its own repeat
    and ends, a survey by its pull, tape and temperature together, and now and then by a pull three times as
    far off. ``as_found`` is the share of chains that are measured a last time when they are changed. The
    zero, measured once at fitting, errs alike and stays with the life. The truth is the mean
    elongation of the spans measured: what other spans do is not the forecast's question.

    A chain ``shortened_at`` some hours is measured over other pitches afterwards: born by so much longer or
    shorter as the zero was known, and worn by 3 % more or less. A meter changed loses up to 145 h.
    """
    lives = limit.size
    walks = []
    now, e_now = np.zeros(lives), np.zeros(lives)
    while (now <= end_hours).any():
        left = 1000 * np.maximum(limit - e_now, 0) / usual_rate
        now = now + np.maximum(np.minimum(rng.uniform(*interval, size=lives), left / 4), LEAST_HOURS)
        e_now = _worn(grid, path, now)
        walks.append((now, e_now))
    hours, true = (np.stack(values, axis=1) for values in zip(*walks, strict=True))
    # The walk that comes too late is the last one instead, if the one before was not just now.
    row, late = np.arange(lives), (hours > end_hours[:, None]).argmax(axis=1)
    latest = np.where(late > 0, hours[row, late - 1], 0.0)
    asked = (rng.random(lives) < as_found) & (end_hours - latest >= LEAST_HOURS)
    hours[row, late] = np.where(asked, end_hours, hours[row, late])
    true[row, late] = np.where(asked, _worn(grid, path, end_hours), true[row, late])
    seen = hours <= end_hours[:, None]
    counts = seen.sum(axis=1)
    most = hours.shape[1]
    span_mm = SPAN_PITCHES * pitch_mm[:, None]
    shared_mm = np.sqrt(1.1**2 / 3 + 0.5**2) * rng.standard_normal((lives, most))
    shared_mm *= np.where(rng.random((lives, most)) < blunder, 3.0, 1.0)
    marks_mm = np.sqrt((0.8**2 + 2 / 12) / MARKS) * rng.standard_normal((lives, most))
    zero_mm = np.sqrt(1.1**2 / 3 + 0.5**2 + (0.8**2 + 2 / 12) / MARKS) * rng.standard_normal(lives)
    e = true + 100 * (shared_mm + marks_mm + zero_mm[:, None]) / span_mm
    if shortened_at is not None:
        after = hours > shortened_at[:, None]
        born = 100 * zero_mm[rng.permutation(lives), None] / span_mm
        worn = true * 0.03 * rng.standard_normal(lives)[:, None]
        e = np.where(after, e + born + worn, e)
    told = hours
    if meter_changed_at is not None:
        told = np.where(hours > meter_changed_at[:, None], hours - rng.uniform(0, 145, lives)[:, None], hours)
    # What the steward reckons: tape class II, one mark.
    u_mm = np.sqrt(1.1**2 / 3 + 2 / 12 + 0.8**2 + 0.5**2)
    u = 100 * np.sqrt(2) * u_mm / span_mm[:, 0]
    u_zero = 100 * u_mm / span_mm[:, 0]
    return Fleet(
        told[seen], hours[seen], e[seen], np.concatenate([[0], np.cumsum(counts)]), limit, case, u, u_zero,
        service, usual_rate, crossing(grid, path, limit),
        crossing(grid, path, np.full(lives, FLAT_RULE)),
    )  # fmt: skip


def _worn(grid: NDArray[np.float64], path: NDArray[np.float64], hours: NDArray[np.float64]):
    """Elongation of each life at its hours, by proportion between grid points; the grid is even."""
    at, row = np.minimum((hours / STEP).astype(np.int64), grid.size - 2), np.arange(hours.size)
    return path[row, at] + (path[row, at + 1] - path[row, at]) * (hours - grid[at]) / STEP
