"""Findings on chain drives against the symptoms that a military handbook tabulates."""

from __future__ import annotations

import pytest
from tests.documents.plant import TEMPLATES

from takeup.derive.vocabulary import VOCABULARY
from takeup.documents.environment import environment
from takeup.documents.sentences import sentence
from takeup.model import Job

ENV = environment([TEMPLATES])


@pytest.mark.parametrize(
    ("word", "causes"),
    [
        ("broken_pin", ("overload",)),
        ("broken_roller", ("impact",)),
        ("climbing", ("overload",)),
        ("side_rub", ("out of line",)),
    ],
)
def test_causes_named_are_those_tabulated(word: str, causes: tuple[str, ...]) -> None:
    """MIL-HDBK-1164, Table 48, chain drives: broken pins or rollers by shock; climbing by poor fit or severe
    overload; wear of side walls and of the sides of teeth by misalignment. In our own words."""
    told = sentence(ENV, "finding", word, part="causes")
    assert all(cause in told for cause in causes)


@pytest.mark.parametrize("word", ["side_rub", "stiff_link"])
def test_what_misalignment_does_asks_for_alignment(word: str) -> None:
    """The same table: side wear by misalignment, stiff chain by misalignment or overload."""
    assert Job.INSPECT_ALIGNMENT in VOCABULARY[word].jobs


def test_a_chain_broken_by_shock_is_investigated_and_never_mended() -> None:
    """The same table names shock and too high a speed for broken pins: neither is gone with a new pin."""
    assert VOCABULARY["broken_pin"].jobs[0] is Job.INVESTIGATE_FRACTURE
