"""Outlets: other programs told of a night once it is committed.

An outlet is an entry point of the group ``takeup.outlets``: a callable that takes the published folder and
the night's result. It comes after the commit, so that whatever it does or fails to do, the night stands. A
dry run tells nobody.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from importlib.metadata import entry_points
from pathlib import Path

from takeup.night.result import NightResult

GROUP = "takeup.outlets"

#: ``outlet(folder, result)``
Outlet = Callable[[Path, NightResult], None]

log = logging.getLogger("takeup")


def tell_outlets(folder: Path, result: NightResult) -> tuple[str, ...]:
    """Tell every outlet installed, by name; one that fails is logged and passed by.

    Parameters
    ----------
    folder : Path
        The night's own folder in the queue.
    result : NightResult

    Returns
    -------
    tuple of str
        Names of the outlets that failed.
    """
    failed = []
    for point in sorted(entry_points(group=GROUP), key=lambda point: point.name):
        try:
            outlet: Outlet = point.load()
            outlet(folder, result)
        except Exception:
            log.exception("the outlet %r failed; the night stands all the same", point.name)
            failed.append(point.name)
    return tuple(failed)
