"""How often the true hours to the limit lie inside the forecast's 90 % interval, in invented worlds.

Run ``python -m tests.benchmarks.coverage``; it takes some minutes and prints a table a world: takeup at
plants of none to a hundred past lives, the textbook's interval, how far off each is in the middle, and what
becomes of chains by the rule of thumb that takes every chain off at 3 %. ``--unmeasured`` has no chain
measured a last time when it is changed, ``--oracle`` draws the bounds from the true law of each world,
``--incidents`` shows what each incident of the world of incidents does by itself. The world ``duty`` has a
share in the shipped factors (:mod:`tests.benchmarks.shipped`); nothing is tuned on the others.

Each plant has its own level of wear, unknown to the start rates of its services. Its past lives were changed
before or about their limit; its next lives are followed until they reach it. Every life weighs the same in
each stage, however often it was surveyed there. Surveys at or past the limit are left out: there is nothing
to forecast. Standard errors are those of plants, since the lives of one plant share its record.
"""

from __future__ import annotations

import itertools
import sys
from functools import partial
from types import ModuleType, SimpleNamespace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from tests.simulators import duty, events, wander
from tests.simulators.fleet import FLAT_RULE
from tests.simulators.textbook import inverse_prediction

from takeup.wear.calibration import (
    EMPTY_TABLE,
    STAGES,
    Cell,
    FleetTable,
    bounds,
    fleet_table,
    new_life_points,
    stage_of,
    weighted_points,
)
from takeup.wear.forecast import doubt_hours, handbook_bounds
from takeup.wear.lifecost import chance_before
from takeup.wear.record import known_rates
from takeup.wear.trend import RUN_IN_HOURS, life_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from tests.simulators.fleet import Fleet

    World = ModuleType | SimpleNamespace

#: Factor past the case that the forecast assumes; each simulated chain has its own.
KAPPA = 3.0
#: Scatter of a plant's level of wear, of the logarithm.
PLANT_SCATTER = 0.3
#: (past lives, plants, lives forecast at each plant)
PLAN = ((0, 40, 80), (5, 40, 80), (10, 40, 80), (20, 60, 80), (30, 120, 80), (100, 100, 80))
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
    middle: np.ndarray
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
    return Forecasts(life, known.own, stage, *said[:3], true, shown, log_ratio, chance)


def textbook(fleet: Fleet) -> Forecasts:
    """The same by least squares and inverse prediction, from three surveys past the run-in on."""
    return _by_line(fleet, fleet.limit)


def three_percent(fleet: Fleet) -> Forecasts:
    """The same line to 3 %, for a steward who knows no other limit."""
    return _by_line(fleet, np.full(len(fleet), FLAT_RULE))


def _by_line(fleet: Fleet, level: np.ndarray) -> Forecasts:
    life = life_of(fleet.starts)
    told = inverse_prediction(fleet.hours, fleet.e, fleet.starts, level[life], after=RUN_IN_HOURS)
    ok = ~np.isnan(told[0])
    true = fleet.limit_hours[life] - fleet.run_hours
    stage = stage_of(fleet.e / fleet.limit[life])
    shown = ok & (fleet.e < fleet.limit[life])
    nothing = np.full(true.shape, np.nan)
    return Forecasts(life, ok, stage, *told, true, shown, nothing, nothing)


def tally(said: Forecasts, lives: int) -> np.ndarray:
    """For each kind (share inside, share sooner than early) summed over lives, and lives: (kinds, 3)."""
    # A level reached before the survey and an early bound of no hours agree.
    inside = (np.maximum(said.true, 0) >= said.early) & (np.maximum(said.true, 0) <= said.late)
    sooner = np.maximum(said.true, 0) < said.early
    rows = np.zeros((len(KINDS), 3))
    for k, at in enumerate(_kinds(said)):
        weight = _weight(said.life[at], lives)
        rows[k] = (inside[at] * weight).sum(), (sooner[at] * weight).sum(), weight.sum()
    return rows


def _kinds(said: Forecasts) -> Iterator[np.ndarray]:
    for own, stage in KINDS:
        yield said.shown & (said.stage == stage) & (said.own == own)


def _weight(life: np.ndarray, lives: int) -> np.ndarray:
    """Every life weighs 1, shared by its forecasts."""
    return np.asarray(1 / np.bincount(life, minlength=lives)[life])


def measured(
    world: World, past: int, plants: int, lives: int, seed: int = 1
) -> tuple[np.ndarray, np.ndarray]:
    """Tallies of takeup and of the textbook at some plants: (plants, kinds, 3) each."""
    ours, theirs = [], []
    for coming, table in plants_of(world, past, plants, lives, seed):
        ours.append(tally(forecast(coming, table), lives))
        theirs.append(tally(textbook(coming), lives))
    return np.stack(ours), np.stack(theirs)


