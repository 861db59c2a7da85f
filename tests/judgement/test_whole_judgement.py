"""The whole judgement of a simulated plant: more wear or a tighter limit never lowers what is asked for.

Rows of simulated walks go through the real derivation, all rules and the book of orders. Each strand of a set
is raised by an amount of its own; what a miscount would be lies far above it.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.benchmarks.detection import AS_OF, LAST_DAY, Rows
from tests.derive.plant import frame
from tests.judgement.plant import overridden
from tests.simulators.walks import MARKS, PITCH_MM, walks

from takeup import orders
from takeup.derive.state import state
from takeup.judgement.judging import Judged, judge
from takeup.judgement.settings import JudgementSettings
from takeup.layered import Layered
from takeup.model import Feed, Job, Order
from takeup.orders import OrdersSettings
from takeup.wear.calibration import EMPTY_TABLE

if TYPE_CHECKING:
    import pandas as pd

PAIRS, SPAN = 40, 20


def plant(seed: int, rate: float) -> Rows:
    """Pairs without a slip, with registers as unlike as plants have them, and two stops ahead."""
    rng = np.random.default_rng([seed, int(1000 * rate)])
    rows = Rows(walks(rng, PAIRS, rate=rate, pitches=SPAN, clean=1.0))
    strands = rows.frames[Feed.STRANDS]

    def each(choices: list[Any]) -> np.ndarray:
        """One choice a pair."""
        return np.repeat(rng.choice(np.array(choices), PAIRS), 2)

    rows.frames[Feed.STRANDS] = strands.assign(
        teeth_drive=each([8.0, 12.0, 80.0]),
        teeth_tail=12.0,
        takeup_travel_mm=each([300.0, 480.0, 900.0]),
        takeup_start_mm=16.0,
        pin_diameter_mm=31.75,
        bushing_bore_mm=32.15,
        bushing_outside_mm=44.15,
        pin_case_mm=each([np.nan, 0.0, 3.2]),
        bushing_case_mm=each([np.nan, 0.0, 1.5]),
        case_certified=each(["yes", "no", ""]).astype(object),
        lead_time_days=each([np.nan, 0.0, 70.0, 180.0]),
        centres_mm=each([np.nan, 18_000.0]),
        strand_spacing_mm=900.0,
    )
    for name, ahead in (("near", 30), ("far", 200)):
        first, last = (np.datetime64(LAST_DAY + ahead + more, "D").astype(str) for more in (0, 5))
        rows.add(Feed.SHUTDOWNS, shutdown=name, machines="all", starts_at=first, ends_at=last)
    return rows


def told(rows: Rows, settings: JudgementSettings | None = None) -> tuple[Judged, dict[str, Order]]:
    """What is judged on the first night, and the replacement asked for of each set."""
    derived = rows.derived(AS_OF, night=1)
    facts = state(derived, AS_OF)
    judged = judge(facts, derived, EMPTY_TABLE, settings or JudgementSettings(), AS_OF, {})
    book = orders.update(
        judged.due,
        judged.verdicts.assign(evidence_known=1),
        [],
        frame(Feed.ORDER_CLOSEOUTS, []),
        state=judged.prognosis,
        shutdowns=derived.shutdowns,
        night=1,
        as_of=AS_OF,
        settings=Layered(OrdersSettings()),
    )
    assert not [row for row in derived.set_aside if row.feed == "elongation_readings"]
    return judged, {order.subject: order for order in book.open if order.job is Job.REPLACE_SET}


@cache
def as_it_is(seed: int, rate: float) -> tuple[Judged, dict[str, Order]]:
    """What is told of a plant when nothing is changed."""
    return told(plant(seed, rate))


def raised(rows: Rows, points: np.ndarray) -> pd.DataFrame:
    """The readings with every mark of each strand's latest survey longer by so many points."""
    readings = rows.frames[Feed.ELONGATION_READINGS]
    names = rows.frames[Feed.STRANDS]["strand"]
    more = readings["strand"].map(dict(zip(names, points, strict=True))).to_numpy(float)
    latest = readings["measured_at_day"].to_numpy() == LAST_DAY
    assert latest.sum() == MARKS * len(names)
    length = readings["length_mm"] + np.where(latest, np.rint(more * SPAN * PITCH_MM / 100), 0.0)
    return readings.assign(length_mm=length)


WORLDS = [(1, 0.1), (2, 0.3), (3, 0.8), (4, 2.5)]


@pytest.mark.parametrize(("seed", "rate"), WORLDS)
def test_raising_the_latest_survey_never_lowers_the_urgency_of_a_replacement(seed: int, rate: float) -> None:
    """Except where a strand gains a rate from another source, which may say that there is more time."""
    rows = plant(seed, rate)
    before, was = as_it_is(seed, rate)
    points = np.random.default_rng(seed).uniform(0, 0.8, 2 * PAIRS)
    rows.frames[Feed.ELONGATION_READINGS] = raised(rows, np.repeat(points[::2], 2))
    after, is_ = told(rows)
    same = before.prognosis["rate_source"] == after.prognosis["rate_source"]
    fair = set(before.prognosis["set"]) - set(before.prognosis["set"][~same])
    assert len(fair) > PAIRS / 3
    assert was
    for subject, order in was.items():
        if subject in fair:
            assert subject in is_, order
            assert is_[subject].urgency.rank <= order.urgency.rank, (order, is_[subject])
    assert [
        subject
        for subject in is_
        if subject not in was or is_[subject].urgency.rank < was[subject].urgency.rank
    ]


@pytest.mark.parametrize(("seed", "rate"), WORLDS[1:3])
@pytest.mark.parametrize(
    ("name", "value"),
    [("conveyor_percent", 2.0), ("usable_case_part", 0.6), ("bushing_wall_part", 0.2), ("plan_part", 0.6)],
)
def test_lowering_a_limit_takes_no_replacement_back(seed: int, rate: float, name: str, value: float) -> None:
    rows = plant(seed, rate)
    _, was = as_it_is(seed, rate)
    _, is_ = told(rows, overridden("limits", **{name: value}))
    assert set(was) <= set(is_)


@pytest.mark.parametrize(("seed", "rate"), WORLDS[1:3])
def test_a_strands_own_lower_limit_takes_no_replacement_back(seed: int, rate: float) -> None:
    rows = plant(seed, rate)
    _, was = as_it_is(seed, rate)
    strands = rows.frames[Feed.STRANDS]
    own = {"limit_override_percent": 1.2, "limit_override_reason": "tight casing"}
    rows.frames[Feed.STRANDS] = strands.assign(**own)
    _, is_ = told(rows)
    assert set(was) <= set(is_)
    assert len(is_) > len(was)
