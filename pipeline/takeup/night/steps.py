"""The steps of a night in the site's log: how long each took, and how much it had to do."""

from __future__ import annotations

import time

from takeup.site.log import steps


class Steps:
    """One line a step, with the time since the step before.

    Parameters
    ----------
    what : str
        What the steps belong to, for example ``night 3``.
    """

    def __init__(self, what: str) -> None:
        self._what = what
        self._since = time.monotonic()

    def done(self, step: str, **counted: int) -> None:
        """A step has ended; ``counted`` says what it had to do."""
        now = time.monotonic()
        told = "".join(f", {name.replace('_', ' ')} {count}" for name, count in counted.items())
        steps.info("%s: %s in %.3f s%s", self._what, step, now - self._since, told)
        self._since = now