def plants_of(
    world: World, past: int, plants: int, lives: int, seed: int
) -> Iterator[tuple[Fleet, FleetTable]]:
    """The coming lives of some plants, and the record of each plant's past ones."""
    for number in range(plants):
        rng = np.random.default_rng([seed, past, number])
        plant = np.exp(PLANT_SCATTER * rng.standard_normal(world.SERVICE_RATES.size))
        table = table_of(world.lives(rng, past, changed_early=True, plant=plant)) if past else EMPTY_TABLE
        yield world.lives(rng, lives, changed_early=False, plant=plant), table


def share_with_error(part: np.ndarray, lives: np.ndarray) -> tuple[float, float]:
    """A share over some plants, (plants,) each, and its standard error, plants being the trials.

    Source: W. G. Cochran, *Sampling Techniques*, the variance of a ratio of sums over clusters, from memory.
    """
    share = part.sum() / lives.sum()
    plants = part.size
    left = ((part - share * lives) ** 2).sum() * plants / max(plants - 1, 1)
    return float(share), float(np.sqrt(left) / lives.sum())


def off(told: Iterable[Forecasts], lives: int) -> list[float]:
    """For each kind how far off the middle of a forecast lies, in the middle of equal lives. [h]."""
    of_kind: list[list[tuple[np.ndarray, np.ndarray]]] = [[] for _ in KINDS]
    for said in told:
        for at, kept in zip(_kinds(said), of_kind, strict=True):
            kept.append((np.abs(said.middle[at] - said.true[at]), _weight(said.life[at], lives)))
    medians = []
    for kept in of_kind:
        hours, weight = (np.concatenate(parts) for parts in zip(*kept, strict=True))
        some = hours.size > 0
        medians.append(float(weighted_points(hours, weight, 0.5)) if some else np.nan)
    return medians


def report(worlds: list[World]) -> None:
    """Print the tables."""
    for world in worlds:
        _head(world)
        theirs = []
        for past, plants, lives in PLAN:
            ours, by_line = measured(world, past, plants, lives)
            theirs.append(by_line)
            for own in (True, False):
                print(f"{_name(past, own):>26}" + cells(ours, own))
        print(f"{'textbook least squares':>26}" + cells(np.concatenate(theirs), True))
        _report_middles(world)
        _report_flat_rule(world)


def _report_middles(world: World, past: int = 30, plants: int = 40, lives: int = 80) -> None:
    pairs = [
        (forecast(coming, table), textbook(coming), three_percent(coming))
        for coming, table in plants_of(world, past, plants, lives, 2)
    ]
    ours, line, flat = (off(each, lives) for each in zip(*pairs, strict=True))
    print("middle of the forecast off by, h in the middle")
    for name, medians, own in (
        (_name(past, True), ours, True),
        (_name(past, False), ours, False),
        ("textbook least squares", line, True),
        ("the same line to 3 %", flat, True),
    ):
        told = [f"{hours:.0f}" for (of_own, _), hours in zip(KINDS, medians, strict=True) if of_own == own]
        print(f"{name:>26}" + "".join(each.rjust(27) for each in told))


def _report_flat_rule(world: World, plants: int = 40, lives: int = 80) -> None:
    over, part = [], []
    for coming, _ in plants_of(world, 0, plants, lives, 2):
        late = coming.flat_hours - coming.limit_hours
        over.append(late)
        part.append(late / coming.limit_hours)
    hours, share = np.concatenate(over), np.concatenate(part)
    ends = np.quantile(hours, [0.05, 0.5, 0.95])
    past = np.mean(hours > 0)
    print(f"taken off at {FLAT_RULE:g} %, were that foreseen to the hour: {past:.0%} run past their limit,")
    print(
        f"{np.mean(hours < 0):.0%} are taken off before it; late by {ends[1]:.0f} h in the middle, "
        f"{ends[0]:.0f}"
    )
    print(
        f"to {ends[2]:.0f} h from the 5 to the 95 % point; {np.median(share):.0%} of the hours to the limit"
    )


def incidents(past: int = 100, plants: int = 40, lives: int = 80) -> None:
    """Print the world of incidents with none of them, with each by itself and with all."""
    print(f"\n{past} past lives; inside / sooner, % +- standard error (lives forecast)")
    for happens in ((), *((name,) for name in events.INCIDENTS), events.INCIDENTS):
        ours, _ = measured(_with(events, happens=happens), past, plants, lives)
        for own in (True, False):
            name = f"{'all' if len(happens) > 1 else ''.join(happens) or 'none'}, "
            print(f"{name + ('own rate' if own else 'no rate yet'):>26}" + cells(ours, own))


