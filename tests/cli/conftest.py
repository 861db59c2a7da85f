"""The command line, run in this process."""

from __future__ import annotations

import pytest
from tests.cli.commands import Shell


@pytest.fixture
def takeup(capsys) -> Shell:
    return Shell(capsys)
