"""What every room's tests share: seeded properties, and the browser that looks at the pages."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# The same draws on every machine, and no clock: a busy machine is slow, not wrong.
settings.register_profile("seeded", derandomize=True, deadline=None)
settings.load_profile("seeded")

# A browser that calls home at every start would make the tests depend on the network.
QUIET = [
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-gpu",
    "--disable-quic",
    "--disable-sync",
    "--no-first-run",
]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's chromium. Without it the page tests are skipped, except where they are required (CI)."""
    path = shutil.which("chromium")
    if path is None:
        message = "chromium is not installed: sudo apt-get install -y chromium"
        if os.environ.get("CI") == "true" or os.environ.get("TAKEUP_BROWSER_REQUIRED") == "1":
            pytest.fail(message)
        pytest.skip(message)

    from playwright.sync_api import sync_playwright

    sandbox = os.geteuid() != 0  # chromium refuses its own sandbox to root
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=QUIET, chromium_sandbox=sandbox)
        yield started
        started.close()
