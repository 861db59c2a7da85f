"""What `takeup rehearse` refuses before it tells a single night."""

from __future__ import annotations

import pytest
from tests.night.told import ONE, told


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    return told(tmp_path_factory.mktemp("rehearse") / "site", 1, ONE).folders.root


def test_nothing_changed_is_nothing_to_rehearse(takeup, root):
    bare = takeup("rehearse", "--site", root)
    same = takeup("rehearse", "--site", root, "--settings", root / "takeup.toml")
    assert (bare.code, same.code) == (2, 2)
    assert "nothing is changed" in bare.err
    assert "say the same as the site's own" in same.err


def test_a_rule_that_is_not_installed_is_named(takeup, root):
    done = takeup("rehearse", "--site", root, "--rule", "no_such_rule")
    assert done.code == 2
    assert "'no_such_rule'" in done.err


def test_a_page_that_could_not_be_written_is_refused_first(takeup, root):
    done = takeup("rehearse", "--site", root, "--rule", "wear_limit", "--page", root / "nowhere" / "a.html")
    assert done.code == 2
    assert "does not exist" in done.err


def test_days_without_a_night_are_told_with_those_there_are(takeup, root):
    done = takeup("rehearse", "--site", root, "--rule", "wear_limit", "--from", "2031-01-01")
    assert done.code == 2
    assert "2026-08-31" in done.err
