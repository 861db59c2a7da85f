"""Hours beyond the plan of lubrication and what they cost, on a strand that a simulator here wears."""

from __future__ import annotations

from itertools import chain
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from takeup.errors import WearInputError
from takeup.wear.lapses import hours_beyond, lapse_rates

Floats = NDArray[np.float64]
#: 100 h and a grace of 10 %
ALLOWED = 110.0


class World(NamedTuple):
    """Surveys of simulated strands, all equally many, strands laid end to end."""

    hours: Floats
    e: Floats
    beyond: Floats
    starts: NDArray[np.int64]


def world(rng: np.random.Generator, count: int, *, times: float, u: float, wander: float = 0.0) -> World:
    """Strands lubricated every 80 to 105 h but for one gap of 500 to 900 h, hour by hour.

    In the hours beyond they wear ``times`` as fast as 0.3 % per 1000 h; ``wander`` is the scatter of the rate
    from one stretch of 300 h to the next. Ten surveys, each off by ``u``.
    """
    hours, e, beyond = [], [], []
    for _ in range(count):
        done = np.cumsum(rng.uniform(80, 105, 60))
        gap = rng.uniform(1500, 3000)
        done = np.concatenate((done[done < gap], done[done > gap] + rng.uniform(500, 900)))
        grid = np.arange(0.0, 5000.0)
        last = np.concatenate(([0.0], done))[np.searchsorted(done, grid, side="right")]
        dry = grid - last >= ALLOWED
        pace = np.exp(np.repeat(rng.normal(0, wander, 17), 300)[: grid.size])
        path = np.concatenate(([0.0], np.cumsum(0.3e-3 * pace * np.where(dry, times, 1.0))))
        at = np.sort(rng.uniform(200, 4999, 10))
        hours.append(at)
        e.append(np.interp(at, np.arange(path.size), path) + rng.normal(0, u, at.size))
        beyond.append(hours_beyond(at, [0, at.size], done, [0, done.size], [ALLOWED]))
    starts = np.arange(0, 10 * count + 1, 10)
    return World(*(np.concatenate(each) for each in (hours, e, beyond)), starts)


def test_hours_beyond_are_counted_hour_by_hour() -> None:
    """The same by walking every tenth of an hour."""
    done, at = np.array([90.0, 300.0, 380.0, 700.0]), np.array([0.0, 250.0, 380.0, 695.0, 1000.0])
    told = hours_beyond(at, [0, at.size], done, [0, done.size], [ALLOWED])
    grid = np.arange(0.05, 1000.0, 0.1)
    last = np.concatenate(([0.0], done))[np.searchsorted(done, grid, side="right")]
    dry = grid - last > ALLOWED
    assert told == pytest.approx([0.1 * dry[grid < each].sum() for each in at], abs=0.11)


@given(
    st.lists(
        st.tuples(
            st.lists(st.integers(0, 900), max_size=5),
            st.lists(st.integers(0, 900), max_size=5),
            st.sampled_from([50.0, 110.0, np.nan]),
        ),
        max_size=4,
    )
)
def test_strands_told_together_read_as_told_alone(strands: list[tuple[list[int], list[int], float]]) -> None:
    surveys = [sorted(each) for each, _, _ in strands]
    done = [sorted(each) for _, each, _ in strands]
    allowed = [each for _, _, each in strands]
    starts, done_starts = (np.cumsum([0, *map(len, each)]) for each in (surveys, done))
    flat, flat_done = list(chain(*surveys)), list(chain(*done))
    told = hours_beyond(flat, starts, flat_done, done_starts, allowed)
    alone = [
        hours_beyond(one, [0, len(one)], two, [0, len(two)], [three])
        for one, two, three in zip(surveys, done, allowed, strict=True)
    ]
    np.testing.assert_allclose(told, np.concatenate(alone) if alone else [])


def test_what_a_lapse_cost_is_found_within_its_uncertainty() -> None:
    """Twice the wear in the hours beyond: 0.3 points in 1000 h."""
    rng = np.random.default_rng(11)
    w = world(rng, 400, times=2.0, u=0.02)
    told = lapse_rates(w.hours, w.e, w.beyond, np.full(w.e.size, 0.02), w.starts)
    known = np.isfinite(told.cost)  # a gap between the last surveys tells nothing
    assert known.mean() > 0.9
    off = ((told.cost - 0.3e-3 * told.beyond_hours) / told.u_cost)[known]
    # Of 400 normal errors 95.4 % lie within two u, give or take four standard errors of that share, 1.05 %.
    # The widening by the scatter only ever adds.
    assert (np.abs(off) <= 2).mean() > 0.954 - 4 * 0.0105
    assert np.abs(off.mean()) < 4 / np.sqrt(400)
    assert np.abs(told.within[known].mean() - 0.3) < 4 * told.u_within[known].mean() / np.sqrt(400)


@pytest.mark.parametrize("wander", [0.0, 0.2])
def test_where_a_lapse_cost_nothing_little_is_said(wander: float) -> None:
    """Beyond twice the uncertainty on one side lie 2.3 % of normal errors; a rate that wanders adds some.

    The share is what a planner is told wrongly: it is printed, and must stay below one in ten.
    """
    rng = np.random.default_rng(12)
    w = world(rng, 600, times=1.0, u=0.03, wander=wander)
    told = lapse_rates(w.hours, w.e, w.beyond, np.full(w.e.size, 0.03), w.starts)
    wrongly = (told.cost > 2 * told.u_cost).mean()
    print(f"wander {wander}: {100 * wrongly:.1f} % told of a cost that was none")
    assert wrongly < (0.023 + 4 * np.sqrt(0.023 * 0.977 / 600) if not wander else 0.10)


@pytest.mark.parametrize(
    ("hours", "beyond", "e"),
    [
        pytest.param([0, 1000, 2000], [0, 0, 300], [0, 0.2, 0.5], id="three surveys"),
        pytest.param([0, 1000, 2000, 3000], [0, 0, 0, 0], [0, 0.2, 0.4, 0.6], id="no lapse"),
        pytest.param([0, 1000, 2000, 3000], [0, 500, 1000, 1500], [0, 0.2, 0.4, 0.6], id="always half"),
        pytest.param([0, 1000, 2000, 3000], [0, 0, 300, np.nan], [0, 0.2, 0.4, 0.6], id="not known"),
        pytest.param([], [], [], id="none"),
    ],
)
def test_nothing_is_said_where_surveys_cannot_tell(
    hours: list[float], beyond: list[float], e: list[float]
) -> None:
    told = lapse_rates(hours, e, beyond, [0.02] * len(hours), [0, len(hours)])
    assert np.isnan([each[0] for each in told]).all()


def test_strands_of_surveys_and_lubrications_must_be_the_same() -> None:
    with pytest.raises(WearInputError, match="2 strands have surveys and 1 lubrications"):
        hours_beyond([100, 100], [0, 1, 2], [50], [0, 1], [100])
