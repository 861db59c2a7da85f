"""The lives of a set as evidence for its next chain: whole sets, one build, what they cost, what was seen."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from tests.judgement.plant import E_GEO, E_WEAR, MONDAY, findings, judged, shutdowns, strand, surveys

from takeup.judgement.nextchain import Evidence, next_chain
from takeup.judgement.pastlives import past_lives
from takeup.judgement.settings import JudgementSettings

COSTS = {"chain_price": 28000, "replacement_labour_cost": 9500, "stop_cost_per_hour": 2400}
SIDES = ("BE-1-A", "BE-1-B")
MACHINES = pd.DataFrame(
    [{"machine": "BE-1", "kind": "bucket_elevator", "service": "abrasive_bulk", "wet": "", "corrosive": ""}]
)
#: two shutdowns of five days, 180 days apart; the first holds the day on which the second set was removed
STOPS = shutdowns(
    ("past", "all", MONDAY - 366.75, MONDAY - 361.75), ("next", "BE-1", MONDAY - 186.75, MONDAY - 181)
)
#: hours and elongations of a life at 0.3 % per 1000 h
STEADY = [(1000.0, 0.40), (2000.0, 0.70), (3000.0, 1.00), (4000.0, 1.30)]
SLOW = [(hours, round(0.1 + (e - 0.1) / 2, 3)) for hours, e in STEADY]


def life(
    name: str, fitted: int, removed: float = np.nan, used: float = np.nan, **differs: Any
) -> dict[str, Any]:
    """A life of the example strand."""
    return strand(name, set="BE-1", side=name[-1], **COSTS, **differs) | {
        "life_id": f"{name}|{fitted}",
        "fitted_day": MONDAY + fitted,
        "removed_day": MONDAY + removed,
        "is_open": math.isnan(removed),
        "hours_used": used,
    }


def sets(*lives: tuple[int, float, float, dict[str, Any]]) -> list[dict[str, Any]]:
    return [
        life(name, fitted, removed, used, **differs)
        for fitted, removed, used, differs in lives
        for name in SIDES
    ]


#: two completed sets and the running one, all alike; the first was removed outside every planned stop
ALIKE = sets((-1500, -900, 9000.0, {}), (-900, -366, 10000.0, {}), (-366, np.nan, np.nan, {}))


def evidence(
    lives: list[dict[str, Any]] = ALIKE,
    seen: tuple[dict[str, Any], ...] = (),
    rates: dict[int, Any] | None = None,
) -> Evidence:
    """What is known of the set; ``rates`` gives the surveys of the lives fitted on a day."""
    by_life = ((row["life_id"], (rates or {}).get(int(row["fitted_day"]) - MONDAY, STEADY)) for row in lives)
    measured = surveys(*by_life).assign(zero_shift=E_GEO - E_WEAR)
    running = [row for row in lives if row["is_open"]]
    found = findings(*seen) if seen else pd.DataFrame()
    told = judged(*running, surveys=measured, findings=found, shutdowns=STOPS)
    past = past_lives(
        SIDES,
        pd.DataFrame(lives),
        measured,
        MACHINES,
        found,
        told.verdicts,
        STOPS,
        JudgementSettings(),
    )
    return past.evidence(told.prognosis.to_dict("records"))


def test_strands_fitted_and_removed_together_are_one_life_of_the_set():
    known = evidence()
    assert known.now.hours == (9000.0, 10000.0)
    assert (known.now.chains_cost, known.now.labour_cost, known.now.lead_days) == (56000, 9500, 70)


def test_a_life_that_ended_outside_a_planned_stop_paid_for_the_stop():
    """The job of two strands of 36.576 m: 6 h and a quarter of an hour a metre, 24.288 h at 2400."""
    known = evidence()
    assert known.now.costs == pytest.approx((56000 + 9500 + 24.288 * 2400, 56000 + 9500))


def test_the_share_of_the_sprockets_is_counted_in_all_lives_or_in_none():
    with_share = evidence([row | {"sprocket_share_cost": 2500.0} for row in ALIKE])
    assert with_share.sprockets
    assert with_share.now.sprockets_cost == 5000
    assert [cost - 5000 for cost in with_share.now.costs] == pytest.approx(list(evidence().now.costs))
    assert next_chain(with_share).sprockets
    some = evidence([row | {"sprocket_share_cost": 2500.0 if row["is_open"] else np.nan} for row in ALIKE])
    assert (some.sprockets, some.now.sprockets_cost, some.now.costs) == (False, 0.0, evidence().now.costs)


def test_the_rate_is_that_of_all_lives_of_the_build_and_gives_their_life():
    known = evidence()
    assert known.now.rate == pytest.approx(0.3)
    assert known.now.u_rate > 0
    # The governing limit is the case, (1.5/0.5)/152.4; 0.15 % is bedding.
    assert known.governing == "case"
    assert known.now.wear_hours == pytest.approx(1000 * (100 * 3.0 / 152.4 - 0.15) / 0.3, rel=1e-6)
    assert known.own_surveys >= 3


def test_the_step_is_the_run_hours_between_stops_that_take_the_job():
    assert evidence().step_hours == pytest.approx(180 * 16.8)


def test_a_set_with_one_strand_changed_alone_is_no_life_of_the_set():
    lives = [row for row in ALIKE if not (row["strand"] == "BE-1-B" and row["hours_used"] == 9000.0)]
    assert evidence(lives).now.hours == (10000.0,)


def test_a_set_that_differs_in_one_option_is_its_trial():
    lives = sets(
        (-1500, -900, 9000.0, {}),
        (-900, -366, 10000.0, {"seals": "labyrinth"}),
        (-366, np.nan, np.nan, {}),
    )
    known = evidence(lives, rates={-900: SLOW})
    assert known.now.hours == (9000.0,)
    assert set(known.trials) == {"seals"}
    trial = known.trials["seals"]
    assert trial.hours == (10000.0,)
    assert trial.rate == pytest.approx(0.15)
    assert trial.wear_hours == pytest.approx(1000 * (100 * 3.0 / 152.4 - 0.15) / 0.15, rel=1e-6)


@pytest.mark.parametrize(
    "more",
    [{"speed_m_per_s": 0.4}, {"pin_hardening": "carburised"}, {"teeth_drive": 14, "teeth_max": 14}],
    ids=["another speed", "another pin", "other teeth"],
)
def test_a_set_that_differs_in_more_is_no_trial(more):
    lives = sets((-900, -366, 10000.0, {"seals": "labyrinth"} | more), (-366, np.nan, np.nan, {}))
    assert "seals" not in evidence(lives).trials


def test_two_strands_of_unlike_build_make_no_trial():
    lives = ALIKE[:2] + [dict(row) for row in ALIKE[2:]]
    lives[2]["seals"] = "single"
    known = evidence(lives)
    assert known.trials == {}
    assert known.now.hours == (9000.0,)


def test_what_the_chain_has_already_is_fitted():
    assert evidence().fitted == ("induction_pin", "carburised")


SEEN: dict[str, tuple[dict[str, Any], tuple[str, ...], tuple[str, ...]]] = {
    "on a strand": ({"finding": "rust"}, ("corrosion",), ()),
    "in a sectioned joint": (
        {"finding": "scratched_joint", "place": "Sectioned joint, mark 3"}, ("abrasion",), ("abrasion",),
    ),
    "on the whole machine": ({"finding": "packing", "strand": ""}, ("ingress",), ()),
    "on another machine": ({"finding": "rust", "machine": "BE-2", "strand": ""}, (), ()),
    "nothing to do with wear": ({"finding": "noise_popping", "place": "sectioned joint"}, (), ()),
}  # fmt: skip


@pytest.mark.parametrize("case", SEEN)
def test_findings_say_by_what_it_wears_and_a_sectioned_joint_proves_it(case):
    differs, mechanisms, sectioned = SEEN[case]
    known = evidence(seen=({"severity": "note"} | differs,))
    assert (known.mechanisms, known.sectioned) == (mechanisms, sectioned)


@pytest.mark.parametrize(
    ("seen", "faults"),
    [
        ({"finding": "side_rub"}, ("abnormal_finding",)),
        ({"finding": "cracked_bushing", "stop_class": True}, ("abnormal_finding",)),
        ({"finding": "rust", "severity": "note"}, ()),
        ({"finding": "hooked_teeth", "severity": "shutdown"}, ()),
    ],
    ids=["misalignment", "fracture", "a note", "sprockets"],
)
def test_open_misalignment_and_overload_are_faults(seen, faults):
    assert evidence(seen=(seen,)).faults == faults


def test_lubrication_overdue_is_a_fault():
    lives = [dict(row, lube_last_hours=5000.0) for row in ALIKE]  # 500 h at an interval of 100
    assert evidence(lives).faults == ("lube_overdue",)


def test_a_case_depth_nobody_stated_leaves_the_limit_unsure():
    assert not evidence().limit_unsure
    assert evidence([dict(row, bushing_case_mm=np.nan) for row in ALIKE]).limit_unsure


def test_a_strand_without_a_forecast_does_not_lead_its_set():
    lives = [
        row | ({"h_middle": np.nan, "h_early": np.nan} if row["strand"] == "BE-1-A" else {}) for row in ALIKE
    ]
    assert evidence(lives).step_hours == pytest.approx(180 * 16.8)


def test_a_register_without_prices_leaves_hours_and_no_costs():
    known = evidence([dict(row, chain_price=np.nan) for row in ALIKE])
    assert known.now.hours == (9000.0, 10000.0)
    assert np.isnan(known.now.costs).all()
    assert next_chain(known).now is None


def test_the_whole_way_from_frames_to_a_recommendation():
    """Two sealed sets wore half as fast; a joint cut open when the first set came off had lost its seal."""
    sealed = {"seals": "labyrinth"}
    lives = sets(
        (-3000, -2400, 9000.0, {}),
        (-2400, -1500, 18000.0, sealed),
        (-1500, -366, 19000.0, sealed),
        (-366, np.nan, np.nan, {}),
    )
    for row in lives:
        row["chain_price"] = 40000 if row["seals"] else 28000
    known = evidence(
        lives,
        seen=({"finding": "seal_missing", "place": "sectioned joint", "day": MONDAY - 2400},),
        rates={-2400: SLOW, -1500: SLOW},
    )
    seals = next(one for one in next_chain(known).answers if one.name == "seals")
    assert seals.missing == ()
    assert seals.trial.lives == 2
    assert seals.in_steps_trial < seals.in_steps_now


def test_a_set_never_measured_and_without_shutdowns_still_has_its_costs():
    """Its rate and the life it would give are not known, so nothing may be recommended."""
    told = judged(*[row for row in ALIKE if row["is_open"]], shutdowns=shutdowns())
    nothing = surveys(("nobody", STEADY)).iloc[:0].assign(zero_shift=np.nan)
    past = past_lives(
        SIDES,
        pd.DataFrame(ALIKE),
        nothing,
        MACHINES,
        pd.DataFrame(),
        told.verdicts,
        shutdowns(),
        JudgementSettings(),
    )
    known = past.evidence(told.prognosis.to_dict("records"))
    assert known.now.hours == (9000.0, 10000.0)
    assert np.isnan([known.now.rate, known.now.wear_hours, known.step_hours]).all()
    assert not any(one.recommended for one in next_chain(known).answers)
