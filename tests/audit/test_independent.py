"""Verdicts of past nights against plain arithmetic over the raw exports, which shares no code with them.

The formulas and defaults are the trade handbook's (GUM first order; limits, intervals and triggers as each
rule's docstring sources them). `python -m tests.audit.compared` asks 500 strands and nights.
"""

from __future__ import annotations

from collections import Counter

import pytest
from tests.audit import raw_plant
from tests.audit.compared import compared
from tests.audit.independent import Plant


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Every question of sixty strands and nights."""
    folder = tmp_path_factory.mktemp("raw")
    files = raw_plant.exports(folder / "exports", 60, 7)
    site = raw_plant.site(folder / "site", files)
    return list(compared(site, Plant(files), raw_plant.nights(4, 7), 15, 7))


def test_no_verdict_disagrees_with_plain_arithmetic(found):
    assert [one for one in found if not one.agree] == []


def test_both_answers_occur_to_every_rule(found):
    """A comparison in which nothing is ever due would show little."""
    answers = Counter((one.rule, one.plain) for one in found)
    for rule in ("wear_limit", "survey_overdue", "takeup_low", "sprocket_wear"):
        assert answers[rule, True], rule
        assert answers[rule, False], rule
    assert answers["lube_overdue", "starved"]
    assert answers["lube_overdue", "within"]
