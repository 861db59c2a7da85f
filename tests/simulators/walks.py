"""Pairs of strands walked to with a tape, and what goes wrong between the chain and the export.

A world of rows, not of forecasts: chains wear evenly but for a slow swing of their duty, and each pair
suffers at most one slip, so that whoever reads the rows can be asked whether it was seen and whether it was
invented elsewhere. Factors of lost seals and lapses are those of the world of incidents.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .fleet import STEP
from .wander import autoregression

if TYPE_CHECKING:
    from numpy.typing import NDArray

PITCH_MM, MARKS = 152.4, 4
#: the day all pairs are walked to last
LAST_DAY = 20_500
GREASED_EVERY_HOURS, GREASE_ML = 500.0, 48.0
#: What may be wrong with the latest survey of a strand (of both, where they are exchanged).
READING_SLIPS = ("mark miscounted", "survey miscounted", "strands swapped", "copied", "copied from sister")
#: What may have befallen the chain: a seal lost 1 to 4 surveys ago, or a spell of dry running while the
#: records went on as if it had been greased.
CHAIN_SLIPS = ("seal lost", "hidden lapse")
#: What may be wrong with the meter, or with the grease of the last weeks.
OTHER_SLIPS = ("meter reset", "meter changed", "meter rolled over", "not greased", "greased thinly")
SLIPS = ("", *READING_SLIPS, *CHAIN_SLIPS, *OTHER_SLIPS)


@dataclass(frozen=True)
class Walks:
    """The rows of some pairs; strands ``2 p`` and ``2 p + 1`` are pair and machine ``p``.

    ``survey_...`` are one value a survey, ``length_mm`` (k, :data:`MARKS`). ``since`` tells how many surveys
    were taken since a seal was lost or a lapse began, ``apart`` by how much the strands differ at the latest
    survey, in points, ``ungreased_hours`` how long ago each strand had its planned quantity.
    """

    slip: NDArray[np.object_]
    fitted_day: NDArray[np.int64]
    since: NDArray[np.int64]
    apart: NDArray[np.float64]
    survey_strand: NDArray[np.int64]
    survey_day: NDArray[np.int64]
    length_mm: NDArray[np.float64]
    pitches: int
    meter_machine: NDArray[np.int64]
    meter_day: NDArray[np.int64]
    meter_hours: NDArray[np.float64]
    run_hours: NDArray[np.float64]
    lube_strand: NDArray[np.int64]
    lube_day: NDArray[np.int64]
    lube_ml: NDArray[np.float64]
    ungreased_hours: NDArray[np.float64]


def walks(
    rng: np.random.Generator,
    pairs: int,
    *,
    rate: float,
    pitches: int,
    clean: float = 0.3,
    swing: float = 0.15,
    growth: tuple[float, float] = (0.2, 0.6),
) -> Walks:
    """Some pairs whose chains wear at about ``rate`` [%/1000 h], measured over so many pitches.

    ``clean`` is the share without a slip, ``swing`` the scatter of the logarithm of the duty. Each pair is
    measured whenever its chains should have grown by some 0.2 to 0.6 points (``growth``), after 100 h at
    least and 1500 h at most, four to twelve times, and seldom beyond 4 %.
    """
    slip = np.where(rng.random(pairs) < clean, "", rng.choice(SLIPS[1:], pairs)).astype(object)
    pace = rng.uniform(12, 22, pairs)
    apart_hours = np.clip(1000 * rng.uniform(*growth, pairs) / rate, 100, 1500)
    every = np.maximum(np.rint(apart_hours / pace).astype(np.int64), 5)
    taken = np.minimum(rng.integers(4, 13, pairs), 1 + (3500 / (rate * every * pace)).astype(np.int64))
    taken = np.maximum(taken, 4)
    fitted = LAST_DAY - every * (taken - 1)
    days = int(LAST_DAY - fitted.min()) + 1
    weeks = np.clip(rng.normal(1, 0.15, (pairs, days // 7 + 2)), 0.2, 1.3)
    a_day = np.minimum(np.repeat(weeks, 7, axis=1)[:, :days] * pace[:, None], 23.0)
    # hours[p, d]: run hours at midday, d days before the last
    hours = -np.concatenate([np.zeros((pairs, 1)), np.cumsum(a_day, axis=1)], axis=1)

    since = np.minimum(rng.integers(1, 5, pairs), taken - 3)
    row = np.arange(pairs)
    life_now = hours[row, 0] - hours[row, LAST_DAY - fitted]
    lost = life_now + hours[row, every * since] - hours[row, 0]
    # A lapse begins after the third survey at the earliest: before, no rate can be known to change.
    third = life_now + hours[row, every * (taken - 3)] - hours[row, 0]
    dry_from = np.maximum(life_now - rng.uniform(300, 1500, pairs), third)
    surveys = np.minimum(every[:, None] * np.arange(12), LAST_DAY - fitted[:, None])
    after = (life_now[:, None] + hours[row[:, None], surveys] > dry_from[:, None]).sum(axis=1)
    since = np.where(slip == "hidden lapse", after, since)
    e_wear = _worn(rng, slip, rate, swing, life_now.max() + STEP, lost, dry_from)

    strand = np.repeat(np.arange(2 * pairs), np.repeat(taken, 2))
    back = np.concatenate([np.arange(count)[::-1] for count in np.repeat(taken, 2)])
    pair = strand // 2
    day = LAST_DAY - every[pair] * back
    at = hours[pair, LAST_DAY - day] - hours[pair, LAST_DAY - fitted[pair]]
    length, apart = _read(rng, strand, at, e_wear, pitches, back)
    _misread(rng, length, slip, strand, back, pitches)

    machine, meter_day, shown, run = _metered(rng, slip, hours, fitted)
    lube = _greased(rng, slip, hours, fitted, life_now)
    return Walks(
        slip, fitted, since, apart, strand, day, np.rint(length), pitches,
        machine, meter_day, shown, run, *lube,
    )  # fmt: skip


def _worn(rng, slip, rate, swing, horizon, lost, dry_from):
    """Wear of every strand on a grid of life hours, in per cent; strand A of a pair suffers the slip."""
    pairs = slip.size
    steps = int(np.ceil(horizon / STEP))
    grid = np.arange(steps) * STEP
    base = (
        rate
        * np.repeat(np.exp(0.3 * rng.standard_normal(pairs)), 2)
        * np.exp(0.12 * rng.standard_normal(2 * pairs))
    )
    growth = np.repeat(np.exp(autoregression(rng, pairs, steps, sd=swing, hours=2000.0)), 2, axis=0)
    growth *= base[:, None] * STEP / 1000
    seal, dry = rng.uniform(1.5, 4.0, pairs), rng.uniform(1.5, 3.0, pairs)
    for name, since, times in (("seal lost", lost, seal), ("hidden lapse", dry_from, dry)):
        hit = (slip == name)[:, None] & (grid >= since[:, None])
        growth[::2] *= np.where(hit, times[:, None], 1.0)
    path = np.concatenate([np.zeros((2 * pairs, 1)), np.cumsum(growth, axis=1)], axis=1)
    bedding = 1 - np.exp(-np.append(grid, steps * STEP) / 40.0)
    return path + rng.uniform(0.05, 0.25, (2 * pairs, 1)) * bedding


def _read(rng, strand, at, e_wear, pitches, back):
    """Lengths at every mark, with the errors of tape, pull, temperature and hand, not yet rounded."""
    strands = e_wear.shape[0]
    place = np.minimum((at / STEP).astype(np.int64), e_wear.shape[1] - 2)
    e = e_wear[strand, place]
    e = e + (e_wear[strand, place + 1] - e) * (at - place * STEP) / STEP
    born = rng.uniform(0.02, 0.2, (strands, 1)) + 0.02 * rng.standard_normal((strands, MARKS))
    uneven = 1 + 0.04 * rng.standard_normal((strands, MARKS))
    true = born[strand] + e[:, None] * uneven[strand]
    nominal = pitches * PITCH_MM
    limit = 0.3 + 0.2 * np.ceil(nominal / 1000)
    shared = rng.uniform(-limit, limit, strand.size) + 0.5 * rng.standard_normal(strand.size)
    shared += 11.5e-6 * nominal * 2 * rng.standard_normal(strand.size)
    hand = 0.8 * rng.standard_normal(true.shape) + rng.uniform(-0.5, 0.5, true.shape)
    latest = true[back == 0].mean(axis=1)
    return nominal * (1 + true / 100) + shared[:, None] + hand, np.abs(latest[::2] - latest[1::2])


def _misread(rng, length, slip, strand, back, pitches) -> None:
    """Put the slips into the latest survey."""
    last_a = np.flatnonzero((back == 0) & (strand % 2 == 0))
    last_b = np.flatnonzero((back == 0) & (strand % 2 == 1))
    length[:] = np.rint(length)
    for name, marks in (("mark miscounted", 1), ("survey miscounted", MARKS)):
        its = last_a[slip == name]
        more = rng.choice([-1, 1], its.size)[:, None]
        which = np.arange(MARKS) < marks
        length[its] *= np.where(which, (pitches + more) / pitches, 1.0)
    one, other = last_a[slip == "strands swapped"], last_b[slip == "strands swapped"]
    length[one], length[other] = length[other].copy(), length[one].copy()
    length[last_a[slip == "copied"]] = length[last_a[slip == "copied"] - 1]
    length[last_a[slip == "copied from sister"]] = length[last_b[slip == "copied from sister"]]


def _metered(rng, slip, hours, fitted):
    """Weekly readings of every machine: machine, day, hours shown, hours run."""
    pairs = slip.size
    machine, day = [], []
    for number in range(pairs):
        its = np.arange(fitted[number] - fitted[number] % 7 + number % 7, LAST_DAY + 1, 7)
        its = its[its >= fitted[number]]
        machine.append(np.full(its.size, number))
        day.append(its)
    which, when = np.concatenate(machine), np.concatenate(day)
    run = hours[which, LAST_DAY - when] - hours[which, LAST_DAY - fitted[which]]
    whole = run[np.append(np.flatnonzero(np.diff(which)), which.size - 1)]
    moment = rng.uniform(0.6, 1.0, pairs) * whole  # of the fault, by hours run
    start = rng.uniform(0, 9000, pairs)
    rolls = slip == "meter rolled over"
    start[rolls] = 10_000.0 - moment[rolls]
    start[~rolls] += 10_000.0  # five figures, far from their end
    shown = start[which] + run
    shown[rolls[which]] %= 10_000.0
    after = run >= moment[which]
    reset, changed = after & (slip == "meter reset")[which], after & (slip == "meter changed")[which]
    shown = np.where(reset, run - moment[which], shown)
    shown = np.where(changed, rng.uniform(0, 20_000, pairs)[which] + run - moment[which], shown)
    return which, when, np.floor(shown), run  # whole hours, as a counter shows them


def _greased(rng, slip, hours, fitted, life_now):
    """Records of grease: strand, day, millilitres; and for each strand the hours since its last full one."""
    strand, when, ml = [], [], []
    dry_hours = rng.uniform(600, 1500, slip.size)
    ungreased = np.zeros(2 * slip.size)
    for number in range(2 * slip.size):
        pair = number // 2
        gaps = GREASED_EVERY_HOURS * rng.uniform(0.6, 1.05, int(life_now[pair] / 200) + 4)
        # Backwards from a moment within the current interval.
        ago = rng.uniform(0, gaps[0]) + np.concatenate([[0], np.cumsum(gaps[1:])])
        ago = ago[ago < life_now[pair]]
        amount = np.full(ago.size, GREASE_ML)
        if slip[pair] == "not greased" and number % 2 == 0:
            ago, amount = ago[ago > dry_hours[pair]], amount[ago > dry_hours[pair]]
        if slip[pair] == "greased thinly" and number % 2 == 0:
            amount[ago <= dry_hours[pair]] = GREASE_ML / 5
        good = ago[amount == GREASE_ML]
        ungreased[number] = good.min(initial=life_now[pair])
        days_ago = np.searchsorted(-hours[pair], ago)
        strand.append(np.full(ago.size, number))
        when.append(np.maximum(LAST_DAY - days_ago, fitted[pair]))
        ml.append(amount)
    return np.concatenate(strand), np.concatenate(when), np.concatenate(ml), ungreased