def unmeasured(worlds: list[World]) -> None:
    """Print the shares where no chain is measured a last time when it is changed."""
    for world in worlds:
        _head(world)
        for past, plants, lives in PLAN[-2:]:
            ours, _ = measured(_with(world, as_found=0.0), past, plants, lives)
            for own in (True, False):
                print(f"{_name(past, own):>26}" + cells(ours, own))


def oracle(worlds: list[World], plants: int = 60, lives: int = 80) -> None:
    """Print the shares inside bounds drawn from the true law of each world at each stage."""
    for world in worlds:
        _head(world)
        tables = [table for _, table in plants_of(world, 100, plants, 1, 3)]
        tables = [FleetTable(1, "2026-03-01", 100, (), table.rates) for table in tables]
        coming = [fleet for fleet, _ in plants_of(world, 100, plants, lives, 3)]
        told = [forecast(*plant) for plant in zip(coming, tables, strict=True)]
        exact = [Cell(own, stage, 1, 0, 1, *points_of(told, lives, own, stage)[::2]) for own, stage in KINDS]
        said = [
            forecast(fleet, FleetTable(1, "2026-03-01", 100, tuple(exact), table.rates))
            for fleet, table in zip(coming, tables, strict=True)
        ]
        ours = np.stack([tally(each, lives) for each in said])
        for own in (True, False):
            print(f"{'true law, ' + ('own rate' if own else 'no rate yet'):>26}" + cells(ours, own))
        for own in (True, False):
            ats = [
                [at for at, (mine, _) in zip(_kinds(each), KINDS, strict=True) if mine == own]
                for each in said
            ]
            open_ = [
                np.mean(np.concatenate([each.early[at[k]] == 0 for each, at in zip(said, ats, strict=True)]))
                for k in range(len(STAGES) + 1)
            ]
            print(f"{'early bound 0 h, %':>26}" + "".join(f"{100 * part:.0f}".rjust(27) for part in open_))


def points_of(told: list[Forecasts], lives: int, own: bool, stage: int) -> tuple[float, float, float]:
    """The 5, 50 and 95 % points of the true ratios of one kind, over all plants."""
    life, ratio = [], []
    for number, said in enumerate(told):
        at = said.shown & (said.own == own) & (said.stage == stage)
        life.append(said.life[at] + number * lives)
        ratio.append(said.log_ratio[at])
    whose, value = np.concatenate(life), np.concatenate(ratio)
    weight = 1 / np.bincount(whose)[whose]
    low, high, _ = new_life_points(whose, value, weight)
    return float(np.exp(low)), float(np.exp(weighted_points(value, weight, 0.5))), float(np.exp(high))


def _with(world: World, **given: object) -> SimpleNamespace:
    lives = partial(world.lives, **given)
    return SimpleNamespace(
        lives=lives, SERVICE_RATES=world.SERVICE_RATES, __name__=world.__name__, __doc__=world.__doc__
    )


def _head(world: World) -> None:
    print(f"\n{world.__name__.rpartition('.')[2]}: {(world.__doc__ or '').splitlines()[0]}")
    print("inside the 90 % interval / sooner than the early bound, % +- standard error (lives forecast)")
    heads = [f"{low:.2f}-{high:.2f}" for low, high in itertools.pairwise(EDGES)]
    print(f"{'e / limit':>26}" + "".join(f"{head:>27}" for head in heads))


def _name(past: int, own: bool) -> str:
    return f"{past} past lives, {'own rate' if own else 'no rate yet'}"


def cells(rows: np.ndarray, own: bool) -> str:
    """One printed line from the tallies of some plants."""
    text = ""
    for k, (of_own, _) in enumerate(KINDS):
        if of_own == own:
            inside, sooner, lives = rows[:, k].T
            shares = [
                "{:.1f}+-{:.1f}".format(*(100 * each for each in share_with_error(part, lives)))
                if lives.sum()
                else "-"
                for part in (inside, sooner)
            ]
            text += f"{' / '.join(shares)} ({lives.sum():.0f})".rjust(27)
    return text


WORLDS: list[World] = [wander, events, duty]

if __name__ == "__main__":
    if "--incidents" in sys.argv:
        incidents()
    elif "--unmeasured" in sys.argv:
        unmeasured(WORLDS)
    elif "--oracle" in sys.argv:
        oracle(WORLDS)
    else:
        report(WORLDS)
