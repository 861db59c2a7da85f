"""How often a limit was passed by the time its chance, told from the bounds of its forecast, said so.

Run ``python -m tests.benchmarks.chances``; it takes about a quarter of a minute and prints one table a world.
Told well, a limit is passed before a stop told at 25 % in 25 of 100 cases. The bounds are the record's; what
is shown here is what the line between them is worth.
"""

from __future__ import annotations

import itertools
from types import ModuleType

import numpy as np
from tests.benchmarks.coverage import EDGES, KINDS, forecast, plants_of
from tests.simulators import duty, wander

CHANCES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)


def passed(world: ModuleType, past: int, plants: int, lives: int, seed: int = 7) -> np.ndarray:
    """For each kind the lives, and the part of them passed at each chance: (kinds, 1 + chances).

    Every life weighs the same in each stage.
    """
    rows = np.zeros((len(KINDS), 1 + len(CHANCES)))
    for coming, table in plants_of(world, past, plants, lives, seed):
        said = forecast(coming, table)
        for k, (own, stage) in enumerate(KINDS):
            at = said.shown & (said.stage == stage) & (said.own == own) & ~np.isnan(said.chance)
            weight = 1 / np.bincount(said.life[at], minlength=lives)[said.life[at]]
            rows[k, 0] += weight.sum()
            rows[k, 1:] += [(weight * (said.chance[at] <= told)).sum() for told in CHANCES]
    rows[:, 1:] /= np.where(rows[:, :1] > 0, rows[:, :1], np.nan)
    return rows


def report() -> None:
    """Print the tables."""
    heads = [f"{low:.2f}-{high:.2f}" for low, high in itertools.pairwise(EDGES)]
    for world in (wander, duty):
        print(f"\n{world.__name__.rpartition('.')[2]}: {(world.__doc__ or '').splitlines()[0]}")
        print("share of limits passed at a chance of " + ", ".join(f"{chance:.0%}" for chance in CHANCES))
        for past, plants, lives in ((0, 12, 100), (30, 40, 80)):
            for (own, stage), row in zip(KINDS, passed(world, past, plants, lives), strict=True):
                name = f"{past} past lives, {'own rate' if own else 'no rate yet'}, {heads[stage]}"
                print(f"{name:>40}" + "".join(f"{100 * part:7.1f}" for part in row[1:]) + f"  ({row[0]:.0f})")


if __name__ == "__main__":
    report()
