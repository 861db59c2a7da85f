"""Whether a better chain may be recommended: a case on either side of each piece of evidence.

The full case: seals on a greased conveyor that wears by grit carried in. Two lives of the present build
(10 900 h and 11 100 h at 37 500 each) and two sealed ones (19 000 h and 20 000 h at 52 500); shutdowns every
4000 h. By the rates the present chain lasts 11 000 h (2 steps) and the sealed one 19 250 h (4 steps).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from takeup.derive.vocabulary import VOCABULARY
from takeup.judgement.nextchain import EVIDENCE, Evidence, HourlyCost, Lives, hourly_cost, next_chain
from takeup.judgement.options import BUILD, BY_NAME, MECHANISM_OF, OPTIONS

NOW = Lives(
    hours=(10900.0, 11100.0),
    costs=(37500.0, 37500.0),
    rate=0.25,
    u_rate=0.01,
    wear_hours=11000.0,
    chains_cost=28000.0,
    labour_cost=9500.0,
    lead_days=112.0,
)
SEALED = Lives(
    hours=(19000.0, 20000.0),
    costs=(52500.0, 52500.0),
    rate=0.143,
    u_rate=0.01,
    wear_hours=19250.0,
    chains_cost=43000.0,
    labour_cost=9500.0,
    lead_days=140.0,
)
FULL = Evidence(
    governing="conveyor",
    limit_unsure=False,
    own_surveys=6,
    mechanisms=("ingress",),
    sectioned=("ingress",),
    now=NOW,
    trials={"seals": SEALED},
    step_hours=4000.0,
)


def answer(name: str = "seals", **differs: Any):
    return next(one for one in next_chain(replace(FULL, **differs)).answers if one.name == name)


def sealed(**differs: Any) -> dict[str, Lives]:
    return {"seals": replace(SEALED, **differs)}


def test_with_all_evidence_the_option_is_recommended_with_its_cost_and_doubt():
    found = answer()
    assert found.recommended
    assert found.trial.cost == pytest.approx(105000 / 39000)
    # misfits 52 500 - c h are 1346.15 either way; u = 1346.15 / 19 500, and 12.706 for one degree
    assert found.trial.expanded == pytest.approx(12.706 * 1346.1538 / 19500, rel=1e-6)
    assert found.saving == pytest.approx(75000 / 22000 - 105000 / 39000)
    assert found.saving_expanded == pytest.approx(
        12.706 * math.hypot(340.909 / 11000, 1346.1538 / 19500), rel=1e-5
    )
    assert found.in_steps_now == pytest.approx(37500 / 8000)
    assert found.in_steps_trial == pytest.approx(52500 / 16000)


#: what differs from the full case → the evidence then missing, none where the case still stands
CASES: dict[str, tuple[dict[str, Any], tuple[str, ...]]] = {
    "no limit governs": ({"governing": ""}, ("limit",)),
    "a case depth is a default": ({"limit_unsure": True}, ("limit",)),
    "two lives, no surveys": ({"own_surveys": 0}, ()),
    "one life, three surveys": ({"now": replace(NOW, hours=(9e3,), costs=(9e4,)), "own_surveys": 3}, ()),
    "one life, two surveys": (
        {"now": replace(NOW, hours=(9e3,), costs=(9e4,)), "own_surveys": 2}, ("lives",),
    ),
    "no joint cut open": ({"sectioned": ()}, ("sectioned",)),
    "an open fault": ({"faults": ("lube_overdue",)}, ("faults",)),
    "no trial": ({"trials": {}}, ("trial",)),
    "a trial still running": ({"trials": sealed(hours=(), costs=())}, ("trial",)),
    "one completed trial": ({"trials": sealed(hours=(19000.0,), costs=(52500.0,))}, ()),
    # 0.25 - r > 2 sqrt(0.01^2 + 0.01^2) = 0.02828
    "slower, within doubt": ({"trials": sealed(rate=0.222)}, ("slower",)),
    "slower, beyond doubt": ({"trials": sealed(rate=0.2215)}, ()),
    "rate of the trial unknown": ({"trials": sealed(rate=math.nan)}, ("slower",)),
    "doubt of the rate unknown": ({"now": replace(NOW, u_rate=math.nan)}, ("slower",)),
    "no price of the trial": ({"trials": sealed(chains_cost=math.nan)}, ("side_effects", "pays")),
    "no lead time of the trial": ({"trials": sealed(lead_days=math.nan)}, ("side_effects",)),
    "seals where it is hot": ({"hot": True}, ("side_effects",)),
    # 3 steps, 12 000 h: 37 500/8000 = 4.6875 against 52 500/12 000 = 4.375
    "three steps pay": ({"trials": sealed(wear_hours=15900.0)}, ()),
    # 2 steps, 52 500/8000
    "two steps do not": ({"trials": sealed(wear_hours=11900.0)}, ("pays",)),
    # at 15 900 h and 8000 h between shutdowns both last one step
    "longer steps": ({"trials": sealed(wear_hours=15900.0), "step_hours": 8000.0}, ("pays",)),
    "no shutdowns known": ({"trials": sealed(wear_hours=15900.0), "step_hours": math.nan}, ()),
    "no price of the present chain": ({"now": replace(NOW, chains_cost=math.nan)}, ("pays",)),
    "no cost of the trial's lives": ({"trials": sealed(costs=(math.nan, math.nan))}, ("pays",)),
    "nothing but the findings": (
        {"sectioned": (), "trials": {}, "own_surveys": 0, "now": Lives(), "faults": ("matching",)},
        ("lives", "sectioned", "faults", "trial"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_each_piece_of_evidence_is_wanted(case):
    differs, missing = CASES[case]
    found = answer(**differs)
    assert found.missing == missing
    assert found.recommended == (not missing)


def test_every_piece_of_evidence_is_wanting_in_some_case():
    assert {name for _, missing in CASES.values() for name in missing} == set(EVIDENCE)


#: (governing mechanisms by sectioned joint, by findings) → options told
ACTING: dict[str, tuple[dict[str, Any], set[str]]] = {
    "nothing seen: whatever slows the wear of a joint": (
        {"sectioned": (), "mechanisms": ()},
        {"induction_pin", "carburised", "heavier", "chrome", "stainless", "seals", "machine"},
    ),
    "abrasion": (
        {"sectioned": ("abrasion",)}, {"induction_pin", "carburised", "heavier", "chrome", "machine"},
    ),
    "grit carried in": ({"sectioned": ("ingress",)}, {"seals", "machine"}),
    "rust": ({"sectioned": ("corrosion",)}, {"chrome", "zinc", "stainless", "machine"}),
    "the joint goes before other findings": (
        {"sectioned": ("ingress",), "mechanisms": ("corrosion", "ingress")}, {"seals", "machine"},
    ),
    "findings, where no joint was cut": (
        {"sectioned": (), "mechanisms": ("starvation",)}, {"seals", "machine"},
    ),
    "edge wear beside": (
        {"sectioned": ("ingress",), "mechanisms": ("ingress", "edge_wear")}, {"seals", "sidebars", "machine"},
    ),
    "cracks": ({"sectioned": (), "mechanisms": ("cracking",)}, {"through_hardened", "machine"}),
    "seals fitted already": ({"fitted": ("seals",)}, {"machine"}),
}  # fmt: skip


@pytest.mark.parametrize("case", ACTING)
def test_only_options_that_act_on_what_governs_are_told(case):
    differs, names = ACTING[case]
    assert {one.name for one in next_chain(replace(FULL, **differs)).answers} == names


def test_what_all_options_want_is_told_once():
    found = next_chain(replace(FULL, sectioned=(), mechanisms=("corrosion",), trials={}))
    assert found.missing == ("sectioned", "trial")
    found = next_chain(replace(FULL, sectioned=("ingress",)))
    assert found.missing == ()
    assert {one.name: one.missing for one in found.answers} == {"seals": (), "machine": ("trial",)}


def test_a_saving_is_told_where_both_have_two_lives():
    assert answer(trials=sealed(hours=(19000.0,), costs=(52500.0,))).saving is None
    assert answer(now=replace(NOW, hours=(11000.0,), costs=(37500.0,))).saving is None


def test_zinc_always_bears_the_caution_of_hydrogen():
    assert {option.name for option in OPTIONS if option.hydrogen} == {"zinc", "chrome"}
    assert answer("zinc", sectioned=("corrosion",)).hydrogen


def test_a_dearer_chain_must_last_longer_by_steps_than_the_formula_says():
    """28 000 at half as dear again with 9500 of labour: 51 500/37 500; 2 steps of 11 000 h become 3."""
    found = next_chain(FULL).break_even
    assert found.plain == pytest.approx(51500 / 37500)
    assert found.in_steps == pytest.approx(3 * 4000 / 11000)
    by_price = answer("seals").break_even
    assert [even.dearer for even in by_price] == [1.3, 2.0]
    assert [even.plain for even in by_price] == pytest.approx([45900 / 37500, 65500 / 37500])


def test_without_a_price_no_break_even_is_told():
    assert next_chain(replace(FULL, now=replace(NOW, labour_cost=math.nan))).break_even is None


def test_one_life_is_in_doubt_by_its_rate_and_none_is_not_told():
    one = replace(NOW, hours=(11000.0,), costs=(37500.0,))
    assert hourly_cost(one) == HourlyCost(37500 / 11000, pytest.approx(2 * 37500 / 11000 * 0.04), 1, 11000.0)
    assert hourly_cost(replace(one, rate=math.nan)).expanded is None
    assert hourly_cost(Lives()) is None
    assert hourly_cost(replace(NOW, costs=(math.nan, 37500.0))).lives == 1


def test_the_options_name_columns_and_findings_that_there_are():
    assert all(option.columns <= set(BUILD) for option in OPTIONS)
    assert set(MECHANISM_OF) <= set(VOCABULARY)
    cured = {name for option in OPTIONS if option.name != "machine" for name in option.cures}
    assert set(MECHANISM_OF.values()) <= cured


def test_what_an_option_cures_it_does_not_leave():
    assert all(not option.cures & option.leaves for option in OPTIONS)
    assert len(BY_NAME) == len(OPTIONS)


def test_sprockets_are_paid_with_every_change_as_labour_is():
    """By hand, from the cost of a life: m = (1.5 x 28 000 + 9500 + 6000)/(28 000 + 9500 + 6000) = 1.3218."""
    found = next_chain(replace(FULL, sprockets=True, now=replace(NOW, sprockets_cost=6000.0)))
    assert found.break_even.plain == pytest.approx(57500 / 43500)
    seals = next(one for one in found.answers if one.name == "seals")
    assert seals.in_steps_now == pytest.approx(43500 / 8000)
