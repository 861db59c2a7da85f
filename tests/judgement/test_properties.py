"""What must hold for any strand: more wear or a tighter limit is never good news."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.judgement.plant import (
    MONDAY,
    NUMBERS,
    SCHEMA,
    alone,
    checks,
    judged,
    overridden,
    readings,
    shutdowns,
    surveys,
    worn,
)

from takeup.judgement.judging import Judged, explain
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, Urgency

if TYPE_CHECKING:
    import pandas as pd

RANK = {urgency.value: urgency.rank for urgency in Urgency} | {"": len(Urgency)}
#: rules that ask for a chain
CHAIN = ("wear_limit", "limit_coming")


@dataclass(frozen=True)
class Drawn:
    """A strand with its life so far."""

    differs: dict[str, Any]
    points: list[tuple[float, float]]


@st.composite
def strands(draw: st.DrawFn) -> Drawn:
    """Chains of any pitch, hardness and age, measured one to ten times, more or less evenly."""
    number = draw(st.integers(1, 10))
    hours = np.cumsum(draw(st.lists(st.integers(150, 1500), min_size=number, max_size=number)))
    rate = draw(st.floats(0.05, 1.2))
    noise = draw(st.lists(st.floats(-0.05, 0.05), min_size=number, max_size=number))
    e = [round(max(0.0, rate * float(at) / 1000 + off), 4) for at, off in zip(hours, noise, strict=True)]
    last = float(hours[-1])
    case = draw(st.sampled_from([np.nan, 0.0, 1.5, 3.0]))
    differs = {
        "pitch_mm": draw(st.sampled_from([66.27, 101.6, 152.4, 304.8])),
        "bushing_case_mm": case,
        "pin_case_mm": draw(st.sampled_from([np.nan, 0.0, 3.2])),
        "case_certified": draw(st.sampled_from(["yes", "no"])),
        "teeth_max": draw(st.sampled_from([9, 12, 80, 120])),
        "takeup_travel_mm": draw(st.sampled_from([100.0, 480.0, 900.0])),
        "lead_time_days": draw(st.sampled_from([0, 70, 180])),
        "u_wear": draw(st.sampled_from([0.056, 0.185])),
        "survey_hours": last,
        "hours_reckoned": last,
        "hours_now": last + draw(st.integers(0, 400)),
        "spread": 0.0,
    }
    return Drawn(differs, [(float(at), each) for at, each in zip(hours, e, strict=True)])


def told(drawn: list[Drawn], rises: list[float], site: JudgementSettings | None = None) -> Judged:
    """All of them, each with its latest survey raised by so much."""
    rows, lives = [], []
    for number, (each, rise) in enumerate(zip(drawn, rises, strict=True)):
        points = [*each.points[:-1], (each.points[-1][0], each.points[-1][1] + rise)]
        rows.append(alone(f"S{number}", **(each.differs | worn(points[-1][1]))))
        lives.append((f"S{number}|2025-03-01", points))
    planned = shutdowns(("A", "all", MONDAY + 30, MONDAY + 34), ("B", "all", MONDAY + 200, MONDAY + 207))
    return judged(*rows, surveys=surveys(*lives), shutdowns=planned, settings=site, only=CHAIN)


def urgency(found: Judged, rules: tuple[str, ...]) -> pd.Series:
    """Rank of the most urgent answer of these rules for each strand; 4 where nothing is due."""
    rows = found.verdicts[found.verdicts["rule"].isin(rules)]
    return rows.groupby("subject")["urgency"].agg(lambda words: min(RANK[word] for word in words))


many = st.lists(strands(), min_size=20, max_size=20)


@settings(max_examples=15)
@given(many, st.lists(st.floats(0.0, 1.5), min_size=20, max_size=20))
def test_raising_the_latest_survey_never_lowers_the_urgency_of_a_limit(
    drawn: list[Drawn], rises: list[float]
) -> None:
    before, after = (told(drawn, each) for each in ([0.0] * 20, rises))
    assert (urgency(after, ("wear_limit",)) <= urgency(before, ("wear_limit",))).all()


@settings(max_examples=15)
@given(many, st.lists(st.floats(0.0, 1.5), min_size=20, max_size=20))
def test_raising_the_latest_survey_never_takes_back_an_order_of_the_same_kind_of_rate(
    drawn: list[Drawn], rises: list[float]
) -> None:
    """A strand that gains a rate of its own may wait by it; with the same kind of rate it may not."""
    before, after = (told(drawn, each) for each in ([0.0] * 20, rises))
    same = (before.prognosis["own_rate"] == after.prognosis["own_rate"]).to_numpy()
    was, is_ = urgency(before, CHAIN), urgency(after, CHAIN)
    for number in np.flatnonzero(same):
        assert not (was[f"S{number}"] < 4 and is_[f"S{number}"] == 4), drawn[number]


@settings(max_examples=15)
@given(many, st.lists(st.floats(0.0, 1.5), min_size=20, max_size=20))
def test_raising_every_mark_of_the_latest_survey_never_lowers_the_urgency_of_a_replacement(
    drawn: list[Drawn], rises: list[float]
) -> None:
    """A rate from another source may say that there is more time; from the same it may not."""
    before, after = (told(drawn, each) for each in ([0.0] * 20, rises))
    same = (before.prognosis["rate_source"] == after.prognosis["rate_source"]).to_numpy()
    was, is_ = urgency(before, CHAIN), urgency(after, CHAIN)
    for number in np.flatnonzero(same):
        assert is_[f"S{number}"] <= was[f"S{number}"], (drawn[number], rises[number])


@st.composite
def past_the_case(draw: st.DrawFn) -> Drawn:
    """Chains with a rate of their own and a stated case that the last survey is past, at any take-up."""
    drawn = draw(strands())
    rate = draw(st.floats(0.1, 0.6))
    pitch = draw(st.sampled_from([152.4, 203.2, 304.8]))  # on shorter ones the fit is at its limit first
    e = [300 / pitch * share for share in (0.4, 0.6, 0.8, draw(st.floats(1.001, 1.5)))]
    points = [(1000 * each / rate, each) for each in e]
    hours = dict.fromkeys(("survey_hours", "hours_reckoned", "hours_now"), points[-1][0])
    stated = {"pin_case_mm": 3.2, "bushing_case_mm": 1.5, "case_certified": "yes", "teeth_max": 12}
    other = {"pitch_mm": pitch, "attachment_every": draw(st.sampled_from([1, 4]))}
    return Drawn(drawn.differs | hours | stated | other, points)


@settings(max_examples=15)
@given(
    st.lists(past_the_case(), min_size=20, max_size=20),
    st.floats(0, 900),
    st.floats(0, 500),
    st.floats(0, 500),
)
def test_past_the_case_a_shorter_travel_never_lowers_the_urgency_of_a_replacement(
    drawn: list[Drawn], used: float, left: float, longer: float
) -> None:
    shorter, whole = (
        [
            Drawn(each.differs | {"takeup_used_mm": used, "takeup_travel_mm": used + travel}, each.points)
            for each in drawn
        ]
        for travel in (left, left + longer)
    )
    before, after = (told(each, [0.0] * 20) for each in (whole, shorter))
    assert before.prognosis["case_behind"].all()
    was, is_ = urgency(before, CHAIN), urgency(after, CHAIN)
    assert (is_ <= was).all()


@settings(max_examples=15)
@given(
    many,
    st.sampled_from(
        ["conveyor_percent", "drive_percent", "usable_case_part", "bushing_wall_part", "plan_part"]
    ),
    st.floats(0.5, 1.0),
)
def test_lowering_a_limit_never_takes_back_a_chain(drawn: list[Drawn], name: str, part: float) -> None:
    default = getattr(JudgementSettings().limits.record, name)
    rises = [0.0] * len(drawn)
    before, after = told(drawn, rises), told(drawn, rises, overridden("limits", **{name: default * part}))
    was, is_ = urgency(before, CHAIN), urgency(after, CHAIN)
    assert not ((was < 4) & (is_ == 4)).any()


@settings(max_examples=15)
@given(many)
def test_dates_stand_in_order_and_the_early_bound_is_never_later_than_the_handbooks(
    drawn: list[Drawn],
) -> None:
    found = told(drawn, [0.0] * len(drawn)).prognosis
    dated = found[found["hours_middle"].notna()]
    assert (dated["hours_early"] <= dated["hours_middle"]).all()
    assert (dated["hours_middle"] <= dated["hours_late"]).all()
    known = dated[dated["day_early"].notna()]
    assert (known["day_early"] <= known["day_middle"]).all()
    bought = found[found["buy_by_day"].notna()]
    assert (bought["buy_by_day"] <= bought["need_by_day"]).all()
    assert (found["next_survey_hours"] >= found["survey_hours"] + 100 - 0.1).all()


@st.composite
def odd_rows(draw: st.DrawFn) -> dict[str, Any]:
    """Register columns at the ends of what the contract accepts, or blank, fitting together or not."""
    differs: dict[str, Any] = {}
    for item in SCHEMA["fields"]:
        bounds = item.get("constraints", {})
        if item["name"] in NUMBERS:
            low, high = float(bounds.get("minimum", 0)), float(bounds.get("maximum", 1e6))
            differs[item["name"]] = draw(st.sampled_from([np.nan, low, (low + high) / 3, high]))
        elif "enum" in bounds:
            differs[item["name"]] = draw(st.sampled_from(["", *bounds["enum"]]))
    pitches = differs["pitches"]
    return differs | {
        "pitches_now": pitches,
        "teeth_max": np.fmax(differs["teeth_drive"], differs["teeth_tail"]),
        "takeup_used_mm": draw(st.sampled_from([np.nan, 0.0, 300.0, 20_000.0])),
        "hours_now": draw(st.sampled_from([np.nan, 0.0, 5500.0])),
        "h_middle": draw(st.sampled_from([np.nan, 0.0, 16.8])),
        "h_early": draw(st.sampled_from([np.nan, 0.0, 24.0])),
        "n_marks": draw(st.sampled_from([1.0, 4.0])),
        "baseline": draw(st.sampled_from(["as_left", "nominal"])),
    }


@settings(max_examples=15)
@given(st.lists(odd_rows(), min_size=20, max_size=20), st.integers(-400, 400))
def test_no_register_that_the_contract_accepts_stops_a_night(rows: list[dict[str, Any]], later: int) -> None:
    named = [alone(f"S{number}", **row) for number, row in enumerate(rows)]
    backwards = shutdowns(("BACK", "all", MONDAY + 30, MONDAY + 20), ("SHORT", "all", MONDAY + 5, MONDAY + 5))
    found = judged(
        *named,
        day=MONDAY + later,
        surveys=surveys(*((f"S{number}|2025-03-01", [(1500, 0.5), (5500, 1.5)]) for number in range(20))),
        shutdowns=backwards,
        takeup=readings({"strand": "S1", "last_lag_mm": -30.0, "last_lag_day": float(MONDAY)}),
        sprockets=checks({"strand": "S1"}, {"strand": "", "machine": "machine of S2"}),
    )
    assert len(found.verdicts) > 20
    assert "BACK" not in set(found.prognosis["shutdown"])
    for strand in ("S0", "S1"):
        assert explain(strand, found.situation, JudgementSettings())


def test_the_jobs_of_these_rules_are_chains() -> None:
    found = told([Drawn({}, [(5500.0, 2.9)])], [0.0])
    assert set(found.verdicts["job"]) == {Job.REPLACE_SET.value}
