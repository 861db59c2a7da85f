"""Whether a better chain may be recommended for the next life, and by which evidence it may not yet be.

An option is told where it acts on what governs. It is recommended only with all of: the governing limit
known, lives enough, the way of wearing seen in a sectioned joint, no open fault of the system, a wear rate
slower beyond doubt, a trial of the whole set on the same machine with nothing else changed, its side effects
answered, and a lower cost in whole steps from shutdown to shutdown. Source: common practice, no source; the
test of the rates derived here; the order and the form proposed for takeup, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement.options import EDGE_WEAR, OPTIONS, Option
from takeup.wear.forecast import COVERAGE
from takeup.wear.lifecost import (
    OnLives,
    break_even_factor,
    break_even_in_steps,
    cost_difference,
    cost_on_lives,
    cost_per_hour,
    hours_in_steps,
    student_95,
    wears_slower,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: evidence a recommendation wants, in the order it is told
EVIDENCE = ("limit", "lives", "sectioned", "faults", "trial", "slower", "side_effects", "pays")
#: completed lives, or else good surveys of the running one in its steady phase; common practice, no source
FEWEST_LIVES, FEWEST_SURVEYS = 2, 3
#: a chain so many times as dear, to show what a dearer chain must bring; an example, no source
DEARER = 1.5


@dataclass(frozen=True)
class Lives:
    """The completed lives of whole sets of one build; a set fitted and removed together is one life.

    ``costs`` is what each cost in all, NaN where the register lacks a value; ``sprockets_cost`` is what its
    chains use up of the price of their sprockets, nought where that is not counted; ``rate`` and ``u_rate``
    hold for the build, the running life with it; ``wear_hours`` is the life that rate gives. NaN: not known.
    """

    hours: tuple[float, ...] = ()
    costs: tuple[float, ...] = ()
    rate: float = math.nan
    u_rate: float = math.nan
    wear_hours: float = math.nan
    chains_cost: float = math.nan
    sprockets_cost: float = 0.0
    labour_cost: float = math.nan
    lead_days: float = math.nan


@dataclass(frozen=True)
class Evidence:
    """What is known of a set when its next chain is to be chosen.

    ``limit_unsure``: a case depth is a default, or a limit could not be worked out. ``mechanisms`` are ways
    of wearing spoken of by findings, ``sectioned`` those seen in a sectioned joint, ``faults`` the rules that
    have an open fault of the system, ``fitted`` the options the chain has already, ``trials`` whole sets on
    the same strands that differ from it in that option alone. ``step_hours`` are the run hours from one
    shutdown that takes the job to the next, NaN where fewer than two are known. ``sprockets``: their share is
    in the register for all of these lives, and counted.
    """

    governing: str
    limit_unsure: bool
    own_surveys: int
    mechanisms: tuple[str, ...] = ()
    sectioned: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    hot: bool = False
    fitted: tuple[str, ...] = ()
    now: Lives = field(default_factory=Lives)
    trials: Mapping[str, Lives] = field(default_factory=dict)
    step_hours: float = math.nan
    sprockets: bool = False


@dataclass(frozen=True)
class HourlyCost:
    """Cost per run hour on completed lives; ``expanded`` is its doubt, about 95 %, None where not told."""

    cost: float
    expanded: float | None
    lives: int
    hours: float


@dataclass(frozen=True)
class BreakEven:
    """How many times as long a chain so many times as dear must last; ``in_steps`` None without shutdowns."""

    dearer: float
    plain: float
    in_steps: float | None


@dataclass(frozen=True)
class OptionAnswer:
    """One option: the evidence still missing, none for one that is recommended.

    ``saving`` is the present cost per run hour on completed lives less that of the trial, ``saving_expanded``
    its doubt, about 95 %; both None where either side has fewer than two lives.
    """

    name: str
    missing: tuple[str, ...]
    hydrogen: bool
    trial: HourlyCost | None = None
    saving: float | None = None
    saving_expanded: float | None = None
    in_steps_now: float | None = None
    in_steps_trial: float | None = None
    break_even: tuple[BreakEven, ...] = ()

    @property
    def recommended(self) -> bool:
        """Whether nothing is missing."""
        return not self.missing


@dataclass(frozen=True)
class NextChain:
    """What may be said of the next chain of a set."""

    governing: str
    mechanisms: tuple[str, ...]
    sectioned: tuple[str, ...]
    faults: tuple[str, ...]
    fitted: tuple[str, ...]
    missing: tuple[str, ...]
    now: HourlyCost | None
    answers: tuple[OptionAnswer, ...]
    step_hours: float | None
    break_even: BreakEven | None
    lives: int = 0
    sprockets: bool = False


def next_chain(known: Evidence) -> NextChain:
    """What may be said of the next chain.

    Parameters
    ----------
    known : Evidence

    Returns
    -------
    NextChain
        ``answers`` are the options that act on what governs, ``missing`` the evidence wanted for all of them.
    """
    common = _common(known)
    answers = tuple(_answer(option, known, common) for option in OPTIONS if _acts(option, known))
    if answers:
        common = tuple(name for name in EVIDENCE if all(name in answer.missing for answer in answers))
    return NextChain(
        governing=known.governing,
        mechanisms=known.mechanisms,
        sectioned=known.sectioned,
        faults=known.faults,
        fitted=known.fitted,
        missing=common,
        now=hourly_cost(known.now),
        answers=answers,
        step_hours=_known(known.step_hours),
        break_even=_break_even(known, DEARER),
        lives=len(known.now.hours),
        sprockets=known.sprockets,
    )


def _acts(option: Option, known: Evidence) -> bool:
    """Whether an option acts on what governs and the chain does not have it.

    What was seen in a sectioned joint goes before other findings; where nothing was seen, whatever slows the
    wear of a joint may act.
    """
    seen = set(known.sectioned or known.mechanisms)
    if option.name in known.fitted:
        return False
    # Edge wear ends a chain beside its elongation: pins change nothing about it, wider sidebars nothing else.
    if option.cures & {EDGE_WEAR} and not option.slows:
        return EDGE_WEAR in known.mechanisms
    return bool(option.cures & seen) if seen - {EDGE_WEAR} else option.slows


def _common(known: Evidence) -> tuple[str, ...]:
    """The evidence missing whatever the option."""
    lacking = {
        "limit": not known.governing or known.limit_unsure,
        "lives": len(known.now.hours) < FEWEST_LIVES and known.own_surveys < FEWEST_SURVEYS,
        "sectioned": not known.sectioned,
        "faults": bool(known.faults),
    }
    return tuple(name for name in EVIDENCE if lacking.get(name))


def _answer(option: Option, known: Evidence, common: tuple[str, ...]) -> OptionAnswer:
    trial = known.trials.get(option.name)
    lacking = set(common)
    if not option.cures & set(known.sectioned):
        lacking.add("sectioned")
    tried = trial is not None and bool(trial.hours)
    dear = tuple(found for factor in option.price or () if (found := _break_even(known, factor)) is not None)
    if trial is None or not tried:
        missing = tuple(name for name in EVIDENCE if name in lacking | {"trial"})
        return OptionAnswer(option.name, missing, option.hydrogen, break_even=dear)
    if not wears_slower(known.now.rate, known.now.u_rate, trial.rate, trial.u_rate):
        lacking.add("slower")
    costed = not math.isnan(trial.chains_cost + trial.labour_cost + trial.lead_days)
    if not costed or (known.hot and option.heat):
        lacking.add("side_effects")
    now, other = _in_steps(known.now, known.step_hours), _in_steps(trial, known.step_hours)
    cost = hourly_cost(trial)
    if cost is None or now is None or other is None or not other < now:
        lacking.add("pays")
    saving = cost_difference(_on_lives(known.now), _on_lives(trial))
    told = bool(np.isfinite(saving.expanded[0]))
    return OptionAnswer(
        name=option.name,
        missing=tuple(name for name in EVIDENCE if name in lacking),
        hydrogen=option.hydrogen,
        trial=cost,
        saving=float(saving.value[0]) if told else None,
        saving_expanded=float(saving.expanded[0]) if told else None,
        in_steps_now=_known(now),
        in_steps_trial=_known(other),
        break_even=dear,
    )


def hourly_cost(lives: Lives) -> HourlyCost | None:
    """Cost per run hour on completed lives whose cost is known; None where there is none.

    On two lives and more the doubt is theirs by Student's factor; on a single one it is the doubt of its wear
    rate, k = 2, by which its hours are as uncertain.
    """
    hours = _priced(lives)[1]
    if not hours.size:
        return None
    found = _on_lives(lives)
    cost = float(found.cost[0])
    if hours.size > 1:
        expanded = float(student_95(found.freedom)[0] * found.u[0])
    else:
        expanded = COVERAGE * cost * lives.u_rate / lives.rate if lives.rate > 0 else math.nan
    return HourlyCost(cost, _known(expanded), hours.size, float(hours.sum()))


def _priced(lives: Lives) -> NDArray[np.float64]:
    """Costs and hours of the lives whose cost is known."""
    both = np.array([lives.costs, lives.hours], dtype=np.float64)
    return both[:, np.isfinite(both[0])]


def _on_lives(lives: Lives) -> OnLives:
    costs, hours = _priced(lives)
    return cost_on_lives(costs, hours, [0, hours.size])


def _in_steps(lives: Lives, step_hours: float) -> float | None:
    """Cost per hour of the life that the wear rate gives, in whole steps where shutdowns are known.

    Changed in a shutdown, the stop itself is free: the change costs its labour.
    """
    per_change = lives.labour_cost + lives.sprockets_cost
    if math.isnan(lives.chains_cost + per_change) or not lives.wear_hours > 0:
        return None
    used = hours_in_steps(lives.wear_hours, step_hours) if step_hours > 0 else np.asarray(lives.wear_hours)
    return float(cost_per_hour(lives.chains_cost, per_change, used))


def _break_even(known: Evidence, dearer: float) -> BreakEven | None:
    """How much longer a dearer chain must last, changed in shutdowns; None without price, labour or life."""
    now = known.now
    if math.isnan(now.chains_cost + now.labour_cost) or now.chains_cost <= 0:
        return None
    other = dearer * now.chains_cost
    per_change = now.labour_cost + now.sprockets_cost
    plain = float(break_even_factor(now.chains_cost, other, per_change))
    stepped = None
    if now.wear_hours > 0 and math.isfinite(now.wear_hours) and known.step_hours > 0:
        stepped = float(
            break_even_in_steps(now.chains_cost, other, per_change, now.wear_hours, known.step_hours)
        )
    return BreakEven(dearer, plain, stepped)


def _known(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
