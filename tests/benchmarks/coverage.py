"""How often the true hours to the limit lie inside the forecast's 90 % interval, in three invented worlds.

Run ``python -m tests.benchmarks.coverage``; it takes about a minute and prints one table a world.
``--shipped`` prints the factors the shipped table was tuned on instead, ``--incidents`` what each incident of
the last world does by itself.

Each plant has its own level of wear, unknown to the start rates of its services. Its past lives were changed
before or about their limit; its next lives are followed until they reach it. Every life weighs the same in
each stage, however often it was surveyed there. Surveys at or past the limit are left out: there is nothing
to forecast.
"""

from __future__ import annotations

import itertools
import sys
from functools import partial
from types import ModuleType, SimpleNamespace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from tests.simulators import duty, events, wander
from tests.simulators.textbook import inverse_prediction

from takeup.wear.calibration import (
    EMPTY_TABLE,
    STAGES,
    FleetTable,
    bounds,
    fleet_table,
    new_life_points,
    stage_of,
)
from takeup.wear.forecast import doubt_hours, handbook_bounds
from takeup.wear.lifecost import chance_before
from takeup.wear.record import known_rates
from takeup.wear.trend import RUN_IN_HOURS, life_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.simulators.fleet import Fleet

#: Factor past the case that the forecast assumes; each simulated chain has its own.
KAPPA = 3.0
#: Scatter of a plant's level of wear, of the logarithm.
PLANT_SCATTER = 0.3
#: (past lives, plants, lives forecast at each plant)
PLAN = ((0, 16, 200), (5, 16, 200), (10, 16, 200), (20, 40, 80), (30, 60, 80), (100, 50, 80))
KINDS = [(own, stage) for own in (False, True) for stage in range(len(STAGES) + 1)]
EDGES = (0.0, *STAGES, 1.0)


class Forecasts(NamedTuple):
    """One forecast of the limit at every survey, and the truth; hours.

    ``log_ratio`` is what the record would score if it knew the truth, ``chance`` the chance by the bounds
    that the limit is passed before its true hours.
    """

    life: np.ndarray
    own: np.ndarray
    stage: np.ndarray
    early: np.ndarray
    late: np.ndarray
    true: np.ndarray
    shown: np.ndarray
    log_ratio: np.ndarray
    chance: np.ndarray


def table_of(fleet: Fleet) -> FleetTable:
    """The fleet's record, as takeup would renew it."""
    if len(fleet) == 0:
        return EMPTY_TABLE
    return fleet_table(
        1, "2026-03-01", fleet.hours, fleet.e, fleet.starts, fleet.limit, fleet.u, fleet.service.astype(str),
        fleet.usual_rate, fleet.case, KAPPA,
    )  # fmt: skip


def forecast(fleet: Fleet, table: FleetTable) -> Forecasts:
    """What takeup would have said at every survey, given a table."""
    life = life_of(fleet.starts)
    known = known_rates(fleet.hours, fleet.e, fleet.starts, fleet.u, fleet.case, KAPPA)
    u, u_zero, case, limit = (column[life] for column in (fleet.u, fleet.u_zero, fleet.case, fleet.limit))
    pooled = table.pooled(fleet.service.astype(str))
    other = np.where(np.isnan(pooled), fleet.usual_rate, pooled)[life]
    before = np.where(known.own, known.before, other)
    in_force = np.where(known.own, known.rate, np.where(fleet.e > case, KAPPA * other, other))
    # The uncertainty is asked for the rate before the case; without a rate of its own the service's upper
    # end, here twice its middle, makes the early bound.
    fitted = known.own & ~np.isnan(known.past_case)
    u_before = np.where(fitted, known.u_rate, known.u_rate * known.before / known.rate)
    u_before = np.where(known.own, u_before, other / 2)
    expanded = 2 * np.sqrt(u**2 / 2 + u_zero**2)
    told = handbook_bounds(fleet.e, expanded, limit, before, u_before, case, KAPPA, known.past_case)
    said = bounds(table, known.own, fleet.e, limit, in_force, u, u_zero, told)
    shown = (fleet.e < limit) & np.isfinite(said.middle)
    true = fleet.limit_hours[life] - fleet.run_hours
    doubt = doubt_hours(u, in_force)
    with np.errstate(invalid="ignore"):
        log_ratio = np.log((np.maximum(true, 0) + doubt) / (said.middle + doubt))
    stage = stage_of(fleet.e / limit)
    chance = chance_before(true, said.early, said.middle, said.late, doubt)
    return Forecasts(life, known.own, stage, said.early, said.late, true, shown, log_ratio, chance)


def textbook(fleet: Fleet) -> Forecasts:
    """The same by least squares and inverse prediction, from three surveys past the run-in on."""
    life = life_of(fleet.starts)
    early, late = inverse_prediction(
        fleet.hours, fleet.e, fleet.starts, fleet.limit[life], after=RUN_IN_HOURS
    )
    ok = ~np.isnan(early)
    true = fleet.limit_hours[life] - fleet.run_hours
    stage = stage_of(fleet.e / fleet.limit[life])
    shown = ok & (fleet.e < fleet.limit[life])
    nothing = np.full(true.shape, np.nan)
    return Forecasts(life, ok, stage, early, late, true, shown, nothing, nothing)


