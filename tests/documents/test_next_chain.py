"""The next chain on a replacement order: what would act, what is wanting, what is recommended."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.documents.plant import TEMPLATES, orders
from tests.documents.reading import read
from tests.judgement.test_next_chain import FULL, NOW, SEALED

from takeup.documents.environment import environment
from takeup.documents.pages import order_page
from takeup.judgement.nextchain import Evidence, Lives, next_chain
from takeup.judgement.options import MECHANISMS, OPTIONS
from takeup.model import Job

ENV = environment([TEMPLATES])
SHEET = next(sheet for sheet in orders() if sheet.order.job is Job.REPLACE_SET)
NOTHING = Evidence(governing="case", limit_unsure=False, own_surveys=0)


def text(known: Evidence = FULL) -> str:
    return read(order_page(ENV, replace(SHEET, next_chain=next_chain(known)))).section(
        "The next chain", "What this rests on"
    )


def test_a_recommendation_says_what_it_would_have_cost_with_its_doubt_on_how_many_lives():
    """Present: 75 000/22 000; the misfits are 340.9 each and Student's factor 12.706: 0.39."""
    found = text()
    assert "Recommended: joint seals, greased for life." in found
    assert (
        "On 2 completed lives of the whole set on this machine it cost 2.69 ± 0.88 by the run hour" in found
    )
    assert "against 3.41 ± 0.39 by the run hour" in found
    # u of both: 0.0310 and 0.0690, joined freedom 1.39 and so 1: 12.706 x 0.0757
    assert (
        "a difference of 0.72 ± 0.96, which so few lives leave in doubt: it rests on the wear rates" in found
    )
    assert "in whole steps from stop to stop, it comes to 3.28 by the run hour against 4.69" in found
    assert "No other chain is recommended" not in found


def test_a_difference_beyond_the_doubt_of_its_lives_is_not_called_doubtful():
    alike = replace(FULL, now=replace(NOW, hours=(11000.0,) * 2))
    found = text(replace(alike, trials={"seals": replace(SEALED, hours=(19500.0,) * 2)}))
    assert "a difference of 0.72 ± 0.00. By the wear rates" in found


def test_without_the_evidence_nothing_is_recommended_and_what_is_wanting_is_said():
    found = text(NOTHING)
    assert (
        "No other chain is recommended: the evidence does not reach. Wanting, whatever the change:" in found
    )
    assert "Two completed lives of this build on these strands" in found
    assert "Section a pin and bushing of the old chain" in found
    assert "no whole set with one of the changes below" in found
    assert "No set of this build has completed a life here, so no cost by the run hour is told." in found
    assert "Recommended" not in found


def test_what_one_option_wants_stands_in_its_row():
    found = text(replace(FULL, trials={"seals": replace(SEALED, rate=0.24)}))
    assert "the wear rates do not differ beyond their doubt" in found
    assert "no completed trial of a whole set on this machine, with nothing else changed" in found


def test_open_faults_are_named_in_words():
    found = text(replace(FULL, faults=("lube_overdue", "matching")))
    assert "An open fault of the system is mended first (lubrication and matching of strands)" in found


def test_a_full_takeup_is_not_cured_by_harder_joints():
    assert "they only fill it more slowly" in text(replace(FULL, governing="takeup"))
    assert "they only fill it more slowly" not in text()


@pytest.mark.parametrize(
    ("sectioned", "mechanisms", "says"),
    [
        (("ingress",), (), "A sectioned joint shows dirt that gets into the joint."),
        ((), ("corrosion",), "Findings speak of corrosion; no sectioned joint shows it yet."),
        ((), (), "No finding says by what it wears."),
    ],
)
def test_what_is_known_of_the_way_of_wearing_is_told_as_such(sectioned, mechanisms, says):
    assert says in text(replace(FULL, sectioned=sectioned, mechanisms=mechanisms))


def test_zinc_and_chrome_never_stand_without_the_caution_of_hydrogen():
    found = text(replace(FULL, sectioned=("corrosion",), mechanisms=("corrosion",)))
    assert "Zinc or another sacrificial coat" in found
    assert "No conventional zinc on parts above about 1500 MPa (45 HRC)" in found
    assert "Hydrogen" not in text()


def test_a_recommended_plating_bears_the_caution_too():
    known = replace(FULL, sectioned=("corrosion",), trials={"chrome": SEALED})
    found = text(known)
    assert "Recommended: hard chrome on the pin." in found
    assert "No conventional zinc on parts above about 1500 MPa" in found


@pytest.mark.parametrize("known", [FULL, NOTHING], ids=["recommended", "not recommended"])
def test_the_maker_decides_fits_and_sizes(known):
    assert "The chain's maker decides fits, sizes, materials and depths" in text(known)


def test_what_a_dearer_chain_must_bring_is_told_in_steps():
    found = text()
    assert "chains half as dear again must last 1.37 times as long" in found
    assert "about 4000 run hours apart, in truth 1.09 times" in found
    # seals at 1.3 and 2 times the price: 3 and 4 steps of 4000 h against a life of 11 000 h
    assert "to pay it must last 1.1 to 1.5 times as long" in found


def test_one_life_without_a_rate_says_that_its_doubt_cannot_be_told():
    known = replace(FULL, now=Lives(hours=(9000.0,), costs=(90000.0,)))
    assert "it cost 10.00 by the run hour (how far it may be off cannot be told)" in text(known)


def test_a_register_without_prices_is_named():
    known = replace(FULL, now=replace(NOW, costs=(float("nan"),) * 2))
    assert "lacks price, labour or stop cost of the 2 completed lives of this build" in text(known)


@pytest.mark.parametrize("option", OPTIONS, ids=lambda option: option.name)
def test_every_option_can_be_printed(option):
    cured = tuple(name for name in MECHANISMS if name in option.cures)
    known = replace(FULL, sectioned=cured, mechanisms=cured)
    assert ENV.filters["word"](option.name, "option")[1:] in text(known)


def test_no_code_and_no_gap_reaches_the_page():
    for known in (FULL, NOTHING, replace(FULL, faults=("abnormal_finding",), sectioned=())):
        found = text(known)
        assert "_" not in found
        assert "None" not in found
        assert "nan" not in found
        assert " ." not in found
