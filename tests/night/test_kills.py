"""Killed at any instant, the next run ends where an undisturbed one would; tests/night/kills.py does more."""

from __future__ import annotations

import os
import subprocess
import sys

from tests.night.kills import STEPS

AT_RANDOM = 3


def test_a_night_killed_between_its_steps_and_at_random_ends_as_an_undisturbed_one():
    """In a process of its own, for it forks and kills."""
    surroundings = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-m", "tests.night.kills", str(AT_RANDOM)],
        env=surroundings,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    kills, landed, different = (int(word) for word in done.stdout.split() if word.isdigit())
    assert kills == len(STEPS) + AT_RANDOM
    assert landed >= len(STEPS)
    assert different == 0
