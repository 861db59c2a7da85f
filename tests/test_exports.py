"""What a host gets from the package itself."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import takeup


def test_the_package_offers_these_and_nothing_else_by_name():
    assert set(takeup.__all__) == {"NightResult", "TakeupError", "nightly", "schedule"}


def test_each_is_the_very_thing_its_room_has():
    from takeup import errors, night, schedule

    assert takeup.nightly is night.nightly
    assert takeup.NightResult is night.NightResult
    assert takeup.TakeupError is errors.TakeupError
    assert takeup.schedule is schedule


def test_a_name_that_is_not_there_is_said_to_be_missing():
    with pytest.raises(AttributeError, match="no attribute 'nigthly'"):
        _ = takeup.nigthly
    with pytest.raises(ImportError):
        from takeup import nigthly  # noqa: F401


def test_the_package_is_typed():
    assert (Path(takeup.__file__).parent / "py.typed").exists()


def test_importing_it_loads_nothing_heavy():
    heavy = ("apscheduler", "duckdb", "jinja2", "matplotlib", "numpy", "pandas", "pandera")
    script = (
        f"import sys; sys.path[:0] = {sys.path!r}; import takeup; print(*(set({heavy!r}) & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
