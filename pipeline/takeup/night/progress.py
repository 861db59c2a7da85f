"""How far a night has come, for whoever watches."""

from __future__ import annotations

from collections.abc import Callable

#: Called with the step's name, how much of it is done and how much there is; a caller may ignore it.
Progress = Callable[[str, int, int], None]


def unwatched(step: str, done: int, total: int) -> None:
    """Nobody watches."""