def tally(said: Forecasts, lives: int) -> np.ndarray:
    """For each kind (share inside, share sooner than early) summed over lives, and lives: (kinds, 3)."""
    # A level reached before the survey and an early bound of no hours agree.
    inside = (np.maximum(said.true, 0) >= said.early) & (np.maximum(said.true, 0) <= said.late)
    sooner = np.maximum(said.true, 0) < said.early
    rows = np.zeros((len(KINDS), 3))
    for k, (own, stage) in enumerate(KINDS):
        at = said.shown & (said.stage == stage) & (said.own == own)
        weight = 1 / np.bincount(said.life[at], minlength=lives)[said.life[at]]
        rows[k] = (inside[at] * weight).sum(), (sooner[at] * weight).sum(), weight.sum()
    return rows


def measured(
    world: ModuleType | SimpleNamespace, past: int, plants: int, lives: int, seed: int = 1
) -> tuple[np.ndarray, np.ndarray]:
    """Tallies of takeup and of the textbook over some plants."""
    ours, theirs = np.zeros((len(KINDS), 3)), np.zeros((len(KINDS), 3))
    for coming, table in plants_of(world, past, plants, lives, seed):
        ours += tally(forecast(coming, table), lives)
        theirs += tally(textbook(coming), lives)
    return ours, theirs


def plants_of(
    world: ModuleType | SimpleNamespace, past: int, plants: int, lives: int, seed: int
) -> Iterator[tuple[Fleet, FleetTable]]:
    """The coming lives of some plants, and the record of each plant's past ones."""
    for number in range(plants):
        rng = np.random.default_rng([seed, past, number])
        plant = np.exp(PLANT_SCATTER * rng.standard_normal(world.SERVICE_RATES.size))
        table = table_of(world.lives(rng, past, changed_early=True, plant=plant)) if past else EMPTY_TABLE
        yield world.lives(rng, lives, changed_early=False, plant=plant), table


def report(worlds: list[ModuleType]) -> None:
    """Print the tables."""
    for world in worlds:
        print(f"\n{world.__name__.rpartition('.')[2]}: {(world.__doc__ or '').splitlines()[0]}")
        print("inside the 90 % interval / sooner than the early bound, % +- standard error (lives forecast)")
        heads = [f"{low:.2f}-{high:.2f}" for low, high in itertools.pairwise(EDGES)]
        print(f"{'e / limit':>26}" + "".join(f"{head:>27}" for head in heads))
        line = np.zeros((len(KINDS), 3))
        for past, plants, lives in PLAN:
            ours, theirs = measured(world, past, plants, lives)
            line += theirs
            for own in (True, False):
                name = f"{past} past lives, {'own rate' if own else 'no rate yet'}"
                print(f"{name:>26}" + cells(ours, own))
        print(f"{'textbook least squares':>26}" + cells(line, True))


def incidents(past: int = 100, plants: int = 40, lives: int = 80) -> None:
    """Print the world of incidents with none of them, with each by itself and with all."""
    print(f"\n{past} past lives; inside / sooner, % +- standard error (lives forecast)")
    for happens in ((), *((name,) for name in events.INCIDENTS), events.INCIDENTS):
        world = SimpleNamespace(
            lives=partial(events.lives, happens=happens), SERVICE_RATES=events.SERVICE_RATES
        )
        ours, _ = measured(world, past, plants, lives)
        for own in (True, False):
            name = f"{'all' if len(happens) > 1 else ''.join(happens) or 'none'}, "
            print(f"{name + ('own rate' if own else 'no rate yet'):>26}" + cells(ours, own))


def cells(rows: np.ndarray, own: bool) -> str:
    """One printed line."""
    text = ""
    for (of_own, _), (inside, sooner, lives) in zip(KINDS, rows, strict=True):
        if of_own == own:
            shares = [share_with_error(part, lives) for part in (inside, sooner)] if lives else ["-"]
            text += f"{' / '.join(shares)} ({lives:.0f})".rjust(27)
    return text


def share_with_error(part: float, lives: float) -> str:
    """A share in per cent with its binomial standard error, each life being one trial."""
    share = part / lives
    return f"{100 * share:.1f}+-{100 * np.sqrt(share * (1 - share) / lives):.1f}"


def tuning(
    world: ModuleType = duty, plants: int = 40, lives: int = 100
) -> dict[bool, list[tuple[float, float]]]:
    """Per stage the widest 5 and 95 % points of true ratios at plants with none, five or ten past lives."""
    points: dict[bool, list[list[tuple[float, float]]]] = {True: [], False: []}
    for past in (0, 5, 10):
        told = [forecast(*plant) for plant in plants_of(world, past, plants, lives, 99)]
        for own, of_own in points.items():
            of_own.append([_points_of(told, lives, own, stage) for stage in range(len(STAGES) + 1)])
    return {
        own: [(min(low for low, _ in at), max(high for _, high in at)) for at in zip(*of_own, strict=True)]
        for own, of_own in points.items()
    }


def _points_of(told: list[Forecasts], lives: int, own: bool, stage: int) -> tuple[float, float]:
    life, ratio = [], []
    for number, said in enumerate(told):
        at = said.shown & (said.own == own) & (said.stage == stage)
        life.append(said.life[at] + number * lives)
        ratio.append(said.log_ratio[at])
    whose, value = np.concatenate(life), np.concatenate(ratio)
    low, high, _ = new_life_points(whose, value, 1 / np.bincount(whose)[whose])
    return float(np.exp(low)), float(np.exp(high))


if __name__ == "__main__":
    if "--incidents" in sys.argv:
        incidents()
    elif "--shipped" in sys.argv:
        for mine, pairs in tuning().items():
            print("own rate" if mine else "no rate", [(round(low, 3), round(high, 3)) for low, high in pairs])
    else:
        report([wander, duty, events])
